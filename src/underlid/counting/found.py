"""What a sample says: a volume, a place, and counts that stay as vague as they were noted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from underlid.quantity.amount import NINETY, VagueAmount
from underlid.quantity.show import show_amount
from underlid.records import SampleCount, Stage

Array = NDArray[np.float64]

AT_LEAST_REACHES = (4, 50)  # "at least n" is n to 4 n or n + 50, whichever is more: our judgement
MOST_VALUES = 200  # numbers that stand for a wide count


@dataclass(frozen=True, slots=True)
class Sample:
    """Animals sorted out of a known volume [L]. A stage that is not in `counts` was not looked for."""

    place: str
    volume: VagueAmount
    counts: tuple[tuple[Stage, VagueAmount], ...]

    @property
    def litres(self) -> float:
        """The middle of the volume."""
        return (self.volume.low + self.volume.high) / 2


def exactly(animals: int) -> VagueAmount:
    """That number of animals and no other."""
    return VagueAmount(float(animals), float(animals), "1", "exact", str(animals))


def samples_of(entries: Sequence[SampleCount]) -> tuple[tuple[Sample, ...], tuple[str, ...]]:
    """Samples of the journal's entries, and sentences on those that cannot be used."""
    kept, left_out = [], []
    for entry in entries:
        volume = entry.volume
        counts = tuple((stage, count) for stage, count in entry.counts if count.kind != "not noted")
        if volume.unit != "L" or not 0 < volume.low <= volume.high < math.inf:
            left_out.append(f"Left out, as its volume ({show_amount(volume)}) has no bounds above 0: “{entry.words}”.")
        elif not counts:
            left_out.append(f"Left out, as nothing was counted in it: “{entry.words}”.")
        else:
            kept.append(Sample(entry.place, volume, counts))
    return tuple(kept), tuple(left_out)


def possible(count: VagueAmount) -> tuple[Array, Array]:
    """The whole numbers a count may mean and the weight of each, (values,).

    An interval weighs its numbers alike; "about" holds the true one with 90 % and has normal weights.
    """
    low, high = max(0.0, count.low), count.high
    if math.isinf(high):
        times, more = AT_LEAST_REACHES
        high = max(times * low, low + more)
    middle, sd = (low + high) / 2, (high - low) / 2 / NINETY
    about = count.kind == "about" and sd > 0
    if about:
        low, high = max(0.0, middle - 3 * sd), middle + 3 * sd
    values = np.arange(math.ceil(low), math.floor(high) + 1, dtype=float)
    if not len(values):
        values = np.array([float(round(middle))])
    if len(values) > MOST_VALUES:
        values = np.unique(np.linspace(values[0], values[-1], MOST_VALUES).round())
    if not about:
        return values, np.ones(len(values))
    away = ((values - middle) / sd) ** 2
    return values, np.exp(-0.5 * (away - away.min()))


def quantile(amount: VagueAmount, share: Array) -> Array:
    """The amount at shares of its distribution: uniform over an interval, normal for an "about"; never below 0."""
    low, high = amount.low, amount.high
    if amount.kind == "about":
        return np.asarray(np.maximum((low + high) / 2 + (high - low) / 2 / NINETY * ndtri(share), 0.05 * low))
    return np.asarray(low + share * (high - low))
