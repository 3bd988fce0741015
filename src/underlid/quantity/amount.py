"""Vague amounts: a keeper's words become an interval with a kind, never a bare number.

    >>> parse_amount("6 or 7 C").as_json()
    {'low': 6.0, 'high': 7.0, 'unit': 'degC', 'kind': 'between', 'words': '6 or 7 C', 'flags': []}
    >>> parse_amount("43F").low, parse_amount("43F").high
    (5.833333333333333, 6.388888888888889)

What a phrase means is set by the conventions at the top of `underlid.quantity.meaning`, and shown phrase by
phrase in docs/phrases.md, which the tests read.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from underlid.quantity.mistake import Mistake
from underlid.quantity.units import CANONICAL, DEGREES, find_unit

NINETY = 1.6448536269514722  # half-width of a 90 % interval in standard deviations: an "about" holds nine in ten

Kind = Literal["exact", "between", "about", "at least", "at most", "not noted"]


@dataclass(frozen=True, slots=True)
class VagueAmount:
    """An amount as the keeper knew it.

    Attributes
    ----------
    low, high : bounds of the interval, in `unit`; an open side is -inf or inf
    unit : canonical unit: degC, L, kg, m, pH, %, mS/cm (electrical conductivity) or 1 (a pure number or a
        count)
    kind : how the interval is meant. *exact*: read to the instrument, the interval is its
        resolution; *between*: both bounds given; *about*: the interval holds the true value
        with 90 % probability; *at least*, *at most*: one-sided; *not noted*: unknown
    words : what the keeper wrote, untouched
    flags : sentences on what to look at (a contradiction, an assumed unit)
    """

    low: float
    high: float
    unit: str
    kind: Kind
    words: str
    flags: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        """Plain JSON types; an open side is null, as JSON has no infinity."""
        return {
            "low": self.low if math.isfinite(self.low) else None,
            "high": self.high if math.isfinite(self.high) else None,
            "unit": self.unit,
            "kind": self.kind,
            "words": self.words,
            "flags": list(self.flags),
        }


@dataclass(frozen=True, slots=True)
class VagueSize:
    """Length, width and height of a box as the keeper knew them, each in m."""

    length: VagueAmount
    width: VagueAmount
    height: VagueAmount
    words: str
    flags: tuple[str, ...] = ()

    @property
    def volume(self) -> VagueAmount:
        """The box's volume in L: from all sides at their least to all sides at their most."""
        sides = (self.length, self.width, self.height)
        kinds = {side.kind for side in sides}
        kind: Kind = "about" if "about" in kinds else "between" if "between" in kinds else "exact"
        low = math.prod(side.low for side in sides) * 1000
        high = math.prod(side.high for side in sides) * 1000
        return VagueAmount(low, high, "L", kind, self.words, self.flags)

    def as_json(self) -> dict[str, object]:
        """Plain JSON types, with the volume worked out."""
        return {
            "length": self.length.as_json(),
            "width": self.width.as_json(),
            "height": self.height.as_json(),
            "volume": self.volume.as_json(),
            "words": self.words,
            "flags": list(self.flags),
        }


class AmountError(Mistake):
    """The words are no amount, or one that cannot be; the caret shows where, and the last line how to mend it."""


def parse_amount(
    text: str, *, expect: str | None = None, unit: str = "", containers: Mapping[str, VagueAmount] | None = None
) -> VagueAmount:
    """What a keeper's words for an amount mean.

    Parameters
    ----------
    text : the words, such as "6 or 7 C", "about a dozen", "half a bucket"
    expect : canonical unit the amount must have, and which is assumed where none is written; a temperature
        of 30 or more without a letter is flagged, for it may have been meant in °F
    unit : spelling of the unit that is taken, before that of `expect`, where none is written
    containers : what the keeper's own measures hold, by name, each a bounded amount in L or kg; a unit's own
        name (see `is_unit`) stays the unit

    Raises
    ------
    AmountError : with the position of what could not be understood
    """
    # Lark is heavy to import, and most commands parse nothing.
    from underlid.quantity.meaning import amount_of
    from underlid.quantity.phrase import read

    if expect is not None and expect not in CANONICAL:
        raise ValueError(f"expect is {expect!r}, which is none of {', '.join(CANONICAL)}")
    return amount_of(read(text, expect), text, expect, containers or {}, unit)


def unit_written(text: str) -> str | None:
    """The spelling of the unit in an amount's words ("" for none, or "degrees" alone), None when they are no amount.

    Of an amount written in two units it is the first: "43 F / 6 C" was read in °F.
    """
    from underlid.quantity.phrase import read

    try:
        phrase = read(text)[0]
    except AmountError:
        return None
    spellings = [q.parts[-1][1] for q in phrase.quantities] or [phrase.unit]
    return next((s for s in reversed(spellings) if s and find_unit(s) is not DEGREES), "")


def parse_size(text: str) -> VagueSize:
    """What a keeper's words for a box mean: "17 x 12 x 11 in", length by width by height.

    Raises AmountError with the position of what could not be understood.
    """
    from underlid.quantity.meaning import size_of
    from underlid.quantity.phrase import read_size

    return size_of(read_size(text), text)
