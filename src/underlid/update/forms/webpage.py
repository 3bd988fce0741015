"""What every page of the account is made of, so that it needs no network and no other file: style, fonts, charts."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files

import altair as alt
from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from underlid.update.drawn import charts
from underlid.update.drawn.drawing import svg, unchecked

PAPER, NIGHT = "#f3efe6", "#23282d"  # the darkest light and the lightest dark ground that accents stand on
WEIGHTS = (400, 600)


@dataclass(frozen=True, slots=True)
class Drawn:
    """One chart at both widths; the page's style shows one of them."""

    desk: Markup
    phone: Markup


def both_widths(chart: Callable[[charts.Size], alt.LayerChart], name: str, says: str) -> Drawn:
    """A chart for desk and phone as it stands in a page, with what it shows in words."""
    sizes = {"desk": charts.DESK, "phone": charts.PHONE}
    # The SVG holds numbers and dates only, never a keeper's words, so it may stand in the page as it is.
    return Drawn(**{
        target: Markup(svg(unchecked(partial(chart, size)), f"{name}-{target}", says)) for target, size in sizes.items()
    })  # fmt: skip


@cache
def template(name: str) -> Template:
    """A page's template, of the files beside this one."""
    return Environment(
        loader=PackageLoader("underlid.update.forms", ""), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)  # fmt: skip


def text_of(name: str) -> str:
    """The text of a file beside this one."""
    return files(__package__).joinpath(name).read_text("utf-8")


def style() -> Markup:
    """The style of every page, with the fonts it needs."""
    return Markup(_faces() + text_of("page.css"))


def data_url(kind: str, content: bytes) -> str:
    """Content within a page, as an address of it."""
    return f"data:{kind};base64,{b64encode(content).decode('ascii')}"


@cache
def _faces() -> str:
    """The page's own fonts, as CSS that holds them."""
    fonts = files("underlid.update").joinpath("fonts")
    return "".join(
        f'@font-face {{ font-family: "Source Sans 3"; font-weight: {weight}; src: '
        f'url({data_url("font/woff2", content)}) format("woff2"); }}\n'
        for weight in WEIGHTS
        for content in [fonts.joinpath(f"source-sans-3-latin-{weight}-normal.woff2").read_bytes()]
    )
