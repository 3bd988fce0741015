"""The control of the standard earthworm reproduction test, lived through by the engine.

OECD 222 (2016) and ISO 11268-2, recalled: ten adults in a vessel of 500 to 600 g of artificial soil at 20 degC, 5 g of
dry food a week for four weeks; then the adults are taken out, and after four weeks more the young are counted. Eight
control vessels, valid with at least 30 young in each, a coefficient of variation of at most 30 % and at most a tenth
of the adults dead.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from underlid.worms.habitat import Habitat, Strain, colony, course
from underlid.worms.lifecycle import ADULTS, live
from underlid.worms.species import Species

VESSELS, WORMS = 8, 10
AREA_M2 = 0.0165  # between 130 and 200 cm2 (recalled)
BEDDING_C, WEEKLY_KG = 20.0, 0.005
FED_WEEKS, WEEKS = 4, 8
FEWEST_YOUNG, MOST_SPREAD, MOST_DEAD = 30, 0.30, 0.10
USUAL_YOUNG = (60, 250)  # control means reported (recalled, weak)


class Controls(NamedTuple):
    """Tests of several vessels each, (tests, vessels): young at the end, share of the adults dead when taken out."""

    young: NDArray[np.int64]
    dead: NDArray[np.float64]

    @property
    def spread(self) -> NDArray[np.float64]:
        """Coefficient of variation of the young between the vessels of each test."""
        means: NDArray[np.float64] = self.young.mean(axis=1)
        return np.asarray(self.young.std(axis=1, ddof=1) / np.maximum(means, 1e-9))

    @property
    def criteria(self) -> NDArray[np.bool_]:
        """Whether each test is valid, (3, tests): by the young in each vessel, their spread, and the adults dead."""
        young, dead = self.young.min(axis=1), self.dead.mean(axis=1)
        return np.array([young >= FEWEST_YOUNG, self.spread <= MOST_SPREAD, dead <= MOST_DEAD + 1e-9])


def drawn(sets: int, seed: int) -> Strain:
    """Strains as far apart as the published spread; the last parts are no eases and stay."""
    rng = np.random.default_rng(seed)
    return Strain(*(part if part.any() else rng.standard_normal(sets) for part in Strain.usual(sets)))


def controls(kind: Species, strain: Strain, *, weekly_kg: float = WEEKLY_KG, seed: int = 1) -> Controls:
    """A test of VESSELS control vessels with each strain, at the moisture that the species likes best."""
    habitat = Habitat.steady(kind, BEDDING_C, 24 * 7 * WEEKS)
    habitat.food_kg[: 24 * 7 * FED_WEEKS : 24 * 7] = weekly_kg
    days = course(kind, habitat, strain)
    out = 7 * FED_WEEKS
    days.adult_death[:, out] = math.inf  # taken out, at the beginning of that day
    start = np.zeros(ADULTS + 1, np.int64)
    start[ADULTS] = WORMS
    lives = live(start, 0.0, days, colony(kind, AREA_M2, strain), seed, replicates=VESSELS)
    young, adults = lives.stages[:, -1, 1:4].sum(axis=1), lives.stages[:, out, 4]
    return Controls(young.reshape(-1, VESSELS), (1 - adults / WORMS).reshape(-1, VESSELS))
