"""How heat leaves the bedding: outside films in the wind, walls, headspace and lid, base, sun and sky.

Film values follow ISO 6946 (recalled): convection 4 + 4 v W/m2K with wind speed v, radiation about 4.5 W/m2K,
inside films 0.13 m2K/W for a horizontal and 0.10 m2K/W for an upward flow of heat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.vessel import Vessel

Array = NDArray[np.float64]

RADIATIVE_FILM = 4.5  # W/m2K
STILL_AIR_FILM = 4.0  # W/m2K, and as much more for each m/s of wind
INSIDE_SIDE, INSIDE_UP = 0.13, 0.10  # m2K/W
LEAST_HEADSPACE_M = 0.005  # below this the lid lies on the bedding

#: Share of the measured wind that reaches the bin: our judgement, the fit corrects it.
WIND_SHARE = {"open shelter": 0.2, "outdoors": 0.6, "unheated shed": 0.02, "indoors": 0.0}

#: Base path beyond the bin's floor [m2K/W] and the time over which the ground below follows the air [h].
#: The base path is unknown by about a factor of three, so it is always fitted; these are starting values
#: (our judgement; the film under feet from ISO 6946, recalled).
BASE_PATH = {"slab": (0.35, 120.0), "soil": (0.45, 720.0), "feet": (0.15, 0.0)}

#: Shares of sun and sky that reach lid and sides. Only a bin with nothing above it sees them: a roof cuts both.
EXPOSURE = {"outdoors": (1.0, 0.25)}  # our judgement: upright faces half of the sky, half of them shaded
ABSORBED = 0.7  # of the sun, a dark lid: our judgement
SKY_LOSS_W_M2 = 63.0  # a horizontal face to a clear sky (ASHRAE sol-air temperature, recalled)
CLEAR_SKY = (
    0.5  # share of that in the mean over clear and clouded hours, which the weather does not tell: our judgement
)


@dataclass(frozen=True, slots=True)
class Films:
    """Coefficients from the bedding's faces to outside, hour by hour.

    side, top : (hours,) [W/m2K]; base : [W/m2K]; ground_memory_h : hours over which the ground follows the air
    side_gain_k, top_gain_k : (hours,) how much warmer than the air sun and sky make it beyond those faces [K]
    """

    side: Array
    top: Array
    base: float
    ground_memory_h: float
    side_gain_k: Array
    top_gain_k: Array


def films(vessel: Vessel, wind_m_s: ArrayLike = 0.0, radiation_w_m2: ArrayLike | None = None) -> Films:
    """Nominal coefficients of a bin in wind measured in the open [m/s], a mean or hour by hour.

    radiation_w_m2 : global horizontal radiation [W/m2], the mean of the hour before, or None to leave out sun and sky
    """
    wind = np.atleast_1d(np.asarray(wind_m_s, float))
    if not ((wind >= 0.0) & (wind < 100.0)).all():
        wrong = wind[~((wind >= 0.0) & (wind < 100.0))][0]
        raise ValueError(f"A wind of {wrong:g} m/s cannot be; give metres per second, 0 or more.")
    outside = RADIATIVE_FILM + STILL_AIR_FILM * (1.0 + wind * WIND_SHARE[vessel.siting])
    wall = vessel.resistance("sides") + 1.0 / outside
    lid = vessel.resistance("lid") + 1.0 / outside
    headspace_m = vessel.height_m - vessel.bedding_depth_m
    if headspace_m > LEAST_HEADSPACE_M:
        # The air above the bedding loses heat through the lid and through the walls that stand above the bedding.
        bare = 2 * (vessel.length_m + vessel.width_m) * headspace_m / (vessel.length_m * vessel.width_m)
        top = 1.0 / (INSIDE_UP + 1.0 / (1.0 / (INSIDE_UP + lid) + bare / (INSIDE_SIDE + wall)))
    else:
        top = 1.0 / lid
    path, memory_h = BASE_PATH[vessel.base]
    on_top, on_sides = EXPOSURE.get(vessel.siting, (0.0, 0.0))
    sun = np.zeros(1) if radiation_w_m2 is None else ABSORBED * np.asarray(radiation_w_m2, float)
    sky = 0.0 if radiation_w_m2 is None else CLEAR_SKY * SKY_LOSS_W_M2
    return Films(
        side=1.0 / wall,
        top=top,
        base=1.0 / (vessel.resistance("base") + path),
        ground_memory_h=memory_h,
        side_gain_k=on_sides * sun / outside,  # upright faces: the sky's loss about cancels (ASHRAE, recalled)
        top_gain_k=on_top * (sun - sky) / outside,
    )
