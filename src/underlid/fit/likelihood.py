"""How probable a vague reading is, given what the bedding's temperature was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from underlid.fit.evidence import Evidence
from underlid.quantity.amount import NINETY

Array = NDArray[np.float64]

MOISTURE_SD = 5.0  # moisture judged by feel or a cheap meter, points of wet mass: our judgement
MOISTURE_SLIP_RANGE = 100.0  # a slip may say anything from dry to all water
INSTRUMENT_K = 0.3  # hand-held thermometer read by torchlight, one reading to the next: our judgement
BLUNDER = 0.01  # share of readings that are slips of pen or place: our judgement
BLUNDER_RANGE_K = 60.0  # a slip may be anything over this range: our judgement


def words_probability(low: Array, high: Array, about: NDArray[np.bool_], expected: Array, sd: Array) -> Array:
    """Probability of the words given the expected reading and its standard deviation; shapes broadcast.

    An interval, open or closed, has the normal probability between its bounds. An "about" holds the true
    value with 90 % probability, so its spread joins the reading's own; it is given as the density at its centre
    times its width, which keeps exact and vague readings on one scale (and may exceed 1).
    """
    centre, half = centre_and_half(low, high)
    between = ndtr((high - expected) / sd) - ndtr((low - expected) / sd)
    spread = np.sqrt(sd**2 + (half / NINETY) ** 2)
    density = np.exp(-0.5 * ((centre - expected) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    return np.asarray(np.where(about, density * 2 * half, between))


def slip_probability(low: Array, high: Array, slip_range: float = BLUNDER_RANGE_K) -> Array:
    """Probability of the words if they are a slip, which may say anything over a wide range; one half if open."""
    finite = np.isfinite(low) & np.isfinite(high)
    _, half = centre_and_half(low, high)
    return np.asarray(np.where(finite, np.minimum(1.0, 2 * half / slip_range), 0.5))


def centre_and_half(low: Array, high: Array) -> tuple[Array, Array]:
    """Centre and half width of intervals; of one with an open side its end, and 1."""
    finite = np.isfinite(low) & np.isfinite(high)
    half = np.where(finite, np.where(finite, high, 0.0) - np.where(finite, low, 0.0), 2.0) / 2
    return np.where(np.isfinite(low), low, high) + np.where(finite, half, 0.0), half


@dataclass(frozen=True, slots=True)
class Thermometer:
    """How a thermometer shows what it is held in: each (sets,).

    bias_k : it shows too much by [K]; lag : share of the way from air to bedding still to go when it is read;
    scatter_k : how far a spot strays from the model, standard deviation [K]
    """

    bias_k: Array
    lag: Array
    scatter_k: Array

    def shown(self, bedding_c: Array, air_c: Array) -> Array:
        """What it shows on average [degC], for bedding (sets, ...) and air that broadcasts with it."""
        shape = (-1, *[1] * (bedding_c.ndim - 1))
        return np.asarray(bedding_c + self.lag.reshape(shape) * (air_c - bedding_c) + self.bias_k.reshape(shape))


def log_likelihood(evidence: Evidence, probes_c: Array, air_c: Array, thermometer: Thermometer) -> Array:
    """Log probability of all temperatures, each as much as it is worth, for each parameter set, shape (sets,).

    probes_c : (sets, hours, probes) bedding temperature from the model; air_c : (hours,) air around the bin
    """
    if not len(evidence):
        return np.zeros(probes_c.shape[0])
    meant, slipped = meant_and_slipped(
        evidence, *expected_reading(evidence, probes_c, air_c, thermometer), BLUNDER_RANGE_K
    )
    return np.asarray(np.log(meant + slipped) @ evidence.worth)


def log_likelihood_of_moisture(evidence: Evidence, moisture: Array) -> Array:
    """The same of moisture readings [% of wet mass], given the model's (sets, hours) [fraction of wet mass]."""
    if not len(evidence):
        return np.zeros(moisture.shape[0])
    meant, slipped = meant_and_slipped(evidence, *expected_moisture(evidence, moisture), MOISTURE_SLIP_RANGE)
    return np.asarray(np.log(meant + slipped) @ evidence.worth)


def slip_chance(evidence: Evidence, probes_c: Array, air_c: Array, thermometer: Thermometer) -> Array:
    """Probability that each temperature is a slip, averaged over draws of the posterior, shape (readings,)."""
    meant, slipped = meant_and_slipped(
        evidence, *expected_reading(evidence, probes_c, air_c, thermometer), BLUNDER_RANGE_K
    )
    return np.asarray((slipped / (meant + slipped)).mean(axis=0))


def expected_reading(
    evidence: Evidence, probes_c: Array, air_c: Array, thermometer: Thermometer
) -> tuple[Array, Array]:
    """What each part of the evidence should show, (sets, parts), and its standard deviation, (sets, 1)."""
    shown = thermometer.shown(probes_c[:, evidence.hour, evidence.probe], air_c[evidence.hour])
    return shown, np.sqrt(thermometer.scatter_k**2 + INSTRUMENT_K**2)[:, None]


def expected_moisture(evidence: Evidence, moisture: Array) -> tuple[Array, Array]:
    """The same of moisture [% of wet mass], from the model's (sets, hours) [fraction of wet mass]."""
    return 100.0 * moisture[:, evidence.hour], np.array([[MOISTURE_SD]])


def meant_and_slipped(evidence: Evidence, expected: Array, sd: Array, slip_range: float) -> tuple[Array, Array]:
    """Probability of each reading as meant and as a slip, (sets, readings) each, summed over what it may mean."""
    low, high = evidence.low[evidence.reading], evidence.high[evidence.reading]
    words = words_probability(low, high, evidence.about[evidence.reading], expected, sd)
    first = np.searchsorted(evidence.reading, np.arange(len(evidence)))
    meant = np.add.reduceat(evidence.weight * (1 - BLUNDER) * words, first, axis=1)
    slipped = BLUNDER * slip_probability(evidence.low, evidence.high, slip_range)
    return meant, np.broadcast_to(slipped, meant.shape)
