"""Are the animals clumped, and by how much: variance against mean, the negative binomial, sample sizes.

Counts of animals in samples of one volume have mean m and variance m + m²/k under the negative binomial: the
smaller k, the more clumped. Where the variance is not above the mean there is no sign of clumping, and no k.

Elliott (1977), "Some methods for the statistical analysis of samples of benthic invertebrates", for the sample
sizes and the moment estimate of k (the pages recalled); Taylor (1961) for the power law.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import gammaln

from underlid.counting import CannotTell
from underlid.quantity.amount import NINETY

Array = NDArray[np.float64]

LARGEST_K = 1e6  # beyond it the negative binomial is the Poisson for any count kept here


def log_probability(x: ArrayLike, mean: ArrayLike, k: ArrayLike) -> Array:
    """Log of the negative binomial probability of x animals; shapes broadcast, mean and k above 0."""
    x, mean, k = np.asarray(x, float), np.asarray(mean, float), np.asarray(k, float)
    choose = gammaln(x + k) - gammaln(k) - gammaln(x + 1)
    return np.asarray(choose - k * np.log1p(mean / k) + x * (np.log(mean) - np.log(mean + k)))


def moment_k(counts: Sequence[int]) -> float | None:
    """The k of mean and variance, (m² - s²/n)/(s² - m); None where there is no sign of clumping."""
    n, mean, variance = _described(counts)
    if variance <= mean:
        return None
    k = (mean**2 - variance / n) / (variance - mean)
    return k if k > 0 else None


@dataclass(frozen=True, slots=True)
class Fit:
    """A negative binomial fitted by maximum likelihood to counts of samples of one volume.

    k_low, k_high : 90 % interval by profile likelihood; k_high is inf where no clumping fits nearly as well
    """

    samples: int
    mean: float
    mean_se: float
    k: float
    k_se: float
    k_low: float
    k_high: float
    log_likelihood: float


def fit(counts: Sequence[int]) -> Fit:
    """The negative binomial most likely to give these counts.

    Raises CannotTell where the variance is not above the mean: the likelihood then rises for ever with k.

    Bliss and Fisher (1953), Biometrics 9:176, for the method: the mean's estimate is the sample mean, and k solves
    one equation.
    """
    n, mean, variance = _described(counts)
    x = np.asarray(counts, float)
    values, times = np.unique(x, return_counts=True)

    def profile(k: float) -> float:
        return float((times * log_probability(values, mean, k)).sum())

    above = [int((x > j).sum()) for j in range(int(x.max()))]

    def slope(log_k: float) -> float:  # of the profile by k, each count's product of (k + j) written out
        k = math.exp(log_k)
        return sum(many / (k + j) for j, many in enumerate(above)) - n * math.log1p(mean / k)

    # Moments and likelihood agree on when clumping shows: n - 1 or n in the variance is all that differs.
    if variance * (n - 1) / n <= mean or slope(math.log(LARGEST_K)) >= 0:
        raise CannotTell(
            f"The counts vary no more than chance alone would make them (variance {variance:.3g}, mean {mean:.3g}): no "
            "sign of clumping, so no measure of it."
        )
    log_k = float(brentq(slope, math.log(1e-6), math.log(LARGEST_K), xtol=1e-12))
    k, best = math.exp(log_k), profile(math.exp(log_k))
    step = 1e-3
    curve = (profile(k * (1 + step)) - 2 * best + profile(k * (1 - step))) / (k * step) ** 2
    drop = NINETY**2 / 2

    def short(log_k: float) -> float:
        return profile(math.exp(log_k)) - best + drop

    low = brentq(short, math.log(1e-6), log_k) if short(math.log(1e-6)) < 0 else -math.inf
    high = brentq(short, log_k, math.log(LARGEST_K)) if short(math.log(LARGEST_K)) < 0 else math.inf
    return Fit(
        n, mean, math.sqrt((mean + mean**2 / k) / n), k, math.sqrt(-1 / curve), math.exp(low), math.exp(high), best
    )


def taylor(means: Sequence[float], variances: Sequence[float]) -> tuple[float, float]:
    """Taylor's a and b from several sets of samples: variance = a mean^b, by a line through the logarithms.

    Raises CannotTell with fewer than three sets of different mean, or a mean or variance of 0.
    """
    if len(means) != len(variances) or len(set(means)) < 3 or min(*means, *variances) <= 0:
        raise CannotTell("Taylor's power law needs three sets of samples at least, with means and variances above 0.")
    b, log_a = np.polyfit(np.log(means), np.log(variances), 1)
    return float(np.exp(log_a)), float(b)


def samples_needed(mean: float, precision: float, k: float = math.inf, available: float = math.inf) -> float:
    """How many samples give the mean with a standard error of `precision` times the mean.

    (1/m + 1/k)/D², which without clumping (k infinite) is the Poisson's 1/(m D²); of a bin that holds only so many
    samples (`available`) fewer do. Elliott (1977), recalled.
    """
    _positive(mean=mean, precision=precision, k=k, available=available)
    many = (1 / mean + 1 / k) / precision**2
    return many / (1 + many / available)


def samples_needed_taylor(mean: float, precision: float, a: float, b: float) -> float:
    """The same by Taylor's power law: a m^(b - 2)/D²."""
    _positive(mean=mean, precision=precision, a=a)
    return float(a * mean ** (b - 2) / precision**2)


def stratified_total(
    available: Sequence[float], taken: Sequence[int], mean: Sequence[float], variance: Sequence[float]
) -> tuple[float, float]:
    """Total of all strata and its standard error, from simple random samples of each (Cochran 1977, section 5.3).

    Parameters
    ----------
    available : how many samples each stratum would make if all of it were taken
    taken, mean, variance : how many were, and the mean and variance of their counts

    Raises CannotTell where a stratum has fewer than two samples and is not wholly taken.
    """
    total, squared = 0.0, 0.0
    for whole, n, ybar, s2 in zip(available, taken, mean, variance, strict=True):
        if n < 1 or (n < 2 and n < whole):
            raise CannotTell("Each part of the bin needs two samples at least before its scatter can be known.")
        if n > whole:
            raise CannotTell(f"{n} samples were taken of a part of the bin that makes only {whole:g}.")
        total += whole * ybar
        squared += whole * (whole - n) * s2 / n
    return total, math.sqrt(squared)


def _described(counts: Sequence[int]) -> tuple[int, float, float]:
    x = np.asarray(counts, float)
    if len(x) < 2:
        raise CannotTell("One sample says nothing about how evenly the animals are spread; take two at least.")
    if (x < 0).any() or (x != np.round(x)).any():
        raise CannotTell("Counts of animals are whole numbers, none below 0.")
    if not x.any():
        raise CannotTell("Nothing was found in any sample, which says nothing about how evenly animals are spread.")
    return len(x), float(x.mean()), float(x.var(ddof=1))


def _positive(**given: float) -> None:
    for name, value in given.items():
        if not value > 0:
            raise CannotTell(f"The {name} is {value:g}; it must be above 0.")
