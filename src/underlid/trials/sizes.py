"""How many bins a trial needs, and what chance it has with those at hand.

All of it is for logs of counts with one value a bin, the same coefficient of variation (CV) in both arms, and both
arms the same size: s² = ln(1 + CV²) is their variance on the log scale. Margins and ratios are plain, 1.25 for "within
a quarter".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, nctdtr, ndtr, ndtri, stdtrit

from underlid.trials.arm import BadValues

MOST = 100_000  # bins; a trial that needs more is none
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)

#: Spread of bins treated alike, where it is not known. The standard test takes juveniles of like vessels to vary by
#: 30 % at most (OECD 222, 2016); bins at home are hardly more alike. For laying and for food alike: our judgement.
USUAL_CV = 0.30


class BeyondReach(BadValues):
    """No number of bins that could be kept would do."""


@dataclass(frozen=True, slots=True)
class BinsNeeded:
    """Bins per arm: by the normal formula, which is too hopeful for few bins, and exactly, by Student's t."""

    normal: float
    exact: int


def log_sd(cv: float) -> float:
    """Standard deviation of logs for a coefficient of variation, of a log-normal spread."""
    return math.sqrt(math.log1p(cv**2))


def bins_needed(margin: float, cv: float, alpha: float = 0.05, power: float = 0.8) -> BinsNeeded:
    """Bins per arm to find two arms alike within the margin, if they truly are the same.

    The normal formula is 2 s² (z(1 - alpha) + z(1 - (1 - power)/2))²/ln(margin)².
    """
    _check(margin, cv, alpha)
    if not 0 < power < 1:
        raise BadValues(f"The power is {power:g}; it has to lie between 0 and 1, and 0.8 is usual.")
    z = float(ndtri(1 - alpha) + ndtri(1 - (1 - power) / 2))
    normal = 2 * (log_sd(cv) * z / math.log(margin)) ** 2
    if normal > MOST:
        raise BeyondReach(f"A margin of {margin:g} with a CV of {cv:g} needs more than {MOST:,} bins in each arm.")
    n = max(2, math.floor(normal))
    while tost_power(n, margin, cv, alpha) < power:
        n += 1
    return BinsNeeded(normal, n)


def tost_power(n: int, margin: float, cv: float, alpha: float = 0.05, ratio: float = 1.0) -> float:
    """Chance that n bins per arm are found alike within the margin when the true ratio is `ratio`, by quadrature.

    The observed difference is normal, and its standard error, by the scatter of bins, chi with 2n - 2 degrees of
    freedom; both tests reject where the difference is less than margin - t·se on either side.
    """
    _check(margin, cv, alpha)
    _check_bins(n)
    df, sd = 2 * n - 2, log_sd(cv) * math.sqrt(2 / n)
    t, m, d = float(stdtrit(df, 1 - alpha)), math.log(margin), math.log(ratio)
    # u is the observed over the true scatter; above m/(t·sd) no difference is small enough, and above 1 + 10/sqrt(df)
    # u is out of the question.
    top = min(m / (t * sd), 1 + 10 / math.sqrt(df))
    u = top * (_NODES + 1) / 2
    log_density = math.log(2) + df / 2 * math.log(df / 2) - gammaln(df / 2) + (df - 1) * np.log(u) - df * u**2 / 2
    room = m - t * sd * u
    inside = ndtr((room - d) / sd) - ndtr((-room - d) / sd)
    return float(top / 2 * (_WEIGHTS * np.exp(log_density) * np.maximum(inside, 0.0)).sum())


def power_to_differ(n: int, ratio: float, cv: float, alpha: float = 0.05) -> float:
    """Chance that n bins per arm show a difference, two-sided, when the true ratio is `ratio` (noncentral t)."""
    _check(ratio if ratio > 1 else 1 / ratio if ratio > 0 else 0.0, cv, alpha)
    _check_bins(n)
    df, shift = 2 * n - 2, abs(math.log(ratio)) / (log_sd(cv) * math.sqrt(2 / n))
    t = float(stdtrit(df, 1 - alpha / 2))
    return float(1 - nctdtr(df, shift, t) + nctdtr(df, shift, -t))


def _check(margin: float, cv: float, alpha: float) -> None:
    if not 1 < margin < math.inf:
        raise BadValues(f"The margin is the ratio {margin:g}; it has to be above 1, such as 1.5 for half as many more.")
    if not 0 < cv < 10:
        raise BadValues(f"The coefficient of variation is {cv:g}; 0.3 means 30 % between bins.")
    if not 0 < alpha < 0.5:
        raise BadValues(f"Alpha is {alpha:g}; it has to lie between 0 and 0.5, and 0.05 is usual.")


def _check_bins(n: int) -> None:
    if n < 2:
        raise BadValues(f"A trial with {n} bins in each arm cannot tell how bins differ; it needs two at least.")
