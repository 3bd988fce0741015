"""The command that asks how many animals live in a bin, without emptying it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    BinArgument,
    JournalOption,
    JsonOption,
    NowOption,
    SeedOption,
    by_percent,
    clock,
    console,
    show_json,
    span,
)

if TYPE_CHECKING:
    from underlid.counting.account import Account
    from underlid.counting.detection import Recovery
    from underlid.records import SampleCount, Sighting


class NotUnderstood(ValueError):
    """What is said with an option is not in the form that it needs."""


def count(
    bin: BinArgument,
    since: Annotated[
        str | None, typer.Option(help="First day whose samples count; else those of the latest day with samples.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="Last day whose samples count.")] = None,
    litres: Annotated[
        str | None, typer.Option(help="The bedding as it is now, e.g. “about 20 L”; else as laid, perhaps sunk.")
    ] = None,
    passes: Annotated[
        str | None, typer.Option(help="The same bedding sorted several times: catches, e.g. “38,26,12”.")
    ] = None,
    effort: Annotated[
        str | None, typer.Option(help="With --passes, if they were unequal: minutes of each, e.g. “20,20,10”.")
    ] = None,
    recovered: Annotated[
        list[str] | None,
        typer.Option(help="A known number put in and looked for, e.g. “juvenile 14 of 20”; may be repeated."),
    ] = None,
    observers: Annotated[
        str | None, typer.Option(help="Two sorters of the same bedding, finds matched: “20,15,both 12”.")
    ] = None,
    precision: Annotated[
        float | None, typer.Option(min=1, max=100, help="Also say how many samples give that standard error, in %.")
    ] = None,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """How many worms live in a bin, from samples, several passes or two sorters; with its range."""
    from underlid.counting.account import Question, account, span_of
    from underlid.fit.evidence import situation
    from underlid.journal.store import Journal
    from underlid.quantity import parse_amount

    if effort is not None and passes is None:
        raise NotUnderstood("--effort belongs to --passes; give the catches too.")
    with Journal.open(journal) as book:
        record, entries, containers = book.bin(bin), book.entries(bin), book.containers()
    question = Question(
        litres=None if litres is None else parse_amount(litres, expect="L", containers=containers),
        passes=() if passes is None else _whole(passes, "--passes", "38,26,12"),
        effort=() if effort is None else _numbers(effort, "--effort", "20,20,10"),
        recoveries=_recoveries(recovered or []),
        observers=None if observers is None else _observers(observers),
        precision=None if precision is None else precision / 100,
    )
    tz = ZoneInfo(record.timezone)
    moment = clock(now, tz)
    asked = span_of(entries, moment, tz, *span(since, until, record, moment))
    situated = situation(record)
    told = account(record, situated.vessel, asked, question, seed)
    if as_json:
        show_json({"bin": bin, "now": moment.isoformat(), "seed": seed, **count_json(told, tz)})
    else:
        _print(bin, told)


def count_json(told: Account, tz: ZoneInfo) -> dict[str, object]:
    """The account as plain JSON types: animals, litres, shares as fractions; all but what was found is estimated."""
    from underlid.counting import telling
    from underlid.counting.account import seen_at_least

    found, span, narrowing = told.estimate, told.span, told.narrowing
    sentences = ("assumed", "narrower")
    return {
        "provenance": "estimated",
        "from": None if span is None else _iso(span.start, tz),
        "until": None if span is None else _iso(span.end, tz),
        "entries": [] if span is None else [_entry(entry) for entry in span.samples],
        "stages": [] if found is None else [
            {
                "stage": stage.stage, "found": list(stage.found), "samples": stage.samples,
                "total": _points(stage.total), "per_litre": _points(stage.per_litre),
                "clumping_k_half_litre": _points(stage.clumping),
                "detection": {**_points(told.chances[stage.stage].range), "tried": told.chances[stage.stage].tried},
            }
            for stage in found.stages
        ],
        "worms": None if found is None or found.worms is None else _points(found.worms),
        "worms_per_litre": None if found is None or found.worms_per_litre is None else _points(found.worms_per_litre),
        "not_looked_for": [] if found is None else list(found.not_looked_for),
        "parts": [] if found is None else [
            {"part": part, "share": told.bedding.shares.get(part), "samples": n} for part, n in found.parts
        ],
        "bedding_litres": None if found is None else _points(found.litres),
        "litres_sampled": None if found is None else found.litres_sampled,
        "whole_bedding_sorted": found is not None and found.whole,
        "narrowing": None if narrowing is None else {
            "sample": narrowing.volume.as_json(), "width_with_more_samples": dict(narrowing.with_samples),
            "width_with_recovery_trial": narrowing.with_trial, "samples_for_precision": told.needed,
        },
        "passes": None if told.removed is None else {
            "method": told.removed.method, "catches": list(told.question.passes), "found": told.removed.found,
            "number": told.removed.number, "p5": told.removed.low, "p95": _finite(told.removed.high),
            "se": told.removed.se, "chance": told.removed.chance, "chance_range": list(told.removed.chances),
            "remarks": list(told.removed.remarks),
        },
        "observers": None if told.observed is None else {
            "seen": told.observed.seen, "number": told.observed.number, "p5": told.observed.low,
            "p95": told.observed.high, "se": told.observed.se,
            "detection": [_points(chance.range) for chance in told.observed.chances],
        },
        "recovered": [
            {"stage": trial.stage, "found": trial.found, "put_in": trial.put_in,
             "detection": _points(told.chances[trial.stage].range)}
            for trial in told.question.recoveries
        ],
        "seen_at_least": [] if span is None else [
            {**_entry(entry), "at_least": seen_at_least([entry])} for entry in span.sightings
        ],
        **{name: list(getattr(telling, name)(told)) for name in sentences},
        "notes": list(told.notes),
        "refused": list(told.refused),
    }  # fmt: skip


def _print(bin: str, told: Account) -> None:
    from rich.table import Table

    from underlid.counting import telling
    from underlid.entry.describe import describe

    out = console(WIDTH)
    if told.estimate is not None and told.span is not None:
        for sentence in telling.total(bin, told.estimate):
            out.print(sentence)
        for entry in told.span.samples:
            out.print(f"  {describe(entry)}  [{entry.id}]")
        table = Table("", "found", "in the bin", "5 to 95 %", "in a litre", box=None, pad_edge=False)
        for row in telling.rows(told.estimate):
            table.add_row(*row)
        out.print(table)
    for sentence in telling.beside(told):
        out.print(sentence)
    headed = {
        "Seen": telling.seen(told),
        "Taken for granted": telling.assumed(told),
        "What would narrow it": telling.narrower(told),
        "Beware": told.notes,
        "Cannot be told": told.refused,
    }
    for head, sentences in headed.items():
        if sentences:
            out.print(f"{head}.")
        for sentence in sentences:
            out.print(f"  {sentence}")


# --- the words of the options ------------------------------------------------------------------------------


def _numbers(words: str, option: str, example: str) -> tuple[float, ...]:
    try:
        found = tuple(float(part) for part in words.split(","))
    except ValueError:
        found = ()
    if not found or not all(math.isfinite(value) and 0 <= value < 1e9 for value in found):
        raise NotUnderstood(f"{option} {words!r} is not numbers with commas between; write it as “{example}”.")
    return found


def _whole(words: str, option: str, example: str) -> tuple[int, ...]:
    found = _numbers(words, option, example)
    if any(value != int(value) for value in found):
        raise NotUnderstood(f"{option} {words!r} is not whole numbers; write it as “{example}”.")
    return tuple(int(value) for value in found)


def _recoveries(said: Sequence[str]) -> tuple[Recovery, ...]:
    from underlid.counting.detection import Recovery
    from underlid.records import STAGES

    found = []
    for words in (part.strip() for line in said for part in line.split(",")):
        read = re.fullmatch(r"([a-z-]+?)s?\s+(\d{1,6})\s+of\s+(\d{1,6})", words, re.IGNORECASE)
        stage = None if read is None else next((each for each in STAGES if each == read[1].lower()), None)
        if read is None or stage is None:
            raise NotUnderstood(
                f"--recovered {words!r} is not understood; write a stage ({', '.join(STAGES)}) and how many were found "
                "of those put in, as “juvenile 14 of 20”."
            )
        found.append(Recovery(stage, int(read[2]), int(read[3])))
    return tuple(found)


def _observers(words: str) -> tuple[int, int, int]:
    read = re.fullmatch(r"\s*(\d{1,6})\s*,\s*(\d{1,6})\s*,\s*(?:both\s*)?(\d{1,6})\s*", words, re.IGNORECASE)
    if read is None:
        raise NotUnderstood(
            f"--observers {words!r} is not understood; write the finds of the first, of the second, and those of "
            "both, as "
            "“20,15,both 12”."
        )
    return int(read[1]), int(read[2]), int(read[3])


# --- plain types -------------------------------------------------------------------------------------------


def _points(points: tuple[float, float, float]) -> dict[str, float]:
    return by_percent(points, 4)


def _entry(entry: SampleCount | Sighting) -> dict[str, object]:
    return {"id": entry.id, "when": entry.when.words, "words": entry.words, "place": entry.place}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _iso(moment: datetime, tz: ZoneInfo) -> str:
    return moment.astimezone(tz).isoformat()
