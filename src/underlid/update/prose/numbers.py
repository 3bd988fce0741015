"""Numbers in sentences, checked against the facts that a sentence names.

A number is founded if it is one of those facts, in a unit in which the fact may be told, rounded as `phrases` rounds:
the ends of a range outward and only together, its middle to the nearest step. A figure in °F must come from a
temperature and fit the one in °C before it, one in litres from a volume, a date from a date. "Nine in ten" is not a
figure but what a range means. What a keeper or another part of the program wrote either stands in a sentence letter
for letter or is checked like the rest.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import NamedTuple

from underlid.quantity.amount import VagueAmount
from underlid.quantity.units import to_fahrenheit
from underlid.update.facts import Range, ReadingFact
from underlid.update.lifefacts import Daily, Picture
from underlid.update.prose.phrases import SMALL, difference_fahrenheit, nearest, outward, rounded
from underlid.update.prose.said import Said

NEAR = 1e-6
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_MONTH = rf"({'|'.join(MONTHS)}|{'|'.join(name[:3] for name in MONTHS)})\b"
_N = r"(−?\d+(?:\.\d+)?)"
_UNITS = {
    "°C": "°C", "°F": "°F", "%": "%", "litres?": "L", "kg": "kg", "g": "g", "hours?": "h",
    "cm": "cm",
}  # fmt: skip
_NOUNS = "reading|count|sighting|feeding|meal|day|sample|surprise|worm"
_IDIOMS = re.compile(r"[Nn]ine[- ]in[- ]ten|One exact reading in ten")
_SPELLED = re.compile(rf"\b(?:(no|one) (?:(?:bedding|exact) )?(?:{_NOUNS})s?|({'|'.join(SMALL[2:])}))\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Known:
    """One number that a sentence tells, where no range belongs to it.

    unit : as in `facts.Range`, or "chance" for a share that is told by `phrases.chance`
    """

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A number in a text, or a span of two: how it stands there, its values, and its unit as written; "1" for none.

    Dates have the unit "date" and the value 100 * month + day, with a year 10000 * year more; times of day have the
    unit "clock" and minutes after midnight; a month has the unit "month" and the value 100 * year + month. What cannot
    be a figure of ours, like "06", has the value nan.
    """

    text: str
    values: tuple[float, ...]
    unit: str


class Told(NamedTuple):
    """What facts may be told with, by unit as written: single numbers, spans, and known limits that may end a span."""

    single: dict[str, set[float]]
    span: dict[str, set[tuple[float, float]]]
    limit: dict[str, set[float]]

    def holds(self, figure: Figure) -> bool:
        """Whether a figure is one of them."""
        if len(figure.values) == 1:
            return _among(figure.values[0], self.single.get(figure.unit, ()))
        low, high = figure.values
        spans = self.span.get(figure.unit, ())
        if any(abs(low - first) < NEAR and abs(high - last) < NEAR for first, last in spans):
            return True
        limits = self.limit.get(figure.unit, ())
        return low < high and _among(low, limits) and _among(high, limits)


def numbers_in(text: str) -> tuple[Figure, ...]:
    """Every number in a text, in figures or spelled out."""
    left = _IDIOMS.sub(" ", text.replace("\u00a0", " "))
    found: list[Figure] = []
    for pattern, read in _PATTERNS:
        for match in pattern.finditer(left):
            found.extend(read(match))
        left = pattern.sub(" ~ ", left)
    return tuple(found)


def told_by(facts: Iterable[object]) -> Told:
    """All numbers that these facts may be told with."""
    told = Told({}, {}, {})
    for unit, values, limit in (one for fact in facts for one in _tellings(fact)):
        if len(values) == 1 or values[0] == values[-1]:
            told.single.setdefault(unit, set()).add(values[0])
        else:
            told.span.setdefault(unit, set()).add((values[0], values[1]))
        if limit:
            told.limit.setdefault(unit, set()).add(values[0])
    return told


def unfounded(said: Said) -> tuple[str, ...]:
    """The numbers in a sentence, or in its short form, that are none of the facts it names."""
    return strangers(f"{said.full} ~ {said.short}", said.facts)


def strangers(text: str, facts: Iterable[object]) -> tuple[str, ...]:
    """The numbers in a text that are none of these facts."""
    known = tuple(facts)
    left = text
    for words in sorted({words for fact in known for words in _texts(fact)}, key=len, reverse=True):
        left = re.sub(_as_told(words), " ~ ", left)
    told = told_by(known)
    return tuple(figure.text for figure in numbers_in(left) if not told.holds(figure))


