"""The bedding recipe: how much of each material at hand, and of water, for the moisture, C:N, air and depth wished for.

>>> from underlid.bedding.materials import material
>>> stock = [Stock(material("leaves")), Stock(material("old horse manure"), 20.0)]
>>> wishes = [moisture_wish(0.7, 0.8), carbon_nitrogen_wish(), air_wish(), litres_wish(24.0, 28.0)]
>>> made = recipe(stock, wishes, bin_litres=37.0)
>>> [(portion.material.name, round(portion.litres)) for portion in made.portions]
[('leaves', 22), ('old horse manure', 11)]
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.bedding.blend import CLOSE, Blend, most_share
from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material
from underlid.bedding.mixing import SETTLED, Mix, drawn, drawn_shares, mixed, water_to_reach
from underlid.bedding.wishes import (
    LABEL,
    ImpossibleWish,
    Name,
    Wish,
    air_wish,
    carbon_nitrogen_wish,
    litres_wish,
    moisture_wish,
    shown,
)

__all__ = [
    "Portion",
    "Recipe",
    "Spread",
    "Stock",
    "Unmet",
    "Wish",
    "air_wish",
    "carbon_nitrogen_wish",
    "depth_wish",
    "food_kg_week",
    "founders_kg",
    "in_containers",
    "litres_wish",
    "moisture_wish",
    "recipe",
    "spread",
]

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # low, middle, high

USUAL_FILL = (0.6, 0.8)  # of the height, where no depth is wished for: room for air and feeding above, our judgement

#: Volumes measured by eye, against what they should be.
BY_EYE = Fact(1.0, 0.85, 1.15, "common practice, no source", "judgement")

MEND: dict[tuple[Name, bool], str] = {  # by wish, and whether the mix is above it
    ("moisture", True): "add something dry, such as card, straw or dry leaves",
    ("moisture", False): "add more that holds water, such as manure, compost or soaked coir",
    ("carbon_nitrogen", True): "add something richer in nitrogen, such as manure",
    ("carbon_nitrogen", False): "add something richer in carbon, such as leaves, straw or card",
    ("air", True): "shred or chop it, or add compost or manure",
    ("air", False): "add something coarse and dry, such as crumpled card, straw or wood chips",
    ("litres", True): "use less of it",
    ("litres", False): "gather more, or make a smaller bin",
}


class ImpossibleStock(ValueError):
    """An amount at hand that cannot be."""


@dataclass(frozen=True, slots=True)
class Stock:
    """A material at hand: at most so much, in kg wet or in litres as it lies loose; without end if there is plenty."""

    material: Material
    most: float = math.inf
    unit: Literal["kg", "L"] = "L"

    def __post_init__(self) -> None:
        if not self.most > 0:
            raise ImpossibleStock(f"There must be more than {self.most:g} {self.unit} of {self.material.name}.")

    @property
    def most_kg(self) -> float:
        """At most so much [kg wet], by the best bulk density."""
        return self.most if self.unit == "kg" else self.most * self.material.bulk_kg_m3.value / 1000


@dataclass(frozen=True, slots=True)
class Portion:
    """So much of a material goes in: kg wet, litres loose; `unit` is how the keeper measures it."""

    material: Material
    kg: float
    litres: float
    unit: Literal["kg", "L"]


@dataclass(frozen=True, slots=True)
class Unmet:
    """A wish that the mix does not meet; `conflicts` are those that cannot be met with it, none if it cannot at all."""

    wish: Wish
    value: float
    conflicts: tuple[Name, ...]

    @property
    def words(self) -> str:
        """What cannot be met, why, and what would help."""
        above = self.value > self.wish.high
        wished = f"{shown(self.wish.name, self.wish.low)} to {shown(self.wish.name, self.wish.high)}"
        why = (
            f"together with that for {' and '.join(LABEL[name] for name in self.conflicts)}"
            if self.conflicts
            else "with what is at hand"
        )
        # Water can always be left out: where moisture is in the way of another wish, nothing dry helps.
        widen = self.conflicts and self.wish.name == "moisture"
        mend = "widen one of these wishes" if widen else MEND[self.wish.name, above]
        return (
            f"The wish for {LABEL[self.wish.name]} ({wished}) cannot be met {why}: the nearest mix comes to "
            f"{shown(self.wish.name, self.value)}, {'above' if above else 'below'} it. To mend it, "
            f"{mend}."
        )


@dataclass(frozen=True, slots=True)
class Recipe:
    """Amounts to mix, most litres first, and what they come to by the best values of each material.

    water_kg : rain water to add [kg, and litres]
    minerals : grit and lime at hand, which help no wish, each with how much may go in at most [kg]
    """

    portions: tuple[Portion, ...]
    water_kg: float
    mix: Mix
    wishes: tuple[Wish, ...]
    unmet: tuple[Unmet, ...]
    minerals: tuple[tuple[Material, float], ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed of the materials used, each once."""
        used = [*(portion.material for portion in self.portions), *(mineral for mineral, _ in self.minerals)]
        return tuple(dict.fromkeys(text for one in used for text in one.cautions))


