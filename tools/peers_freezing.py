"""The bench problem with freezing, solved in the plainest way: the reference, on its fine grid.

Enthalpy is what is stepped, explicitly, on even cells of a quarter of the brick; temperature and conductivity are
looked up from it in a fine table. It shares no code with underlid's solvers, so that what they have in common is the
physics. Halving the cells takes a quarter of the step and eight times the cells: 32 times as long.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray
from peers import HOUR_S, PROBLEM, BenchProblem, Grid, between_centres
from scipy.integrate import cumulative_trapezoid

Array = NDArray[np.float64]

#: Fine enough for a reference: a minute and a half for eight weeks. A front of ice crosses cells one by one, so the
#: error falls by little more than the first power of their size, and two grids cannot be extrapolated to none.
FINE: Grid = (60, 48, 42)


@dataclass(frozen=True, slots=True)
class Law:
    """Bedding as an even table of enthalpy, which begins at first and goes on by step [J/m3]; level beyond its ends.

    temperature_c [degC], conductivity [W/mK], and carried, the integral of conductivity over temperature [W/m]: heat
    flows between two points of a line by the difference of that integral (Kirchhoff; Carslaw & Jaeger 1959, 1.6).
    """

    first: float
    step: float
    temperature_c: Array
    conductivity: Array
    carried: Array

    @staticmethod
    def of(
        enthalpy: Callable[[Array], Array], conductivity: Callable[[Array], Array], *, low_c: float = -45.0,
        high_c: float = 45.0, entries: int = 400_001,
    ) -> Law:  # fmt: skip
        """Sampled from enthalpy and conductivity as functions of temperature."""
        # Dense near 0 degC, where a small change of temperature takes much heat.
        u = np.linspace(-1.0, 1.0, entries)
        warm = np.where(u < 0, -low_c, high_c) * np.sign(u) * u**4
        held = enthalpy(warm)
        even = np.linspace(held[0], held[-1], entries)
        carried = cumulative_trapezoid(conductivity(warm), warm, initial=0)
        temperature = np.interp(even, held, warm)
        return Law(
            held[0], (held[-1] - held[0]) / (entries - 1), temperature, conductivity(temperature),
            np.interp(even, held, carried),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class WetBedding:
    """Bedding that is half water by volume, frozen and thawed (reference values of a textbook check, not of a bin).

    conductivities [W/mK], capacities and latent heat per volume [J/m3K, J/m3]; freezing begins at freezing_c, below
    which the share Tf/T of the water is still liquid.
    """

    thawed_conductivity: float = PROBLEM.conductivity
    thawed_capacity: float = PROBLEM.capacity
    frozen_conductivity: float = 0.6
    frozen_capacity: float = 1.5e6
    latent: float = 1.67e8
    freezing_c: float = -0.3

    def liquid(self, temperature_c: Array) -> Array:
        """Share of the water that is liquid."""
        return np.where(temperature_c >= self.freezing_c, 1.0, self.freezing_c / np.minimum(temperature_c, -1e-12))

    def conductivity(self, temperature_c: Array) -> Array:
        """Between frozen and thawed by the liquid share [W/mK]."""
        gain = self.thawed_conductivity - self.frozen_conductivity
        return np.asarray(self.frozen_conductivity + gain * self.liquid(temperature_c))

    def enthalpy(self, temperature_c: Array) -> Array:
        """Above thawed bedding at 0 degC [J/m3]: solids and ice, and the share still liquid with its heat of fusion."""
        ice = self.frozen_capacity * temperature_c - self.latent
        melted = (self.thawed_capacity - self.frozen_capacity) * temperature_c + self.latent
        return np.asarray(ice + self.liquid(temperature_c) * melted)

    def law(self) -> Law:
        """As a table."""
        return Law.of(self.enthalpy, self.conductivity)

    def longest_step_s(self, widths_m: tuple[float, float, float]) -> float:
        """Longest stable explicit step [s], with a tenth to spare; frozen bedding is the quickest."""
        spread = max(self.frozen_conductivity / self.frozen_capacity, self.thawed_conductivity / self.thawed_capacity)
        return 0.9 / (2 * spread * sum(width**-2 for width in widths_m))


def plain_enthalpy(
    air_c: Array, grid: Grid, *, problem: BenchProblem = PROBLEM, bedding: WetBedding | None = None
) -> Array:
    """The six points over hours of still air, (hours + 1, 6) [degC]; the grid is that of the whole brick, even."""
    bedding = bedding or WetBedding()
    if grid[0] % 2 or grid[1] % 2:
        raise ValueError(f"A quarter of {grid} cells is not whole; give even numbers along length and width.")
    quarter = (grid[0] // 2, grid[1] // 2, grid[2])
    length, width, depth = (side / cells for side, cells in zip(problem.size_m, grid, strict=True))
    widths = (length, width, depth)
    steps = math.ceil(HOUR_S / bedding.longest_step_s(widths))
    law = bedding.law()
    start = float(bedding.enthalpy(np.array(problem.start_c)))
    held = np.full(quarter, start)
    weight = np.einsum("pi,pj,pk->pijk", *(_folded(problem, axis, grid[axis]) for axis in range(3)))
    return np.asarray(
        _march(
            air_c, held, law.first, law.step, law.temperature_c, law.conductivity, law.carried, np.array(widths),
            np.array([problem.side, problem.base, problem.top]), problem.source, steps,
            np.ascontiguousarray(weight.reshape(weight.shape[0], -1)),
        )
    )  # fmt: skip


def _folded(problem: BenchProblem, axis: int, cells: int) -> Array:
    """Weights (points, cells) that read the points; mirrored onto the half along length and width."""
    weight = between_centres(problem, axis, cells)
    return weight if axis == 2 else weight[:, : cells // 2] + weight[:, cells // 2 :][:, ::-1]


@nb.njit(cache=True)
def _march(
    air_c: Array, held: Array, first: float, step: float, table_c: Array, table_k: Array, table_q: Array, width: Array,
    films: Array, source: float, steps: int, weight: Array,
) -> Array:  # fmt: skip
    """Explicit steps; the low end of length and width is the wall, the high end the plane of symmetry."""
    nx, ny, nz = held.shape
    dx, dy, dz = width
    side, base, top = films
    dt = HOUR_S / steps
    t, k, q = np.empty_like(held), np.empty_like(held), np.empty_like(held)
    read = np.empty((air_c.size + 1, weight.shape[0]))
    for hour in range(air_c.size + 1):
        for _ in range(steps if hour else 0):
            air = air_c[hour - 1]
            for x in range(nx):
                for y in range(ny):
                    for z in range(nz):
                        h = held[x, y, z] + dt * source
                        if x == 0:
                            h += dt * (air - t[x, y, z]) / (1 / side + dx / 2 / k[x, y, z]) / dx
                        else:
                            h += dt * (q[x - 1, y, z] - q[x, y, z]) / dx**2
                        if x < nx - 1:
                            h += dt * (q[x + 1, y, z] - q[x, y, z]) / dx**2
                        if y == 0:
                            h += dt * (air - t[x, y, z]) / (1 / side + dy / 2 / k[x, y, z]) / dy
                        else:
                            h += dt * (q[x, y - 1, z] - q[x, y, z]) / dy**2
                        if y < ny - 1:
                            h += dt * (q[x, y + 1, z] - q[x, y, z]) / dy**2
                        if z == 0:
                            h += dt * (air - t[x, y, z]) / (1 / base + dz / 2 / k[x, y, z]) / dz
                        else:
                            h += dt * (q[x, y, z - 1] - q[x, y, z]) / dz**2
                        if z == nz - 1:
                            h += dt * (air - t[x, y, z]) / (1 / top + dz / 2 / k[x, y, z]) / dz
                        else:
                            h += dt * (q[x, y, z + 1] - q[x, y, z]) / dz**2
                        held[x, y, z] = h
            _look_up(held, first, step, table_c, table_k, table_q, t, k, q)
        if hour == 0:
            _look_up(held, first, step, table_c, table_k, table_q, t, k, q)
        read[hour] = weight @ t.ravel()
    return read


@nb.njit(cache=True)
def _look_up(
    held: Array, first: float, step: float, table_c: Array, table_k: Array, table_q: Array, t: Array, k: Array, q: Array
) -> None:
    for x in range(held.shape[0]):
        for y in range(held.shape[1]):
            for z in range(held.shape[2]):
                place = min(max((held[x, y, z] - first) / step, 0.0), table_c.size - 2.0)
                low = int(place)
                part = place - low
                t[x, y, z] = table_c[low] + part * (table_c[low + 1] - table_c[low])
                k[x, y, z] = table_k[low] + part * (table_k[low + 1] - table_k[low])
                q[x, y, z] = table_q[low] + part * (table_q[low + 1] - table_q[low])
