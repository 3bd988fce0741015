"""The bedding cut through at one hour, as an SVG for print: the parts of the page's own drawing, with fewer words.

Each part that is labelled carries its middle value in °C and °F, large enough for a poster.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from underlid.quantity.units import to_fahrenheit
from underlid.update.drawn import palette
from underlid.update.drawn.crosscut import FROST_HEIGHT, Cell, Crosscut
from underlid.update.drawn.drawing import FONT
from underlid.update.facts import Range, Story
from underlid.update.prose import phrases

WIDTH, TALLEST, FLATTEST = 508.0, 0.38, 0.36  # of the cut as it is drawn, and height as a share of it
TEXT, KEY_HEIGHT, KEY_ROOM = 21, 22, 70  # KEY_ROOM: height of the key with its words
LABELS = (4, 3)  # parts labelled in a row at most, and rows of labels at most
LABEL_ROOM = (88.0, 52.0)  # for a label's two lines


def cutaway(story: Story) -> tuple[bytes, str] | None:
    """The cut at the hour where pictures stand, and what it shows; None where the story holds no cut."""
    if story.cut is None:
        return None
    cut = Crosscut(story, story.cut)
    found = cut.left_c[cut.coldest]
    whole = Range(
        float(found[:, :, 0].min()), float(np.median(found[:, :, 1])), float(found[:, :, 2].max()), "degC",
        cut.provenance,
    )  # fmt: skip
    says = (
        f"{cut.stands()}; middle values, {whole.provenance}. "
        f"All parts, nine in ten: {phrases.temperature_range(whole)}. Stripes: {palette.FREEZING}. {cut.why()}".rstrip()
    )
    share = min(max(story.cut.height_m / story.cut.width_m, FLATTEST), TALLEST)
    return drawn(cut.cells(), round(WIDTH * share)).encode(), says


def drawn(cells: Sequence[Cell], height: float) -> str:
    """Parts as an SVG, so high [px] without its key."""
    rows, columns = 1 + max(cell.row for cell in cells), 1 + max(cell.column for cell in cells)
    wide, high = WIDTH / columns, height / rows
    parts = []
    for cell in cells:
        left, top = wide * cell.column, high * cell.row
        parts.append(_rect(left, top, wide + 0.3, high + 0.3, cell.fill))
        if cell.frost:
            parts.append(_rect(left, top + high - FROST_HEIGHT, wide, FROST_HEIGHT, "url(#frost)"))
    across = _spread(columns, min(LABELS[0], int(WIDTH // LABEL_ROOM[0])))
    down = _spread(rows, min(LABELS[1], int(height // LABEL_ROOM[1])))
    labels = [
        _label(cell, wide * (cell.column + 0.5), high * (cell.row + 0.5), height)
        for cell in cells
        if cell.row in down and cell.column in across
    ]
    frame = (
        f'<rect x="1" y="1" width="{WIDTH - 2:.0f}" height="{height - 2:.0f}" fill="none" stroke="{palette.INK}" '
        'stroke-width="2"/>'
    )
    said = [cell.said_c for cell in cells]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height + 16 + KEY_ROOM:.0f}" '
        f'font-family="{escape(FONT)}" font-size="{TEXT}"><defs>{palette.FROST}</defs>'
        f"{''.join((*parts, frame, *labels, _key(min(said), max(said), height + 16)))}</svg>"
    )


def _rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}"/>'


def _label(cell: Cell, x: float, y: float, height: float) -> str:
    """The middle value of one part, on a plate of its colour so that no border or stripe runs through it."""
    wide, high = LABEL_ROOM
    x = min(max(x, wide / 2 + 4), WIDTH - wide / 2 - 4)
    y = min(max(y, high / 2 + 4), height - high / 2 - 4)
    lines = (f"{cell.text} °C", f"{phrases.number(to_fahrenheit(cell.said_c), 0)} °F")
    plate = (
        f'<rect rx="4" x="{x - wide / 2 + 2:.1f}" y="{y - high / 2 + 2:.1f}" width="{wide - 4:.1f}" '
        f'height="{high - 4:.1f}" fill="{cell.fill}"/>'
    )
    return plate + "".join(
        f'<text x="{x:.1f}" y="{y + dy:.1f}" text-anchor="middle" fill="{cell.ink}">{line}</text>'
        for line, dy in zip(lines, (-4, 18), strict=True)
    )


def _key(low_c: float, high_c: float, top: float) -> str:
    """The colours in use, with the temperatures at which one gives way to the next."""
    first, last = palette.shade(low_c), palette.shade(high_c)
    first, last = max(0, min(first, last - 1)), max(last, first + 1)  # one edge at least is named
    first, last = min(first, len(palette.EDGES_C) - 1), min(last, len(palette.EDGES_C))
    wide = WIDTH / (last - first + 1)
    parts = []
    for place, step in enumerate(range(first, last + 1)):
        parts.append(
            f'<rect x="{wide * place:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{KEY_HEIGHT}" '
            f'fill="{palette.SHADES[step]}" stroke="{palette.INK}" stroke-width="1"/>'
        )
        if step < last:
            edge = palette.EDGES_C[step]
            for line, text in enumerate((f"{phrases.number(edge)} °C", f"{phrases.number(to_fahrenheit(edge), 0)} °F")):
                parts.append(
                    f'<text x="{wide * (place + 1):.1f}" y="{top + KEY_HEIGHT + 21 + 22 * line:.1f}" '
                    f'text-anchor="middle" fill="{palette.INK}">{text}</text>'
                )
    return "".join(parts)


def _spread(cells: int, most: int) -> list[int]:
    """Up to `most` cells evenly spread over a row, the outermost among them."""
    count = max(1, min(most, cells))
    return sorted({round(place) for place in np.linspace(0, cells - 1, count)} if count > 1 else {cells // 2})
