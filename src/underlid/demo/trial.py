"""An invented keeper tests a claim on eight small bins, from the plan to the verdict.

The truth comes from the life cycle that the power of the plan is simulated with, and the change does nothing in it: a
fair trial finds it within the margin or cannot tell. The counts are written in words and read back.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from underlid.counting.detection import JUDGED
from underlid.counting.parts import bedding_litres
from underlid.demo.winter import clear
from underlid.entry import parse_line
from underlid.files import write_whole
from underlid.fit.evidence import situation
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount, parse_size
from underlid.quantity.when import parse_when
from underlid.records import STAGES, AnyEntry, BeddingLayer, Bin, RegisteredPlan
from underlid.trials import telling
from underlid.trials.claims import claim
from underlid.trials.design import fed_weekly, foresee, plan_of, steady_scene
from underlid.trials.plan import Plan, canonical, digest
from underlid.trials.scene import Scene, drawn
from underlid.trials.simulated import lived
from underlid.trials.verdict import Verdict, verdict
from underlid.update.forms.trialpage import page
from underlid.worms.species import species

SEED = 20250501
CLAIM = "citrus-scraps"
NAME = "citrus"
BINS = ("ash", "beech", "cherry", "elder", "hazel", "maple", "oak", "thorn")
TIMEZONE = ZoneInfo("America/Anchorage")
START = datetime(2025, 5, 1, 12, tzinfo=TIMEZONE)
NOW = datetime(2025, 12, 1, 20, tzinfo=TIMEZONE)
LOOKS = (90, 180)
FOUNDERS = 30
MARGIN, BECAUSE = 2.0, "with four bins in each arm no smaller one could be shown, and half as many would matter"
ROOM_C = (16.0, 19.0)  # a heated cellar
FOOD_KG = 0.2  # a week
KIND = species("Eisenia fetida")
TRIALS = 400  # simulated, for the power


def make_bin(name: str) -> Bin:
    """The record the keeper makes of one of the bins, all alike."""
    size = parse_size("36 x 26 x 24 cm")
    layers = tuple(
        BeddingLayer(
            id=_id(name, "layer", i), position=i, material=material, depth=parse_amount(depth, expect="m"),
            moisture=parse_amount("about 75 %", expect="%"), words=f"{material} {depth}",
        )
        for i, (material, depth) in enumerate((("leaves", "8 cm"), ("old horse manure", "8 cm")))
    )  # fmt: skip
    return Bin(
        id=_id(name), name=name, started=parse_when("2025-05-01 12:00", now=NOW, tz=TIMEZONE), timezone=TIMEZONE.key,
        length=size.length, width=size.width, height=size.height, siting="indoors", base="slab", wall="polypropylene",
        wall_thickness=parse_amount("2 mm", expect="m"), founders=parse_amount(str(FOUNDERS), expect="1"),
        species=KIND.name, layers=layers, words="invented for the demo", noted_at=START,
    )  # fmt: skip


def scene() -> Scene:
    """Where the bins stand, as far as the plan knows."""
    record = make_bin(BINS[0])
    seen, litres = situation(record), bedding_litres(record, situation(record).vessel)
    middle = (litres.low + litres.high) / 2
    return fed_weekly(steady_scene(KIND, seen, middle, ROOM_C, LOOKS[-1] + 1, record.founders), FOOD_KG)


def make_plan() -> Plan:
    """The plan, with what simulated trials of it come to."""
    made = plan_of(
        claim(CLAIM), NAME, BINS, START.date().isoformat(), FOUNDERS, SEED, margin=MARGIN, because=BECAUSE, looks=LOOKS,
        blind=True,
    )  # fmt: skip
    return replace(made, expected=foresee(made, scene(), trials=TRIALS).expected)


def count_lines(seed: int = SEED) -> list[tuple[datetime, str, str]]:
    """When, of which bin and what the keeper wrote: full sorts by stage, now and then “about”."""
    where = scene()
    rng = np.random.default_rng([seed, 1])
    among = drawn(where, 1, len(BINS), rng, rng)
    stages, _ = lived(where, among, np.ones((1, len(BINS))), np.array(LOOKS), seed, 0)
    found = rng.binomial(stages[0], [JUDGED[stage] for stage in STAGES])  # (bins, looks, stages)
    lines = []
    for look, day in enumerate(LOOKS):
        for number, name in enumerate(BINS):
            at = START + timedelta(days=day + int(rng.integers(0, 3)), hours=int(rng.integers(5, 9)))
            said = ", ".join(
                f"{_spoken(int(many), rng)} {stage}{'' if many == 1 else 's'}"
                for stage, many in zip(STAGES, found[number, look], strict=True)
            )
            lines.append((at, name, f"full sort: {said}"))
    return lines


def run(out: Path, *, say: Callable[[str], None] = print) -> dict[str, object]:
    """Plan, register, count and judge; the page is written, and the verdict returned as words and JSON types."""
    folder = out / "invented-trial"
    clear(folder, BINS)
    made = make_plan()
    write_whole(out / f"{NAME}.json", canonical(made).encode())
    say(f"trial “{NAME}”, invented: {telling.expected(made)}")
    ids = count()
    with Journal.create(folder) as journal:
        records = {name: make_bin(name) for name in BINS}
        for record in records.values():
            journal.add_bin(record)
        journal.register(
            RegisteredPlan(
                name=made.name, text=canonical(made), sha256=digest(made), registered_at=START - timedelta(days=7)
            )
        )
        for at, name, line in count_lines():
            journal.add(parse_line(line, bin=records[name], now=at, new_id=lambda: _id("entry", next(ids))).records)
        entries: dict[str, tuple[AnyEntry, ...]] = {name: journal.entries(name) for name in BINS}
        kept = journal.plan(NAME)
        told: Verdict = verdict(made, kept.registered_at, records, entries, journal.plan_changes(NAME), NOW)
    target = out / f"trial-{NAME}.html"
    write_whole(target, page(told, claim(CLAIM), (), NOW).encode())
    say(f"  {telling.sentence(told)}")
    say(f"  (in truth the change does nothing here) page written to {target}")
    return {"verdict": told.word, "sentence": telling.sentence(told), "sha256": digest(made), "page": str(target)}


# --- inside ----------------------------------------------------------------------------------------------


def _spoken(many: int, rng: np.random.Generator) -> str:
    """A count as it is written: exact, or of many now and then rounded to “about”."""
    if many >= 40 and rng.random() < 0.3:
        return f"about {10 * round(many / 10)}"
    return str(many)


def _id(*parts: object) -> str:
    return str(uuid.uuid5(uuid.UUID(int=SEED), "/".join(map(str, parts))))
