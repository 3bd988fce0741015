"""The full field against closed forms, for docs/verification.md; nothing here draws or writes.

Properties are those of a textbook check, not of a bin.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).parent.parent))  # the closed forms live with the tests

from tests.heat import closed_forms as exact

from underlid.heat import field
from underlid.heat.grid import Grid, even_weights, quadratic_weights
from underlid.heat.model import GRID

Array = NDArray[np.float64]

HOUR_S, DAY_S = 3600.0, 86400.0
CONDUCTIVITY, CAPACITY = 0.35, 2.4e6
DIFFUSIVITY = CONDUCTIVITY / CAPACITY
START_C, AIR_C = 10.0, -10.0
BRICK_M = (0.45, 0.32, 0.29)
HALF_M = BRICK_M[2] / 2
FINE_K = 1e-4  # tolerance of a step, so that what is left is the error of the cells
WAVE = "of the wave"
HELD = math.inf  # a film without resistance: the surface is as cold as the air


def never_freezes(conductivity: float = CONDUCTIVITY) -> field.Medium:
    """Bedding in which nothing changes."""
    return field.Medium(CAPACITY, CAPACITY, conductivity, conductivity, 0.0, -100.0)


# --- linear cases -----------------------------------------------------------------------------------------------


class LinearCase(NamedTuple):
    """A check with nothing freezing: what body it is of and under what, its source, its largest error on n cells.

    unit : of the error, K of a fall of 20 K, or a share of the wave
    sizes : the numbers of cells; cell_mm : mean width of a cell [mm] for each
    """

    body: str
    under: str
    source: str
    unit: str
    error: Callable[[int], float]
    sizes: tuple[int, ...]
    cell_mm: tuple[float, ...]


def _line(depth_m: float, cells: int) -> Grid:
    """Cells along the depth only, finer towards base and surface; the sides let nothing through."""
    return Grid.of((1.0, 1.0, depth_m), (1, 1, cells))


DEEP_M = 1.0  # deep enough to count as half a space for three days


def _half_space(film: float, depths_m: tuple[float, ...]) -> Callable[[int], float]:
    def error(cells: int) -> float:
        grid = _line(DEEP_M, cells)
        found = field.run(
            grid, never_freezes(), start_c=START_C, outside_c=np.full((72, 3), AIR_C),
            films=np.array([0.0, film, 0.0]), tolerance_k=FINE_K,
        )  # fmt: skip
        worst = 0.0
        for depth in depths_m:
            read = quadratic_weights(grid.nodes[2], DEEP_M - depth)
            for hour in (6, 24, 72):
                seconds = hour * HOUR_S
                if math.isinf(film):
                    true = exact.semi_infinite_forced(
                        depth, seconds, diffusivity=DIFFUSIVITY, start_c=START_C, surface_c=AIR_C
                    )
                else:
                    true = exact.semi_infinite_convection(
                        depth,
                        seconds,
                        conductivity=CONDUCTIVITY,
                        diffusivity=DIFFUSIVITY,
                        film=film,
                        start_c=START_C,
                        air_c=AIR_C,
                    )
                worst = max(worst, abs(float(found[hour] @ read) - float(true)))
        return worst

    return error


def _wall(biot: float) -> Callable[[int], float]:
    film = biot * CONDUCTIVITY / HALF_M

    def error(cells: int) -> float:
        grid = _line(2 * HALF_M, cells)
        found = field.run(
            grid, never_freezes(), start_c=START_C, outside_c=np.full((48, 3), AIR_C),
            films=np.array([0.0, film, film]), tolerance_k=FINE_K,
        )  # fmt: skip
        worst = 0.0
        for position in (0.0, 0.1, HALF_M):
            read = quadratic_weights(grid.nodes[2], HALF_M + position)
            for hour in (6, 12, 24, 48):
                share = exact.plane_wall(
                    position,
                    hour * HOUR_S,
                    half_m=HALF_M,
                    conductivity=CONDUCTIVITY,
                    diffusivity=DIFFUSIVITY,
                    film=film,
                )
                true = AIR_C + (START_C - AIR_C) * float(share)
                worst = max(worst, abs(float(found[hour] @ read) - true))
        return worst

    return error


def _brick(film: float) -> Callable[[int], float]:
    def error(cells: int) -> float:
        grid = Grid.of(BRICK_M, _brick_cells(cells))
        found = field.run(
            grid, never_freezes(), start_c=START_C, outside_c=np.full((48, 3), AIR_C), films=np.full(3, film),
            tolerance_k=FINE_K,
        )  # fmt: skip
        x, y, z = grid.nodes
        worst = 0.0
        for corner in (0.0, 1.0):
            away = [corner * side / 2 for side in BRICK_M]
            along = even_weights(x, away[0]), even_weights(y, away[1]), quadratic_weights(z, HALF_M + away[2])
            read = np.einsum("i,j,k->ijk", *along).ravel()
            for hour in (6, 12, 24, 48):
                share = exact.brick(
                    away, hour * HOUR_S, size_m=BRICK_M, conductivity=CONDUCTIVITY, diffusivity=DIFFUSIVITY, film=film
                )
                true = AIR_C + (START_C - AIR_C) * share
                worst = max(worst, abs(float(found[hour] @ read) - true))
        return worst

    return error


def _brick_cells(cells: int) -> tuple[int, int, int]:
    """In the proportions of the grid of a fit, which has 6 along the depth."""
    return cells * GRID[0] // GRID[2], cells * GRID[1] // GRID[2], cells


PARTS = 8640  # of a day, each with the mean of the wave over it: many, for a surface follows every stair a little


def _wave(
    depth_m: float, read_m: tuple[float, ...], film_top: float, film_base: float, response: Callable[[float], complex]
) -> Callable[[int], float]:  # fmt: skip
    """Error of the complex response of a field that begins on the wave and runs a day; all by height above the base."""

    def error(cells: int) -> float:
        grid = _line(depth_m, cells)
        angle = 2 * np.pi * np.arange(PARTS + 1) / PARTS
        air = np.diff(-np.cos(angle)) * PARTS / (2 * np.pi)  # the mean of the sine over each part
        start = np.array([response(height).imag for height in grid.nodes[2]])
        found = field.run(
            grid, never_freezes(), start_c=start, outside_c=np.repeat(air[:, None], 3, axis=1),
            films=np.array([0.0, film_top, film_base]), seconds=DAY_S / PARTS, tolerance_k=FINE_K,
        )[1:]  # fmt: skip
        worst = 0.0
        for height in read_m:
            course = found @ quadratic_weights(grid.nodes[2], height)
            amplitude = 2j * np.mean(course * np.exp(-1j * angle[1:]))
            worst = max(worst, abs(amplitude - response(height)))
        return worst

    return error


def _daily(film: float, depths_m: tuple[float, ...]) -> Callable[[int], float]:
    def response(height_m: float) -> complex:
        return exact.half_space_response(
            DEEP_M - height_m, conductivity=CONDUCTIVITY, diffusivity=DIFFUSIVITY, period_s=DAY_S, film=film
        )

    return _wave(DEEP_M, tuple(DEEP_M - depth for depth in depths_m), film, 0.0, response)


def _daily_slab() -> Callable[[int], float]:
    def response(height_m: float) -> complex:
        return exact.slab_response(
            height_m - HALF_M,
            half_m=HALF_M,
            conductivity=CONDUCTIVITY,
            diffusivity=DIFFUSIVITY,
            period_s=DAY_S,
            film=20.0,
        )

    return _wave(2 * HALF_M, (HALF_M, 2 * HALF_M), 20.0, 20.0, response)


def _sized(depth_m: float, first: int) -> tuple[tuple[int, ...], tuple[float, ...]]:
    sizes = tuple(first * 2**i for i in range(4))
    return sizes, tuple(depth_m / cells * 1000 for cells in sizes)


HELD_NAME, FILM_NAME = "surface held", "film 20 W/m²K"
DEEP, WALL = _sized(DEEP_M, 24), _sized(2 * HALF_M, 6)
LINEAR = (
    LinearCase("half a space", HELD_NAME, "C&J 2.4", "K", _half_space(HELD, (0.05, 0.10, 0.145)), *DEEP),
    LinearCase("half a space", FILM_NAME, "C&J 2.7", "K", _half_space(20.0, (0.0, 0.05, 0.10)), *DEEP),
    *(LinearCase("wall", f"Bi {biot:g}", "C&J 3.11", "K", _wall(biot), *WALL) for biot in (0.1, 1.0, 10.0)),
    *(LinearCase("brick", f"film {film:g} W/m²K", "C&J 5.6", "K", _brick(film), *WALL) for film in (10.0, 20.0)),
    LinearCase("daily wave", f"half a space, {HELD_NAME}", "C&J 2.6", WAVE, _daily(HELD, (0.05, 0.145)), *DEEP),
    LinearCase("daily wave", f"half a space, {FILM_NAME}", "C&J 2.6", WAVE, _daily(20.0, (0.0,)), *DEEP),
    LinearCase("daily wave", f"slab, {FILM_NAME}", "C&J 3.6", WAVE, _daily_slab(), *WALL),
)


def lumped() -> tuple[float, float, float]:
    """After a day in films of 5 W/m2K [degC]: a brick that conducts 1000 times better, its closed form, bedding."""
    film = 5.0
    surface = 2 * (BRICK_M[0] * BRICK_M[1] + BRICK_M[0] * BRICK_M[2] + BRICK_M[1] * BRICK_M[2])
    time_s = exact.lumped_time_s(CAPACITY, math.prod(BRICK_M), surface, film)
    true = exact.lumped_c(DAY_S, time_s=time_s, start_c=START_C, air_c=AIR_C)
    grid = Grid.of(BRICK_M, GRID)
    means = [
        float(
            field.run(
                grid, never_freezes(conductivity), start_c=START_C, outside_c=np.full((24, 3), AIR_C),
                films=np.full(3, film), tolerance_k=FINE_K,
            )[-1] @ grid.share
        )
        for conductivity in (1000 * CONDUCTIVITY, CONDUCTIVITY)
    ]  # fmt: skip
    return means[0], true, means[1]


# --- freezing fronts --------------------------------------------------------------------------------------------

SHARP_C = -1e-4  # the closed forms freeze at one temperature; this is as near as makes a difference of 0.01 %
FRONT_M = 1.2
FRONT_CELLS = (60, 120, 240, 480)
FRONT_HOURS = 72
ICE = (2.22, 917 * 2100.0, 0.56, 4.18e6, 917 * 334e3)  # k and C of ice, k and C of water, heat of fusion per volume
HALF_WATER = (0.6, 1.5e6, 0.35, 2.4e6, 1.67e8)  # bedding that is half water


def _minus(number: float) -> str:
    return f"{number:g}".replace("-", "−")


class Front(NamedTuple):
    """A front of ice that comes in from a surface held at surface_c: its name and closed form."""

    name: str
    exact: exact.Neumann
    by_root: bool  # Stefan's one-phase form, for water at its freezing point

    def true_m(self, hours: Sequence[int]) -> Array:
        """Depth by the closed form [m]."""
        if not self.by_root:
            return np.array([self.exact.front_m(hour * HOUR_S) for hour in hours])
        n = self.exact
        root = exact.stefan_root(n.frozen_capacity * -n.surface_c / n.latent)
        return np.array([exact.front_m(root, n.frozen_diffusivity, hour * HOUR_S) for hour in hours])


FRONTS = (
    *(
        Front(f"water at 0 °C, surface {_minus(cold)} °C", exact.Neumann(*ICE, cold, 0.0), True)
        for cold in (-5.0, -10.0, -20.0)
    ),
    *(
        Front(f"bedding at {warm:g} °C, surface {_minus(cold)} °C", exact.Neumann(*HALF_WATER, cold, warm), False)
        for cold, warm in ((-10.0, 0.0), (-10.0, 5.0), (-5.0, 5.0), (-20.0, 10.0))
    ),
)


@cache
def front_m(front: Front, cells: int) -> Array:
    """Depth of ice in the full field at every hour, (FRONT_HOURS + 1,) [m]: all the ice, as if in one layer."""
    n = front.exact
    medium = field.Medium(
        n.thawed_capacity, n.frozen_capacity, n.thawed_conductivity, n.frozen_conductivity, n.latent, SHARP_C
    )
    whole = np.array([0.0, 1.0])
    grid = Grid((2.0, 2.0, FRONT_M), (whole, whole, np.linspace(0.0, FRONT_M, cells + 1)))
    found = field.run(
        grid, medium, start_c=n.start_c, outside_c=np.full((FRONT_HOURS, 3), n.surface_c),
        films=np.array([0.0, HELD, 0.0]), tolerance_k=0.01,
    )  # fmt: skip
    return np.asarray(ice_share(found, SHARP_C) @ grid.share * FRONT_M)


def front_error(front: Front, cells: int) -> float:
    """Largest error of the front from 12 hours on, as a share of its depth."""
    hours = range(12, FRONT_HOURS + 1)
    return float(np.abs(front_m(front, cells)[12:] / front.true_m(hours) - 1).max())


def ice_share(temperature_c: Array, freezing_c: float) -> Array:
    """Share of the water that is ice."""
    return np.where(temperature_c >= freezing_c, 0.0, 1 - freezing_c / np.minimum(temperature_c, freezing_c))
