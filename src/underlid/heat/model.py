"""The bedding under its weather: the one door to the heat and water of a bin.

Simplifications: the four sides are alike and holes are ignored; food lies in one of four patterns, not at a point;
the bedding keeps its depth and dry matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.vessel import Vessel
from underlid.heat import field, moisture, properties, reduced
from underlid.heat.fading import fading
from underlid.heat.films import films
from underlid.heat.grid import FOOD_PLACES, Grid, Probe
from underlid.heat.march import march
from underlid.threads import deal

Array = NDArray[np.float64]

GRID = (4, 4, 6)  # cells: half length, half width, depth; docs/verification.md says how good that is
EDGE_M, SURFACE_M = 0.03, 0.02  # how far in and down a keeper's thermometer goes: common practice, no source

REFERENCE_WIND_M_S = 3.0  # the reduced model's own; other winds act through the surface temperature
DEFAULT_HUMIDITY_PCT = 80.0  # where the weather has none: common for a damp, cool climate, our judgement


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
    moisture : water at the first hour, fraction of wet mass
    loss, lid : factors on the nominal coefficients beyond the sides and the surface
    base : coefficient of the base path [W/m2K]
    heat : factor on the heat of breakdown, of bedding and food alike
    drying : factor on how fast vapour leaves
    """

    dry_kg_m3: Array
    moisture: Array
    loss: Array
    lid: Array
    base: Array
    heat: Array
    drying: Array

    def __len__(self) -> int:
        return int(self.loss.shape[0])


@dataclass(frozen=True, slots=True)
class Drive:
    """What acts on the bin at each hour.

    air_c : air around the bin [degC], shape (hours,) or (sets, hours), at the full hours, no gaps
    food_kg : food given during the hour that follows [kg as fed], (hours,) or (hours, 4) by place, see FOOD_PLACES
    wind_m_s : wind in the open [m/s], a mean or (hours,)
    start_c : temperature of the bedding, and of the ground below it, at the first hour [degC]
    humidity_pct, radiation_w_m2 : (hours,) relative humidity, and global horizontal radiation as the mean of the hour
        before, or None; a bin that nothing shades also feels sun and sky where radiation is given
    water_kg : water given during the hour that follows [kg], (hours,), or None
    """

    air_c: Array
    food_kg: Array
    wind_m_s: float | Array = 0.0
    start_c: float = 10.0
    humidity_pct: Array | None = None
    radiation_w_m2: Array | None = None
    water_kg: Array | None = None

    def until(self, hours: int) -> Drive:
        """The same up to so many hours."""
        return self.during(slice(0, hours))

    def during(self, span: slice) -> Drive:
        """The same in a span of hours."""

        def cut(values: Array | float | None) -> Array | float | None:
            return values[span] if isinstance(values, np.ndarray) else values

        series = {name: cut(getattr(self, name)) for name in ("wind_m_s", "humidity_pct", "radiation_w_m2", "water_kg")}
        return replace(self, air_c=self.air_c[..., span], food_kg=self.food_kg[span], **series)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class State:
    """A bin at one hour, from which a run on the same grid can go on, in the same vessel or a changed one.

    field_c : (sets, cells) [degC], which in a vessel of another size keep their relative places; ground_c : (sets,)
    below the base [degC]; moisture : (sets,) fraction of wet mass; food_j : (sets, 4) energy of food not yet spent at
    each of FOOD_PLACES [J]; could_be : (sets, bands, cells) where worms could be
    """

    field_c: Array
    ground_c: Array
    moisture: Array
    food_j: Array
    could_be: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class BeddingTemperature:
    """Bedding through time.

    probes_c : (sets, hours, probes) [degC]; frozen : (sets, hours) share of its water that is ice;
    moisture : (sets, hours) fraction of wet mass; refuge : (sets, hours, bands) share of the bedding inside a
    tolerated band that worms could have reached; outside_k : (sets, hours, bands) how far outside the band the best
    place they could be is [K]; full_field : (sets,) share of the hours stepped in the full field;
    end : the state at the last hour
    """

    probes_c: Array
    frozen: Array
    moisture: Array
    refuge: Array
    outside_k: Array
    full_field: Array
    end: State


class GapInWeather(ValueError):
    """The air temperature has a gap; the bedding cannot be stepped across it."""


