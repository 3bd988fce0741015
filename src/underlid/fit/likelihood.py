"""How probable a vague reading is, given what the bedding's temperature was."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from underlid.fit.evidence import TemperatureEvidence

Array = NDArray[np.float64]

INSTRUMENT_K = 0.3  # hand-held thermometer read by torchlight, one reading to the next: our judgement
BLUNDER = 0.01  # share of readings that are slips of pen or place: our judgement
BLUNDER_RANGE_K = 60.0  # a slip may be anything over this range: our judgement
NINETY = 1.6448536269514722  # half-width of a 90 % interval in standard deviations


def words_probability(low: Array, high: Array, about: NDArray[np.bool_], expected: Array, sd: Array) -> Array:
    """Probability of the words given the expected reading and its standard deviation; shapes broadcast.

    An interval, open or closed, has the normal probability between its bounds. An "about" holds the true
    value with 90 % probability, so its spread joins the reading's own; it is given as the density at its centre
    times its width, which keeps exact and vague readings on one scale (and may exceed 1).
    """
    half = _half_width(low, high)
    centre = np.where(np.isfinite(low), low, high) + np.where(np.isfinite(low) & np.isfinite(high), half, 0.0)
    between = ndtr((high - expected) / sd) - ndtr((low - expected) / sd)
    spread = np.sqrt(sd**2 + (half / NINETY) ** 2)
    density = np.exp(-0.5 * ((centre - expected) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    return np.asarray(np.where(about, density * 2 * half, between))


def slip_probability(low: Array, high: Array) -> Array:
    """Probability of the words if they are a slip, which may say anything over a wide range; one half if open."""
    finite = np.isfinite(low) & np.isfinite(high)
    return np.asarray(np.where(finite, np.minimum(1.0, 2 * _half_width(low, high) / BLUNDER_RANGE_K), 0.5))


def _half_width(low: Array, high: Array) -> Array:
    finite = np.isfinite(low) & np.isfinite(high)
    return np.asarray(np.where(finite, np.where(finite, high, 0.0) - np.where(finite, low, 0.0), 2.0) / 2)


def log_likelihood(evidence: TemperatureEvidence, probes_c: Array, bias_k: Array, scatter_k: Array) -> Array:
    """Log probability of all readings, each as much as it is worth, for each parameter set, shape (sets,).

    probes_c : (sets, hours, probes) bedding temperature from the model
    bias_k, scatter_k : (sets,) thermometer bias, and how far a spot strays from the model
    """
    if not len(evidence):
        return np.zeros(probes_c.shape[0])
    meant, slipped = _both(evidence, probes_c, bias_k, scatter_k)
    return np.asarray(np.log(meant + slipped) @ evidence.worth)


def slip_chance(evidence: TemperatureEvidence, probes_c: Array, bias_k: Array, scatter_k: Array) -> Array:
    """Probability that each reading is a slip, averaged over draws of the posterior, shape (readings,)."""
    meant, slipped = _both(evidence, probes_c, bias_k, scatter_k)
    return np.asarray((slipped / (meant + slipped)).mean(axis=0))


def _both(evidence: TemperatureEvidence, probes_c: Array, bias_k: Array, scatter_k: Array) -> tuple[Array, Array]:
    """Probability of each reading as meant and as a slip, (sets, readings) each, summed over what it may mean."""
    expected = probes_c[:, evidence.hour, evidence.probe] + bias_k[:, None]
    sd = np.sqrt(scatter_k**2 + INSTRUMENT_K**2)[:, None]
    low, high = evidence.low_c[evidence.reading], evidence.high_c[evidence.reading]
    words = words_probability(low, high, evidence.about[evidence.reading], expected, sd)
    first = np.searchsorted(evidence.reading, np.arange(len(evidence)))
    meant = np.add.reduceat(evidence.weight * (1 - BLUNDER) * words, first, axis=1)
    slipped = BLUNDER * slip_probability(evidence.low_c, evidence.high_c)
    return meant, np.broadcast_to(slipped, meant.shape)
