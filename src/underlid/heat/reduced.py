"""The reduced model: a dozen and a half numbers that follow the thawed field as its cells would.

While nothing freezes the field is linear and symmetric. Its response to air, ground and heat lives, for every
plausible conductivity and film, close to one small subspace: that spanned by its transfer functions at a handful of
parameter sets and time scales (rational Krylov; dominant subspaces as in Penzl 2006, Linear Algebra Appl. 415:322).
Projected on it, symmetrically, each parameter set keeps a stable model of its own that is stepped exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.heat.grid import Grid

Array = NDArray[np.float64]

HOUR_S = 3600.0
LONGEST_H = 2000  # by then any pulse has left a bin
STATES = 20  # a multiple of four
INPUTS = 9  # temperatures beyond sides, top and base [degC], then heat in six patterns [W], see Grid.patterns

#: Where the subspace is made: conductivities [W/mK], coefficients beyond sides, top and base [W/m2K] in all
#: combinations, and the rates of a wave between two hours and 50 days [1/s]. By trial; the bound tells.
TRAINED_K = (0.12, 0.45)
TRAINED_FILM = (0.6, 15.0)
TRAINED_RATES = tuple(2 * np.pi / np.geomspace(50 * 86400, 7200, 8))
IMPORTANCE = np.array([3.0, 3.0, 3.0, 1.0, 0.3, 0.3, 0.3, 0.3, 0.3])  # of the inputs, by what they do to a bin
TRAINED_CAPACITY = 2e6  # J/m3K


class Basis(NamedTuple):
    """The subspace and everything projected on it. The inner product is weighted with each cell's share of volume.

    v : (cells, STATES) ; conduct, end, wall, top, base : (STATES, STATES) conduction, and loss through the outer
    faces, per W/mK and per W/m2K of coefficient from the outermost nodes; in_* : (STATES,) the same for what lies
    beyond; patterns : (6, STATES) ; reach_* : half widths of the outermost cells [m]; volume_m3 : of the whole box;
    side_mean : (STATES,) mean temperature of the cells at the sides; corners : the cells at the quarter's corners
    """

    v: Array
    conduct: Array
    end: Array
    wall: Array
    top: Array
    base: Array
    in_end: Array
    in_wall: Array
    in_top: Array
    in_base: Array
    patterns: Array
    reach_end: float
    reach_wall: float
    reach_top: float
    reach_base: float
    volume_m3: float
    share: Array
    side_mean: Array
    corners: NDArray[np.int64]


class Modes(NamedTuple):
    """The reduced model of one parameter set in its own modes, stepped over a fixed time.

    decay : (STATES,) ; gain : (INPUTS, STATES) per unit of each input; into : (STATES, STATES), basis from modes;
    lift : (cells, STATES), cells from modes, and lift_by_state, its transpose; side_mean : (1, STATES) ;
    patterns : (6, STATES), the mean temperature over each pattern
    """

    decay: Array
    gain: Array
    into: Array
    lift: Array
    lift_by_state: Array
    side_mean: Array
    patterns: Array


@lru_cache(maxsize=16)
def basis(size_m: tuple[float, float, float], cells: tuple[int, int, int], states: int = STATES) -> Basis:
    """The subspace of a box of length, width and depth [m] on a grid of that many cells.

    One state is the uniform field alone: enough where every hour is stepped in the full field.
    """
    grid = Grid.of(size_m, cells)
    conduct, outer = operator(grid)
    share, patterns = grid.share, grid.patterns()
    count = len(share)
    root = np.sqrt(share)
    level = root[:, None]  # the uniform field, which must be in it: then equal surroundings leave it at rest
    left = np.zeros((count, states - 1))  # idle where there are fewer cells than states
    if states > 1:
        taken = root[:, None] * _responses(grid, conduct, outer, patterns)
        found = np.linalg.svd(taken - level * (level.T @ taken), full_matrices=False)[0][:, : min(states, count) - 1]
        left[:, : found.shape[1]] = found
    v = np.hstack([level, left]) / root[:, None]
    end, wall, top, base = outer
    sides = end + wall

    def projected(face: Array) -> Array:
        return np.asarray(v.T @ (face[:, None] * v))

    return Basis(
        v=v, conduct=v.T @ conduct @ v,
        end=projected(end), wall=projected(wall), top=projected(top), base=projected(base),
        in_end=v.T @ end, in_wall=v.T @ wall, in_top=v.T @ top, in_base=v.T @ base, patterns=patterns @ v,
        **dict(zip(("reach_end", "reach_wall", "reach_top", "reach_base"), _reaches(grid), strict=True)),
        volume_m3=float(4 * grid.volume_m3.sum()), share=share,
        side_mean=sides / sides.sum() @ v,
        corners=np.arange(count).reshape(cells)[np.ix_([0, -1], [0, -1], [0, -1])].ravel(),
    )  # fmt: skip


def _responses(grid: Grid, conduct: Array, outer: Sequence[Array], patterns: Array) -> Array:
    """The field's responses to every input at every trained parameter set and rate, (cells, many)."""
    share, snapshots = grid.share, []
    for k, side, lid, floor in product(TRAINED_K, TRAINED_FILM, TRAINED_FILM, TRAINED_FILM):
        beyond = zip((side, side, lid, floor), _reaches(grid), outer, strict=True)
        faces = [film / (1 + film * reach / k) * face for film, reach, face in beyond]
        matrix = k * conduct + np.diag(sum(faces))
        inputs = np.stack([faces[0] + faces[1], faces[2], faces[3], *patterns], axis=1)
        for rate in TRAINED_RATES:
            seen = np.linalg.solve(matrix + rate * TRAINED_CAPACITY * np.diag(share), inputs)
            snapshots.append(seen / np.sqrt(share @ seen**2) * IMPORTANCE)
    return np.hstack(snapshots)


