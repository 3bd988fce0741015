"""The reduced thermal model: a bin of bedding on a small graded grid, stepped hour by hour.

While nothing freezes the equations are linear and each hour is stepped *exactly*. When a cell meets its
freezing point the hour is redone in shorter steps, and after each the cell's enthalpy decides its
temperature: heat is conserved to rounding either way.

Simplifications of this form, all to be kept in mind when reading its answers: frozen bedding conducts and
warms like unfrozen bedding, the film on the sides is the mean over the hours seen, no sun, no evaporation,
drainage holes ignored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.breakdown import BEDDING_W_PER_KG_DRY, FOOD_J_PER_KG, FOOD_RATE_PER_S, cardinal
from underlid.bedding.vessel import Vessel
from underlid.heat import properties
from underlid.heat.box import Box, Probe
from underlid.heat.films import films

Array = NDArray[np.float64]

HOUR_S = 3600.0
FREEZING_SUBSTEPS = 4  # per hour, while any cell is at or below its freezing point
GRID = (3, 4, 5)  # cells: half length, half width, depth; within 0.2 K rms of a fine grid in a bin of 20-60 L


EDGE_M, SURFACE_M = 0.03, 0.02  # how far in and down a keeper's thermometer goes: common practice, no source


def standard_probes(vessel: Vessel) -> dict[str, Probe]:
    """Where `middle`, `edge` and `surface` are: the centre, 3 cm in from the wall, 2 cm down."""
    half, depth = vessel.width_m / 2, vessel.bedding_depth_m
    return {
        "middle": Probe(half, depth / 2),
        "edge": Probe(min(EDGE_M, half), depth / 2),
        "surface": Probe(half, min(SURFACE_M, depth / 2)),
    }


@dataclass(frozen=True, slots=True)
class Thermal:
    """Parameter sets: arrays of shape (sets,).

    dry_kg_m3 : dry bulk density of the bedding [kg/m3]
    moisture : water, fraction of wet mass
    loss : factor on the nominal side and lid films
    base : coefficient of the base path [W/m2K]
    heat : factor on the heat of breakdown, of bedding and food alike
    """

    dry_kg_m3: Array
    moisture: Array
    loss: Array
    base: Array
    heat: Array

    def __len__(self) -> int:
        return int(self.loss.shape[0])


@dataclass(frozen=True, slots=True)
class Drive:
    """What acts on the bin at each hour.

    air_c : air around the bin [degC], shape (hours,) or (sets, hours), at the full hours, no gaps
    food_kg : food given during the hour that follows [kg as fed], shape (hours,)
    wind_m_s : mean wind in the open [m/s]
    start_c : temperature of the bedding, and of the ground below it, at the first hour [degC]
    """

    air_c: Array
    food_kg: Array
    wind_m_s: float = 0.0
    start_c: float = 10.0


@dataclass(frozen=True, slots=True)
class BeddingTemperature:
    """Bedding through time: `probes_c` (sets, hours, probes) [degC].

    `refuge` (sets, hours, bands) is the share of the bedding inside a tolerated band, `frozen` (sets, hours) the
    share of its water that is ice.
    """

    probes_c: Array
    refuge: Array
    frozen: Array


class GapInWeather(ValueError):
    """The air temperature has a gap; the bedding cannot be stepped across it."""


def simulate(
    vessel: Vessel,
    thermal: Thermal,
    drive: Drive,
    probes: Sequence[Probe],
    *,
    bands_c: Sequence[tuple[ArrayLike, ArrayLike]] = ((0.0, 35.0),),
    grid: tuple[int, int, int] = GRID,
) -> BeddingTemperature:
    """Step the bedding through the hours of `drive` for every parameter set, in parallel.

    Returns temperatures at the full hours: the first is `start_c` everywhere. The ends of each tolerated
    band are numbers, or arrays that broadcast to (sets, hours).
    """
    air = np.atleast_2d(np.asarray(drive.air_c, float))
    if not np.isfinite(air).all():
        first = int(np.argmin(np.isfinite(air).all(axis=0)))
        raise GapInWeather(f"The air temperature is missing at hour {first} of the weather; fill the gap first.")
    water = properties.water_fraction(thermal.dry_kg_m3, thermal.moisture)
    nominal = films(vessel, drive.wind_m_s)
    box = Box.of(
        (vessel.length_m, vessel.width_m, vessel.bedding_depth_m),
        grid,
        conductivity=properties.conductivity(water),
        capacity=properties.heat_capacity(thermal.dry_kg_m3, water),
        latent=properties.latent_heat(water),
        side=nominal.side * thermal.loss,
        top=nominal.top * thermal.loss,
        base=thermal.base,
    )
    bedding_w = BEDDING_W_PER_KG_DRY * thermal.dry_kg_m3 * vessel.bedding_m3 * thermal.heat
    ground = _ground(air, nominal.ground_memory_h, drive.start_c)
    return march(
        box, air, ground, food_kg=drive.food_kg, start_c=drive.start_c, bedding_w=bedding_w, heat=thermal.heat,
        weights=box.weights(probes), bands_c=bands_c,
    )  # fmt: skip


def march(
    box: Box,
    air_c: Array,
    ground_c: Array,
    *,
    food_kg: Array,
    start_c: ArrayLike,
    bedding_w: Array,
    heat: Array,
    weights: Array,
    bands_c: Sequence[tuple[ArrayLike, ArrayLike]] = ((0.0, 35.0),),
    freezing_c: float = properties.FIRST_FREEZING_C,
) -> BeddingTemperature:
    """Step a box under given air and ground, (1 or sets, hours) each.

    start_c : the field at the first hour, a number or (cells,); bedding_w : (sets,) heat of the bedding's own
    breakdown at the best temperature [W]; heat : (sets,) factor on the heat of food; weights : (probes, cells)
    """
    hour, hour_response = box.step(HOUR_S)
    part, part_response = box.step(HOUR_S / FREEZING_SUBSTEPS)
    sets, hours, cells = box.capacity.shape[0], air_c.shape[1], box.share.shape[0]
    low_c, high_c = (
        np.stack([np.broadcast_to(np.asarray(band[end], float), (sets, hours)) for band in bands_c], axis=2)
        for end in (0, 1)
    )
    start = np.broadcast_to(np.asarray(start_c, float), cells).copy()
    probes_c = np.empty((sets, hours, len(weights)))
    refuge, frozen = np.empty((sets, hours, len(bands_c))), np.empty((sets, hours))
    _march(
        air_c, ground_c, np.asarray(food_kg, float), start, hour, hour_response, part, part_response,
        box.capacity, box.latent, bedding_w, heat, box.share, weights, low_c, high_c, freezing_c,
        probes_c, refuge, frozen,
    )  # fmt: skip
    return BeddingTemperature(probes_c, refuge, frozen)


def _ground(air: Array, memory_h: float, start_c: float) -> Array:
    """Ground under the base: air smoothed exponentially over `memory_h` hours, begun at `start_c`."""
    if memory_h <= 0:
        return air
    from scipy.signal import lfilter

    keep = np.exp(-1.0 / memory_h)
    smooth, _ = lfilter([1 - keep], [1, -keep], air, axis=1, zi=np.full((air.shape[0], 1), keep * start_c))
    return np.ascontiguousarray(smooth)


FAST = {"contract", "reassoc", "nsz"}  # sums may be reordered; NaN and infinity keep their meaning


@nb.njit(cache=True, parallel=True)
def _march(  # type: ignore[no-untyped-def]
    air, ground, food_kg, start_c, hour, hour_response, part, part_response,
    capacity, latent, bedding_w, heat, share, weights, low_c, high_c, freezing_c, probes_c, refuge, frozen,
):  # fmt: skip
    for s in nb.prange(capacity.shape[0]):
        a = np.int64(s) if air.shape[0] > 1 else 0
        _march_one(
            air[a], ground[a], food_kg, start_c, hour[s], hour_response[s], part[s], part_response[s],
            capacity[s], latent[s], bedding_w[s], heat[s], share, weights, low_c[s], high_c[s], freezing_c,
            probes_c[s], refuge[s], frozen[s],
        )  # fmt: skip


@nb.njit(cache=True, fastmath=FAST)
def _march_one(  # type: ignore[no-untyped-def]
    air, ground, food_kg, start_c, hour, hour_response, part, part_response,
    capacity, latent, bedding_w, heat, share, weights, low_c, high_c, freezing_c, probes_c, refuge, frozen,
):  # fmt: skip
    hours, cells = food_kg.shape[0], share.shape[0]
    t, new, forcing = start_c.copy(), np.empty(cells), np.empty(4)
    food_j = 0.0
    for h in range(hours):
        # What a keeper with perfect thermometers would see at this full hour.
        for b in range(refuge.shape[1]):
            inside = 0.0
            for c in range(cells):
                if low_c[h, b] <= t[c] <= high_c[h, b]:
                    inside += share[c]
            refuge[h, b] = min(inside, 1.0)
        ice, mean = 0.0, 0.0
        for c in range(cells):
            ice += share[c] * (1.0 - properties.liquid_share(t[c], freezing_c))
            mean += share[c] * t[c]
        frozen[h] = ice
        for p in range(weights.shape[0]):
            total = 0.0
            for c in range(cells):
                total += weights[p, c] * t[c]
            probes_c[h, p] = total
        if h == hours - 1:
            break
        # Forcing held at its mean over the hour; breakdown at the bedding's temperature as the hour begins.
        food_j += food_kg[h] * FOOD_J_PER_KG * heat
        pace = cardinal(mean)
        spent = food_j * (1.0 - np.exp(-FOOD_RATE_PER_S * pace * HOUR_S))
        food_j -= spent
        forcing[0], forcing[1] = 0.5 * (air[h] + air[h + 1]), 0.5 * (ground[h] + ground[h + 1])
        forcing[2], forcing[3] = bedding_w * pace, spent / HOUR_S

        _step(t, new, hour, hour_response, forcing)
        coldest = freezing_c
        for c in range(cells):
            coldest = min(coldest, t[c], new[c])
        if coldest >= freezing_c:
            t[:] = new
            continue
        for _ in range(FREEZING_SUBSTEPS):
            _step(t, new, part, part_response, forcing)
            for c in range(cells):
                if min(t[c], new[c]) < freezing_c:
                    held = properties.enthalpy(t[c], capacity, latent, freezing_c)
                    held += capacity * (new[c] - t[c])
                    t[c] = properties.temperature(held, capacity, latent, freezing_c)
                else:
                    t[c] = new[c]


@nb.njit(cache=True, fastmath=FAST)
def _step(t, new, step, response, forcing):  # type: ignore[no-untyped-def]
    """new <- step @ t + forcing @ response: one exact linear step."""
    for c in range(t.shape[0]):
        total = 0.0
        for f in range(forcing.shape[0]):
            total += forcing[f] * response[f, c]
        for m in range(t.shape[0]):
            total += step[c, m] * t[m]
        new[c] = total
