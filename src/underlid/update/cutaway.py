"""The bedding cut through at one hour, as an SVG for print: how warm each part is, told apart without colour too.

Colours go in steps from blue through yellow to red (Harrower and Brewer 2003, RdYlBu), which colour-blind readers can
tell apart; each part that is labelled carries its middle value in °C and °F.
"""

from __future__ import annotations

from html import escape

import numpy as np

from underlid.quantity.units import to_fahrenheit
from underlid.update import phrases
from underlid.update.drawing import FONT
from underlid.update.facts import Array, Range, Story
from underlid.update.frames import cut_times
from underlid.update.own import contrast

STEPS_C = (-5, -2, 0, 2, 5, 8, 12, 16, 20, 25)
COLOURS = (
    "#313695", "#4575b4", "#74add1", "#abd9e9", "#e0f3f8", "#ffffbf", "#fee090", "#fdae61", "#f46d43", "#d73027",
    "#a50026",
)  # fmt: skip
INK, WHITE = "#22262a", "#ffffff"
WIDTH, TALLEST, FLATTEST = 508.0, 0.38, 0.36  # of the cut as it is drawn, and height as a share of it
TEXT, KEY_HEIGHT, KEY_ROOM = 21, 22, 70  # KEY_ROOM: height of the key with its words
LABELS = (4, 3)  # parts labelled in a row at most, and rows of labels at most
LABEL_ROOM = (88.0, 52.0)  # for a label's two lines


def cutaway(story: Story) -> tuple[bytes, str] | None:
    """The cut at the hour nearest to the coldest, and what it shows; None where the story holds no cut."""
    if story.cut is None:
        return None
    cut = story.cut
    at = int(np.abs(cut_times(story, cut) - story.coldest.when.usual.timestamp()).argmin())
    found = cut.bedding_c[at]
    whole = Range(
        float(found[:, :, 0].min()), float(np.median(found[:, :, 1])), float(found[:, :, 2].max()), "degC",
        story.coldest.temperature.provenance,
    )  # fmt: skip
    says = (
        f"Near {phrases.hour(story.coldest.when.usual)}; middle values, {whole.provenance}. "
        f"All parts, nine in ten: {phrases.temperature_range(whole)}."
    )
    share = min(max(cut.height_m / cut.width_m, FLATTEST), TALLEST)
    return _drawn(found[:, :, 1], round(WIDTH * share)).encode(), says


def colour(celsius: float) -> str:
    """The colour of a temperature."""
    return COLOURS[int(np.searchsorted(STEPS_C, celsius, side="right"))]


def _drawn(middle_c: Array, height: float) -> str:
    rows, columns = middle_c.shape
    wide, high = WIDTH / columns, height / rows
    cells = [
        f'<rect x="{wide * j:.2f}" y="{high * i:.2f}" width="{wide + 0.3:.2f}" height="{high + 0.3:.2f}" '
        f'fill="{colour(float(middle_c[i, j]))}"/>'
        for i in range(rows)
        for j in range(columns)
    ]
    across = _spread(columns, min(LABELS[0], int(WIDTH // LABEL_ROOM[0])))
    down = _spread(rows, min(LABELS[1], int(height // LABEL_ROOM[1])))
    labels = [_label(float(middle_c[i, j]), wide * (j + 0.5), high * (i + 0.5), height) for i in down for j in across]
    frame = (
        f'<rect x="1" y="1" width="{WIDTH - 2:.0f}" height="{height - 2:.0f}" fill="none" stroke="{INK}" '
        'stroke-width="2"/>'
    )
    drawn = "".join((*cells, frame, *labels, _key(middle_c, height + 16)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height + 16 + KEY_ROOM:.0f}" '
        f'font-family="{escape(FONT)}" font-size="{TEXT}">{drawn}</svg>'
    )


def _label(celsius: float, x: float, y: float, height: float) -> str:
    """The middle value of one part, edged with its colour so that no border runs through it."""
    fill = colour(celsius)
    ink = max((INK, WHITE), key=lambda shade: contrast(shade, fill))
    wide, high = LABEL_ROOM
    x = min(max(x, wide / 2 + 4), WIDTH - wide / 2 - 4)
    y = min(max(y, high / 2 + 4), height - high / 2 - 4)
    lines = (f"{phrases.number(celsius)} °C", f"{phrases.number(to_fahrenheit(celsius), 0)} °F")
    return "".join(
        f'<text x="{x:.1f}" y="{y + dy:.1f}" text-anchor="middle" fill="{ink}" stroke="{fill}" stroke-width="5" '
        f'stroke-linejoin="round" paint-order="stroke">{line}</text>'
        for line, dy in zip(lines, (-4, 18), strict=True)
    )


def _key(middle_c: Array, top: float) -> str:
    """The colours in use, with the temperatures at which one gives way to the next."""
    first, last = (int(np.searchsorted(STEPS_C, end, side="right")) for end in (middle_c.min(), middle_c.max()))
    first, last = max(0, min(first, last - 1)), max(last, first + 1)  # one edge at least is named
    first, last = min(first, len(STEPS_C) - 1), min(last, len(STEPS_C))
    wide = WIDTH / (last - first + 1)
    parts = []
    for place, step in enumerate(range(first, last + 1)):
        parts.append(
            f'<rect x="{wide * place:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{KEY_HEIGHT}" '
            f'fill="{COLOURS[step]}" stroke="{INK}" stroke-width="1"/>'
        )
        if step < last:
            edge = STEPS_C[step]
            for line, text in enumerate((f"{phrases.number(edge)} °C", f"{phrases.number(to_fahrenheit(edge), 0)} °F")):
                parts.append(
                    f'<text x="{wide * (place + 1):.1f}" y="{top + KEY_HEIGHT + 21 + 22 * line:.1f}" '
                    f'text-anchor="middle" fill="{INK}">{text}</text>'
                )
    return "".join(parts)


def _spread(cells: int, most: int) -> list[int]:
    """Up to `most` cells evenly spread over a row, the outermost among them."""
    count = max(1, min(most, cells))
    return sorted({round(place) for place in np.linspace(0, cells - 1, count)} if count > 1 else {cells // 2})
