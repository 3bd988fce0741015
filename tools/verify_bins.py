"""Invented bins for docs/verification.md: the grid of a fit in real weather, heat kept, and the reduced model."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from verify_exact import HOUR_S, ice_share

from underlid.bedding.vessel import Vessel
from underlid.demo import winter as demo
from underlid.heat import field, properties, reduced
from underlid.heat.films import films
from underlid.heat.grid import Grid
from underlid.heat.model import GRID, REFERENCE_WIND_M_S, Drive, Thermal, simulate, standard_probes
from underlid.weather.series import lay_over

Array = NDArray[np.float64]

DRY_KG_M3, MOISTURE = 210.0, 0.65
BINS = {
    12: Vessel(0.30, 0.25, 0.24, 0.16),
    30: Vessel(0.45, 0.32, 0.30, 0.21),
    60: Vessel(0.60, 0.40, 0.35, 0.25),
}  # of so many litres of bedding
FINER, FINEST = (8, 8, 12), (16, 16, 24)


def bin_medium() -> field.Medium:
    """Moist bedding, as a fit would take it."""
    water = float(properties.water_fraction(DRY_KG_M3, MOISTURE))
    return field.Medium(*field.medium_of(DRY_KG_M3, water))


def size_m(vessel: Vessel) -> tuple[float, float, float]:
    """Length, width and depth of the bedding [m]."""
    return vessel.length_m, vessel.width_m, vessel.bedding_depth_m


@dataclass(frozen=True, slots=True)
class Winter:
    """The demo's winter in one bin on one grid.

    probes_c : (hours, 3) at middle, edge and surface [degC]; ice : (hours,) share of the bedding's water; local : the
    clock of the place; air_c : (hours,)
    """

    probes_c: Array
    ice: Array
    local: NDArray[np.datetime64]
    air_c: Array


@cache
def winter(litres: int, cells: tuple[int, int, int]) -> Winter:
    """The full field through the demo's winter, its properties kept as they begin, with a little steady heat."""
    vessel, medium = BINS[litres], bin_medium()
    laid = lay_over(demo.weather(), demo.START, demo.WINTER_ENDS)
    assert laid.wind_m_s is not None
    air = (laid.air_c[1:] + laid.air_c[:-1]) / 2
    lost = films(vessel, laid.wind_m_s[:-1])
    ground = np.empty(air.size)
    level, keep = float(laid.air_c[:48].mean()), math.exp(-1 / lost.ground_memory_h)
    start = level
    for hour, value in enumerate(air):
        level = keep * level + (1 - keep) * value
        ground[hour] = level
    watts = np.zeros((air.size, 6))
    watts[:, 0] = 0.1 * DRY_KG_M3 * vessel.bedding_m3
    grid = Grid.of(size_m(vessel), cells)
    found = field.run(
        grid, medium, start_c=start, outside_c=np.stack([air, air, ground], axis=1),
        films=np.stack([lost.side, lost.top, np.full(air.size, lost.base)], axis=1), watts=watts,
        tolerance_k=field.TOLERANCE_K if cells == GRID else 0.1,
    )  # fmt: skip
    read = grid.weights(list(standard_probes(vessel).values()))
    return Winter(found @ read.T, ice_share(found, medium.freezing_c) @ grid.share, laid.local_time, laid.air_c)


class Spread(NamedTuple):
    """Size of differences [K]: root mean square, that of 99 in 100, the largest."""

    rms: float
    most: float
    largest: float

    @staticmethod
    def of(gap: Array) -> Spread:
        """Of these differences."""
        size = np.abs(gap)
        return Spread(float(np.sqrt(np.mean(size**2))), float(np.quantile(size, 0.99)), float(size.max()))


def working_error(litres: int, cells: tuple[int, int, int], place: int, icy: bool) -> Spread:
    """Of a grid against the finest, over the hours in which there, somewhere, is ice, or over the others."""
    here, truth = winter(litres, cells), winter(litres, FINEST)
    kept = (truth.ice > 0) == icy
    return Spread.of((here.probes_c - truth.probes_c)[kept, place])


