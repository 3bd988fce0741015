"""What a feeding does to the pH of a bin: materials, as they are known, made into the amounts that chemistry takes.

>>> import numpy as np
>>> from underlid.bedding.materials import material
>>> bed = Bed(((material("old horse manure"), 0.5), (material("leaves"), 0.5)), litres=20.0)
>>> told = what_if_fed(bed, material("lemon peel"), 0.3, 15.0, np.random.default_rng(1), draws=40, days=10)
>>> bool(told.summary().lowest_pocket_ph[1] > 6)
True
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.facts import Fact
from underlid.bedding.materials import ACIDS, CALCITE_G_MOL, Material, every_material
from underlid.bedding.mixing import SETTLED, drawn, drawn_shares
from underlid.chemistry.aftermath import Points, points
from underlid.chemistry.moving import acid_to_move, mass_to_move
from underlid.chemistry.pocket import Bedding, Course, Feed, course, draw_rates

Array = NDArray[np.float64]

DRAWS = 200
HEAVIEST_KG_L = 0.9  # bedding that still has some air weighs no more, however its materials are drawn: our judgement
CITRIC_PROTONS = ACIDS["citric"][0]
CARBON_G_MOL, NITROGEN_G_MOL = 12.011, 14.007

#: Protons that bedding takes up [mol per kg dry and pH], by group of materials.
HUMIC = Fact(0.31, 0.21, 0.45, "eight composts, Costello & Sullivan 2014", "published")
PLANTS = Fact(0.12, 0.05, 0.20, "leaves, straw and greens hold less than what is rotted", "judgement")
FIBRES = Fact(0.06, 0.02, 0.12, "card, paper and wood hold little", "judgement")
PEAT = Fact(0.10, 0.05, 0.15, "sphagnum peat", "recalled")
TAKES_UP = {"manure": HUMIC, "rotted": HUMIC, "poultry manure": HUMIC, "paper": FIBRES, "wood": FIBRES}

#: Bedding of old manure and leaves before it is fed, and its water.
USUAL_PH = Fact(7.2, 6.6, 7.8, "composted horse manure reads near 7: common practice, no source", "judgement")
USUAL_MOISTURE_PCT = Fact(76, 68, 83, "common practice, no source", "judgement")


class NoBed(ValueError):
    """A bed of nothing, or of negative amounts."""


class NoFood(ValueError):
    """A feeding of no mass."""


@dataclass(frozen=True, slots=True)
class Bed:
    """Bedding of a bin: materials with their shares of its volume before mixing, and how much it fills.

    shells_kg : crushed eggshell mixed through it; grain_m : size of its pieces and of those fed [m]
    """

    layers: tuple[tuple[Material, float], ...]
    litres: float
    ph: Fact = USUAL_PH
    moisture_pct: Fact = USUAL_MOISTURE_PCT
    shells_kg: float = 0.0
    grain_m: float = 1e-3

    def __post_init__(self) -> None:
        if not self.layers or not all(share > 0 for _, share in self.layers) or not self.litres > 0:
            raise NoBed("The bed needs at least one material, each with a share above 0, and litres above 0.")


class Moves(NamedTuple):
    """How much of a food lowers the whole bin by so much pH [kg wet], 5, 50 and 95 % points.

    at_once : if all of its acid came at once and none were eaten; no less can do it by its own acid
    eaten : fed as one feeding, with acids eaten, made from sugar, and the base that decay leaves
    never : share of draws in which not even a thousand kilograms, fed so, would; those are infinity among `eaten`
    """

    drop_ph: float
    at_once: Points
    eaten: Points
    never: float


def takes_up(one: Material) -> Fact:
    """Protons that a material takes up as bedding [mol per kg dry and pH]."""
    return PEAT if one.name == "peat" else TAKES_UP.get(one.group, PLANTS)


def bedding_of(bed: Bed, draws: int, rng: np.random.Generator) -> Bedding:
    """The bed as far as it is known, (draws,)."""
    stock, volumes = [one for one, _ in bed.layers], np.array([share for _, share in bed.layers])
    held = drawn_shares(stock, draws, rng)
    dry = (1 - held.water) / held.litres * volumes / volumes.sum()  # [kg] by material in a litre before mixing
    laid_kg = dry.sum(axis=1) * bed.litres / drawn(SETTLED, draws, rng)
    each = np.stack([drawn(takes_up(one), draws, rng) for one in stock], axis=1)
    wet = drawn(bed.moisture_pct, draws, rng) / 100
    dry_kg = np.minimum(laid_kg, HEAVIEST_KG_L * bed.litres * (1 - wet))
    shell = material_of_shells()
    return Bedding(
        dry_kg=dry_kg, water_kg=dry_kg * wet / (1 - wet), litres=bed.litres, ph=drawn(bed.ph, draws, rng),
        buffer_mol_kg_ph=(each * dry).sum(axis=1) / dry.sum(axis=1),
        calcite_mol=bed.shells_kg * _calcite_mol_kg(shell, draws, rng), grain_m=bed.grain_m,
    )  # fmt: skip


def feed_of(
    food: Material, kg: float, draws: int, rng: np.random.Generator, *, heaps: int = 1, shells_kg: float = 0.0
) -> Feed:
    """A feeding as far as its material is known, (draws,); malic acid counts as citric by its protons."""
    if not 0 < kg < np.inf:
        raise NoFood(f"{kg:g} kg of {food.name} is no feeding; give more than 0.")
    dry = kg * (1 - drawn(food.moisture_pct, draws, rng) / 100)
    grams = {acid: kg * drawn(getattr(food, f"{acid}_g_kg"), draws, rng) for acid in ACIDS}
    mol = {acid: grams[acid] / molar for acid, (_, molar) in ACIDS.items()}
    malic, _ = ACIDS["malic"]
    shells = shells_kg * _calcite_mol_kg(material_of_shells(), draws, rng)
    return Feed(
        kg=kg, litres=1e3 * kg / drawn(food.bulk_kg_m3, draws, rng), water_kg=kg - dry,
        acetate_mol=mol["acetic"], lactate_mol=mol["lactic"],
        citrate_mol=mol["citric"] + mol["malic"] * malic / CITRIC_PROTONS,
        base_mol=dry * drawn(food.ash_alkalinity_mol_kg, draws, rng),
        carbon_mol=1e3 * dry * drawn(food.carbon_pct, draws, rng) / 100 / CARBON_G_MOL,
        nitrogen_mol=1e3 * dry * drawn(food.nitrogen_pct, draws, rng) / 100 / NITROGEN_G_MOL,
        calcite_mol=dry * drawn(food.calcite_pct, draws, rng) * 10 / CALCITE_G_MOL + shells,
        decay_per_day=drawn(food.decay_per_day, draws, rng), heaps=heaps,
    )  # fmt: skip


def material_of_shells() -> Material:
    """Crushed eggshell; not to be had through `material`, which is for what lies as a layer."""
    return every_material()["egg shells"]


def what_if_fed(
    bed: Bed,
    food: Material,
    kg: float,
    bedding_c: float,
    rng: np.random.Generator,
    *,
    draws: int = DRAWS,
    days: float = 60.0,
    heaps: int = 1,
    shells_kg: float = 0.0,
) -> Course:
    """What a feeding [kg wet] does to a bed at a temperature [degC]: all that is uncertain drawn, and run forward."""
    bedding, fed = bedding_of(bed, draws, rng), feed_of(food, kg, draws, rng, heaps=heaps, shells_kg=shells_kg)
    return course(bedding, fed, draw_rates(draws, rng), bedding_c, days=days)


def kg_to_move(
    bed: Bed, food: Material, bedding_c: float, rng: np.random.Generator, *, drop_ph: float = 1.0, draws: int = DRAWS
) -> Moves:
    """How much of a food [kg wet] would lower the whole bin by `drop_ph`."""
    bedding, fed, rates = bedding_of(bed, draws, rng), feed_of(food, 1.0, draws, rng), draw_rates(draws, rng)
    least = acid_to_move(bedding, fed, rates, bedding_c, drop_ph=drop_ph)
    eaten = mass_to_move(bedding, fed, rates, bedding_c, drop_ph=drop_ph)
    return Moves(drop_ph, points(least), points(eaten), float(np.isinf(eaten).mean()))


def _calcite_mol_kg(one: Material, draws: int, rng: np.random.Generator) -> Array:
    """Calcite in a kg of it as it comes [mol]."""
    dry = 1 - drawn(one.moisture_pct, draws, rng) / 100
    return dry * drawn(one.calcite_pct, draws, rng) * 10 / CALCITE_G_MOL
