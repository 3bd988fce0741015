"""The conduction operator of a box of bedding on a small graded grid.

The bedding is a box with the same film on all four sides, so a quarter of it is enough: cells run from the
middle to the walls along its length and width, and from the base to the surface. The operator of a uniform
box is a Kronecker sum of three small ones, so its exponential, an exact step of any length, is a product.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FOOD_LAYER = 1 / 3  # share of the depth: food lies in the upper third: common practice, no source
GRADING = 0.5  # how much finer the cells are at base and surface; good against the closed forms with few cells


class OutsideBedding(ValueError):
    """A probe lies outside the bedding."""


@dataclass(frozen=True, slots=True)
class Probe:
    """A point of the bedding: distance from the nearest long wall and below the surface [m]."""

    wall_m: float
    depth_m: float


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of the box.

    width, node : (m,) cell widths and the points that stand for them [m]
    rate : (sets, m) eigenvalues of the operator [1/s]; into, back : (sets, m, m) from modes to cells and back
    low, high : (sets, m) warming per K beyond the low and the high end [1/s]
    """

    width: Array
    node: Array
    rate: Array  # 1/s, all <= 0
    into: Array  # (sets, m, m): cells from modes
    back: Array  # (sets, m, m): modes from cells
    low: Array  # (sets, m): warming of the first cell per K beyond the low end [1/s]
    high: Array

    @staticmethod
    def of(width: Array, node: Array, k: Array, capacity: Array, low: Array, high: Array) -> Axis:
        """Finite volumes of the given widths and nodes (m,) [m].

        k : conductivity [W/mK]; capacity : [J/m3K]; low, high : coefficients beyond the ends [W/m2K], 0 where the
        field is symmetric; each (sets,)
        """
        sets, m = k.shape[0], width.shape[0]
        between = k[:, None] / np.diff(node)
        flow = np.zeros((sets, m, m))
        i = np.arange(m - 1)
        flow[:, i, i + 1] = flow[:, i + 1, i] = between
        flow[:, i, i] -= between
        flow[:, i + 1, i + 1] -= between
        ends = []
        for cell, film, reach in ((0, low, node[0]), (m - 1, high, width.sum() - node[-1])):
            outward = film / (1.0 + film * reach / k)
            flow[:, cell, cell] -= outward
            source = np.zeros((sets, m))
            source[:, cell] = outward / (capacity * width[cell])
            ends.append(source)
        root = np.sqrt(capacity[:, None] * width)
        rate, vectors = np.linalg.eigh(flow / (root[:, :, None] * root[:, None, :]))
        into = vectors / root[:, :, None]
        back = np.swapaxes(vectors, 1, 2) * root[:, None, :]
        return Axis(width, node, rate, into, back, *ends)

    def exponential(self, seconds: float) -> Array:
        """How the cells mix over some seconds, (sets, m, m)."""
        return np.asarray((self.into * np.exp(self.rate * seconds)[:, None, :]) @ self.back)


