"""The full field: conduction with freezing in every cell of the bedding, stepped by enthalpy.

Each cell keeps its enthalpy; what flows through a face leaves one cell and enters the next, so heat is conserved
to rounding however the water freezes. Conductivity follows the ice (taken as each step begins), and time is stepped
by a stabilised explicit method that is refined by its own estimate of its error.

Drainage and air holes are ignored, and the four sides are alike, so a quarter of the box is solved.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.heat import chebyshev, properties
from underlid.heat.grid import Grid

Array = NDArray[np.float64]

TOLERANCE_K = 0.5  # estimated error of one step in the worst cell; space errs more (docs/verification.md)
MOST_PARTS = 32  # of an hour; enough for any bedding there is
FREEZING_IS_NEAR_K = 0.5  # above the freezing point, within which the full enthalpy formula is used

STAGES, REACH = chebyshev.tables()
FAST = {"contract", "reassoc", "nsz"}  # sums may be reordered; NaN and infinity keep their meaning
ONE = np.uint64(1)  # unsigned indices: a signed one is checked for wrapping round, which keeps loops from vector units


class Medium(NamedTuple):
    """What one bedding is made of: heat capacities [J/m3K], conductivities [W/mK], heat of fusion [J/m3], Tf [degC]."""

    thawed: float
    frozen: float
    k_thawed: float
    k_frozen: float
    latent: float
    freezing_c: float


@nb.njit(cache=True)
def medium_of(dry_kg_m3, water):  # type: ignore[no-untyped-def]
    """Bedding of a dry bulk density [kg/m3] and a water fraction."""
    return Medium(
        properties.heat_capacity(dry_kg_m3, water), properties.frozen_capacity(dry_kg_m3, water),
        properties.conductivity(water), properties.frozen_conductivity(water), properties.latent_heat(water),
        properties.FIRST_FREEZING_C,
    )  # fmt: skip


class Cells(NamedTuple):
    """A grid laid out flat, with one plane of idle cells before and after. Arrays are (cells + 2 planes,).

    first, cells, plane, row : index of the first cell, number of cells, and strides along x and y
    across_x, across_y, across_z : area over distance to the next node below along the axis [m], 0 where there is none
    per_volume : [1/m3]; end, wall, top, base : outer faces [m2]; half_x, half_y, half_z : half widths [m]
    patterns : (6, ...) shares of a watt, see Grid.patterns
    """

    first: int
    cells: int
    plane: int
    row: int
    across_x: Array
    across_y: Array
    across_z: Array
    per_volume: Array
    end: Array
    wall: Array
    top: Array
    base: Array
    half_x: Array
    half_y: Array
    half_z: Array
    patterns: Array

    @staticmethod
    def of(grid: Grid) -> Cells:
        """The cells of a grid."""
        nx, ny, nz = grid.shape
        plane, row, count = ny * nz, nz, nx * ny * nz

        def flat(values: Array, idle: float = 0.0) -> Array:
            laid: Array = np.full(count + 2 * plane, idle)
            laid[plane : plane + count] = np.broadcast_to(values, (nx, ny, nz)).ravel()
            return laid

        x, y, z = np.meshgrid(*grid.widths, indexing="ij")
        across = []
        for axis, area in enumerate((y * z, x * z, x * y)):
            apart = np.diff(grid.nodes[axis], prepend=-np.inf)  # nothing lies below the first cell
            across.append(flat(area / apart.reshape([-1 if a == axis else 1 for a in range(3)])))
        end, wall, top, base = (flat(face) for face in grid.faces_m2.reshape(4, nx, ny, nz))
        half_x, half_y, half_z = (flat(width / 2, 1.0) for width in (x, y, z))
        return Cells(
            np.uint64(plane), np.uint64(count), np.uint64(plane), np.uint64(row),  # type: ignore[arg-type]
            across[0], across[1], across[2], flat(1 / (x * y * z)), end, wall, top, base, half_x, half_y, half_z,
            np.array([flat(pattern.reshape(nx, ny, nz)) for pattern in grid.patterns()]),
        )  # fmt: skip


class Scratch(NamedTuple):
    """Working arrays of one field, each as long as those of its Cells.

    held : enthalpy [J/m3]; t : temperature [degC]; k : conductivity; gx, gy, gz : conductance of the lower faces [W/K];
    film, source, inflow : to outside [W/K], heat released, and all heat brought in [W]; the rest are stages of a step
    """

    held: Array
    t: Array
    k: Array
    gx: Array
    gy: Array
    gz: Array
    film: Array
    source: Array
    inflow: Array
    begun: Array
    flow_0: Array
    flow: Array
    stage: Array
    before: Array


@nb.njit(cache=True)
def scratch(size):  # type: ignore[no-untyped-def]
    """Fresh working arrays."""
    return Scratch(
        np.zeros(size), np.zeros(size), np.ones(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size),
        np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size), np.zeros(size),
    )  # fmt: skip


@nb.njit(cache=True)
def settle(cells, work, medium):  # type: ignore[no-untyped-def]
    """Set the enthalpy from the temperature, as when a run begins or the bedding's water has changed."""
    for c in range(cells.first, cells.first + cells.cells):
        work.held[c] = properties.enthalpy(
            work.t[c], medium.thawed, medium.frozen, medium.latent, medium.freezing_c
        )  # fmt: skip


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def extremes(cells, t):  # type: ignore[no-untyped-def]
    """The lowest and the highest temperature of any cell."""
    low = high = t[cells.first]
    for c in range(cells.first, cells.first + cells.cells):
        low = min(low, t[c])
        high = max(high, t[c])
    return low, high


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def advance(cells, work, medium, outside_c, films, watts, seconds, parts, tolerance_k):  # type: ignore[no-untyped-def]
    """Step the field through a stretch of constant surroundings, in at least one part.

    outside_c, films : beyond sides, top and base [degC], [W/m2K]; watts : (6,) in the quarter, see Grid.patterns
    parts : into how many equal parts the stretch before was cut
    Returns into how many this one was, so that the next can begin there.
    """
    first, after = cells.first, cells.first + cells.cells
    for c in range(first, after):
        work.begun[c] = work.held[c]
        work.source[c] = 0.0
    for p in range(watts.shape[0]):
        if watts[p] != 0.0:
            for c in range(first, after):
                work.source[c] += watts[p] * cells.patterns[p, c]
    near = medium.freezing_c + FREEZING_IS_NEAR_K
    surroundings = min(outside_c[0], outside_c[1], outside_c[2])
    while True:
        worst = 0.0
        step_s = seconds / parts
        rate, fresh = 0.0, True
        for _ in range(parts):
            icy = min(extremes(cells, work.t)[0], surroundings) < near
            if icy or fresh:
                rate = _conduct(cells, work, medium, outside_c, films, icy)
            fresh = False
            _flow(cells, work, work.flow_0)
            # A field of fine cells that conducts well may be too quick for the most stages: then in several steps.
            steps = 1 + int(step_s * rate / REACH[-1])
            stages = 2
            while stages < REACH.shape[0] - 1 and REACH[stages] < step_s / steps * rate:
                stages += 1
            for step in range(steps):
                if step > 0:
                    _flow(cells, work, work.flow_0)
                worst = max(worst, _step(cells, work, medium, step_s / steps, stages, icy))
            if worst > tolerance_k and parts < MOST_PARTS:
                break
        if worst <= tolerance_k or parts >= MOST_PARTS:
            # The error falls with the cube of the step; fewer parts next time if these were too many.
            return max(1, min(parts, math.ceil(parts * (2.0 * worst / tolerance_k) ** (1.0 / 3.0))))
        parts *= 2
        for c in range(first, after):
            work.held[c] = work.begun[c]
        temperatures(cells, work.held, work.t, medium, True)


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def _conduct(cells, work, medium, outside_c, films, icy):  # type: ignore[no-untyped-def]
    """Conductances with the ice as it is now; returns a bound on the fastest rate of the field [1/s]."""
    first, after = cells.first, cells.first + cells.cells
    k, t = work.k, work.t
    capacity = medium.thawed
    gain, freezing_c = 0.0, medium.freezing_c
    if icy:
        capacity = min(medium.thawed, medium.frozen)
        gain = medium.k_frozen - medium.k_thawed
    k_frozen = medium.k_thawed + gain
    for c in range(first, after):
        k[c] = k_frozen - gain * properties.liquid_share(t[c], freezing_c)
    gx, gy, gz, film, inflow = work.gx, work.gy, work.gz, work.film, work.inflow
    _across(cells.across_x, cells.plane, gx, k, t, k_frozen, gain, freezing_c, first, after)
    _across(cells.across_y, cells.row, gy, k, t, k_frozen, gain, freezing_c, first, after)
    _across(cells.across_z, ONE, gz, k, t, k_frozen, gain, freezing_c, first, after)
    beyond_side, beyond_top, beyond_base = 1.0 / films[0], 1.0 / films[1], 1.0 / films[2]
    for c in range(first, after):
        side = cells.end[c] / (beyond_side + cells.half_x[c] / k[c])
        side += cells.wall[c] / (beyond_side + cells.half_y[c] / k[c])
        top = cells.top[c] / (beyond_top + cells.half_z[c] / k[c])
        base = cells.base[c] / (beyond_base + cells.half_z[c] / k[c])
        film[c] = side + top + base
        inflow[c] = work.source[c] + side * outside_c[0] + top * outside_c[1] + base * outside_c[2]
    fastest = 0.0
    for c in range(first, after):
        out = gx[c] + gx[c + cells.plane] + gy[c] + gy[c + cells.row] + gz[c] + gz[c + ONE]
        fastest = max(fastest, cells.per_volume[c] * (2.0 * out + film[c]))
    return fastest / capacity


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def _across(across, stride, g, k, t, k_frozen, gain, freezing_c, first, after):  # type: ignore[no-untyped-def]
    """Conductance of the lower faces along one axis [W/K].

    What a gradient carries is the mean of k over the temperatures between two nodes (Kirchhoff's transform; Carslaw &
    Jaeger 1959, section 1.6), here by Simpson's rule; a mean of k over the distance would throttle a freezing front.
    """
    for c in range(first, after):
        middle = k_frozen - gain * properties.liquid_share(0.5 * (t[c] + t[c - stride]), freezing_c)
        g[c] = across[c] * (k[c] + 4.0 * middle + k[c - stride]) * (1.0 / 6.0)


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def _flow(cells, work, out):  # type: ignore[no-untyped-def]
    """How fast each cell gains enthalpy at the temperatures of `work` [W/m3]."""
    t, gx, gy, gz, film, inflow, per_volume = (
        work.t,
        work.gx,
        work.gy,
        work.gz,
        work.film,
        work.inflow,
        cells.per_volume,
    )
    plane, row = cells.plane, cells.row
    for c in range(cells.first, cells.first + cells.cells):
        out[c] = per_volume[c] * (
            gx[c] * (t[c - plane] - t[c]) + gx[c + plane] * (t[c + plane] - t[c])
            + gy[c] * (t[c - row] - t[c]) + gy[c + row] * (t[c + row] - t[c])
            + gz[c] * (t[c - ONE] - t[c]) + gz[c + ONE] * (t[c + ONE] - t[c])
            + inflow[c] - film[c] * t[c]
        )  # fmt: skip


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def temperatures(cells, held, t, medium, icy):  # type: ignore[no-untyped-def]
    """Set the temperatures from the enthalpy; `icy` where any cell may be frozen."""
    first, after = cells.first, cells.first + cells.cells
    if icy:
        thawed, frozen, latent, freezing_c = medium.thawed, medium.frozen, medium.latent, medium.freezing_c
        for c in range(first, after):
            t[c] = properties.temperature(held[c], thawed, frozen, latent, freezing_c)
    else:
        per_k = 1.0 / medium.thawed
        for c in range(first, after):
            t[c] = held[c] * per_k


