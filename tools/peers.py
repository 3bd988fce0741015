"""What underlid's heat solvers are timed and checked against: general tools on one fixed problem.

The problem: a brick of bedding that makes a little heat, behind films that differ on sides, floor and top, in hourly
air that holds still within each hour; the ground below is as cold as the air. Every method is a function of the
hourly air [degC] and a grid (cells along length, width, depth) that returns the temperature at six fixed points at the
start and after every hour, (hours + 1, 6) [degC]. With one air on all faces the equations are, for the field T,

    dT/dt = A (T - air) + source / capacity

where A is the conduction operator with its films, per heat capacity. Cell methods read the points by linear
interpolation between cell centres, level beyond the outermost.

The reference is exact in time and free of cells: along each axis the eigenfunctions of conduction between two films,
found in Legendre polynomials (Galerkin; the films are natural conditions, as in the finite element method). The field
is a sum over products of three eigenfunctions, each of which decays at its own rate towards the air of the hour. Its
error in space falls steeply with their number; `bench` prints what a fifth fewer would change.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numba as nb
import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.integrate import solve_ivp
from scipy.sparse.linalg import splu

from underlid.weather.files import demo_weather, read_weather

Array = NDArray[np.float64]
Grid = tuple[int, int, int]
Method = Callable[[Array, Grid], Array]

HOUR_S = 3600.0
YEAR_H = 8760
GRID: Grid = (20, 16, 14)
POLYNOMIALS: Grid = (40, 36, 32)


@dataclass(frozen=True, slots=True)
class BenchProblem:
    """The brick and its six points.

    size_m : length, width, depth [m]; depth is counted from the floor up
    conductivity [W/mK], capacity [J/m3K], source [W/m3], films side, base and top [W/m2K], start [degC]
    """

    size_m: tuple[float, float, float] = (0.45, 0.32, 0.29)
    conductivity: float = 0.35
    capacity: float = 2.4e6
    source: float = 20.0
    side: float = 20.0
    base: float = 3.0
    top: float = 5.0
    start_c: float = 10.0

    @property
    def films(self) -> tuple[tuple[float, float], ...]:
        """Films at the low and the high end of length, width and depth [W/m2K]."""
        return (self.side, self.side), (self.side, self.side), (self.base, self.top)

    @property
    def probes_m(self) -> dict[str, tuple[float, float, float]]:
        """Six points: from the easiest to the hardest place for a coarse grid."""
        length, width, depth = self.size_m
        return {
            "centre": (length / 2, width / 2, depth / 2),
            "3 cm from a long wall": (length / 2, 0.03, depth / 2),
            "2 cm under the top": (length / 2, width / 2, depth - 0.02),
            "2 cm above the floor": (length / 2, width / 2, 0.02),
            "top corner": (0.02, 0.02, depth - 0.02),
            "bottom corner": (0.02, 0.02, 0.02),
        }

    def positions_m(self, axis: int) -> Array:
        """Where the points lie along an axis [m]."""
        return np.array([point[axis] for point in self.probes_m.values()])


PROBLEM = BenchProblem()


def greensboro_air() -> Array:
    """A typical year at Greensboro, North Carolina, from the TMY3 file that pvlib carries (8760,) [degC]."""
    spec = find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("The bench takes its weather from pvlib; install the development packages.")
    return read_weather(Path(spec.submodule_search_locations[0], "data", "723170TYA.CSV")).air_c


def sand_point_air() -> Array:
    """A typical year at Sand Point, Alaska, from the demo's file (8760,) [degC]."""
    return read_weather(demo_weather()).air_c


# --- exact in time, by modes ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Modes:
    """Eigenfunctions along one axis.

    rate : (modes,) decay [1/s]
    weight : (points, modes) what each adds to the reading at each point when the field is 1 everywhere
    """

    rate: Array
    weight: Array

    @staticmethod
    def of(stiffness: Array, mass: Array, one: Array, reading: Array) -> Modes:
        """From a symmetric pair of matrices, the coefficients of the constant 1, and readings (points, n)."""
        rate, vectors = linalg.eigh(stiffness, mass)
        return Modes(rate / PROBLEM.capacity, (reading @ vectors) * (vectors.T @ mass @ one))


def cell_modes(axis: int, cells: int) -> Modes:
    """Modes of the cell grid itself: exact in time, with the cells' error in space."""
    mass = np.diag(np.full(cells, PROBLEM.size_m[axis] / cells))
    return Modes.of(_conduction(axis, cells).toarray(), mass, np.ones(cells), between_centres(PROBLEM, axis, cells))


