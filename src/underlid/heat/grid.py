"""The graded grid of a box of bedding: finite volumes, finer towards its faces.

The films on the four sides are alike, so a quarter of the box is enough: cells run from the middle to the walls
along its length and width, and from the base to the surface. Space error rules, and it sits near the faces, so
cells are bought there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.vessel import EDGE_SHARE, SURFACE_SHARE

Array = NDArray[np.float64]

GRADING = 0.8  # 0 is even; near 1 the outermost cells shrink to nothing; by trial, least error for its cost
FOOD_LAYER = 1 / 3  # share of the depth: food lies in the upper third: common practice, no source

#: Where a feeding can lie; "not noted" is spread over the food layer.
FOOD_PLACES = ("not noted", "middle", "edge", "surface")


class OutsideBedding(ValueError):
    """A probe lies outside the bedding."""


@dataclass(frozen=True, slots=True)
class Probe:
    """A point of the bedding: distance from the nearest long wall and below the surface [m]."""

    wall_m: float
    depth_m: float


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of a quarter of a box of bedding.

    size_m : length, width (the shorter) and depth [m]
    edges : (m + 1,) borders of the cells along x (middle to end), y (middle to long wall), z (base to surface) [m]
    """

    size_m: tuple[float, float, float]
    edges: tuple[Array, Array, Array]

    @staticmethod
    def of(size_m: tuple[float, float, float], cells: tuple[int, int, int]) -> Grid:
        """A grid of that many cells along half the length, half the width, and the depth."""
        length, width, depth = size_m
        return Grid(size_m, (_to_wall(length / 2, cells[0]), _to_wall(width / 2, cells[1]), _to_both(depth, cells[2])))

    @property
    def shape(self) -> tuple[int, int, int]:
        """Cells along x, y and z."""
        x, y, z = (len(edge) - 1 for edge in self.edges)
        return x, y, z

    @property
    def widths(self) -> tuple[Array, Array, Array]:
        """Widths of the cells along each axis [m]."""
        x, y, z = (np.diff(edge) for edge in self.edges)
        return x, y, z

    @property
    def nodes(self) -> tuple[Array, Array, Array]:
        """Middles of the cells along each axis [m]."""
        x, y, z = ((edge[1:] + edge[:-1]) / 2 for edge in self.edges)
        return x, y, z

    @property
    def volume_m3(self) -> Array:
        """Volume of each cell [m3], (cells,), of the quarter."""
        x, y, z = self.widths
        return (x[:, None, None] * y[None, :, None] * z).ravel()

    @property
    def share(self) -> Array:
        """Volume of each cell as a share of the bedding, (cells,)."""
        return np.asarray(self.volume_m3 / self.volume_m3.sum())

    @property
    def faces_m2(self) -> Array:
        """Outer faces of each cell [m2], (4, cells): at the end, the long wall, the surface and the base."""
        x, y, z = self.widths
        area = np.zeros((4, *self.shape))
        area[0, -1] = y[:, None] * z
        area[1, :, -1] = x[:, None] * z
        area[2, :, :, -1] = area[3, :, :, 0] = x[:, None] * y
        return area.reshape(4, -1)

    def patterns(self) -> Array:
        """How a watt of heat is shared among the cells, (6, cells), each row with sum 1.

        Rows: all the bedding; food at each of FOOD_PLACES; the surface, where water evaporates.
        """
        share = self.share.reshape(self.shape)
        depth, half_x, half_y = self.size_m[2], self.size_m[0] / 2, self.size_m[1] / 2
        upper = _inside(self.edges[2], depth * (1 - FOOD_LAYER), depth)
        surface = _inside(self.edges[2], depth * (1 - SURFACE_SHARE), depth)
        rim = min(half_x, half_y) * EDGE_SHARE
        core = _inside(self.edges[0], 0, half_x - rim)[:, None] * _inside(self.edges[1], 0, half_y - rim)
        rows = [
            np.ones(self.shape),
            np.broadcast_to(upper, self.shape),
            core[:, :, None] * upper,
            (1 - core)[:, :, None] * upper,
            np.broadcast_to(surface, self.shape),
        ]
        held = np.array([(row * share / (row * share).sum()).ravel() for row in rows])
        top = self.faces_m2[2]
        return np.vstack([held, top / top.sum()])

    def weights(self, probes: Sequence[Probe]) -> Array:
        """Weights (probes, cells) that read the field at points of the bedding: quadratic between nodes.

        Raises OutsideBedding.
        """
        x, y, z = self.nodes
        _, width_m, depth_m = self.size_m
        rows = []
        for probe in probes:
            if not (0 <= probe.depth_m <= depth_m and 0 <= probe.wall_m <= width_m / 2 + 1e-9):
                raise OutsideBedding(
                    f"A probe {probe.depth_m:.2f} m deep and {probe.wall_m:.2f} m from the wall lies outside bedding "
                    f"{depth_m:.2f} m deep and {width_m:.2f} m wide; correct its place."
                )
            across, up = even_weights(y, width_m / 2 - probe.wall_m), quadratic_weights(z, depth_m - probe.depth_m)
            rows.append((even_weights(x, 0.0)[:, None, None] * across[None, :, None] * up).ravel())
        return np.array(rows).reshape(len(rows), -1)


def _to_wall(half_m: float, cells: int) -> Array:
    """Borders from the middle to the wall, finer towards the wall."""
    u = np.linspace(0.0, 1.0, cells + 1) * np.pi / 2 * GRADING
    return np.asarray(half_m * np.sin(u) / np.sin(u[-1]))


def _to_both(depth_m: float, cells: int) -> Array:
    """Borders from the base to the surface, finer towards both."""
    u = np.linspace(-1.0, 1.0, cells + 1) * np.pi / 2 * GRADING
    return np.asarray(depth_m / 2 * (1 + np.sin(u) / np.sin(u[-1])))


def _inside(edges: Array, low: float, high: float) -> Array:
    """Share of each cell along one axis that lies between two heights."""
    return np.asarray(np.clip((np.minimum(edges[1:], high) - np.maximum(edges[:-1], low)) / np.diff(edges), 0, 1))


def even_weights(nodes: Array, position: float) -> Array:
    """Weights along an axis about whose origin the field is even: the nearest nodes, mirrored where need be."""
    mirrored = quadratic_weights(np.concatenate([-nodes[::-1], nodes]), position)
    return np.asarray(mirrored[len(nodes) :] + mirrored[: len(nodes)][::-1])


def quadratic_weights(nodes: Array, position: float) -> Array:
    """Lagrange weights of the three nodes around a position; of fewer where there are not three."""
    count = min(3, len(nodes))
    nearest = int(np.clip(np.argmin(np.abs(nodes - position)) - 1, 0, len(nodes) - count))
    weights = np.zeros(len(nodes))
    for i in range(nearest, nearest + count):
        others = [nodes[j] for j in range(nearest, nearest + count) if j != i]
        weights[i] = np.prod([(position - other) / (nodes[i] - other) for other in others])
    return weights
