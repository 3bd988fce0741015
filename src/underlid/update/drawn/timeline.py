"""A bin's whole time in panels under each other on one axis: by the same specification as the monthly account.

Each panel is a chart of its own as `underlid.update.drawn.charts` draws them, with the same room at its sides, so that
a day is at the same place in all of them. `Drawn.frame` tells where the axis lies in the drawing, for a script's
crosshair.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
from numpy.typing import NDArray

from underlid.update.drawn.charts import (
    ARROW,
    BLUE,
    GREEN,
    GREY,
    INK,
    PURPLE,
    VERMILION,
    Rows,
    Size,
    as_utc_ms,
    data_of,
    finish,
    named,
    time_axis,
)
from underlid.update.drawn.charts import estimate_layers as estimate
from underlid.update.drawn.charts import line_layer as line
from underlid.update.drawn.charts import named_x as named_x
from underlid.update.drawn.charts import now_layers as now_rule
from underlid.update.drawn.charts import reading_layers as vague_marks
from underlid.update.drawn.charts import rows_of as range_rows
from underlid.update.drawn.charts import wall_clock as wall_clock
from underlid.update.drawn.drawing import svg, unchecked
from underlid.update.facts import Array, ReadingFact

DESK = Size(880, 300, 13, 4)
PHONE = Size(360, 280, 12, 7)
SMALL = {DESK.width: 104, PHONE.width: 100}  # height of the panels below the first
ROOM, BELOW = 4.7, 2.0  # at both sides of every panel and under it, in heights of the text
ABOVE = 20  # px, for the word “now”
LANE = 26  # px of a lane of what was done
#: What was done or found, a lane each: its mark.
LANES = {
    "fed": (VERMILION, "triangle-down"), "counted": (BLUE, "circle"), "seen": (GREEN, "triangle-up"),
    "photo": (PURPLE, "square"), "noted": (GREY, "diamond"),
}  # fmt: skip
_SHIFT = re.compile(r'<g[^>]*transform="translate\(([\d.]+),([\d.]+)\)"')
_FRAME = re.compile(r'd="M0,0h([\d.]+)v([\d.]+)h')


@dataclass(frozen=True, slots=True)
class Courses:
    """What is estimated and predicted, hour by hour: times (n,) in UTC seconds, ranges (n, 3).

    predicted_from : index of the first predicted hour
    """

    time_utc: NDArray[np.int64]
    air_c: Array
    middle_c: Array
    edge_c: Array
    refuge_pct: Array
    ice_pct: Array
    moisture_pct: Array
    predicted_from: int


@dataclass(frozen=True, slots=True)
class Done:
    """Something done or found at a time, in one of the LANES."""

    lane: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Colony:
    """Animals day by day with their ranges (n, 3), and what was counted and seen of them.

    counted : when, and 5, 50 and 95 % of the worms in the bin by the samples of that day alone
    seen : when, and how many were seen at least
    """

    time_utc: NDArray[np.int64]
    worms: Array
    adults: Array
    predicted_from: int
    counted: tuple[tuple[datetime, tuple[float, float, float]], ...]
    seen: tuple[tuple[datetime, float], ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """All that is drawn of a bin, from `first` to `last`, both with the bin's zone."""

    first: datetime
    last: datetime
    timezone: str
    courses: Courses | None
    readings: tuple[ReadingFact, ...]
    done: tuple[Done, ...]
    colony: Colony | None

    def thinned(self, every: int) -> Timeline:
        """The same with every so many hours of the courses, for a long time drawn small; the present stays one."""
        courses = self.courses
        if courses is None:
            return self
        at = slice((courses.predicted_from - 1) % every, None, every)
        thin = {name: getattr(courses, name)[at] for name in Courses.__slots__ if name != "predicted_from"}
        return replace(
            self, courses=Courses(**thin, predicted_from=max(0, courses.predicted_from - 1) // every + 1)
        )  # fmt: skip

    def between(self, first: datetime, last: datetime) -> Timeline:
        """The same in a part of the time."""
        first, last = max(first, self.first), min(last, self.last)
        courses, colony = self.courses, self.colony
        if courses is not None:
            span = _span(courses.time_utc, first, last)
            courses = replace(
                courses, predicted_from=max(0, courses.predicted_from - span.start),
                **{name: getattr(courses, name)[span] for name in Courses.__slots__ if name != "predicted_from"},
            )  # fmt: skip
        if colony is not None:
            span = _span(colony.time_utc, first, last)
            colony = replace(
                colony, predicted_from=max(0, colony.predicted_from - span.start), time_utc=colony.time_utc[span],
                worms=colony.worms[span], adults=colony.adults[span],
                counted=tuple(one for one in colony.counted if first <= one[0] <= last),
                seen=tuple(one for one in colony.seen if first <= one[0] <= last),
            )  # fmt: skip
        return replace(
            self, first=first, last=last, courses=courses, colony=colony,
            readings=tuple(one for one in self.readings if one.end >= first and one.start <= last),
            done=tuple(one for one in self.done if one.end >= first and one.start <= last),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawn:
    """A panel as it stands in a page.

    frame : where its axes lie in the drawing: left, top, width and height; whole : width and height of the drawing
    """

    name: str
    svg: str
    frame: tuple[float, float, float, float]
    whole: tuple[float, float]


def panels(told: Timeline, size: Size, tag: str) -> tuple[Drawn, ...]:
    """Every panel that has something to show, the temperatures first; `tag` keeps their ids apart from others'."""
    told = told.between(told.first, told.last)  # what lies beyond would be drawn beyond
    makers = {
        "temperature": temperature_chart,
        "share": share_chart,
        "moisture": moisture_chart,
        "ph": ph_chart,
        "done": done_chart,
        "colony": colony_chart,
    }
    charts = ((name, unchecked(partial(make, told, size))) for name, make in makers.items())
    return tuple(_drawn(name, chart, size, tag) for name, chart in charts if chart is not None)


def temperature_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """Air, middle and edge of the bedding, and the readings as vague as they were noted; None if there is nothing."""
    readings = [fact for fact in told.readings if fact.temperature]
    noted = [side for fact in readings for side in (fact.amount.low, fact.amount.high) if math.isfinite(side)]
    courses = told.courses
    if courses is None and not noted:
        return None
    bands = () if courses is None else (courses.middle_c, courses.air_c, courses.edge_c[:, 1:2])
    floor = min(*(float(band.min()) for band in bands), *noted, math.inf)
    ceiling = max(*(float(band.max()) for band in bands), *noted, -math.inf)
    arrow = ARROW * max(ceiling - floor, 5.0)
    low, high = (
        math.floor(floor - 0.5 - arrow * _open(readings, "low")),
        math.ceil(ceiling + 0.5 + arrow * _open(readings, "high")),
    )
    first, last = _ends(told)
    x = time_axis(first, last, size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    layers: list[alt.Chart] = []
    if courses is not None:
        at, kept = wall_clock(courses.time_utc, ZoneInfo(told.timezone))
        split = int(kept[: courses.predicted_from].sum())
        air, edge = (range_rows(at, band, kept) for band in (courses.air_c, courses.edge_c))
        layers += [line(air[: split + 1], x, y, GREY, 0.9), line(air[split:], x, y, GREY, 0.9, [3, 3])]
        layers += estimate(range_rows(at, courses.middle_c, kept), split, x, y, BLUE)
        layers += [line(edge[: split + 1], x, y, VERMILION, 1.1), line(edge[split:], x, y, VERMILION, 1.1, [5, 3])]
        layers += now_rule(at[kept], split, x, low, high, size)
    layers += vague_marks(readings, x, y, arrow, (first, last))
    return finish(layers, size, low, high)


def share_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """Share of the bedding that worms tolerate and can reach, and of its water that is ice."""
    courses = told.courses
    if courses is None:
        return None
    at, kept = wall_clock(courses.time_utc, ZoneInfo(told.timezone))
    split = int(kept[: courses.predicted_from].sum())
    x = time_axis(*_ends(told), size)
    y = _percent_axis([0, 50, 100])
    layers = estimate(range_rows(at, courses.refuge_pct, kept), split, x, y, GREEN)
    if float(courses.ice_pct[:, 2].max()) > 1.0:
        layers += estimate(range_rows(at, courses.ice_pct, kept), split, x, y, BLUE)
    return _finished(layers, size)


def moisture_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """Water in the bedding [% of wet mass], and the readings of it."""
    readings = [fact for fact in told.readings if fact.quantity == "moisture" and fact.amount.kind != "not noted"]
    courses = told.courses
    if courses is None and not readings:
        return None
    x = time_axis(*_ends(told), size)
    y = _percent_axis([0, 50, 100])
    layers: list[alt.Chart] = []
    if courses is not None:
        at, kept = wall_clock(courses.time_utc, ZoneInfo(told.timezone))
        split = int(kept[: courses.predicted_from].sum())
        layers += estimate(range_rows(at, courses.moisture_pct, kept), split, x, y, BLUE)
    layers += vague_marks(readings, x, y, 15.0, _ends(told))
    return _finished(layers, size)


def ph_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """The pH readings as they were noted; the model does not follow pH from hour to hour."""
    readings = [fact for fact in told.readings if fact.quantity == "pH" and fact.amount.kind != "not noted"]
    if not readings:
        return None
    sides = [side for fact in readings for side in (fact.amount.low, fact.amount.high) if math.isfinite(side)]
    low, high = min(5.0, math.floor(min(sides))), max(9.0, math.ceil(max(sides)))
    x = time_axis(*_ends(told), size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None,
              axis=alt.Axis(values=[*range(int(low), int(high) + 1, 2)], labelExpr="'pH ' + datum.label"))  # fmt: skip
    return _finished(vague_marks(readings, x, y, 0.6, _ends(told)), size)


def done_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """What was fed, counted, seen, photographed and noted, a lane each, as wide as its time is vague."""
    lanes = [lane for lane in LANES if any(one.lane == lane for one in told.done)]
    if not lanes:
        return None
    first, last = _ends(told)
    names = {f"{len(lanes) - i - 0.5:g}": lane for i, lane in enumerate(lanes)}
    x = time_axis(first, last, size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[0, len(lanes)], nice=False), title=None,
              axis=alt.Axis(values=[float(at) for at in names], grid=False, ticks=False, domain=False,
                            labelExpr=f"({_as_json(names)})[datum.value]"))  # fmt: skip
    layers: list[alt.Chart] = []
    for i, lane in enumerate(lanes):
        colour, shape = LANES[lane]
        rows: Rows = []
        for one in told.done:
            if one.lane == lane:
                t, end = (min(max(as_utc_ms(moment), first), last) for moment in (one.start, one.end))
                rows.append({"t": t, "end": end, "mid": (t + end) / 2, "low": len(lanes) - i - 0.5})
        base = alt.Chart(data_of(rows))
        layers += [
            base.mark_rule(color=colour, strokeWidth=1.6, opacity=0.7).encode(x=x, x2="end:Q", y=y),
            base.mark_point(shape=shape, size=90, filled=True, color=colour, stroke="white", strokeWidth=1, opacity=1)
            .encode(x=named_x(x, "mid"), y=y),
        ]  # fmt: skip
    return _finished(layers, size, LANE * len(lanes) + 34)


def colony_chart(told: Timeline, size: Size) -> alt.LayerChart | None:
    """Worms in all and adults among them, with what each day's samples alone say, and what was seen at least."""
    colony = told.colony
    if colony is None or not len(colony.time_utc):
        return None
    at, kept = wall_clock(colony.time_utc, ZoneInfo(told.timezone))
    most = max([float(colony.worms[:, 2].max()), *(low for _, low in colony.seen), 4.0])
    # A sample may leave the top open nearly without end; it is drawn up to the edge then.
    top = min(max([most, *(points[2] for _, points in colony.counted)]), 2.5 * most)
    x = time_axis(*_ends(told), size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[0, top], nice=True), title=None,
              axis=alt.Axis(tickCount=4, tickMinStep=1, format=",d"))  # fmt: skip
    split = min(colony.predicted_from, len(colony.time_utc))
    layers = estimate(range_rows(at, colony.worms, kept), split, x, y, GREEN)
    adults = range_rows(at, colony.adults, kept)
    layers += [line(adults[: split + 1], x, y, PURPLE, 1.6), line(adults[split:], x, y, PURPLE, 1.6, [5, 3])]
    layers += now_rule(at[kept], split, x, 0, top, size)
    rows: Rows = [
        {"t": as_utc_ms(when), "low": low, "middle": min(middle, top), "high": min(high, top)}
        for when, (low, middle, high) in colony.counted
    ]
    if rows:
        base = alt.Chart(data_of(rows))
        layers += [
            base.mark_rule(color=INK, strokeWidth=1.6).encode(x=x, y=y, y2="high:Q"),
            base.mark_point(shape="circle", size=60, filled=True, color=INK, stroke="white", opacity=1)
            .encode(x=x, y=named(y, "middle")),
        ]  # fmt: skip
    if over := [row for row, (_, found) in zip(rows, colony.counted, strict=True) if found[2] > top]:
        layers.append(
            alt.Chart(data_of(over)).mark_point(shape="triangle-up", size=70, filled=True, color=INK, opacity=1)
            .encode(x=x, y=named(y, "high"))
        )  # fmt: skip
    if colony.seen:
        seen: Rows = [{"t": as_utc_ms(when), "low": low} for when, low in colony.seen]
        layers.append(
            alt.Chart(data_of(seen)).mark_point(shape="triangle-up", size=50, color=INK, opacity=1).encode(x=x, y=y)
        )
    return _finished(layers, size, 2 * SMALL[size.width])


# --- parts ---------------------------------------------------------------------------------------------------


def _drawn(name: str, chart: alt.LayerChart, size: Size, tag: str) -> Drawn:
    room, below = round(ROOM * size.text), round(BELOW * size.text)
    aligned = chart.properties(
        width=size.width - 2 * room,
        height=chart.height - ABOVE - below,
        autosize=alt.AutoSizeParams(type="none"),
        padding={"left": room, "right": room, "top": ABOVE, "bottom": below},
    )
    # Nothing is said of it here: the page's own words stand beside it.
    picture = svg(aligned, f"{tag}-{name}", "").replace(' role="img" aria-label=""', ' aria-hidden="true"')
    shift, frame = _SHIFT.search(picture), _FRAME.search(picture)
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', picture)
    if shift is None or frame is None or box is None:
        raise ValueError("The drawing has no frame that is known.")
    left, top = (float(part) for part in shift.groups())
    width, height = (float(part) for part in frame.groups())
    return Drawn(name, picture, (left, top, width, height), (float(box[1]), float(box[2])))


def _finished(layers: Sequence[alt.Chart], size: Size, height: int = 0) -> alt.LayerChart:
    return finish(list(layers), replace(size, height=height or SMALL[size.width]))


def _percent_axis(values: list[int]) -> alt.Y:
    return alt.Y("low:Q", scale=alt.Scale(domain=[0, 100], nice=False), title=None,
                 axis=alt.Axis(values=values, labelExpr="datum.value + ' %'"))  # fmt: skip


def _ends(told: Timeline) -> tuple[int, int]:
    return as_utc_ms(told.first), as_utc_ms(told.last)


def _open(readings: Sequence[ReadingFact], side: str) -> bool:
    return any(math.isinf(getattr(fact.amount, side)) for fact in readings)


def _span(time_utc: NDArray[np.int64], first: datetime, last: datetime) -> slice:
    begin, end = np.searchsorted(time_utc, [first.timestamp(), last.timestamp() + 1])
    return slice(int(begin), int(end))


def _as_json(names: dict[str, str]) -> str:
    return "{" + ",".join(f"'{at}':'{name}'" for at, name in names.items()) + "}"
