"""Time and error of underlid's heat solvers beside general tools, in one run on one core; prints Markdown tables.

Times are processor time, so that other work on the machine counts as little as can be.

Every error is taken at six points of the bedding and every hour of the span, against a reference that is finer in
space and time by far (`peers.reference`, and `peers_freezing.plain_enthalpy` on its fine grid).
"""

from __future__ import annotations

import os

# One core; set before NumPy and Numba are imported, which read this once.
os.environ.update(
    dict.fromkeys(("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
)

import math
import platform
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numba as nb
import numpy as np
from numpy.typing import NDArray
from peers import (
    GRID,
    HOUR_S,
    PROBLEM,
    YEAR_H,
    Grid,
    Method,
    cells_exact_in_time,
    fipy_backward_euler,
    greensboro_air,
    reference,
    sand_point_air,
    scipy_bdf,
    scipy_splu,
)
from peers_freezing import FINE, WetBedding, plain_enthalpy

from underlid.bedding.vessel import Vessel
from underlid.heat import field, reduced
from underlid.heat import grid as field_grid
from underlid.heat.model import Drive, Thermal, simulate, standard_probes

Array = NDArray[np.float64]

WINTER_H = 1400  # January and February; over a year the fine reference would take most of ten minutes


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the table.

    span_h : hours run; a year where it is quick enough
    repeats : the best time of these counts
    sets : parameter sets that one run handles at once; the time shown is per set
    """

    name: str
    run: Method
    grid: Grid = GRID
    span_h: int = YEAR_H
    repeats: int = 3
    sets: int = 1


# Ours: functions of the hourly air and a grid, like the peers. -----------------------------------------------------


def _read(grid: field_grid.Grid) -> Array:
    """Weights (points, cells) that read the six points of the brick, mirrored onto the quarter that is solved."""
    length, width, _ = PROBLEM.size_m
    x, y, z = grid.nodes
    rows = [
        np.einsum(
            "i,j,k->ijk",
            field_grid.even_weights(x, abs(at_x - length / 2)),
            field_grid.even_weights(y, abs(at_y - width / 2)),
            field_grid.quadratic_weights(z, at_z),
        ).ravel()
        for at_x, at_y, at_z in PROBLEM.probes_m.values()
    ]
    return np.array(rows)


def full_field(medium: field.Medium, tolerance_k: float = field.TOLERANCE_K) -> Method:
    """The full field on a graded grid, of bedding that may freeze."""

    def run(air_c: Array, grid: Grid) -> Array:
        cells = field_grid.Grid.of(PROBLEM.size_m, (grid[0] // 2, grid[1] // 2, grid[2]))
        watts = np.zeros((air_c.size, 6))
        watts[:, 0] = PROBLEM.source * math.prod(PROBLEM.size_m)
        found = field.run(
            cells,
            medium,
            start_c=PROBLEM.start_c,
            outside_c=np.repeat(air_c[:, None], 3, axis=1),
            films=np.array([PROBLEM.side, PROBLEM.top, PROBLEM.base]),
            watts=watts,
            tolerance_k=tolerance_k,
        )
        return np.asarray(found @ _read(cells).T)

    return run


WET = WetBedding()
DRY = field.Medium(PROBLEM.capacity, PROBLEM.capacity, PROBLEM.conductivity, PROBLEM.conductivity, 0.0, -100.0)
FREEZES = field.Medium(
    WET.thawed_capacity, WET.frozen_capacity, WET.thawed_conductivity, WET.frozen_conductivity, WET.latent,
    WET.freezing_c,
)  # fmt: skip

BATCH = 1000  # parameter sets that the reduced model steps in one call, as a fit does


def reduced_model(air_c: Array, grid: Grid) -> Array:
    """The reduced model stepped bare, for many conductivities about that of the problem; read for the first of them."""
    cells = (grid[0] // 2, grid[1] // 2, grid[2])
    basis = reduced.basis(PROBLEM.size_m, cells)
    conductivity = PROBLEM.conductivity * np.linspace(1.0, 1.5, BATCH)
    films, watts = np.array([PROBLEM.side, PROBLEM.top, PROBLEM.base]), PROBLEM.source * math.prod(PROBLEM.size_m)
    read = _read(field_grid.Grid.of(PROBLEM.size_m, cells))
    found = np.empty((BATCH, air_c.size + 1, len(read)))
    _march(basis, conductivity, PROBLEM.capacity, films, watts, air_c, PROBLEM.start_c, read, found)
    return np.asarray(found[0])


@nb.njit(cache=True, fastmath=field.FAST)
def _march(basis, conductivity, capacity, films, watts, air_c, start_c, read, found):  # type: ignore[no-untyped-def]
    for s in range(conductivity.size):
        model = reduced.modes(basis, conductivity[s], capacity, films, HOUR_S)
        z = np.dot(np.dot(basis.share * start_c, basis.v), model.into)
        from_air = model.gain[0] + model.gain[1] + model.gain[2]
        from_heat = watts * model.gain[3]
        points = np.dot(read, model.lift)
        for h in range(air_c.size + 1):
            for p in range(points.shape[0]):
                total = 0.0
                for i in range(z.size):
                    total += points[p, i] * z[i]
                found[s, h, p] = total
            if h < air_c.size:
                for i in range(z.size):
                    z[i] = model.decay[i] * z[i] + air_c[h] * from_air[i] + from_heat[i]


WARMER_K = 17.5  # so that nothing freezes in Greensboro's year


def product_path(full: bool = False, sets: int = BATCH) -> Method:
    """`simulate`, as a fit calls it, with breakdown, evaporation and water; `full` steps the cells instead.

    It reads three places of a bin of the problem's size, so its error is told against its own full field.
    """

    def run(air_c: Array, grid: Grid) -> Array:
        length, width, depth = PROBLEM.size_m
        vessel = Vessel(length, width, depth + 0.05, depth)
        thermal = Thermal(*(np.full(sets, value) for value in (210.0, 0.65, 1.0, 1.0, 2.0, 1.0, 1.0)))
        found = simulate(
            vessel,
            thermal,
            Drive(air_c + WARMER_K, np.zeros(air_c.size), wind_m_s=3.0),
            list(standard_probes(vessel).values()),
            grid=(grid[0] // 2, grid[1] // 2, grid[2]),
            full=full,
        )
        return np.asarray(found.probes_c[0])

    return run


#: Graded cells of the whole brick; a quarter of them is solved. The first is the grid of a fit.
GRADED: tuple[Grid, ...] = ((8, 8, 6), (10, 8, 7), (12, 10, 9), (14, 12, 10), (20, 16, 14))
#: And cells whose error in time must be held below the usual, or it would outweigh that of the cells.
FINER_STEPS: tuple[tuple[Grid, float], ...] = (((14, 12, 10), 0.5), ((16, 14, 12), 0.5), ((20, 16, 14), 0.3))
OURS = [
    *(Entry("underlid, full field, nothing freezes", full_field(DRY), grid) for grid in GRADED),
    *(
        Entry(f"underlid, full field, nothing freezes, steps to {tolerance_k:g} K", full_field(DRY, tolerance_k), grid)
        for grid, tolerance_k in FINER_STEPS
    ),
    *(
        Entry("underlid, reduced model, stepped bare", reduced_model, grid, sets=BATCH)
        for grid in (GRADED[0], GRADED[2])
    ),
]
OURS_FREEZING = [Entry("underlid, full field with freezing", full_field(FREEZES), grid) for grid in GRADED]
PRODUCT = Entry("underlid, reduced model in `simulate`", product_path(), GRADED[0], sets=BATCH)
# -------------------------------------------------------------------------------------------------------------------

PEERS = [
    Entry("SciPy sparse LU kept, backward Euler, 1 step an hour", scipy_splu(1.0, 1), repeats=1),
    Entry("SciPy sparse LU kept, Crank-Nicolson, 1 step an hour", scipy_splu(0.5, 1), repeats=1),
    Entry("SciPy sparse LU kept, backward Euler, 6 steps an hour", scipy_splu(1.0, 6), span_h=1500, repeats=1),
    Entry("SciPy sparse LU kept, Crank-Nicolson, 6 steps an hour", scipy_splu(0.5, 6), span_h=1500, repeats=1),
    Entry("SciPy solve_ivp, BDF, rtol 1e-4, Jacobian given", scipy_bdf, span_h=96, repeats=1),
    Entry("FiPy, backward Euler, 1 step an hour, PCG 1e-8", fipy_backward_euler, span_h=200, repeats=1),
    Entry("the same cells, exact in time by modes, six points only", cells_exact_in_time),
    Entry("Legendre modes, exact in time, six points only", reference, grid=(16, 14, 12)),
]
PEERS_FREEZING = [Entry("plain explicit enthalpy, numba", plain_enthalpy)]


def seconds_per_year(entry: Entry, air_c: Array) -> float:
    """Best time of a year and a set; from a shorter span along the line through a quarter of it and the whole."""

    def best(hours: int) -> float:
        times = []
        for _ in range(entry.repeats):
            start = time.process_time()
            entry.run(air_c[:hours], entry.grid)
            times.append(time.process_time() - start)
        return min(times)

    entry.run(air_c[:2], entry.grid)  # imports, compiles, warms the caches
    whole = best(entry.span_h)
    if entry.span_h < YEAR_H:
        part_h = entry.span_h // 4
        whole += (whole - best(part_h)) / (entry.span_h - part_h) * (YEAR_H - entry.span_h)
    return whole / entry.sets


def errors(found_c: Array, true_c: Array) -> tuple[float, float, float]:
    """Difference over the hours that both cover [K]: the largest, that of 99 readings in 100, root mean square."""
    hours = min(len(found_c), len(true_c))
    gap = np.abs(found_c[:hours] - true_c[:hours])
    return float(gap.max()), float(np.quantile(gap, 0.99)), float(np.sqrt(np.mean(gap**2)))


@dataclass(frozen=True, slots=True)
class Measured:
    """An entry's time [s per year and set] and its errors over the six points [K]."""

    entry: Entry
    seconds: float
    largest: float
    most: float
    rms: float

    def as_good_as(self, other: Measured) -> bool:
        """Whether neither the largest nor the mean error is above the other's."""
        return self.rms <= other.rms and self.largest <= other.largest


def measure(entry: Entry, air_c: Array, true_c: Array) -> Measured:
    """Time and errors of one entry."""
    seconds = seconds_per_year(entry, air_c)
    return Measured(entry, seconds, *errors(entry.run(air_c[: entry.span_h], entry.grid), true_c))


def print_table(entries: Sequence[Entry], air_c: Array, true_c: Array) -> list[Measured]:
    """One line an entry, printed as it is measured."""
    print("| method | cells or modes | s per year | timed over | error K: max | 99 % | rms |")
    print("|---|---|---|---|---|---|---|")
    rows = []
    for entry in entries:
        row = measure(entry, air_c, true_c)
        timed = "a year" if entry.span_h == YEAR_H else f"{entry.span_h} h, scaled"
        if entry.sets > 1:
            timed += f", {entry.sets} sets at once, per set"
        grid = "x".join(map(str, entry.grid))
        print(
            f"| {entry.name} | {grid} | {row.seconds:.3g} | {timed} | {row.largest:.2g} | {row.most:.2g} "
            f"| {row.rms:.2g} |",
            flush=True,
        )
        rows.append(row)
    return rows


def print_goals(linear: Sequence[Measured], freezing: Sequence[Measured], product: Measured) -> None:
    """What was aimed at, what was measured, and whether it was met."""

    def quickest(rows: Sequence[Measured]) -> Measured | None:
        return min(rows, key=lambda row: row.seconds, default=None)

    def told(row: Measured | None) -> str:
        if row is None:
            return "no grid of ours is so good"
        return f"{row.seconds:.3g} s on {'x'.join(map(str, row.entry.grid))} (rms {row.rms:.2g}, max {row.largest:.2g})"

    def line(goal: str, measured: str, met: bool) -> None:
        print(f"| {goal} | {measured} | {'yes' if met else 'no'} |")

    ours = [row for row in linear if row.entry.name.startswith("underlid, full")]
    bare = [row for row in linear if row.entry.sets > 1]
    even = next(row for row in linear if row.entry.run is cells_exact_in_time)
    frozen = [row for row in freezing if row.entry.name.startswith("underlid")]
    print("\n| goal | measured | met |\n|---|---|---|")
    best = quickest([row for row in ours if row.as_good_as(even)])
    line(
        f"a year of the full field in 0.1 s, as good as 20x16x14 even cells (rms {even.rms:.2g}, max "
        f"{even.largest:.2g} K at these points)", told(best), best is not None and best.seconds <= 0.1,
    )  # fmt: skip
    best = quickest([row for row in ours if row.rms <= 0.041 and row.largest <= 0.31])
    line("the same for rms 0.041 and max 0.31 K", told(best), best is not None and best.seconds <= 0.1)
    best = quickest([row for row in frozen if row.rms < 0.05])
    line("a year with freezing in 0.25 s, rms below 0.05 K", told(best), best is not None and best.seconds <= 0.25)
    for name, row in [("stepped bare", bare[0]), ("in `simulate`", product)]:
        line(
            f"a year and set of the reduced model in 0.1 ms, {name}", f"{row.seconds * 1e3:.2g} ms",
            row.seconds <= 1e-4,
        )  # fmt: skip
    for peer in (row for row in linear if row.entry.name.startswith("SciPy")):
        best = quickest([row for row in ours if row.as_good_as(peer)])
        times = peer.seconds / best.seconds if best else 0.0
        measured = f"{times:.0f} times: {told(best)}" if best else told(best)
        line(f"20 times as quick as {peer.entry.name}, as good", measured, times >= 20)


def machine() -> str:
    """What it ran on, as far as the system tells."""
    facts = Path("/proc/cpuinfo")
    lines = facts.read_text().splitlines() if facts.exists() else []
    named = (line.partition(":")[2].strip() for line in lines if line.startswith("model name"))
    processor = next(named, platform.processor() or platform.machine())
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba", "fipy"))
    return f"One core of {processor}; Python {platform.python_version()}, {libraries}."


def main() -> None:
    print(machine())
    print("\nA brick of bedding through a typical year at Greensboro, nothing freezes:\n")
    year = greensboro_air()
    true_c = reference(year)
    linear = print_table([*OURS, *PEERS], year, true_c)
    coarser = reference(year, (32, 28, 26))
    print(f"\nWith a fifth fewer polynomials the reference moves by {errors(coarser, true_c)[0]:.1g} K at most.")

    print(
        f"\nA bin of that size, {WARMER_K:g} K warmer so that nothing freezes, with breakdown, evaporation and water;"
    )
    print("errors are against its own full field on the same cells, at three places:\n")
    [product] = print_table([PRODUCT], year, product_path(full=True, sets=1)(year, PRODUCT.grid))

    print(f"\nThe same brick, half water, at Sand Point with freezing; errors over the first {WINTER_H} h:\n")
    year = sand_point_air()
    winter = year[:WINTER_H]
    true_c = plain_enthalpy(winter, FINE)
    freezing = print_table([*OURS_FREEZING, *PEERS_FREEZING], year, true_c)
    largest, most, rms = errors(full_field(FREEZES)(winter, FINE), true_c)
    print(
        f"\nOn {FINE[0]}x{FINE[1]}x{FINE[2]} cells underlid and the plain method, which is the reference, differ by",
        end=" ",
    )
    print(f"{rms:.2g} K rms, {most:.2g} K in 99 of 100 readings, {largest:.2g} K at most: so far is the truth known.")
    print("The largest errors last an hour or two, as the last ice at a point goes a little early or late.")
    print_goals(linear, freezing, product)


if __name__ == "__main__":
    main()
