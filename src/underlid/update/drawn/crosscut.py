"""The bedding cut through, as the page shows it: an SVG that stands at one hour until the script moves it.

Colours and stripes are those of `underlid.update.drawn.palette`; every part carries its middle value besides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from underlid.fit.cut import Cut
from underlid.update.drawn import palette, standing
from underlid.update.drawn.frames import Month
from underlid.update.facts import Array, Provenance, Range, Story
from underlid.update.prose import phrases

WIDTH, LOWEST, HIGHEST, FROST_HEIGHT = 560, 228, 360, 8  # px; the stripes of a part below freezing are so high


@dataclass(frozen=True, slots=True)
class Cell:
    """One part: its place, its middle value as it is said, and how that is shown.

    index : among the parts of the left half; frost : whether it is striped
    """

    row: int
    column: int
    index: int
    x: float
    y: float
    said_c: float
    text: str
    fill: str
    ink: str
    frost: bool


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

    def stands(self) -> str:
        """The hour of the drawing, and which it is."""
        return standing.stands(self.month)

    def why(self) -> str:
        """Why that hour is warmer than the coldest of the month; "" where it is not."""
        return standing.why(self.story.coldest)

    def cells(self) -> list[Cell]:
        """Every part at the hour where the drawing stands, row by row."""
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
                shade = palette.shade(said)
                found.append(
                    Cell(row, column, row * half + mirrored, round(column * width, 2), round(row * height, 2), said,
                         text, palette.SHADES[shade], palette.ink_on(shade), shade < palette.DARK)
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
        least, most = palette.shade(float(said.min())), palette.shade(float(said.max()))
        return [(palette.SHADES[i], palette.means(i)) for i in range(least, most + 1)]
