"""The words of a what-if answer: a difference with its range, in °C and °F, never more exact than it is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from underlid.fit.sizes import Sizes
from underlid.fit.whatif import NOTICED_K, Compared, Difference, Points
from underlid.quantity.units import to_fahrenheit
from underlid.update.prose.phrases import chance, number

FINE = 1.0  # a range narrower than this is told with one decimal more
UNSEEN_K = 0.05  # differences that stay below this are told without a number
HIDDEN_SHARE = 0.005  # shares of ice that stay below this everywhere get no row


def answer(bin: str, found: Difference, tz: ZoneInfo) -> Iterator[str]:
    """One sentence on the coldest night and one on the refuge."""
    cold = found.coldest_night["middle"]
    early, late = (datetime.fromtimestamp(found.night_utc[i], tz) for i in (0, 2))
    day = f"{early:%-d %b}" if early.date() == late.date() else f"{early:%-d %b} to {late:%-d %b %Y}"
    lead = {"undecided": "undecided, ", "same": "no difference, "}.get(_verdict(cold), "")
    warmer = (
        ""
        if _unseen(cold)
        else f"; the chance that it is warmer there by {NOTICED_K:g} °C ({1.8 * NOTICED_K:.1f} °F) or more is "
        f"{chance(found.helps)}"
    )
    yield (
        f"Bin {bin}, {', '.join(found.sentences)}: {lead}{difference(cold.difference)} in the middle on the coldest "
        f"night to come ({day}), predicted{warmer}."
    )
    mean = found.mean["middle"]
    if _verdict(mean) == "less" and cold.difference[1] > 0:
        yield (
            "On the mean it is colder all the same: what keeps the frost out keeps the mild hours out too, and bedding "
            "that has frozen thaws more slowly."
        )
    refuge = found.refuge_litres
    was, will = (f"{_span(points, 'litres', 1)}" for points in (refuge.now, refuge.changed))
    band = " to ".join(f"{end:g}" for end in found.band_c)
    said = f"At its least the refuge ({band} °C) is {will} of the bedding"
    yield (
        f"{said}, as it would be unchanged."
        if refuge.verdict == "same"
        else f"{said}, against {was} unchanged"
        + (", so whether it grows is undecided." if refuge.verdict == "undecided" else ".")
    )


def rows(found: Difference) -> Iterator[tuple[str, str, str, str, str]]:
    """Figure, as it is, changed, difference and verdict."""
    for name, title in (("coldest_night", "coldest night"), ("coldest", "coldest hour"), ("mean", "mean")):
        for place, one in getattr(found, name).items():
            if name == "mean" and place == "surface":
                continue
            yield _row(f"{title}, {place}", _verdict(one), temperatures(one.now), temperatures(one.changed),
                       difference(one.difference), ("warmer", "colder"))  # fmt: skip
    yield _plain("least refuge", found.refuge_litres, "litres", 1)
    yield _plain("  share of the bedding", _times(found.refuge, 100), "%", 0)
    yield _plain("hours too cold, middle", found.hours_below, "h", 0)
    if max(found.hours_above.now[2], found.hours_above.changed[2]) > 0:
        yield _plain("hours too warm, middle", found.hours_above, "h", 0)
    if max(found.frozen.now[2], found.frozen.changed[2]) > HIDDEN_SHARE:
        yield _plain("water frozen at worst", _times(found.frozen, 100), "%", 0)


def size_rows(found: Sizes) -> Iterator[tuple[str, list[str]]]:
    """What a bin holds, and the coldest hour of each place; the fitted bin among the others."""
    told = [
        (float(size), "", {place: ranges[i] for place, ranges in found.coldest_c.items()})
        for i, size in enumerate(found.litres)
    ]
    told.append((found.own_litres, " (this bin)", found.own_c))
    for size, mark, coldest in sorted(told, key=lambda row: row[0]):
        yield f"{size:.0f} litres{mark}", [temperatures((p[0], p[1], p[2])) for p in coldest.values()]


def difference(points: Points) -> str:
    """ "+0.8 °C, 0.4 to 1.3 (+1.4 °F, 0.7 to 2.3)": the middle, then the ends; what nobody could measure in words."""
    if max(abs(points[0]), abs(points[2])) < UNSEEN_K:
        return f"under {UNSEEN_K} °C ({1.8 * UNSEEN_K:.2f} °F) either way"
    return f"{_signed(points, '°C')} ({_signed(_of(points, 1.8), '°F')})"


def temperatures(points: Points) -> str:
    """The ends of a range: "0.5 to 3 °C (33…37 °F)"."""
    low, high = (round(value, 1) + 0.0 for value in (points[0], points[2]))
    fahrenheit = f"{number(round(to_fahrenheit(low)), 0)}…{number(round(to_fahrenheit(high)), 0)}"
    return f"{number(low)} to {number(high)} °C ({fahrenheit} °F)"


def _signed(points: Points, unit: str) -> str:
    near = min(abs(points[0]), abs(points[2]))
    sure = points[0] > 0 or points[2] < 0
    # One decimal more where a range is narrow, or where its end would look like no effect and is not.
    places = 2 if points[2] - points[0] < FINE or (sure and near < 0.05) else 1
    low, middle, high = (number(value, places) for value in points)
    plus = "+" if middle != "0" and points[1] > 0 else ""
    return f"{plus}{middle} {unit}, {low} to {high}"


def _unseen(one: Compared) -> bool:
    """Whether the difference stays below what anybody could measure."""
    return max(abs(one.difference[0]), abs(one.difference[2])) < UNSEEN_K


def _verdict(one: Compared) -> str:
    """The verdict on a temperature."""
    return "same" if _unseen(one) else one.verdict


def _row(
    title: str, verdict: str, now: str, changed: str, told: str, sides: tuple[str, str]
) -> tuple[str, str, str, str, str]:
    side = {"more": sides[0], "less": sides[1]}.get(verdict, verdict)
    return title, now, changed, told if verdict != "same" else "none", side


def _plain(title: str, one: Compared, unit: str, places: int) -> tuple[str, str, str, str, str]:
    low, middle, high = (number(value, places) for value in one.difference)
    plus = "+" if one.difference[1] > 0 and middle != "0" else ""
    told = f"{plus}{middle} {unit}, {low} to {high}"
    verdict = "same" if low == middle == high == "0" else one.verdict
    return _row(title, verdict, _span(one.now, unit, places), _span(one.changed, unit, places), told, ("more", "less"))


def _span(points: Points, unit: str, places: int) -> str:
    low, high = (number(value, places) for value in (points[0], points[2]))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _times(one: Compared, factor: float) -> Compared:
    return Compared(_of(one.now, factor), _of(one.changed, factor), _of(one.difference, factor))


def _of(points: Points, factor: float) -> Points:
    low, middle, high = points
    return low * factor, middle * factor, high * factor
