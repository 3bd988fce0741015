"""What becomes of bedding and food: how much is lost to the air, how much water that frees, what is left and turned.

Each lot of a material decays on its own. Its volatile solids are a part that goes at the material's rate and a slow
remainder (lignin, and what has rotted already); ash stays. Both go by first order in time at the best temperature and
moisture (`best_days`). That loss is of worms and microbes together: what worms eat is within it, not beside it.
All that goes is burnt whole: carbon to CO2, hydrogen to water, some of the nitrogen to ammonia; the rest of it stays as
dry matter. Methane, what drains away and the flesh of worms are left out: small in an aired bin, our judgement.

    >>> from underlid.bedding.materials import material
    >>> rng = np.random.default_rng(1)
    >>> lot = lot_of(material("leaves"), drawn_ways(500, rng), rng)
    >>> told = balance(lot, np.full(500, 4.0), best_days(np.full(24 * 90, 20.0))[:, [0, -1]])
    >>> lost = 1 - told.dry_left / told.dry_given
    >>> bool(np.allclose(lost[:, 0], 0) and 0.1 < np.median(lost[:, 1]) < 0.5)
    True
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.breakdown import cardinal
from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material, material
from underlid.bedding.mixing import drawn

Array = NDArray[np.float64]

CARBON, HYDROGEN, NITROGEN, OXYGEN = 12.011, 1.008, 14.007, 15.999  # g/mol
CO2, WATER, AMMONIA = CARBON + 2 * OXYGEN, 2 * HYDROGEN + OXYGEN, NITROGEN + 3 * HYDROGEN
CO2_PER_CARBON, AMMONIA_PER_NITROGEN = CO2 / CARBON, AMMONIA / NITROGEN

#: Hydrogen of volatile solids [kg/kg]: glucose 0.067, wood and straw about 0.06.
HYDROGEN_SHARE = Fact(0.062, 0.055, 0.070, "ultimate analyses of plant matter", "recalled")
#: Carbon of volatile solids can be no less than in sugar and hardly more than in lignin [kg/kg].
LEAST_CARBON, MOST_CARBON = 0.40, 0.60
MOST_NITROGEN = 0.17  # of volatile solids [kg/kg], about that of protein

#: Share of the volatile solids that is a slow remainder, by how fast the material decays.
SLOW_SHARE = {
    "fast": Fact(0.20, 0.10, 0.35, "peel and pulp leave little", "judgement"),
    "medium": Fact(0.35, 0.20, 0.50, "manure is half fibre that was not digested", "judgement"),
    "slow": Fact(0.40, 0.25, 0.55, "lignin of leaves, straw and card, and humus made on the way", "judgement"),
}
#: How fast the remainder goes, of it a day at best; a material's own rate where that is slower.
SLOW_PER_DAY = Fact(0.0015, 0.0005, 0.003, "wood, peat and what is rotted already: years", "judgement")

#: C:N from which decay sets no nitrogen free.
BALANCED_CN = Fact(24.0, 18.0, 30.0, "20 to 25 is usual for composts", "recalled")
#: Share of the nitrogen set free that leaves as ammonia: a cool, slightly acid bed keeps most, a hot heap loses half.
ESCAPES = Fact(0.20, 0.03, 0.60, "no source for a household bin", "judgement")

#: Share of its volume that bedding keeps as it is wetted, trodden by its own weight and worked through, decay aside.
SINKS_TO = Fact(0.75, 0.50, 1.00, "common practice, no source", "judgement")
SINKS_IN_DAYS = 30.0  # two thirds of that sinking come within so many days: our judgement

#: How many times as fast as that a bin rots, all in it alike: size of pieces, airing, how many worms.
PACE = Fact(1.0, 0.6, 1.6, "no source", "judgement")

#: How fast rot goes by the moisture of the bedding [fraction of wet mass]: too dry, then too little air. Our judgement.
MOISTURE, SPEED = (0.20, 0.50, 0.82, 0.95), (0.0, 1.0, 1.0, 0.3)


class ImpossibleLot(ValueError):
    """A lot of a mass below zero, or one that is no number."""


class Burnt(NamedTuple):
    """What full oxidation makes and takes [kg]."""

    co2: Array
    water: Array
    ammonia: Array
    oxygen: Array


@dataclass(frozen=True, slots=True)
class Ways:
    """What holds for a whole bin and all that lies in it, (draws,) each; see the facts of the same names."""

    pace: Array
    escapes: Array
    balanced_cn: Array
    sinks_to: Array
    casts_kg_litre: Array


@dataclass(frozen=True, slots=True)
class Lot:
    """A kilogram of a material as received, (draws,) each [kg]: labile + slow + ash is its dry matter.

    carbon, hydrogen, nitrogen : shares of the volatile solids, labile or slow alike; the rest is oxygen
    escapes : share of the nitrogen of what decays that leaves as ammonia
    coarse : it does not crumble in years and is sieved out of a harvest
    """

    labile: Array
    slow: Array
    ash: Array
    water: Array
    carbon: Array
    hydrogen: Array
    nitrogen: Array
    labile_per_day: Array
    slow_per_day: Array
    escapes: Array
    coarse: bool = False


@dataclass(frozen=True, slots=True)
class Ledger:
    """Where all of it is, (draws, times) each [kg]; its columns sum:

    dry_given + oxygen = dry_left + co2 + water_made + ammonia; dry_left = turned + unturned
    carbon_given = carbon_left + carbon of co2; nitrogen_given = nitrogen_left + nitrogen of ammonia

    oxygen : taken from the air; turned : dry matter that is crumbly and dark, by worms or microbes
    labile_given, labile_left : of it all, what is to go before it is ripe
    """

    dry_given: Array
    dry_left: Array
    oxygen: Array
    co2: Array
    water_made: Array
    ammonia: Array
    carbon_given: Array
    carbon_left: Array
    nitrogen_given: Array
    nitrogen_left: Array
    water_given: Array
    turned: Array
    unturned: Array
    labile_given: Array
    labile_left: Array

    def __add__(self, other: Ledger) -> Ledger:
        return Ledger(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    @property
    def carbon_gone(self) -> Array:
        """Carbon in the CO2 that has left [kg]."""
        return self.co2 / CO2_PER_CARBON

    @property
    def dry_lost(self) -> Array:
        """Dry matter that has left [kg]."""
        return self.dry_given - self.dry_left

    @property
    def ripeness(self) -> Array:
        """Share of what is to rot that has; all where nothing is to, as in finished compost."""
        some = self.labile_given > 0
        return np.where(some, 1 - self.labile_left / np.where(some, self.labile_given, 1.0), 1.0)


class Water(NamedTuple):
    """Water [kg]: given + made + added = held + let_go.

    given : came with the materials; made : by oxidation; held : in the bedding that is left;
    let_go : evaporated or drained, at the least; added : must have come from elsewhere, at the least
    """

    given: Array
    made: Array
    added: Array
    held: Array
    let_go: Array


def burnt(carbon: ArrayLike, hydrogen: ArrayLike, oxygen: ArrayLike, nitrogen_lost: ArrayLike) -> Burnt:
    """Full oxidation of matter that holds so much of each element [kg]; nitrogen leaves as ammonia.

    Glucose, 180.16 g with 192 g of oxygen, makes 264.06 g of CO2 and 108.09 g of water.
    """
    ammonia = np.asarray(nitrogen_lost, float) * AMMONIA_PER_NITROGEN
    in_ammonia = 3 * HYDROGEN / AMMONIA * ammonia
    water = (np.asarray(hydrogen, float) - in_ammonia) * WATER / (2 * HYDROGEN)
    co2 = np.asarray(carbon, float) * CO2_PER_CARBON
    taken = co2 * 2 * OXYGEN / CO2 + water * OXYGEN / WATER - np.asarray(oxygen, float)
    return Burnt(co2, water, ammonia, taken)


def best_days(bedding_c: ArrayLike, moisture: ArrayLike = 0.7, step_h: float = 1.0) -> Array:
    """Time that the bedding's rot has had, as days at the best temperature and moisture, (draws, steps + 1) from 0 on.

    Parameters
    ----------
    bedding_c : (steps,) or (draws, steps) [degC]; nothing rots at 0 degC and below, or at 35 degC and above
    moisture : fraction of wet mass, a number or of the same shape
    """
    warm = np.atleast_2d(np.asarray(bedding_c, float))
    wet = np.interp(np.asarray(moisture, float), MOISTURE, SPEED)
    speed = _warmth(np.ascontiguousarray(warm)) * wet
    spent = np.zeros((speed.shape[0], speed.shape[1] + 1))
    np.cumsum(speed * (step_h / 24), axis=1, out=spent[:, 1:])
    return spent


def drawn_ways(draws: int, rng: np.random.Generator) -> Ways:
    """What holds for a whole bin, as far as it is known; casts are as dense as the materials file has them."""
    casts = material("worm casts")
    dry = 1 - drawn(casts.moisture_pct, draws, rng) / 100
    pace, escapes, balanced, sinks = (drawn(fact, draws, rng) for fact in (PACE, ESCAPES, BALANCED_CN, SINKS_TO))
    return Ways(pace, escapes, balanced, sinks, drawn(casts.bulk_kg_m3, draws, rng) / 1000 * dry)


def lot_of(one: Material, ways: Ways, rng: np.random.Generator) -> Lot:
    """A kilogram of a material as received, as far as it is known: the same for all of it that a bin is given."""
    draws = len(ways.pace)

    def share(fact: Fact) -> Array:
        return drawn(fact, draws, rng) / 100

    dry = 1 - share(one.moisture_pct)
    volatile = dry * share(one.volatile_pct)
    held = np.where(volatile > 0, volatile, 1.0)
    # facts are drawn apart, so carbon may come out as more than volatile solids can hold
    carbon = np.clip(dry * share(one.carbon_pct) / held, LEAST_CARBON, MOST_CARBON)
    nitrogen = np.minimum(dry * share(one.nitrogen_pct) / held, MOST_NITROGEN)
    own = drawn(one.decay_per_day, draws, rng)
    # what decays very slowly is slow remainder throughout
    slow = volatile * (drawn(SLOW_SHARE[one.decays], draws, rng) if one.decays in SLOW_SHARE else 1.0)
    free = np.clip(1 - carbon / np.maximum(nitrogen, 1e-9) / ways.balanced_cn, 0.0, 1.0)
    return Lot(
        volatile - slow, slow, dry - volatile, 1 - dry, carbon, drawn(HYDROGEN_SHARE, draws, rng), nitrogen,
        own * ways.pace, np.minimum(own, drawn(SLOW_PER_DAY, draws, rng)) * ways.pace, ways.escapes * free,
        is_coarse(one),
    )  # fmt: skip


def is_coarse(one: Material) -> bool:
    """Whether it stays in pieces for years: decays very slowly and has not rotted before."""
    return one.decays == "very slow" and one.group != "rotted"


def balance(lot: Lot, kg: Array, spent_days: Array, there: ArrayLike = True) -> Ledger:
    """What has become of so many kg as received (draws,) after so many days at best (draws, times).

    there : (draws, times), whether it has been laid or fed by then. Raises ImpossibleLot.
    """
    if not (np.isfinite(kg).all() and (kg >= 0).all()):
        raise ImpossibleLot("The mass of a lot must be a number of kg, 0 or more; give it with both ends.")
    here = kg[:, None] * np.broadcast_to(there, np.broadcast_shapes(np.shape(there), spent_days.shape))
    (labile, slow, ash, water, carbon, hydrogen, nitrogen, labile_per_day, slow_per_day, escapes) = (
        getattr(lot, f.name)[:, None] for f in fields(lot) if f.name != "coarse"
    )
    spent = np.maximum(spent_days, 0.0)
    labile_gone = -labile * np.expm1(-labile_per_day * spent) * here
    slow_gone = -slow * np.expm1(-slow_per_day * spent) * here
    gone = labile_gone + slow_gone
    volatile = (labile + slow) * here
    lost = escapes * nitrogen * gone
    made = burnt(carbon * gone, hydrogen * gone, (1 - carbon - hydrogen - nitrogen) * gone, lost)
    kept = nitrogen * gone - lost
    rest = ash * here + slow * here - slow_gone + kept
    labile_left = labile * here - labile_gone
    ready = 0.0 if lot.coarse else np.where(labile > 0, -np.expm1(-labile_per_day * spent), 1.0)
    turned = ready * rest
    dry_left = rest + labile_left
    return Ledger(
        dry_given=(labile + slow + ash) * here, dry_left=dry_left, oxygen=made.oxygen, co2=made.co2,
        water_made=made.water, ammonia=made.ammonia, carbon_given=carbon * volatile,
        carbon_left=carbon * (volatile - gone), nitrogen_given=nitrogen * volatile,
        nitrogen_left=nitrogen * (volatile - gone) + kept, water_given=water * here, turned=turned,
        unturned=dry_left - turned, labile_given=labile * here, labile_left=labile_left,
    )  # fmt: skip


def watered(told: Ledger, moisture: ArrayLike) -> Water:
    """Where the water is when the bedding left has this moisture [fraction of wet mass, below 1]."""
    wet = np.asarray(moisture, float)
    held = told.dry_left * wet / (1 - wet)
    over = told.water_given + told.water_made - held
    return Water(told.water_given, told.water_made, np.maximum(-over, 0.0), held, np.maximum(over, 0.0))


def water_freed(told: Ledger, moisture: ArrayLike) -> Array:
    """Water made by oxidation, and what the solids that are gone would hold at this moisture [kg]."""
    wet = np.asarray(moisture, float)
    return np.asarray(told.water_made + np.maximum(told.dry_lost, 0.0) * wet / (1 - wet))


def casts_of(eaten: ArrayLike, share: ArrayLike, dry_left: ArrayLike) -> Array:
    """Dry casts in the bed [kg] of dry matter eaten: no more than there is dry matter left."""
    return np.asarray(np.minimum(np.asarray(eaten, float) * share, dry_left))


def sunk_to(share: ArrayLike, days: ArrayLike) -> Array:
    """Share of its volume that bedding still has so many days after it was laid, decay aside (see SINKS_TO)."""
    return np.asarray(1 - (1 - np.asarray(share, float)) * -np.expm1(-np.maximum(days, 0.0) / SINKS_IN_DAYS))


@nb.njit(cache=True)
def _warmth(bedding_c):  # type: ignore[no-untyped-def]
    """`cardinal` of each (draws, steps)."""
    out = np.empty_like(bedding_c)
    for d in range(bedding_c.shape[0]):
        for h in range(bedding_c.shape[1]):
            out[d, h] = cardinal(bedding_c[d, h])
    return out
