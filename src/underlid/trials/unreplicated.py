"""Comparisons without a second bin to repeat them: within one bin, and of one bin with another through time.

They speak of the bins at hand. What bins do in general takes several, see `underlid.trials.compare`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv, stdtrit

from underlid.trials.arm import BadValues, CannotCompare, NoSpread
from underlid.trials.compare import FEWEST


class TooFewTimes(CannotCompare):
    """There are too few times before or after the change to tell how the differences scatter."""


@dataclass(frozen=True, slots=True)
class CountRatio:
    """Ratio of two counts with its exact range; p : of the two one-sided tests against the margin, the larger."""

    ratio: float
    low: float
    high: float
    p: float


def count_ratio(x: int, y: int, level: float = 0.9, margin: tuple[float, float] = (0.8, 1.25)) -> CountRatio:
    """Ratio x/y of two counts out of the same effort within one bin, given their total (Clopper and Pearson 1934).

    Valid for two handfuls of one well-mixed bin, where only chance of handling differs. Never use it between bins:
    their own differences are larger than that of counting.
    """
    if min(x, y) < 0 or x + y == 0:
        raise BadValues(f"Counts of {x} and {y} have no ratio; neither may be below 0, and one has to be above.")
    if not 0 < margin[0] < margin[1]:
        raise BadValues(f"The margin runs from {margin[0]:g} to {margin[1]:g}; give the lower ratio first, above 0.")
    n, tail = x + y, (1 - level) / 2
    least = float(betaincinv(x, y + 1, tail)) if x else 0.0
    most = float(betaincinv(x + 1, y, 1 - tail)) if y else 1.0
    p_low = float(bdtrc(x - 1, n, margin[0] / (1 + margin[0]))) if x else 1.0
    p_high = float(bdtr(x, n, margin[1] / (1 + margin[1])))
    high = most / (1 - most) if y else math.inf
    return CountRatio(x / y if y else math.inf, least / (1 - least), high, max(p_low, p_high))


@dataclass(frozen=True, slots=True)
class Baci:
    """A before-after, control-changed effect with its standard error, degrees of freedom and range."""

    effect: float
    se: float
    df: float
    low: float
    high: float


def baci(before: Sequence[float], after: Sequence[float], level: float = 0.9) -> Baci:
    """Effect after less before, of differences changed less control taken at the same times (Stewart-Oaten 1986).

    before, after : one difference for each time. The times stand for repeats only if they are far enough apart for one
    difference to say nothing of the next, and if both bins would have run in parallel without the change. With one
    bin on each side it speaks of these two bins and not of the change in general; several controls are needed for that.
    The range is Welch's, as scatter before and after may differ.
    """
    arms = [np.asarray(before, float), np.asarray(after, float)]
    if min(len(arm) for arm in arms) < FEWEST:
        raise TooFewTimes("A before-after comparison needs two times at least before the change, and two after it.")
    part = [float(arm.var(ddof=1)) / len(arm) for arm in arms]
    if not sum(part) > 0:
        raise NoSpread("The differences are the same at all times, or not numbers: they say nothing of their scatter.")
    effect, se = float(arms[1].mean() - arms[0].mean()), math.sqrt(sum(part))
    df = sum(part) ** 2 / sum(v**2 / (len(arm) - 1) for v, arm in zip(part, arms, strict=True))
    half = se * float(stdtrit(df, (1 + level) / 2))
    return Baci(effect, se, df, effect - half, effect + half)
