"""Clauses that read an instrument: what was measured, where, how deep, and with what unit."""

from __future__ import annotations

import re
from dataclasses import replace

from underlid.entry.animals import counts_animals
from underlid.entry.feel import moisture_by_feel
from underlid.entry.numbers import DEGREE, NUMBER_WORD, WORDED_TEMPERATURE, is_difference
from underlid.entry.places import PLACE, blank, find_depth, find_instrument, find_place, read_off_a_strip
from underlid.entry.said import Known, Said, spaces, without_lead
from underlid.entry.split import AMOUNT_BEGINS, Clause
from underlid.quantity import AmountError, VagueAmount, find_unit, parse_amount, show_amount, unit_written
from underlid.records import Measured, Reading

_MEASURED = re.compile(
    r"(?<!\w)(?:in\s+the\s+(?=air))?(?:(?P<air>(?:outside\s+)?air(?:\s+temp(?:erature)?)?|outside|ambient)"
    r"|(?P<bedding>(?:bedding\s+)?temp(?:erature)?s?)|(?P<moisture>moisture)|(?P<ec>ec|conductivity)"
    r"|(?P<mass>live\s+(?:mass|weight)(?:\s+of\s+(?:the\s+)?worms)?|(?:all\s+)?(?:the\s+)?worms\s+weigh(?:ed)?"
    r"|weighed\s+(?:all\s+)?(?:the\s+)?worms))(?!\w)\.?",
    re.IGNORECASE,
)
_NAMES: dict[str, Measured] = {
    "air": "air temperature",
    "bedding": "temperature",
    "moisture": "moisture",
    "ec": "EC",
    "mass": "live mass",
}
_VAGUELY = r"(?:(?:about|around|roughly|nearly|under|over|below|above|just\s+(?:under|over|below|above))\s+)?"
_TEMPERATURE = re.compile(rf"{_VAGUELY}[-−]?(?:\d[.,])?\d\S{{0,12}}\s*{DEGREE}", re.I)
_WORDED_TEMPERATURE = re.compile(WORDED_TEMPERATURE, re.I)
_VAGUELY_WORDED = re.compile(_VAGUELY + WORDED_TEMPERATURE, re.I)
_AFTER_PH = re.compile(r"(?<=\bph)\s*(?:[:=]|(?:is|was|of|reads?|says?|said|shows?|showed)(?!\w))", re.I)
_EC_UNIT = re.compile(r"\d\s*[mdµu]s/c?m(?!\w)", re.I)
_CANONICAL = {
    "temperature": "degC",
    "air temperature": "degC",
    "pH": "pH",
    "moisture": "%",
    "EC": "mS/cm",
    "live mass": "kg",
}
# A place and a number that no noun follows: "middle 5/edge 4".
_PLACED_NUMBER = re.compile(rf"(?<!\w){PLACE}\s*[:=]?\s*([-−]?\d+(?:[.,]\d+)?)(?![\w.,]*\s*[^\W\d_])", re.I)
_SYMBOLS = re.compile(r"(?:[^\w\s\x00-\x7f°½¼¾≈≤≥−–—]+\s*)+")  # emoji and the like
_UNKNOWN = re.compile(r"not\s+\w+|unknown|\?+", re.IGNORECASE)
DIAL = 10  # where the dials of cheap moisture meters end: common practice, no source
_LOWEST_FIFTH = 0.8  # where it begins, as a share of the bedding's depth


# Below freezing, or frozen: words for a temperature without a number.
_FREEZING = re.compile(r"(?<!\w)freezing(?:\s+point)?(?!\w)", re.I)
_FROZEN = re.compile(r"\s*(?:(?:all|hard|completely)\s+)?frozen(?:\s+(?:solid|hard|through))?\s*", re.I)
_ONLY_NUMBER = re.compile(rf"\s*([-−]\s?\d{{1,2}}(?:[.,]\d)?|minus\s+(?:\d{{1,2}}(?:[.,]\d)?|{NUMBER_WORD}))\s*", re.I)


def temperature_in(text: str) -> str | None:
    """The temperature that words hold: a number with °C, °F or degrees, or one right after a place."""
    if is_difference(text):
        return None
    if found := _TEMPERATURE.search(text) or _VAGUELY_WORDED.search(text):
        return found[0]
    if below := _ONLY_NUMBER.fullmatch(text):
        return f"{below[1]} C"
    placed = _PLACED_NUMBER.search(text)
    return f"{placed[1]} C" if placed else None


