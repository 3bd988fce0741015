"""Several bins of one keeper in one month beside each other: how they are built, their figures, and what differs.

Each bin is fitted by itself, so no draw of one belongs to a draw of another: whether two bins differ is judged by
their 90 % ranges. Two that miss each other are told as a difference beyond the ranges; any others are not resolved,
which is not the same as alike. Between two independent normal estimates of one truth with equal ranges that happens by
chance twice in a hundred times (`BY_CHANCE`; the rule is stricter than a test at 5 %: Schenker & Gentleman 2001,
recalled). What errs alike in all bins, as the weather or the model may, is not in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import combinations
from string import ascii_uppercase

from underlid.quantity.amount import VagueAmount
from underlid.update.facts import Range, Story, TrialFact

#: Chance that two such ranges miss each other where the truth is one: P(|Z| > 1.645 √2).
BY_CHANCE = 0.02
MOST = len(ascii_uppercase)


class BesideError(ValueError):
    """These accounts cannot be set beside each other; the sentence says why and what would mend it."""


@dataclass(frozen=True, slots=True)
class Build:
    """How one bin is made: bedding in litres, walls, where it stands, what lies in it, who was put in and when.

    wall_mm, founders : as the keeper noted them
    """

    litres: float
    wall: str
    wall_mm: VagueAmount
    siting: str
    base: str
    materials: tuple[str, ...]
    species: str
    founders: VagueAmount
    started: datetime


@dataclass(frozen=True, slots=True)
class Side:
    """One bin among them: its letter, the account of its month, its build."""

    letter: str
    story: Story
    build: Build


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of all the bins, None where a bin does not tell it.

    beyond : pairs of places in `values` whose ranges miss each other, the lower first; pairs : how many were compared
    """

    name: str
    values: tuple[Range | None, ...]
    beyond: tuple[tuple[int, int], ...]
    pairs: int


@dataclass(frozen=True, slots=True)
class Tested:
    """A trial that some of the bins are in: its verdict, and letter and arm of each."""

    trial: TrialFact
    arms: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """Bins of one keeper in one month.

    differs : names of the parts of `Build` in which they differ; span : days that all figures speak of, None where
    the accounts speak of different days; by_chance : how many of all pairs are expected to miss each other by chance
    """

    month: date
    sides: tuple[Side, ...]
    figures: tuple[Compared, ...]
    tested: tuple[Tested, ...]
    differs: tuple[str, ...]
    span: tuple[date, date] | None
    by_chance: float
    now: datetime

    @property
    def letters(self) -> tuple[str, ...]:
        """One for each bin."""
        return tuple(side.letter for side in self.sides)


def tell_beside(stories: Sequence[Story]) -> Beside:
    """Set accounts of one month beside each other, in their order. Raises BesideError."""
    _possible(stories)
    sides = tuple(Side(letter, story, _build(story)) for letter, story in zip(ascii_uppercase, stories, strict=False))
    figures = tuple(_compared(name, values) for name, values in _figures(stories))
    spans = {(story.told_from.date(), story.told_to.date()) for story in stories}
    return Beside(
        month=stories[0].month,
        sides=sides,
        figures=figures,
        tested=tuple(_tested(sides)),
        differs=tuple(_differs([side.build for side in sides])),
        span=spans.pop() if len(spans) == 1 else None,
        by_chance=BY_CHANCE * sum(one.pairs for one in figures),
        now=max(story.now for story in stories),
    )


def apart(one: Range, other: Range) -> bool:
    """Whether two ranges miss each other."""
    return one.high < other.low or other.high < one.low


# --- inside ----------------------------------------------------------------------------------------------


def _possible(stories: Sequence[Story]) -> None:
    if not 2 <= len(stories) <= MOST:
        raise BesideError(f"{len(stories)} accounts were given; two to {MOST} can be set beside each other.")
    names = [story.bin.name for story in stories]
    if twice := {name for name in names if names.count(name) > 1}:
        raise BesideError(f"Bin {min(twice)!r} was given twice; give each bin once.")
    months = {story.month for story in stories}
    if len(months) > 1:
        said = " and ".join(f"{month:%B %Y}" for month in sorted(months))
        raise BesideError(f"The accounts are of {said}; give accounts of one month.")


def _figures(stories: Sequence[Story]) -> Iterator[tuple[str, list[Range | None]]]:
    yield "coldest", [story.coldest.temperature for story in stories]
    yield "refuge", [story.refuge.share for story in stories]
    yield "without", [story.refuge.without_h for story in stories]
    yield "moisture", [story.water.now for story in stories]
    worms = [None if story.animals is None else story.animals.worms for story in stories]
    change = [None if story.animals is None else story.animals.change for story in stories]
    for name, values in (("worms", worms), ("change", change)):
        if any(value is not None for value in values):
            yield name, values


def _compared(name: str, values: Sequence[Range | None]) -> Compared:
    beyond, pairs = [], 0
    for i, j in combinations(range(len(values)), 2):
        one, other = values[i], values[j]
        if one is None or other is None or one.provenance != other.provenance:
            continue
        pairs += 1
        if apart(one, other):
            beyond.append((i, j) if one.high < other.low else (j, i))
    return Compared(name, tuple(values), tuple(sorted(beyond)), pairs)


def _build(story: Story) -> Build:
    record = story.bin
    return Build(
        litres=story.refuge.bedding_litres,
        wall=record.wall,
        wall_mm=record.wall_thickness,
        siting=record.siting,
        base=record.base,
        materials=tuple(dict.fromkeys(layer.material for layer in record.layers)),
        species=record.species,
        founders=record.founders,
        started=record.started.start,
    )


def _differs(builds: Sequence[Build]) -> Iterator[str]:
    """Amounts differ where what was noted of them cannot be one number."""
    litres = [build.litres for build in builds]
    if max(litres) > 1.05 * min(litres):  # closer sizes are alike as far as a tape measure goes: our judgement
        yield "litres"
    for name in ("wall", "siting", "base", "materials", "species"):
        if len({getattr(build, name) for build in builds}) > 1:
            yield name
    for name in ("wall_mm", "founders"):
        amounts: list[VagueAmount] = [getattr(build, name) for build in builds]
        known = [one for one in amounts if not (math.isinf(one.low) and math.isinf(one.high))]
        if known and max(one.low for one in known) > min(one.high for one in known):
            yield name
    if len({build.started.date() for build in builds}) > 1:
        yield "started"


def _tested(sides: Sequence[Side]) -> Iterator[Tested]:
    found: dict[str, TrialFact] = {}
    for side in sides:
        for trial in side.story.trials:
            found.setdefault(trial.name, trial)
    for name, trial in found.items():
        arms = [(side.letter, one.arm) for side in sides for one in side.story.trials if one.name == name]
        yield Tested(trial, tuple(arms))