def polynomial_modes(axis: int, count: int) -> Modes:
    """Modes in Legendre polynomials up to degree count - 1."""
    length, (low, high) = PROBLEM.size_m[axis], PROBLEM.films[axis]
    points, weights = legendre.leggauss(count)
    slope: Array = np.array([legendre.legval(points, legendre.legder(row)) for row in np.eye(count)])
    ends = legendre.legvander(np.array([-1.0, 1.0]), count - 1)
    stiffness = PROBLEM.conductivity * 2 / length * (slope * weights) @ slope.T + (ends.T * (low, high)) @ ends
    mass: Array = np.diag(float(length) / (2 * np.arange(count, dtype=float) + 1))
    reading = legendre.legvander(2 * PROBLEM.positions_m(axis) / length - 1, count - 1)
    return Modes.of(stiffness, mass, np.eye(count)[0], np.asarray(reading, np.float64))


def by_modes(air_c: Array, axes: list[Modes]) -> Array:
    """The six points with exact time, from modes along the three axes."""
    x, y, z = axes
    rate = (x.rate[:, None, None] + y.rate[:, None] + z.rate).ravel()
    weight = np.einsum("pi,pj,pk->pijk", x.weight, y.weight, z.weight).reshape(x.weight.shape[0], -1)
    felt = np.abs(weight).max(axis=0) > 1e-14  # the odd ones along a symmetric axis are never stirred
    rate, weight = rate[felt], np.ascontiguousarray(weight[:, felt])
    warmed = PROBLEM.source / (PROBLEM.capacity * rate)
    return np.asarray(_follow(air_c, np.exp(-rate * HOUR_S), warmed, weight, PROBLEM.start_c))


@nb.njit(cache=True)
def _follow(air_c: Array, keep: Array, warmed: Array, weight: Array, start_c: float) -> Array:
    state = np.full(keep.size, start_c)
    read = np.empty((air_c.size + 1, weight.shape[0]))
    read[0] = weight @ state
    for hour in range(air_c.size):
        for mode in range(keep.size):
            rest = air_c[hour] + warmed[mode]
            state[mode] = rest + keep[mode] * (state[mode] - rest)
        read[hour + 1] = weight @ state
    return read


def cells_exact_in_time(air_c: Array, grid: Grid) -> Array:
    """The cell grid with no error in time: what is left is the error of the cells and of reading between them."""
    return by_modes(air_c, [cell_modes(axis, cells) for axis, cells in enumerate(grid)])


def reference(air_c: Array, polynomials: Grid = POLYNOMIALS) -> Array:
    """The reference solution; compare with fewer polynomials to see how far it has converged."""
    return by_modes(air_c, [polynomial_modes(axis, count) for axis, count in enumerate(polynomials)])


# --- cells ------------------------------------------------------------------------------------------------------


def _conduction(axis: int, cells: int) -> sparse.csr_array:
    """Conductances per area along one axis [W/m2K]: between even cells, and from the outer ones through the films."""
    width, (low, high) = PROBLEM.size_m[axis] / cells, PROBLEM.films[axis]
    between = PROBLEM.conductivity / width
    outside = [1 / (1 / film + width / 2 / PROBLEM.conductivity) for film in (low, high)]
    diagonal = np.full(cells, 2 * between)
    diagonal[[0, -1]] += np.array(outside) - between
    return sparse.diags_array([diagonal, *[np.full(cells - 1, -between)] * 2], offsets=[0, 1, -1], format="csr")


def between_centres(problem: BenchProblem, axis: int, cells: int) -> Array:
    """Weights (points, cells) of linear interpolation, level beyond the outermost centres."""
    centres = (np.arange(cells) + 0.5) * problem.size_m[axis] / cells
    return np.array([np.interp(problem.positions_m(axis), centres, row) for row in np.eye(cells)]).T


def conduction_matrix(grid: Grid) -> sparse.csc_array:
    """A of the equation in the module's first lines [1/s]; cells in C order."""
    one_axis = [
        _conduction(axis, cells) / (PROBLEM.size_m[axis] / cells * PROBLEM.capacity) for axis, cells in enumerate(grid)
    ]
    x, y, z = (sparse.eye_array(cells) for cells in grid)
    along_x = sparse.kron(one_axis[0], sparse.kron(y, z))
    along_y = sparse.kron(x, sparse.kron(one_axis[1], z))
    along_z = sparse.kron(x, sparse.kron(y, one_axis[2]))
    return sparse.csc_array(-(along_x + along_y + along_z))


