"""Vague amounts as the cells of a table: how many whole animals, and a value with how far off it may be."""

from __future__ import annotations

import math

from underlid.quantity.amount import VagueAmount

#: What each kind of amount says about its range.
MEANT = {
    "exact": "read to the instrument, whose resolution is the range",
    "between": "noted as a range, of which every part is as good",
    "about": "noted as about: nine in ten that it is in the range",
    "at least": "noted as at least: open above",
    "at most": "noted as at most: open below",
    "not noted": "not noted",
}


def says_nothing(amount: VagueAmount) -> bool:
    """Whether an amount leaves everything open, as what was taken back does."""
    return amount.kind == "not noted" or not (math.isfinite(amount.low) or math.isfinite(amount.high))


def whole(amount: VagueAmount) -> tuple[int, int | None]:
    """The least and the most whole animals that a count leaves open, None for no most."""
    low = max(amount.low, 0.0) if math.isfinite(amount.low) else 0.0
    if not math.isfinite(amount.high):
        return math.ceil(low - 1e-9), None
    high = max(amount.high, low)
    least, most = math.ceil(low - 1e-9), math.floor(high + 1e-9)
    return (least, most) if least <= most else (most, least)  # no whole number between: the two beside


def count_of(amount: VagueAmount) -> int | None:
    """How many animals, where that is beyond doubt."""
    least, most = whole(amount)
    return least if least == most and amount.kind in ("exact", "between") else None


def animals(least: int, most: int | None) -> str:
    """A range of animals as text: "2/4", "3/.." with no most, "3" for just so many."""
    return str(least) if least == most else f"{least}/{'..' if most is None else most}"


def value_of(amount: VagueAmount) -> tuple[str, str]:
    """The middle of a range and its half width; of an open one the interval as text, "7/..", and nothing."""
    if not (math.isfinite(amount.low) and math.isfinite(amount.high)):
        return interval(amount), ""
    return number(amount.low / 2 + amount.high / 2), number(amount.high / 2 - amount.low / 2)


def interval(amount: VagueAmount) -> str:
    """The range as text, "6/7", with ".." for an open side."""
    return "/".join(number(end) if math.isfinite(end) else ".." for end in (amount.low, amount.high))


def number(value: float) -> str:
    """A number without the noise of binary fractions."""
    return f"{value + 0.0:.10g}"


def presence(amount: VagueAmount, *, counted: bool) -> str | None:
    """Whether animals were there: "present", "absent", or None where the words leave both open.

    counted : whether it was counted in a sample; that none were seen by chance never says that none were there
    """
    least, most = whole(amount)
    if least > 0:
        return "present"
    return "absent" if counted and most == 0 and amount.kind != "about" else None
