"""Invented colonies of a few numbers each, and tallies of them, for the tests of what fits a colony to a tally."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from underlid.fit.heard import Looking
from underlid.fit.tally import Rows, Tally, tally
from underlid.quantity.amount import Kind, VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import AnyEntry, Place, SampleCount, Sighting, Stage
from underlid.worms.lifecycle import Colony, Course

BEGIN = datetime(2026, 3, 1, 12, tzinfo=UTC)
DAYS = 60
INF = float("inf")
NOTHING: Mapping[str, float] = {}
LIVELY = {
    "cocoon_pace": 0.4, "young_pace": 0.3, "laid": 0.3, "viable": 0.8, "cocoon_death": 0.01, "young_death": 0.006,
    "adult_death": 0.003, "appetite": 0.1, "rot": 0.002,
}  # fmt: skip


def hours(days: int = DAYS) -> np.ndarray:
    return int(BEGIN.timestamp()) + 3600 * np.arange(24 * days + 1, dtype=np.int64)


def amount(said: int | str, unit: str = "1") -> VagueAmount:
    """`7`, `10-15`, `30+`, `about 20-30` or nothing, as the journal has them."""
    words = str(said)
    if not words:
        return VagueAmount(-INF, INF, unit, "not noted", "")
    if words.endswith("+"):
        return VagueAmount(float(words[:-1]), INF, unit, "at least", words)
    low, _, high = words.removeprefix("about ").partition("-")
    kind: Kind = "about" if words.startswith("about ") else "between" if high else "exact"
    return VagueAmount(float(low), float(high or low), unit, kind, words)


def at(day: float, window_days: float = 0.0) -> VagueTime:
    start = BEGIN + timedelta(days=day)
    return VagueTime(start, start + timedelta(days=window_days), "about", f"day {day:g}")


def counted(
    day: float, counts: dict[Stage, int | str], *, litres: str = "1", place: Place = "middle", window_days: float = 0.0,
    id: str = "c",
) -> SampleCount:  # fmt: skip
    found = tuple((stage, amount(said)) for stage, said in counts.items())
    said = f"{litres} L {place}: {counts}"
    return SampleCount(
        id=id, bin="b", when=at(day, window_days), words=said, volume=amount(litres, "L"), counts=found, place=place
    )


def seen(
    day: float, many: int | str, stage: Stage | None = None, *, window_days: float = 0.0, id: str = "s"
) -> Sighting:
    words = f"{many} {stage or 'worm'}s under the card"
    return Sighting(
        id=id, bin="b", when=at(day, window_days), words=words, amount=amount(many), stage=stage or "not noted"
    )


def told(*entries: AnyEntry) -> Tally:
    return tally(entries, hours())


def sure(*entries: AnyEntry) -> Rows:
    """The rows of a tally in which nothing is a slip."""
    rows = told(*entries).rows
    return rows._replace(slip=np.zeros_like(rows.slip))


def looking(
    shares: Sequence[float] = (), *, sets: int = 1, founders: int = 30, adult_share: float = 1.0, cocoons: float = 0.0,
    food_kg: float = 0.0, found: float = 1.0, concentration: float = 1.0,
) -> Looking:  # fmt: skip
    one = np.ones(sets)
    return Looking(
        np.full(sets, founders), adult_share * one, cocoons * one, food_kg * one, np.full((sets, 5), found),
        concentration * one, np.tile(np.array(shares, float), (sets, 1)),
    )  # fmt: skip


def course(sets: int = 1, steps: int = DAYS, *, daily: Mapping[str, float] = NOTHING) -> Course:
    """Steps of a day that are all alike; what is not given does not happen."""
    return Course(*(np.full((sets, steps), daily.get(name, float(name == "days"))) for name in Course._fields))


def colony(sets: int = 1) -> Colony:
    """Room without end, masses as of Eisenia."""
    return Colony(*(np.full(sets, each) for each in (2.5, 100.0, 0.0, 1e-5, 1e-4, 2e-4, 4e-4)))
