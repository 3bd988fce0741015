"""A sentence as it is read aloud: units and signs in words, nothing that cannot be spoken, the same numbers."""

from __future__ import annotations

import re

_NUMBER = r"(\d(?:[\d.]*\d)?)"
_DAYS = {
    "Mon": "Monday", "Tue": "Tuesday", "Wed": "Wednesday", "Thu": "Thursday", "Fri": "Friday", "Sat": "Saturday",
    "Sun": "Sunday",
}  # fmt: skip
_MONTHS = {
    "Jan": "January", "Feb": "February", "Mar": "March", "Apr": "April", "Jun": "June", "Jul": "July",
    "Aug": "August", "Sep": "September", "Oct": "October", "Nov": "November", "Dec": "December",
}  # fmt: skip
#: As written after a number -> as spoken after one, and after any other.
_UNITS = (
    ("°C", "degree Celsius", "degrees Celsius"),
    ("°F", "Fahrenheit", "Fahrenheit"),
    ("%", "per cent", "per cent"),
    ("mS/cm", "millisiemens per centimetre", "millisiemens per centimetre"),
    ("kg", "kilogram", "kilograms"),
    ("g", "gram", "grams"),
    ("mL", "millilitre", "millilitres"),
    ("ml", "millilitre", "millilitres"),
    ("L", "litre", "litres"),
    ("l", "litre", "litres"),
    ("mm", "millimetre", "millimetres"),
    ("cm", "centimetre", "centimetres"),
    ("W", "watt", "watts"),
    ("K", "kelvin", "kelvin"),
    ("C", "degree Celsius", "degrees Celsius"),
    ("F", "Fahrenheit", "Fahrenheit"),
)
_SIGNS = {
    "°C": " degrees Celsius ", "°F": " Fahrenheit ", "°": " degrees ", "%": " per cent ", "&": " and ", "+": " plus ",
    "=": " equals ", "~": " about ", "≈": " about ", "×": " times ", "±": " plus or minus ", "≥": " at least ",
    "≤": " at most ", "/": " per ", "…": ". ", "m²": " square metre ", "²": " squared ", "³": " cubed ",
}  # fmt: skip


def sentences(text: str) -> list[str]:
    """A text at the ends of its sentences, as one after another is read."""
    return [part for part in re.split(r"(?<=[.?!…])[ \n]+", text.strip(" \n")) if part]


def spoken(text: str) -> str:
    """A text for a speaker: "1.5 °C (35 °F)" as "1.5 degrees Celsius, 35 Fahrenheit".

    A bracket becomes a pause, a minus sign its word, and quotes go. Numbers stay in figures, which every speaker reads.
    """
    said = text.replace("\u00a0", " ").replace("\u2009", " ").replace("\u202f", " ")
    said = re.sub(rf"(?<![\w.])-(?={_NUMBER})", "−", said)  # a hyphen before a number that nothing precedes
    said = re.sub(r"(?<=\d)\s?[-–—]\s?(?=\d)", " to ", said)
    said = re.sub(r"−\s?(?=\d)", " minus ", said)
    said = re.sub(rf"\b({'|'.join(_DAYS)})(?= \d)", lambda match: _DAYS[match[1]], said)
    said = re.sub(rf"(?<=\d )({'|'.join(_MONTHS)})\b", lambda match: _MONTHS[match[1]], said)
    said = re.sub(r"\bpH\b", "p H", said)
    said = re.sub(r"\bEC\b", "conductivity", said)
    for unit, one, more in _UNITS:
        pattern = rf"(to +(?:minus +)?)?{_NUMBER} ?{re.escape(unit)}(?![\w/°])"
        said = re.sub(pattern, lambda match, a=one, b=more: _with(match, a, b), said)  # type: ignore[misc]
    for sign, word in _SIGNS.items():
        said = said.replace(sign, word)
    said = re.sub(r"\s*[(\[{]\s*", ", ", said)
    said = re.sub(r"\s*[)\]}]", ", ", said)
    said = re.sub(r"\s*[–—·|]\s*", ", ", said)
    said = re.sub(r"[^\w\s.,;:?!’'−-]|_", " ", said)  # quotes and whatever else has no sound
    return _tidy(said)


def _with(match: re.Match[str], one: str, more: str) -> str:
    before, figure = match[1] or "", match[2]
    return f"{before}{figure} {one if figure == '1' and not before else more}"


def _tidy(said: str) -> str:
    """One space between words, one mark at each pause."""
    said = re.sub(r"\s+", " ", said)
    said = re.sub(r"\s+(?=[.,;:?!])", "", said)
    said = re.sub(r",(?:\s*,)+", ",", said)
    said = re.sub(r",\s*(?=[.;:?!])", "", said)
    said = re.sub(r"(?<=[.;:?!]),", "", said)
    return said.strip(" ,")