def _among(value: float, known: Iterable[float]) -> bool:
    return any(abs(value - one) < NEAR for one in known)


def _as_told(words: str) -> str:
    """Where a text stands whole: a bare number only in quotes, as it could be any other's."""
    text = re.escape(words)
    return rf"(?<=“){text}(?=”)" if re.fullmatch(r"[\d\s.,−-]+", words) else rf"(?<![\w.,−]){text}(?!\w)"


# --- reading a text --------------------------------------------------------------------------------------


def _value(text: str) -> float:
    """nan for what nobody would write, like "06" or "-0"."""
    return math.nan if re.match(r"−?0\d|−0$", text) else float(text.replace("−", "-"))


def _spans(match: re.Match[str], unit: str) -> Iterator[Figure]:
    """Figures of a pattern whose groups are pairs: a number, and the end of the span that it begins, if it does."""
    parts = match.groups()
    for first, last in zip(parts[::2], parts[1::2], strict=True):
        if first is not None:
            values = tuple(_value(part) for part in (first, last) if part is not None)
            yield Figure(f"{' to '.join(filter(None, (first, last)))} {unit}".removesuffix(" 1"), values, unit)


def _both_scales(match: re.Match[str]) -> Iterator[Figure]:
    """°C with °F beside it: a temperature or a difference, each figure of one the same as that of the other."""
    in_c, in_f = _SPAN.match(match[1]), _SPAN.match(match[2])
    assert in_c is not None
    assert in_f is not None
    (warm,), (other,) = _spans(in_c, "°C"), _spans(in_f, "°F")
    yield warm
    # One number in °C may be two in °F, rounded outward: the ends must fit each other.
    ends = ((warm.values[0], other.values[0]), (warm.values[-1], other.values[-1]))
    same = any(all(abs(1.8 * c + zero - f) < 1 for c, f in ends) for zero in (32, 0))
    yield other if same else Figure(other.text, (math.nan,), "°F")


def _date(text: str, day: str, month: str, year: str | None = None) -> Figure:
    return Figure(text, ((10000 * int(year) if year else 0) + 100 * _month(month) + _value(day),), "date")


def _days(match: re.Match[str]) -> Iterator[Figure]:
    first, last = _date(match[0], match[1], match[3]), _date(match[0], match[2], match[3])
    yield first if first.values < last.values else Figure(match[0], (math.nan,), "date")
    yield last


def _month(name: str) -> int:
    return [month[:3] for month in MONTHS].index(name[:3]) + 1


def _spelled(match: re.Match[str]) -> Iterator[Figure]:
    yield Figure(match[0], (float(SMALL.index((match[1] or match[2]).lower())),), "1")


_SPAN = re.compile(rf"{_N}(?: to {_N})?")
_BESIDE = rf"(?: \({_N}(?: to {_N})?\))?"  # a range without its unit, beside a middle that has it
_Reader = Callable[["re.Match[str]"], Iterable[Figure]]
_PATTERNS: tuple[tuple[re.Pattern[str], _Reader], ...] = (
    (re.compile(rf"\b(\d\d?) to (\d\d?) {_MONTH}"), _days),
    (re.compile(rf"\b(\d\d?) {_MONTH}(?:,? (\d{{4}})\b)?"), lambda m: (_date(m[0], m[1], m[2], m[3]),)),
    (re.compile(rf"\b{_MONTH} (\d{{4}})\b"), lambda m: (Figure(m[0], (100.0 * int(m[2]) + _month(m[1]),), "month"),)),
    (re.compile(r"\b(\d\d):(\d\d)\b"), lambda m: (Figure(m[0], (60.0 * int(m[1]) + int(m[2]),), "clock"),)),
    (re.compile(r"([−\d.]+(?: to [−\d.]+)?) °C(?: \(|, )([−\d.]+(?: to [−\d.]+)?) °F"), _both_scales),
    (re.compile(rf"pH {_N}(?: to {_N})?{_BESIDE}"), lambda m: _spans(m, "pH")),
    (re.compile(rf"{_N}(?: to {_N})? mS/cm{_BESIDE}"), lambda m: _spans(m, "mS/cm")),
    *(
        (re.compile(rf"{_N}(?: to {_N})? {spelling}(?!\w)"), partial(_spans, unit=unit))
        for spelling, unit in _UNITS.items()
    ),
    (_SPAN, partial(_spans, unit="1")),
    (_SPELLED, _spelled),
)


# --- what facts may be told with -------------------------------------------------------------------------


_Telling = tuple[str, tuple[float, ...], bool]  # unit as written, a number or a span, whether it may end a span


