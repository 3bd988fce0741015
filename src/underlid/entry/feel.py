"""Moisture judged by hand: the few sayings that keepers share, as wide vague amounts.

The figures are common practice without a source we can name, and every reading taken from them says so. Plain words
such as "wet" may be of the weather or the food, and count only where the bedding or the moisture is named.
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
_PLAIN = {
    "dry": "at most 50 %",
    "damp": "about 50 to 75 %",
    "moist": "about 50 to 75 %",
    "wet": "about 70 to 90 %",
    "sodden": "at least 80 %",
}
# "Wettish" is no wetter than wet: 5 points wider, but not away from damp. Our convention.
_ISH = {"dry": "at most 55 %", "damp": "about 45 to 80 %", "moist": "about 45 to 80 %", "wet": "about 65 to 90 %"}
_ISH_FLAG = "'-ish' taken 5 points wider"
_PLAIN_SAID = re.compile(
    r"(?:(?:the\s+)?bedding(?!\w)\s*[:,]?\s*)?(?:(?:it|is|was|feels?|felt|looks?|looked|still|a\s+(?:bit|little))\s+)*"
    r"(?:(?P<word>dry|damp|moist|wet|sodden)|(?P<stem>dry|dri|damp|moist|wett?)-?ish)",
    re.IGNORECASE,
)
_LEAD = re.compile(
    r"\s*(?:(?:bedding|feels?|felt|it|is|was|as|like|damp|moist|wet|an?(?=\s+wrung)|gives?|gave)\s+)*", re.I
)


def moisture_by_feel(text: str, *, of_moisture: bool = True) -> VagueAmount | None:
    """The moisture [% of wet mass] that a saying such as "like a wrung-out sponge" stands for, or None.

    of_moisture : whether the words are surely about moisture, so that a plain "wet" is one too
    """
    if plain := _PLAIN_SAID.fullmatch(text.strip(" .,")):
        return _plainly(plain, text, of_moisture)
    said = _LEAD.sub("", text, count=1).strip(" .,")
    amount = next((amount for saying, amount in _SAYINGS if saying.fullmatch(said)), None)
    return None if amount is None else replace(parse_amount(amount), words=" ".join(text.split()), flags=(FLAG,))


def _plainly(said: re.Match[str], text: str, of_moisture: bool) -> VagueAmount | None:
    if said["stem"]:
        stem = said["stem"].lower()
        amount = parse_amount(_ISH[{"dri": "dry", "wett": "wet"}.get(stem, stem)])
    elif of_moisture or said["word"].lower() == "sodden":
        amount = parse_amount(_PLAIN[said["word"].lower()])
    else:
        return None
    flags = (FLAG, _ISH_FLAG) if said["stem"] else (FLAG,)
    return replace(amount, words=" ".join(text.split()), flags=flags)
