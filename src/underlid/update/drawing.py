"""From a chart to an SVG that sits inside a page: no script, no outside reference, the same bytes every time."""

from __future__ import annotations

import json
import re
from html import escape

import altair as alt
import vl_convert

DECIMALS = 2
_UNUSED = re.compile(r' (?:class|role|aria-[a-z]+)="[^"]*"')  # the outer element speaks for the whole drawing
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")


def svg(chart: alt.LayerChart, name: str, says: str) -> str:
    """The chart as one `<svg>` that scales with its box; `name` keeps its ids apart, `says` is read out for it."""
    drawn: str = vl_convert.vegalite_to_svg(json.dumps(chart.to_dict()), vl_version=_vegalite())
    opening, body = re.match(r"<svg([^>]*)>(.*)</svg>\s*$", drawn, re.DOTALL).groups()  # type: ignore[union-attr]
    box = re.search(r'viewBox="([^"]+)"', opening).group(1)  # type: ignore[union-attr]
    body = _UNUSED.sub("", body)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = body.replace("url(#", f"url(#{name}-").replace('href="#', f'href="#{name}-')
    body = _LONG_NUMBER.sub(lambda match: f"{float(match[0]):.{DECIMALS}f}".rstrip("0").rstrip("."), body)
    return f'<svg viewBox="{box}" role="img" aria-label="{escape(says)}" class="{name}">{body}</svg>'


def _vegalite() -> str:
    """The Vega-Lite version Altair wrote the chart for, as vl_convert names it."""
    return ".".join(alt.SCHEMA_VERSION.removeprefix("v").split(".")[:2])
