"""Where everything stands in the film: the bin to scale, the shades of its temperatures, and the line of time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from underlid.fit.evidence import middle_of
from underlid.quantity.units import to_fahrenheit
from underlid.update.drawn import palette
from underlid.update.drawn.frames import Month, brief, closing
from underlid.update.facts import Array
from underlid.update.own import readable
from underlid.update.prose import background, phrases

SIZE = (1920, 1080)
PAPER, INK, SOFT = "#fbfaf7", palette.INK, "#565d64"  # as in shared.typ
ROOM = (250, 190, 960, 715)  # left, top, right and bottom of what the bin may fill [px]
LEGEND = (1080, 240, 46, 470)  # left, top, width and height [px]
STRIP = (150, 890, 1620, 110)
PANEL = 1340
#: Where each line of the panel stands [px]: its label above, the figure, the range below.
ROWS = {"air": (224, 240, 298), "middle": (372, 386, 460), "refuge": (534, 548, 606)}
READS = 660


@dataclass(frozen=True, slots=True)
class Scale:
    """The shades that the legend names, from the first to the last."""

    first: int
    last: int

    @property
    def edges(self) -> tuple[int, ...]:
        """The temperatures at which one of them gives way to the next [degC]."""
        return palette.EDGES_C[self.first : self.last]

    def share(self, degrees_c: float) -> float:
        """How far up the legend a temperature stands: every shade is as high as any other."""
        ends = (self.edges[0] - 1.0, *self.edges, self.edges[-1] + 1.0)
        return float(np.interp(degrees_c, ends, np.linspace(0, 1, len(ends))))


def scale_of(values_c: Array) -> Scale:
    """A scale that holds all values, with one shade below freezing and two above at the least."""
    return Scale(
        min(palette.shade(float(values_c.min())), palette.DARK - 1),
        max(palette.shade(float(values_c.max())), palette.DARK + 1),
    )


@dataclass(frozen=True, slots=True)
class Box:
    """The bin in the picture [px]: inner walls, where the bedding begins, and its floor."""

    left: int
    right: int
    top: int
    bedding: int
    bottom: int


class Stage:
    """The still parts of the film for one month."""

    def __init__(self, month: Month) -> None:
        self.month, self.scale = month, scale_of(month.bedding_c)
        self.box = _box(month)
        hours = month.story.hours
        self.least, self.most = _ends(np.concatenate([hours.air_c, hours.middle_c]))

    def x(self, second: float) -> float:
        """Where a moment stands on the line of time."""
        time_utc = self.month.story.hours.time_utc
        share = (second - float(time_utc[0])) / float(time_utc[-1] - time_utc[0])
        return STRIP[0] + STRIP[2] * min(max(share, 0.0), 1.0)

    def y(self, degrees_c: float) -> float:
        """Where a temperature stands beside the line of time."""
        share = (degrees_c - self.least) / (self.most - self.least)
        return STRIP[1] + STRIP[3] * (1 - min(max(share, 0.0), 1.0))

    def data(self) -> dict[str, object]:
        """All that film.typ sets."""
        story, box = self.month.story, self.box
        by = (f"Kept by {story.keeper}",) if story.keeper else ()
        depth = 100 * self.month.cut.height_m
        litres = phrases.number(story.refuge.bedding_litres, 0)
        says = {
            "air": "Air",
            "middle": "Middle of the bedding",
            "refuge": f"Refuge, of about {litres}{phrases.NB}litres of bedding",
        }
        return {
            "accent": readable(story.own.accent, PAPER),
            "title": story.title,
            "month": f"{story.month:%B %Y}",
            "about": " · ".join((background.kind_of_bin(story), *by)),
            "heading": f"{story.title} · {story.month:%B %Y}",
            "explains": "The bin cut through, to scale. Colour: the middle value of each part.",
            "bin": {
                "x": box.left, "width": box.right - box.left, "top": box.top, "bedding": box.bedding,
                "bottom": box.bottom, "across": f"{phrases.length(story.bin.width)} wide inside",
                "deep": ["bedding", f"about {depth:.0f}{phrases.NB}cm", f"({depth / 2.54:.0f}{phrases.NB}in)"],
            },
            "legend": self._legend(),
            "strip": self._strip(),
            "panel": [{"x": PANEL, "y": row[0], "says": says[name]} for name, row in ROWS.items()],
            "end": [brief(one) for one in closing(story)],
        }  # fmt: skip

    def _legend(self) -> dict[str, object]:
        left, top, width, height = LEGEND
        shades = range(self.scale.first, self.scale.last + 1)
        each = height / len(shades)

        def at(degrees_c: float) -> float:
            return top + height * (1 - self.scale.share(degrees_c))

        low, high = self.month.story.refuge.band_c
        least, most = self.scale.edges[0], self.scale.edges[-1]
        return {
            "x": left, "top": top, "width": width, "height": height,
            "bands": [
                {"y": top + height - each * number, "height": each, "fill": palette.SHADES[shade],
                 "frost": shade < palette.DARK}
                for number, shade in enumerate(shades, 1)
            ],
            "ticks": [
                {"y": at(edge), "c": phrases.number(edge, 0), "f": phrases.number(to_fahrenheit(edge), 0)}
                for edge in self.scale.edges
            ],
            "tolerated": {
                "top": at(high), "bottom": at(low), "from": low >= least, "to": high <= most,
            } if low < most and high > least else None,
            "notes": [f"tolerated: {phrases.ends(low, high, '°C')}",
                      f"({phrases.ends(round(to_fahrenheit(low)), round(to_fahrenheit(high)), '°F')})",
                      *f"stripes: {palette.FREEZING}".split(", ")],
        }  # fmt: skip

    def _strip(self) -> dict[str, Any]:
        month, hours = self.month, self.month.story.hours
        first, last = (datetime.fromtimestamp(int(hours.time_utc[end]), month.zone) for end in (0, -1))
        midnights = [
            datetime(day.year, day.month, day.day, tzinfo=month.zone)
            for day in (first.date() + timedelta(days=n) for n in range((last.date() - first.date()).days + 1))
        ]
        step = max(1, round((self.most - self.least) / 3 / 5)) * 5
        ticks = range(math.ceil(self.least / step) * step, math.floor(self.most) + 1, step)
        lines = [{"x": STRIP[0], "right": False,
                  "says": "line: air · band: middle of the bedding, nine in ten · diamonds: readings"}]  # fmt: skip
        if month.predicted_from is not None:
            lines.append({"x": STRIP[0] + STRIP[2], "right": True, "says": "striped: predicted"})
        return {
            "x": STRIP[0], "top": STRIP[1], "width": STRIP[2], "height": STRIP[3], "lines": lines,
            "ticks": [
                {"y": self.y(tick), "c": f"{phrases.number(tick, 0)}{phrases.NB}°C",
                 "f": f"{phrases.number(to_fahrenheit(tick), 0)}{phrases.NB}°F"}
                for tick in ticks
            ],
            "days": [
                {"x": self.x(day.timestamp()), "says": f"{day.day} {day:%b}"}
                for day in midnights if (day.day - 1) % 5 == 0 and day.day < 30 and day >= first
            ],
        }  # fmt: skip


def _box(month: Month) -> Box:
    """The bin as large as its room allows, both ways to one scale."""
    cut, (left, top, right, bottom) = month.cut, ROOM
    height_m = max(middle_of(month.story.bin.height), cut.height_m)
    scale = min((right - left) / cut.width_m, (bottom - top) / height_m)
    width = 2 * round(scale * cut.width_m / 2)
    begin = 2 * round((left + right - width) / 4)
    return Box(
        begin, begin + width, bottom - round(scale * height_m), bottom - round(scale * cut.height_m), bottom
    )  # fmt: skip


def _ends(values_c: Array) -> tuple[float, float]:
    low, high = float(values_c.min()), float(values_c.max())
    return low - 1.0, max(high + 1.0, low + 9.0)
