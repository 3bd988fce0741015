"""Recipe arithmetic: what a mix of materials comes to in moisture, C:N, volume and air.

Moisture and C:N are weighted by mass, as in the On-Farm Composting Handbook (NRAES-54, 1992, chapter 5), the National
Engineering Handbook (NEH 637, chapter 2, 2000) and Richard (1996), forms only; free air space is that of Haug (1993),
recalled, with the densities of solids that Agnew & Leonard (2003) give, recalled. Masses in kg, volumes in litres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material

Array = NDArray[np.float64]

WATER_KG_M3, VOLATILE_KG_M3, ASH_KG_M3 = 1000.0, 1600.0, 2500.0  # recalled: 1550-1600 and 2500-2650 for the solids

#: Litres of bedding from a litre of loose materials, when they are mixed, wetted and have settled: fines lie between
#: coarse pieces, and wet card and leaves go limp.
SETTLED = Fact(0.80, 0.60, 1.00, "common practice, no source", "judgement")


@dataclass(frozen=True, slots=True)
class Shares:
    """What a kg of each material, as received, holds: (materials,), or (draws, materials).

    water, carbon, nitrogen [kg/kg]; litres of it when loose; filled: litres its water and solids take up
    """

    water: Array
    carbon: Array
    nitrogen: Array
    litres: Array
    filled: Array


@dataclass(frozen=True, slots=True)
class Mix:
    """What a mix comes to: each a number, or (draws,).

    moisture [fraction of wet mass], carbon_nitrogen (C:N by mass), air (free air space, fraction of volume), litres
    when settled, kg wet
    """

    moisture: Array
    carbon_nitrogen: Array
    air: Array
    litres: Array
    kg: Array


def water_to_reach(wanted: ArrayLike, kg: ArrayLike, water_kg: ArrayLike) -> Array:
    """Water to add [kg] to bring a wet mass with its water [kg] to a moisture; below zero if it is too wet."""
    wanted = np.asarray(wanted, float)
    return np.asarray((wanted * kg - np.asarray(water_kg, float)) / (1 - wanted))


def shares(materials: Sequence[Material]) -> Shares:
    """What a kg of each holds, best values: arrays (materials,)."""
    return _shares({key: np.array([getattr(one, key).value for one in materials]) for key in _USED})


def drawn_shares(materials: Sequence[Material], draws: int, rng: np.random.Generator) -> Shares:
    """What a kg of each may hold, as far as it is known: arrays (draws, materials)."""
    return _shares(
        {
            key: np.stack([drawn(getattr(one, key), draws, rng) for one in materials], axis=1).reshape(draws, -1)
            for key in _USED
        }
    )


def drawn(fact: Fact, draws: int, rng: np.random.Generator) -> Array:
    """Values that a fact may have: none beyond its ends, most near the best (a triangle, our judgement)."""
    if fact.low == fact.high:
        return np.full(draws, fact.value)
    return rng.triangular(fact.low, fact.value, fact.high, draws)


_USED = ("moisture_pct", "carbon_pct", "nitrogen_pct", "bulk_kg_m3", "volatile_pct")


def _shares(of: Mapping[str, Array]) -> Shares:
    water, volatile = of["moisture_pct"] / 100, of["volatile_pct"] / 100
    dry = 1 - water
    filled = water / WATER_KG_M3 + dry * (volatile / VOLATILE_KG_M3 + (1 - volatile) / ASH_KG_M3)
    return Shares(
        water, dry * of["carbon_pct"] / 100, dry * of["nitrogen_pct"] / 100, 1000 / of["bulk_kg_m3"], 1000 * filled
    )


def mixed(held: Shares, kg: Array, water_kg: ArrayLike, settled: ArrayLike = SETTLED.value) -> Mix:
    """What wet masses (materials,) or (draws, materials) and added water [kg] come to.

    Water fills pores and adds no volume. C:N is without end where there is no nitrogen.
    """
    water = np.asarray(water_kg, float)
    total = {field.name: (getattr(held, field.name) * kg).sum(axis=-1) for field in fields(Shares)}
    wet = kg.sum(axis=-1) + water
    litres = total["litres"] * settled
    with np.errstate(divide="ignore", invalid="ignore"):
        return Mix(
            np.asarray((total["water"] + water) / wet),
            np.asarray(total["carbon"] / total["nitrogen"]),
            np.asarray(1 - (total["filled"] + water * 1000 / WATER_KG_M3) / litres),
            np.asarray(litres),
            np.asarray(wet),
        )
