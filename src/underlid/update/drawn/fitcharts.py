"""The charts of a check of the fit: readings beside their ranges, where in them they fall, and what is left over."""

from __future__ import annotations

import json
import math
from datetime import datetime

import altair as alt
import numpy as np

from underlid.fit.leftout import Predicted
from underlid.fit.predictive import Predictive
from underlid.quantity.units import to_celsius
from underlid.update.drawn.charts import (
    DESK,
    GREY,
    INK,
    PLACE_MARKS,
    Rows,
    Size,
    as_utc_ms,
    data_of,
    finish,
    named,
    time_axis,
)
from underlid.update.prose.fitwords import zone

ALERT = "#a04000"  # the page's own colour for surprises
LUCK, BAR = "#d8d2c4", "#24485c"
ARROW = 0.08  # length of an arrow for an open side, share of the height
LABELS = {DESK.width: 8}  # dates on the axis of readings in order; fewer on a phone
PHONE_LABELS = 4
HALF_DAY_MS = 43_200_000


def readings_chart(found: Predictive, size: Size = DESK) -> alt.LayerChart:
    """Temperatures in order of time: the 90 % range of what would be noted, and what was."""
    ones = found.temperatures
    ends = [side for one in ones for side in (*one.expected, one.low, one.high, *_words(one)) if math.isfinite(side)]
    arrow = ARROW * (max(ends) - min(ends) + 1)
    low, high = math.floor(min(ends) - arrow), math.ceil(max(ends) + arrow)
    rows = [_row(i, one, (0.0, 0.0), arrow) for i, one in enumerate(ones)]
    shown = max(1, math.ceil(len(ones) / LABELS.get(size.width, PHONE_LABELS)))
    at = list(range(0, len(ones), shown))
    dates = {i: f"{datetime.fromtimestamp(ones[i].time_utc, zone(found)):%-d %b}" for i in at}
    x = alt.X(
        "x:Q", title=None, scale=alt.Scale(domain=[-0.7, len(ones) - 0.3], nice=False),
        axis=alt.Axis(values=at, grid=False, labelFlush=False, labelExpr=f"({json.dumps(dates)})[datum.value]"),
    )  # fmt: skip
    y = alt.Y("low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None)
    wide = float(np.clip(0.45 * size.width / (len(ones) + 1), 3, 16))
    base = alt.Chart(data_of(rows))
    layers: list[alt.Chart] = [
        base.mark_rule(strokeWidth=wide, opacity=0.3)
        .encode(x=x, y=named(y, "five"), y2="ninety_five:Q", color=_raw("colour")),
        base.mark_point(shape="stroke", size=wide**2 * 1.7, strokeWidth=1.6, opacity=1)
        .encode(x=x, y=named(y, "fifty"), color=_raw("colour")),
        *_marks(rows, x, y),
    ]  # fmt: skip
    return finish(layers, size, low, high)


def parts_chart(found: Predictive, size: Size = DESK) -> alt.LayerChart:
    """How many readings fall in each equal part of their predicted distribution, and what luck would do."""
    count = len(found.parts)
    rows = [{"x": i + 0.12, "end": i + 0.88, "low": 0.0, "n": round(float(n), 3)} for i, n in enumerate(found.parts)]
    lucky = [{"x": 0, "end": count, "low": found.part[0], "high": found.part[1]}]
    top = math.ceil(max(1.0, float(found.parts.max()), found.part[1])) + 0.5
    names = {0: "lower end", count // 2: "middle", count - 1: "upper end"}
    middles = [i + 0.5 for i in names]
    label = f"({json.dumps({f'{i + 0.5:g}': name for i, name in names.items()})})[datum.value]"
    x = alt.X("x:Q", title=None, scale=alt.Scale(domain=[0, count], nice=False),
              axis=alt.Axis(values=middles, grid=False, ticks=False, labelFlush=False, labelExpr=label))  # fmt: skip
    y = alt.Y("low:Q", title=None, scale=alt.Scale(domain=[0, top], nice=False),
              axis=alt.Axis(tickCount=5, tickMinStep=1, format="d"))  # fmt: skip
    even = [{"x": 0, "end": count, "low": len(found.readings) / count}]
    layers = [
        alt.Chart(data_of(lucky)).mark_rect(color=LUCK, opacity=0.6).encode(x=x, x2="end:Q", y=y, y2="high:Q"),
        alt.Chart(data_of(rows)).mark_rect(color=BAR, opacity=0.85).encode(x=x, x2="end:Q", y=y, y2="n:Q"),
        alt.Chart(data_of(even)).mark_rule(color=INK, strokeDash=[5, 3]).encode(x=x, x2="end:Q", y=y),
    ]  # fmt: skip
    return finish(layers, Size(size.width, round(0.7 * size.height), size.text, size.tick_days))


def residual_chart(found: Predictive, size: Size = DESK) -> alt.LayerChart:
    """What was noted less what was expected, through time: above the line is warmer."""
    ones, tz = found.temperatures, zone(found)
    sides = [side - one.expected[1] for one in ones for side in (*one.expected, one.low, one.high, *_words(one))]
    ends = [abs(side) for side in sides if math.isfinite(side)]
    most = math.ceil(max(ends) * (1 + ARROW) + 0.3)
    rows = [
        _row(as_utc_ms(datetime.fromtimestamp(one.time_utc, tz)), one, (one.expected[1], 1.0), 2 * ARROW * most)
        for one in ones
    ]
    first, last = (as_utc_ms(datetime.fromtimestamp(ones[i].time_utc, tz)) for i in (0, -1))
    margin = max(HALF_DAY_MS, 0.02 * (last - first))
    span = first - margin, last + margin
    x = time_axis(*span, size)
    x.shorthand = "x:T"
    y = alt.Y("low:Q", scale=alt.Scale(domain=[-most, most], nice=False), title=None)
    base = alt.Chart(data_of(rows))
    zero = [{"x": span[0], "end": span[1], "low": 0.0}]
    layers: list[alt.Chart] = [
        base.mark_rule(strokeWidth=6, opacity=0.18, color=GREY).encode(x=x, y=named(y, "five"), y2="ninety_five:Q"),
        alt.Chart(data_of(zero)).mark_rule(color=INK, strokeWidth=1).encode(x=x, x2="end:Q", y=y),
        *_drift(found, x, y, span),
        *_marks(rows, x, y),
    ]
    return _differences(layers, size, most)


def _drift(found: Predictive, x: alt.X, y: alt.Y, span: tuple[float, float]) -> list[alt.Chart]:
    """The straight line through the residuals."""
    if found.drift_k is None or found.residual_k is None:
        return []
    middle = np.mean([one.time_utc for one in found.temperatures])
    at = as_utc_ms(datetime.fromtimestamp(float(middle), zone(found)))
    rows = [
        {"x": ms, "low": found.residual_k.value + found.drift_k.value * (ms - at) / (1000 * 30 * 86400)} for ms in span
    ]
    return [alt.Chart(data_of(rows)).mark_line(color=INK, strokeWidth=1.4, strokeDash=[5, 3]).encode(x=x, y=y)]


def _row(x: float, one: Predicted, less: tuple[float, float], arrow: float) -> dict[str, object]:
    """A reading as a row: `less` is what is taken off, and how many times."""
    off = less[0] * less[1]
    colour, shape = PLACE_MARKS[one.reading.place]
    low, high = (side - off for side in _words(one))
    up, down = math.isinf(high), math.isinf(low)
    bound = low if up else high if down else (low + high) / 2
    five, fifty, ninety_five = (point - off for point in one.expected)
    return {
        "x": x, "five": five, "fifty": fifty, "ninety_five": ninety_five, "colour": colour, "shape": shape,
        "low": high - arrow if down else low, "high": low + arrow if up else high, "mid": bound,
        "about": one.reading.amount.kind == "about", "open": 1 if up else -1 if down else 0, "surprise": one.surprise,
    }  # fmt: skip


def _words(one: Predicted) -> tuple[float, float]:
    """The interval as it is drawn: an "about" with both its ends."""
    if one.reading.amount.kind == "about":
        return one.reading.amount.low, one.reading.amount.high
    return one.low, one.high


def _marks(rows: Rows, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Readings: a rule as long as the words are vague, dashed for "about", an arrow for an open side, a mark."""
    layers: list[alt.Chart] = []
    for about, dash in ((False, [1, 0]), (True, [2, 2])):
        some = [row for row in rows if row["about"] is about]
        if some:
            layers.append(
                alt.Chart(data_of(some)).mark_rule(strokeWidth=1.4, strokeDash=dash)
                .encode(x=x, y=y, y2="high:Q", color=_raw("colour"))
            )  # fmt: skip
    for side, tip, head in ((1, "high", "triangle-up"), (-1, "low", "triangle-down")):
        some = [row for row in rows if row["open"] == side]
        if some:
            layers.append(
                alt.Chart(data_of(some)).mark_point(shape=head, size=36, filled=True, opacity=1)
                .encode(x=x, y=named(y, tip), color=_raw("colour"))
            )  # fmt: skip
    out = [row for row in rows if row["surprise"]]
    if out:
        ring = alt.Chart(data_of(out)).mark_point(shape="circle", size=230, color=ALERT, strokeWidth=2, opacity=1)
        layers.append(ring.encode(x=x, y=named(y, "mid")))
    for colour, shape in dict.fromkeys((row["colour"], row["shape"]) for row in rows):
        some = [row for row in rows if row["shape"] == shape]
        mark = alt.Chart(data_of(some)).mark_point(
            shape=shape, size=58, filled=True, color=colour, stroke="white", strokeWidth=1, opacity=1
        )
        layers.append(mark.encode(x=x, y=named(y, "mid")))
    return layers


def _differences(layers: list[alt.Chart], size: Size, most: float) -> alt.LayerChart:
    """Put residuals together, with °C at the left and °F at the right."""
    for layer in layers:
        layer.encoding.y = layer.encoding.y.copy(deep=True)
        layer.encoding.y.axis = None
    signed = "(datum.value > 0 ? '+' : '') + replace(format(datum.value{}, '~r'), '-', '−') + ' °{}'"
    ghost = layers[0].copy(deep=True)
    ghost.mark = alt.MarkDef(type="rule", opacity=0)
    step = next(step for step in (1, 2, 5, 10, 20, 50) if 1.8 * most / step <= 4 or step == 50)
    marks = [to_celsius(32 + f) for f in range(-step * 10, step * 10 + 1, step) if abs(f) <= 1.8 * most]
    layers[0].encoding.y.axis = alt.Axis(orient="left", tickCount=6, labelExpr=signed.format("", "C"))
    ghost.encoding.y.axis = alt.Axis(orient="right", values=marks, grid=False, labelExpr=signed.format(" * 1.8", "F"))
    both = alt.layer(*layers, ghost).resolve_axis(y="independent").resolve_scale(y="shared")
    drawn = finish([both], Size(size.width, round(0.85 * size.height), size.text, size.tick_days))
    drawn.padding = {**drawn.padding, "right": 2}  # the axis of °F needs no room beside it
    return drawn


def _raw(field: str) -> alt.Color:
    """A field that holds colours themselves."""
    return alt.Color(f"{field}:N", scale=None)
