"""The figures of docs/verification.md, in colours that colour-blind readers can tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import altair as alt
import numpy as np
from numpy.typing import NDArray
from verify_bins import FINEST, Winter
from verify_exact import FRONT_CELLS, FRONT_HOURS, FRONTS, LINEAR, WAVE, front_m

from underlid.heat.model import GRID
from underlid.update.drawn import drawing
from underlid.update.drawn.charts import BLUE, GREEN, GREY, INK, PURPLE, VERMILION

Array = NDArray[np.float64]
Rows = list[dict[str, Any]]

WIDTH, HEIGHT, TEXT = 640, 360, 13
LOOKS = {  # colour, shape
    "half a space": (BLUE, "circle"),
    "wall": (VERMILION, "square"),
    "brick": (GREEN, "triangle-up"),
    "daily wave": (PURPLE, "diamond"),
}


def linear_figure(errors: Sequence[Sequence[float]]) -> str:
    """Error against cell size where nothing freezes, as a share of what was imposed."""
    rows: Rows = []
    for number, (case, found) in enumerate(zip(LINEAR, errors, strict=True)):
        whole = 1.0 if case.unit == WAVE else 20.0
        rows += [
            {"line": number, "of": case.body, "mm": mm, "error": error / whole}
            for mm, error in zip(case.cell_mm, found, strict=True)
        ]
    guide = [{"mm": mm, "error": 2.6e-5 * (mm / 8) ** 2, "says": "a quarter for half the size"} for mm in (8, 32)]
    colours = alt.Scale(domain=list(LOOKS), range=[colour for colour, _ in LOOKS.values()])
    shapes = alt.Scale(domain=list(LOOKS), range=[shape for _, shape in LOOKS.values()])
    base = alt.Chart(_data(rows)).encode(
        x=_mm([4.5, 54], [5, 10, 20, 40]),
        y=_log("error", "largest error, share of the fall or wave imposed", [2e-5, 0.1], [1e-4, 1e-3, 1e-2, 0.1]),
    )
    lines = base.mark_line(strokeWidth=1.3).encode(color=alt.Color("of:N", scale=colours, title=None), detail="line:N")
    points = base.mark_point(filled=True, size=55, opacity=1).encode(
        color=alt.Color("of:N", scale=colours, title=None), shape=alt.Shape("of:N", scale=shapes, title=None)
    )
    chart = alt.layer(lines, points, *_guide(guide))
    return _svg(chart, "linear", "Error against cell size on logarithmic axes; all lines fall with the slope of two.")


def order_figure(errors: Sequence[Sequence[float]]) -> str:
    """Error of the front of ice against cell size."""
    kinds = {"water": (BLUE, "circle"), "bedding": (VERMILION, "square")}
    rows = [
        {"line": number, "of": front.name.split()[0], "mm": 1200 / cells, "error": error}
        for number, (front, found) in enumerate(zip(FRONTS, errors, strict=True))
        for cells, error in zip(FRONT_CELLS, found, strict=True)
    ]
    guide = [{"mm": mm, "error": 0.0013 * mm / 4, "says": "half for half the size"} for mm in (4, 11)]
    colours = alt.Scale(domain=list(kinds), range=[colour for colour, _ in kinds.values()])
    shapes = alt.Scale(domain=list(kinds), range=[shape for _, shape in kinds.values()])
    base = alt.Chart(_data(rows)).encode(
        x=_mm([2.3, 22], [2.5, 5, 10, 20]),
        y=_log(
            "error",
            "largest error of the front, share of its depth",
            [1e-3, 0.2],
            [1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2],
        ),
    )
    lines = base.mark_line(strokeWidth=1.3).encode(color=alt.Color("of:N", scale=colours, title=None), detail="line:N")
    points = base.mark_point(filled=True, size=55, opacity=1).encode(
        color=alt.Color("of:N", scale=colours, title=None), shape=alt.Shape("of:N", scale=shapes, title=None)
    )
    limit: Rows = [{"error": 0.01, "mm": 22, "says": "1 %"}]
    level = alt.Chart(_data(limit)).encode(y="error:Q")
    rule = level.mark_rule(color=INK, strokeDash=[1, 3])
    said = level.mark_text(text="1 %", align="right", dy=-8, fontSize=TEXT, color=INK).encode(x="mm:Q")
    chart = alt.layer(lines, points, *_guide(guide), rule, said)
    return _svg(chart, "fronts", "Error of the front of ice against cell size; it is below one per cent on the finest.")


def front_figure(cells: int) -> str:
    """Depth of the front through three days in bedding: closed form and full field."""
    hours = range(FRONT_HOURS + 1)
    shown = [front for front in FRONTS if not front.by_root]
    true, found, names = [], [], []
    for front in shown:
        exact_mm, cells_mm = front.true_m(hours) * 1000, front_m(front, cells) * 1000
        true += [{"h": h, "mm": round(float(mm), 3), "of": front.name} for h, mm in enumerate(exact_mm)]
        found += [{"h": h, "mm": round(float(cells_mm[h]), 3), "of": front.name} for h in hours[::6]]
        names.append({"h": FRONT_HOURS, "mm": float(exact_mm[-1]), "says": front.name})
    x = alt.X("h:Q", title="hours since the surface went cold", scale=alt.Scale(domain=[0, FRONT_HOURS], nice=False),
              axis=alt.Axis(values=list(range(0, FRONT_HOURS + 1, 12)), grid=False, labelFlush=False))  # fmt: skip
    y = alt.Y("mm:Q", title="depth of the front, mm")
    colours = alt.Color("of:N", legend=None, scale=alt.Scale(
        domain=[front.name for front in shown], range=[BLUE, VERMILION, GREEN, PURPLE]))  # fmt: skip
    chart = alt.layer(
        alt.Chart(_data(true)).mark_line(strokeWidth=1.5).encode(x=x, y=y, color=colours),
        alt.Chart(_data(found))
        .mark_point(size=40, filled=False, strokeWidth=1.4, opacity=1)
        .encode(x=x, y=y, color=colours),
        alt.Chart(_data(names)).mark_text(align="left", dx=8, fontSize=TEXT, color=INK).encode(x=x, y=y, text="says:N"),
        alt.Chart(_data([{"h": 2, "mm": 170, "says": "lines: closed form; rings: full field"}]))
        .mark_text(align="left", fontSize=TEXT, color=INK)
        .encode(x=x, y=y, text="says:N"),
    )
    return _svg(chart, "front", "Depth of the front of ice through three days: the full field lies on the closed form.")


def working_figure(coarse: Winter, fine: Winter, first: int, hours: int) -> str:
    """The grid of a fit beside the finest through some hours, at the three places; the air with the middle."""
    at = coarse.local[first : first + hours].astype("datetime64[ms]").astype(np.int64)
    days = [int(ms) for ms in at if ms % (2 * 86_400_000) == 0]
    courses = np.concatenate([grid.probes_c[first : first + hours] for grid in (coarse, fine)])
    low, high = float(np.floor(courses.min() - 0.3)), float(np.ceil(courses.max() + 0.3))
    names = {"fine": f"{_times(FINEST)} cells in a quarter", "fit": f"{_times(GRID)} cells, as in a fit"}
    both = list(names.values())
    panels = []
    for place, name in enumerate(("middle", "edge", "surface")):
        rows = [
            {"t": int(t), "c": round(float(c), 3), "of": names[key]}
            for key, grid in (("fine", fine), ("fit", coarse))
            for t, c in zip(at, grid.probes_c[first : first + hours, place], strict=True)
        ]
        last = place == 2
        x = alt.X(
            "t:T", title=None, scale=alt.Scale(type="utc", domain=[int(at[0]), int(at[-1])], nice=False),
            axis=alt.Axis(values=days, format="%-d %b", grid=False, labels=last, ticks=last, labelFlush=False),
        )  # fmt: skip
        y = alt.Y("c:Q", title=None, scale=alt.Scale(domain=[low, high], nice=False, zero=False),
                  axis=alt.Axis(tickCount=4, labelExpr="replace(datum.label, '-', '−') + ' °C'"))  # fmt: skip
        drawn = alt.Chart(_data(rows)).mark_line().encode(
            x=x, y=y,
            color=alt.Color("of:N", title=None, scale=alt.Scale(domain=both, range=[GREY, VERMILION])),
            strokeWidth=alt.StrokeWidth("of:N", title=None, scale=alt.Scale(domain=both, range=[4.5, 1.4])),
        )  # fmt: skip
        panels.append(
            drawn.properties(
                width=WIDTH, height=130, title=alt.TitleParams(name, anchor="start", fontSize=TEXT, color=INK, offset=4)
            )
        )
    chart = alt.vconcat(*panels, spacing=10)
    return _svg(chart, "working", "Bedding temperature over a frosty fortnight on the grid of a fit and on a fine one.")


def _times(cells: Sequence[int]) -> str:
    return "×".join(map(str, cells))


def _mm(domain: list[float], ticks: list[float]) -> alt.X:
    return alt.X("mm:Q", title="mean width of a cell, mm", scale=alt.Scale(type="log", domain=domain, nice=False),
                 axis=alt.Axis(values=ticks, grid=False, labelFlush=False))  # fmt: skip


def _log(field: str, title: str, domain: list[float], ticks: list[float]) -> alt.Y:
    return alt.Y(f"{field}:Q", title=title, scale=alt.Scale(type="log", domain=domain, nice=False),
                 axis=alt.Axis(values=ticks, labelExpr="format(datum.value * 100, '~g') + ' %'"))  # fmt: skip


def _guide(rows: Rows) -> list[alt.Chart]:
    """A dashed line of the expected slope, with its meaning under its end."""
    line = alt.Chart(_data(rows)).mark_line(color=INK, strokeDash=[5, 3], strokeWidth=1.2).encode(x="mm:Q", y="error:Q")
    words = alt.Chart(_data(rows[-1:])).mark_text(align="left", dx=7, dy=3, fontSize=TEXT, color=INK)
    return [line, words.encode(x="mm:Q", y="error:Q", text="says:N")]


def _data(rows: Rows) -> alt.InlineData:
    return alt.InlineData(values=rows)


def _svg(chart: alt.LayerChart | alt.FacetChart | alt.VConcatChart, name: str, says: str) -> str:
    """As a file of its own, on white, for pages may be dark."""
    if isinstance(chart, alt.LayerChart):
        chart = chart.properties(width=WIDTH, height=HEIGHT)
    finished = (
        chart.properties(background="white", padding=12)
        .configure(aria=False, font=drawing.FONT)
        .configure_view(stroke=None)
        .configure_axis(
            labelFontSize=TEXT, titleFontSize=TEXT, titleFontWeight="normal", labelColor=INK, titleColor=INK,
            gridColor="#e4e1da", domainColor="#8b8f94", tickColor="#8b8f94", labelPadding=4, titlePadding=8,
        )
        .configure_legend(labelFontSize=TEXT, labelColor=INK, symbolOpacity=1, orient="top", labelLimit=400)
    )  # fmt: skip
    inline = drawing.svg(cast(alt.LayerChart, finished), name, says)
    return inline.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) + "\n"