def reading_matrix(grid: Grid) -> Array:
    """Weights (points, cells) that read the six points."""
    along = (between_centres(PROBLEM, axis, cells) for axis, cells in enumerate(grid))
    return np.asarray(np.einsum("pi,pj,pk->pijk", *along).reshape(len(PROBLEM.probes_m), -1))


def scipy_splu(theta: float, steps_per_hour: int) -> Method:
    """SciPy's sparse LU, factored once: backward Euler with theta 1, Crank-Nicolson with 0.5."""

    def run(air_c: Array, grid: Grid) -> Array:
        a, read = conduction_matrix(grid), reading_matrix(grid)
        step_s = HOUR_S / steps_per_hour
        same = sparse.eye_array(a.shape[0], format="csc")
        solve = splu(sparse.csc_array(same - theta * step_s * a), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                     options={"SymmetricMode": True}).solve  # fmt: skip
        forward = sparse.csr_array(same + (1 - theta) * step_s * a)
        from_air = -step_s * (a @ np.ones(a.shape[0]))
        field = np.full(a.shape[0], PROBLEM.start_c)
        found = [read @ field]
        for air in air_c:
            added = from_air * air + step_s * PROBLEM.source / PROBLEM.capacity
            for _ in range(steps_per_hour):
                field = solve((forward @ field if theta < 1 else field) + added)
            found.append(read @ field)
        return np.array(found)

    return run


def scipy_bdf(air_c: Array, grid: Grid) -> Array:
    """SciPy's stiff solver of variable order and step in one run, told the Jacobian."""
    a, read = conduction_matrix(grid), reading_matrix(grid)
    last = air_c.size - 1

    def slope(seconds: float, field: Array) -> Array:
        air = air_c[min(int(seconds / HOUR_S), last)]
        return np.asarray(a @ (field - air) + PROBLEM.source / PROBLEM.capacity)

    hours = np.arange(air_c.size + 1) * HOUR_S
    start = np.full(a.shape[0], PROBLEM.start_c)
    # No step longer than an hour, or an hour of air could be stepped over unseen.
    run = solve_ivp(
        slope, (0.0, hours[-1]), start, "BDF", hours, jac=a, rtol=1e-4, atol=1e-3, max_step=HOUR_S
    )  # fmt: skip
    return np.asarray((read @ run.y).T)


def fipy_backward_euler(air_c: Array, grid: Grid) -> Array:
    """FiPy, backward Euler by the hour, conjugate gradients to 1e-8; films as an implicit source in the outer cells."""
    # Imported here: FiPy picks its solvers from what is installed when imported, which no other method should wait for.
    from fipy import CellVariable, DiffusionTerm, Grid3D, ImplicitSourceTerm, TransientTerm, Variable
    from fipy.solvers.scipy import LinearPCGSolver

    read = reading_matrix(grid)
    widths = [side / cells for side, cells in zip(PROBLEM.size_m, grid, strict=True)]
    mesh = Grid3D(nx=grid[0], ny=grid[1], nz=grid[2], dx=widths[0], dy=widths[1], dz=widths[2])
    outward = -(conduction_matrix(grid) @ np.ones(np.prod(grid))) * PROBLEM.capacity  # W/m3K, to the air
    film = CellVariable(mesh=mesh, value=_fipy_order(outward, grid))
    bedding = CellVariable(mesh=mesh, value=PROBLEM.start_c, hasOld=True)
    air = Variable(value=air_c[0])
    balance = TransientTerm(PROBLEM.capacity) == (
        DiffusionTerm(PROBLEM.conductivity) - ImplicitSourceTerm(film) + film * air + PROBLEM.source
    )
    solver = LinearPCGSolver(tolerance=1e-8)
    found = [np.full(len(PROBLEM.probes_m), PROBLEM.start_c)]
    for outside in air_c:
        air.setValue(outside)
        bedding.updateOld()
        balance.solve(var=bedding, dt=HOUR_S, solver=solver)
        found.append(read @ np.asarray(bedding.value).reshape(grid[::-1]).T.ravel())
    return np.array(found)


def _fipy_order(cells: Array, grid: Grid) -> Array:
    """FiPy counts cells along length first."""
    return np.ascontiguousarray(cells.reshape(grid).T).ravel()
