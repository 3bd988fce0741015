"""Where in the bin: the words for a place, a depth and an instrument, found and blanked out."""

from __future__ import annotations

import re

from underlid.entry.numbers import NUMBER_WORD
from underlid.records import Place

_IN = r"(?:in|at|near|by|on|along|from|against|towards?)\s+(?:(?:the|a|one)\s+)?"
_PLACES: tuple[tuple[Place, str], ...] = (
    ("surface", r"surface|top"),
    ("middle", r"middle|centre|center|core|mid"),
    ("edge", r"edges?|sides?|walls?|corners?"),
    ("not noted", r"bottom|base"),
)
PLACE = rf"(?:{'|'.join(words for _, words in _PLACES)})"
_AT_LID = r"(?:just\s+)?(?:under|below|beneath|at|near|by|on)\s+(?:the\s+)?lid(?![\w-])"
_NUMBERS = r"(?:about\s+|around\s+|~\s*)?[\d.,½¼¾]{1,9}(?:\s*(?:[-–]|to|or)\s*[\d.,½¼¾]{1,9})?"
_LENGTH = rf"(?:{_NUMBERS}\s*(?:cm|mm|inch(?:es)?|in|\")|{NUMBER_WORD}\s*(?:cm|mm|inch(?:es)?|in(?!\s+the\b)))"
_DEPTH = re.compile(
    rf"(?<![\w.,])(?:(?:at\s+)?(?P<down>{_LENGTH})\s*(?:down|deep|below(?:\s+the\s+surface)?|depth)"
    rf"|(?:at\s+|depth\s+(?:of\s+)?)(?P<at>{_LENGTH}))(?!\w)",
    re.IGNORECASE,
)
_PAPER = r"(?:(?:litmus|indicator|test)\s+paper|(?<=\bph\s)paper|test\s+kit)"
_TOOL = rf"(?:probe|strips?|meter|thermometer|logger|sensor|(?<=\bph\s)pen|{_PAPER})"
_WITH = r"(?:with|by|on|using)\s+(?:a\s+|the\s+)?"
_INSTRUMENT = re.compile(
    rf"{_WITH}((?:\w+\s+)?{_TOOL})\b|\(\s*((?:\w+\s+)?{_TOOL})\s*\)|(?<!\w)((?:(?:soil|test)\s+)?{_TOOL})\b",
    re.IGNORECASE,
)
# A strip reads pH. It comes first or after "with": "2 strips" are read off none.
_READ_OFF_A_STRIP = re.compile(rf"(?:^\s*(?:the\s+|a\s+)?|{_WITH})(?:\w+\s+)?(?:strip|{_PAPER})(?!\w)", re.IGNORECASE)


def blank(text: str, start: int, end: int) -> str:
    """The text with a part replaced by spaces, so that every other character keeps its place."""
    return text[:start] + " " * (end - start) + text[end:]


def find_place(text: str, *, with_preposition: bool = False) -> tuple[str, Place, int, tuple[str, ...]]:
    """The text without its place, the place, where it stood (-1 for nowhere), and a note on what is not kept."""
    optional = "" if with_preposition else "?"
    found: list[tuple[int, int, Place, str]] = []
    for place, words in _PLACES:
        pattern = rf"(?<!\w)(?:{_IN}){optional}(?:the\s+)?(?:{words})(?![\w-])(?:\s+of\s+the\s+(?:bin|bedding))?"
        pattern = rf"{_AT_LID}|{pattern}" if place == "surface" else pattern
        match = re.search(pattern, text, re.IGNORECASE)
        if match:
            found.append((match.start(), match.end(), place, match[0]))
    if not found:
        return text, "not noted", -1, ()
    start, end, place, words = min(found)
    notes = () if place != "not noted" else (f"'{words}' is no place the records know; kept in the words",)
    return blank(text, start, end), place, start, notes


def find_depth(text: str) -> tuple[str, str, int]:
    """The text without its depth, the words of the depth ("" for none), and where they stood."""
    found = _DEPTH.search(text)
    if found is None:
        return text, "", -1
    group = "down" if found["down"] else "at"
    return blank(text, *found.span()), found[group], found.start(group)


def find_instrument(text: str) -> tuple[str, str]:
    """The text without its instrument, and the instrument's name ("" for none)."""
    found = _INSTRUMENT.search(text)
    return (text, "") if found is None else (blank(text, *found.span()), found[found.lastindex or 0])


def read_off_a_strip(text: str) -> bool:
    """Whether the text says that a number was read off a test strip: "strip 6.5" or "6.5 with a strip"."""
    return _READ_OFF_A_STRIP.search(text) is not None


def only_where(text: str) -> bool:
    """Whether the text says where, or with what, and nothing else."""
    left, _ = find_instrument(find_depth(text)[0])
    return not find_place(left)[0].strip()
