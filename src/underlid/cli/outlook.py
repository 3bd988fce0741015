"""The outlook command: what the bedding will do, shown as a table or as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import count
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
    console,
    show_json,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.fit.study import Study

DAYS_SHOWN = 7  # days shown one by one; what follows is shown by the week


class NothingAhead(ValueError):
    """There is no weather beyond the present."""


def outlook(
    bin: BinArgument,
    weather: WeatherOption,
    past: PastOption = None,
    until: Annotated[
        str | None, typer.Option(help="Last day to look at; the end of winter if past years reach there.")
    ] = None,
    since: Annotated[str | None, typer.Option(help="First day to show; now if not given.")] = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """What the bedding will do: the next days and the rest of the winter, with ranges."""
    from underlid.answer import rules_of
    from underlid.journal.store import Journal
    from underlid.quantity.when import parse_when
    from underlid.trials.refuge import shrinking

    study = study_of(bin, weather, past or [], until, place, fill_gaps, seed, journal, now, quiet=as_json)
    tz = ZoneInfo(study.case.bin.timezone)
    if since is None and study.outlook.time_utc[-1] <= study.case.now.timestamp():
        ends = datetime.fromtimestamp(int(study.outlook.time_utc[-1]), tz)
        raise NothingAhead(
            f"The weather ends on {ends:%-d %b %Y}, so nothing ahead can be told; give a newer file, or earlier years "
            "with --past. (--since shows what is estimated up to there.)"
        )
    begin = (
        study.case.now
        if since is None
        else parse_when(since, now=study.case.now, tz=tz, start=study.case.bin.started.start).start
    )
    with Journal.open(journal) as book:
        found = shrinking(rules_of(book, bin), study)
    if as_json:
        warned = [{"rule": one.rule.name, "chance_lately": one.lately, "chance_ahead": one.ahead} for one in found]
        show_json({**outlook_json(study, study.index(begin)), "alarms": warned})
    else:
        _print_outlook(study, tz, begin)
        for one in found:
            console(WIDTH).print(f"For the animals' sake: {one.sentence}")


def outlook_json(study: Study, first: int) -> dict[str, object]:
    """The outlook from an hour on as plain JSON types; temperatures in degC, shares as fractions."""
    told = study.outlook
    tz = ZoneInfo(study.case.bin.timezone)

    def iso(seconds: int) -> str:
        return datetime.fromtimestamp(seconds, tz).isoformat()

    def band(values) -> dict[str, list[float]]:  # type: ignore[no-untyped-def]
        return {name: values[first:, i].round(3).tolist() for i, name in enumerate(PERCENTS)}

    def coldest(begin: int, end: int) -> dict[str, object] | None:
        if begin >= end:
            return None
        result: dict[str, object] = {}
        for place in told.bedding_c:
            cold = told.coldest(begin, end, place)
            low, mid, high = (round(value, 2) for value in cold.temperature_c)
            result[place] = {"p5": low, "p50": mid, "p95": high, "time": [iso(seconds) for seconds in cold.time_utc]}
        return result

    hours = len(told.time_utc)

    def ahead() -> dict[str, object] | None:
        """Chances and sums over the hours to come."""
        begin = told.now_index + 1
        if begin >= hours:
            return None
        without_h, degree_hours = told.without_refuge(begin, hours)
        dry, wet = told.chance_of_moisture(begin, hours, *study.case.species.moisture)
        return {
            "hours": hours - begin,
            "least_refuge": dict(zip(PERCENTS, told.least_refuge(begin, hours), strict=True)),
            "hours_without_refuge": dict(zip(PERCENTS, without_h, strict=True)),
            "degree_hours_outside": dict(zip(PERCENTS, degree_hours, strict=True)),
            "chance_too_dry": dry,
            "chance_too_wet": wet,
        }

    return {
        "bin": study.case.bin.name,
        "now": study.case.now.isoformat(),
        "unit": "degC",
        "weather": study.case.weather_source,
        "readings_used": study.posterior.readings,
        "settled": study.posterior.trusted,
        "seed": study.posterior.seed,
        "fits": not study.posterior.misfit,
        "refuge_band": list(told.band_c),
        "refuge_widest_band": list(told.widest_band_c),
        "observed_until": iso(int(told.time_utc[told.now_index])),
        "forecast_until": iso(int(told.time_utc[min(told.forecast_until, hours - 1)])),
        "time": [iso(int(seconds)) for seconds in told.time_utc[first:]],
        **{place: band(values) for place, values in told.bedding_c.items()},
        "air": band(told.air_c),
        "refuge": band(told.refuge),
        "refuge_widest": band(told.widest_refuge),
        "frozen": band(told.frozen),
        "moisture": band(told.moisture),
        "moisture_tolerated": list(study.case.species.moisture),
        "ahead": ahead(),
        "coldest": coldest(min(told.now_index + 1, hours - 1), hours),
        "coldest_so_far": coldest(0, told.now_index + 1),
        "parameters": {name: list(study.posterior.range_of(name)) for name in study.posterior.draws},
        "notes": [*study.careful, *study.notes],
    }


def _print_outlook(study: Study, tz: ZoneInfo, begin: datetime) -> None:
    from rich.table import Table

    from underlid.quantity.units import to_fahrenheit
    from underlid.update.prose.phrases import chance

    told = study.outlook

    def shown(low: float, high: float) -> str:
        low, high = round(low, 1) + 0.0, round(high, 1) + 0.0
        return f"{low:.1f} to {high:.1f} °C ({to_fahrenheit(low):.0f}…{to_fahrenheit(high):.0f} °F)"

    table = Table(
        "from", "air", "middle, coldest hour", "edge, coldest hour", "refuge, least", box=None, pad_edge=False
    )
    for first, last, label in _spans(study, tz, begin):
        middle, edge = (told.coldest(first, last, place).temperature_c for place in ("middle", "edge"))
        least, air = told.least_refuge(first, last), told.air_c[first:last]
        table.add_row(
            label,
            shown(air[:, 0].min(), air[:, 2].max()),
            shown(middle[0], middle[2]),
            shown(edge[0], edge[2]),
            f"{least[0]:.0%} to {least[2]:.0%}",
        )
    out = console(WIDTH)
    band = " to ".join(f"{end:g}" for end in told.band_c)
    out.print(
        f"Bin {study.case.bin.name}: 5 to 95 % ranges, estimated up to now and predicted beyond. "
        f"Refuge: share of the bedding at {band} °C.",
    )
    for said in study.careful:
        out.print(f"Careful: {said}")
    out.print(table)
    hours = len(told.time_utc)
    if told.now_index + 1 < hours:
        cold = told.coldest(told.now_index + 1, hours)
        low, _, high = cold.temperature_c
        early, _, late = (datetime.fromtimestamp(s, tz) for s in cold.time_utc)
        ends = datetime.fromtimestamp(int(told.time_utc[-1]), tz)
        out.print(
            f"Coldest hour to come in the middle, until {ends:%-d %b %Y}: {shown(low, high)}, nine in ten between "
            f"{early:%-d %b} and {late:%-d %b}.",
        )
        without_h, degree_hours = told.without_refuge(told.now_index + 1, hours)
        if without_h[2] >= 1:
            out.print(
                f"No refuge at all for {without_h[0]:.0f} to {without_h[2]:.0f} of the {hours - told.now_index - 1} "
                f"hours to come, {degree_hours[0]:.0f} to {degree_hours[2]:.0f} K h outside the band at its best.",
                highlight=False,
            )
        low, high = study.case.species.moisture
        dry, wet = told.chance_of_moisture(told.now_index + 1, hours, low, high)
        now, then = told.moisture[told.now_index], told.moisture[-1]
        out.print(
            f"Moisture now {now[0]:.0%} to {now[2]:.0%} of the wet weight, {then[0]:.0%} to {then[2]:.0%} in the end; "
            f"chance of too dry (below {low:.0%}) {chance(dry)}, of too wet (above {high:.0%}) {chance(wet)}.",
        )
    for note in study.notes:
        out.print(f"  {note}")


def _spans(study: Study, tz: ZoneInfo, begin: datetime) -> Iterator[tuple[int, int, str]]:
    """The days of a week from `begin` (first hour, hour after the last, label), then whole weeks to the end."""
    day = begin.astimezone(tz).replace(hour=0, minute=0, second=0, microsecond=0)
    last_hour = len(study.outlook.time_utc) - 1
    for step in count():
        length = 1 if step < DAYS_SHOWN else 7
        first, last = max(study.index(begin), study.index(day)), study.index(day + timedelta(days=length))
        if first >= last_hour:
            return
        if last > first:
            week = f"{day:%-d %b}–{day + timedelta(days=6):%-d %b}"
            yield first, last, f"{day:%a %-d %b}" if length == 1 else week
        day += timedelta(days=length)
