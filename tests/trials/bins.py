"""Invented bins, plans and journals for tests of trials."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import Any

from underlid.entry import parse_line
from underlid.quantity import parse_amount, parse_size
from underlid.quantity.when import VagueTime
from underlid.records import AnyEntry, BeddingLayer, Bin
from underlid.trials.plan import ArmName, Plan
from underlid.trials.verdict import Verdict, verdict

START = date(2025, 4, 1)
REGISTERED = datetime(2025, 3, 20, 12, tzinfo=UTC)
END = datetime(2026, 6, 1, 12, tzinfo=UTC)
SIZE = parse_size("40 x 30 x 30 cm")


def a_bin(name: str) -> Bin:
    started = datetime(2025, 4, 1, tzinfo=UTC)
    layer = BeddingLayer(
        id=f"{name}-0", position=0, material="leaves", depth=parse_amount("20 cm"), moisture=parse_amount("not noted")
    )
    return Bin(
        id=name, name=name, started=VagueTime(started, started + timedelta(days=1), "exact", "1 Apr 2025"),
        timezone="UTC", length=SIZE.length, width=SIZE.width, height=SIZE.height, siting="open shelter", base="feet",
        wall="polypropylene", wall_thickness=parse_amount("2 mm"), founders=parse_amount("30", expect="1"),
        species="Eisenia fetida", layers=(layer,),
    )  # fmt: skip


def a_plan(arms: Mapping[str, ArmName], **changes: Any) -> Plan:
    usual: dict[str, Any] = {
        "name": "grit", "claim": "mineral-grit", "statement": "Leaving it out makes no difference beyond the margin.",
        "control": "a handful of grit", "changed": "no grit", "outcome": "worms", "scale": "ratio", "unit": "",
        "margin": 2.0, "because": "half as many would matter", "founders": 30, "starts": START.isoformat(),
        "looks": (360,), "arms": dict(arms), "seed": 1, "blind": True,
    }  # fmt: skip
    return Plan(**(usual | changes))


def arms(controls: int, changed: int) -> dict[str, ArmName]:
    named: dict[str, ArmName] = {f"c{i}": "control" for i in range(controls)}
    return named | {f"x{i}": "changed" for i in range(changed)}


_ids = count()


def said(bin: Bin, day: int, words: str) -> tuple[AnyEntry, ...]:
    """What a keeper wrote on that day of the trial, through the reader of lines."""
    now = datetime.combine(START, datetime.min.time(), UTC) + timedelta(days=day, hours=20)
    return parse_line(words, bin=bin, now=now, new_id=lambda: f"e{next(_ids)}").records


def judged(
    plan: Plan, lines: Mapping[str, Sequence[tuple[int, str]]], *, now: datetime = END,
    registered: datetime = REGISTERED, changes: Sequence[Any] = (), bins: Callable[[str], Bin] = a_bin,
) -> Verdict:  # fmt: skip
    """The verdict on what was written of each bin: (day, words)."""
    records = {name: bins(name) for name in plan.arms}
    entries = {
        name: tuple(entry for day, words in lines.get(name, ()) for entry in said(record, day, words))
        for name, record in records.items()
    }
    return verdict(plan, registered, records, entries, changes, now)


def sorts(plan: Plan, counts: Mapping[str, object], day: int | None = None) -> dict[str, list[tuple[int, str]]]:
    """A full sort of each bin on one day: a number of adults, or words for them."""
    on = plan.days if day is None else day
    return {name: [(on, f"full sort: {many} adults")] for name, many in counts.items()}


__all__ = ["END", "REGISTERED", "START", "a_bin", "a_plan", "arms", "judged", "replace", "said", "sorts"]
