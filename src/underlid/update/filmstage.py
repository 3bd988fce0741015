"""Where everything stands in the film: the bin to scale, the colours of its temperatures, and the line of time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlid.fit.evidence import middle_of
from underlid.quantity.units import to_fahrenheit
from underlid.update import background, phrases
from underlid.update.facts import Array
from underlid.update.frames import Month, about, closing
from underlid.update.own import readable

SIZE = (1920, 1080)
PAPER, INK, SOFT = "#fbfaf7", "#22262a", "#565d64"  # as in shared.typ
COLD, WARM = "#10286b", "#ffe68a"
BANDS = 20  # at most so many colours: more cannot be told apart
ROOM = (250, 190, 960, 715)  # left, top, right and bottom of what the bin may fill [px]
LEGEND = (1080, 240, 46, 470)  # left, top, width and height [px]
STRIP = (150, 890, 1620, 110)
PANEL = 1340
#: Where each line of the panel stands [px]: its label above, the figure, the range below.
ROWS = {"air": (224, 240, 298), "middle": (372, 386, 460), "refuge": (534, 548, 606)}
READS = 660


@dataclass(frozen=True, slots=True)
class Scale:
    """Colours of temperatures in bands of `step` K from `low` to `high` [degC]; freezing is the edge of a band.

    colours : one a band, coldest first
    """

    low: float
    high: float
    step: float
    colours: tuple[str, ...]

    def band(self, values_c: Array) -> NDArray[np.uint8]:
        """The number of the band that each temperature lies in."""
        found = np.floor((values_c - self.low) / self.step)
        return np.clip(found, 0, len(self.colours) - 1).astype(np.uint8)


def scale_of(values_c: Array) -> Scale:
    """A scale that holds all values, from well below to 10 degC at the least, so that ice is always dark."""
    high = max(float(np.ceil(values_c.max())), 10.0)
    low = min(float(np.floor(values_c.min())), high - 12.0)
    step = next(step for step in (1.0, 2.0, 5.0, 10.0) if step == 10.0 or (high - low) / step <= BANDS)
    low, high = step * math.floor(low / step), step * math.ceil(high / step)
    return Scale(low, high, step, shades(round((high - low) / step)))


def shades(count: int) -> tuple[str, ...]:
    """Colours in even steps from dark blue to pale yellow, on a straight line in Oklab (Ottosson 2020, recalled).

    Lightness rises all the way, and blue against yellow is what the common kinds of colour blindness leave, as in
    cividis (Nunez, Anderton and Renslow 2018, recalled); the ends are our own.
    """
    ends = [_oklab(colour) for colour in (COLD, WARM)]
    return tuple(_hex(ends[0] + (ends[1] - ends[0]) * share) for share in np.linspace(0, 1, count))


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
            "end": [one.full for one in (*about(story, "month")[:1], *closing(story))],
        }  # fmt: skip

    def _legend(self) -> dict[str, object]:
        left, top, width, height = LEGEND
        scale, bands = self.scale, len(self.scale.colours)
        each = height / bands

        def at(degrees_c: float) -> float:
            share = (degrees_c - scale.low) / (scale.high - scale.low)
            return top + height * (1 - min(max(share, 0.0), 1.0))

        every = next(n for n in (1, 2, 3, 4) if n * each >= 28)
        edges = [scale.low + scale.step * n for n in range(bands + 1)]
        low, high = self.month.story.refuge.band_c
        seen = low < scale.high and high > scale.low
        return {
            "x": left, "top": top, "width": width, "height": height,
            "bands": [
                {"y": at(edge + scale.step), "height": each, "fill": colour, "ice": edge < 0}
                for edge, colour in zip(edges, scale.colours, strict=False)
            ],
            "ticks": [
                {"y": at(edge), "c": phrases.number(edge, 0), "f": phrases.number(to_fahrenheit(edge), 0)}
                for edge in edges if round(edge / scale.step) % every == 0
            ],
            "tolerated": {
                "top": at(high), "bottom": at(low), "from": low >= scale.low, "to": high <= scale.high,
            } if seen else None,
            "notes": [f"tolerated: {phrases.ends(low, high, '°C')}",
                      f"({phrases.ends(round(to_fahrenheit(low)), round(to_fahrenheit(high)), '°F')})",
                      "stripes: below freezing"],
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


# Matrices of Oklab, from linear sRGB (Ottosson 2020, recalled).
_TO_CONES = np.array(
    [[0.4122214708, 0.5363325363, 0.0514459929], [0.2119034982, 0.6806995451, 0.1073969566],
     [0.0883024619, 0.2817188376, 0.6299787005]]
)  # fmt: skip
_TO_LAB = np.array(
    [[0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099],
     [0.0259040371, 0.7827717662, -0.8086757660]]
)  # fmt: skip


def _oklab(colour: str) -> Array:
    share = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.asarray(_TO_LAB @ np.cbrt(_TO_CONES @ linear))


def _hex(oklab: Array) -> str:
    linear = np.clip(np.linalg.solve(_TO_CONES, np.linalg.solve(_TO_LAB, oklab) ** 3), 0, 1)
    share = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * part):02x}" for part in share)
