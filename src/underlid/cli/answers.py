"""Commands that compute: parse, check, outlook, update, demo."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import asdict, fields, is_dataclass, replace
from datetime import date, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    clock,
    place_of,
    progress,
    show_json,
    zone,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.fit.study import Study
    from underlid.update.facts import Story


DAYS_SHOWN = 7  # days shown one by one; what follows is shown by the week


class NothingAhead(ValueError):
    """There is no weather beyond the present."""


class BadMonth(ValueError):
    """The month is not written as year and month."""


def parse(
    words: Annotated[str, typer.Argument(help="An amount, a size or a date, e.g. “6 or 7 C”.")],
    unit: Annotated[str | None, typer.Option(help="Unit to take where none is written, e.g. degC.")] = None,
    timezone: Annotated[str | None, typer.Option(help="Time zone of dates.")] = None,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what underlid makes of your words."""
    from underlid.quantity import VagueAmount, VagueSize, parse_any, show_amount, show_size, show_when

    tz = zone(timezone)
    meaning = parse_any(words, now=clock(now, tz), tz=tz, expect=unit)
    if as_json:
        show_json(meaning.as_json())
        return
    if isinstance(meaning, VagueAmount):
        print(f"{show_amount(meaning)}  [{meaning.kind}]")
        if math.isfinite(meaning.low) and math.isfinite(meaning.high) and meaning.low < meaning.high:
            print(f"  taken as {show_amount(replace(meaning, kind='between'))}")
    elif isinstance(meaning, VagueSize):
        print(f"{show_size(meaning)}; holds {show_amount(meaning.volume)}")
    else:
        print(f"{show_when(meaning)}  [{meaning.kind}]")
    for flag in meaning.flags:
        print(f"  {flag}")