@dataclass(frozen=True, slots=True)
class Box:
    """A box of uniform bedding for several parameter sets.

    size_m : length, width (the shorter) and depth [m]
    capacity, latent : (sets,) heat capacity [J/m3K] and heat of freezing [J/m3]
    share : (cells,) volume of each cell as a share of the bedding
    """

    size_m: tuple[float, float, float]
    axes: tuple[Axis, Axis, Axis]
    capacity: Array
    latent: Array
    share: Array

    @staticmethod
    def of(
        size_m: tuple[float, float, float],
        grid: tuple[int, int, int],
        *,
        conductivity: Array,
        capacity: Array,
        latent: Array,
        side: Array,
        top: Array,
        base: Array,
    ) -> Box:
        """A box of length, width and depth [m] on cells along half its length, half its width, and its depth.

        conductivity [W/mK], capacity [J/m3K], latent [J/m3], and the coefficients beyond sides, top and base
        [W/m2K], all (sets,)
        """
        none = np.zeros_like(side)
        axes = (
            Axis.of(*_half(size_m[0] / 2, grid[0]), conductivity, capacity, none, side),
            Axis.of(*_half(size_m[1] / 2, grid[1]), conductivity, capacity, none, side),
            Axis.of(*_graded(size_m[2], grid[2]), conductivity, capacity, base, top),
        )
        cells = axes[0].width[:, None, None] * axes[1].width[None, :, None] * axes[2].width
        return Box(size_m, axes, capacity, latent, (cells / cells.sum()).ravel())

    @property
    def volume_m3(self) -> float:
        """Volume of the bedding [m3]."""
        return self.size_m[0] * self.size_m[1] * self.size_m[2]

    def step(self, seconds: float) -> tuple[Array, Array]:
        """One step of that length: the exponential (sets, cells, cells) and the responses (sets, 4, cells).

        The responses are to 1 K of air, 1 K of ground, and 1 W of heat in all the bedding or in the food layer.
        """
        x, y, z = self.axes
        sets, cells = self.capacity.shape[0], self.share.shape[0]
        kron = np.einsum("sab,scd,sef->sacebdf", *(axis.exponential(seconds) for axis in self.axes))
        total = x.rate[:, :, None, None] + y.rate[:, None, :, None] + z.rate[:, None, None, :]
        held = np.where(total < 0, np.expm1(total * seconds) / np.where(total < 0, total, 1.0), seconds)

        def respond(sx: Array, sy: Array, sz: Array) -> Array:
            modes = (
                np.einsum("snm,sm->sn", x.back, sx)[:, :, None, None]
                * np.einsum("snm,sm->sn", y.back, sy)[:, None, :, None]
                * np.einsum("snm,sm->sn", z.back, sz)[:, None, None, :]
            )
            field = np.einsum("sai,sbj,sck,sijk->sabc", x.into, y.into, z.into, modes * held, optimize=True)
            return np.asarray(field.reshape(sets, cells))

        one_x, one_y, one_z = (np.ones_like(axis.rate) for axis in self.axes)
        per_watt = np.broadcast_to((1.0 / (self.capacity * self.volume_m3))[:, None], one_z.shape)
        # The food layer is counted from the top; a cell on its border takes part as far as it is inside.
        top = np.cumsum(z.width)
        inside = np.clip((top - top[-1] * (1 - FOOD_LAYER)) / z.width, 0.0, 1.0)
        in_food = per_watt * (inside * top[-1] / (inside @ z.width))
        response = np.stack(
            [
                respond(x.high, one_y, one_z) + respond(one_x, y.high, one_z) + respond(one_x, one_y, z.high),
                respond(one_x, one_y, z.low),
                respond(one_x, one_y, per_watt),
                respond(one_x, one_y, in_food),
            ],
            axis=1,
        )
        return np.ascontiguousarray(kron.reshape(sets, cells, cells)), np.ascontiguousarray(response)

    def weights(self, probes: Sequence[Probe]) -> Array:
        """Weights (probes, cells) that read the field at points of the bedding.

        Linear between nodes, level beyond the outermost. Raises OutsideBedding.
        """
        x, y, z = (axis.node for axis in self.axes)
        _, width_m, depth_m = self.size_m
        rows = []
        for probe in probes:
            if not (0 <= probe.depth_m <= depth_m and 0 <= probe.wall_m <= width_m / 2 + 1e-9):
                raise OutsideBedding(
                    f"A probe {probe.depth_m:.2f} m deep and {probe.wall_m:.2f} m from the wall lies outside bedding "
                    f"{depth_m:.2f} m deep and {width_m:.2f} m wide; correct its place."
                )
            wx, wy, wz = _hat(x, 0.0), _hat(y, width_m / 2 - probe.wall_m), _hat(z, depth_m - probe.depth_m)
            rows.append((wx[:, None, None] * wy[None, :, None] * wz).ravel())
        return np.array(rows).reshape(len(rows), -1)


def _half(half_m: float, cells: int) -> tuple[Array, Array]:
    """Widths and nodes from the middle to the wall: even, the first cell cut in half by the plane of symmetry.

    So the first node lies in the very middle and no reading there needs extrapolation.
    """
    even = half_m / (cells - 0.5)
    width: Array = np.full(cells, even)
    width[0] /= 2
    return width, even * np.arange(cells, dtype=float)


def _graded(depth_m: float, cells: int) -> tuple[Array, Array]:
    """Widths and nodes from the base to the surface, somewhat finer at both."""
    u = np.linspace(-1.0, 1.0, cells + 1) * np.pi / 2 * GRADING
    edges = depth_m / 2 * (1 + np.sin(u) / np.sin(u[-1]))
    width: Array = np.diff(edges)
    return width, edges[:-1] + width / 2


def _hat(centres: Array, position: float) -> Array:
    return np.array([np.interp(position, centres, row) for row in np.eye(centres.shape[0])])
