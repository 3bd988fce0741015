"""The chart of a year, and charts of several bins on one scale; drawn as those of a month are.

What belongs to one bin is told by a letter, which stands beside its name in the page: no keeper's word is in a drawing.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np

from underlid.quantity.units import to_celsius
from underlid.update.drawn.charts import (
    BLUE,
    DESK,
    GREEN,
    GREY,
    INK,
    PHONE,
    PLACE_MARKS,
    PURPLE,
    VERMILION,
    Rows,
    Size,
    as_utc_ms,
    data_of,
    estimate_layers,
    finish,
    line_layer,
    named,
    named_x,
    rows_of,
    time_axis,
    wall_clock,
)
from underlid.update.facts import Array, Range, ReadingFact, Story
from underlid.update.yearfacts import Course, Year

#: Colour and shape of bins, A first: none is as pale as to vanish on paper, and letters tell apart what comes again.
BIN_MARKS = (
    (BLUE, "circle"), (VERMILION, "square"), (GREEN, "triangle-up"), (PURPLE, "diamond"), (INK, "cross"),
    (BLUE, "square"), (VERMILION, "triangle-up"), (GREEN, "diamond"), (PURPLE, "cross"), (INK, "circle"),
)  # fmt: skip
NOON_MS = 43_200_000
MONTH_PX = 2.9  # heights of the text that a month's name needs
FEW_DAYS = 62  # up to so many the axis has days on it
LANE_PX = 34
EVERY_H = 3  # hours that one point of a small chart stands for


def year_chart(year: Year, size: Size = DESK) -> alt.LayerChart:
    """Air and the middle of the bedding by day, and the readings of it as vague as they were noted."""
    course = year.course
    at = np.array([as_utc_ms_of(day) for day in course.days])
    kept = np.ones(len(at), bool)
    first, last = int(at[0]) - NOON_MS, int(at[-1]) + NOON_MS
    readings = [fact for fact in year.readings if fact.temperature]
    sides = [side for fact in readings for side in (fact.amount.low, fact.amount.high) if math.isfinite(side)]
    floor = min(float(course.air_c[:, 0].min()), float(course.middle_c[:, 0].min()), year.band_c[0], *sides)
    ceiling = max(float(course.air_c[:, 2].max()), float(course.middle_c[:, 2].max()), *sides)
    low, high = math.floor(floor - 0.5), math.ceil(ceiling + 0.5)
    x = time_axis(first, last, size) if len(at) <= FEW_DAYS else _month_axis(course, first, last, size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    air = rows_of(at, course.air_c, kept)
    limit: Rows = [{"t": first, "end": last, "low": year.band_c[0]}]
    layers = [
        alt.Chart(data_of(air)).mark_area(color=GREY, opacity=0.2).encode(x=x, y=y, y2="high:Q"),
        line_layer(air, x, y, GREY, 1.0),
        *estimate_layers(rows_of(at, course.middle_c, kept), len(at), x, y, BLUE),
        alt.Chart(data_of(limit)).mark_rule(color=INK, strokeWidth=1, strokeDash=[6, 3]).encode(x=x, x2="end:Q", y=y),
        *_readings(readings, x, y, first, last, (low, high)),
    ]
    return finish(layers, size, low, high)


def two_years_chart(year: Year, size: Size = DESK) -> alt.LayerChart:
    """The middle of the bedding in the days that the study holds of both years, the earlier laid over the later.

    Raises ValueError if the year holds no such days.
    """
    if year.before is None:
        raise ValueError("The year holds no days of a year before, so there are not two years to draw.")
    at_day = {day: i for i, day in enumerate(year.before.days)}
    pairs = [
        (i, at_day[like])
        for i, day in enumerate(year.course.days)
        if (day.month, day.day) != (2, 29) and (like := day.replace(year=day.year - 1)) in at_day
    ]
    at = np.array([as_utc_ms_of(year.course.days[i]) for i, _ in pairs])
    kept = np.ones(len(at), bool)
    after, before = (course.middle_c[[pair[side] for pair in pairs]] for side, course in
                     enumerate((year.course, year.before)))  # fmt: skip
    low = math.floor(min(float(before.min()), float(after.min()), year.band_c[0]) - 0.5)
    high = math.ceil(max(float(before.max()), float(after.max())) + 0.5)
    first, last = int(at[0]) - NOON_MS, int(at[-1]) + NOON_MS
    few = len(at) <= FEW_DAYS
    x = time_axis(first, last, size) if few else _month_axis(year.course, first, last, size, years=False)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    layers: list[alt.Chart] = []
    for ranges, colour, dash in ((before, VERMILION, [5, 3]), (after, BLUE, [1, 0])):
        rows = rows_of(at, ranges, kept)
        layers += [
            alt.Chart(data_of(rows)).mark_area(color=colour, opacity=0.2).encode(x=x, y=y, y2="high:Q"),
            line_layer(rows, x, y, colour, 1.8, dash),
        ]
    return finish(layers, size, low, high)


def panel(story: Story, scale: tuple[float, float], mark: int, size: Size) -> alt.LayerChart:
    """One bin's month in small: air and middle, on a scale shared with others."""
    hours, (colour, _) = story.hours, BIN_MARKS[mark % len(BIN_MARKS)]
    whole = len(hours.time_utc) // EVERY_H * EVERY_H
    at, kept = wall_clock(hours.time_utc[1:whole:EVERY_H], ZoneInfo(story.timezone))
    air, middle = (
        np.column_stack([_thin(values[:whole, 0]).min(axis=1), _thin(values[:whole, 1]).mean(axis=1),
                         _thin(values[:whole, 2]).max(axis=1)])
        for values in (hours.air_c, hours.middle_c)
    )  # fmt: skip
    split = int(kept[: hours.predicted_from // EVERY_H].sum())
    x = time_axis(at[0], at[-1], replace(size, tick_days=PHONE.tick_days))
    y = alt.Y("low:Q", scale=alt.Scale(domain=list(scale), nice=False, zero=False), title=None)
    layers = [
        line_layer(rows_of(at, air, kept), x, y, GREY, 0.8),
        *estimate_layers(rows_of(at, middle, kept), split, x, y, colour),
    ]
    return finish(layers, size, *scale)


def common_scale(stories: Sequence[Story]) -> tuple[float, float]:
    """The least scale [degC] that holds the air and the middle of them all."""
    low = min(min(float(one.hours.air_c[:, 0].min()), float(one.hours.middle_c[:, 0].min())) for one in stories)
    high = max(max(float(one.hours.air_c[:, 2].max()), float(one.hours.middle_c[:, 2].max())) for one in stories)
    return math.floor(low - 0.5), math.ceil(high + 0.5)


def ranges_chart(ranges: Sequence[Range | None], letters: Sequence[str], size: Size = DESK) -> alt.LayerChart:
    """One figure in several bins, a lane each: the 90 % range as a line with its middle."""
    known = [(i, found) for i, found in enumerate(ranges) if found is not None]
    lanes = {f"{len(known) - k - 0.5:g}": letters[i] for k, (i, _) in enumerate(known)}
    low, high = min(found.low for _, found in known), max(found.high for _, found in known)
    warm = known[0][1].unit == "degC"
    room = max(0.06 * (high - low), 0.25 if warm else 0.5)
    low, high = low - room if warm else max(0.0, low - room), high + room
    unit = {"degC": "°C", "L": "litres", "h": "h", "g": "g", "1": ""}[known[0][1].unit]
    x = alt.X("x:Q", title=None, scale=alt.Scale(domain=[low, high], nice=False, zero=False),
              axis=alt.Axis(tickCount=max(3, size.width // 110), grid=True,
                            labelExpr=f"replace(datum.label, '-', '−') + ' {unit}'"))  # fmt: skip
    y = alt.Y("lane:Q", title=None, scale=alt.Scale(domain=[0, len(known)], nice=False),
              axis=alt.Axis(values=[float(at) for at in lanes], grid=False, ticks=False, domain=False,
                            labelFontWeight="bold", labelExpr=f"({json.dumps(lanes)})[datum.value]"))  # fmt: skip
    layers: list[alt.Chart] = []
    for k, (i, found) in enumerate(known):
        colour, shape = BIN_MARKS[i % len(BIN_MARKS)]
        base = alt.Chart(data_of([{"x": found.low, "end": found.high, "middle": found.middle,
                                   "lane": len(known) - k - 0.5}]))  # fmt: skip
        dash = [5, 3] if found.provenance == "predicted" else [1, 0]
        layers += [
            base.mark_rule(color=colour, strokeWidth=3, strokeDash=dash).encode(x=x, x2="end:Q", y=y),
            base.mark_point(shape=shape, size=110, filled=True, color=colour, stroke="white", strokeWidth=1, opacity=1)
            .encode(x=_field(x, "middle"), y=y),
        ]  # fmt: skip
    if warm:
        for layer in layers[1:]:
            layer.encoding.x = layer.encoding.x.copy(deep=True)
            layer.encoding.x.axis = None
        layers.append(_fahrenheit(layers[0], low, high, x, size))
    chart = finish(layers, replace(size, height=LANE_PX * len(known) + (56 if warm else 40)))
    return chart.resolve_axis(x="independent") if warm else chart


def as_utc_ms_of(day: date) -> int:
    """Noon of a day as a chart has it [ms]."""
    return int(np.datetime64(day, "ms").astype(np.int64)) + NOON_MS


# --- parts ---------------------------------------------------------------------------------------------------


def _thin(values: Array) -> Array:
    return values.reshape(-1, EVERY_H)


def _month_axis(course: Course, first: int, last: int, size: Size, *, years: bool = True) -> alt.X:
    """The first of each month, or of every so many as there is room for; January and the first tick have their year."""
    firsts = [day for day in course.days if day.day == 1 and first <= as_utc_ms_of(day) <= last]
    room = max(1, int(size.width / (MONTH_PX * size.text)))
    step = next(step for step in (1, 2, 3, 6, 12) if step == 12 or len(course.days) / 30.4 / step <= room)
    shown = [day for day in firsts if (day.month - 1) % step == 0]
    ticks = [as_utc_ms_of(day) - NOON_MS for day in shown]
    start = ticks[0] if ticks else 0
    with_year = f"utcmonth(datum.value) == 0 || +datum.value == {start}" if years else "false"
    return alt.X(
        "t:T", title=None, scale=alt.Scale(type="utc", domain=[first, last], nice=False),
        axis=alt.Axis(
            values=ticks, grid=False, labelFlush=False, labelOverlap=True, labelBound=False,
            labelExpr=f"{with_year} ? [utcFormat(datum.value, '%b'), utcFormat(datum.value, '%Y')] : "
            "utcFormat(datum.value, '%b')",
        ),
    )  # fmt: skip


def _readings(
    facts: Sequence[ReadingFact], x: alt.X, y: alt.Y, first: int, last: int, scale: tuple[float, float]
) -> list[alt.Chart]:
    """All readings of a place in one layer each: a line as long as the amount is vague, open ends up to an arrow."""
    arrow = 0.06 * (scale[1] - scale[0])
    layers: list[alt.Chart] = []
    for place, (colour, shape) in PLACE_MARKS.items():
        rows: Rows = []
        for fact in facts:
            if place != ("air" if fact.quantity == "air temperature" else fact.place):
                continue
            t = (as_utc_ms(fact.start) + as_utc_ms(fact.end)) / 2
            below, above = math.isinf(fact.amount.low), math.isinf(fact.amount.high)
            low = fact.amount.high - arrow if below else fact.amount.low
            high = fact.amount.low + arrow if above else fact.amount.high
            mid = fact.amount.high if below else fact.amount.low if above else (low + high) / 2
            rows.append({"t": min(max(t, first), last), "low": low, "middle": mid, "high": high,
                         "open": "low" if below else "high" if above else ""})  # fmt: skip
        if not rows:
            continue
        base = alt.Chart(data_of(rows))
        layers += [
            base.mark_rule(color=colour, strokeWidth=1.4).encode(x=x, y=y, y2="high:Q"),
            base.mark_point(shape=shape, size=38, filled=True, color=colour, stroke="white", strokeWidth=0.8, opacity=1)
            .encode(x=named_x(x, "t"), y=named(y, "middle")),
        ]  # fmt: skip
        for end, head in (("low", "triangle-down"), ("high", "triangle-up")):
            if tips := [row for row in rows if row["open"] == end]:
                layers.append(
                    alt.Chart(data_of(tips)).mark_point(shape=head, size=26, filled=True, color=colour, opacity=1)
                    .encode(x=x, y=named(y, end))
                )  # fmt: skip
    return layers


def _fahrenheit(first: alt.Chart, low: float, high: float, x: alt.X, size: Size) -> alt.Chart:
    """An unseen layer that carries °F above."""
    in_f = 1.8 * (high - low)
    wanted = max(3, size.width // 110)
    step = next(step for step in (1, 2, 5, 10, 20, 50) if in_f / step <= wanted)
    marks = [f for f in range(-100, 250, step) if low <= to_celsius(f) <= high]
    ghost = first.copy(deep=True)
    ghost.mark = alt.MarkDef(type="rule", opacity=0)
    ghost.encoding.x = x.copy(deep=True)
    ghost.encoding.x.axis = alt.Axis(
        orient="top", values=[to_celsius(f) for f in marks], grid=False,
        labelExpr="replace(format(datum.value * 1.8 + 32, '.0f'), '-', '−') + ' °F'",
    )  # fmt: skip
    return ghost


def _field(x: alt.X, field: str) -> alt.X:
    other = x.copy(deep=True)
    other.shorthand = f"{field}:Q"
    return other
