"""The castings command: what has become of all that was laid and fed, and what a harvest would give, and when."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    PERCENTS,
    WIDTH,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    by_percent,
    console,
    progress,
    show_json,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.fit.balance_sheet import Castings, Row, Sheet
    from underlid.fit.census import Census
    from underlid.fit.reckoning import Points, Reached

SURE = 0.95  # a chance this near to 1 is told as one that leaves little doubt: our judgement
M_PER_IN = 0.0254


def castings(
    bin: BinArgument,
    weather: WeatherOption,
    past: PastOption = None,
    until: Annotated[
        str | None, typer.Option(help="Last day to look at; the end of winter if past years reach there.")
    ] = None,
    worms: Annotated[
        bool,
        typer.Option("--worms", help="Fit the colony too, to tell how much has passed through worms; it takes longer."),
    ] = False,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """What has become of bedding and food: lost to the air, left, turned to castings, and when a harvest is ripe."""
    from underlid.fit.balance_sheet import balance_sheet

    study = study_of(bin, weather, past or [], until, place, fill_gaps, seed, journal, now, quiet=as_json)
    found: Census | None = None
    doubts = study.careful
    if worms:
        from underlid.answer import census_of
        from underlid.fit.reckoning import careful
        from underlid.journal.store import Journal

        with Journal.open(journal) as book, progress(f"the colony in {bin}", quiet=as_json) as tell_progress:
            _, counted, found = census_of(book, study, seed, tell_progress)
        doubts = careful(study, counted, found)
    told = balance_sheet(study, seed, found)
    tz = ZoneInfo(study.case.bin.timezone)
    doubts = (*_lower_bound(told), *doubts)
    notes = (*told.notes, *(() if found is None else found.notes), *study.notes)
    basis = rests_on(study.posterior.readings, told)
    if as_json:
        show_json(castings_json(told, tz, bin, basis, (*doubts, *dict.fromkeys(notes)), seed))
        return
    out = console(WIDTH)
    out.print(f"Bin {bin}: {basis}; 5 to 95 % ranges with the middle in brackets.")
    for said in (*doubts, *told.left_out):
        out.print(f"Careful: {said}")
    out.print(_table(told))
    for question, answer in sentences(told, tz):
        out.print(f"{question} {answer}")
    for note in dict.fromkeys(notes):
        out.print(f"Note: {note}")


def rests_on(readings: int, told: Sheet) -> str:
    """What the figures rest on."""
    from underlid.update.prose.phrases import count

    return (
        f"estimated from what was laid and {count(told.feedings, 'feeding')}, bedding fitted to "
        f"{count(readings, 'reading')} and the weather, and rates of rot that are mostly our judgement"
    )


def sentences(told: Sheet, tz: ZoneInfo) -> tuple[tuple[str, str], ...]:
    """Question and answer, one pair for each that a keeper asks."""
    return (
        ("Lost to the air?", _air(told)),
        ("Water?", _water(told)),
        ("Nitrogen?", _nitrogen(told)),
        ("Sunk?", _sunk(told)),
        ("Castings so far?", _so_far(told)),
        ("Harvest?", _harvest(told, tz)),
    )


def castings_json(
    told: Sheet, tz: ZoneInfo, bin: str, basis: str, notes: tuple[str, ...], seed: int
) -> dict[str, object]:
    """The balance as plain JSON types: kg, litres, metres, degC and shares at 5, 50 and 95 %; times in ISO 8601."""

    def iso(second: int) -> str:
        return datetime.fromtimestamp(second, tz).isoformat()

    def ranged(of: Row | Castings) -> dict[str, object]:
        values = of._asdict() if isinstance(of, tuple) else asdict(of)
        return {name: value if name == "name" else by_percent(value, 6) for name, value in values.items()}

    single = (
        "best_days", "bedding_c", "litres_laid", "litres_now", "depth_laid_m", "depth_now_m", "sunk", "water_added",
        "water_let_go",
    )  # fmt: skip
    times = told.ripe.time_utc
    return {
        "bin": bin,
        "rests_on": basis,
        "provenance": {"until_now": "estimated", "later": "predicted"},
        "lower_bound": told.lower_bound,
        "now": iso(int(told.time_utc[told.now])),
        "materials": [ranged(row) for row in told.rows],
        "in_all": {name: value for name, value in ranged(told.whole).items() if name != "name"},
        **{name: by_percent(getattr(told, name), 6) for name in single},
        "castings": ranged(told.castings),
        "through_worms_kg": None if told.through_worms is None else by_percent(told.through_worms, 6),
        "harvest": {
            "chance": round(told.ripe.chance, 4),
            "time": None if times is None else dict(zip(PERCENTS, map(iso, times), strict=True)),
            "when_ripe": None if told.at_ripe is None else ranged(told.at_ripe),
            "at_end": ranged(told.at_end),
        },
        "time": [iso(int(second)) for second in told.time_utc],
        "ripeness": dict(zip(PERCENTS, told.ripeness.round(6).tolist(), strict=True)),
        "castings_kg": dict(zip(PERCENTS, told.castings_kg.round(6).tolist(), strict=True)),
        "left_out": list(told.left_out),
        "notes": list(notes),
        "seed": seed,
    }


def _lower_bound(told: Sheet) -> tuple[str, ...]:
    if not told.lower_bound:
        return ()
    from underlid.update.prose.phrases import count

    what = count(len(told.left_out), "feeding").capitalize()
    return (f"{what} could not be weighed, so every mass here is a lower bound.",)


def _table(told: Sheet) -> object:
    from rich.table import Column, Table

    heads = (
        "as received, kg", "dry left, kg", "lost of dry, %", "CO2 made, g", "water freed, g", "N kept, %", "turned, %",
    )  # fmt: skip
    table = Table(Column("now, estimated", no_wrap=True), *heads, box=None, pad_edge=False)
    for row in (*told.rows, told.whole) if len(told.rows) > 1 else told.rows:
        given = (f"{how} {_ends(kg, 1, 2)}" for how, kg in (("laid", row.laid), ("fed", row.fed)) if kg[2] > 0)
        grams = (_ends(kg, 1000, 1) for kg in (row.co2, row.water_freed))
        lost, kept, turned = (_ends(share, 100, 1) for share in (row.lost, row.nitrogen_kept, row.turned))
        table.add_row(row.name, "\n".join(given), _ends(row.dry_left, 1, 2), lost, *grams, kept, turned)
    return table


def _air(told: Sheet) -> str:
    row = told.whole
    return (
        f"Estimated: of {_kg(row.dry_given)} of dry matter laid and fed, {_percent(row.lost)} has gone. It left as "
        f"{_kg(row.co2)} of CO2, of which {_kg(row.carbon_gone)} is carbon, as water and a little ammonia. The bedding "
        f"has had what {_number(told.best_days, 'days')} at {_degrees(25.0)} would do, at {_between_c(told.bedding_c)} "
        "on the mean."
    )


def _water(told: Sheet) -> str:
    said = f"Estimated: rot has freed {_kg(told.whole.water_freed)} of water, made or no longer held."
    if told.water_added[0] > 0:
        return f"{said} At least {_kg(told.water_added)} has come by wetting, to keep what is left as moist as it is."
    if told.water_let_go[0] > 0:
        return f"{said} At least {_kg(told.water_let_go)} has evaporated or drained."
    return f"{said} Whether more was added or more has left cannot be told."


def _nitrogen(told: Sheet) -> str:
    return f"Estimated: {_percent(told.whole.nitrogen_kept)} of it is still there, unless it drained away."


def _sunk(told: Sheet) -> str:
    low, _, high = told.sunk
    by = (
        f"it has sunk by {_percent(told.sunk)}"
        if low > 0
        else f"it has risen by {_percent((-high, -told.sunk[1], -low))}"
        if high < 0
        else f"it may have sunk by up to {100 * high:.0f} % or risen by up to {-100 * low:.0f} %"
    )
    return (
        f"Estimated: of {_number(told.litres_laid, 'L')} laid, {_number(told.litres_now, 'L')} is there with what was "
        f"fed; from {_depth(told.depth_laid_m)} deep to {_depth(told.depth_now_m)}, so {by}. A ruler knows better."
    )


def _so_far(told: Sheet) -> str:
    low, middle, high = map(float, told.ripeness[:, told.now])
    said = (
        f"Estimated: {_harvested(told.castings)}, by worms and microbes together; of all that is to rot, "
        f"{_percent((low, middle, high))} has."
    )
    if told.through_worms is None:
        return said
    return f"{said} Casts of what worms have eaten are {_kg(told.through_worms)} (dry) of it."


def _harvest(told: Sheet, tz: ZoneInfo) -> str:
    from underlid.update.prose.phrases import chance

    ends = _day(int(told.time_utc[-1]), tz)
    later = f"On {ends}, where this outlook ends, {_harvested(told.at_end)} could be sieved out."
    if told.at_ripe is None or told.ripe.time_utc is None:
        return f"Predicted: it is ripe in none of the draws by {ends}. {later}"
    gives = f"A harvest then would give {_harvested(told.at_ripe)}."
    when = _when(told.ripe, tz)
    if told.ripe.chance >= SURE:
        return f"Predicted: ripe {when}. {gives} {later}"
    likely = chance(told.ripe.chance)
    return f"Predicted: the chance that it is ripe by {ends} is {likely}; in those draws {when}. {gives} {later}"


def _when(ripe: Reached, tz: ZoneInfo) -> str:
    assert ripe.time_utc is not None
    early, usual, late = (_day(second, tz) for second in ripe.time_utc)
    return f"on {early}" if early == late else f"between {early} and {late}, most likely about {usual}"


def _harvested(found: Castings) -> str:
    return f"{_kg(found.dry_kg)} of castings dry, {_kg(found.wet_kg)} moist, {_litres(found.litres)}"


def _kg(mass: Points) -> str:
    low, middle, high = mass
    return _number((1000 * low, 1000 * middle, 1000 * high), "g") if high < 1 else _number(mass, "kg")


def _litres(litres: Points) -> str:
    low, middle, high = litres
    return _number((1000 * low, 1000 * middle, 1000 * high), "mL") if high < 1 else _number(litres, "L")


def _percent(share: Points) -> str:
    low, middle, high = share
    return _number((100 * low, 100 * middle, 100 * high), "%")


def _ends(points: Points, times: int, decimals: int) -> str:
    """The ends alone, to two figures and no more decimals than that."""
    from underlid.update.prose.phrases import number

    low, high = (number(float(f"{times * value:.2g}"), decimals) for value in (points[0], points[2]))
    return low if low == high else f"{low} to {high}"


def _number(points: Points, unit: str) -> str:
    from underlid.update.prose.colony import between

    return between(points, unit)


def _depth(depth_m: Points) -> str:
    low, _, high = depth_m
    return f"{100 * low:.0f} to {100 * high:.0f} cm ({low / M_PER_IN:.1f} to {high / M_PER_IN:.1f} in)"


def _degrees(bedding_c: float) -> str:
    from underlid.quantity.units import to_fahrenheit

    return f"{bedding_c:.0f} °C ({to_fahrenheit(bedding_c):.0f} °F)"


def _between_c(bedding_c: Points) -> str:
    from underlid.quantity.units import to_fahrenheit

    low, _, high = bedding_c
    return f"{low:.1f} to {high:.1f} °C ({to_fahrenheit(low):.0f} to {to_fahrenheit(high):.0f} °F)"


def _day(second: int, tz: ZoneInfo) -> str:
    moment = datetime.fromtimestamp(second, tz)
    return f"{moment.day} {moment:%b %Y}"
