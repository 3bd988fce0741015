"""The full field against closed forms; test_closed_forms.py checks those against numbers of their own.

The bedding conducts 0.35 W/mK and holds 2.4 MJ/m3K; it starts at 10 degC and meets -10 degC unless said otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from underlid.heat import field
from underlid.heat.grid import Grid, even_weights, quadratic_weights

from . import closed_forms as exact
from .columns import HELD, HOUR_S, INSULATED, at_depth, column, deep_column, never_freezing, still

CONDUCTIVITY, CAPACITY = 0.35, 2.4e6
BEDDING = {"conductivity": CONDUCTIVITY, "diffusivity": CONDUCTIVITY / CAPACITY}
MEDIUM = never_freezing(CONDUCTIVITY, CAPACITY)
BRICK_M = (0.45, 0.32, 0.29)
DAY_H, TOLERANCE_K = 24, 0.05


def cooled(grid, films, hours, *, medium=MEDIUM, start_c=10.0, outside_c=-10.0, seconds=900.0, tolerance_k=0.1):
    """The field at each full hour, (hours + 1, cells). The step at the start is hard, so stretches are short."""
    out = field.run(
        grid, medium, start_c=start_c, outside_c=still(hours, outside_c, seconds), films=np.array(films, float),
        seconds=seconds, tolerance_k=tolerance_k,
    )  # fmt: skip
    return out[:: round(HOUR_S / seconds)]


@pytest.mark.parametrize(("depth_m", "hours"), [(0.05, 6), (0.05, 24), (0.10, 24), (0.145, 72)])
def test_half_a_space_whose_surface_is_held(depth_m, hours):
    """Carslaw & Jaeger 1959, 2.4."""
    grid = deep_column(0.005, 0.1, 2.0)
    found = at_depth(grid, depth_m) @ cooled(grid, (INSULATED, HELD, INSULATED), hours)[hours]
    there = exact.semi_infinite_forced(
        depth_m, hours * HOUR_S, diffusivity=BEDDING["diffusivity"], start_c=10, surface_c=-10
    )
    assert found == pytest.approx(float(there), abs=TOLERANCE_K)


@pytest.mark.parametrize(("depth_m", "hours"), [(0.0, 6), (0.05, 24), (0.10, 24)])
def test_half_a_space_under_a_film(depth_m, hours):
    """Carslaw & Jaeger 1959, 2.7."""
    grid = deep_column(0.005, 0.1, 2.0)
    found = at_depth(grid, depth_m) @ cooled(grid, (INSULATED, 20.0, INSULATED), hours)[hours]
    there = exact.semi_infinite_convection(depth_m, hours * HOUR_S, **BEDDING, film=20, start_c=10, air_c=-10)
    assert found == pytest.approx(float(there), abs=TOLERANCE_K)


@pytest.mark.parametrize("film", [10.0, 20.0])
def test_brick_cools_as_the_product_of_three_walls(film):
    """Centre and corner; Carslaw & Jaeger 1959, 5.6."""
    grid = Grid.of(BRICK_M, (14, 12, 20))
    fields = cooled(grid, (film, film, film), 48)
    x, y, z = grid.nodes
    for place in ((0.0, 0.0, 0.0), (0.225, 0.16, 0.145)):
        along, across, up = even_weights(x, place[0]), even_weights(y, place[1]), quadratic_weights(z, 0.145 + place[2])
        weights = (along[:, None, None] * across[None, :, None] * up).ravel()
        for hours in (6, 12, 24, 48):
            there = -10 + 20 * exact.brick(place, hours * HOUR_S, size_m=BRICK_M, **BEDDING, film=film)
            assert weights @ fields[hours] == pytest.approx(there, abs=TOLERANCE_K), (place, hours)


def test_a_finer_grid_errs_less():
    """About with the square of the cells: halving them leaves less than 0.4 of the error."""
    errors = []
    for cells in [(4, 4, 6), (8, 8, 12), (16, 16, 24)]:
        grid = Grid.of(BRICK_M, cells)
        fields = cooled(grid, (20.0, 20.0, 20.0), 24)
        x, y, z = grid.nodes
        along, across, up = even_weights(x, 0.0), even_weights(y, 0.0), quadratic_weights(z, 0.145)
        centre = (along[:, None, None] * across[None, :, None] * up).ravel()
        errors.append(max(
            abs(centre @ fields[h] + 10 - 20 * exact.brick((0, 0, 0), h * HOUR_S, size_m=BRICK_M, **BEDDING, film=20))
            for h in (6, 12, 24)
        ))  # fmt: skip
    assert errors[1] < 0.4 * errors[0]
    assert errors[2] < 0.4 * errors[1]


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0])
def test_a_plane_wall_ends_up_cooling_at_its_slowest_rate(biot):
    """First root of zeta tan zeta = Bi; Carslaw & Jaeger 1959, 3.11."""
    half = 0.145
    film = biot * CONDUCTIVITY / half
    fields = cooled(column(np.linspace(0, 2 * half, 41)), (INSULATED, film, film), 48, outside_c=0.0)
    found = math.log(fields[36, 20] / fields[48, 20]) / (12 * HOUR_S)
    zeta = exact.plane_wall_roots(biot, 1)[0]
    assert found == pytest.approx(zeta**2 * BEDDING["diffusivity"] / half**2, rel=2e-3)


def daily(grid, films, weights, days=12, per_hour=12):
    """Amplitude ratio and lag [h] at a place when the air has a daily wave, once the start is forgotten."""
    count = DAY_H * per_hour
    air = np.cos(2 * np.pi * (np.arange(days * count) + 0.5) / count)  # the middle of each stretch
    outside = np.repeat(air[:, None], 3, axis=1)
    seconds = HOUR_S / per_hour
    out = field.run(
        grid, MEDIUM, start_c=0.0, outside_c=outside, films=np.array(films), seconds=seconds, tolerance_k=0.01
    )
    response = np.fft.rfft((out @ weights)[-count:])[1] / (count / 2)
    # The last day's first reading stands one stretch after midnight.
    response *= np.exp(-2j * np.pi / count)
    ratio, lag_s = exact.ratio_and_lag(response, DAY_H * HOUR_S)
    return ratio, lag_s / HOUR_S


@pytest.mark.parametrize(("depth_m", "film"), [(0.05, HELD), (0.145, HELD), (0.0, 20.0)])
def test_daily_wave_into_half_a_space(depth_m, film):
    """Carslaw & Jaeger 1959, 2.6."""
    grid = deep_column(0.005, 0.15, 2.0)
    ratio, lag_h = daily(grid, (INSULATED, film, INSULATED), at_depth(grid, depth_m))
    response = exact.half_space_response(depth_m, **BEDDING, period_s=DAY_H * HOUR_S, film=film)
    there, lag_s = exact.ratio_and_lag(response, DAY_H * HOUR_S)
    assert ratio == pytest.approx(there, abs=0.002)
    assert lag_h == pytest.approx(lag_s / HOUR_S, abs=0.05)


def test_daily_wave_in_the_middle_of_a_slab():
    """Carslaw & Jaeger 1959, 3.6."""
    grid = column(np.linspace(0, 0.29, 42))
    ratio, lag_h = daily(grid, (INSULATED, 20.0, 20.0), at_depth(grid, 0.145))
    response = exact.slab_response(0.0, half_m=0.145, **BEDDING, period_s=DAY_H * HOUR_S, film=20)
    there, lag_s = exact.ratio_and_lag(response, DAY_H * HOUR_S)
    assert ratio == pytest.approx(there, abs=0.001)
    assert lag_h == pytest.approx(lag_s / HOUR_S, abs=0.03)


def fronts(medium, surface_c, start_c, hours):
    """Depth of ice [m] under a surface that is held, at some full hours."""
    grid = deep_column(0.002, 0.2, 1.6)
    fields = cooled(
        grid, (INSULATED, HELD, INSULATED), max(hours), medium=medium, start_c=start_c, outside_c=surface_c
    )[hours]  # fmt: skip
    frozen = np.where(fields < medium.freezing_c, 1 - medium.freezing_c / np.minimum(fields, medium.freezing_c), 0.0)
    return frozen @ grid.share * grid.size_m[2]


@pytest.mark.parametrize("surface_c", [-5, -10, -20])
def test_freezing_front_of_still_water(surface_c):
    """One-phase Stefan problem; Carslaw & Jaeger 1959, 11.2. The freezing point is nearly sharp."""
    conductivity, capacity, latent = 2.22, 917 * 2100.0, 917 * 334e3
    ice = field.Medium(capacity, capacity, conductivity, conductivity, latent, -1e-3)
    root = exact.stefan_root(capacity * -surface_c / latent)
    there = [exact.front_m(root, conductivity / capacity, hours * HOUR_S) for hours in (24, 72)]
    assert fronts(ice, surface_c, 0.0, [24, 72]) == pytest.approx(there, rel=0.01)


@pytest.mark.parametrize(("surface_c", "start_c"), [(-10, 0), (-10, 5), (-5, 5), (-20, 10)])
def test_freezing_front_of_bedding(surface_c, start_c):
    """Two-phase Neumann problem with properties that change at the front; Carslaw & Jaeger 1959, 11.2."""
    freezing = exact.Neumann(0.6, 1.5e6, CONDUCTIVITY, CAPACITY, 1.67e8, surface_c, start_c)
    bedding = field.Medium(CAPACITY, 1.5e6, CONDUCTIVITY, 0.6, 1.67e8, -1e-3)
    there = [freezing.front_m(hours * HOUR_S) for hours in (24, 72)]
    assert fronts(bedding, surface_c, start_c, [24, 72]) == pytest.approx(there, rel=0.01)


def test_a_body_that_conducts_well_cools_as_one_temperature():
    """Lumped, Bi = 0.005; and at the conductivity of bedding, Bi = 0.8, it is not one temperature."""
    grid = Grid.of(BRICK_M, (4, 4, 6))
    time_s = exact.lumped_time_s(CAPACITY, math.prod(BRICK_M), 0.7346, film=5)
    lumped = exact.lumped_c(24 * HOUR_S, time_s=time_s, start_c=10, air_c=-10)
    well = cooled(grid, (5.0, 5.0, 5.0), 24, medium=never_freezing(60.0, CAPACITY))[24]
    poorly = cooled(grid, (5.0, 5.0, 5.0), 24)[24]
    assert well == pytest.approx(lumped, abs=TOLERANCE_K)
    assert poorly.max() > lumped + 3
