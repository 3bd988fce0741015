"""pH or EC as a field: a level for each place of the bedding, from a few vague readings.

    level of a place  = mean of the bedding + difference of the place     (sd: how far places differ)
    reading           = level of its place + spot + instrument + an error that all share

    found = field([evidence(reading) for reading in readings], {"middle": 0.6, "edge": 0.4}, PH)
    three(found.whole), three(found.acid), three(found.lowest)  # of underlid.quantity.points

A place that was not read is as uncertain as places differ. Readings without a place count as of one more place, which
is no part of the bedding: they say what the bedding is like, and not where. An interval has the normal probability
between its ends, an “about” is a density with its spread, and one reading in a hundred may be a slip.

The mean of the bedding, both spreads and the levels are summed over a grid, and the answer is read off points that
fill the posterior evenly (additive recurrence of the generalised golden ratio, Roberts 2018, recalled): nothing is
drawn at random, and the same readings in any order give the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from underlid.chemistry.readings import PH, Evidence, Scale
from underlid.quantity.amount import NINETY

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

SLIP = 0.01  # share of readings that are slips of pen or place: our judgement
POINTS = 4096
_SPREADS = 13  # nodes of each spread, from -2.5 to 2.5 standard deviations of its logarithm


class ImpossibleShares(ValueError):
    """The shares of the bedding's parts are no parts of one whole."""


@dataclass(frozen=True, slots=True)
class Field:
    """The posterior of the levels, as evenly weighted points (points,) on the scale.

    levels : place -> its level, for each part of the bedding and each place read, with the shared error
    slips : for each reading, the probability that it is a slip, in the order given
    """

    scale: Scale
    shares: Mapping[str, float]
    levels: Mapping[str, Array]
    slips: tuple[float, ...]

    @property
    def parts(self) -> Array:
        """Levels of the parts of the bedding, (parts, points)."""
        return np.stack([self.levels[part] for part in self.shares])

    @property
    def whole(self) -> Array:
        """Mean over the bedding: of pH; of the EC itself, given as its logarithm."""
        weights = np.array(list(self.shares.values()))
        if self.scale is PH:
            return np.asarray(weights @ self.parts)
        return np.asarray(np.log(weights @ np.exp(self.parts)))

    @property
    def acid(self) -> Array:
        """pH of the mean acidity of the parts; spots within a part would pull it lower still."""
        return ph_of_mean_acidity(self.parts, np.array(list(self.shares.values())))

    @property
    def lowest(self) -> Array:
        """Level of the lowest part."""
        return np.asarray(self.parts.min(axis=0))

    @property
    def highest(self) -> Array:
        """Level of the highest part."""
        return np.asarray(self.parts.max(axis=0))


def ph_of_mean_acidity(ph: Array, shares: Array) -> Array:
    """-log10 of the mean of 10^-pH over the first axis.

    That is the pH of waters without buffer mixed in these shares: pH 5 and 7 in equal parts give 5.297.
    """
    least = ph.min(axis=0)  # taken out, so that no power underflows
    return np.asarray(least - np.log10(shares @ 10.0 ** (least - ph)))


@dataclass(frozen=True, slots=True)
class Outside:
    """Chance that a part of the bedding lies below, above, or on either side of what is tolerated."""

    below: float
    above: float
    either: float


def outside(found: Field, low: Points, high: Points) -> Outside:
    """Chance that the level of some part is outside the limits, which are uncertain themselves.

    low, high : limits at 5, 50 and 95 %; between those each end is half a normal
    """
    under = 1.0 - _limit_below(found.lowest, low)
    over = _limit_below(found.highest, high)
    either = 1.0 - (1.0 - under) * (1.0 - over)
    return Outside(float(under.mean()), float(over.mean()), float(either.mean()))


def _limit_below(level: Array, limit: Points) -> Array:
    """Probability that the limit lies below a level."""
    at, middle, top = limit
    half = np.maximum(np.where(level < middle, middle - at, top - middle), 1e-9)
    return np.asarray(ndtr(NINETY * (level - middle) / half))


