"""How trials are judged, many at once: the verdict of the plan's rule on the numbers of simulated bins.

The pooled t interval of the ratio, on logarithms, decides (Schuirmann 1987: of level 1 - 2 alpha). "Holds": wholly
within the margin at the last look, at the whole of the error rate, as arms that will part need not have done so before;
"fails": wholly beyond it on one side, at any look, at that look's share of it; else it cannot tell yet. The first that
decides stands.

A count of none has no logarithm: it says that numbers are low, not how low. A trial with such a bin cannot tell at that
look. So it is with arms whose counts do not scatter at all, and with arms of one bin, which say nothing of how bins
differ (the bin is the unit).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from underlid.trials.compare import FEWEST
from underlid.trials.plan import ALPHA
from underlid.trials.scene import ImpossibleTrial

Array = NDArray[np.float64]

CANNOT_TELL, HOLDS, FAILS = range(3)


@dataclass(frozen=True, slots=True)
class Rule:
    """How a trial is judged: the margin (a ratio above 1), days of the looks, and each look's share of the error."""

    margin: float
    days: tuple[int, ...]
    alphas: tuple[float, ...] = (ALPHA,)

    def __post_init__(self) -> None:
        if not 1 < self.margin < math.inf:
            raise ImpossibleTrial(f"The margin must be a ratio above 1, such as 1.5, but is {self.margin:g}.")
        if len(self.alphas) != len(self.days) or not all(0 < alpha < 0.5 for alpha in self.alphas):
            raise ImpossibleTrial(
                f"Each of {len(self.days)} looks needs a share of the error rate, above 0, below 0.5."
            )

    @property
    def alpha(self) -> float:
        """The whole of the error rate."""
        return sum(self.alphas)


@dataclass(frozen=True, slots=True)
class Chances:
    """The chance of each verdict, each with its Monte Carlo standard error; `trials` were simulated."""

    holds: float
    fails: float
    cannot_tell: float
    trials: int
    holds_se: float
    fails_se: float
    cannot_tell_se: float


def ratio_intervals(numbers: ArrayLike, alpha: float) -> tuple[Array, Array]:
    """Ends of the interval of the log ratio, changed to control, each (trials,); numbers are (trials, 2, bins).

    The pooled t interval of level 1 - 2 alpha on natural logs; without ends where it cannot be told, see above.
    """
    values = np.asarray(numbers, float)
    bins = values.shape[2]
    if bins < FEWEST:
        return np.full(len(values), -np.inf), np.full(len(values), np.inf)
    logs = np.log(np.where(values > 0, values, 1.0))
    means, error = logs.mean(axis=2), np.sqrt(2 * logs.var(axis=2, ddof=1).mean(axis=1) / bins)
    told = (values > 0).all(axis=(1, 2)) & (error > 0)
    half = np.where(told, stdtrit(2 * (bins - 1), 1 - alpha) * error, np.inf)
    middle = means[:, 1] - means[:, 0]
    return middle - half, middle + half


def verdicts(numbers: ArrayLike, rule: Rule) -> NDArray[np.int64]:
    """HOLDS, FAILS or CANNOT_TELL of each trial, (trials,), at the first look that decides.

    numbers : (trials, 2, bins, looks), the control first
    """
    values, edge = np.asarray(numbers), math.log(rule.margin)
    if values.ndim != 4 or values.shape[1] != 2 or values.shape[3] != len(rule.days):
        raise ImpossibleTrial(f"Numbers of {len(rule.days)} looks in two arms are judged, not any of {values.shape}.")
    stands = np.full(len(values), CANNOT_TELL)
    for look, alpha in enumerate(rule.alphas):
        low, high = ratio_intervals(values[..., look], alpha)
        now = np.where((low > edge) | (high < -edge), FAILS, CANNOT_TELL)
        stands = np.where(stands == CANNOT_TELL, now, stands)
    low, high = ratio_intervals(values[..., -1], rule.alpha)
    stands = np.where((stands == CANNOT_TELL) & (-edge < low) & (high < edge), HOLDS, stands)
    return stands


def chances(numbers: ArrayLike, rule: Rule) -> Chances:
    """How often each verdict comes about in simulated trials; see `verdicts`."""
    found = verdicts(numbers, rule)
    holds, fails, cannot_tell = (float((found == word).mean()) for word in (HOLDS, FAILS, CANNOT_TELL))
    return Chances(
        holds, fails, cannot_tell, len(found),
        standard_error(holds, len(found)), standard_error(fails, len(found)), standard_error(cannot_tell, len(found)),
    )  # fmt: skip


def standard_error(share: float, trials: int) -> float:
    """Of a share of simulated trials; never 0, as a chance that was never met need not be (Agresti & Coull 1998)."""
    shrunk = (share * trials + 2) / (trials + 4)
    return math.sqrt(shrunk * (1 - shrunk) / (trials + 4))
