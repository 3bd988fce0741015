"""How a feeding may harm the worms that meet it: six figures against six limits, draw by draw.

Each harm is told for the pocket, which is the bedding that touches the food, and for the bin as a whole, which
decides whether there is anywhere left to flee to. Acid is run by the chemistry of a pocket; the rest are lumped
figures, meant to be right within a factor of two or three.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.breakdown import cardinal
from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material
from underlid.bedding.mixing import drawn
from underlid.chemistry.aftermath import Course
from underlid.chemistry.pocket import Bedding, Feed, course, draw_rates
from underlid.chemistry.rates import Rates
from underlid.chemistry.souring import AMMONIA
from underlid.fit.feeding import HEAVIEST_KG_L, Bed, bedding_of, feed_of
from underlid.worms.facts import Fact as SpeciesFact
from underlid.worms.rates import FAST_END, appetite
from underlid.worms.species import Species

if TYPE_CHECKING:
    from underlid.fit.acidity import Acidity

Array = NDArray[np.float64]
Drawn = TypeVar("Drawn", Bedding, Feed, Rates)
Harm = Literal["acid", "ammonia", "salt", "heat", "air", "appetite"]

THIRDS = (1 / 6, 1 / 2, 5 / 6)  # of the range of temperature: a third of the draws at each
DAYS = 21.0  # what harms a pocket comes within three weeks: our judgement
NITROGEN_MG_MOL = 14007.0
DAY_S, WEEK_DAYS = 86400.0, 7.0

#: Share of the nitrogen of fresh dung that is or soon becomes ammonia, whatever its C:N: urine and uric acid.
READY = {
    "poultry manure": Fact(0.5, 0.3, 0.7, "uric acid and ammonium, gone to ammonia in days to weeks", "recalled"),
    "rabbit manure": Fact(0.15, 0.05, 0.3, "ammonium of fresh dung, with some urine", "judgement"),
    "sheep manure": Fact(0.2, 0.05, 0.35, "ammonium of fresh dung, with some urine", "judgement"),
    "cattle manure": Fact(0.2, 0.05, 0.4, "ammonium of fresh dung, with some urine", "judgement"),
    "horse manure": Fact(0.1, 0.02, 0.25, "ammonium of fresh dung, with some urine", "judgement"),
}
NONE_READY = Fact(0.0, 0.0, 0.0, "kitchen scraps hold theirs in protein", "judgement")

#: Heat of volatile solids as they are destroyed [J/kg], and of oxygen taken up [J/g].
DESTROYED_J_KG = Fact(19.5e6, 17e6, 22e6, "Haug 1993", "recalled")
OXYGEN_J_G = Fact(14.0e3, 13.6e3, 14.7e3, "Haug 1993; Finstein 1986", "recalled")
#: Loss of a small bin [W per m2 of its bedding's faces and K], from thin plastic outdoors to a wrapped box.
LOSS_W_M2K = Fact(5.0, 2.0, 8.0, "thin plastic with its films has about 5; wrapped, less", "judgement")
CONDUCTIVITY_W_MK = Fact(0.35, 0.2, 0.55, "moist composts measure 0.12 to 0.81 (Ahn et al. 2009)", "judgement")
#: Depth of the bedding over the side of a cube as large, which gives its open surface.
FLATNESS = Fact(0.8, 0.5, 1.1, "boxes are flat, buckets are not", "judgement")
#: Oxygen through loose moist bedding [m2/s]: in air 2e-5, through a third to a half of air in crooked pores.
OXYGEN_M2_S = Fact(4e-6, 1e-6, 9e-6, "free air with the pores' share and crookedness", "judgement")
OXYGEN_SPARE_G_M3 = Fact(140.0, 80.0, 200.0, "from 21 % in the air down to about 10 %", "judgement")
#: Share of the oxygen coming in that the bedding leaves for the food.
LEFT_FOR_FOOD = Fact(0.5, 0.2, 0.8, "old bedding breathes as much as a feeding", "judgement")
BEST_C = 25.0  # above it others take over and break down no slower: our judgement
HOTTEST_C = 70.0  # compost does not get much hotter by itself: recalled
#: Food that would last the worms longer than this lies and rots before they come to it [weeks]: our judgement.
WEEKS_LIMIT = Fact(8.0, 6.0, 10.0, "about two months' food; microbes take the rest", "judgement")


@dataclass(frozen=True, slots=True)
class Exposure:
    """One harm, all arrays (draws,): what is told, its limit, and whether pocket and whole bin are beyond it.

    reach : share of the bedding that is beyond it where `whole` is true
    also : further arrays (draws,) that the words need, by name
    """

    name: Harm
    unit: str
    figure: Array
    limit: Array
    pocket: NDArray[np.bool_]
    whole: NDArray[np.bool_]
    also: dict[str, Array] = field(default_factory=dict)
    reach: Array | float = 1.0


class Amount(NamedTuple):
    """How much is fed [kg wet], from low to high: anything between is equally likely."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """The middle [kg]."""
        return (self.low + self.high) / 2


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: a food, its amount, the bed it goes into and who lives there.

    bedding_c : temperature in the weeks to come, low and high [degC]
    live_kg : live mass of the worms, low and high, or None where nothing is known
    heaps : places that the food is put in
    acidity : what the journal says of its acid, with all that was fed before; None for bedding that never was
    """

    bed: Bed
    food: Material
    amount: Amount
    bedding_c: tuple[float, float]
    species: Species
    live_kg: tuple[float, float] | None = None
    heaps: int = 1
    acidity: Acidity | None = None


