"""The three points by which a range is told: 5, 50 and 95 % of what draws say."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

PERCENT = (5.0, 50.0, 95.0)


def points(draws: ArrayLike, axis: int = 0) -> NDArray[np.float64]:
    """The points along an axis of equally likely draws, first in the answer: (3, ...).

    They are taken so that one draw more lies beyond each end with a chance of one in twenty however few draws there
    are (Weibull's plotting positions; Hyndman & Fan 1996, type 6): few draws make a range rougher, not narrower.
    """
    values = np.asarray(draws, dtype=np.float64)
    return np.asarray(np.percentile(values, PERCENT, axis=axis, method="weibull"))


def three(draws: ArrayLike) -> tuple[float, float, float]:
    """The points of draws of one number."""
    low, middle, high = points(draws)
    return float(low), float(middle), float(high)
