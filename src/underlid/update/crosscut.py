"""The bedding cut through, as the page shows it: an SVG that stands at the coldest hour until the script moves it.

Cold is blue, warm is red by way of yellow, in steps that colour-blind people can tell apart (ColorBrewer RdYlBu); parts
below freezing are hatched as well, and every part carries its middle value.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from underlid.fit.cut import Cut
from underlid.quantity.units import to_fahrenheit
from underlid.update import phrases
from underlid.update.facts import Array, Provenance, Range, Story
from underlid.update.frames import Month

EDGES = (-5, -2, 0, 2, 5, 8, 12, 16, 20, 25)  # degC, between the shades
SHADES = (
    "#313695", "#4575b4", "#74add1", "#abd9e9", "#e0f3f8", "#ffffbf", "#fee090", "#fdae61", "#f46d43", "#d73027",
    "#a50026",
)  # fmt: skip
DARK = (0, 1, 9, 10)  # shades on which text is white
WIDTH, LOWEST, HIGHEST, ICE = 560, 228, 360, 8  # px; the hatching of frozen parts is so high


@dataclass(frozen=True, slots=True)
class Cell:
    """One part: its place, its shade and what is written in it; `index` among the parts of the left half."""

    row: int
    column: int
    index: int
    x: float
    y: float
    shade: int
    text: str
    ice: bool


@dataclass(frozen=True)
class Crosscut:
    """The cut through the hours of a story. left_c : (steps, rows, half of the columns, 3) [degC]."""

    story: Story
    cut: Cut

    @cached_property
    def month(self) -> Month:
        """The steps of the cut that the story's hours hold."""
        return Month(self.story, self.cut)

    @property
    def time_utc(self) -> NDArray[np.int64]:
        """When each step is, UTC seconds."""
        return self.month.time_utc

    @property
    def columns(self) -> int:
        """Parts side by side."""
        return len(self.cut.wall_m)

    @property
    def left_c(self) -> Array:
        """The left half with its middle column; the other half is its mirror image."""
        return self.cut.bedding_c[self.month.row, :, : (self.columns + 1) // 2]

    @property
    def coldest(self) -> int:
        """The step at which it stands without a script."""
        return self.month.coldest

    @property
    def predicted_from(self) -> int:
        """The first predicted step, as many as there are if none is."""
        first = self.month.predicted_from
        return len(self.month) if first is None else first

    @property
    def provenance(self) -> Provenance:
        """Of the step at which it stands."""
        return "estimated" if self.coldest < self.predicted_from else "predicted"

    @property
    def height(self) -> float:
        """Of the drawing [px], in the proportions of the bedding as far as text stays readable."""
        return round(float(np.clip(WIDTH * self.cut.height_m / self.cut.width_m, LOWEST, HIGHEST)), 1)

    @property
    def cell(self) -> tuple[float, float]:
        """Width and height of a part [px]."""
        return round(WIDTH / self.columns, 2), round(self.height / len(self.cut.depth_m), 2)

    def cells(self) -> list[Cell]:
        """Every part at the coldest hour, row by row."""
        values = self.left_c[self.coldest]
        width, height = self.cell
        half = values.shape[1]
        found = []
        for row in range(len(self.cut.depth_m)):
            for column in range(self.columns):
                mirrored = min(column, self.columns - 1 - column)
                low, middle, high = (float(value) for value in values[row, mirrored])
                text = phrases.celsius(Range(low, middle, high, "degC", self.provenance)).split(phrases.NB)[0]
                said = float(text.replace("−", "-"))
                found.append(
                    Cell(row, column, row * half + mirrored, round(column * width, 2), round(row * height, 2),
                         shade(said), text, said < 0)
                )  # fmt: skip
        return found

    def says(self) -> str:
        """The drawing in words, for those who cannot see it."""
        values = self.left_c[self.coldest].reshape(-1, 3)
        ends = {"coldest": values[:, 1].argmin(), "warmest": values[:, 1].argmax()}
        parts = []
        for name, at in ends.items():
            low, middle, high = (float(value) for value in values[at])
            found = Range(low, middle, high, "degC", self.provenance)
            parts.append(
                f"{name} part about {phrases.temperature(found)}, nine in ten {phrases.temperature_range(found)}"
            )
        return "; ".join(parts)[0].upper() + "; ".join(parts)[1:] + "."

    def legend(self) -> list[tuple[str, str]]:
        """The shades that occur in the month, coldest first: colour and what it stands for in both units."""
        said = np.floor(2 * self.left_c[..., 1] + 0.5) / 2
        least, most = shade(float(said.min())), shade(float(said.max()))
        return [(SHADES[i], _between(i)) for i in range(least, most + 1)]


def shade(degrees_c: float) -> int:
    """Which of the shades a temperature has."""
    return sum(degrees_c >= edge for edge in EDGES)


def _between(i: int) -> str:
    if i == 0:
        return f"below {phrases.warmth(EDGES[0])}"
    if i == len(EDGES):
        return f"from {phrases.warmth(EDGES[-1])}"
    low, high = EDGES[i - 1], EDGES[i]
    in_f = phrases.ends(round(to_fahrenheit(low)), round(to_fahrenheit(high)), "°F")
    return f"{phrases.ends(low, high, '°C')} ({in_f})"
