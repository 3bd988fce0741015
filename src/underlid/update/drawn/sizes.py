"""The coldest bedding of a winter against the size of the bin, as a picture that stands alone."""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
from numpy.typing import NDArray

from underlid.fit.sizes import Sizes
from underlid.quantity.units import to_celsius
from underlid.update.drawn.charts import GREY, INK, PLACE_MARKS
from underlid.update.drawn.drawing import FONT, png_file, svg_file
from underlid.update.prose.phrases import warmth

WIDTH, HEIGHT, TEXT = 640, 380, 13
PAPER = "#ffffff"
PNG_SCALE = 2.0  # sharp on a phone and in print
#: Apart in shade, dash and shape as well as in colour: edge first, so that the middle lies on top.
DASHES = {"edge": [6, 4], "middle": [1, 0]}
ASIDE_PX = {"edge": 3, "middle": -3}  # so that two ranges at one size stand beside each other

LABEL_PX = {"edge": 8, "middle": -8}


class NoSuchPicture(ValueError):
    """The picture's file name ends in something that is not drawn."""


def draw(found: Sizes, target: Path) -> bytes:
    """The picture as SVG or PNG, by the ending of the file it is for. Raises NoSuchPicture."""
    kind = kind_of(target)
    chart = sizes_chart(found)
    return png_file(chart, PNG_SCALE) if kind == ".png" else svg_file(chart).encode()


def kind_of(target: Path) -> str:
    """The ending of a picture's file name, .svg or .png. Raises NoSuchPicture."""
    kind = target.suffix.lower()
    if kind not in (".svg", ".png"):
        raise NoSuchPicture(f"{target.name} is no picture that can be drawn; let its name end in .svg or .png.")
    return kind


def sizes_chart(found: Sizes) -> alt.LayerChart:
    """Ranges of the coldest hour, middle and edge, against litres; °C at the left and °F at the right."""
    tz = ZoneInfo(found.timezone)
    ranges = [*found.coldest_c.values(), *found.own_c.values(), np.array([found.tolerated_c])]
    low = math.floor(min(float(values.min()) for values in ranges) - 0.5)
    high = math.ceil(max(float(values.max()) for values in ranges) + 0.5)
    least, most = min(*found.litres, found.own_litres), max(*found.litres, found.own_litres)
    widest = [least / 1.25, most * 1.25 * (most / least) ** 0.08]  # room at the right for the names of the places
    x = alt.X(
        "litres:Q", scale=alt.Scale(type="log", domain=widest, nice=False), title="what the bin holds, litres",
        axis=alt.Axis(values=[float(v) for v in found.litres], format="~r", grid=False, labelOverlap=True),
    )  # fmt: skip
    y = alt.Y(
        "low:Q", scale=alt.Scale(domain=[low, high], nice=False, zero=False), title=None,
        axis=alt.Axis(tickCount=6, labelExpr="replace(datum.label, '-', '−') + ' °C'"),
    )  # fmt: skip
    layers: list[alt.Chart] = [*_limit(found, x, y, widest), *_own(found, x, y, low, high)]
    for place, dash in DASHES.items():
        drawn = {float(size): points for size, points in zip(found.litres, found.coldest_c[place], strict=True)}
        drawn[found.own_litres] = found.own_c[place]
        layers += _place(dict(sorted(drawn.items())), place, dash, x, y)
    fahrenheit = _fahrenheit(layers[0], low, high)
    for layer in layers[1:]:
        layer.encoding.y.axis = None
    title = alt.TitleParams(
        f"Coldest hour of the bedding by size of bin, {_day(found.begin_utc, tz)} to {_day(found.end_utc, tz)}",
        subtitle=[
            "Predicted, 5 to 95 %: " + " and ".join(f"{_MARKS[PLACE_MARKS[p][1]]} {p}" for p in ("middle", "edge"))
            + f". Only “{found.bin}”, {found.own_litres:.0f} litres (grey line), was fitted to readings;",
            "the other sizes have its proportions, bedding, wall, place, weather, and feedings by the litre.",
        ],
        anchor="start", fontSize=TEXT + 2, subtitleFontSize=TEXT - 1, subtitleColor=INK, color=INK, offset=12,
    )  # fmt: skip
    chart: alt.LayerChart = (
        alt.layer(*layers, fahrenheit)
        .resolve_axis(y="independent")
        .properties(width=WIDTH, height=HEIGHT, title=title, background=PAPER, padding=12)
        .configure(font=FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelFontSize=TEXT, titleFontSize=TEXT, titleFontWeight="normal", labelColor=INK, titleColor=INK,
            gridColor="#e4e1da", domainColor="#8b8f94", tickColor="#8b8f94", labelPadding=4,
        )
    )  # fmt: skip
    return chart


