"""The command that asks, before a feeding, whether it is fine, should be smaller, or should wait."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    PERCENTS,
    BinArgument,
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
    from underlid.fit.feedcheck import Checked
    from underlid.fit.reckoning import Points
    from underlid.fit.study import Study

OptionalWeather = Annotated[
    Path | None,
    typer.Option(
        "--weather", "-w", envvar="UNDERLID_WEATHER",
        help="Weather file, as outlook takes: then warmth, moisture and worms are those of your fitted bin.",
    ),
]  # fmt: skip
WIDTH = 110  # columns where the answer is not shown on a terminal


def feedcheck(
    bin: BinArgument,
    words: Annotated[list[str], typer.Argument(help="What you would feed, e.g. “300 g lemon peel”.")],
    at: Annotated[
        str | None,
        typer.Option(help="Bedding temperature, e.g. “10-12 C”; else that read in the last two weeks."),
    ] = None,
    ph: Annotated[str | None, typer.Option(help="pH of the bedding, e.g. “6.5-7”; else by the journal.")] = None,
    heaps: Annotated[int, typer.Option(min=1, max=100, help="In how many places you would put it.")] = 1,
    weather: OptionalWeather = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Before you feed: fine, smaller or not now, why, and the figures behind it."""
    import numpy as np

    from underlid.entry import parse_line
    from underlid.fit.acidtelling import WITH_WEATHER
    from underlid.fit.feedasked import question_of
    from underlid.fit.feedbed import amount_of, food_of, one_feeding, shown
    from underlid.fit.feedcheck import RULE
    from underlid.fit.feedcheck import feedcheck as check
    from underlid.journal.store import Journal
    from underlid.quantity import parse_amount

    with Journal.open(journal) as book:
        record, entries, containers = book.bin(bin), book.entries(bin), book.containers()
    moment = clock(now, ZoneInfo(record.timezone))
    said = " ".join(words)
    line = said if said.lower().startswith("fed ") else f"fed {said}"
    fed = one_feeding(
        parse_line(line, bin=record, now=moment, new_id=lambda: "if", containers=containers).records, said
    )
    food = food_of(fed)
    amount_of(fed, food)  # what cannot be weighed is refused before anything is fitted
    told_ph = None if ph is None else parse_amount(ph, expect="pH")
    told_c = None if at is None else parse_amount(at, expect="degC")
    fitted: tuple[Study, Points] | None = None
    doubts: tuple[str, ...] = ()
    if weather is not None:
        fitted, doubts = _fitted(bin, weather, past or [], place, fill_gaps, seed, journal, now, moment, as_json)
    with progress(f"the acid of {bin}", quiet=as_json) as tell_progress:
        asked, granted = question_of(
            record, entries, fed, moment, seed, ph=told_ph, bedding_c=told_c, heaps=heaps, fitted=fitted,
            progress=tell_progress,
        )  # fmt: skip
    told = check(asked, np.random.default_rng(seed))
    notes = (*granted, *([WITH_WEATHER] if weather is None else []), RULE)
    if as_json:
        head = {"bin": bin, "now": moment.isoformat(), "words": said}
        show_json({**head, **feedcheck_json(told), "notes": [*doubts, *notes], "seed": seed})
        return
    _print(f"{shown(fed, food)} in bin {bin}", told, doubts, notes)


def _fitted(
    bin: str, weather: Path, past: list[Path], place: str | None, fill_gaps: int, seed: int, journal: Path,
    now: str | None, moment: datetime, quiet: bool,
) -> tuple[tuple[Study, Points], tuple[str, ...]]:  # fmt: skip
    """The fitted bin to three weeks from now with the live mass of its worms now [kg], and what makes it doubtful."""
    from underlid.answer import census_of
    from underlid.cli.study import study_of
    from underlid.fit.feedharm import DAYS
    from underlid.fit.reckoning import careful, reckoning
    from underlid.journal.store import Journal

    until = f"{moment + timedelta(days=DAYS):%Y-%m-%d}"
    study = study_of(bin, weather, past, until, place, fill_gaps, seed, journal, now, quiet=quiet)
    with Journal.open(journal) as book, progress(f"the colony in {bin}", quiet=quiet) as tell_progress:
        prior, counted, census = census_of(book, study, seed, tell_progress)
    return (study, reckoning(prior, census).live_kg), careful(study, counted, census)


def feedcheck_json(told: Checked) -> dict[str, object]:
    """The answer as plain JSON types: kg, degC, chances and shares as fractions; all figures are predicted."""
    asked = told.asked
    return {
        "provenance": "predicted",
        "verdict": told.verdict, "because": told.because,
        "material": asked.food.name, "kg": [asked.amount.low, asked.amount.high], "heaps": asked.heaps,
        "fine_kg": told.fine_kg, "fine_portion": told.portion,
        "bedding": {
            "litres": asked.bed.litres, "bedding_c": list(asked.bedding_c),
            "ph": [round(asked.bed.ph.low, 3), round(asked.bed.ph.high, 3)],
            "ph_from": "said or judged" if asked.acidity is None or not asked.acidity.used else "readings",
            "ph_readings": 0 if asked.acidity is None else len(asked.acidity.used),
            "fed_before": 0 if asked.acidity is None else len(asked.acidity.of.fed),
            "layers": [{"material": one.name, "depth_m": depth} for one, depth in asked.bed.layers],
        },
        "live_kg": None if asked.live_kg is None else list(asked.live_kg),
        "species": asked.species.name,
        "pocket_share": _points(told.pocket_share),
        "items": [
            {
                "item": item.name, "verdict": item.verdict, "unit": item.unit or None,
                "figure": _points(item.figure), "limit": _points(item.limit),
                "chance_pocket": round(item.chance, 4), "chance_bin": round(item.whole_chance, 4),
                "room_lost": round(item.room_lost, 4), "sentence": item.sentence,
            }
            for item in told.items
        ],
        "cautions": list(told.cautions), "draws": told.draws,
    }  # fmt: skip


def _print(what: str, told: Checked, doubts: tuple[str, ...], notes: tuple[str, ...]) -> None:
    from rich.table import Table

    from underlid.fit.feedtelling import row

    out = console(WIDTH)
    out.print(f"{told.verdict.capitalize()}: {what}.{_rather(told)}")
    out.print(f"Because: {told.because}" if told.verdict != "fine" else told.because)
    for said in doubts:
        out.print(f"Careful: {said}")
    table = Table("", "beside it, predicted", "limit", "beyond it", "whole bin", "", box=None, pad_edge=False)
    for item in told.items:
        table.add_row(*row(item))
    out.print(table)
    out.print("Figures are 5 to 95 %, with the middle; “beyond it” and “whole bin” are chances.")
    for item in told.items:
        if item.sentence != told.because:
            out.print(item.sentence)
    for head, sentences in {"Heed": told.cautions, "Taken for granted": notes}.items():
        if sentences:
            out.print(f"{head}.")
        for sentence in sentences:
            out.print(f"  {sentence}")


def _rather(told: Checked) -> str:
    """What would be fine instead."""
    from underlid.fit.feedbed import weighed

    if told.fine_kg is None:
        return ""
    return f" At most {weighed(told.fine_kg)}, {told.portion}, would be fine."


def _points(points: tuple[float, float, float] | None) -> dict[str, float | None] | None:
    """5, 50 and 95 %; null for what never comes."""
    if points is None:
        return None
    return {
        name: round(value, 5) if math.isfinite(value) else None for name, value in zip(PERCENTS, points, strict=True)
    }