def field(found: Sequence[Evidence], shares: Mapping[str, float], scale: Scale, count: int = POINTS) -> Field:
    """The posterior of the levels.

    Parameters
    ----------
    found : the readings of one quantity; none is allowed, and leaves what is judged beforehand
    shares : part of the bedding -> its share, summing to 1
    count : points of the answer; its quantiles stray by about a hundredth of the range's width

    Raises
    ------
    ImpossibleShares : if the shares are none
    """
    if not shares or min(shares.values()) < 0 or not math.isclose(sum(shares.values()), 1.0, abs_tol=1e-6):
        raise ImpossibleShares("The shares of the parts of the bedding must be 0 at least and sum to 1.")
    order = sorted(found, key=lambda e: (e.place, e.low, e.high, e.about, e.stray))
    grid = np.arange(scale.least, scale.most + scale.step / 2, scale.step)
    differ, weight_differ = _nodes(scale.places, scale.places_sd)
    spots, weight_spots = _nodes(scale.spots, scale.spots_sd)
    places = tuple(dict.fromkeys((*sorted(shares), *(e.place for e in order))))
    likely = np.stack([_likelihood([e for e in order if e.place == place], grid, spots, scale) for place in places])

    usual = np.exp(-0.5 * ((grid - scale.usual) / scale.usual_sd) ** 2)
    kernels = np.exp(-0.5 * ((grid[:, None] - grid) / differ[:, None, None]) ** 2)  # (differ, mean, level)
    kernels /= kernels.sum(axis=-1, keepdims=True)
    given = np.einsum("tml,psl->ptsm", kernels, likely, optimize=True)  # of each place, given the mean and the spreads
    weight = given.prod(axis=0) * weight_differ[:, None, None] * weight_spots[:, None] * usual

    u = _even(count, len(places) + 3)
    of_mean = weight.reshape(-1, len(grid)).T
    m = np.searchsorted(np.cumsum(of_mean.sum(axis=1)), u[0] * of_mean.sum()).clip(max=len(grid) - 1)
    t, s = np.unravel_index(_inverse(of_mean[m], u[1]).astype(int).clip(max=of_mean.shape[1] - 1), weight.shape[:2])
    at = [_inverse(kernels[t, m] * likely[p, s], u[2 + p]) for p in range(len(places))]
    shared = scale.shared * ndtri(u[-1])
    shown = {place: scale.least + scale.step * (level - 0.5) for place, level in zip(places, at, strict=True)}
    levels = {place: level - shared for place, level in shown.items()}
    slips = tuple(_slip_chance(one, shown[one.place], spots[s], scale) for one in found)
    return Field(scale, dict(shares), levels, slips)


def _nodes(median: float, sd: float) -> tuple[Array, Array]:
    """A lognormal spread as nodes with weights."""
    z = np.linspace(-2.5, 2.5, _SPREADS)
    weights = np.exp(-0.5 * z**2)
    return median * np.exp(sd * z), weights / weights.sum()


def _likelihood(found: Sequence[Evidence], grid: Array, spots: Array, scale: Scale) -> Array:
    """Probability of a place's readings given spread and level, up to one factor common to all: (spots, levels)."""
    total = np.zeros((len(spots), len(grid)))
    for one in found:
        meant, slipped = meant_and_slipped(one, grid, spots[:, None], scale)
        total += np.log(meant + slipped)
    return np.asarray(np.exp(total - total.max()))


def meant_and_slipped(one: Evidence, level: Array, spot: Array, scale: Scale) -> tuple[Array, float]:
    """Probability of a reading as meant, given its level and how far spots stray (shapes broadcast), and as a slip."""
    sd = np.hypot(spot, one.stray)
    finite = math.isfinite(one.low) and math.isfinite(one.high)
    width = one.high - one.low if finite else 0.0
    if one.about and finite:
        spread = np.hypot(sd, width / 2 / NINETY)
        off = (level - (one.low + one.high) / 2) / spread
        meant = np.exp(-0.5 * off**2) / (spread * math.sqrt(2 * math.pi)) * width
    else:
        meant = ndtr((one.high - level) / sd) - ndtr((one.low - level) / sd)
    slipped = min(1.0, width / (scale.most - scale.least)) if finite else 0.5
    return np.asarray((1 - SLIP) * meant), SLIP * slipped


def _slip_chance(one: Evidence, level: Array, spot: Array, scale: Scale) -> float:
    meant, slipped = meant_and_slipped(one, level, spot, scale)
    return float(np.mean(slipped / (meant + slipped)))


def _even(count: int, dimensions: int) -> Array:
    """Points that fill the unit cube evenly, (dimensions, count)."""
    ratio = 2.0
    for _ in range(64):  # of x^(d+1) = x + 1
        ratio = (1 + ratio) ** (1 / (dimensions + 1))
    steps = ratio ** -np.arange(1.0, dimensions + 1)
    u = (0.5 + np.arange(1, count + 1) * steps[:, None]) % 1.0
    return np.asarray(u.clip(1e-6, 1 - 1e-6))


def _inverse(weights: Array, u: Array) -> Array:
    """How far along its row a share u of the weights lies, in cells; whole numbers are the ends of cells."""
    cumulative = np.cumsum(weights, axis=1)
    wanted = u * cumulative[:, -1]
    cell = (cumulative < wanted[:, None]).sum(axis=1).clip(max=weights.shape[1] - 1)
    rows = np.arange(len(u))
    within = weights[rows, cell]
    before = cumulative[rows, cell] - within
    return np.asarray(cell + np.where(within > 0, (wanted - before) / np.where(within > 0, within, 1.0), 0.5))