def simulate(
    vessel: Vessel,
    thermal: Thermal,
    drive: Drive,
    probes: Sequence[Probe],
    *,
    bands_c: Sequence[tuple[float, float]] = (),
    strays_k: Array | None = None,
    grid: tuple[int, int, int] = GRID,
    full: bool = False,
    step_h: int = 1,
    start: State | None = None,
) -> BeddingTemperature:
    """Step the bedding through the hours of `drive` for every parameter set, in parallel.

    Returns temperatures at the full hours: the first is `start_c` everywhere. Each tolerated band, low and high end
    [degC], is judged by the field as it strays from the model, by `strays_k` (sets, hours) [K] if given. `full` steps
    every hour in the full field. `step_h` hours are one step; all that is returned is then at every so many hours.
    `start` is the end of an earlier run to go on from, with as many bands; then `thermal.moisture` and
    `drive.start_c` are of the beginning of that one.
    """
    air = _plain(np.atleast_2d(drive.air_c))
    sets, hours = len(thermal), air.shape[1]
    if not np.isfinite(air).all():
        first = int(np.argmin(np.isfinite(air).all(axis=0)))
        raise GapInWeather(f"The air temperature is missing at hour {first} of the weather; fill the gap first.")
    size = (vessel.length_m, vessel.width_m, vessel.bedding_depth_m)
    laid = Grid.of(size, grid)
    nominal, usual = films(vessel, drive.wind_m_s, drive.radiation_w_m2), films(vessel, REFERENCE_WIND_M_S)

    def hourly(values: ArrayLike) -> Array:
        return _plain(np.broadcast_to(values, hours))

    if start is None:
        ground = _ground(air, nominal.ground_memory_h, drive.start_c)
        field_c, food_j = np.full((sets, len(laid.share)), float(drive.start_c)), np.zeros((sets, len(FOOD_PLACES)))
        could_be = np.ones((sets, len(bands_c), len(laid.share)), bool)
    else:
        air = _plain(np.broadcast_to(air, (sets, hours)))
        ground = _ground(air, nominal.ground_memory_h, start.ground_c, exactly=True)
        field_c, food_j, could_be = start.field_c.copy(), start.food_j.copy(), start.could_be.copy()
    beyond, gain_k = (
        np.stack([hourly(side), hourly(top)], axis=1)
        for side, top in ((nominal.side, nominal.top), (nominal.side_gain_k, nominal.top_gain_k))
    )
    humid = DEFAULT_HUMIDITY_PCT if drive.humidity_pct is None else np.clip(drive.humidity_pct, 1.0, 100.0)
    humid = np.where(np.isfinite(humid), humid, DEFAULT_HUMIDITY_PCT) / 100.0
    food = np.asarray(drive.food_kg, float)
    if food.ndim == 1:
        food = np.stack([food, *[np.zeros_like(food)] * (len(FOOD_PLACES) - 1)], axis=1)
    water = np.zeros(hours) if drive.water_kg is None else drive.water_kg
    parameters = np.stack(
        [
            thermal.dry_kg_m3,
            properties.water_fraction(thermal.dry_kg_m3, thermal.moisture),
            thermal.loss,
            thermal.lid,
            thermal.base,
            thermal.heat,
            thermal.drying,
        ],
        axis=1,
    )
    began = properties.water_fraction(thermal.dry_kg_m3, thermal.moisture if start is None else start.moisture)
    water = hourly(water)
    if step_h > 1:
        air, ground = _plain(air[:, ::step_h]), _plain(ground[:, ::step_h])
        beyond, humid = _plain(beyond[::step_h]), np.broadcast_to(humid, hours)[::step_h]
        gain_k = _plain(np.vstack([gain_k[:1], _stretches(gain_k[1:], step_h) / step_h]))
        food, water = _stretches(food, step_h), _stretches(water, step_h)
        hours = air.shape[1]
    moist = np.empty((sets, hours))
    end = State(field_c, np.broadcast_to(ground[:, -1], sets), moist[:, -1], food_j, could_be)
    result = BeddingTemperature(
        np.empty((sets, hours, len(probes))), np.zeros((sets, hours)), moist, np.empty((sets, hours, len(bands_c))),
        np.empty((sets, hours, len(bands_c))), np.empty(sets), end,
    )  # fmt: skip
    strays = np.zeros((1, 1)) if strays_k is None else _plain(strays_k[:, ::step_h])
    deal(
        march, sets, field.Cells.of(laid), reduced.basis(size, grid, 1 if full else reduced.STATES), parameters,
        air, gain_k, ground, beyond, np.array([usual.side[0], usual.top[0]]), humid * moisture.vapour_kg_m3(air),
        _plain(food), water, began, laid.weights(probes) if probes else np.zeros((0, len(laid.share))),
        np.array(bands_c, float).reshape(-1, 2), strays, full, step_h * reduced.HOUR_S, result.probes_c, result.frozen,
        result.moisture, result.refuge, result.outside_k, result.full_field, field_c, food_j, could_be,
    )  # fmt: skip
    return result


def _plain(numbers: ArrayLike) -> Array:
    """In rows and writable, as nearly all are: for any other kind of array the march would be compiled anew."""
    return np.require(numbers, float, ("C", "W"))


def _stretches(hourly: Array, step_h: int) -> Array:
    """Sums over stretches of so many hours; hours that fill no stretch count in one of their own."""
    return np.add.reduceat(hourly, np.arange(0, len(hourly), step_h), axis=0) if len(hourly) else hourly


def _ground(air: Array, memory_h: float, start_c: ArrayLike, *, exactly: bool = False) -> Array:
    """Ground under the base: air smoothed exponentially over `memory_h` hours, begun at `start_c`.

    start_c : a number or (sets,) [degC]; of the hour before the first, or `exactly` of the first
    """
    if memory_h <= 0:
        return air
    keep = float(np.exp(-1.0 / memory_h))
    taken = (1 - keep) * air
    taken[:, 0] = start_c if exactly else taken[:, 0] + keep * np.asarray(start_c)
    return np.asarray(fading(taken, keep))
