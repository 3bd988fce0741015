"""Amounts and dates back into words: a canonical phrase that reads back the same, and a short one for people."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from underlid.quantity.amount import VagueAmount, VagueSize
from underlid.quantity.units import to_fahrenheit
from underlid.quantity.when import VagueTime

_WRITTEN = {"degC": " C", "1": ""}
OFF = 0.1  # of its width, by which the middle of an interval may be rounded off, and
QUARTER = 0.26  # of its last digit, which may be too: our judgement
_LEAD = {"exact": "exactly ", "about": "about ", "between": ""}


def many(number: int, one: str, more: str) -> str:
    """How many there are of something: "1 entry", "3 entries"."""
    return f"{number} {one if number == 1 else more}"


def listed(parts: Sequence[str]) -> str:
    """Parts of a sentence: "a", "a and b", "a, b and c"."""
    return "".join(parts) if len(parts) < 2 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def format_amount(amount: VagueAmount) -> str:
    """The canonical phrase: `parse_amount` of it has the same bounds, unit and kind.

    Raises ValueError for bounds that no phrase has, such as a range with an open side.
    """
    unit = _WRITTEN.get(amount.unit, f" {amount.unit}")
    match amount.kind:
        case "not noted":
            return f"not noted{unit}"
        case "at least":
            ends: tuple[float, ...] = (amount.low,)
        case "at most":
            ends = (amount.high,)
        case _:
            ends = (amount.low, amount.high)
    if not all(map(math.isfinite, ends)):
        raise ValueError(f"{amount} has an open side that its kind does not allow")
    if amount.kind in ("at least", "at most"):
        return f"{amount.kind} {ends[0]!r}{unit}"
    if amount.kind == "exact" and amount.unit == "1" and ends[0] == ends[1] == int(ends[0]):
        return str(int(ends[0]))
    return f"{_LEAD[amount.kind]}{amount.low!r} to {amount.high!r}{unit}"


def format_when(when: VagueTime) -> str:
    """The canonical phrase: `parse_when` of it has the same bounds and kind."""
    lead = "between " if when.kind == "between" else f"{when.kind.replace('exact', 'exactly')} "
    joint = "and" if when.kind == "between" else "to"
    return f"{lead}{when.start.isoformat()} {joint} {when.end.isoformat()}"


def show_amount(amount: VagueAmount) -> str:
    """The amount for people, rounded to what it can bear: "6 to 7 °C (43 to 45 °F)"."""
    if amount.kind == "not noted":
        return "not noted"
    if amount.unit == "1":
        return _count(amount)
    times, unit = _scale(amount)
    shown = _interval(amount, amount.low * times, amount.high * times)
    if amount.unit == "pH":
        return f"pH {shown}"
    if amount.unit == "degC":
        other = _interval(amount, to_fahrenheit(amount.low), to_fahrenheit(amount.high), fahrenheit=True)
        lead = next((word for word in ("about ", "at least ", "at most ") if other.startswith(word)), "")
        return f"{shown} °C ({other.removeprefix(lead)} °F)"
    return f"{shown} {unit}"


def show_size(size: VagueSize) -> str:
    """The box for people: "43 x 30 x 28 cm, 37 L"."""
    sides = " x ".join(f"{50 * (side.low + side.high):.0f}" for side in (size.length, size.width, size.height))
    return f"{sides} cm, {show_amount(size.volume)}"


def show_when(when: VagueTime) -> str:
    """The time for people: "23 Jan 2026 22:30 to 24 Jan 01:30"."""
    start, end = when.start, when.end
    lead = "not noted, " if when.kind == "not noted" else ""
    whole_days = (start.hour, start.minute, end.hour, end.minute) == (0, 0, 0, 0) and start.date() < end.date()
    if whole_days:
        last = datetime.fromordinal(end.toordinal() - 1)
        if last.date() == start.date():
            return f"{lead}{_day(start)} {start.year}"
        year = "" if last.year == start.year else f" {start.year}"
        return f"{lead}{_day(start)}{year} to {_day(last)} {last.year}"
    if when.kind == "exact":
        middle = start + (end - start) / 2
        return f"{_day(middle)} {middle.year} {middle:%H:%M}"
    day = "" if start.date() == end.date() else f"{_day(end)} "
    if end.year != start.year:
        day = f"{_day(end)} {end.year} "
    return f"{lead}{_day(start)} {start.year} {start:%H:%M} to {day}{end:%H:%M}"


def _day(when: datetime) -> str:
    return f"{when.day} {when:%b}"


def _scale(amount: VagueAmount) -> tuple[float, str]:
    """Grams, millilitres and centimetres for what is small."""
    largest = max(abs(x) for x in (amount.low, amount.high) if math.isfinite(x))
    small = {"kg": (1.0, 1000.0, "g"), "L": (0.1, 1000.0, "mL"), "m": (3.0, 100.0, "cm")}
    below, times, unit = small.get(amount.unit, (0.0, 1.0, amount.unit))
    return (times, unit) if largest < below else (1.0, amount.unit)


def _interval(amount: VagueAmount, low: float, high: float, *, fahrenheit: bool = False) -> str:
    match amount.kind:
        case "at least":
            return f"at least {_number(low, 0 if fahrenheit else 1)}"
        case "at most":
            return f"at most {_number(high, 0 if fahrenheit else 1)}"
        case "between":
            places = _places(high - low) if fahrenheit else max(1, _places(high - low))
            return " to ".join(dict.fromkeys((_number(low, places), _number(high, places))))
        case _:
            lead, middle, width = "about " if amount.kind == "about" else "", (low + high) / 2, high - low
            places = _places(width)
            off = abs(round(middle, places) - middle)
            if not fahrenheit and off > max(OFF * width, QUARTER * 10.0**-places):  # no “about 6” for “6.5 or so”
                places += 1
            return f"{lead}{_number(middle, places)}"


def _count(amount: VagueAmount) -> str:
    match amount.kind:
        case "at least":
            return f"at least {_number(amount.low, 1)}"
        case "at most":
            return f"at most {_number(amount.high, 1)}"
        case "about":  # whole animals inside the interval
            ends = (math.ceil(amount.low), math.floor(amount.high))
            return "about " + " to ".join(dict.fromkeys(map(str, ends)))
        case _:
            return " to ".join(dict.fromkeys((_number(amount.low, 2), _number(amount.high, 2))))


def _places(width: float) -> int:
    """Decimals that an interval of that width can bear."""
    return 0 if width >= 0.999 else 3 if width < 0.001 else math.ceil(-math.log10(width) - 1e-9)


def _number(value: float, places: int) -> str:
    shown = f"{value:.{places}f}"
    shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
    return "0" if shown in ("-0", "") else shown
