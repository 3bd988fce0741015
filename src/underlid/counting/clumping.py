"""Are the animals clumped, and by how much: variance against mean, the negative binomial, sample sizes.

Counts of animals in samples of one volume have mean m and variance m + m²/k under the negative binomial: the
smaller k, the more clumped. Where the variance is not above the mean there is no sign of clumping, and no k.

Elliott (1977), "Some methods for the statistical analysis of samples of benthic invertebrates", for the sample
sizes and the moment estimate of k (the pages recalled).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from underlid.counting import CannotTell

Array = NDArray[np.float64]


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


def samples_needed(mean: float, precision: float, k: float = math.inf, available: float = math.inf) -> float:
    """How many samples give the mean with a standard error of `precision` times the mean.

    (1/m + 1/k)/D², which without clumping (k infinite) is the Poisson's 1/(m D²); of a bin that holds only so many
    samples (`available`) fewer do. Elliott (1977), recalled.
    """
    _positive(mean=mean, precision=precision, k=k, available=available)
    many = (1 / mean + 1 / k) / precision**2
    return many / (1 + many / available)


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
