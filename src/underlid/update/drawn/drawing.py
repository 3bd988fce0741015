"""From a chart to an SVG that sits inside a page: no script, no outside reference, the same bytes every time."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import cache
from html import escape
from importlib.resources import files
from typing import TypeVar

import altair as alt
import vl_convert
from altair.utils.schemapi import debug_mode

Chart = TypeVar("Chart", bound=alt.LayerChart | None)

DECIMALS = 2
FONT = "'Source Sans 3', sans-serif"  # of `update/fonts`, so that charts are alike on every machine
_FACE = "SourceSans3-Regular"  # the name by which vl_convert finds it: family names with a digit it cannot measure
_UNUSED = re.compile(r' (?:class|role|aria-[a-z]+)="[^"]*"')  # the outer element speaks for the whole drawing
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_SHIFT = re.compile(r'<g[^>]*transform="translate\(([\d.]+),([\d.]+)\)"')
_FRAME = re.compile(r'd="M0,0h([\d.]+)v([\d.]+)h')


def unchecked(make: Callable[[], Chart]) -> Chart:
    """What makes a chart, without a check of every row of its data against the schema, at the cost of seconds.

    The tests of charts make them with the check.
    """
    with debug_mode(False):
        return make()


def svg(chart: alt.LayerChart, name: str, says: str) -> str:
    """The chart as one `<svg>` that scales with its box; `name` keeps its ids apart, `says` is read out for it."""
    drawn = svg_file(chart)
    opening, body = re.match(r"<svg([^>]*)>(.*)</svg>\s*$", drawn, re.DOTALL).groups()  # type: ignore[union-attr]
    box = re.search(r'viewBox="([^"]+)"', opening).group(1)  # type: ignore[union-attr]
    body = _UNUSED.sub("", body)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = body.replace("url(#", f"url(#{name}-").replace('href="#', f'href="#{name}-')
    body = _LONG_NUMBER.sub(lambda match: f"{float(match[0]):.{DECIMALS}f}".rstrip("0").rstrip("."), body)
    return f'<svg viewBox="{box}" role="img" aria-label="{escape(says)}" class="{name}">{body}</svg>'


def svg_file(chart: alt.LayerChart) -> str:
    """The chart as an SVG file of its own."""
    drawn: str = vl_convert.vegalite_to_svg(_measured(chart), vl_version=_vegalite())
    return drawn.replace(_FACE, FONT)


def png_file(chart: alt.LayerChart, scale: float) -> bytes:
    """The chart as a PNG, `scale` pixels to one of its own."""
    drawn: bytes = vl_convert.vegalite_to_png(_measured(chart), vl_version=_vegalite(), scale=scale)
    return drawn


def frame(drawn: str) -> tuple[float, float, float, float]:
    """Where the axes lie in a drawing: left, top, width and height."""
    shift, box = _SHIFT.search(drawn), _FRAME.search(drawn)
    if shift is None or box is None:
        raise ValueError("The drawing has no frame that is known.")
    left, top, width, height = (float(part) for part in (*shift.groups(), *box.groups()))
    return left, top, width, height


def _measured(chart: alt.LayerChart) -> str:
    """The chart's specification, with the font named so that it can be measured."""
    _with_own_fonts()
    return json.dumps(chart.to_dict(validate=False)).replace(json.dumps(FONT), json.dumps(_FACE))


@cache
def _with_own_fonts() -> None:
    """Let charts be measured with the fonts of `update/fonts`; once is enough."""
    vl_convert.register_font_directory(str(files("underlid.update").joinpath("fonts")))


def _vegalite() -> str:
    """The Vega-Lite version Altair wrote the chart for, as vl_convert names it."""
    return ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])
