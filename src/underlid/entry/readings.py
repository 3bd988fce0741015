"""Clauses that read an instrument: what was measured, where, how deep, and with what unit."""

from __future__ import annotations

import re
from typing import Any

from underlid.entry.animals import counts_animals
from underlid.entry.places import BOTTOM, PLACE, blank, find_depth, find_instrument, find_place
from underlid.entry.said import Known, Said, spaces, without_lead
from underlid.entry.split import AMOUNT_BEGINS, Clause
from underlid.quantity import VagueAmount, find_unit, unit_written
from underlid.records import Measured, Place, Reading

_MEASURED = re.compile(
    r"(?<!\w)(?:in\s+the\s+(?=air))?(?:(?P<air>(?:outside\s+)?air(?:\s+temp(?:erature)?)?|outside|ambient)"
    r"|(?P<bedding>(?:bedding\s+)?temp(?:erature)?)|(?P<moisture>moisture)|(?P<ec>ec|conductivity))(?!\w)\.?",
    re.IGNORECASE,
)
_NAMES: dict[str, Measured] = {
    "air": "air temperature",
    "bedding": "temperature",
    "moisture": "moisture",
    "ec": "EC",
}
_TEMPERATURE = re.compile(
    r"[-−]?(?:\d[.,])?\d\S{0,12}\s*(?:°\s?[cf]?|º\s?[cf]?|℃|℉|(?:deg(?:ree)?s?\s*)?[cf](?!\w)|deg(?:ree)?s?(?!\w)"
    r"|celsius|fahrenheit)",
    re.I,
)
_EC_UNIT = re.compile(r"\d\s*[mdµu]s/c?m(?!\w)", re.I)
_CANONICAL = {"temperature": "degC", "air temperature": "degC", "pH": "pH", "moisture": "%", "EC": "mS/cm"}
# A place and a number that no noun follows: "middle 5/edge 4".
_PLACED_NUMBER = re.compile(rf"(?<!\w){PLACE}\s*[:=]?\s*([-−]?\d+(?:[.,]\d+)?)(?![\w.,]*\s*[^\W\d_])", re.I)
_SYMBOLS = re.compile(r"(?:[^\w\s\x00-\x7f°½¼¾≈≤≥−–—]+\s*)+")  # emoji and the like
_LOWEST_SHARE = 0.8  # the bottom begins at this share of the bedding's depth


def looks_like_a_temperature(text: str) -> bool:
    """Whether words hold a number with °C, °F or degrees, or one right after a place: "middel 2 C", "edge 4"."""
    return _temperature_in(text) is not None


def temperature_hint(text: str) -> str | None:
    """How a note's words would be written if they are a temperature, or None if they look like none."""
    number = _temperature_in(text)
    return None if number is None else f"middle {number}"


def _temperature_in(text: str) -> str | None:
    if found := _TEMPERATURE.search(text):
        return found[0]
    placed = _PLACED_NUMBER.search(text)
    return f"{placed[1]} C" if placed else None


def reading(clause: Clause, previous: Said | None, known: Known) -> Said | None:
    """What was measured, or None where the clause holds no reading; the reading before may lend its unit."""
    text, depth_words, depth_at = find_depth(clause.text)
    text, instrument = find_instrument(text)
    text, place, place_at, notes = find_place(text)
    name, text = _quantity(text)
    text = without_lead(_SYMBOLS.sub(spaces, text, count=1) if _SYMBOLS.match(text) else text).rstrip(" ,")
    if not AMOUNT_BEGINS.match(text.strip()):
        return None
    before = previous if previous is not None and previous.kind is Reading else None
    unit = unit_written(text)
    if name is None:
        if place_at < 0 or counts_animals(clause.text) or not _is_bare(text, unit, after_place=place_at == 0):
            return None
        if before is None:
            if not re.search(r"\d|\w", text) or re.match(r"\s*(?:not|unknown)\b", text, re.I):
                return None
            at = len(text) - len(text.lstrip())
            raise clause.error("this number has no unit", at, "Write '6 C' for a temperature, '6 worms' for animals.")
        name = before.fields["quantity"]
        assert name is not None
        lent = True
    else:
        lent = before is not None and bool(before.unit) and _CANONICAL[before.fields["quantity"]] == _CANONICAL[name]
        lent = lent and not unit
    if lent and before is not None:
        unit = before.unit
        notes += (f"no unit written; taken as {_unit_name(unit) or name}, as before",)
    amount = known.amount(clause, text, 0, _CANONICAL[name], unit or "")
    fields: dict[str, Any] = {"quantity": name, "amount": amount, "place": place, "instrument": instrument}
    fields["depth"] = known.amount(clause, depth_words, depth_at, "m") if depth_words else None
    return Said(Reading, fields, notes + amount.flags, unit or "")
