"""A page of parts, the same on a screen and on paper: sentences, tables and charts, made once and set twice.

`html` gives one self-contained file in the look of the monthly account, `pdf` the same parts typeset. What a keeper
wrote is plain text throughout: the page escapes it, and the typesetter is handed it as data.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial

import altair as alt
from markupsafe import Markup

from underlid.update.drawn import charts
from underlid.update.drawn.charts import Size
from underlid.update.drawn.drawing import svg, unchecked
from underlid.update.drawn.keys import Key
from underlid.update.facts import Provenance
from underlid.update.forms import heads, typeset
from underlid.update.forms.webpage import NIGHT, PAPER, both_widths, style, template
from underlid.update.own import readable
from underlid.update.prose.said import Said
from underlid.update.prose.words import KeyFigure

SHEET = Size(704, 300, 13, 4)
XMLNS = 'xmlns="http://www.w3.org/2000/svg"'


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart: how it is drawn at a size, what it says for those who cannot see it, its key and a note.

    size : one size for all widths, as a small one among several; None if it has its own for desk and phone
    title, mark : what stands above it
    """

    name: str
    drawn: Callable[[Size], alt.LayerChart]
    says: str
    key: tuple[Key, ...] = ()
    note: str = ""
    size: Size | None = None
    title: str = ""
    mark: Markup | None = None


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what it says, something smaller below it, and a mark before it."""

    text: str
    small: str = ""
    mark: Markup | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """Columns with where their figures come from, and rows; the first cell of a row names it."""

    columns: tuple[tuple[str, Provenance | None], ...]
    rows: tuple[tuple[Cell, ...], ...]
    says: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the page, in this order: sentences, charts (small ones side by side), tables, closing sentences.

    listed : whether the sentences are a list
    """

    title: str
    said: tuple[Said, ...] = ()
    charts: tuple[Chart, ...] = ()
    key: tuple[Key, ...] = ()
    tables: tuple[Table, ...] = ()
    after: tuple[Said, ...] = ()
    listed: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """All of it.

    accent : the keeper's colour, made readable where it is used; own : their opening words, a paragraph each
    sources : term and meaning
    """

    accent: str
    keeper: str | None
    kicker: str
    title: str
    lede: str
    figures: tuple[KeyFigure, ...]
    own: tuple[str, ...]
    parts: tuple[Part, ...]
    sources: tuple[tuple[str, str], ...]


def html(document: Document) -> str:
    """The page; the same document gives the same bytes."""
    return template("document.html.j2").render(
        ends=heads.ends,
        document=document, style=style(), accent=readable(document.accent, PAPER),
        accent_at_night=readable(document.accent, NIGHT), drawn=_both, single=_single,
    )  # fmt: skip


def pdf(document: Document) -> bytes:
    """The same typeset, A4, as PDF/UA-1."""
    pictures: dict[str, bytes] = {}

    def picture(name: str, drawing: str) -> str:
        file = f"{name}.svg"
        pictures[file] = _alone(drawing)
        return file

    def keys(name: str, found: Sequence[Key]) -> list[dict[str, object]]:
        return [
            {"swatch": picture(f"{name}-{i}", _macro("swatch", key)), "text": key.text, "provenance": key.provenance}
            for i, key in enumerate(found)
        ]

    def chart(one: Chart) -> dict[str, object]:
        drawing = svg(unchecked(partial(one.drawn, one.size or SHEET)), f"{one.name}-paper", one.says)
        return {
            "file": picture(one.name, drawing), "says": one.says, "note": one.note, "key": keys(one.name, one.key),
            "small": one.size is not None, "title": one.title,
            "mark": picture(f"{one.name}-mark", one.mark) if one.mark else None,
        }  # fmt: skip

    parts = [
        {
            "title": part.title,
            "said": [(said.full, said.unsaid) for said in part.said],
            "listed": part.listed,
            "charts": [chart(one) for one in part.charts],
            "key": keys(f"key{i}", part.key),
            "tables": [_table(table, picture, f"t{i}-{k}") for k, table in enumerate(part.tables)],
            "after": [(said.full, said.unsaid) for said in part.after],
        }
        for i, part in enumerate(document.parts)
    ]
    data = {
        "accent": readable(document.accent), "keeper": document.keeper or "The keeper",
        "kicker": document.kicker, "title": document.title, "lede": document.lede, "own": document.own,
        "figures": [asdict(figure) | {"ends": heads.ends(figure)} for figure in document.figures], "parts": parts,
        "sources": document.sources,
    }  # fmt: skip
    return typeset.pdf("document.typ", data, pictures)


def mark(colour: str, shape: str) -> Markup:
    """The swatch of a mark."""
    return _macro("mark", colour, shape)


# --- inside ----------------------------------------------------------------------------------------------


def _macro(name: str, *values: object) -> Markup:
    return Markup(str(getattr(template("marks.html.j2").module, name)(*values)).strip())


def _both(chart: Chart) -> object:
    return both_widths(chart.drawn, chart.name, chart.says)


def _single(chart: Chart) -> Markup:
    return Markup(svg(unchecked(partial(chart.drawn, chart.size or charts.PHONE)), chart.name, chart.says))


def _table(table: Table, picture: Callable[[str, str], str], name: str) -> dict[str, object]:
    rows = [
        [
            {"text": cell.text, "small": cell.small,
             "mark": picture(f"{name}-{i}-{k}", cell.mark) if cell.mark else None}
            for k, cell in enumerate(row)
        ]
        for i, row in enumerate(table.rows)
    ]  # fmt: skip
    return {"columns": table.columns, "rows": rows, "says": table.says}


def _alone(drawing: str) -> bytes:
    """A drawing as a file of its own."""
    drawing = str(drawing)  # markup would escape what is put into it
    if XMLNS not in drawing:
        drawing = drawing.replace("<svg ", f"<svg {XMLNS} ", 1)
    # What reads out a drawing on a screen is no part of one on paper, where it has a text of its own.
    return re.sub(r' (?:role|aria-[a-z]+)="[^"]*"', "", drawing).encode()