def _tellings(fact: object) -> Iterator[_Telling]:
    """Each way in which a fact may be told."""
    match fact:
        case None | bool() | str() | Daily() | Picture():
            return
        case Range():
            yield from _of_range(fact)
        case Known():
            yield from ((unit, (value,), True) for unit, value in _of_known(fact))
        case VagueAmount():
            yield from _of_amount(fact)
        case int() | float():
            yield "1", (float(fact),), False
        case date():
            yield from _of_moment(fact)
        case tuple() | list():
            for one in fact:
                yield from _tellings(one)
        case dict():
            yield from _tellings(tuple(fact.values()))
        case _ if is_dataclass(fact):
            yield from _of_parts(fact)


def _of_parts(fact: object) -> Iterator[_Telling]:
    parts = {field.name: getattr(fact, field.name) for field in fields(fact)}  # type: ignore[arg-type]
    start, end = parts.get("start"), parts.get("end")
    if isinstance(start, datetime) and isinstance(end, datetime):  # told by `phrases.window`
        yield from _of_moment(start + (end - start) / 2 + timedelta(seconds=30))
        yield from _of_moment(end - timedelta(seconds=1))
    if isinstance(fact, ReadingFact):
        yield from _tellings(Known(parts.pop("gap_k"), "gap"))
    yield from _tellings(tuple(parts.values()))


def _of_range(found: Range) -> Iterator[_Telling]:
    low, high = outward(found)
    middle = rounded(found)
    match found.unit:
        case "degC":
            in_f = (_down(to_fahrenheit(low)), _up(to_fahrenheit(high)))
            yield from (("°C", (low, high), False), ("°C", (middle,), False))
            yield from (("°F", in_f, False), ("°F", (float(round(to_fahrenheit(middle))),), False))
        case "K":
            yield from (("°C", (low, high), False), ("°F", difference_fahrenheit(low, high), False))
        case "g" if found.high >= 1000:
            low, middle, high = (round(side / 1000, 2) for side in (low, middle, high))
            yield from (("kg", (low, high), False), ("kg", (middle,), False))
        case "g" | "g/m2":
            yield from (("g", (low, high), False), ("g", (middle,), False))
        case unit:
            yield from ((unit, (low, high), False), (unit, (middle,), False))
    if found.unit == "1" and high < 0:  # a change, told as so many fewer
        yield from _of_range(replace(found, low=-found.high, middle=-found.middle, high=-found.low))


def _of_known(fact: Known) -> Iterator[tuple[str, float]]:
    match fact.unit:
        case "degC":
            yield from (("°C", round(fact.value, 1)), ("°F", round(to_fahrenheit(fact.value))))
        case "chance":
            yield "%", float(min(max(5 * round(20 * fact.value), 5), 95))
        case "gap" if fact.value < 0.5:
            yield from (("°C", 0.5), ("°F", 1.0))
        case "gap":
            gap = nearest(fact.value, 0.5)
            yield from (("°C", gap), ("°F", round(1.8 * gap)))
        case "g/m2":
            yield "g", round(fact.value)
        case "pH" | "mS/cm" as unit:
            yield unit, round(fact.value, 1)
        case unit:
            yield unit, round(fact.value)


def _of_amount(fact: VagueAmount) -> Iterator[_Telling]:
    sides = tuple(side for side in (fact.low, fact.high) if math.isfinite(side))
    unit, values = ("°C", sides) if fact.unit == "degC" else (fact.unit, sides)
    if sides:
        yield unit, tuple(round(side, 1) for side in values), False
    if sides and fact.unit == "degC":
        for places in (0, 1):
            yield "°F", tuple(round(to_fahrenheit(side), places) for side in sides), False


def _of_moment(moment: date) -> Iterator[_Telling]:
    day = 100 * moment.month + moment.day
    values = {"date": (day, 10000 * moment.year + day), "month": (100 * moment.year + moment.month,)}
    yield from ((unit, (float(value),), False) for unit, found in values.items() for value in found)
    if isinstance(moment, datetime):
        yield "clock", (60.0 * moment.hour + moment.minute,), False


def _down(value: float) -> float:
    return float(math.floor(round(value, 6)))


def _up(value: float) -> float:
    return float(math.ceil(round(value, 6)))


def _texts(fact: object) -> Iterator[str]:
    """Texts among the facts, which stand in a sentence letter for letter."""
    match fact:
        case str() if fact.strip():
            yield fact
        case tuple() | list():
            for one in fact:
                yield from _texts(one)
        case Range() | Known() | date() | VagueAmount() | Daily() | Picture():
            return
        case _ if is_dataclass(fact):
            for field in fields(fact):
                yield from _texts(getattr(fact, field.name))
