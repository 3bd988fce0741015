"""A vertical cut across the middle of a fitted bin, hour after hour: how warm each part of it is, with its range.

The bin is taken as even about its middle, so half of the cut is computed and the other half is its mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from underlid.fit.fate import fate_of
from underlid.fit.study import Study
from underlid.heat.grid import Probe
from underlid.heat.model import simulate
from underlid.quantity.points import points

Array = NDArray[np.float64]

ROWS, COLUMNS = 6, 9  # an odd number of columns: one stands in the middle
EVERY_H = 6


@dataclass(frozen=True, slots=True)
class Cut:
    """Temperatures in the middles of the cells of a cut from long wall to long wall.

    hour : (steps,) hours of the study's grid; time_utc : (steps,) the same as UTC seconds
    wall_m : (columns,) from the nearer wall, left to right; depth_m : (rows,) below the surface, top row first
    bedding_c : (steps, rows, columns, 3), 5, 50 and 95 % [degC]; width_m, height_m : of the bedding cut through
    """

    hour: NDArray[np.int64]
    time_utc: NDArray[np.int64]
    wall_m: Array
    depth_m: Array
    bedding_c: Array
    width_m: float
    height_m: float


def cut(study: Study, rows: int = ROWS, columns: int = COLUMNS, every_h: int = EVERY_H) -> Cut:
    """The cut for every draw of the posterior, through the whole time of the study; `now` is one of its hours."""
    case, vessel = study.case, study.case.situation.vessel
    half = (columns + 1) // 2
    wall_m = (np.arange(half) + 0.5) * vessel.width_m / columns
    depth_m = (np.arange(rows) + 0.5) * vessel.bedding_depth_m / rows
    lots = fate_of(case, study.posterior)
    bedding = simulate(
        vessel, case.prior.thermal(study.posterior.draws), replace(case.drive, air_c=lots.air_c),
        [Probe(float(wall), float(deep)) for deep in depth_m for wall in wall_m],
    )  # fmt: skip
    hour = np.arange(case.now_index % every_h, len(case.time_utc), every_h)
    # Each part strays from the model by its own slow walk; for the range of one part alone, any such walk will do.
    drawn = bedding.probes_c[:, hour] + lots.spots["middle"][:, hour, None]
    left = np.moveaxis(points(drawn), 0, -1).reshape(len(hour), rows, half, 3)
    right = left[:, :, columns // 2 - 1 :: -1] if columns > 1 else left[:, :, :0]
    return Cut(
        hour, case.time_utc[hour],
        np.concatenate([wall_m, wall_m[columns // 2 - 1 :: -1] if columns > 1 else wall_m[:0]]), depth_m,
        np.concatenate([left, right], axis=2), vessel.width_m, vessel.bedding_depth_m,
    )  # fmt: skip
