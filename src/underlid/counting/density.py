"""The grid behind `samples`: how probable counts are for each density of finds and clumping, and draws from it.

For each stage: the log of the overall density of finds, the parts' densities around it (spread tau), and the clumping k
of half a litre. The priors are judgements: k lognormal with median 1.5 and 90 % of 0.3 to 8; tau lognormal with median
0.6 and 90 % of 0.2 to 2; finds per litre lognormal with median 5 and 90 % of 0.05 to 500.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from underlid.counting.clumping import log_probability
from underlid.counting.found import Sample, possible
from underlid.records import Stage

Array = NDArray[np.float64]

FISTFUL_L = 0.5
LOG_DENSITY = np.linspace(math.log(1e-3), math.log(5e3), 300)  # of finds, log of animals per litre
DENSITY_PRIOR = (math.log(5.0), math.log(100) / 1.645)
_Z = np.linspace(-2.5, 2.5, 11)
USUAL_CLUMPING = 1.5  # k of a fistful
CLUMPING = USUAL_CLUMPING * np.exp(_Z)
LOG_CLUMPING_PRIOR = -0.5 * _Z**2
_Z_APART = np.linspace(-2.0, 2.0, 5)
APART = 0.6 * np.exp(0.7 * _Z_APART)  # tau
LOG_APART_PRIOR = -0.5 * _Z_APART**2


def log_likelihood(stage: Stage, samples: Sequence[Sample]) -> Array:
    """Of the counts of one part, (clumping, log density)."""
    total = np.zeros((len(CLUMPING), len(LOG_DENSITY)))
    exact: dict[float, list[float]] = {}
    for sample in samples:
        count = dict(sample.counts).get(stage)
        if count is None:
            continue
        values, weights = possible(count)
        if len(values) == 1:
            exact.setdefault(sample.litres, []).append(values[0])
        else:
            total += logsumexp(_log_counts(values, sample.litres), axis=-1, b=weights)
    for litres, found in exact.items():
        values, times = np.unique(found, return_counts=True)
        total += (_log_counts(values, litres) * times).sum(axis=-1)
    return total


def _log_counts(values: Array, litres: float) -> Array:
    """Log probability of finding that many in so many litres, (clumping, log density, values)."""
    k = (CLUMPING * litres / FISTFUL_L)[:, None, None]
    return log_probability(values, (np.exp(LOG_DENSITY) * litres)[:, None], k)


def draw_parameters(
    likelihood: Array, u_overall: Array, u_parts: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Clumping (draws,) and log finds per litre (draws, parts) from the posterior on the grid.

    `likelihood` is (parts, clumping, log density). Uniforms turn into densities by rising order, so that correlated
    ones make correlated densities.
    """
    peak = likelihood.max(axis=(1, 2), keepdims=True)
    like = np.exp(likelihood - peak)
    mean, sd = DENSITY_PRIOR
    prior = -0.5 * ((LOG_DENSITY - mean) / sd) ** 2
    around = _around()
    with np.errstate(divide="ignore"):
        # Not `@`: for matrices this small its threads cost more than they save, and a busy machine waits on them.
        each = np.log(np.einsum("tma,pka->pmkt", around, like)).sum(axis=0)
    log_weight = each + prior[:, None, None] + LOG_CLUMPING_PRIOR[:, None] + LOG_APART_PRIOR
    weight = np.exp(log_weight - log_weight.max()).ravel()
    node = np.searchsorted(np.cumsum(weight), u_overall * weight.sum()).clip(0, len(weight) - 1)
    overall, k, tau = np.unravel_index(node, log_weight.shape)
    step = LOG_DENSITY[1] - LOG_DENSITY[0]
    log_finds = np.empty_like(u_parts)
    for part in range(len(likelihood)):
        inside = np.cumsum(around[tau, overall] * like[part][k], axis=1)
        at = (inside < u_parts[:, part, None] * inside[:, -1:]).sum(axis=1).clip(0, len(LOG_DENSITY) - 1)
        log_finds[:, part] = LOG_DENSITY[at] + step * (rng.random(len(at)) - 0.5)
    return CLUMPING[k], log_finds


@cache
def _around() -> Array:
    """How likely a part's log density is for each tau and overall one, (tau, overall, part's)."""
    around = np.exp(-0.5 * ((LOG_DENSITY[:, None] - LOG_DENSITY) / APART[:, None, None]) ** 2)
    return np.asarray(around / around.sum(axis=2, keepdims=True))
