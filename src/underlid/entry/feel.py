"""Moisture judged by hand: the few sayings that keepers share, as wide vague amounts.

The figures are common practice without a source we can name, and every reading taken from them says so.
"""

from __future__ import annotations

import re
from dataclasses import replace

from underlid.quantity import VagueAmount, parse_amount

FLAG = "moisture by feel: common practice, no source"

# Each saying alone, so that "soaking wet newspaper" stays a note. In % of wet mass.
_SAYINGS: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(saying, re.IGNORECASE), amount)
    for saying, amount in (
        (r"wrung[\s-]?out\s+(?:sponge|cloth|rag)", "about 60 to 80 %"),
        (
            r"(?:(?:only|just)\s+)?(?:a\s+)?(?:few\s+drops|couple\s+of\s+drops|drop\s+or\s+two)\s+when\s+(?:i\s+)?squeezed?",
            "about 70 to 85 %",
        ),
        (r"(?:soaking(?:\s+wet)?|sodden|dripping(?:\s+wet)?|waterlogged)", "at least 80 %"),
    )
)
_LEAD = re.compile(
    r"\s*(?:(?:bedding|feels?|felt|it|is|was|as|like|damp|moist|wet|an?(?=\s+wrung)|gives?|gave)\s+)*", re.I
)


def moisture_by_feel(text: str) -> VagueAmount | None:
    """The moisture [% of wet mass] that a saying such as "like a wrung-out sponge" stands for, or None."""
    said = _LEAD.sub("", text, count=1).strip(" .,")
    amount = next((amount for saying, amount in _SAYINGS if saying.fullmatch(said)), None)
    return None if amount is None else replace(parse_amount(amount), words=" ".join(text.split()), flags=(FLAG,))
