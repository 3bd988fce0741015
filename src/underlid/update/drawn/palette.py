"""The colours in which every form of the account shows how warm a part of the bedding is, and how it shows frost.

One temperature has one colour on the page, in print and in the film. Lightness rises all the way from cold to warm and
leaps at freezing; blue against yellow is what the common kinds of colour blindness leave, as in cividis (Nunez,
Anderton and Renslow 2018, recalled). Parts below freezing are striped besides.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from underlid.quantity.units import to_fahrenheit
from underlid.update.facts import Array
from underlid.update.prose import phrases

#: Where one shade gives way to the next [degC]; finer about freezing, where a degree matters most.
EDGES_C = (-5, -3, -2, -1, 0, 1, 2, 3, 4, 6, 8, 11, 15, 20, 25)
#: The shade of each whole degree, from the one below the first edge.
_SHADE_OF = np.searchsorted(EDGES_C, np.arange(EDGES_C[0] - 1, EDGES_C[-1] + 1), side="right").astype(np.uint8)
INK, WHITE = "#22262a", "#ffffff"
FREEZING = "below freezing, where water may be ice"
#: Ends of the colours below freezing and above, our own: numbers can be read on all of them, white on those below.
BELOW, ABOVE = ("#10286b", "#5a6fa3"), ("#84a1bd", "#ffe25c")
#: Stripes for frost, dark on white, so that they show on any colour: an SVG pattern of the name "frost".
FROST = (
    '<pattern id="frost" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    f'<path d="M0 0V8" stroke="{WHITE}" stroke-width="7"/><path d="M0 0V8" stroke="{INK}" stroke-width="3"/></pattern>'
)


def shade(degrees_c: float) -> int:
    """Which of the shades a temperature has."""
    return int(np.searchsorted(EDGES_C, degrees_c, side="right"))


def shades(values_c: Array) -> NDArray[np.uint8]:
    """The shades of many temperatures: since they give way at whole degrees, those of the degree below each."""
    degrees = np.floor(values_c).astype(np.int32) - EDGES_C[0] + 1
    return _SHADE_OF[np.clip(degrees, 0, len(_SHADE_OF) - 1, out=degrees)]


def ink_on(number: int) -> str:
    """The colour of words on a shade."""
    return WHITE if number < DARK else INK


def means(number: int) -> str:
    """The temperatures that a shade stands for, in both units."""
    if number == 0:
        return f"below {phrases.warmth(EDGES_C[0])}"
    if number == len(EDGES_C):
        return f"from {phrases.warmth(EDGES_C[-1])}"
    low, high = EDGES_C[number - 1 : number + 1]
    in_f = phrases.ends(round(to_fahrenheit(low)), round(to_fahrenheit(high)), "°F")
    return f"{phrases.ends(low, high, '°C')} ({in_f})"


def _between(ends: tuple[str, str], count: int) -> Iterator[str]:
    """Colours in even steps on a straight line in Oklab (Ottosson 2020, recalled)."""
    first, last = (_oklab(colour) for colour in ends)
    return (_hex(first + (last - first) * share) for share in np.linspace(0, 1, count))


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


#: So many shades are below freezing.
DARK = EDGES_C.index(0) + 1
#: The shades, coldest first: one below each edge, and one above the last.
SHADES = (*_between(BELOW, DARK), *_between(ABOVE, len(EDGES_C) + 1 - DARK))
