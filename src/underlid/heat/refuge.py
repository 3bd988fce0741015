"""The refuge: the part of the bedding inside a tolerated band that worms could have reached.

Worms move through bedding they tolerate. From hour to hour the refuge is what is tolerated and connected with
where they could have been; if nothing there is, they are caught where they were until it becomes so again.
"""

from __future__ import annotations

import numba as nb
import numpy as np


@nb.njit(cache=True)
def reach(cells, t, low_c, high_c, could_be):  # type: ignore[no-untyped-def]
    """Update where worms could be, (cells,) bool, to this hour's field; returns the distance from the band [K].

    That distance is 0 while any of the places they could be is tolerated; otherwise it is how far outside the
    band the best of them lies, and `could_be` stays as it was.
    """
    first, count = cells.first, could_be.shape[0]
    everywhere, nearest, some = True, np.inf, False
    for c in range(count):
        here = t[first + np.uint64(c)]
        away = max(low_c - here, here - high_c)
        if away > 0.0:
            everywhere = False
        elif could_be[c]:
            some = True
        if could_be[c]:
            nearest = min(nearest, away)
    if everywhere:
        could_be[:] = True
        return 0.0
    if not some:
        return max(nearest, 0.0)
    for c in range(count):
        here = t[first + np.uint64(c)]
        could_be[c] = could_be[c] and low_c <= here <= high_c
    grown = True
    while grown:
        grown = False
        for c in range(count):
            here = t[first + np.uint64(c)]
            if not could_be[c] and low_c <= here <= high_c and _touches(cells, could_be, c):
                could_be[c] = grown = True
    return 0.0


@nb.njit(cache=True)
def _touches(cells, could_be, c):  # type: ignore[no-untyped-def]
    """Whether a cell has a neighbour through a face where worms could be."""
    at, plane, row = cells.first + np.uint64(c), np.int64(cells.plane), np.int64(cells.row)
    last = could_be.shape[0]
    if cells.across_x[at] > 0 and could_be[c - plane]:
        return True
    if cells.across_y[at] > 0 and could_be[c - row]:
        return True
    if cells.across_z[at] > 0 and could_be[c - 1]:
        return True
    if c + plane < last and could_be[c + plane]:
        return True
    if c + row < last and cells.across_y[at + cells.row] > 0 and could_be[c + row]:
        return True
    return c + 1 < last and cells.across_z[at + np.uint64(1)] > 0 and could_be[c + 1]