def operator(grid: Grid) -> tuple[Array, tuple[Array, Array, Array, Array]]:
    """Conduction between cells (cells, cells) [1/m2], per W/mK, and the outer faces (cells,) [1/m], both per volume.

    k * conduct @ t is the heat each cell loses to its neighbours, as a share of the quarter's volume [W/m3].
    """
    shape, volume = grid.shape, grid.volume_m3.sum()
    index = np.arange(len(grid.share)).reshape(shape)
    conduct = np.zeros((index.size, index.size))
    for axis in range(3):
        area = grid.volume_m3.reshape(shape) / grid.widths[axis].reshape([-1 if a == axis else 1 for a in range(3)])
        low, high = (np.delete(index, drop, axis).ravel() for drop in (-1, 0))
        apart = np.diff(grid.nodes[axis]).reshape([-1 if a == axis else 1 for a in range(3)])
        between = (np.delete(area, -1, axis) / apart).ravel() / volume
        np.add.at(conduct, (low, high), -between)
        np.add.at(conduct, (high, low), -between)
        np.add.at(conduct, (low, low), between)
        np.add.at(conduct, (high, high), between)
    end, wall, top, base = grid.faces_m2 / volume
    return conduct, (end, wall, top, base)


def _reaches(grid: Grid) -> tuple[float, float, float, float]:
    x, y, z = grid.widths
    return float(x[-1] / 2), float(y[-1] / 2), float(z[-1] / 2), float(z[0] / 2)


@nb.njit(cache=True)
def modes(basis, k, capacity, films, seconds):  # type: ignore[no-untyped-def]
    """The reduced model of one parameter set: conductivity [W/mK], heat capacity [J/m3K], films (3,) [W/m2K]."""
    end = films[0] / (1.0 + films[0] * basis.reach_end / k)
    wall = films[0] / (1.0 + films[0] * basis.reach_wall / k)
    top = films[1] / (1.0 + films[1] * basis.reach_top / k)
    base = films[2] / (1.0 + films[2] * basis.reach_base / k)
    loss = k * basis.conduct + end * basis.end + wall * basis.wall + top * basis.top + base * basis.base
    rate, into = np.linalg.eigh(loss / -capacity)
    inputs = np.empty((INPUTS, rate.shape[0]))
    inputs[0] = (end * basis.in_end + wall * basis.in_wall) / capacity
    inputs[1] = top * basis.in_top / capacity
    inputs[2] = base * basis.in_base / capacity
    inputs[3:] = basis.patterns / (capacity * basis.volume_m3)
    decay = np.exp(rate * seconds)
    # The integral of the decay; a rate of zero (an insulated box) leaves the time itself.
    held = np.where(rate * seconds < -1e-9, np.expm1(rate * seconds) / np.where(rate < 0, rate, -1.0), seconds)
    gain = np.dot(inputs, into) * held
    lift = np.dot(basis.v, into)
    return Modes(
        decay, gain, into, lift, np.ascontiguousarray(lift.T), np.dot(basis.side_mean.reshape(1, -1), into),
        np.dot(basis.patterns, into),
    )  # fmt: skip


def error_bound(
    size_m: tuple[float, float, float],
    cells: tuple[int, int, int],
    *,
    k: float,
    capacity: float,
    films: Array,
    weights: Array,
    states: int = STATES,
) -> Array:
    """How far the reduced model can be from its cells, at worst, per kelvin of swing: (probes, 3).

    For temperatures beyond sides, top and base that stay within 1 K of a mean and change from hour to hour, whatever
    their course, no probe (a row of `weights`, (probes, cells)) errs by more at the full hours: the peak-to-peak gain
    of the error, that is the sum of the magnitudes of its pulse response, here exact, from the modes of both models.
    k [W/mK], capacity [J/m3K], films (3,) [W/m2K] as in `modes`.
    """
    grid = Grid.of(size_m, cells)
    conduct, outer = operator(grid)
    reached = zip((films[0], films[0], films[1], films[2]), outer, _reaches(grid), strict=True)
    faces = [film / (1 + film * reach / k) * face for film, face, reach in reached]
    root = np.sqrt(grid.share)
    rate, vectors = np.linalg.eigh((k * conduct + np.diag(sum(faces))) / np.outer(root, root) / capacity)
    inputs = np.stack([faces[0] + faces[1], faces[2], faces[3]]) / capacity
    decay = np.exp(-rate * HOUR_S)
    gain = (inputs / root) @ vectors * (-np.expm1(-rate * HOUR_S) / rate)
    small = modes(basis(size_m, cells, states), k, capacity, np.asarray(films, float), HOUR_S)
    hours = np.arange(LONGEST_H)
    full_course, small_course = decay ** hours[:, None], small.decay ** hours[:, None]
    error = np.empty((len(weights), 3))
    for i in range(3):
        full, reduced = (weights / root) @ vectors * gain[i], weights @ small.lift * small.gain[i]
        error[:, i] = np.abs(full_course @ full.T - small_course @ reduced.T).sum(axis=0)
        for part, fading in ((full, decay), (reduced, small.decay)):  # and at most this much beyond LONGEST_H
            error[:, i] += np.abs(part) @ (fading**LONGEST_H / np.maximum(1.0 - fading, 1e-12))
    return error