_MARKS = {"circle": "●", "square": "■"}


def _place(
    ranges: dict[float, NDArray[np.float64]], place: str, dash: list[int], x: alt.X, y: alt.Y
) -> list[alt.Chart]:
    """A band with its middle, and at each size the range itself with a mark."""
    colour, shape = PLACE_MARKS[place]
    rows = [
        {"litres": size, "low": float(low), "middle": float(middle), "high": float(high)}
        for size, (low, middle, high) in ranges.items()
    ]
    base, aside = alt.Chart(_data(rows)), ASIDE_PX[place]
    at = _named(y, "middle")
    label = alt.Chart(_data(rows[-1:])).mark_text(
        text=place, align="left", dx=12, dy=LABEL_PX[place], fontSize=TEXT, fontWeight="bold", color=colour
    )
    return [
        base.mark_area(color=colour, opacity=0.14).encode(x=x, y=_own_axis(y), y2="high:Q"),
        base.mark_line(color=colour, strokeWidth=2, strokeDash=dash).encode(x=x, y=at),
        base.mark_rule(color=colour, strokeWidth=1.6, strokeDash=dash, xOffset=aside).encode(
            x=x, y=_own_axis(y), y2="high:Q"
        ),
        base.mark_point(
            shape=shape, size=70, filled=True, color=colour, stroke="white", opacity=1, xOffset=aside
        ).encode(x=x, y=_named(y, "middle")),
        label.encode(x=x, y=_named(y, "middle")),
    ]


def _limit(found: Sizes, x: alt.X, y: alt.Y, widest: list[float]) -> list[alt.Chart]:
    """The cold end of what the species tolerates."""
    rows = [{"litres": widest[0], "end": widest[1], "low": found.tolerated_c}]
    base = alt.Chart(_data(rows))
    text = f"tolerated down to {warmth(found.tolerated_c)}"
    return [
        base.mark_rule(color=INK, strokeWidth=1).encode(x=x, x2="end:Q", y=_own_axis(y)),
        base.mark_text(text=text, align="left", dx=4, dy=-7, fontSize=TEXT - 1, color=INK).encode(x=x, y=_own_axis(y)),
    ]


def _own(found: Sizes, x: alt.X, y: alt.Y, low: float, high: float) -> list[alt.Chart]:
    """Where the fitted bin is."""
    rows = [{"litres": found.own_litres, "low": low, "high": high}]
    base = alt.Chart(_data(rows))
    return [
        base.mark_rule(color=GREY, strokeWidth=2).encode(x=x, y=_own_axis(y), y2="high:Q"),
        base.mark_text(text="this bin", align="left", dx=5, dy=10, fontSize=TEXT - 1, color=INK).encode(
            x=x, y=_named(y, "high")
        ),
    ]


def _fahrenheit(first: alt.Chart, low_c: float, high_c: float) -> alt.Chart:
    """An unseen layer that carries the right-hand axis."""
    step = 10 if high_c - low_c > 12 else 5 if high_c - low_c > 7 else 2
    marks = [f for f in range(-60, 160, step) if low_c <= to_celsius(f) <= high_c]
    ghost = first.copy(deep=True)
    ghost.mark = alt.MarkDef(type="rule", opacity=0)
    ghost.encoding.y.axis = alt.Axis(
        orient="right", values=[to_celsius(f) for f in marks], grid=False,
        labelExpr="replace(format(datum.value * 1.8 + 32, '.0f'), '-', '−') + ' °F'",
    )  # fmt: skip
    return ghost


def _own_axis(y: alt.Y) -> alt.Y:
    return y.copy(deep=True)


def _named(y: alt.Y, field: str) -> alt.Y:
    other = y.copy(deep=True)
    other.shorthand = f"{field}:Q"
    return other


def _data(rows: list[dict[str, Any]]) -> alt.InlineData:
    return alt.InlineData(values=rows)


def _day(seconds: int, tz: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(seconds, tz):%-d %b %Y}"
