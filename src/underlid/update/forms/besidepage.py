"""Several bins beside each other as a page that needs no network and no other file, and the same on paper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from markupsafe import Markup

from underlid import __version__
from underlid.update.beside import Beside, Side
from underlid.update.drawn import yearcharts
from underlid.update.drawn.charts import GREY, INK, Size
from underlid.update.drawn.keys import Key
from underlid.update.drawn.yearcharts import BIN_MARKS
from underlid.update.facts import Provenance
from underlid.update.forms import document
from underlid.update.forms.document import Cell, Chart, Document, Part, Table, mark
from underlid.update.prose import besidewords, phrases
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Said

PANEL = Size(350, 220, 13, 7)
DRAWN = ("coldest", "refuge", "worms")  # figures that get a chart of their own where they differ at all
CHIPS = Said(
    "Read: noted by the keeper. Estimated: worked out from the weather and the readings. Predicted: worked out ahead "
    "of the weather. “Nine in ten” means that the model gives nine chances in ten to that range.",
    "",
    (9, 10),
)
SCALE = Said(
    f"All are drawn on one scale, a point for every {yearcharts.EVERY_H} hours.", "", (Known(yearcharts.EVERY_H, "h"),)
)
CARE = Said(
    "Bins of one keeper share a place and its weather: together they tell more of these bins, not of bins in general."
)


BUILT = Said("As recorded when each bin was started; what was not said then is taken as is usual.")


def page(beside: Beside) -> str:
    """The bins as a self-contained HTML page; the same facts give the same bytes."""
    return document.html(laid_out(beside))


def printed(beside: Beside) -> bytes:
    """The same as a tagged PDF, A4."""
    return document.pdf(laid_out(beside))


def laid_out(beside: Beside) -> Document:
    """The parts, in order."""
    own = beside.sides[0].story.own
    parts = [
        Part("In short", (*besidewords.in_short(beside), CHIPS)),
        Part("How they are built", (BUILT,), tables=(_builds(beside),)),
        Part("The month in each", (SCALE,), charts=_panels(beside), key=_panel_key(beside)),
        Part("Figures", besidewords.found(beside), charts=_ranges(beside), tables=(_figures(beside),)),
    ]
    if beside.tested:
        parts.append(Part("Under test", besidewords.tests(beside), listed=True))
    parts.append(Part("What is not known", (CARE, *_unknown(beside)), listed=True))
    by = f"Kept by {own.keeper}. " if own.keeper else ""
    return Document(
        accent=own.accent,
        keeper=own.keeper,
        kicker=f"Side by side · {beside.month:%B %Y}",
        title=f"{phrases.count(len(beside.sides), 'bin').capitalize()} beside each other",
        lede=f"{by}Made on {phrases.day(beside.now)} {beside.now.year}.",
        figures=(),
        own=(),
        parts=tuple(parts),
        sources=_sources(beside),
    )


def _mark(i: int) -> Markup:
    return mark(*BIN_MARKS[i % len(BIN_MARKS)])


def _name(i: int, side: Side, small: str = "") -> Cell:
    return Cell(f"{side.letter} {side.story.bin.name}", small, _mark(i))


def _builds(beside: Beside) -> Table:
    columns: tuple[tuple[str, Provenance | None], ...] = (
        ("Bin", None), ("Bedding", None), ("Walls", None), ("Stands", None), ("Founders", None), ("Started", None),
    )  # fmt: skip
    return Table(columns, tuple(_build(i, side) for i, side in enumerate(beside.sides)), "How the bins are built")


def _build(i: int, side: Side) -> tuple[Cell, ...]:
    build = side.build
    thick = [1000 * end for end in (build.wall_mm.low, build.wall_mm.high) if math.isfinite(end)]
    founders = build.founders
    number = "not noted" if founders.kind == "not noted" else phrases.interval(founders)
    return (
        _name(i, side),
        Cell(f"about {phrases.number(build.litres, 0)} litres", ", ".join(build.materials) or "not noted"),
        Cell(build.wall, phrases.ends(thick[0], thick[-1], "mm") if thick else ""),
        Cell(build.siting, f"on {build.base}"),
        Cell(number, build.species),
        Cell(f"{phrases.day(build.started)} {build.started.year}"),
    )


def _panels(beside: Beside) -> tuple[Chart, ...]:
    scale = yearcharts.common_scale([side.story for side in beside.sides])
    return tuple(
        Chart(
            f"panel-{side.letter}",
            partial(yearcharts.panel, side.story, scale, i),
            f"{side.letter}: temperature of the air and of the middle of the bedding, on the scale of all the bins.",
            size=PANEL,
            title=f"{side.letter} {side.story.bin.name}",
            mark=_mark(i),
        )
        for i, side in enumerate(beside.sides)
    )


def _panel_key(beside: Beside) -> tuple[Key, ...]:
    hours = [side.story.hours for side in beside.sides]
    key = [Key("air", GREY, width=1)]
    if any(one.predicted_from > 0 for one in hours):
        text = "middle of the bedding, in the bin’s colour, and nine in ten"
        key.append(Key(text, INK, band=0.26, provenance="estimated"))
    if any(one.predicted_from < len(one.time_utc) for one in hours):
        key.append(Key("the same", INK, dash=True, band=0.1, provenance="predicted"))
    return tuple(key)


def _ranges(beside: Beside) -> tuple[Chart, ...]:
    found = []
    for one in beside.figures:
        values = [value for value in one.values if value is not None]
        if one.name not in DRAWN or len(values) < 2 or all(value == values[0] for value in values):
            continue
        title = besidewords.FIGURES[one.name][0]
        says = "; ".join(
            f"{letter} {' or '.join(part for part in besidewords.cell(one.name, value) if part)}"
            for letter, value in zip(beside.letters, one.values, strict=True)
        )
        found.append(
            Chart(
                f"ranges-{one.name}",
                partial(yearcharts.ranges_chart, one.values, beside.letters),
                f"{title}, nine in ten: {says}.",
                title=f"{title}, nine in ten",
            )
        )
    return tuple(found)


def _figures(beside: Beside) -> Table:
    columns: list[tuple[str, Provenance | None]] = [("Bin", None)]
    for one in beside.figures:
        kinds = {value.provenance for value in one.values if value is not None}
        columns.append((besidewords.FIGURES[one.name][0], kinds.pop() if len(kinds) == 1 else None))
    rows = tuple(
        (_name(i, side), *(Cell(*besidewords.cell(one.name, one.values[i])) for one in beside.figures))
        for i, side in enumerate(beside.sides)
    )
    return Table(tuple(columns), rows, "Figures of the bins, nine in ten")


def _unknown(beside: Beside) -> Iterator[Said]:
    """What is not known of each, said once where it is so of several."""
    letters: dict[str, list[str]] = {}
    for side in beside.sides:
        for doubt in _doubts(side):
            letters.setdefault(doubt, []).append(side.letter)
    for doubt, known in letters.items():
        yield Said(f"{', '.join(known)}: {doubt}", facts=(doubt,))


def _doubts(side: Side) -> tuple[str, ...]:
    story = side.story
    said = story.unknown
    if story.misfit:
        return ("The readings and this weather do not fit together: read its ranges with doubt.", *said)
    return said if story.trusted else ("The fit has not settled: read its ranges with doubt.", *said)


def _sources(beside: Beside) -> tuple[tuple[str, str], ...]:
    weather: dict[str, list[str]] = {}
    for side in beside.sides:
        weather.setdefault(side.story.weather_source, []).append(side.letter)
    alone = len(weather) == 1
    return (
        *(("Weather" if alone else f"Weather of {', '.join(bins)}", source) for source, bins in weather.items()),
        (
            "Made with",
            f"underlid {__version__}: method {beside.sides[0].story.method}; "
            + ", ".join(f"{side.letter} seed {side.story.seed}, {side.story.draws} runs" for side in beside.sides),
        ),
    )
