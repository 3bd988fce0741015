"""How heat leaves the bedding: outside films, walls, lid with headspace, and base.

Film values follow ISO 6946 (recalled): convection 4 + 4 v W/m2K with wind speed v, radiation about
4.5 W/m2K; an unventilated air layer with upward flow resists 0.16 m2K/W.
"""

from __future__ import annotations

from dataclasses import dataclass

from underlid.bedding.vessel import Vessel

RADIATIVE_FILM = 4.5  # W/m2K
HEADSPACE_RESISTANCE = 0.16  # m2K/W, air layer 25-300 mm, heat flowing up; ISO 6946, recalled

#: Share of the measured wind that reaches the bin: our judgement, the fit corrects it.
WIND_SHARE = {"open shelter": 0.2, "outdoors": 0.6, "unheated shed": 0.02, "indoors": 0.0}

#: Base path beyond the bin's floor [m2K/W] and the time over which the ground below follows the air [h].
#: The base path is unknown by about a factor of three, so it is always fitted; these are starting values
#: (our judgement; the film under feet from ISO 6946, recalled).
BASE_PATH = {"slab": (0.35, 120.0), "soil": (0.45, 720.0), "feet": (0.15, 0.0)}


@dataclass(frozen=True, slots=True)
class Films:
    """Surface coefficients from bedding boundary to outside [W/m2K], and the ground's memory [h]."""

    side: float
    top: float
    base: float
    ground_memory_h: float


def films(vessel: Vessel, wind_m_s: float = 0.0) -> Films:
    """Nominal coefficients of a bin in a mean wind [m/s] measured in the open."""
    if not 0.0 <= wind_m_s < 100.0:
        raise ValueError(f"A mean wind of {wind_m_s:g} m/s cannot be; give metres per second, 0 or more.")
    outside = RADIATIVE_FILM + 4.0 + 4.0 * wind_m_s * WIND_SHARE[vessel.siting]
    skin = vessel.wall_resistance + 1.0 / outside
    headspace = HEADSPACE_RESISTANCE if vessel.height_m - vessel.bedding_depth_m > 0.005 else 0.0
    path, memory_h = BASE_PATH[vessel.base]
    return Films(
        side=1.0 / skin,
        top=1.0 / (skin + headspace),
        base=1.0 / (vessel.wall_resistance + path),
        ground_memory_h=memory_h,
    )
