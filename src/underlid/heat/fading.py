"""Series that remember: what the ground makes of the air, how a forecast's error or a spot's straying goes on."""

from __future__ import annotations

import numba as nb
import numpy as np


@nb.njit(cache=True)
def fading(kicks, keep):  # type: ignore[no-untyped-def]
    """Sums of what came before, fading by `keep` (0 to 1) from each hour to the next.

    kicks : (series, hours), what each hour adds; returns the sums, (series, hours), in the same unit: an
    autoregressive process of first order, begun at nothing before the first hour.
    """
    sums = np.empty_like(kicks)
    for s in range(kicks.shape[0]):
        kept = 0.0
        for h in range(kicks.shape[1]):
            kept = keep * kept + kicks[s, h]
            sums[s, h] = kept
    return sums