def check(
    bin: Annotated[str | None, typer.Argument(help="Name of the bin; all bins if not given.")] = None,
    weather: Annotated[
        Path | None, typer.Option("--weather", "-w", envvar="UNDERLID_WEATHER", help="Weather file to check against.")
    ] = None,
    place: PlaceOption = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Look through the records for what is odd, missing or unusable; nothing is changed."""
    from underlid.answer import weather_from
    from underlid.fit.findings import findings
    from underlid.journal.store import Journal

    told: dict[str, list[dict[str, str | None]]] = {}
    with Journal.open(journal) as book:
        book.check()
        for record in [book.bin(bin)] if bin else book.bins():
            air = weather_from(weather, record.timezone, 0, place_of(place)) if weather else None
            moment = clock(now, ZoneInfo(record.timezone))
            found = findings(record, book.entries(record.name), moment, air)
            told[record.name] = [{"weight": f.weight, "entry": f.entry, "sentence": f.sentence} for f in found]
    if as_json:
        show_json(told)
        return
    for name, rows in told.items():
        counted = "1 finding" if len(rows) == 1 else f"{len(rows)} findings"
        print(f"{name}: {counted}" if rows else f"{name}: nothing to report")
        for row in rows:
            print(f"  {row['weight']}: {row['sentence']}" + (f"  [{row['entry']}]" if row["entry"] else ""))


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
    from underlid.quantity.when import parse_when

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
    if as_json:
        show_json(outlook_json(study, study.index(begin)))
    else:
        _print_outlook(study, tz, begin)


def update(
    bin: BinArgument,
    weather: WeatherOption,
    month: Annotated[
        str | None, typer.Option(help="Month to tell, e.g. 2026-01; the last full month if not given.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="HTML file to write; BIN-MONTH.html if not given.")
    ] = None,
    title: Annotated[str | None, typer.Option(help="Title of the page.")] = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the month's illustrated account as one page that needs no network."""
    from underlid.journal.files import write_whole
    from underlid.journal.store import Journal
    from underlid.update.page import page
    from underlid.update.story import tell

    asked = None if month is None else _month(month)
    study = study_of(bin, weather, past or [], None, place, fill_gaps, seed, journal, now, quiet=as_json)
    year, number = asked or _last_full_month(study.case.now)
    with Journal.open(journal) as book:
        every = book.entries(bin, superseded=True)
    corrected = {entry.corrects for entry in every}
    story = tell(study, (year, number), title=title, superseded=[e for e in every if e.id in corrected])
    target = out or Path(f"{_file_name(bin)}-{year}-{number:02d}.html")
    write_whole(target, page(story).encode())
    if as_json:
        show_json({"file": str(target), **story_json(story)})
    else:
        print(f"Written to {target}.")


def demo(
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder to write into.")] = Path("demo"),
    as_json: JsonOption = False,
) -> None:
    """Run the main job on an invented keeper's three bins under a typical year of public weather."""
    from underlid import demo as invented

    with progress("fitting", quiet=as_json) as tell_progress:
        results = invented.run(out, say=(lambda text: None) if as_json else print, progress=tell_progress)
    if as_json:
        show_json(results)


def outlook_json(study: Study, first: int) -> dict[str, object]:
    """The outlook from an hour on as plain JSON types; temperatures in degC, shares as fractions."""
    told = study.outlook
    tz = ZoneInfo(study.case.bin.timezone)

    def iso(seconds: int) -> str:
        return datetime.fromtimestamp(seconds, tz).isoformat()

    def band(values) -> dict[str, list[float]]:  # type: ignore[no-untyped-def]
        return {name: values[first:, i].round(3).tolist() for i, name in enumerate(("p5", "p50", "p95"))}

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
        names = ("p5", "p50", "p95")
        return {
            "hours": hours - begin,
            "least_refuge": dict(zip(names, told.least_refuge(begin, hours), strict=True)),
            "hours_without_refuge": dict(zip(names, without_h, strict=True)),
            "degree_hours_outside": dict(zip(names, degree_hours, strict=True)),
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
        "notes": list(study.notes),
    }


def story_json(story: Story) -> dict[str, object]:
    """The story's facts as plain JSON types, without the hourly series (those are in `outlook`)."""
    left_out = ("hours", "days", "bin")
    facts = {f.name: _plain(getattr(story, f.name)) for f in fields(story) if f.name not in left_out}
    return {"bin": story.bin.name, **facts}


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {name: _plain(part) for name, part in asdict(value).items()}
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _print_outlook(study: Study, tz: ZoneInfo, begin: datetime) -> None:
    from rich.console import Console
    from rich.table import Table

    from underlid.quantity.units import to_fahrenheit

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
    console = Console(width=None if Console().is_terminal else 120)
    band = " to ".join(f"{end:g}" for end in told.band_c)
    console.print(
        f"Bin {study.case.bin.name}: 5 to 95 % ranges, estimated up to now and predicted beyond. "
        f"Refuge: share of the bedding at {band} °C.",
        highlight=False,
    )
    console.print(table)
    hours = len(told.time_utc)
    if told.now_index + 1 < hours:
        cold = told.coldest(told.now_index + 1, hours)
        low, _, high = cold.temperature_c
        early, _, late = (datetime.fromtimestamp(s, tz) for s in cold.time_utc)
        ends = datetime.fromtimestamp(int(told.time_utc[-1]), tz)
        console.print(
            f"Coldest hour to come in the middle, until {ends:%-d %b %Y}: {shown(low, high)}, nine in ten between "
            f"{early:%-d %b} and {late:%-d %b}.",
            highlight=False,
        )
        without_h, degree_hours = told.without_refuge(told.now_index + 1, hours)
        if without_h[2] >= 1:
            console.print(
                f"No refuge at all for {without_h[0]:.0f} to {without_h[2]:.0f} of the {hours - told.now_index - 1} hours "
                f"to come, {degree_hours[0]:.0f} to {degree_hours[2]:.0f} degree-hours outside the band at its best place.",
                highlight=False,
            )
        low, high = study.case.species.moisture
        dry, wet = told.chance_of_moisture(told.now_index + 1, hours, low, high)
        now, then = told.moisture[told.now_index], told.moisture[-1]
        console.print(
            f"Moisture now {now[0]:.0%} to {now[2]:.0%} of the wet weight, {then[0]:.0%} to {then[2]:.0%} in the end; "
            f"chance of too dry (below {low:.0%}) {dry:.0%}, of too wet (above {high:.0%}) {wet:.0%}.",
            highlight=False,
        )
    for note in study.notes:
        console.print(f"  {note}", highlight=False)


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


def _month(text: str) -> tuple[int, int]:
    try:
        moment = datetime.strptime(text, "%Y-%m")
    except ValueError:
        raise BadMonth(f"{text!r} is no month; write it as year and month, e.g. 2026-01.") from None
    return moment.year, moment.month


def _file_name(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name)


def _last_full_month(now: datetime) -> tuple[int, int]:
    last = now.replace(day=1) - timedelta(days=1)
    return last.year, last.month