class Exposed(NamedTuple):
    """Every harm of one amount, and the pocket's share of the bedding (draws,)."""

    harms: tuple[Exposure, ...]
    pocket_share: Array
    bedding_kg: Array


def exposed(asked: Question, amount: Amount, seed: int, draws: int) -> Exposed:
    """What an amount does. The same seed draws the same bin and food whatever the amount, so that more is never less.

    draws : a multiple of three, a third of them at each of three temperatures
    """
    rng = np.random.default_rng(seed)
    bedding = bedding_of(asked.bed, draws, rng)
    kg = amount.low + (amount.high - amount.low) * rng.random(draws)
    fed = feed_of(asked.food, 1.0, draws, rng, heaps=asked.heaps).times(kg)
    rates = draw_rates(draws, rng)
    cold, warm = asked.bedding_c
    at_c = cold + (warm - cold) * np.repeat(THIRDS, draws // len(THIRDS))
    if asked.acidity is None:
        ran = [
            course(_of(bedding, mine), _of(fed, mine), _of(rates, mine), float(at_c[mine][0]), days=DAYS)
            for mine in (at_c == each for each in np.unique(at_c))
        ]
    else:
        which = rng.permutation(draws) % len(asked.acidity.sets.now_ph)
        bedding = asked.acidity.sets.some(which).bedding
        if asked.acidity.fitted_warmth:
            at_c = asked.acidity.ahead_c(which, DAYS)
        ran = [asked.acidity.fed_now(fed, which, None if asked.acidity.fitted_warmth else at_c, DAYS)]
    share = np.concatenate([one.pocket_share for one in ran])
    wet = np.minimum(np.asarray(bedding.dry_kg) + np.asarray(bedding.water_kg), HEAVIEST_KG_L * asked.bed.litres)
    weight = _Weights(kg, share * wet + kg, wet + kg)
    power = _power(asked.food, kg, draws, rng)
    shape = drawn(FLATNESS, draws, rng) * np.cbrt(asked.bed.litres / 1e3)
    size = _Sizes(asked.bed.litres / 1e3, shape, np.asarray(fed.litres) / 1e3 / asked.heaps, asked.heaps)
    harms = [
        _acid(ran, asked.species, draws, rng),
        _ammonia(ran, fed, asked, weight, draws, rng),
        _salt(asked.food, asked.species, weight, draws, rng),
        _heat(power, at_c, asked.species, size, draws, rng),
        _air(power, at_c, size, draws, rng),
    ]
    if asked.live_kg is not None and asked.food.kind != "mineral":
        harms.append(_appetite(asked.live_kg, asked.species, kg, at_c, draws, rng))
    return Exposed(tuple(harms), share, wet)


def limits(fact: SpeciesFact, draws: int, rng: np.random.Generator) -> Array:
    """A limit of a species as far as sources agree, (draws,); a triangle, our judgement."""
    if fact.low == fact.high:
        return np.full(draws, fact.value)
    return rng.triangular(fact.low, fact.value, fact.high, draws)


class _Weights(NamedTuple):
    """Wet mass of the food, of the pocket with it, and of all bedding with it [kg], (draws,)."""

    food: Array
    pocket: Array
    whole: Array


class _Sizes(NamedTuple):
    """Bedding [m3], its depth [m], one heap of the food [m3], and how many there are."""

    bedding_m3: float
    depth_m: Array
    heap_m3: Array
    heaps: int

    @property
    def surface_m2(self) -> Array:
        """The open surface."""
        return self.bedding_m3 / self.depth_m

    @property
    def faces_m2(self) -> Array:
        """All six faces of the bedding, square from above."""
        return 2 * self.surface_m2 + 4 * np.sqrt(self.surface_m2) * self.depth_m

    @property
    def heap_m(self) -> Array:
        """Radius of a heap."""
        return np.cbrt(3 * self.heap_m3 / (4 * np.pi))


def _acid(ran: list[Course], kind: Species, draws: int, rng: np.random.Generator) -> Exposure:
    limit = limits(kind.tolerated_low_ph, draws, rng)
    lowest, bulk = (
        np.concatenate([getattr(one, name).min(axis=1) for one in ran]) for name in ("pocket_ph", "bulk_ph")
    )
    pocket_ph = np.concatenate([one.pocket_ph for one in ran])
    hours = (pocket_ph < limit[:, None]) @ np.diff(ran[0].time_h, prepend=0.0)
    start = np.concatenate([one.start_ph for one in ran])
    away = np.concatenate([one.whole_ph for one in ran]) - start[:, None]
    moved = away[np.arange(draws), np.abs(away).argmax(axis=1)]
    return Exposure(
        "acid", "pH", lowest, limit, lowest < limit, bulk < limit, {"hours": hours, "moved": moved, "start": start}
    )


def _ammonia(
    ran: list[Course], fed: Feed, asked: Question, weight: _Weights, draws: int, rng: np.random.Generator
) -> Exposure:
    """Ammonia nitrogen, ammonium included, as wastes are measured: all set free in the time, none of it gone again."""
    limit = limits(asked.species.ammonia_limit_mg_g, draws, rng)
    ready = drawn(READY.get(asked.food.name, NONE_READY), draws, rng)
    nitrogen = np.asarray(fed.nitrogen_mol)
    freed = np.concatenate([one.ledger.made[:, AMMONIA] for one in ran])
    mg = NITROGEN_MG_MOL * np.minimum(ready * nitrogen + freed, nitrogen)
    pocket, whole = (mg / kg / 1e3 for kg in (weight.pocket, weight.whole))
    gas = np.concatenate([one.pocket_ammonia.max(axis=1) for one in ran]) / 1e3
    return Exposure("ammonia", "mg N/g", pocket, limit, pocket > limit, whole > limit, {"gas": gas, "whole": whole})


def _salt(food: Material, kind: Species, weight: _Weights, draws: int, rng: np.random.Generator) -> Exposure:
    limit = limits(kind.salt_limit_mg_g, draws, rng)
    grams = weight.food * drawn(food.salt_g_kg, draws, rng)
    pocket, whole = grams / weight.pocket, grams / weight.whole
    return Exposure("salt", "mg/g", pocket, limit, pocket > limit, whole > limit, {"whole": whole})


def _power(food: Material, kg: Array, draws: int, rng: np.random.Generator) -> Array:
    """Heat of its decay at the best temperature [W], (draws,)."""
    solids = kg * (1 - drawn(food.moisture_pct, draws, rng) / 100) * drawn(food.volatile_pct, draws, rng) / 100
    return solids * drawn(food.decay_per_day, draws, rng) / DAY_S * drawn(DESTROYED_J_KG, draws, rng)


def _slowed(at_c: Array) -> Array:
    """Share of the power at the best temperature that is left at others."""
    return np.array([cardinal(min(one, BEST_C)) for one in at_c.tolist()])


def _heat(
    power: Array, at_c: Array, kind: Species, size: _Sizes, draws: int, rng: np.random.Generator
) -> Exposure:  # fmt: skip
    """Steady heat of balls in moist bedding, and of the whole in its box; what is warmer decays faster."""
    limit = limits(kind.tolerated_high_c, draws, rng)
    loss = drawn(LOSS_W_M2K, draws, rng) * size.faces_m2
    inside = np.cbrt(3 * size.bedding_m3 / (4 * np.pi * size.heaps))
    spread = np.maximum(1 / size.heap_m - 1 / inside, 0.0) / (4 * np.pi * drawn(CONDUCTIVITY_W_MK, draws, rng))
    pocket_k = np.zeros(draws)
    for _ in range(30):  # rises to where gain and loss meet, or to as hot as compost gets
        watts = power * _slowed(at_c + pocket_k)
        bin_k = watts / loss
        pocket_k = np.minimum(bin_k + watts / size.heaps * spread, np.maximum(HOTTEST_C - at_c, 0.0))
    bin_k = np.minimum(bin_k, pocket_k)
    return Exposure(
        "heat", "degC", at_c + pocket_k, limit, at_c + pocket_k > limit, at_c + bin_k > limit,
        {"watts": watts, "pocket_k": pocket_k, "bin_k": bin_k},
    )  # fmt: skip


def _air(power: Array, at_c: Array, size: _Sizes, draws: int, rng: np.random.Generator) -> Exposure:
    """Oxygen that decay takes, against what comes into each heap and through the open surface.

    In a slab that takes it evenly, it reaches the bottom as long as the demand is below what half the depth lets
    through; beyond that the root of supply over demand is the share of the depth that it reaches (steady diffusion).
    """
    demand = 3600 * power * _slowed(at_c) / drawn(OXYGEN_J_G, draws, rng)
    through, spare = drawn(OXYGEN_M2_S, draws, rng), drawn(OXYGEN_SPARE_G_M3, draws, rng)
    supply = 3600 * through * spare * size.surface_m2 / (size.depth_m / 2) * drawn(LEFT_FOR_FOOD, draws, rng)
    heap = 3600 * through * spare * 4 * np.pi * size.heap_m
    whole = demand > supply
    airless = 1 - np.sqrt(np.divide(supply, demand, out=np.ones(draws), where=whole))
    return Exposure("air", "g O2/h", demand, supply, whole | (demand / size.heaps > heap), whole, reach=airless)


def _appetite(
    live_kg: tuple[float, float], kind: Species, kg: Array, at_c: Array, draws: int, rng: np.random.Generator
) -> Exposure:
    """Weeks that the worms would need for it: nothing is eaten below where they feed, nor above what they bear."""
    live = live_kg[0] + (live_kg[1] - live_kg[0]) * rng.random(draws)
    level = drawn(Fact(0.0, -1.0, 1.0, "where in the range of sources", "judgement"), draws, rng)
    best, low, high = (appetite(kind, ease)(at_c) for ease in (0.0, -FAST_END, FAST_END))
    share = best + np.where(level < 0, level * (best - low), level * (high - best))
    week = WEEK_DAYS * live * share
    weeks = np.divide(kg, week, out=np.full(draws, np.inf), where=week > 0)
    limit = drawn(WEEKS_LIMIT, draws, rng)
    never = np.zeros(draws, bool)
    return Exposure("appetite", "weeks", weeks, limit, weeks > limit, never, {"week_kg": week})


def _of(whole: Drawn, mine: NDArray[np.bool_]) -> Drawn:
    """Some of the draws of bedding, food or constants; what is one number for all stays."""
    parts = {each.name: np.asarray(getattr(whole, each.name)) for each in fields(whole)}
    return replace(whole, **{name: part[mine] for name, part in parts.items() if part.shape == mine.shape})
