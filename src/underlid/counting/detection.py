"""What sorting overlooks: a known number put in and looked for, and two sorters of the same bedding.

Before any trial the chance of finding an animal is a judgement, by stage: hand sorting is reported to find about 80 %
of earthworms (Axelsson and others 1971, as quoted by Walther and Snider 1984), mostly missing small pale ones, and
cocoons hardly at all (Raw 1960). Each judgement weighs as much as a trial with `WORTH` animals. Nelson and Satchell
(1962) checked each sorter with a known number put in: the one cheap way to know better.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scipy.special import betaincinv

from underlid.counting import CannotTell
from underlid.quantity.amount import NINETY
from underlid.records import STAGES, Stage

JUDGED: Mapping[Stage, float] = {"adult": 0.95, "sub-adult": 0.9, "juvenile": 0.7, "hatchling": 0.4, "cocoon": 0.3}
WORTH = 10.0  # animals; how much a judgement weighs beside a trial: our judgement


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance that sorting finds an animal that is there: a beta distribution; `tried` animals are behind it."""

    found: float
    missed: float
    tried: int = 0

    @property
    def mean(self) -> float:
        """The expected chance."""
        return self.found / (self.found + self.missed)

    @property
    def range(self) -> tuple[float, float, float]:
        """5, 50 and 95 %."""
        low, middle, high = (float(betaincinv(self.found, self.missed, share)) for share in (0.05, 0.5, 0.95))
        return low, middle, high


@dataclass(frozen=True, slots=True)
class Recovery:
    """A seeded trial: so many of a stage were put in, and so many of them found."""

    stage: Stage
    found: int
    put_in: int

    def __post_init__(self) -> None:
        if not 0 <= self.found <= self.put_in or self.put_in < 1:
            raise CannotTell(
                f"{self.found} of {self.put_in} {self.stage}s were found again; a trial needs one put in at least, and "
                "cannot find more than were put in."
            )


def judged(stage: Stage) -> Chance:
    """The chance of finding that stage before any trial: our judgement, from the sources above."""
    return Chance(JUDGED[stage] * WORTH, (1 - JUDGED[stage]) * WORTH)


def chances(recoveries: Sequence[Recovery] = ()) -> dict[Stage, Chance]:
    """The chance for every stage, with what trials have taught about it."""
    known = {stage: judged(stage) for stage in STAGES}
    for trial in recoveries:
        before = known[trial.stage]
        known[trial.stage] = Chance(
            before.found + trial.found, before.missed + trial.put_in - trial.found, before.tried + trial.put_in
        )
    return known


@dataclass(frozen=True, slots=True)
class Observed:
    """What two sorters of the same bedding found.

    number, se : animals there, by Chapman (1951), and its standard error; low, high : 90 % range
    seen : different animals found by either
    chances : of the first and of the second sorter finding an animal
    """

    number: float
    se: float
    low: float
    high: float
    seen: int
    chances: tuple[Chance, Chance]


def two_observers(first: int, second: int, both: int) -> Observed:
    """How many animals two sorters of the same bedding leave unseen (the mark-recapture of Chapman 1951).

    The first marks or notes what it finds and puts it back, so that finds can be matched one by one. The range is on
    the log of those unseen, which never goes below those seen (Chao 1987).

    Raises CannotTell where no find is common to both, or the numbers cannot be.
    """
    if min(first, second, both) < 0 or both > min(first, second):
        raise CannotTell(
            f"{both} finds common to sorters who found {first} and {second} cannot be: give those of the first, those "
            "of the second, and those found by both."
        )
    if both == 0:
        raise CannotTell(
            f"No animal was found by both sorters, so {first} and {second} finds set no upper end: only that there are "
            f"{first + second} at least."
        )
    number = (first + 1) * (second + 1) / (both + 1) - 1
    variance = (first + 1) * (second + 1) * (first - both) * (second - both) / ((both + 1) ** 2 * (both + 2))
    seen = first + second - both
    unseen = number - seen
    if unseen > 0:
        wide = math.exp(NINETY * math.sqrt(math.log1p(variance / unseen**2)))
        low, high = seen + unseen / wide, seen + unseen * wide
    else:  # one found all that the other did: the chance of that sorter sets the upper end
        low, high = float(seen), seen / (0.05 ** (1 / (both + 1)))
    half = 0.5  # Jeffreys' weight on each side
    found_by = (Chance(both + half, second - both + half, second), Chance(both + half, first - both + half, first))
    return Observed(number, math.sqrt(variance), low, high, seen, found_by)
