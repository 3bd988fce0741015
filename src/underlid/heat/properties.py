"""Thermal properties of bedding from its dry matter and water, with freezing.

Freezing concentrates what is dissolved in the water still liquid, so bedding has no single freezing
point: below its first freezing point Tf the liquid share is Tf/T (ideal depression, 1.86 K per mol of
solute per kg; CRC, recalled). The enthalpy that follows has a closed inverse.
"""

from __future__ import annotations

import math

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

WATER_J_M3K = 4.18e6  # CRC, recalled
WATER_FUSION_J_KG = 334e3  # CRC, recalled
SOLIDS_KG_M3 = 1300.0  # organic solids; de Vries 1963, recalled
SOLIDS_J_KGK = 1400.0  # organic solids; drained peat 1202 at 0 degC (Appl. Sci. 2022, 12:1579), minerals less
FIRST_FREEZING_C = -0.3  # bedding water freezes over about -0.1 to -1 degC (recalled)


def water_fraction(dry_kg_m3: ArrayLike, moisture: ArrayLike) -> NDArray[np.float64]:
    """Volume of water per volume of bedding, from dry bulk density [kg/m3] and moisture [fraction of wet mass].

    Never more than the pores hold: bedding said to be wetter counts as saturated.
    """
    moisture = np.asarray(moisture, float)
    if np.any((moisture < 0) | (moisture >= 1)):
        raise ValueError("Moisture is a fraction of the wet mass: give a value from 0 to below 1.")
    dry = np.asarray(dry_kg_m3, float)
    return np.asarray(np.minimum(dry * moisture / (1 - moisture) / 1000.0, 1.0 - dry / SOLIDS_KG_M3))


def heat_capacity(dry_kg_m3: ArrayLike, water: ArrayLike) -> NDArray[np.float64]:
    """Volumetric heat capacity of unfrozen bedding [J/m3K]: solids plus water."""
    return np.asarray(np.asarray(dry_kg_m3, float) * SOLIDS_J_KGK + np.asarray(water, float) * WATER_J_M3K)


def conductivity(water: ArrayLike) -> NDArray[np.float64]:
    """Conductivity of unfrozen bedding [W/mK], linear in its water fraction.

    Between dry peat 0.06 and saturated peat 0.5 at 0.8 water (Farouki 1981, recalled); composts and manures
    measure 0.12-0.81 (Ahn, Sauer, Richard & Glanville 2009, who found the form linear in moisture).
    """
    return np.asarray(0.06 + 0.55 * np.asarray(water, float))


def latent_heat(water: ArrayLike) -> NDArray[np.float64]:
    """Heat given off when all the bedding's water freezes [J/m3]."""
    return np.asarray(np.asarray(water, float) * 1000.0 * WATER_FUSION_J_KG)


@nb.njit(cache=True, inline="always")
def enthalpy(temperature_c: float, capacity: float, latent: float, freezing_c: float) -> float:
    """Enthalpy [J/m3] above unfrozen bedding at 0 degC."""
    if temperature_c >= freezing_c:
        return capacity * temperature_c
    return capacity * temperature_c - latent * (1.0 - freezing_c / temperature_c)


@nb.njit(cache=True, inline="always")
def temperature(enthalpy_j_m3: float, capacity: float, latent: float, freezing_c: float) -> float:
    """Temperature [degC] at an enthalpy: the negative root of C T^2 - (H + L) T + L Tf = 0 below freezing."""
    if enthalpy_j_m3 >= capacity * freezing_c:
        return enthalpy_j_m3 / capacity
    b = enthalpy_j_m3 + latent
    root = math.sqrt(b * b - 4.0 * capacity * latent * freezing_c)
    # The two forms are equal; each avoids the cancellation that the other suffers.
    if b <= 0.0:
        return (b - root) / (2.0 * capacity)
    return 2.0 * latent * freezing_c / (b + root)


@nb.njit(cache=True, inline="always")
def liquid_share(temperature_c: float, freezing_c: float = FIRST_FREEZING_C) -> float:
    """Share of the bedding's water still liquid, 0 to 1."""
    return 1.0 if temperature_c >= freezing_c else freezing_c / temperature_c
