"""A year of one bin as a page that needs no network and no other file, and the same on paper."""

from __future__ import annotations

from functools import partial

from underlid import __version__
from underlid.update.drawn import yearcharts
from underlid.update.drawn.charts import BLUE, GREY, INK, VERMILION
from underlid.update.drawn.keys import Key, places
from underlid.update.facts import Provenance, Range
from underlid.update.forms import document
from underlid.update.forms.document import Cell, Chart, Document, Part, Table
from underlid.update.prose import phrases, yearwords
from underlid.update.prose.lifewords import given
from underlid.update.prose.said import Said
from underlid.update.prose.words import KeyFigure
from underlid.update.yearfacts import Kept, Lived, Month, Pair, Span, Twice, Year

NAMES: dict[Span, str] = {
    "twelve months": "Twelve months",
    "calendar year": "The year",
    "since the start": "Since the start",
}
MIDDLE = "middle of the bedding, mean of the day"
#: What the chips mean, once a page.
CHIPS = Said(
    "Read: noted by the keeper. Estimated: worked out from the weather and the readings. “Nine in ten” means that the "
    "model gives nine chances in ten to that range.",
    "",
    (9, 10),
)


def page(year: Year) -> str:
    """The year as a self-contained HTML page; the same year gives the same bytes."""
    return document.html(laid_out(year))


def printed(year: Year) -> bytes:
    """The same as a tagged PDF, A4."""
    return document.pdf(laid_out(year))


def laid_out(year: Year) -> Document:
    """The year's parts, in order."""
    parts = [
        Part("The year in short", (*yearwords.in_short(year), CHIPS)),
        Part("Air and bedding, day by day", charts=(_chart(year),)),
        Part("Month by month", tables=_months(year), after=yearwords.gaps(year)),
    ]
    if year.twice:
        parts.append(Part("The same months of two years", yearwords.twice(year), (_two(year),), tables=(_twice(year),)))
    if year.trials:
        parts.append(Part("Under test", yearwords.tests(year), listed=True))
    parts.append(Part("What is not known", yearwords.unknown(year), listed=True))
    span: Span = "since the start" if year.span == "twelve months" and len(year.months) < 12 else year.span
    by = f"Kept by {year.own.keeper}. " if year.own.keeper else ""
    return Document(
        accent=year.own.accent,
        keeper=year.own.keeper,
        kicker=f"{NAMES[span]} · {yearwords.span(year)}",
        title=year.title,
        lede=f"{by}About {phrases.number(year.bedding_litres, 0)} litres of bedding, {year.species}; made on "
        f"{yearwords.dated(year.now)}, {year.now:%H:%M}.",
        figures=key_figures(year),
        own=year.own.paragraphs(""),
        parts=tuple(parts),
        sources=_sources(year),
    )


def key_figures(year: Year) -> tuple[KeyFigure, ...]:
    """The large figures at the head."""
    cold, bedding, lived = year.bedding.coldest, year.bedding, year.lived
    hours = "never none" if bedding.without_h.high < yearwords.FREE_H else f"none for {_without(bedding.without_h)}"
    found = [
        KeyFigure("Coldest hour, middle", phrases.celsius(cold), phrases.fahrenheit(cold),
                  phrases.temperature_ends(cold), cold.provenance),
        KeyFigure("Smallest refuge", phrases.litres(bedding.refuge_l),
                  f"of about {phrases.number(year.bedding_litres, 0)}",
                  (phrases.litres_range(bedding.refuge_l), hours), bedding.refuge_l.provenance),
    ]  # fmt: skip
    if lived is not None:
        found.append(
            KeyFigure(f"Worms on {yearwords.dated(lived.at)}", _figure(lived.worms), "",
                      (phrases.animals_range(lived.worms), f"change {_change(lived.change)}"), lived.worms.provenance)
        )  # fmt: skip
    return tuple(found)


def _figure(worms: Range) -> str:
    figure = phrases.animals_figure(worms)
    return "perhaps none" if figure == "0" else figure


def _chart(year: Year) -> Chart:
    found = year.bedding.coldest
    return Chart(
        "year",
        partial(yearcharts.year_chart, year),
        f"Temperature of the air and of the middle of the bedding by day, {yearwords.span(year)}. The coldest hour of "
        f"the middle is {found.provenance} at {phrases.temperature_range(found)}.",
        (
            Key("air, mean of the day, and its lowest and highest hour", GREY, band=0.2, width=1),
            Key(f"{MIDDLE}, and nine in ten", BLUE, band=0.26, provenance="estimated"),
            Key(f"lower end of the tolerated band, {phrases.warmth(year.band_c[0])}", INK, dash=True, width=1),
            *places(year.readings),
        ),
        "Days are drawn by their mean: their coldest hours lie below the line. A reading is as long as its amount is "
        "vague; a triangle stands at an open side.",
    )  # fmt: skip


def _two(year: Year) -> Chart:
    return Chart(
        "two",
        partial(yearcharts.two_years_chart, year),
        "Temperature of the middle of the bedding by day, the same days of two years laid over each other.",
        (
            Key(f"{MIDDLE}, the later year", BLUE, band=0.2, provenance="estimated"),
            Key("the year before", VERMILION, dash=True, band=0.2, provenance="estimated"),
        ),
    )


