"""Commands that compute: parse, check, outlook, update, demo."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    JournalOption,
    JsonOption,
    NowOption,
    PlaceOption,
    clock,
    place_of,
    progress,
    show_json,
)
from underlid.quantity.zones import zone

if TYPE_CHECKING:
    pass


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
    from underlid.answer import rules_of, weather_from
    from underlid.fit.findings import findings
    from underlid.journal.store import Journal
    from underlid.trials.watch import alarms

    told: dict[str, list[dict[str, str | None]]] = {}
    with Journal.open(journal) as book:
        book.check()
        for record in [book.bin(bin)] if bin else book.bins():
            air = weather_from(weather, record.timezone, 0, place_of(place)) if weather else None
            moment = clock(now, ZoneInfo(record.timezone))
            entries = book.entries(record.name)
            found = findings(record, entries, moment, air)
            told[record.name] = [{"weight": f.weight, "entry": f.entry, "sentence": f.sentence} for f in found]
            told[record.name] += [
                {"weight": "for the animals' sake", "entry": one.entry.id, "sentence": one.sentence}
                for one in alarms(rules_of(book, record.name), record, entries, moment)
            ]
    if as_json:
        show_json(told)
        return
    for name, rows in told.items():
        counted = "1 finding" if len(rows) == 1 else f"{len(rows)} findings"
        print(f"{name}: {counted}" if rows else f"{name}: nothing to report")
        for row in rows:
            print(f"  {row['weight']}: {row['sentence']}" + (f"  [{row['entry']}]" if row["entry"] else ""))


def demo(
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder to write into.")] = Path("demo"),
    as_json: JsonOption = False,
) -> None:
    """Run the main job on an invented keeper's bins: a winter of three, and a trial with eight."""
    from underlid.demo import trial, winter

    def say(text: str) -> None:
        if not as_json:
            print(text)

    with progress("fitting", quiet=as_json) as tell_progress:
        results = winter.run(out, say=say, progress=tell_progress)
    results["trial"] = trial.run(out, say=say)
    if as_json:
        show_json(results)