@dataclass(frozen=True, slots=True)
class Spread:
    """What a recipe may come to, 5, 50 and 95 % of draws, and how often each wish is met.

    water_kg : what would bring each draw to the middle of the wish for moisture, never below 0
    """

    moisture: Points
    carbon_nitrogen: Points
    air: Points
    litres: Points
    water_kg: Points
    met: dict[Name, float]
    draws: int


def recipe(stock: Sequence[Stock], wishes: Sequence[Wish], bin_litres: float) -> Recipe:
    """The mix of what is at hand that is nearest to all wishes; it never overfills the bin.

    Parameters
    ----------
    stock : the materials at hand, each once
    wishes : one of each kind, moisture, C:N, air and litres
    bin_litres : what the bin holds [L]

    Raises
    ------
    NothingForBedding : if what is at hand is all scraps or minerals, or nothing
    ImpossibleStock : if a material is given twice
    """
    names = [one.material.name for one in stock]
    if twice := [name for name in names if names.count(name) > 1]:
        raise ImpossibleStock(f"{twice[0].capitalize()} is at hand twice; give it once, with all there is.")
    blend = Blend([one.material for one in stock], [one.most_kg for one in stock], wishes, bin_litres)
    amounts = blend.nearest()
    kg, water = amounts[:-1], float(amounts[-1])
    loose = blend.held.litres * kg
    portions = [
        Portion(one.material, float(mass), float(litres), one.unit)
        for one, mass, litres in zip(stock, kg, loose, strict=True)
        if litres > 1e-3
    ]
    mix = mixed(blend.held, kg, water)
    return Recipe(
        portions=tuple(sorted(portions, key=lambda portion: -portion.litres)),
        water_kg=water if water > 1e-3 else 0.0,
        mix=mix,
        wishes=tuple(wishes),
        unmet=tuple(
            Unmet(wish, value, blend.conflicts(wish.name))
            for wish in wishes
            if wish.distance(value := float(_of(mix, wish))) > 1 + 10 * CLOSE
        ),
        minerals=tuple(
            (one.material, min(one.most_kg, most_share(one.material) * float(kg.sum())))
            for one in stock
            if one.material.kind == "mineral"
        ),
    )