@nb.njit(cache=True, fastmath=FAST, error_model="numpy")
def _step(cells, work, medium, step_s, stages, icy):  # type: ignore[no-untyped-def]
    """One step of the stabilised method; returns its estimated error in the worst cell [K]."""
    first, after = cells.first, cells.first + cells.cells
    held, flow_0, flow, stage, before = work.held, work.flow_0, work.flow, work.stage, work.before
    first_part = STAGES[stages, 2, 1] * step_s
    for c in range(first, after):
        before[c] = held[c]
    for c in range(first, after):
        stage[c] = held[c] + first_part * flow_0[c]
    for j in range(2, stages + 1):
        temperatures(cells, stage, work.t, medium, icy)
        _flow(cells, work, flow)
        mu, nu = STAGES[stages, 0, j], STAGES[stages, 1, j]
        mu_s, gamma_s, rest = STAGES[stages, 2, j] * step_s, STAGES[stages, 3, j] * step_s, 1.0 - mu - nu
        for c in range(first, after):
            before[c] = rest * held[c] + mu * stage[c] + nu * before[c] + mu_s * flow[c] + gamma_s * flow_0[c]
        stage, before = before, stage
    temperatures(cells, stage, work.t, medium, icy)
    _flow(cells, work, flow)
    # The estimate of Sommeijer, Shampine & Verwer (1998), section 3.
    worst, per_k, half_s = 0.0, 1.0 / medium.thawed, 0.4 * step_s
    for c in range(first, after):
        worst = max(worst, abs(0.8 * (held[c] - stage[c]) + half_s * (flow_0[c] + flow[c])))
    for c in range(first, after):
        held[c] = stage[c]
    return worst * per_k


