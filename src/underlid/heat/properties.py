"""Thermal properties of bedding from its dry matter and water, with freezing.

Freezing concentrates what is dissolved in the water still liquid, so bedding has no single freezing
point: below its first freezing point Tf the liquid share is Tf/T (ideal depression, 1.86 K per mol of
solute per kg; CRC, recalled). With water, ice and solids each at its own heat capacity the enthalpy is then

    H(T) = Cf T - L + ((Cu - Cf) T + L) Tf / T        below Tf, and Cu T above,

counted from unfrozen bedding at 0 degC, with Cu and Cf the heat capacities thawed and wholly frozen and L the heat
of fusion at 0 degC. Its inverse is the root of a quadratic.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

WATER_J_M3K = 4.18e6  # CRC, recalled
ICE_J_KGK = 2100.0  # CRC, recalled
WATER_FUSION_J_KG = 334e3  # CRC, recalled
WATER_KG_M3 = 1000.0
SOLIDS_KG_M3 = 1300.0  # organic solids; de Vries 1963, recalled
SOLIDS_J_KGK = 1400.0  # organic solids; drained peat 1202 at 0 degC (Appl. Sci. 2022, 12:1579), minerals less
FIRST_FREEZING_C = -0.3  # bedding water freezes over about -0.1 to -1 degC (recalled)

#: Conductivity [W/mK], linear in the water fraction: thawed, between dry peat 0.06 and saturated peat 0.5 at 0.8
#: water (Farouki 1981, recalled); composts and manures measure 0.12-0.81 (Ahn, Sauer, Richard & Glanville 2009, who
#: found the form linear in moisture). Frozen, saturated peat reaches 1.8 (Farouki 1981, recalled), while freezing did
#: not raise that of natural pine litter (Pennypacker et al. 1975): loose bedding is put between the two.
DRY_W_MK, THAWED_W_MK, FROZEN_W_MK = 0.06, 0.55, 1.1


def water_fraction(dry_kg_m3: ArrayLike, moisture: ArrayLike) -> Array:
    """Volume of water per volume of bedding, from dry bulk density [kg/m3] and moisture [fraction of wet mass].

    Never more than the pores hold: bedding said to be wetter counts as saturated.
    """
    moisture = np.asarray(moisture, float)
    if np.any((moisture < 0) | (moisture >= 1)):
        raise ValueError("Moisture is a fraction of the wet mass: give a value from 0 to below 1.")
    dry = np.asarray(dry_kg_m3, float)
    return np.asarray(np.minimum(dry * moisture / (1 - moisture) / WATER_KG_M3, pores(dry)))


@nb.njit(cache=True)
def pores(dry_kg_m3):  # type: ignore[no-untyped-def]
    """Volume not taken by solids, per volume of bedding."""
    return 1.0 - dry_kg_m3 / SOLIDS_KG_M3


@nb.njit(cache=True)
def heat_capacity(dry_kg_m3, water):  # type: ignore[no-untyped-def]
    """Volumetric heat capacity of thawed bedding [J/m3K]: solids plus water."""
    return dry_kg_m3 * SOLIDS_J_KGK + water * WATER_J_M3K


@nb.njit(cache=True)
def frozen_capacity(dry_kg_m3, water):  # type: ignore[no-untyped-def]
    """Volumetric heat capacity of bedding whose water is all ice [J/m3K]."""
    return dry_kg_m3 * SOLIDS_J_KGK + water * WATER_KG_M3 * ICE_J_KGK


@nb.njit(cache=True)
def conductivity(water):  # type: ignore[no-untyped-def]
    """Conductivity of thawed bedding [W/mK]."""
    return DRY_W_MK + THAWED_W_MK * water


@nb.njit(cache=True)
def frozen_conductivity(water):  # type: ignore[no-untyped-def]
    """Conductivity of bedding whose water is all ice [W/mK]."""
    return DRY_W_MK + FROZEN_W_MK * water


@nb.njit(cache=True)
def latent_heat(water):  # type: ignore[no-untyped-def]
    """Heat given off at 0 degC when all the bedding's water freezes [J/m3]."""
    return water * WATER_KG_M3 * WATER_FUSION_J_KG


@nb.njit(cache=True, inline="always")
def enthalpy(temperature_c, thawed, frozen, latent, freezing_c):  # type: ignore[no-untyped-def]
    """Enthalpy [J/m3] above thawed bedding at 0 degC; `thawed`, `frozen` heat capacities [J/m3K]."""
    if temperature_c >= freezing_c:
        return thawed * temperature_c
    liquid = freezing_c / temperature_c
    return frozen * temperature_c - latent + ((thawed - frozen) * temperature_c + latent) * liquid


@nb.njit(cache=True, inline="always")
def temperature(enthalpy_j_m3, thawed, frozen, latent, freezing_c):  # type: ignore[no-untyped-def]
    """Temperature [degC] at an enthalpy; below freezing the lower root of Cf T^2 - b T + L Tf = 0."""
    b = enthalpy_j_m3 + latent - (thawed - frozen) * freezing_c
    root = math.sqrt(max(b * b - 4.0 * frozen * latent * freezing_c, 0.0))
    # Of two equal forms each avoids the cancellation that the other suffers; without branches, for the vector units.
    cold = (b - root) / (2.0 * frozen) if b <= 0.0 else 2.0 * latent * freezing_c / (b + root)
    return enthalpy_j_m3 / thawed if enthalpy_j_m3 >= thawed * freezing_c else cold


@nb.njit(cache=True, inline="always")
def liquid_share(temperature_c, freezing_c):  # type: ignore[no-untyped-def]
    """Share of the bedding's water still liquid, 0 to 1."""
    return 1.0 if temperature_c >= freezing_c else freezing_c / temperature_c
