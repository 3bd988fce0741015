"""The refuge: the part of the bedding inside a tolerated band that worms could have reached.

Worms move through bedding they tolerate. From hour to hour the refuge is what is tolerated and connected with
where they could have been; if nothing there is, they are caught where they were until it becomes so again.
"""

from __future__ import annotations

import numba as nb
import numpy as np


@nb.njit(cache=True)
def reach(cells, share, t, low_c, high_c, could_be, band):  # type: ignore[no-untyped-def]
    """Update where worms could be in one of the bands, row `band` of (bands, cells) bool, to this hour's field.

    share : (cells,) of the bedding's volume
    Returns the refuge as a share of the bedding, and its distance from the band [K]: 0 while any place they could be
    is tolerated, otherwise how far outside the band the best of them lies; then `could_be` stays as it was.
    """
    first, count = cells.first, could_be.shape[1]
    nearest, some = np.inf, False
    for c in range(count):
        if could_be[band, c]:
            here = t[first + np.uint64(c)]
            away = max(low_c - here, here - high_c)
            nearest = min(nearest, away)
            some = some or away <= 0.0
    if not some:
        return 0.0, nearest
    held, more = 0.0, False
    for c in range(count):
        if not low_c <= t[first + np.uint64(c)] <= high_c:
            could_be[band, c] = False
        elif could_be[band, c]:
            held += share[c]
        else:
            more = True  # tolerated, perhaps in reach
    while more:
        more = False
        for c in range(count):
            tolerated = low_c <= t[first + np.uint64(c)] <= high_c
            if tolerated and not could_be[band, c] and _touches(cells, could_be, band, c):
                could_be[band, c] = more = True
                held += share[c]
    return min(held, 1.0), 0.0


@nb.njit(cache=True)
def _touches(cells, could_be, band, c):  # type: ignore[no-untyped-def]
    """Whether a cell has a neighbour through a face where worms could be."""
    at, plane, row = cells.first + np.uint64(c), np.int64(cells.plane), np.int64(cells.row)
    last = could_be.shape[1]
    if cells.across_x[at] > 0 and could_be[band, c - plane]:
        return True
    if cells.across_y[at] > 0 and could_be[band, c - row]:
        return True
    if cells.across_z[at] > 0 and could_be[band, c - 1]:
        return True
    if c + plane < last and could_be[band, c + plane]:
        return True
    if c + row < last and cells.across_y[at + cells.row] > 0 and could_be[band, c + row]:
        return True
    return c + 1 < last and cells.across_z[at + np.uint64(1)] > 0 and could_be[band, c + 1]
