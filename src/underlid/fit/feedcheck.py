"""Whether a feeding is fine, should be smaller, or should wait: each way that it may harm, and the worst of them.

>>> import numpy as np
>>> from underlid.bedding.materials import material
>>> from underlid.fit.feeding import Bed
>>> from underlid.worms.species import species
>>> bed = Bed(((material("old horse manure"), 1.0),), litres=30.0)
>>> asked = Question(bed, material("lemon peel"), Amount(0.05, 0.05), (10.0, 12.0), species("E. fetida"))
>>> feedcheck(asked, np.random.default_rng(1), draws=30).verdict
'fine'

A pocket gone bad is no harm to worms that can leave it, so what counts is the room they lose: the pocket's share of the
bedding where only that is beyond a limit, all of it where the whole bin is (or, for want of air, the depth that none
reaches). Small bins forgive less by that alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.materials import Material
from underlid.chemistry.aftermath import Points, points
from underlid.fit import feedtelling
from underlid.fit.change import BIG_FEEDING
from underlid.fit.feedharm import Amount, Exposure, Harm, Question, exposed
from underlid.fit.feeding import NoFood

__all__ = ["Amount", "Checked", "Item", "Question", "Verdict", "feedcheck", "portion_words"]

Verdict = Literal["fine", "smaller", "not now"]
VERDICTS: tuple[Verdict, ...] = ("fine", "smaller", "not now")  # from good to bad

DRAWS = 150  # a multiple of three
#: Room that the worms may lose, as a share of the bedding in the mean over draws: all our judgement.
ROOM_FINE = 0.02  # less is fine: a pocket of one part in twenty that goes bad four times in ten
ROOM_NOT_NOW = 0.20  # more leaves a small bin nowhere to flee to
#: Chance that the worms would not get through it in time, above which less is enough: our judgement.
LEFTOVER_CHANCE = 0.5
SMALLEST_SHARE = 1 / 64  # of what was asked: below it nothing is tried
NARROWINGS = 4  # halvings of the step between the largest share that is fine and the least that is not

RULE = (
    f"Fine is what costs the worms {100 * ROOM_FINE:.0f} % of their bedding or less, taken over all draws, and is "
    f"eaten in time; not now, more than {100 * ROOM_NOT_NOW:.0f} %, dung that has not rotted, or a bin too cold or hot "
    "to feed. These bounds are our judgement."
)
PORTIONS = (
    (0.9, "nearly all"), (3 / 4, "three quarters"), (2 / 3, "two thirds"), (1 / 2, "half"), (1 / 3, "a third"),
    (1 / 4, "a quarter"), (1 / 5, "a fifth"), (1 / 8, "an eighth"), (1 / 10, "a tenth"), (1 / 20, "a twentieth"),
    (1 / 50, "a fiftieth"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Item:
    """One way that the feeding may harm, all predicted.

    figure, limit : 5, 50 and 95 % points in `unit`; both None for freshness, which is no number
    chance : that the pocket is beyond the limit; whole_chance : that all of the bin is
    room_lost : share of the bedding that worms must leave, in the mean over draws
    """

    name: Harm | Literal["freshness"]
    verdict: Verdict
    sentence: str
    unit: str = ""
    figure: Points | None = None
    limit: Points | None = None
    chance: float = 0.0
    whole_chance: float = 0.0
    room_lost: float = 0.0


@dataclass(frozen=True, slots=True)
class Checked:
    """The answer: the worst of the items decides.

    fine_kg : the largest amount found to be fine [kg wet] where this one is not; None if none is, or time alone helps
    pocket_share : of the bedding, 5, 50 and 95 % points
    """

    asked: Question
    verdict: Verdict
    because: str
    items: tuple[Item, ...]
    fine_kg: float | None
    pocket_share: Points
    cautions: tuple[str, ...]
    draws: int

    @property
    def portion(self) -> str | None:
        """The amount that is fine as a keeper would say it, as “about a third of it”."""
        return None if self.fine_kg is None else portion_words(self.fine_kg / self.asked.amount.middle)


def feedcheck(asked: Question, rng: np.random.Generator, draws: int = DRAWS) -> Checked:
    """Judge a feeding before it is given.

    draws : a multiple of three. Raises NoFood for an amount that is none.
    """
    if not 0 < asked.amount.low <= asked.amount.high < math.inf:
        raise NoFood(f"How much {asked.food.name} is not told; give it in g, kg or L, with both ends.")
    if draws % 3:
        raise ValueError(f"{draws} draws cannot be shared among three temperatures.")
    seed = int(rng.integers(2**62))
    found = exposed(asked, asked.amount, seed, draws)
    items = (*(_item(one, found.pocket_share, asked) for one in found.harms), _freshness(asked.food))
    worst = max(items, key=lambda item: (VERDICTS.index(item.verdict), item.room_lost))
    fine_kg = None
    if worst.verdict != "fine" and not _waits(items):
        fine_kg = _largest_fine_kg(asked, seed, draws)
    cautions = list(asked.food.cautions)
    if asked.amount.middle > BIG_FEEDING * float(np.median(found.bedding_kg)):
        cautions.insert(0, feedtelling.big_feeding(BIG_FEEDING))
    return Checked(
        asked, worst.verdict, worst.sentence if worst.verdict != "fine" else feedtelling.all_fine(found.harms),
        items, fine_kg, points(found.pocket_share), tuple(cautions), draws,
    )  # fmt: skip


def portion_words(share: float) -> str:
    """A share of what was asked, in words: the nearest by ratio."""
    _, words = min(PORTIONS, key=lambda portion: abs(math.log(portion[0] / share)))
    return f"{words} of it" if words.startswith("nearly") else f"about {words} of it"


def room_lost(harm: Exposure, pocket_share: NDArray[np.float64]) -> float:
    """Share of the bedding beyond the limit, in the mean over draws; none for food that only lies there."""
    if harm.name == "appetite":
        return 0.0
    whole = np.maximum(harm.reach, pocket_share)
    return float(np.where(harm.whole, whole, np.where(harm.pocket, pocket_share, 0.0)).mean())


def judged(harm: Exposure, pocket_share: NDArray[np.float64]) -> Verdict:
    """The rule, for one harm."""
    if harm.name == "appetite":
        if np.isinf(np.median(harm.figure)):
            return "not now"  # they do not feed at all
        return "smaller" if harm.pocket.mean() > LEFTOVER_CHANCE else "fine"
    lost = room_lost(harm, pocket_share)
    return "fine" if lost <= ROOM_FINE else "smaller" if lost <= ROOM_NOT_NOW else "not now"


def _item(harm: Exposure, pocket_share: NDArray[np.float64], asked: Question) -> Item:
    verdict = judged(harm, pocket_share)
    return Item(
        harm.name, verdict, feedtelling.sentence(harm, asked), harm.unit, points(harm.figure), points(harm.limit),
        float(harm.pocket.mean()), float(harm.whole.mean()), room_lost(harm, pocket_share),
    )  # fmt: skip


def is_fresh(food: Material) -> bool:
    """Whether it is dung that has not rotted yet: named so, and none of the aged kinds."""
    return food.group in ("manure", "poultry manure") and not food.name.startswith("old ")


def _freshness(food: Material) -> Item:
    fresh = is_fresh(food)
    return Item("freshness", "not now" if fresh else "fine", feedtelling.freshness(food, fresh))


def _waits(items: tuple[Item, ...]) -> bool:
    """Whether no amount would do: it must rot first, or the worms do not feed at that temperature."""
    return any(item.verdict == "not now" and item.name in ("freshness", "appetite") for item in items)


def _largest_fine_kg(asked: Question, seed: int, draws: int) -> float | None:
    """The largest amount that is fine in every way, rounded down to two digits [kg]; None if none was found."""

    def fine(kg: float) -> bool:
        found = exposed(asked, Amount(kg, kg), seed, draws)  # what is to be less is weighed
        return all(judged(one, found.pocket_share) == "fine" for one in found.harms)

    share = 0.5
    while not fine(share * asked.amount.middle):
        share /= 2
        if share < SMALLEST_SHARE:
            return None
    low, high = share, 2 * share
    for _ in range(NARROWINGS):
        between = (low + high) / 2
        low, high = (between, high) if fine(between * asked.amount.middle) else (low, between)
    return _rounded_down(low * asked.amount.middle)


def _rounded_down(kg: float) -> float:
    step = 10.0 ** (math.floor(math.log10(kg)) - 1)
    return float(f"{math.floor(kg / step + 1e-9) * step:.6g}")
