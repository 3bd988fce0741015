"""Columns of bedding, one cell wide and cooled from above or below only: the field's one-dimensional cases."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from underlid.heat import field
from underlid.heat.grid import Grid, quadratic_weights

Array = NDArray[np.float64]

HOUR_S = 3600.0
INSULATED, HELD = 0.0, 1e6  # a film that lets nothing through; one so large that it holds the surface itself


def column(edges_m: Array) -> Grid:
    """One cell along and across, borders from the base up [m]; give its sides an insulated film."""
    one = np.array([0.0, 0.5])
    return Grid((1.0, 1.0, float(edges_m[-1])), (one, one, edges_m))


def deep_column(cell_m: float, even_to_m: float, depth_m: float, growth: float = 1.15) -> Grid:
    """Even cells down from the surface as far as told, then growing cells to the depth: half a space, nearly."""
    depths = list(np.arange(0.0, even_to_m + cell_m / 2, cell_m))
    while depths[-1] < depth_m:
        cell_m *= growth
        depths.append(depths[-1] + cell_m)
    below = np.array(depths)
    return column(below[-1] - below[::-1])


def at_depth(grid: Grid, depth_m: float) -> Array:
    """Weights (cells,) that read a column so far below its surface."""
    return quadratic_weights(grid.nodes[2], grid.size_m[2] - depth_m)


def never_freezing(conductivity: float, capacity: float) -> field.Medium:
    """A medium of constant properties."""
    return field.Medium(capacity, capacity, conductivity, conductivity, 0.0, -300.0)


def still(hours: float, outside_c: float, seconds: float) -> Array:
    """Constant surroundings, in stretches of so many seconds."""
    return np.full((round(hours * HOUR_S / seconds), 3), float(outside_c))