def reading(clause: Clause, previous: Said | None, known: Known) -> Said | None:
    """What was measured, or None where the clause holds no reading; the reading before lends what is left out."""
    if is_difference(clause.text):
        return None
    text, depth_words, depth_at = find_depth(clause.text)
    text, instrument = find_instrument(text)
    text, place, place_at, notes = find_place(text)
    named, text = _quantity(text)
    text = without_lead(_without_symbols(text)).rstrip(" ,")
    depth, below = _depth(clause, depth_words, depth_at, known)
    if place != "not noted" and _FROZEN.fullmatch(text):
        frozen = replace(parse_amount("at most 0 C"), words=" ".join(text.split()))
        fields = {"quantity": "temperature", "amount": frozen, "place": place, "instrument": instrument, "depth": depth}
        return Said(Reading, fields, (*notes, *below, "frozen taken as at most 0 °C"))
    # The surface dries and drips by itself, and tells nothing of the bedding.
    felt = None if place == "surface" or named not in (None, "moisture") else _felt(clause, named, text)
    if felt is not None:
        fields = {"quantity": "moisture", "amount": felt, "place": place, "instrument": instrument, "depth": depth}
        return Said(Reading, fields, notes + below + felt.flags)
    if not AMOUNT_BEGINS.match(text.strip()):
        return None
    if named is None and _WORDED_TEMPERATURE.search(text) and _is_temperature(text):
        named = "temperature"
    before = previous if previous is not None and previous.kind is Reading else None
    told = before is not None and before.fields["quantity"] == "pH"
    if named is None and not told and unit_written(text) == "" and read_off_a_strip(clause.text):
        named, notes = "pH", (*notes, "read off a strip: taken as pH")
    if named is None and (place_at < 0 or counts_animals(clause.text) or not _is_bare(text, place_at)):
        return None
    name: Measured | None = named or (before.fields["quantity"] if before else None)
    if name is None:
        if _UNKNOWN.fullmatch(text.strip()):
            return None
        at = len(text) - len(text.lstrip())
        raise clause.error("this number has no unit", at, "Write '6 C' for a temperature, '6 worms' for animals.")
    unit = unit_written(text) or ""
    if not unit and before is not None and _CANONICAL[before.fields["quantity"]] == _CANONICAL[name]:
        unit = before.unit
        if unit or named is None:
            notes += (f"no unit written; taken as {_name_of(unit) or name}, as before",)
    amount = known.amount(clause, text, 0, _CANONICAL[name], unit)
    if name == "moisture" and not unit and amount.kind != "not noted":
        if amount.high <= DIAL + 0.5:
            what = f"{amount.words} without % may be a mark on a meter's dial, which is no moisture"
            raise clause.error(what, len(text) - len(text.lstrip()), "Write '60 %', or 'note:' before the mark.")
        notes += ("no % written; taken as % of the wet weight",)
    notes += below
    if depth is None and place == "not noted" and place_at >= 0 and known.bedding_m is not None:
        place, depth = "middle", _lowest_fifth(known.bedding_m)
        notes = (*notes[1:], "bottom taken as the lowest fifth of the bedding, in the middle")
    fields = {"quantity": name, "amount": amount, "place": place, "instrument": instrument, "depth": depth}
    return Said(Reading, fields, notes + amount.flags, unit)


def _depth(clause: Clause, words: str, at: int, known: Known) -> tuple[VagueAmount | None, tuple[str, ...]]:
    """The depth, with a remark if it is below the bedding as laid, which may have grown; below the bin is refused."""
    if not words:
        return None, ()
    depth = known.amount(clause, words, at, "m")
    if known.height_m is not None and depth.low > known.height_m:
        what = f"{show_amount(depth)} down is below the bin, which is at most {100 * known.height_m:.0f} cm high"
        raise clause.error(what, at, "Check the depth and its unit.")
    if known.bedding_m is not None and depth.low > known.bedding_m:
        laid = f"{100 * known.bedding_m:.0f} cm"
        return depth, (f"{show_amount(depth)} down is deeper than the bedding was laid ({laid})",)
    return depth, ()


def _is_bare(text: str, place_at: int) -> bool:
    """Whether the text is a number without a unit; a slip in one that follows its place is for the grammar to find."""
    return unit_written(text) == "" or (place_at == 0 and re.fullmatch(r"\s*[-−~]?\d\S*", text) is not None)


def _felt(clause: Clause, named: Measured | None, text: str) -> VagueAmount | None:
    said = named is not None or re.search(r"\bbedding\b", clause.text, re.IGNORECASE) is not None
    return moisture_by_feel(text, of_moisture=said)


def _is_temperature(text: str) -> bool:
    """Whether all of the text is one temperature: in words a slip in one cannot be told from "one C battery"."""
    try:
        parse_amount(text, expect="degC")
    except AmountError:
        return False
    return True


def _name_of(spelling: str) -> str:
    unit = find_unit(spelling)
    return unit.name if unit else spelling


def _lowest_fifth(bedding_m: float) -> VagueAmount:
    return VagueAmount(_LOWEST_FIFTH * bedding_m, bedding_m, "m", "about", "bottom")


def _without_symbols(text: str) -> str:
    return _SYMBOLS.sub(spaces, text, count=1) if _SYMBOLS.match(text) else text


def _quantity(text: str) -> tuple[Measured | None, str]:
    """What is measured, by its name or its unit, and the text without the name."""
    found = _MEASURED.search(text)
    if found is not None:
        return _NAMES[found.lastgroup or ""], blank(text, *found.span())
    if re.search(r"\bph(?!\w)", text, re.I):
        return "pH", _AFTER_PH.sub(spaces, text)
    if _TEMPERATURE.search(text) or _FREEZING.search(text):
        return "temperature", text
    return ("EC" if _EC_UNIT.search(text) else None), text
