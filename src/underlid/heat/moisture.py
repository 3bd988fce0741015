"""The bedding's water, hour by hour: what evaporates, what food and keeper bring, what drains away."""

from __future__ import annotations

import math

import numba as nb
import numpy as np

VAPORISATION_J_KG = 2.5e6  # near 0 degC: 2501 kJ/kg less 2.36 for each degC (recalled)
GAS_J_KGK = 461.5  # of water vapour (CRC, recalled)

#: How fast vapour leaves through headspace, lid and holes [m/s]: diffusion, 2.2e-5 m2/s (recalled), through some
#: seven centimetres of still air. Unknown by a factor of about three: our judgement.
VAPOUR_M_S = 3e-4
MOST_W_M2 = 150.0  # heat that evaporation can take: a wet surface in dry wind loses no more (our judgement)
DRY_BELOW = 0.4  # moisture below which the surface gives off less and less: our judgement

#: Water in what is fed, share of its mass; it reaches the bedding as the food breaks down (kitchen scraps hold
#: 0.69-0.87, NRAES-54 appendix A, recalled).
FOOD_WATER = 0.8
HOLDS = 0.8  # share of the pores that bedding holds against drainage: our judgement
DRAIN_S = 86400.0  # time in which most of what it cannot hold drains away: our judgement


@nb.njit(cache=True)
def vapour_kg_m3(temperature_c):  # type: ignore[no-untyped-def]
    """Density of saturated vapour over water [kg/m3]; Magnus form with the coefficients of the WMO (recalled)."""
    pressure_pa = 611.2 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))
    return pressure_pa / (GAS_J_KGK * (temperature_c + 273.15))


@nb.njit(cache=True)
def evaporation_kg_s(surface_c, outside_kg_m3, area_m2, drying, moisture):  # type: ignore[no-untyped-def]
    """Water lost from the surface [kg/s], negative where damp air condenses on it.

    outside_kg_m3 : vapour in the air outside; drying : factor on VAPOUR_M_S; moisture : fraction of wet mass
    """
    ready = min(1.0, moisture / DRY_BELOW)
    lost = VAPOUR_M_S * drying * (ready * vapour_kg_m3(surface_c) - outside_kg_m3)
    most = MOST_W_M2 / VAPORISATION_J_KG
    return area_m2 * min(max(lost, -most), most)


@nb.njit(cache=True)
def drained(water, holds, seconds):  # type: ignore[no-untyped-def]
    """Water that drains away in some seconds, from the water held and what can be held, in any unit."""
    return max(0.0, water - holds) * (1.0 - math.exp(-seconds / DRAIN_S))
