"""Numbers, amounts and dates as short phrases, temperatures in °C with °F beside them.

Ends of a range are rounded away from its middle, temperatures to half a degree or, where the range is wide,
to a degree: a phrase never claims more than the numbers do.
"""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta

from underlid.quantity.amount import VagueAmount
from underlid.quantity.units import to_fahrenheit
from underlid.update.facts import Range

MOMENT = timedelta(minutes=5)  # a window no longer than this is told as one moment
WIDE_K = 4.0  # a range wider than this is told in whole degrees
NB = "\u00a0"  # keeps a number and its unit on one line
SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def number(value: float, decimals: int = 1) -> str:
    """A number without a needless decimal, with a true minus sign."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text.replace("-", "−")


def count(n: int, noun: str) -> str:
    """ "no readings", "one reading", "twelve" as "12"."""
    return f"{SMALL[n] if n < len(SMALL) else n} {noun}{'' if n == 1 else 's'}"


def ends(low: float, high: float, unit: str = "") -> str:
    """Two ends with one unit, said once if they look alike."""
    first, last = number(low), number(high)
    both = first if first == last else f"{first}{NB}to{NB}{last}"
    return f"{both}{NB}{unit}" if unit else both


def nine_in_ten(ends: str) -> str:
    """A range of nine chances in ten: "nine in ten from 3 to 19", or "at 1" where its ends look alike."""
    return f"nine in ten {'from' if f'{NB}to{NB}' in ends else 'at'} {ends}"


def mark(found: Range) -> str:
    """ " (estimated)" or " (read)"; nothing where a sentence says itself that it predicts."""
    return "" if found.provenance == "predicted" else f" ({found.provenance})"


def span(first: date, last: date, near: date) -> str:
    """ "3 to 9 January", "31 January", with years where they are not that of `near`."""
    if first == last:
        return dated(first, near)
    if first.year == last.year == near.year:
        return days(first, last)
    return f"{dated(first, near)} to {dated(last, near)}"


def celsius(found: Range) -> str:
    """The middle of a range of temperatures, °C alone."""
    return f"{number(rounded(found))}{NB}°C"


def fahrenheit(found: Range) -> str:
    """The same middle in °F."""
    return f"{number(to_fahrenheit(rounded(found)), 0)}{NB}°F"


def temperature(found: Range) -> str:
    """The middle of a range: "1.5 °C (35 °F)"."""
    return f"{celsius(found)} ({fahrenheit(found)})"


def temperature_ends(found: Range) -> tuple[str, str]:
    """The ends of a range in each unit: "0.5 to 3 °C" and "32 to 38 °F"."""
    low, high = outward(found)
    return ends(low, high, "°C"), ends(_down(to_fahrenheit(low), 1), _up(to_fahrenheit(high), 1), "°F")


def temperature_range(found: Range) -> str:
    """The ends of a range: "0.5 to 3 °C (32 to 38 °F)"."""
    in_c, in_f = temperature_ends(found)
    return f"{in_c} ({in_f})"


def both_scales(degrees_c: float) -> str:
    """A temperature within brackets: "−1 °C, 30 °F"."""
    return f"{number(degrees_c)}{NB}°C, {number(to_fahrenheit(degrees_c), 0)}{NB}°F"


def warmth(degrees_c: float) -> str:
    """One known temperature: "0 °C (32 °F)"."""
    return f"{number(degrees_c)}{NB}°C ({number(to_fahrenheit(degrees_c), 0)}{NB}°F)"


def band(low_c: float, high_c: float) -> str:
    """Two known temperatures: "0 to 35 °C, 32 to 95 °F"."""
    return f"{ends(low_c, high_c, '°C')}, {ends(round(to_fahrenheit(low_c)), round(to_fahrenheit(high_c)), '°F')}"


def difference_range(found: Range) -> str:
    """The ends of a temperature difference: "−0.5 to 1 °C (−0.9 to 1.8 °F)"."""
    low, high = outward(found)
    return f"{ends(low, high, '°C')} ({ends(*difference_fahrenheit(low, high), '°F')})"


def percent_range(found: Range) -> str:
    """The ends of a share: "60 to 100 %"."""
    return ends(*outward(found), "%")


def percent(found: Range) -> str:
    """The middle of a share: "60 %"."""
    return f"{number(rounded(found))}{NB}%"


def litres(found: Range) -> str:
    """The middle of a volume."""
    return _plural(number(rounded(found)), "litre")


def litres_range(found: Range) -> str:
    """The ends of a volume: "10 to 16 litres"."""
    return _plural(ends(*outward(found)), "litre")


def hours_range(found: Range) -> str:
    """A range of hours: "3 to 40 hours"."""
    return _plural(ends(*outward(found)), "hour", " ")


def animals(found: Range, noun: str = "worm") -> str:
    """The middle of a number of animals: "6 worms"."""
    return _plural(animals_figure(found), noun)


def animals_figure(found: Range) -> str:
    """The same without what they are: "6"."""
    return number(rounded(found), 0)


def animals_range(found: Range) -> str:
    """The ends of a number of animals: "3 to 19"."""
    return ends(*outward(found))


def mass(found: Range) -> str:
    """The middle of a mass: "320 g", from a kilogram on "1.3 kg"."""
    scale, unit = _kilo(found)
    return f"{number(rounded(found) / scale, 2)}{NB}{unit}"


def mass_range(found: Range) -> str:
    """The ends of a mass: "310 to 330 g"."""
    scale, unit = _kilo(found)
    low, high = (number(side / scale, 2) for side in outward(found))
    return f"{low if low == high else f'{low}{NB}to{NB}{high}'}{NB}{unit}"


def level(found: Range) -> str:
    """The middle of a pH or an EC: "pH 6.8", "1.2 mS/cm"."""
    return _on_scale(number(rounded(found)), found.unit)


def level_ends(found: Range) -> str:
    """The same without the unit, beside a middle that has it: "6.5 to 7.2"."""
    return ends(*outward(found))


def level_range(found: Range) -> str:
    """The ends of a pH or an EC: "pH 6.5 to 7.2"."""
    return _on_scale(ends(*outward(found)), found.unit)


def plain_range(found: Range, unit: str, step: float) -> str:
    """The ends of a range of anything else, rounded outward to a step."""
    return ends(_down(found.low, step), _up(found.high, step), unit)


def chance(share: float) -> str:
    """A chance to the nearest twentieth: a few hundred draws of a model tell no more."""
    twentieths = round(20 * share)
    if twentieths == 0:
        return f"under 5{NB}%"
    if twentieths == 20:
        return f"over 95{NB}%"
    return f"about {5 * twentieths}{NB}%"


def interval(amount: VagueAmount) -> str:
    """An amount with both its ends, even where it is an "about": temperatures in both units."""
    if amount.kind == "not noted":
        return "not noted"
    before = {"about": "about ", "at least": "at least ", "at most": "at most "}.get(amount.kind, "")
    low = amount.low if math.isfinite(amount.low) else amount.high
    high = amount.high if math.isfinite(amount.high) else amount.low
    if amount.unit != "degC":
        return before + ends(low, high, "" if amount.unit == "1" else amount.unit)
    # Half a degree Celsius is about one degree Fahrenheit: narrower intervals need a decimal to stay apart.
    places = 0 if low == high or high - low >= 0.5 else 1
    low_f, high_f = (round(to_fahrenheit(side), places) for side in (low, high))
    return f"{before}{ends(low, high, '°C')} ({ends(low_f, high_f, '°F')})"


def length(amount: VagueAmount) -> str:
    """A size in centimetres and inches: "54 to 56 cm (21.3 to 22 in)"."""
    sides = [side for side in (amount.low, amount.high) if math.isfinite(side)]
    if not sides:
        return "not noted"
    low, high = 100 * sides[0], 100 * sides[-1]
    return f"{ends(low, high, 'cm')} ({ends(low / 2.54, high / 2.54, 'in')})"


def day(moment: date) -> str:
    """ "14 January"."""
    return f"{moment.day} {moment:%B}"


def dated(moment: date, near: date) -> str:
    """ "14 January", with its year where that is not the year of `near`."""
    return day(moment) if moment.year == near.year else f"{day(moment)} {moment.year}"


def hour(moment: datetime) -> str:
    """ "Wed 14 January, 07:00"."""
    return f"{moment:%a} {moment.day} {moment:%B, %H:%M}"


def days(first: date, last: date) -> str:
    """ "3 to 9 January", the month said once if it can be."""
    start = str(first.day) if (first.year, first.month) == (last.year, last.month) else day(first)
    return f"{start} to {day(last)}"


def between_hours(first: datetime, last: datetime, near: datetime) -> str:
    """ "15:00 and 22:00", with their days unless both fall on the day of `near`."""
    if first.date() == last.date() == near.date():
        return f"{first:%H:%M} and {last:%H:%M}"
    return f"{hour(first)} and {hour(last)}"


def short_days(first: date, last: date) -> str:
    """ "27 Jan to 3 Feb"."""
    return f"{first.day} {first:%b} to {last.day} {last:%b}"


def gap(kelvin: float) -> str:
    """A difference to half a degree: "2 °C (4 °F)"."""
    if kelvin < 0.5:
        return f"under 0.5{NB}°C (1{NB}°F)"
    rounded = nearest(kelvin, 0.5)
    return f"{number(rounded)}{NB}°C ({number(1.8 * rounded, 0)}{NB}°F)"


def window(start: datetime, end: datetime) -> str:
    """The time of an entry, as short as it can be said."""
    if end - start <= MOMENT:
        moment = start + (end - start) / 2 + timedelta(seconds=30)  # to the nearest minute
        return f"{day(moment)}, {moment:%H:%M}"
    if end - start >= timedelta(hours=23):
        last = (end - timedelta(seconds=1)).date()  # a day ends at the next midnight
        return day(start) if start.date() == last else days(start.date(), last)
    if start.date() == end.date():
        return f"{day(start)}, {start:%H:%M} to {end:%H:%M}"
    return f"{day(start)}, {start:%H:%M} to {day(end)}, {end:%H:%M}"


def step(found: Range) -> float:
    """To what a quantity is rounded; finer where little is told, and coarser where the range is wide."""
    largest, width = max(abs(found.low), abs(found.high)), found.high - found.low
    match found.unit:
        case "degC":
            return 1.0 if width > WIDE_K else 0.5
        case "%":
            return 1.0 if largest >= 2 else 0.1
        case "L":
            return 1.0 if largest >= 5 else 0.5 if largest >= 1 else 0.1
        case "1" | "g/m2":
            return max(1.0, _two_figures(largest))
        case "g":
            return max(0.1, min(_two_figures(largest), _two_figures(10 * width)))
        case "pH" | "mS/cm" | "K":
            return 0.1
        case _:
            return 1.0


def outward(found: Range) -> tuple[float, float]:
    """The ends of a range, rounded away from its middle, but not beyond the whole that it is part of."""
    return _within(_down(found.low, step(found)), found), _within(_up(found.high, step(found)), found)


def rounded(found: Range) -> float:
    """The middle of a range to its step."""
    return _within(nearest(found.middle, step(found)), found)


def difference_fahrenheit(low_k: float, high_k: float) -> tuple[float, float]:
    """A temperature difference in °F, rounded outward to a tenth."""
    return _down(1.8 * low_k, 0.1), _up(1.8 * high_k, 0.1)


def nearest(value: float, step: float) -> float:
    """A value to the nearest step."""
    return math.floor(round(value / step + 0.5, 6)) * step


def _within(value: float, found: Range) -> float:
    return value if found.most is None else min(value, found.most)


def _two_figures(value: float) -> float:
    """The step that leaves a value two figures."""
    return 10.0 ** (math.floor(math.log10(value)) - 1) if value > 0 else 0.0


def _kilo(found: Range) -> tuple[float, str]:
    return (1000.0, "kg") if found.high >= 1000 else (1.0, "g")


def _on_scale(figures: str, unit: str) -> str:
    return f"pH{NB}{figures}" if unit == "pH" else f"{figures}{NB}{unit}"


def _plural(figures: str, noun: str, gap: str = NB) -> str:
    return f"{figures}{gap}{noun}{'' if figures == '1' else 's'}"


def _down(value: float, step: float) -> float:
    return math.floor(round(value / step, 6)) * step


def _up(value: float, step: float) -> float:
    return math.ceil(round(value / step, 6)) * step