def _months(year: Year) -> tuple[Table, ...]:
    """The bedding and what was noted; then the animals, so that neither is too wide for a page."""
    columns: tuple[tuple[str, Provenance | None], ...] = (
        ("Month", None), ("Coldest hour, middle", "estimated"), ("Mean, middle", "estimated"),
        ("Without refuge", "estimated"), ("Fed", "read"), ("Readings", "read"),
    )  # fmt: skip
    found = [
        Table(
            columns,
            tuple(_row(one) for one in year.months if not one.to_come),
            "Bedding and what was noted, month by month",
        )
    ]
    living = [(one, one.lived) for one in year.months if one.lived is not None]
    if living:
        columns = (
            ("Month", None), ("Worms at its end", "estimated"), ("Change", "estimated"),
            ("Cocoons laid", "estimated"), ("Young hatched", "estimated"), ("Died", "estimated"),
        )  # fmt: skip
        found.append(Table(columns, tuple(_animals(*one) for one in living), "Animals, month by month"))
    return tuple(found)


def _row(one: Month) -> tuple[Cell, ...]:
    cells = [Cell(*_covered(one))]
    if one.bedding is None:
        cells += [Cell("")] * 3
    else:
        least = f"least {phrases.litres_range(one.bedding.refuge_l)}"
        cells += [
            Cell(*phrases.temperature_ends(one.bedding.coldest)),
            Cell(*phrases.temperature_ends(one.bedding.mean)),
            Cell(_without(one.bedding.without_h), least),
        ]
    return (*cells, Cell(*_fed(one.kept)), Cell(*_read(one.kept)))


def _animals(one: Month, lived: Lived) -> tuple[Cell, ...]:
    return (
        Cell(*_covered(one)),
        Cell(*yearwords.some(lived.worms)),
        Cell(_change(lived.change)),
        *(Cell(*yearwords.some(found)) for found in (lived.laid, lived.hatched, lived.died)),
    )


def _twice(year: Year) -> Table:
    columns: tuple[tuple[str, Provenance | None], ...] = (
        ("Days", None), ("The earlier year", "estimated"), ("The later year", "estimated"),
        ("Later less earlier", "estimated"),
    )  # fmt: skip
    return Table(columns, tuple(row for one in year.twice for row in _pairs(one)), "The same months of two years")


def _pairs(one: Twice) -> list[tuple[Cell, ...]]:
    days = f"{phrases.short_days(one.first, one.last)}, {one.earlier.year} and {one.later.year}"
    rows: list[tuple[Cell, ...]] = []
    for name, pair in (("coldest hour", one.coldest), ("mean", one.mean)):
        rows.append(
            (
                Cell(f"{name.capitalize()}, middle", days),
                Cell(*phrases.temperature_ends(pair.earlier)),
                Cell(*phrases.temperature_ends(pair.later)),
                _difference(pair),
            )
        )
    if max(one.without_h.earlier.high, one.without_h.later.high) >= yearwords.FREE_H:
        pair = one.without_h
        rows.append(
            (Cell("Without refuge", days), Cell(_without(pair.earlier)), Cell(_without(pair.later)),
             _difference(pair))
        )  # fmt: skip
    return rows


def _difference(pair: Pair) -> Cell:
    return Cell(_apart(pair.difference), "" if pair.resolved else "not resolved")


def _covered(one: Month) -> tuple[str, str]:
    """A month's name, and the days told of where they are not all of it."""
    part = "not told" if one.bedding is None else f"{yearwords.days(one)} only"
    return f"{one.month:%B %Y}", "" if one.whole else part


def _without(found: Range) -> str:
    return "none" if found.high < yearwords.FREE_H else phrases.hours_range(found)


def _fed(kept: Kept) -> tuple[str, str]:
    if not kept.feedings:
        return "nothing noted", ""
    times = phrases.count(kept.feedings, "feeding")
    if kept.given_g is None:
        return times, "not weighed"
    return given(kept.given_g), times + (f", {kept.unweighed} not weighed" if kept.unweighed else "")


def _read(kept: Kept) -> tuple[str, str]:
    more = [phrases.count(kept.surprises, "surprise")] if kept.surprises else []
    more += [phrases.count(kept.samples, "sample")] if kept.samples else []
    return (str(kept.readings) if kept.readings else "none"), ", ".join(more)


def _change(found: Range) -> str:
    return yearwords.signed(found) or "none"


def _apart(found: Range) -> str:
    if found.unit == "K":
        return phrases.difference_range(found)
    return phrases.hours_range(found) if found.unit == "h" else phrases.litres_range(found)


def _sources(year: Year) -> tuple[tuple[str, str], ...]:
    runs = phrases.count(year.draws, "run")
    return (
        ("Weather", year.weather_source + (" (a typical year, not the real one)" if year.typical else "")),
        ("Made with", f"underlid {__version__}: method {year.method}, seed {year.seed}, {runs} of the model"),
    )
