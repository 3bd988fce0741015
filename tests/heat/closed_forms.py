"""Closed-form solutions of heat conduction that the solvers are checked against.

Lengths [m], times [s], temperatures [degC], conductivities [W/mK], heat capacities and latent heat per volume
[J/m3K], [J/m3], diffusivities [m2/s], surface coefficients [W/m2K]. C&J is Carslaw & Jaeger, *Conduction of
Heat in Solids*, 2nd ed., 1959; Incropera is Incropera & DeWitt, *Fundamentals of Heat and Mass Transfer*.
Both are recalled; test_closed_forms.py checks each function against numbers computed apart from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

Array = NDArray[np.float64]


def semi_infinite_forced(
    depth_m: ArrayLike, seconds: float, *, diffusivity: float, start_c: float, surface_c: float
) -> Array:
    """Semi-infinite solid whose surface is held at a temperature from time 0 (C&J 2.4)."""
    reach = np.asarray(depth_m, float) / (2 * math.sqrt(diffusivity * seconds))
    return np.asarray(surface_c + (start_c - surface_c) * erf(reach))


def semi_infinite_convection(
    depth_m: ArrayLike, seconds: float, *, conductivity: float, diffusivity: float, film: float,
    start_c: float, air_c: float,
) -> Array:  # fmt: skip
    """Semi-infinite solid that loses heat through a film to air from time 0 (C&J 2.7)."""
    root = math.sqrt(diffusivity * seconds)
    reach = np.asarray(depth_m, float) / (2 * root)
    # exp(hx/k + h^2 a t/k^2) erfc(...) written with erfcx, which does not overflow.
    lag = np.exp(-(reach**2)) * erfcx(reach + film * root / conductivity)
    return np.asarray(start_c + (air_c - start_c) * (erfc(reach) - lag))


def plane_wall_roots(biot: float, count: int) -> Array:
    """The first positive roots of zeta tan(zeta) = Bi, rising; one in each [m pi, m pi + pi/2] (C&J 3.11)."""

    def gap(zeta: float) -> float:
        return zeta * math.sin(zeta) - biot * math.cos(zeta)

    return np.array([brentq(gap, m * math.pi, (m + 0.5) * math.pi, xtol=1e-14) for m in range(count)])


def plane_wall(
    position_m: ArrayLike, seconds: float, *, half_m: float, conductivity: float, diffusivity: float, film: float,
    terms: int = 60,
) -> Array:  # fmt: skip
    """Share of the first difference from the air that is left in a wall cooled on both sides.

    The position is counted from the middle (C&J 3.11; Incropera ch. 5, exact series).
    """
    zeta = plane_wall_roots(film * half_m / conductivity, terms)
    share = 4 * np.sin(zeta) / (2 * zeta + np.sin(2 * zeta)) * np.exp(-(zeta**2) * diffusivity * seconds / half_m**2)
    return np.asarray(np.cos(np.multiply.outer(np.asarray(position_m, float) / half_m, zeta)) @ share)


def brick(
    position_m: Sequence[float], seconds: float, *, size_m: Sequence[float], conductivity: float, diffusivity: float,
    film: float,
) -> float:  # fmt: skip
    """Share of the first difference from the air that is left in a brick, the same film on all faces.

    The product of three walls, the position counted from the centre (C&J 5.6; Incropera ch. 5).
    """
    return math.prod(
        float(plane_wall(x, seconds, half_m=side / 2, conductivity=conductivity, diffusivity=diffusivity, film=film))
        for x, side in zip(position_m, size_m, strict=True)
    )


def damping_depth(diffusivity: float, period_s: float) -> float:
    """Depth over which a wave of that period falls to 1/e (C&J 2.6)."""
    return math.sqrt(diffusivity * period_s / math.pi)


def half_space_response(
    depth_m: float, *, conductivity: float, diffusivity: float, period_s: float, film: float = math.inf
) -> complex:
    """Complex response at a depth to a unit wave of air; of the surface itself with an infinite film (C&J 2.6)."""
    wave = np.sqrt(2j * math.pi / period_s / diffusivity)
    return complex(np.exp(-wave * depth_m) / (1 + conductivity * wave / film))


def slab_response(
    position_m: float, *, half_m: float, conductivity: float, diffusivity: float, period_s: float, film: float
) -> complex:
    """Complex response, at a position from the middle, of a slab with the same wave of air on both sides (C&J 3.6)."""
    wave = np.sqrt(2j * math.pi / period_s / diffusivity)
    edge = np.cosh(wave * half_m) + conductivity * wave / film * np.sinh(wave * half_m)
    return complex(np.cosh(wave * position_m) / edge)


def ratio_and_lag(response: complex, period_s: float) -> tuple[float, float]:
    """Amplitude ratio and lag [s] of a complex response; the lag is known within one period only."""
    return abs(response), (-np.angle(response) % (2 * math.pi)) * period_s / (2 * math.pi)


def stefan_root(stefan: float) -> float:
    """lambda of the one-phase Stefan problem: lambda exp(lambda^2) erf(lambda) = Ste / sqrt(pi) (C&J 11.2)."""
    return float(brentq(lambda x: x * math.exp(x * x) * math.erf(x) - stefan / math.sqrt(math.pi), 0, 5, xtol=1e-14))


def front_m(root: float, diffusivity: float, seconds: float) -> float:
    """Depth of the front, 2 lambda sqrt(a t), a of the frozen side (C&J 11.2)."""
    return 2 * root * math.sqrt(diffusivity * seconds)


def quasi_steady_front_m(conductivity: float, below_freezing_k: float, latent: float, seconds: float) -> float:
    """Depth of the front when the frozen side holds no sensible heat, sqrt(2 k dT t / L) (Stefan 1891, recalled)."""
    return math.sqrt(2 * conductivity * below_freezing_k * seconds / latent)


@dataclass(frozen=True)
class Neumann:
    """Two-phase freezing of a half-space from its surface, freezing point 0 degC (Neumann; C&J 11.2).

    The properties differ on the two sides of the front; the density does not change.
    """

    frozen_conductivity: float
    frozen_capacity: float
    thawed_conductivity: float
    thawed_capacity: float
    latent: float
    surface_c: float
    start_c: float

    @property
    def frozen_diffusivity(self) -> float:
        """Diffusivity of the frozen side [m2/s]."""
        return self.frozen_conductivity / self.frozen_capacity

    @property
    def thawed_diffusivity(self) -> float:
        """Diffusivity of the thawed side [m2/s]."""
        return self.thawed_conductivity / self.thawed_capacity

    @cached_property
    def root(self) -> float:
        """lambda of the front 2 lambda sqrt(a t), a of the frozen side."""
        ratio = self.frozen_diffusivity / self.thawed_diffusivity
        warmth = self.thawed_conductivity / self.frozen_conductivity * math.sqrt(ratio) * self.start_c / -self.surface_c
        latent = self.latent * math.sqrt(math.pi) / (self.frozen_capacity * -self.surface_c)

        def gap(x: float) -> float:
            # The usual equation times erf(x), which has a pole at 0; and exp(-r x^2) / erfc(x sqrt(r)) is 1 / erfcx.
            from_below = warmth / float(erfcx(x * math.sqrt(ratio)))
            return math.exp(-x * x) - math.erf(x) * (from_below + latent * x)

        return float(brentq(gap, 0, 5, xtol=1e-14))

    def front_m(self, seconds: float) -> float:
        """Depth of the front [m]."""
        return front_m(self.root, self.frozen_diffusivity, seconds)

    def seconds_to(self, depth_m: float) -> float:
        """Time at which the front reaches a depth [s]."""
        return (depth_m / (2 * self.root)) ** 2 / self.frozen_diffusivity

    def temperature_c(self, depth_m: ArrayLike, seconds: float) -> Array:
        """Temperature on both sides of the front [degC]."""
        depth = np.asarray(depth_m, float)
        frozen = depth / (2 * math.sqrt(self.frozen_diffusivity * seconds))
        thawed = depth / (2 * math.sqrt(self.thawed_diffusivity * seconds))
        at_front = self.root * math.sqrt(self.frozen_diffusivity / self.thawed_diffusivity)
        return np.where(
            depth < self.front_m(seconds),
            self.surface_c * (1 - erf(frozen) / math.erf(self.root)),
            self.start_c * (1 - erfc(thawed) / math.erfc(at_front)),
        )


def lumped_time_s(capacity: float, volume_m3: float, surface_m2: float, film: float) -> float:
    """Time constant of a body of one temperature (Incropera ch. 5); only right while h (V/A) / k is below 0.1."""
    return capacity * volume_m3 / (film * surface_m2)


def lumped_c(seconds: float, *, time_s: float, start_c: float, air_c: float) -> float:
    """Temperature of a body of one temperature after a step of the air (Incropera ch. 5)."""
    return air_c + (start_c - air_c) * math.exp(-seconds / time_s)
