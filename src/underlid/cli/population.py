"""The population command: how many live in a bin from its first day on, fitted to all that is known."""

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
    console,
    progress,
    show_json,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.fit.census import Census
    from underlid.fit.reckoning import Points, Reckoning

MONTH_DAYS = 30


def population(
    bin: BinArgument,
    weather: WeatherOption,
    past: PastOption = None,
    until: Annotated[
        str | None, typer.Option(help="Last day to look at; the end of winter if past years reach there.")
    ] = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """How many live there by stage, day by day: fitted to counts, sightings, founders and the bedding's own fit."""
    from underlid.answer import census_of
    from underlid.fit.reckoning import careful, reckoning
    from underlid.journal.store import Journal
    from underlid.update.prose.colony import rests_on, sentences

    study = study_of(bin, weather, past or [], until, place, fill_gaps, seed, journal, now, quiet=as_json)
    with Journal.open(journal) as book, progress(f"the colony in {bin}", quiet=as_json) as tell_progress:
        prior, counted, found = census_of(book, study, seed, tell_progress)
    told = reckoning(prior, found)
    tz = ZoneInfo(study.case.bin.timezone)
    doubts = careful(study, counted, found)
    notes = (*found.notes, *study.notes)
    basis = rests_on(counted, study.case.bin.founders.words, study.posterior.readings)
    if as_json:
        show_json(population_json(found, told, tz, bin, basis, (*doubts, *notes)))
        return
    out = console(WIDTH)
    out.print(f"Bin {bin}: {basis}; 5 to 95 % ranges with the middle in brackets.")
    for said in doubts:
        out.print(f"Careful: {said}")
    out.print(_table(found, told, tz))
    for question, answer in sentences(told, tz, int(found.time_utc[-1])):
        out.print(f"{question} {answer}")
    for note in dict.fromkeys(notes):
        out.print(f"Note: {note}")


def population_json(
    found: Census, told: Reckoning, tz: ZoneInfo, bin: str, basis: str, notes: tuple[str, ...]
) -> dict[str, object]:
    """Every stage on every day as plain JSON types: animals at 5, 50 and 95 %; masses in kg, times in ISO 8601."""
    from underlid.quantity.points import points
    from underlid.records import STAGES

    stages = found.lives.stages
    by_stage = {stage: stages[:, :, i] for i, stage in enumerate(STAGES)} | {"worms": stages[:, :, 1:].sum(axis=2)}

    def iso(seconds: int) -> str:
        return datetime.fromtimestamp(seconds, tz).isoformat()

    answers = asdict(told)
    for name in ("doubles", "harvest"):
        times = answers[name].pop("time_utc")
        answers[name]["time"] = None if times is None else [iso(second) for second in times]
    del answers["now"]
    return {
        "bin": bin,
        "rests_on": basis,
        "provenance": {"until_now": "estimated", "later": "predicted"},
        "time": [iso(int(second)) for second in found.time_utc],
        "now": iso(int(found.time_utc[told.now])),
        "stages": {
            name: dict(zip(PERCENTS, points(values).tolist(), strict=True)) for name, values in by_stage.items()
        },
        "live_kg": dict(zip(PERCENTS, points(found.lives.kg[:, :, 0]).round(6).tolist(), strict=True)),
        "answers": answers,
        "settled": found.settled,
        "trusted": found.trusted,
        "effective_sets": found.effective,
        "log_evidence": found.log_evidence if found.used else None,
        "seed": found.seed,
        "notes": list(notes),
    }


def _table(found: Census, told: Reckoning, tz: ZoneInfo) -> object:
    from rich.table import Table

    from underlid.quantity.points import three
    from underlid.records import STAGES
    from underlid.update.prose.colony import animals, between

    last = len(found.time_utc) - 1
    states = {0: "at first", told.now: "now"}
    for state, label in ((told.now + MONTH_DAYS, "in a month"), (last, "in the end")):
        if told.now < state <= last:
            states.setdefault(state, label)

    def day(state: int) -> str:
        moment = datetime.fromtimestamp(int(found.time_utc[state]), tz)
        return f"{moment.day} {moment:%b %Y}"

    def source(state: int) -> str:
        return "estimated" if state <= told.now else "predicted"

    heads = [f"{label}, {day(state)}\n{source(state)}" for state, label in states.items()]
    table = Table("animals", *heads, box=None, pad_edge=False)
    by_state = {state: found.on(state) for state in states}
    for name in (*STAGES, "worms"):
        label = "worms in all" if name == "worms" else f"{name}s"
        table.add_row(label, *(animals(by_state[state][name]) for state in states))

    def grams(state: int) -> Points:
        return three(1000 * found.lives.kg[:, state, 0])

    table.add_row("live mass", *(between(grams(state), "g") for state in states))
    return table
