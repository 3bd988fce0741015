"""The likelihood of `underlid.fit.likelihood`, compiled, for what each part of the readings rests on being known.

A fit of a fleet weighs some thousands of sets by a surface that stands in for the model; array by array that took as
long as its runs. One pass over the parts of each set gives the same to rounding.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.fit.evidence import Evidence
from underlid.fit.likelihood import BLUNDER, centre_and_half, slip_probability
from underlid.quantity.amount import NINETY

Array = NDArray[np.float64]

ROOT_HALF, ROOT_TWO_PI = math.sqrt(0.5), math.sqrt(2 * math.pi)
FAR_SD = 8.0  # beyond which the normal probability is 0 or 1, to far less than that of a slip


class Words(NamedTuple):
    """The readings of one quantity; those in the first row are (readings,), the others (parts,).

    low, high, slipped, worth : interval, probability of the words as a slip, how much they count
    reading, weight : of each part, as in Evidence; centre, half : of an "about", with half 0 for others
    """

    low: Array
    high: Array
    slipped: Array
    worth: Array
    reading: NDArray[np.int64]
    weight: Array
    centre: Array
    half: Array

    @classmethod
    def of(cls, evidence: Evidence, slip_range: float) -> Words:
        """The words of some readings; a slip may say anything over `slip_range`."""
        low, high = evidence.low, evidence.high
        centre, half = centre_and_half(low, high)
        return cls(
            low.astype(float), high.astype(float), BLUNDER * slip_probability(low, high, slip_range),
            evidence.worth.astype(float), evidence.reading.astype(np.int64), (1 - BLUNDER) * evidence.weight, centre,
            np.where(evidence.about, half, 0.0),
        )  # fmt: skip


@nb.njit(cache=True)
def log_probability(words, expected, sd):  # type: ignore[no-untyped-def]
    """Log probability of all readings, each as much as it is worth, (sets,), never NaN: -inf instead.

    expected : (sets, parts) what each part should show; sd : (sets,) its standard deviation
    """
    found = np.zeros(expected.shape[0])
    parts = words.reading.shape[0]
    for s in range(expected.shape[0]):
        per_sd, total, p = 1.0 / sd[s], 0.0, 0
        while p < parts:
            i = words.reading[p]
            meant, half = words.slipped[i], words.half[i]
            if half > 0.0:
                spread = math.sqrt(sd[s] ** 2 + (half / NINETY) ** 2)
                height = 2.0 * half / (spread * ROOT_TWO_PI)
                while p < parts and words.reading[p] == i:
                    off = (words.centre[i] - expected[s, p]) / spread
                    meant += words.weight[p] * height * math.exp(-0.5 * off * off)
                    p += 1
            else:
                while p < parts and words.reading[p] == i:
                    above = _below((words.high[i] - expected[s, p]) * per_sd)
                    meant += words.weight[p] * (above - _below((words.low[i] - expected[s, p]) * per_sd))
                    p += 1
            total += words.worth[i] * math.log(meant)
        found[s] = total if not math.isnan(total) else -np.inf
    return found


@nb.njit(cache=True)
def _below(away):  # type: ignore[no-untyped-def]
    """The normal probability below so many standard deviations."""
    if away > FAR_SD:
        return 1.0
    if away < -FAR_SD:
        return 0.0
    return 0.5 * math.erfc(-away * ROOT_HALF)


@nb.njit(cache=True)
def summed(alike, pull, usual):  # type: ignore[no-untyped-def]
    """alike @ pull + usual, (sets, parts), in one thread and always in the same order."""
    out = np.empty((alike.shape[0], pull.shape[1]))
    for s in range(alike.shape[0]):
        row = out[s]
        row[:] = usual
        for r in range(pull.shape[0]):
            factor = alike[s, r]
            for p in range(pull.shape[1]):
                row[p] += factor * pull[r, p]
    return out
