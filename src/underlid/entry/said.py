"""What a clause says, before it has a date; and what the keeper has told that helps to read it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from underlid.entry.split import Clause
from underlid.quantity import AmountError, VagueAmount, parse_amount
from underlid.records import Feeding, Note, Reading, SampleCount, Sighting


@dataclass(frozen=True, slots=True)
class Said:
    """A record without its date: its class, its own fields, what the keeper should know, and a reading's unit."""

    kind: type[Reading] | type[Feeding] | type[SampleCount] | type[Sighting] | type[Note]
    fields: Mapping[str, Any]
    notes: tuple[str, ...] = ()
    unit: str = ""  # as it was spelled
    day: Clause | None = None  # the clause's own date: "yesterday"


@dataclass(frozen=True, slots=True)
class Known:
    """What was told before: what containers hold; how deep the bedding is and how high the bin in m, or None.

    bedding_l : the most that the bedding may have been when it was laid [L]
    inside_l : the most that the bin may hold [L]
    """

    containers: Mapping[str, VagueAmount]
    bedding_m: float | None = None
    height_m: float | None = None
    bedding_l: float | None = None
    inside_l: float = math.inf

    def amount(self, clause: Clause, text: str, shift: int, expect: str | None, unit: str = "") -> VagueAmount:
        """The amount that the text, blanked from `shift` on, stands for; its words without the blanks."""
        try:
            amount = parse_amount(text, expect=expect, unit=unit, containers=self.containers)
        except AmountError as error:
            raise clause.wrapped(error, shift) from None
        return replace(amount, words=" ".join(text.split()))


def spaces(found: re.Match[str]) -> str:
    """As many spaces as the match is long."""
    return " " * len(found[0])


# Words that may stand between a place or a name and its number.
_LEAD = re.compile(
    r"\s*(?:(?:(?:the|bedding|is|was|were|of|reads?|says?|said|shows?|showed|maybe|perhaps|probably"
    r"|at(?!\s+(?:least|most)))(?!\w)|[=:,])\s*)+",
    re.IGNORECASE,
)


def without_lead(text: str) -> str:
    """The text with "the ... is at" before a number blanked out."""
    return _LEAD.sub(spaces, text, count=1) if _LEAD.match(text) else text