def run(
    grid: Grid,
    medium: Medium,
    *,
    start_c: float | Array,
    outside_c: Array,
    films: Array,
    watts: Array | None = None,
    seconds: float = 3600.0,
    tolerance_k: float = TOLERANCE_K,
) -> Array:
    """Step a field of given properties through stretches of constant surroundings.

    start_c : a number or (cells,) [degC]; outside_c : (stretches, 3) beyond sides, top and base [degC];
    films : (3,) or (stretches, 3) [W/m2K]; watts : (stretches, 6) in the whole box, see Grid.patterns;
    seconds : length of a stretch. Returns (stretches + 1, cells) [degC].
    """
    stretches = len(outside_c)
    watts = np.zeros((stretches, 6)) if watts is None else np.asarray(watts, float) / 4  # a quarter of the box
    field = np.broadcast_to(np.asarray(start_c, float), len(grid.share)).copy()
    out = np.empty((stretches + 1, len(field)))
    by_stretch = np.ascontiguousarray(np.broadcast_to(np.asarray(films, float), (stretches, 3)))
    _run(
        Cells.of(grid),
        medium,
        field,
        np.ascontiguousarray(outside_c, float),
        by_stretch,
        watts,
        seconds,
        tolerance_k,
        out,
    )
    return out


@nb.njit(cache=True)
def _run(cells, medium, start_c, outside_c, films, watts, seconds, tolerance_k, out):  # type: ignore[no-untyped-def]
    work = scratch(cells.top.shape[0])
    for c in range(start_c.shape[0]):
        work.t[cells.first + np.uint64(c)] = start_c[c]
    settle(cells, work, medium)
    parts = 1
    for stretch in range(out.shape[0]):
        for c in range(start_c.shape[0]):
            out[stretch, c] = work.t[cells.first + np.uint64(c)]
        if stretch < outside_c.shape[0]:
            parts = advance(
                cells, work, medium, outside_c[stretch], films[stretch], watts[stretch], seconds, parts, tolerance_k
            )  # fmt: skip
