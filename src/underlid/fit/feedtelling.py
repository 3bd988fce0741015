"""Sentences on what a feeding would do, and how its figures are written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from underlid.bedding.materials import Material, every_material
from underlid.chemistry.aftermath import Points, points
from underlid.fit.feedharm import Exposure, Harm, Question

if TYPE_CHECKING:
    from underlid.fit.feedcheck import Item

LABEL: dict[Harm, str] = {
    "acid": "acid, lowest pH", "ammonia": "ammonia, mg N/g", "salt": "salt added, mg/g",
    "heat": "heat, warmest", "air": "air, g oxygen/h", "appetite": "appetite, weeks",
}  # fmt: skip


def sentence(harm: Exposure, asked: Question) -> str:
    """What one harm comes to, in words."""
    return _TELL[harm.name](harm, asked)


def all_fine(harms: tuple[Exposure, ...]) -> str:
    """Why all of it is fine."""
    nearest = max((one for one in harms if one.name != "appetite"), key=lambda one: float(one.pocket.mean()))
    most = float(nearest.pocket.mean())
    return (
        "Nothing of it goes beyond what the worms bear, by any of the draws."
        if most == 0
        else f"The nearest to a limit is {nearest.name}: {chance(most)} beside the food, with room to leave it."
    )


def big_feeding(share: float) -> str:
    """Said of much food for the bin."""
    return f"That is more than {100 * share:.0f} % of the bedding's mass: spread it over several feedings."


def freshness(food: Material, fresh: bool) -> str:
    """Whether it must rot first."""
    if fresh:
        return (
            f"{food.name.capitalize()} counts as fresh: ask which worming or fly treatments the animals had, let it "
            "heat and rot until it smells of earth, then try ten worms in a jar of it for some days. Once it has "
            f"rotted, ask again as “{_once_rotted(food)}”."
        )
    if food.group in ("manure", "poultry manure"):
        return "It is taken as well rotted: ask about worming treatments, and try ten worms in a jar of it first."
    return f"{food.name.capitalize()} needs no rotting before it is fed."


def _once_rotted(food: Material) -> str:
    old = f"old {food.name}"
    return old if old in every_material() else "old manure"


def span(told: Points, places: int | None = None) -> str:
    """5 to 95 % with the middle: “0.2 to 0.9 (0.5)”."""
    low, middle, high = (number(value, places) for value in told)
    return f"{low} to {high} ({middle})" if low != high else low


def number(value: float, places: int | None = None) -> str:
    """Two digits, or so many decimals; no number for what never comes."""
    if np.isinf(value):
        return "never"
    if places is not None:
        return f"{value:.{places}f}".replace("-", "−")
    shown = f"{float(f'{value:.2g}'):.0f}" if abs(value) >= 9.95 else f"{value:.2g}"
    return ("0" if abs(value) < 0.001 else shown).replace("-", "−")


def chance(share: float) -> str:
    """A chance in words."""
    if share < 0.01:
        return "a chance below 1 %"
    return f"a chance of {100 * share:.0f} %" if share <= 0.99 else "a chance above 99 %"


def celsius(degrees: Points) -> str:
    """Temperatures on both scales."""
    other = tuple(32 + 1.8 * one for one in degrees)
    return f"{span(degrees, 0)} °C ({span((other[0], other[1], other[2]), 0)} °F)"


def warmer(kelvin: Points) -> str:
    """Differences on both scales."""
    if kelvin[2] < 0.1:
        return "less than 0.1 °C (0.2 °F)"
    other = tuple(1.8 * one for one in kelvin)
    return f"{span(kelvin, 1)} °C ({span((other[0], other[1], other[2]), 1)} °F)"


def _acid(harm: Exposure, asked: Question) -> str:
    hours = points(harm.also["hours"])
    lies = (
        f"it may lie below what they bear for {number(hours[2])} h, most likely for {number(hours[1])} h"
        if hours[2] > 0
        else "it stays above the least that they bear"
    )
    odds, moved = chance(float(harm.pocket.mean())), span(points(harm.also["moved"]), 2)
    return (
        f"Beside it the bedding falls to pH {span(points(harm.figure), 1)}; {lies} ({odds} that it falls below). The "
        f"whole bin moves by {moved} pH at most."
    )


def _ammonia(harm: Exposure, asked: Question) -> str:
    if points(harm.figure)[2] < 0.005:
        return "It sets next to no ammonia free: microbes need its nitrogen themselves."
    return (
        f"Beside it ammonia nitrogen, ammonium counted, could reach {span(points(harm.figure))} mg/g if none were "
        f"used up; mixed through the whole bin {span(points(harm.also['whole']))} mg/g; "
        f"{chance(float(harm.pocket.mean()))} that it is too much beside it."
    )


def _salt(harm: Exposure, asked: Question) -> str:
    return (
        f"It adds {span(points(harm.figure))} mg/g of salt to the bedding around it and "
        f"{span(points(harm.also['whole']))} mg/g to the whole; what the bedding holds already is not counted."
    )


def _heat(harm: Exposure, asked: Question) -> str:
    return (
        f"At most it gives {span(points(harm.also['watts']))} W: the pocket {warmer(points(harm.also['pocket_k']))} "
        f"warmer, the whole bin {warmer(points(harm.also['bin_k']))}. This is a rough figure for a bin of its size; "
        "“underlid whatif --feed” computes it with your fitted bin and its weather."
    )


def _air(harm: Exposure, asked: Question) -> str:
    return (
        f"It takes {span(points(harm.figure))} g of oxygen an hour at first; {span(points(harm.limit))} g/h may come "
        "in for it through the open surface (judgement, wide). Loose bedding and an open lid help; mush and wet do not."
    )


def _appetite(harm: Exposure, asked: Question) -> str:
    week = points(harm.also["week_kg"] * 1000)
    if week[1] == 0:
        return (
            "At this temperature the worms eat nothing that is known of: food would lie and rot. Wait until the "
            "bedding is where they feed."
        )
    return (
        f"The worms there eat {span(week)} g a week at this temperature, so it would last them "
        f"{span(points(harm.figure))} weeks; microbes take their share of it, and feed them."
    )


_TELL = {
    "acid": _acid, "ammonia": _ammonia, "salt": _salt, "heat": _heat, "air": _air, "appetite": _appetite,
}  # fmt: skip


def row(item: Item) -> tuple[str, ...]:
    """One way to harm as a row: its name, the figure beside the food, the limit, both chances and the verdict."""
    if item.name == "freshness" or item.figure is None or item.limit is None:
        return item.name, "", "", "", "", item.verdict
    if item.name == "heat":
        figure, limit = celsius(item.figure), celsius(item.limit)
    else:
        places = 1 if item.unit == "pH" else None
        figure, limit = span(item.figure, places), span(item.limit, places)
    pocket, whole = (
        "< 1 %" if 0 < chance < 0.01 else f"{100 * chance:.0f} %" for chance in (item.chance, item.whole_chance)
    )
    return LABEL[item.name], figure, limit, pocket, "" if item.name == "appetite" else whole, item.verdict