def spread(made: Recipe, rng: np.random.Generator, draws: int = 400) -> Spread:
    """How far the recipe may be off: the materials', the settling's and the measuring's spread carried through."""
    materials = [portion.material for portion in made.portions]
    held = drawn_shares(materials, draws, rng)
    by_eye = np.stack([drawn(BY_EYE, draws, rng) for _ in materials], axis=1)
    measured = np.array([portion.litres for portion in made.portions]) * by_eye / held.litres
    weighed = np.array([portion.kg for portion in made.portions])
    kg = np.where([portion.unit == "kg" for portion in made.portions], weighed, measured)
    mix = mixed(held, kg, made.water_kg, drawn(SETTLED, draws, rng))
    wish = next(wish for wish in made.wishes if wish.name == "moisture")
    water = np.maximum(water_to_reach(wish.middle, kg.sum(axis=1), (held.water * kg).sum(axis=1)), 0.0)
    met = {}
    for wish in made.wishes:
        came_to = _of(mix, wish)
        met[wish.name] = float(np.mean((wish.low <= came_to) & (came_to <= wish.high)))
    return Spread(
        moisture=three(mix.moisture),
        carbon_nitrogen=three(mix.carbon_nitrogen),
        air=three(np.maximum(mix.air, 0.0)),  # below zero it is waterlogged
        litres=three(mix.litres),
        water_kg=three(water),
        met=met,
        draws=draws,
    )


def three(draws: ArrayLike) -> Points:
    """5, 50 and 95 % of draws (Weibull's plotting positions)."""
    low, middle, high = np.percentile(np.asarray(draws, float), (5.0, 50.0, 95.0), method="weibull")
    return float(low), float(middle), float(high)


def depth_wish(area_m2: float, height_m: float, depth_m: tuple[float, float] | None = None) -> Wish:
    """The volume wished for, from ground area and depth of the bedding; without a depth, 60-80 % of the height."""
    low, high = depth_m or (USUAL_FILL[0] * height_m, USUAL_FILL[1] * height_m)
    if high > height_m:
        raise ImpossibleWish(
            f"Bedding {100 * high:.3g} cm ({high / 0.0254:.3g} in) deep does not fit into a bin "
            f"{100 * height_m:.3g} cm ({height_m / 0.0254:.3g} in) high; wish for less."
        )
    return litres_wish(1000 * area_m2 * low, 1000 * area_m2 * high)


def founders_kg(area_m2: float, kg_m2: Points) -> Points:
    """Live worms that a bin of that ground area has room for [kg], from what a bed carries [kg/m2]."""
    return area_m2 * kg_m2[0], area_m2 * kg_m2[1], area_m2 * kg_m2[2]


def food_kg_week(live_kg: Points, at_c: Sequence[float], eaten: ArrayLike, bedding_c: tuple[float, float]) -> Points:
    """Wet food a week [kg] for a live mass, at a bedding temperature known from low to high [degC].

    eaten : (3, temperatures) low, best and high share of body mass a day at `at_c`, straight in between
    """
    between = np.linspace(*bedding_c, 41)
    low, best, high = (np.interp(between, at_c, row) for row in np.asarray(eaten, float))
    return 7 * live_kg[0] * float(low.min()), 7 * live_kg[1] * float(best[20]), 7 * live_kg[2] * float(high.max())


def in_containers(litres: float, containers: Mapping[str, tuple[float, float]]) -> str | None:
    """A volume in the largest of the keeper's containers that it fills, to the quarter: "2 ½ buckets".

    containers : litres each holds, low and high. None if it is less than a quarter of the smallest.
    """
    sizes = sorted(((low + high) / 2, name) for name, (low, high) in containers.items() if 0 < low <= high < math.inf)
    if not sizes:
        return None
    size, name = max((one for one in sizes if one[0] <= litres), default=sizes[0])
    quarters = round(4 * litres / size) if litres < 10 * size else 4 * round(litres / size)
    if quarters == 0:
        return None
    whole, part = divmod(quarters, 4)
    number = " ".join(filter(None, (str(whole) if whole else "", ("", "¼", "½", "¾")[part])))
    plural = "" if quarters <= 4 else "es" if name.endswith(("s", "x", "ch", "sh")) else "s"
    return f"{number} {name}{plural}"


def _of(mix: Mix, wish: Wish) -> Array:
    found: Array = getattr(mix, wish.name)
    return found
