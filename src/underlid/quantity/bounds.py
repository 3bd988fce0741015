"""From a number and its mark ("about", "at least") to an interval; the conventions stand in `meaning`."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from underlid.quantity import units
from underlid.quantity.amount import Kind
from underlid.quantity.phrase import Mark
from underlid.quantity.units import FAHRENHEIT, Unit

ABOUT_CELSIUS = Fraction(3, 2)
ABOUT_FAHRENHEIT = Fraction(5, 2)
ABOUT_PH = Fraction(1, 2)
ABOUT_SHARE = Fraction(1, 5)

Bound = Fraction | None  # None is an open side


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity in its canonical unit: the number as written, and one unit of its last digit."""

    low: Fraction
    high: Fraction
    step: Fraction
    unit: Unit  # as written
    at: int
    vague: bool = False
    open: bool = False
    flags: tuple[str, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether it counts whole animals or pieces."""
        return self.unit.canonical == "1" and self.step == 1 and self.low.denominator == 1


def one_number(mark: Mark, m: Measured) -> tuple[Bound, Bound, Kind]:
    """The interval of one number under its mark."""
    beyond = 1 if m.whole and not m.vague else 0  # "more than 25" animals is 26 and up
    match mark:
        case "at least":
            return m.low, None, "at least"
        case "over":
            return m.low + beyond, None, "at least"
        case "at most":
            return None, m.high, "at most"
        case "under":
            return None, m.high - beyond, "at most"
        case "just above":
            return m.high, m.high + m.step, "between"
        case "just under":
            return m.low - m.step, m.low, "between"
        case _ if m.open:
            return m.low, None, "at least"
        case _ if m.vague:
            return m.low, m.high, "about"
        case "about":
            spread = _spread(m)
            return m.low - spread, m.high + spread, "about"
        case _ if m.whole or (m.low == m.high == 0 and m.unit.canonical in ("kg", "L")):  # no food is none at all
            return m.low, m.high, "exact"
        case _:
            return m.low - m.step / 2, m.high + m.step / 2, "exact"


def two_numbers(mark: Mark, ends: tuple[Measured, ...]) -> tuple[Bound, Bound, Kind] | None:
    """The interval between two numbers, or None where the mark makes no sense of a range."""
    kinds: dict[str, Kind] = {"": "between", "about": "about", "exactly": "exact"}
    if mark not in kinds or any(end.open for end in ends):
        return None
    low, high = min(end.low for end in ends), max(end.high for end in ends)
    vague = any(end.vague for end in ends)
    return low, high, "about" if vague and not mark else kinds[mark]


def within(canonical: str, low: Bound, high: Bound) -> tuple[Bound, Bound]:
    """The interval cut off at what can be; an open side stays open."""
    floor, ceiling = units.FLOOR[canonical], units.CEILING.get(canonical)
    low = None if low is None else max(low, floor)
    if high is not None and ceiling is not None:
        high = min(high, ceiling)
    return low, high


def _spread(m: Measured) -> Fraction:
    if m.unit.canonical == "degC":
        return ABOUT_FAHRENHEIT * m.unit.factor if m.unit is FAHRENHEIT else ABOUT_CELSIUS
    if m.unit.canonical == "pH":
        return ABOUT_PH
    return max(ABOUT_SHARE * abs(m.low), m.step)
