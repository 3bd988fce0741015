"""The bins of one arm of a trial, one value each, and what values cannot be compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.trials.belief import Values

Array = NDArray[np.float64]


class CannotCompare(ValueError):
    """The values cannot answer what was asked; the sentence says why and what would."""


class TooFewBins(CannotCompare):
    """There are too few bins to tell how much bins differ among themselves."""


class NoSpread(CannotCompare):
    """All exact values of each arm are the same, so that they say nothing of how bins differ."""


class NoEnd(CannotCompare):
    """Every value of an arm is open on the same side, so that its mean has no end there."""


class BadValues(CannotCompare):
    """A value that is not a number, bounds the wrong way round, or a margin or spread that cannot be."""


@dataclass(frozen=True, slots=True, eq=False)
class Arm:
    """The bins of one arm, one value each on the scale of the analysis (natural log for ratios).

    low, high : (bins,) bounds; equal for an exact value; high is inf for what had not happened by the end ("at
        least"), low -inf for what had happened before the first look. Both are taken as sure bounds
    noise : (bins,) standard deviation of the value's own error on that scale, such as that of a total estimated
        from samples; 0 for none. An "about" that holds nine in ten is its centre with the noise half-width/1.645
    """

    name: str
    low: Array
    high: Array
    noise: Array

    def __post_init__(self) -> None:
        if not (self.low.ndim == 1 and self.low.shape == self.high.shape == self.noise.shape):
            raise BadValues(f"Arm {self.name} needs one low, one high and one noise a bin.")
        sound = (self.low <= self.high) & (self.low < np.inf) & (self.high > -np.inf)
        sound &= (self.noise >= 0) & np.isfinite(self.noise) & (np.isfinite(self.low) | np.isfinite(self.high))
        if not sound.all():
            raise BadValues(
                f"Bin {int(np.argmin(sound)) + 1} of arm {self.name} has no usable value: give a low that is not above "
                "the high, one of them finite, and a noise of 0 or more. A count of 0 has no logarithm: give it as at "
                "most what could have been overlooked."
            )

    @classmethod
    def exact(cls, name: str, values: ArrayLike, noise: ArrayLike = 0.0) -> Self:
        """An arm of exact values."""
        return cls.between(name, values, values, noise)

    @classmethod
    def between(cls, name: str, low: ArrayLike, high: ArrayLike, noise: ArrayLike = 0.0) -> Self:
        """An arm of values known to lie between bounds."""
        least, most = np.array(low, float), np.array(high, float)
        return cls(name, least, most, np.broadcast_to(np.asarray(noise, float), least.shape))

    def __len__(self) -> int:
        return len(self.low)

    @property
    def values(self) -> Values:
        """The arrays without the name."""
        return Values(self.low, self.high, self.noise)

    @property
    def bounded(self) -> int:
        """Bins whose value has a finite bound on either side."""
        return int((np.isfinite(self.low) & np.isfinite(self.high)).sum())

    @property
    def is_exact(self) -> bool:
        """Whether every value is exact and without noise."""
        return bool((self.low == self.high).all() and not self.noise.any())
