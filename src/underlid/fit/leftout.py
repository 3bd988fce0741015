"""One reading judged by the fit to all the others.

The draws of the posterior say what would be noted at its place and time; they are reweighted as if the reading had not
been seen, so that none is judged by a fit that knows it (Gelfand, Dey & Chang 1992; truncated weights, Ionides 2008).
Where it falls in that distribution is its probability integral transform (PIT): even between 0 and 1 if model and
readings agree. A vague reading covers an interval of it, within which one point is drawn (Dunn & Smyth 1996).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from underlid.fit.evidence import STRAY_MEMORY_H, Evidence, middle_s, spot_of
from underlid.fit.likelihood import meant_and_slipped
from underlid.quantity.amount import NINETY
from underlid.quantity.points import PERCENT
from underlid.records import Reading
from underlid.weather.series import HOUR_S

Array = NDArray[np.float64]

INSIDE = (PERCENT[0] / 100, PERCENT[2] / 100)
NEAR_H = 7 * STRAY_MEMORY_H  # readings of a spot farther apart share less than a thousandth of their straying
ENOUGH_EFFECTIVE = 40.0  # effective draws below which leaving a reading out is not trusted: our judgement
FARTHEST_Z = 3.0  # a reading farther out counts as this far in means and spreads: one slip must not look like a drift


@dataclass(frozen=True, slots=True)
class Mixture:
    """What would be noted: weighted normals, one for each draw and each hour and point that a reading may mean.

    centre, sd, weight : broadcast to (draws, parts) [unit of the reading]; weights sum to 1
    """

    centre: Array
    sd: Array
    weight: Array

    def below(self, value: float) -> float:
        """Probability that less would be noted."""
        return float((self.weight * ndtr((value - self.centre) / self.sd)).sum())

    def points(self, percent: Sequence[float] = PERCENT) -> tuple[float, ...]:
        """The points below which those percentages lie, found by halving."""
        widest = 8.0 * float(np.max(self.sd))
        outer = float(self.centre.min()) - widest, float(self.centre.max()) + widest
        found = []
        for share in np.asarray(percent) / 100:
            low, high = outer
            while high - low > 1e-3:
                middle = (low + high) / 2
                low, high = (middle, high) if self.below(middle) < share else (low, middle)
            found.append((low + high) / 2)
        return tuple(found)

    @property
    def spread(self) -> float:
        """Standard deviation."""
        mean = float((self.weight * self.centre).sum())
        return math.sqrt(float((self.weight * (self.sd**2 + (self.centre - mean) ** 2)).sum()))


@dataclass(frozen=True, slots=True)
class Predicted:
    """One reading beside what the other readings say would be noted there and then.

    low, high : what is compared [degC or % of wet mass]: the interval as the fit takes it, a side infinite where the
        words are open, or the centre of an "about" twice
    time_utc : middle of the time it may mean [s]; worth : how much it counts, 1 or less
    expected : 5, 50 and 95 % points of what would be noted, the words' own "about" included; spread : its standard
        deviation
    pit : probability that less than `low`, and less than `high` would be noted; drawn : one point between them, from
        the seed
    effective : draws left after leaving it out; unseen : whether they were enough, so that it was left out
    """

    reading: Reading
    low: float
    high: float
    time_utc: float
    worth: float
    expected: tuple[float, float, float]
    spread: float
    pit: tuple[float, float]
    drawn: float
    effective: float
    unseen: bool

    @property
    def inside(self) -> float:
        """Share of the reading that lies in its 90 % range, by probability: 0, 1 or, across an edge, between."""
        return float(share_between(self.pit, *INSIDE))

    @property
    def surprise(self) -> bool:
        """Whether all that the reading may mean lies outside its 90 % range."""
        return self.pit[1] < INSIDE[0] or self.pit[0] > INSIDE[1]

    @property
    def chance(self) -> float:
        """Chance of a reading at least as far out on either side, taken at its likelier end."""
        return min(1.0, 2 * min(self.pit[1], 1 - self.pit[0]))

    @property
    def z(self) -> float:
        """The drawn point as a standard normal: positive where warmer or wetter than expected."""
        return float(np.clip(ndtri(self.drawn), -FARTHEST_Z, FARTHEST_Z))

    @property
    def gap(self) -> float:
        """How far the interval lies beyond the 90 % range [K or % of wet mass], with its sign; 0 where they overlap."""
        return max(0.0, self.low - self.expected[2]) - max(0.0, self.expected[0] - self.high)


def judged(
    evidence: Evidence,
    expected: Array,
    sd: Array,
    slip_range: float,
    time_utc: NDArray[np.int64],
    rng: np.random.Generator,
) -> list[Predicted]:
    """Each row of the evidence, given what each of its parts should show, (draws, parts), give or take `sd`."""
    if not len(evidence):
        return []
    meant, slipped = meant_and_slipped(evidence, expected, sd, slip_range)
    log_p = np.log(meant + slipped)
    spots = np.array([spot_of(one) for one in evidence.used])
    middles = np.array([middle_s(one) for one in evidence.used])
    found = []
    for i, reading in enumerate(evidence.used):
        apart_h = np.abs(middles - middles[i]) / HOUR_S
        near = np.flatnonzero((spots == spots[i]) & (apart_h < NEAR_H))
        weight, effective = reweighted(log_p[:, near], _without(evidence.worth[near], apart_h[near], near == i))
        unseen = effective >= ENOUGH_EFFECTIVE
        if not unseen:
            weight = np.full(len(weight), 1 / len(weight))
        low, high = float(evidence.low[i]), float(evidence.high[i])
        mine = evidence.reading == i
        own = sd
        if evidence.about[i]:  # as words_probability has it
            own = np.hypot(sd, (high - low) / 2 / NINETY)
            low = high = (low + high) / 2
        noted = Mixture(expected[:, mine], own, weight[:, None] * evidence.weight[mine])
        pit = noted.below(low), noted.below(high)
        five, fifty, ninety_five = noted.points()
        when = float(evidence.weight[mine] @ time_utc[evidence.hour[mine]])
        drawn = float(np.clip(rng.uniform(*pit), 1e-9, 1 - 1e-9))
        found.append(
            Predicted(
                reading, low, high, when, float(evidence.worth[i]), (five, fifty, ninety_five), noted.spread, pit,
                drawn, effective, unseen,
            )
        )  # fmt: skip
    return found


def _without(worth: Array, apart_h: Array, left_out: NDArray[np.bool_]) -> Array:
    """How much more or less each reading of a spot counts once one, so many hours apart, is left out."""
    total = 1.0 / worth - np.exp(-apart_h / STRAY_MEMORY_H)  # of correlations with the readings that remain
    return np.where(left_out, 0.0, 1.0 / np.where(left_out, 1.0, total)) - worth


def reweighted(log_p: Array, change: Array) -> tuple[Array, float]:
    """Weights that turn draws of the posterior into draws of one to which each reading counts so much more.

    log_p : (draws, readings) log probability of each reading; change : (readings,), minus its worth for one left out
    Returns the weights, (draws,), summing to 1, none above the mean times the root of their number (Ionides 2008),
    and how many equal draws they are worth.
    """
    log_weight = log_p @ change
    weight = np.exp(log_weight - log_weight.max())
    weight = np.minimum(weight, weight.mean() * math.sqrt(len(weight)))
    weight /= weight.sum()
    return weight, float(1 / (weight**2).sum())


def share_between(pit: tuple[float, float], low: ArrayLike, high: ArrayLike) -> Array:
    """Share of an interval of the PIT that lies between `low` and `high`, elementwise (Czado, Gneiting & Held 2009)."""
    width = max(pit[1] - pit[0], 1e-12)
    ends = [np.clip((np.asarray(side, float) - pit[0]) / width, 0.0, 1.0) for side in (low, high)]
    return np.asarray(ends[1] - ends[0])