def disagree(litres: int) -> float:
    """Share of the winter in which a fit's grid and the finest differ on whether the middle has begun to freeze."""
    frozen = [winter(litres, cells).probes_c[:, 0] < properties.FIRST_FREEZING_C for cells in (GRID, FINEST)]
    return float(np.mean(frozen[0] != frozen[1]))


def heat_kept() -> tuple[float, float]:
    """A year of random heat in and out of a box that lets nothing through: the largest drift, and the most ice.

    The drift is of the heat held against the heat given, as a share of the heat of fusion of all the water.
    """
    rng = np.random.default_rng(3)
    vessel, medium = BINS[30], bin_medium()
    grid = Grid.of(size_m(vessel), GRID)
    hours, volume = 8760, vessel.bedding_m3
    whole_j = medium.latent * volume
    # A season between most of the water frozen and none, on it the six patterns at odds with each other.
    season = -np.diff(np.cos(2 * np.pi * np.arange(hours + 1) / hours * 6)) * -0.3 * whole_j / HOUR_S
    watts = rng.normal(0.0, 4.0, (hours, 6))
    watts -= watts.mean(axis=0)
    watts[:, 0] += season
    start = 1.0
    found = field.run(grid, medium, start_c=start, outside_c=np.zeros((hours, 3)), films=np.zeros(3), watts=watts)
    held = np.vectorize(properties.enthalpy.py_func)(
        found, medium.thawed, medium.frozen, medium.latent, medium.freezing_c
    )
    given = np.concatenate([[0.0], np.cumsum(watts.sum(axis=1)) * HOUR_S])
    gained = (held - held[0]) @ grid.share * volume
    return float(np.abs(gained - given).max() / whole_j), float(
        (ice_share(found, medium.freezing_c) @ grid.share).max()
    )


# --- the reduced model ------------------------------------------------------------------------------------------

WARMER_K = 15.0  # the demo's year without frost
STATES = (8, 12, 16, reduced.STATES)


def bound(litres: int, states: int) -> Array:
    """How far the reduced model can be from its cells per kelvin of swing on all sides at once, (3,) by place."""
    vessel, medium = BINS[litres], bin_medium()
    usual = films(vessel, REFERENCE_WIND_M_S)
    size = size_m(vessel)
    weights = Grid.of(size, GRID).weights(list(standard_probes(vessel).values()))
    found = reduced.error_bound(
        size, GRID, k=medium.k_thawed, capacity=medium.thawed,
        films=np.array([usual.side[0], usual.top[0], usual.base]), weights=weights, states=states,
    )  # fmt: skip
    return np.asarray(found.sum(axis=1))


def reduced_error(litres: int, wind_varies: bool, place: int) -> Spread:
    """Of the reduced model against its own cells over the demo's year, warmer, with food, evaporation and water."""
    fast, slow = (_thawed_year(litres, wind_varies, full) for full in (False, True))
    return Spread.of((fast - slow)[:, place])


@cache
def _thawed_year(litres: int, wind_varies: bool, full: bool) -> Array:
    vessel, year = BINS[litres], demo.weather()
    assert year.wind_m_s is not None
    wind = year.wind_m_s if wind_varies else REFERENCE_WIND_M_S
    food = np.zeros((year.air_c.size, 4))
    food[24::240] = (0.05, 0.05, 0.05, 0.05)
    values = (DRY_KG_M3, MOISTURE, 1.0, 1.0, films(vessel).base, 1.0, 1.0)
    drive = Drive(year.air_c + WARMER_K, food, wind, float(year.air_c[:48].mean()) + WARMER_K, year.humidity_pct)
    found = simulate(
        vessel, Thermal(*(np.array([value]) for value in values)), drive, list(standard_probes(vessel).values()),
        full=full,
    )  # fmt: skip
    assert full or found.full_field[0] == 0.0, "the year froze; the reduced model was not alone"
    return np.asarray(found.probes_c[0])
