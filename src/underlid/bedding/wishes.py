"""What a keeper wishes of bedding: ranges of moisture, C:N, free air space and volume, and how far a mix is from them.

The distance is 0 in the middle of the wished range, 1 at its ends, and one more for each step beyond. A step is what
matters alike from wish to wish: our judgement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Name = Literal["moisture", "carbon_nitrogen", "air", "litres"]

MOST_WATER = 0.98  # fraction of wet mass
LABEL: dict[Name, str] = {
    "moisture": "moisture",
    "carbon_nitrogen": "C:N",
    "air": "free air space",
    "litres": "volume of bedding",
}


class ImpossibleWish(ValueError):
    """A wished range that no mix can have."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A range wished for; `step` beyond its ends counts as much as any other wish's (a factor where `by_factor`)."""

    name: Name
    low: float
    high: float
    step: float
    by_factor: bool = False

    def __post_init__(self) -> None:
        least, most = {"litres": (1e-3, 1e6), "carbon_nitrogen": (1.0, 1000.0)}.get(self.name, (0.0, MOST_WATER))
        if not least <= self.low <= self.high <= most:
            raise ImpossibleWish(
                f"A {LABEL[self.name]} from {shown(self.name, self.low)} to {shown(self.name, self.high)} cannot be: "
                f"it must be a range within {shown(self.name, least)} to {shown(self.name, most)}, low end first."
            )

    def ends(self, distance: float) -> tuple[float, float]:
        """The range of mixes that are no farther than that from the middle of the wish."""
        low, high = (math.log(self.low), math.log(self.high)) if self.by_factor else (self.low, self.high)
        step = math.log(self.step) if self.by_factor else self.step
        reach = min(distance, 1.0) * (high - low) / 2 + max(distance - 1.0, 0.0) * step
        ends = (low + high) / 2 - reach, (low + high) / 2 + reach
        return (math.exp(ends[0]), math.exp(ends[1])) if self.by_factor else ends

    @property
    def middle(self) -> float:
        """What would meet the wish best."""
        return self.ends(0.0)[0]

    def distance(self, value: float) -> float:
        """How far a mix is from the wish, in steps."""
        if self.by_factor and not value > 0:
            return math.inf  # no carbon
        low, high, step, at = (
            map(math.log, (self.low, self.high, self.step, value))
            if self.by_factor
            else (self.low, self.high, self.step, value)
        )
        if low <= at <= high:
            return abs(2 * at - low - high) / (high - low) if high > low else 0.0
        return 1 + max(low - at, at - high) / step


def moisture_wish(low: float, high: float) -> Wish:
    """Moisture [fraction of wet mass]; a step is 5 points."""
    return Wish("moisture", low, high, 0.05)


def carbon_nitrogen_wish(low: float = 25.0, high: float = 35.0) -> Wish:
    """C:N; 25-35 is ideal and 20-40 fair (Cooperband 2002). A step is a factor of 1.25."""
    return Wish("carbon_nitrogen", low, high, 1.25, by_factor=True)


def air_wish(low: float = 0.35, high: float = 0.60) -> Wish:
    """Free air space [fraction of volume]; 35-60 % is best, and 30 % the least. A step is 5 points."""
    return Wish("air", low, high, 0.05)


def litres_wish(low: float, high: float) -> Wish:
    """Volume of the settled bedding [L]; a step is a quarter of it."""
    return Wish("litres", low, high, (low + high) / 8)


def shown(name: Name, value: float) -> str:
    """A number for people, as the kind of wish is told."""
    match name:
        case "moisture" | "air":
            return f"{100 * value:.0f} %"
        case "carbon_nitrogen":
            return "no nitrogen" if not math.isfinite(value) else f"{value:.0f}"
        case "litres":
            return f"{value:.0f} L" if value >= 10 else f"{value:.1f} L"
