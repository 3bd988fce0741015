"""What the bedding does to a colony, day by day: from hourly temperature, frost, moisture and food to a `Course`.

Rates are those of `rates` at the temperature where the animals are, summed over the hours of a day. Deaths beside age,
their size our judgement where no source is named:

    cold and heat   where the best place in reach is colder than adults freeze at, or hotter than is tolerated
    ice             cocoons in frozen bedding; those of another species outlived months of it (Holmstrup 1994)
    drought, flood  outside the tolerated moisture; growth too is slower there
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.threads import deal
from underlid.worms.facts import Fact
from underlid.worms.lifecycle import Colony, Course
from underlid.worms.rates import COCOON_STEPS, YOUNG_DEATHS, YOUNG_STEPS, appetite, eased, life_span, moved, rates
from underlid.worms.species import Species

Array = NDArray[np.float64]

AGES_AT_C, AGES_Q10 = 20.0, 2.0  # lives are longer in the cold; the figure is common for respiration (recalled)
FROST_RAMP_K = 0.5  # death by freezing is full that far below the freezing point of adults
HEAT_PER_H, HEAT_RAMP_K = 0.02, 2.0  # above the tolerated band; hours to days kill, recalled
#: Death outside the tolerated moisture: so much a day so far outside, and by the square of it beyond. Bone-dry bedding
#: kills in days, and so does bedding that holds no air (recalled).
DROUGHT_PER_DAY, DRY_RAMP, FLOOD_RAMP = 0.02, 0.10, 0.01
DRY_SHARE = 0.2  # of what is eaten: food as the tables have it is wet (kitchen scraps, NRAES-54 appendix A, recalled)
ROT_PER_DAY = 0.002  # of the food in the bedding, at AGES_AT_C: half of it in a year


class ImpossibleHabitat(ValueError):
    """Hours of a bedding that are not numbers, or that do not fit each other."""


@dataclass(frozen=True, slots=True)
class Habitat:
    """What a colony lives in, hour by hour: (places, hours) of one or several beddings that it may be.

    worms_c, cocoons_c : temperature where worms and cocoons are [degC]
    outside_k : how far the best place in reach is outside the tolerated band `band_c` [K], 0 where there is refuge
    frozen : share of the bedding's water that is ice; moisture : fraction of wet mass
    food_kg : (hours,) food given in the hour that follows [kg dry]
    """

    worms_c: Array
    cocoons_c: Array
    outside_k: Array
    frozen: Array
    moisture: Array
    food_kg: Array
    band_c: tuple[float, float]

    def __post_init__(self) -> None:
        shape = np.shape(self.worms_c)
        if len(shape) != 2:
            raise ImpossibleHabitat(f"A habitat needs rows of hours, one row a place, but its shape is {shape}.")
        for name in ("worms_c", "cocoons_c", "outside_k", "frozen", "moisture", "food_kg"):
            numbers = np.asarray(getattr(self, name))
            if numbers.shape != (expected := shape[1:] if name == "food_kg" else shape):
                raise ImpossibleHabitat(f"The shape of {name} must be {expected}, but is {numbers.shape}.")
            if not np.isfinite(numbers).all():
                raise ImpossibleHabitat(f"In {name} there is an hour without a number; fill the gap first.")
            if not name.endswith("_c") and (numbers < 0).any():
                raise ImpossibleHabitat(f"In {name} there is a number below zero; there is no less than nothing of it.")

    @classmethod
    def steady(cls, kind: Species, bedding_c: float | Array, hours: int, food_kg: float = 0.0) -> Habitat:
        """Bedding of the best moisture with refuge everywhere, at one temperature or (hours,); food once, at first."""
        whole = np.broadcast_to(np.asarray(bedding_c, float), (1, hours))
        low, high = kind.band_c
        food = np.zeros(hours)
        food[0] = food_kg
        zero = np.zeros((1, hours))
        outside = np.maximum(0.0, np.maximum(low - whole, whole - high))
        return cls(whole, whole, outside, zero, zero + kind.best_moisture_pct.value / 100, food, kind.band_c)


class Strain(NamedTuple):
    """How this population differs from the best values of its species, (sets,) each.

    all but the last are eases, see `rates`: of the facts by these names, crowding of the mass at which laying ends
    frost_per_h : death of worms that are frozen; cocoon_frost_per_day : of cocoons in frozen bedding
    """

    incubation: Array
    maturation: Array
    laying: Array
    hatching: Array
    hatchlings: Array
    crowding: Array
    eating: Array
    freezing: Array
    life_span: Array
    frost_per_h: Array
    cocoon_frost_per_day: Array

    @classmethod
    def usual(cls, sets: int = 1) -> Strain:
        """The best values."""
        zero = np.zeros(sets)
        return cls(*(zero,) * 9, np.full(sets, FROST_PER_H), np.full(sets, COCOON_FROST_PER_DAY))


#: Mean live mass of each stage, from hatchling to adult, as parts of three facts: our judgement.
HATCHLING_GROWS, JUVENILE_SHARE, SUB_ADULT_SHARE = 2.0, 0.35, 0.8  # of a hatchling's; of that when the clitellum shows

#: Middles of what is thought possible. Freezing kills (recalled, for the group), how soon is not known: our judgement;
#: cocoons of Dendrobaena octaedra outlived 3 months at -8 degC (Holmstrup 1994),
#: which one in four dying would fit; of Eisenia nothing was tried.
FROST_PER_H = 0.03
COCOON_FROST_PER_DAY = 0.003


def colony(kind: Species, area_m2: float, strain: Strain) -> Colony:
    """What is a population's own in a bin of that surface, (sets,).

    The mass at which laying ends lies between what beds usually hold and the most they do, in the geometric middle.
    """
    usual, most = kind.usual_density_kg_m2, kind.densest_kg_m2
    ceiling = Fact(math.sqrt(usual.value * most.value), usual.value, most.high, "", "judgement")
    hatchlings = [eased(kind.hatchlings_per_cocoon, float(ease)) for ease in strain.hatchlings]
    sets = len(hatchlings)
    lone = 0.0 if kind.self_fertile_share is None else kind.self_fertile_share.value
    ripe = kind.clitellum_g.value / 1000
    return Colony(
        np.maximum(hatchlings, 1.0),
        area_m2 * np.array([eased(ceiling, float(ease)) for ease in strain.crowding]),
        np.full(sets, lone),
        *(np.full(sets, kg) for kg in (
            HATCHLING_GROWS * kind.hatchling_mg.value / 1e6, JUVENILE_SHARE * ripe, SUB_ADULT_SHARE * ripe,
            kind.adult_g.value / 1000,
        )),
    )  # fmt: skip


def course(
    kind: Species,
    habitat: Habitat,
    strain: Strain,
    where: NDArray[np.int64] | None = None,
    hours_per_step: int = 24,
) -> Course:
    """The course of each set, (sets, steps); a last step that the hours do not fill is left out.

    where : (sets,) which of the habitat's places each lives in, the first if not given

    Raises
    ------
    ImpossibleHabitat : if a set lives in a place that is not there
    """
    sets, hours = len(strain.incubation), habitat.worms_c.shape[1]
    steps = hours // hours_per_step
    where = np.zeros(sets, np.int64) if where is None else where
    places = habitat.worms_c.shape[0]
    if where.shape != (sets,) or not ((where >= 0) & (where < places)).all():
        raise ImpossibleHabitat(f"Each of {sets} sets must live in a place from 0 to {places - 1}, but in {where}.")
    curves = [
        rates(kind, (float(i), float(m), float(lays)))
        for i, m, lays in zip(strain.incubation, strain.maturation, strain.laying, strict=True)
    ]
    at_c, per_day = (
        tuple(
            np.array([getattr(getattr(curve, name), part) for curve in curves])
            for name in ("incubation", "maturation", "laying")
        )
        for part in ("at_c", "per_day")
    )
    years = np.array([eased(life_span(kind), float(e)) for e in strain.life_span])
    young = np.array([eased(YOUNG_DEATHS, -float(e)) for e in strain.life_span])
    hatch = kind.hatching_share
    share = np.array([min(1.0, eased(hatch, float(e))) for e in strain.hatching])
    freezing_c = np.array([moved(kind.adults_freeze_c, float(ease)) for ease in strain.freezing])
    hunger = [appetite(kind, float(ease)) for ease in strain.eating]
    eats_at_c, eats_per_day = np.array(hunger[0].at_c), DRY_SHARE * np.array([curve.per_day for curve in hunger])
    low, high = kind.moisture
    best = kind.best_moisture_pct
    wet = np.array([low - DRY_RAMP, low, best.low / 100, best.high / 100, high, high + FLOOD_RAMP])
    limits = np.array([kind.incubation_days.at_c[-1], kind.no_hatching_above_c.value, *habitat.band_c])
    out = np.empty((11, sets, steps))
    hourly = tuple(
        np.require(getattr(habitat, name), float, ("C", "W"))  # any other kind of array would be compiled for anew
        for name in ("worms_c", "cocoons_c", "outside_k", "frozen", "moisture")
    )
    of_set = np.stack(
        [1.0 / (365.25 * years), young, share, freezing_c, strain.frost_per_h, strain.cocoon_frost_per_day], axis=1
    )
    food = np.require(habitat.food_kg, float, ("C", "W"))
    deal(
        _course, len(where), hourly, food, where, hours_per_step, at_c, per_day, of_set, eats_at_c, eats_per_day, wet,
        limits, out,
    )  # fmt: skip
    return Course(*out)


@nb.njit(cache=True, nogil=True)
def _course(begun, end, hourly, food_kg, where, hours, at_c, per_day, of_set, eats_c, eats, wet, limits, out):  # type: ignore[no-untyped-def]
    worms_c, cocoons_c, outside_k, frozen, moisture = hourly
    hatch_c, grow_c, lay_c = at_c
    hatch, grow, lay = per_day
    for s in range(begun, end):
        w = where[s]
        death, young, share, freezing_c, frost_per_h, cocoon_frost = of_set[s]
        for step in range(out.shape[2]):
            for i in range(11):
                out[i, s, step] = 0.0
            sums = out[:, s, step]
            mean_worms = mean_cocoons = frost = heat = cooked = damp = ice = 0.0
            for h in range(step * hours, (step + 1) * hours):
                at, there = worms_c[w, h], cocoons_c[w, h]
                sums[0] += _between(hatch_c[s], hatch[s], there)
                wetness = _wetness(wet, moisture[w, h])
                sums[1] += _between(grow_c[s], grow[s], at) * wetness
                sums[2] += _between(lay_c[s], lay[s], at) * wetness
                sums[7] += _between(eats_c, eats[s], at)
                sums[8] += food_kg[h]
                mean_worms += at / hours
                mean_cocoons += there / hours
                ice += frozen[w, h]
                if outside_k[w, h] > 0.0:
                    if 2.0 * at < limits[2] + limits[3]:
                        body = limits[2] - outside_k[w, h]
                        frost += min(1.0, max(0.0, (freezing_c - body) / FROST_RAMP_K))
                    else:
                        heat += min(1.0, outside_k[w, h] / HEAT_RAMP_K)
                cooked += min(1.0, max(0.0, (there - limits[3]) / HEAT_RAMP_K))
                beyond = max((wet[1] - moisture[w, h]) / DRY_RAMP, (moisture[w, h] - wet[4]) / FLOOD_RAMP, 0.0)
                damp += beyond * max(1.0, beyond)
            days = hours / 24.0
            aging = days * AGES_Q10 ** ((min(mean_worms, limits[3]) - AGES_AT_C) / 10.0)
            lost = frost * frost_per_h + heat * HEAT_PER_H + damp * DROUGHT_PER_DAY / 24.0
            sums[0] *= COCOON_STEPS / 24.0
            sums[1] *= YOUNG_STEPS / 24.0
            sums[2] /= 24.0
            sums[3] = share * min(1.0, max(0.0, (limits[1] - mean_cocoons) / (limits[1] - limits[0])))
            sums[4] = ice / 24.0 * cocoon_frost + cooked * HEAT_PER_H
            sums[5] = young * aging + lost
            sums[6] = death * aging + lost
            sums[7] /= 24.0
            sums[9] = 1.0 - np.exp(-ROT_PER_DAY * aging)
            sums[10] = days


@nb.njit(cache=True)
def _between(x, y, at):  # type: ignore[no-untyped-def]
    """Straight between the points of a rate, 0 outside them."""
    last = x.shape[0] - 1
    if at <= x[0] or at >= x[last]:
        return 0.0
    i = 1
    while x[i] < at:
        i += 1
    return y[i - 1] + (y[i] - y[i - 1]) * (at - x[i - 1]) / (x[i] - x[i - 1])


@nb.njit(cache=True)
def _wetness(wet, at):  # type: ignore[no-untyped-def]
    """How moisture bears on growth and laying: 1 over the best, half at the limits tolerated, 0 beyond."""
    if at < wet[2]:
        if at < wet[1]:
            return 0.5 * max(0.0, (at - wet[0]) / (wet[1] - wet[0]))
        return 0.5 + 0.5 * (at - wet[1]) / (wet[2] - wet[1])
    if at > wet[3]:
        if at > wet[4]:
            return 0.5 * max(0.0, (wet[5] - at) / (wet[5] - wet[4]))
        return 0.5 + 0.5 * (wet[4] - at) / (wet[4] - wet[3])
    return 1.0
