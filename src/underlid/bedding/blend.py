"""The linear programmes behind a recipe: the mix that lies nearest to all wishes.

The mix chosen is the one whose worst distance from a wish is least, then its second worst, and so on: it lies as deep
inside all wishes as the materials allow and, where no mix meets them all, breaks as few as little as it can. At given
distances every wish is linear in the amounts (moisture below 80 %: water <= 0.8 x mass), so the least distance is found
by bisection over linear programmes (HiGHS).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.materials import Material
from underlid.bedding.mixing import SETTLED, Shares, shares
from underlid.bedding.wishes import MOST_WATER, Name, Wish

Array = NDArray[np.float64]

FARTHEST = 60.0  # steps; beyond any mix there is
CLOSE = 1e-3  # steps; no keeper mixes finer
LEAST_FILLED = 0.5  # of the volume wished for, before any other wish may take more of it away: our judgement
LEAST_NITROGEN = 1e-5  # fraction of wet mass: what has none at all still has a C:N to be nearer or farther by
SCRAPS_AT_MOST = 0.20  # of the mass of a first bedding before water: more heat and sour. Our judgement.


class NothingForBedding(ValueError):
    """What is at hand makes no bedding."""


def most_share(material: Material) -> float:
    """At most so much of the mass of bedding before water may be of that material."""
    return min(material.most_pct.value / 100, SCRAPS_AT_MOST if material.kind == "scraps" else 1.0)


class Blend:
    """What may be mixed: amounts are (kg of each material, kg of water to add), none below zero.

    Minerals stay out: grit and lime are no way to a moisture.

    Raises NothingForBedding if what is at hand is all scraps or minerals, or nothing.
    """

    def __init__(
        self, stock: Sequence[Material], most_kg: Sequence[float], wishes: Sequence[Wish], bin_litres: float
    ) -> None:
        self.held: Shares = shares(stock)
        self.wishes = {wish.name: wish for wish in wishes}
        most_of = [0.0 if one.kind == "mineral" else most for one, most in zip(stock, most_kg, strict=True)]
        self.bounds = [(0.0, float(most)) for most in (*most_of, np.inf)]
        self.water = np.append(self.held.water, 1.0)
        self.wet = np.ones(len(stock) + 1)
        self.carbon = np.append(self.held.carbon, 0.0)
        self.nitrogen = np.append(np.maximum(self.held.nitrogen, LEAST_NITROGEN), 0.0)
        self.volume = SETTLED.value * np.append(self.held.litres, 0.0)
        self.filled = np.append(self.held.filled, 1.0)
        capped = [([one is other for other in stock], most_share(one)) for one in stock]
        capped.append(([one.kind == "scraps" for one in stock], SCRAPS_AT_MOST))
        shares_kept = [np.append(np.array(which, float) - limit, 0.0) for which, limit in capped]
        self.rows, self.most = np.array([self.volume, *shares_kept]), np.array([bin_litres, *[0.0] * len(capped)])
        full = self._solve(-self.volume, {}, 0.0)
        reached = 0.0 if full is None else float(self.volume @ full)
        wanted = min(self.wishes["litres"].low, bin_litres)
        if reached < 1e-3 * wanted:
            limits = [f"{one.name} may be at most {100 * most_share(one):.0f} % of it" for one in stock]
            why = f": {', '.join(limits)}" if limits else ""
            raise NothingForBedding(
                f"What is at hand makes no bedding{why}. Add leaves, card, straw, old manure or compost."
            )
        self.least_litres = min(LEAST_FILLED * wanted, reached)

    def nearest(self) -> Array:
        """The amounts whose worst distance from a wish is least, then the second worst, and so on; then least water."""
        settled: dict[Name, float] = {}
        while free := [name for name in self.wishes if name not in settled]:
            least = self._least(settled, free)
            held = {**settled, **dict.fromkeys(free, least + CLOSE)}
            stuck = [name for name in free if not self._can({**held, name: max(least - 10 * CLOSE, 0.0)})]
            settled.update(dict.fromkeys(stuck or free, least + CLOSE))
        found = self._solve(np.append(np.zeros(len(self.held.water)), 1.0), settled, self.least_litres)
        if found is None:  # cannot be: these distances have just been reached
            raise ArithmeticError(f"no mix at {settled}")
        return found

    def conflicts(self, wish: Name) -> tuple[Name, ...]:
        """The wishes that cannot be met together with this one; none if it cannot be met at all.

        One that cannot be met at all itself is named only where no other stands in the way: being near it does.
        """
        loose = dict.fromkeys(self.wishes, FARTHEST)
        alone = {name: self._can({**loose, name: 1.0}) for name in self.wishes}
        if not alone[wish]:
            return ()
        others = [name for name in self.wishes if name != wish and alone[name]]
        pairs = [name for name in others if not self._can({**loose, wish: 1.0, name: 1.0})]
        return tuple(pairs or [name for name in self.wishes if not alone[name]] or others)

    def _least(self, settled: dict[Name, float], free: Sequence[Name]) -> float:
        """The least distance that the free wishes can all keep to."""
        low, high = 0.0, FARTHEST
        at = 1.0  # most wishes can be met: ask that first
        while high - low > CLOSE / 2:
            low, high = (low, at) if self._can({**settled, **dict.fromkeys(free, at)}) else (at, high)
            at = (low + high) / 2
        return high

    def _can(self, distances: Mapping[Name, float]) -> bool:
        return self._solve(np.zeros(len(self.wet)), distances, self.least_litres) is not None

    def _solve(self, cost: Array, distances: Mapping[Name, float], least_litres: float) -> Array | None:
        """The cheapest amounts within these distances of the wishes, or None if there are none."""
        from scipy.optimize import linprog  # slow to import

        rows, most = [self.rows, -self.volume[None]], [self.most, np.array([-least_litres])]
        for name, distance in distances.items():
            low, high = self.wishes[name].ends(distance)
            rows.append(self._wished(name, low, high))
            most.append(np.array([-low, high]) if name == "litres" else np.zeros(2))
        found = linprog(cost, np.concatenate(rows), np.concatenate(most), bounds=self.bounds, method="highs")
        return None if found.status != 0 or found.x is None else np.maximum(found.x, 0.0)

    def _wished(self, name: Name, low: float, high: float) -> Array:
        """Two rows, each at most 0 (for litres: -low and high) where the mix is within the range."""
        match name:
            case "moisture":
                low, high = max(low, 0.0), min(high, MOST_WATER)
                return np.array([low * self.wet - self.water, self.water - high * self.wet])
            case "carbon_nitrogen":
                return np.array([low * self.nitrogen - self.carbon, self.carbon - high * self.nitrogen])
            case "air":
                return np.array([self.filled - (1 - low) * self.volume, (1 - high) * self.volume - self.filled])
            case "litres":
                return np.array([-self.volume, self.volume])
