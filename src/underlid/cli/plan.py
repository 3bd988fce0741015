"""The command that plans a trial, and says what it can tell before it costs anybody a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast
from zoneinfo import ZoneInfo

import typer

from underlid.cli.claim import known_claims
from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    clock,
    console,
    progress,
    show_json,
)

if TYPE_CHECKING:
    from underlid.records import Bin
    from underlid.trials.claims import Outcome
    from underlid.trials.plan import Plan
    from underlid.trials.scene import Scene

USUAL_FOUNDERS = 30


def plan(
    claim: Annotated[str, typer.Argument(help="Name of the claim to test; `underlid claim` lists them.")],
    bins: Annotated[str, typer.Option(help="Names of the bins, e.g. “a,b,c,d”; the arms are drawn by lot.")],
    name: Annotated[str | None, typer.Option(help="Name of the trial; the claim's if not given.")] = None,
    starts: Annotated[str | None, typer.Option(help="Day it starts, e.g. “1 May 2026”; today if not given.")] = None,
    founders: Annotated[int, typer.Option(min=1, help="Animals put into each bin.")] = USUAL_FOUNDERS,
    outcome: Annotated[str | None, typer.Option(help="What is compared; that of the claim if not given.")] = None,
    margin: Annotated[
        float | None, typer.Option(help="Smallest effect that would matter, e.g. 1.5 for half as many again.")
    ] = None,
    because: Annotated[str | None, typer.Option(help="Why that margin.")] = None,
    looks: Annotated[str | None, typer.Option(help="Days of the counts after the start, e.g. “180,360”.")] = None,
    alone: Annotated[bool, typer.Option("--alone", help="No control: it can only show what is possible.")] = False,
    blind: Annotated[bool, typer.Option("--blind", help="Who counts will not know the arm.")] = False,
    unlike: Annotated[bool, typer.Option("--unlike", help="The arms cannot be sorted alike.")] = False,
    like: Annotated[
        str | None, typer.Option(help="A bin of the journal that the bins are like; else the first.")
    ] = None,
    at: Annotated[str, typer.Option(help="Bedding temperature where there is no weather, e.g. “12-18 C”.")] = "12-20 C",
    feed: Annotated[str, typer.Option(help="Food given to each bin a week.")] = "300 g",
    weather: Annotated[
        Path | None, typer.Option("--weather", "-w", help="Weather file: trials are simulated in its bedding.")
    ] = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    trials: Annotated[int, typer.Option(min=100, max=100_000, help="Whole trials to simulate.")] = 400,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="File to write; NAME.json if not given.")] = None,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan a trial of a claim: arms by lot, looks, stop rules, and what it can tell, by simulating it whole."""
    from underlid.answer import TrialProblem
    from underlid.files import write_whole
    from underlid.journal.store import Journal
    from underlid.quantity.when import parse_when
    from underlid.trials.claims import claim as find
    from underlid.trials.design import foresee, plan_of
    from underlid.trials.plan import as_json as plan_json
    from underlid.trials.plan import canonical

    one = find(claim, known_claims(journal))
    named = tuple(each.strip() for each in bins.split(",") if each.strip())
    with Journal.open(journal) as book:
        standing = {record.name: record for record in book.bins()}
    record = _like(like, named, standing)
    tz = ZoneInfo(record.timezone)
    moment = clock(now, tz)
    day = moment if starts is None else parse_when(starts, now=moment, tz=tz, allow_future=True).start
    made = plan_of(
        one, name or one.name, named, day.date().isoformat(), founders, seed, outcome=cast("Outcome | None", outcome),
        margin=margin, because=because, looks=_days(looks), alone=alone, same_sort=not unlike, blind=blind,
    )  # fmt: skip
    where = _scene(made, record, weather, past or [], place, fill_gaps, at, feed, seed, journal, now, quiet=as_json)
    with progress("simulating trials", quiet=as_json) as tell_progress:
        told = foresee(made, where, trials=trials, progress=tell_progress)
    made = replace(made, expected=told.expected)
    target = out or Path(f"{made.name}.json")
    if out is None and target.exists() and target.read_bytes() != canonical(made).encode():
        raise TrialProblem(f"{target} is there already, and is another plan; give --out or --name, or take it away.")
    write_whole(target, canonical(made).encode())
    if as_json:
        show_json({"file": str(target), "plan": plan_json(made), "expected": list(told.said), "trials": trials})
        return
    _print_plan(made, told.said, "" if one.design is None else one.design.trial, target)


# --- inside ----------------------------------------------------------------------------------------------


def _like(like: str | None, named: Sequence[str], standing: dict[str, Bin]) -> Bin:
    from underlid.answer import TrialProblem

    wanted = [like] if like is not None else [*named, *standing]
    for name in wanted:
        if name in standing:
            return standing[name]
    if like is not None:
        raise TrialProblem(f"There is no bin “{like}” in the journal; it holds {', '.join(standing) or 'none'}.")
    raise TrialProblem(
        "The journal holds no bin yet, so nothing is known of their size: start one with `underlid new`, then plan."
    )


def _days(looks: str | None) -> tuple[int, ...]:
    if looks is None:
        return ()
    try:
        return tuple(int(day) for day in looks.split(","))
    except ValueError:
        from underlid.answer import TrialProblem

        raise TrialProblem(f"--looks “{looks}” must be whole days after the start, as “90,180,360”.") from None


def _scene(
    made: Plan, record: Bin, weather: Path | None, past: list[Path], place: str | None, fill_gaps: int, at: str,
    feed: str, seed: int, journal: Path, now: str | None, *, quiet: bool,
) -> Scene:  # fmt: skip
    """Where the trials are simulated: the bedding of a bin under weather, or at a steady temperature."""
    from underlid.answer import trial_scene
    from underlid.quantity import parse_amount

    food, warm, study = parse_amount(feed, expect="kg"), parse_amount(at, expect="degC"), None
    if weather is not None:
        from underlid.cli.study import study_of

        study = study_of(record.name, weather, past, None, place, fill_gaps, seed, journal, now, quiet=quiet)
    return trial_scene(made, record, warm, food, study)


def _print_plan(made: Plan, said: Sequence[str], how: str, target: Path) -> None:
    from underlid.trials.plan import ARMS
    from underlid.trials.shown import margin_words

    out = console(WIDTH)
    out.print(f"Trial “{made.name}”: {made.statement}")
    out.print(f"Predicted: {said[0]}")
    for arm in ARMS:
        if made.bins(arm):
            out.print(f"  {arm}: {', '.join(made.bins(arm))} - {getattr(made, arm)}")
    out.print(f"Compared: {made.outcome}, {margin_words(made)} ({made.because})")
    days = ", ".join(map(str, made.looks))
    out.print(f"From {made.starts}, {made.founders} founders in each bin; counts on days {days}.")
    if how:
        out.print(f"How: {how}")
    out.print("When to stop, for the animals' sake.")
    for rule in made.stop:
        out.print(f"  {rule.watched}: {rule.then}.")
    for each in said[1:]:
        out.print(f"Note: {each}")
    out.print(
        f"Written to {target}. Read it, mend what is not so, then `underlid register {target}` before the first count."
    )
