"""The three charts of an account, as Altair specifications: what is known, drawn as vague as it is.

Local wall-clock times are written as if they were UTC and shown on UTC scales, so a chart is the same on
every machine. Colours are Okabe and Ito's (2008), which colour-blind readers can tell apart; places differ in
shape as well. The keys to the marks stand in the page beside each chart.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
from numpy.typing import NDArray

from underlid.quantity.units import to_celsius
from underlid.update.drawn.drawing import FONT
from underlid.update.facts import Array, ReadingFact, Story

BLUE, VERMILION, GREEN, PURPLE, INK, GREY = "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#22262a", "#8a8a8a"
PLACE_MARKS = {
    "middle": (BLUE, "circle"),
    "edge": (VERMILION, "square"),
    "surface": (GREEN, "triangle-up"),
    "not noted": (INK, "diamond"),
    "air": (GREY, "cross"),
}


@dataclass(frozen=True, slots=True)
class Size:
    """How large a chart is drawn: width and height [px], text [px], days between dates on the axis."""

    width: int
    height: int
    text: int
    tick_days: int


DESK = Size(704, 320, 14, 4)
PHONE = Size(350, 300, 13, 7)
DAY_MS = 86_400_000
REFUGE, ICE = "share of the bedding in the tolerated band", "share of its water that is ice"
ICE_AT, ICE_HEIGHT = -85.0, 60.0  # where the panel of the ice begins, in per cent of the panel above it
ICE_TOPS = (10, 25, 50, 100)  # where its axis may end [%]
NOW_ROOM = 0.15  # share of the width that the word needs left of its line
ARROW = 0.1  # length of an arrow for an open side, share of the height

Rows = list[dict[str, Any]]


def month_chart(story: Story, size: Size = DESK) -> alt.LayerChart:
    """Air, the middle of the bedding with its range, and the readings as vague as they were noted."""
    hours, zone = story.hours, ZoneInfo(story.timezone)
    at, kept = wall_clock(hours.time_utc, zone)
    readings = [fact for fact in story.readings if fact.temperature]
    noted = [side for fact in readings for side in (fact.amount.low, fact.amount.high) if math.isfinite(side)]
    floor = min(hours.middle_c[:, 0].min(), hours.air_c[:, 0].min(), *noted, math.inf)
    ceiling = max(hours.middle_c[:, 2].max(), hours.air_c[:, 2].max(), *noted, -math.inf)
    arrow = ARROW * (ceiling - floor)
    floor = min(floor, *(fact.amount.high - arrow for fact in readings if math.isinf(fact.amount.low)), math.inf)
    ceiling = max(ceiling, *(fact.amount.low + arrow for fact in readings if math.isinf(fact.amount.high)), -math.inf)
    low, high = math.floor(floor - 0.5), math.ceil(ceiling + 0.5)
    x = time_axis(at[0], at[-1], size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    air = rows_of(at, hours.air_c, kept)
    split = int(kept[: hours.predicted_from].sum())
    layers: list[alt.Chart] = [
        line_layer(air[: split + 1], x, y, GREY, 1.0),
        *(
            [_band(air[split:], x, y, GREY, 0.13), line_layer(air[split:], x, y, GREY, 1.0, [3, 3])]
            if split < len(air)
            else []
        ),
        *estimate_layers(rows_of(at, hours.middle_c, kept), split, x, y, BLUE),
    ]
    if hours.truth_c is not None:
        truth = [{"t": int(t), "middle": float(v)} for t, v in zip(at[kept], hours.truth_c[kept], strict=True)]
        layers.append(line_layer(truth, x, y, PURPLE, 2.0))
    layers += reading_layers(readings, x, y, arrow, (int(at[0]), int(at[-1])))
    layers += now_layers(at[kept], split, x, low, high, size)
    return finish(layers, size, low, high)


def refuge_chart(story: Story, size: Size = DESK) -> alt.LayerChart:
    """Share of the bedding inside the tolerated band, and below it of its water that is ice where any may be.

    Each has a panel of its own with its name above it. Both stand on one axis, so that one line reads both off.
    """
    hours = story.hours
    at, kept = wall_clock(hours.time_utc, ZoneInfo(story.timezone))
    x = time_axis(at[0], at[-1], size)
    split = int(kept[: hours.predicted_from].sum())
    ice_top = next(top for top in ICE_TOPS if hours.ice_pct.max() <= top)
    panels = [(REFUGE, hours.refuge_pct, GREEN, 0.0, 1.0, 100)]
    if shows_ice(story):
        panels.append((ICE, hours.ice_pct, BLUE, ICE_AT, ICE_HEIGHT / ice_top, ice_top))
    marks = {at + scale * share: share for *_, at, scale, top in panels for share in (0, top / 2, top)}
    labels = {f"{place:g}": f"{share:g} %" for place, share in marks.items()}
    y = alt.Y("low:Q", scale=alt.Scale(domain=[min(marks), 100], nice=False), title=None,
              axis=alt.Axis(values=[*marks], labelExpr=f"({json.dumps(labels)})[datum.value]"))  # fmt: skip
    layers: list[alt.Chart] = []
    for name, shares, colour, floor, scale, top in panels:
        layers += estimate_layers(rows_of(at, floor + scale * shares, kept), split, x, y, colour)
        layers += label_layers(name, int(at[0]), floor + scale * top, x, size)
    layers += now_layers(at[kept], split, x, min(marks), 100, size, inside=True)
    return finish(layers, size)


def outlook_chart(story: Story, size: Size = DESK) -> alt.LayerChart:
    """Lowest hour of each day to come: the middle of the bedding, and the air of past years.

    Raises ValueError if the story has no days to come.
    """
    if story.days is None:
        raise ValueError("The story holds no days to come, so there is no outlook to draw.")
    days = story.days
    at = np.array([_noon_ms(day) for day in days.days])
    limit = story.refuge.band_c[0]
    kept = np.ones(len(at), bool)
    spread = [days.middle_c] + ([days.air_c] if days.air_c is not None else [])
    low = math.floor(min(limit, *(float(values.min()) for values in spread)) - 0.5)
    high = math.ceil(max(limit, *(float(values.max()) for values in spread)) + 0.5)
    half = DAY_MS // 2
    x = time_axis(at[0] - half, at[-1] + half, size)
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    layers: list[alt.Chart] = []
    if days.air_c is not None:
        air = rows_of(at, days.air_c, kept)
        layers += [_band(air, x, y, GREY, 0.16), line_layer(air, x, y, GREY, 1.0, [3, 3])]
    middle = rows_of(at, days.middle_c, kept)
    layers += _predicted(middle, x, y, BLUE)
    edge = [{"t": int(at[0] - half), "end": int(at[-1] + half), "low": limit}]
    layers.append(alt.Chart(data_of(edge)).mark_rule(color=INK, strokeWidth=1).encode(x=x, x2=alt.X2("end:Q"), y=y))
    if 0 < days.forecast_days < len(at):
        turn = [{"t": int(at[days.forecast_days] - half), "low": low, "high": high}]
        layers.append(
            alt.Chart(data_of(turn)).mark_rule(color=INK, strokeDash=[1, 3]).encode(x=x, y=y, y2=alt.Y2("high:Q"))
        )
    return finish(layers, size, low, high)


def shows_ice(story: Story) -> bool:
    """Whether ice deserves a curve: more than 1 % of the water at the 95 % point of some charted hour."""
    return bool(story.hours.ice_pct[:, 2].max() > 1.0)


# --- parts ---------------------------------------------------------------------------------------------------


def estimate_layers(rows: Rows, split: int, x: alt.X, y: alt.Y, colour: str) -> list[alt.Chart]:
    """A range with its middle: solid where estimated, lighter and dashed where predicted."""
    layers: list[alt.Chart] = []
    if split > 0:
        layers += [_band(rows[: split + 1], x, y, colour, 0.26), line_layer(rows[: split + 1], x, y, colour, 1.8)]
    if split < len(rows):
        layers += _predicted(rows[split:], x, y, colour)
    return layers


def _predicted(rows: Rows, x: alt.X, y: alt.Y, colour: str) -> list[alt.Chart]:
    edges = [
        alt.Chart(data_of(rows))
        .mark_line(color=colour, strokeWidth=0.8, strokeDash=[2, 2])
        .encode(x=x, y=named(y, end))
        for end in ("low", "high")
    ]
    return [_band(rows, x, y, colour, 0.10), *edges, line_layer(rows, x, y, colour, 1.8, [5, 3])]


def _band(rows: Rows, x: alt.X, y: alt.Y, colour: str, opacity: float) -> alt.Chart:
    band: alt.Chart = (
        alt.Chart(data_of(rows)).mark_area(color=colour, opacity=opacity).encode(x=x, y=y, y2=alt.Y2("high:Q"))
    )
    return band


def line_layer(rows: Rows, x: alt.X, y: alt.Y, colour: str, width: float, dash: Sequence[int] = (1, 0)) -> alt.Chart:
    """A line through the middles of rows."""
    mark = alt.Chart(data_of(rows)).mark_line(
        color=colour, strokeWidth=width, strokeDash=list(dash), strokeJoin="round"
    )
    line: alt.Chart = mark.encode(x=x, y=named(y, "middle"))
    return line


def reading_layers(
    facts: Iterable[ReadingFact], x: alt.X, y: alt.Y, arrow: float, span: tuple[int, int]
) -> list[alt.Chart]:
    """A box as wide as the time is vague and as high as the amount is; an arrow where a side is open."""
    layers: list[alt.Chart] = []
    for fact in facts:
        colour, shape = PLACE_MARKS["air" if fact.quantity == "air temperature" else fact.place]
        t, end = (as_utc_ms(moment) for moment in (fact.start, fact.end))
        t, end = max(t, span[0]), min(max(end, t), span[1])
        mid_t = (t + end) / 2
        dash = [2, 2] if fact.amount.kind == "about" else [1, 0]
        open_side = 1 if math.isinf(fact.amount.high) else -1 if math.isinf(fact.amount.low) else 0
        bound = fact.amount.low if open_side > 0 else fact.amount.high
        low = bound - arrow if open_side < 0 else fact.amount.low
        high = bound + arrow if open_side > 0 else fact.amount.high
        row = {"t": t, "end": end, "mid": mid_t, "low": low, "high": high, "bound": bound, "centre": (low + high) / 2}
        base = alt.Chart(data_of([row]))
        middle_x = named_x(x, "mid")
        if not open_side:
            layers.append(
                base.mark_rect(fill=colour, fillOpacity=0.14, stroke=colour, strokeWidth=1.2, strokeDash=dash)
                .encode(x=x, x2=alt.X2("end:Q"), y=y, y2=alt.Y2("high:Q"))
            )  # fmt: skip
            symbol_at = "centre"
        else:
            layers.append(
                base.mark_rule(color=colour, strokeWidth=1.6).encode(x=x, x2=alt.X2("end:Q"), y=named(y, "bound"))
            )
            tip = "high" if open_side > 0 else "low"
            head = "triangle-up" if open_side > 0 else "triangle-down"
            layers.append(
                base.mark_point(shape=head, size=36, filled=True, color=colour, opacity=1)
                .encode(x=middle_x, y=named(y, tip))
            )  # fmt: skip
            symbol_at = "bound"
        layers.append(
            base.mark_rule(color=colour, strokeWidth=1.4, strokeDash=dash).encode(x=middle_x, y=y, y2=alt.Y2("high:Q"))
        )
        layers.append(
            base.mark_point(shape=shape, size=60, filled=True, color=colour, stroke="white", strokeWidth=1, opacity=1)
            .encode(x=middle_x, y=named(y, symbol_at))
        )  # fmt: skip
    return layers


def label_layers(text: str, at: int, high: float, x: alt.X, size: Size) -> list[alt.Chart]:
    """What stands above a panel: the name of what its axis measures, from its left end on."""
    base = alt.Chart(data_of([{"t": at, "high": high}]))
    return [
        base.mark_text(text=text, align="left", baseline="bottom", dy=-3, fontSize=size.text, color=INK)
        .encode(x=x, y=named(alt.Y("low:Q"), "high"))
    ]  # fmt: skip


def now_layers(
    at: NDArray[np.int64], split: int, x: alt.X, low: float, high: float, size: Size, inside: bool = False
) -> list[alt.Chart]:
    """Where the present stands, with its word above it, or beside it below the top."""
    if not 0 < split < len(at):
        return []
    row = [{"t": int(at[split - 1]), "low": low, "high": high}]
    y = alt.Y("low:Q")
    base = alt.Chart(data_of(row))
    early = split < NOW_ROOM * len(at)
    where = {"align": "left" if early else "right", "dx": 5 if early else -5, "dy": 9} if inside else {"dy": -7}
    return [
        base.mark_rule(color=INK, strokeWidth=1).encode(x=x, y=y, y2=alt.Y2("high:Q")),
        base.mark_text(text="now", fontSize=size.text, color=INK, **where).encode(x=x, y=named(y, "high")),
    ]


def finish(layers: list[alt.Chart], size: Size, low_c: float | None = None, high_c: float = 0.0) -> alt.LayerChart:
    """Put the layers together; for temperatures, add °C to the left axis and a second axis in °F on the right."""
    if low_c is not None:
        for layer in layers:
            layer.encoding.y = layer.encoding.y.copy(deep=True)  # so that one layer alone carries the axis
        first = layers[0]
        celsius = alt.Axis(orient="left", tickCount=6, labelExpr="replace(datum.label, '-', '−') + ' °C'")
        first.encoding.y.axis = celsius
        step = 10 if high_c - low_c > 12 else 5
        marks = [f for f in range(-60, 160, step) if low_c <= to_celsius(f) <= high_c]
        fahrenheit = alt.Axis(
            orient="right", values=[to_celsius(f) for f in marks], grid=False,
            labelExpr="replace(format(datum.value * 1.8 + 32, '.0f'), '-', '−') + ' °F'",
        )  # fmt: skip
        ghost = first.copy(deep=True)
        ghost.mark = alt.MarkDef(type="line", opacity=0)
        ghost.encoding.y.axis = fahrenheit
        for layer in layers[1:]:
            if hasattr(layer.encoding.y, "axis"):
                layer.encoding.y.axis = None
        layers = [*layers, ghost]
    # All at once, since each call of a method copies every layer again.
    return alt.LayerChart(
        layer=layers, width=size.width, height=size.height,
        resolve=alt.Undefined if low_c is None else alt.Resolve(axis=alt.AxisResolveMap(y="independent")),
        autosize=alt.AutoSizeParams(type="fit", contains="padding"),
        # Without a second axis, room is left for one: the charts stand under each other with their days in line.
        padding={"left": 2, "right": 2 if low_c is not None else 3.4 * size.text, "top": 18, "bottom": 2},
        background="transparent",
        config=alt.Config(
            aria=False, font=FONT, view=alt.ViewConfig(stroke=None),
            axis=alt.AxisConfig(
                labelFontSize=size.text, labelColor=INK, gridColor="#e4e1da", domainColor="#8b8f94",
                tickColor="#8b8f94", labelPadding=4,
            ),
        ),
    )  # fmt: skip


def time_axis(first: float, last: float, size: Size) -> alt.X:
    """Dates spaced for the size: every few days counted from the first of each month, or halves of months."""
    count = int((last - first) / DAY_MS)
    step = size.tick_days if count < 45 else 14 if count < 45 * size.width / PHONE.width else 31
    midnights = [int(ms) for ms in range(-(-int(first) // DAY_MS) * DAY_MS, int(last) + 1, DAY_MS)]
    dates = [(ms, datetime.fromtimestamp(ms / 1000, UTC).day) for ms in midnights]
    ticks = [ms for ms, day in dates if (day - 1) % step == 0 and (day == 1 or day <= 32 - step / 2)]
    return alt.X(
        "t:T", title=None, scale=alt.Scale(type="utc", domain=[int(first), int(last)], nice=False),
        axis=alt.Axis(values=ticks, format="%-d %b", grid=False, labelFlush=False, labelOverlap=True),
    )  # fmt: skip


def rows_of(at: NDArray[np.int64], ranges: Array, kept: NDArray[np.bool_]) -> Rows:
    """Moments with 5, 50 and 95 % points as rows, where the wall clock only rises."""
    return [
        {"t": int(t), "low": round(float(low), 3), "middle": round(float(middle), 3), "high": round(float(high), 3)}
        for t, (low, middle, high) in zip(at[kept], ranges[kept], strict=True)
    ]


def named(y: alt.Y, field: str) -> alt.Y:
    """The same axis over another field of the rows."""
    other = y.copy(deep=True)
    other.shorthand = f"{field}:Q"
    return other


def named_x(x: alt.X, field: str) -> alt.X:
    """The same axis of time over another field of the rows."""
    other = x.copy(deep=True)
    other.shorthand = f"{field}:T"
    return other


def data_of(rows: Rows) -> alt.InlineData:
    """Rows as they stand in the chart."""
    return alt.InlineData(values=tuple(rows))  # lists are copied row by row whenever charts are layered


def wall_clock(time_utc: NDArray[np.int64], zone: ZoneInfo) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Local wall-clock times as if UTC [ms], and which hours to keep so that they only rise where clocks go back."""
    at = np.array([as_utc_ms(datetime.fromtimestamp(int(second), zone)) for second in time_utc])
    kept = np.concatenate([[True], np.diff(np.maximum.accumulate(at)) > 0])
    return at, kept


def as_utc_ms(moment: datetime) -> int:
    """A local wall clock as if it were UTC, in milliseconds: charts then show local times."""
    return round(moment.replace(tzinfo=UTC).timestamp() * 1000)


def _noon_ms(day: date) -> int:
    return as_utc_ms(datetime(day.year, day.month, day.day) + timedelta(hours=12))
