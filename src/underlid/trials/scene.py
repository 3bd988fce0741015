"""Where a trial takes place: the bins before anyone counts, and what is not known of them.

What all bins of a trial share is drawn once for each trial: the population (how its rates lie within their published
spread, or our judgement of it), one course of the bedding (site and weather), what sorting finds and how worms clump.
What is a bin's own is drawn for each: how many founders the keeper's words came to, how readily its worms lay, how much
there is to eat, and chance. The priors are those of a single colony (`fit.colony`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtr

from underlid.counting.density import FISTFUL_L, USUAL_CLUMPING
from underlid.counting.detection import chances
from underlid.counting.found import quantile
from underlid.fit.colony import (
    CLUMPING_LOG_SD,
    COCOONS_LOG_SD,
    COCOONS_PER_FOUNDER,
    EASES,
    EDIBLE,
    EDIBLE_LOG_SD,
    FROST_LOG_SD,
    prior,
)
from underlid.fit.study import Study
from underlid.quantity.amount import VagueAmount
from underlid.records import STAGES
from underlid.trials.sizes import USUAL_CV, log_sd
from underlid.worms.habitat import COCOON_FROST_PER_DAY, FROST_PER_H, Habitat, Strain
from underlid.worms.rates import eased
from underlid.worms.species import Species

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

ActsOn = Literal["laying", "survival of the young", "cocoons"]
Counted = Literal["worms", "adults", "young", "cocoons"]
Towards = Literal["fewer", "more"]

#: Which stages an outcome is made of: worms are all but the cocoons, young are hatchlings and juveniles.
MADE_OF: dict[Counted, slice] = {
    "worms": slice(1, 5),
    "adults": slice(4, 5),
    "young": slice(1, 3),
    "cocoons": slice(0, 1),
}

FULL_SORT = 1.0  # share of the bedding


class ImpossibleTrial(ValueError):
    """A trial that cannot be simulated."""


@dataclass(frozen=True, slots=True)
class Scene:
    """Bins of a trial, all of one kind, in one place and one weather.

    Attributes
    ----------
    habitat : its places are the draws of the bedding, fitted or thought possible; with the food given to every bin
    area_m2, litres : surface of a bin, and volume of its bedding
    edible_kg : what worms may come to eat of the bedding [kg dry], the middle; log sd `EDIBLE_LOG_SD`
    founders : as the keeper will say it of each bin
    laying_log_sd, food_log_sd : spread between bins of laying, and of food (that in the bedding and that given)
    sampled : share of the bedding that is sorted, `FULL_SORT` for all of it; clumping : k of a fistful, the middle
    outcome : what is counted; what is sampled or sorted goes back unharmed
    acts_on : the rate that the change multiplies: cocoons laid; the share of cocoons that hatch; of the young, the
    hazard of death, which is divided by the factor
    towards : whether the change, if it does something, leaves fewer of the outcome or more
    """

    species: Species
    habitat: Habitat
    area_m2: float
    litres: float
    edible_kg: float
    founders: VagueAmount
    laying_log_sd: float = log_sd(USUAL_CV)
    food_log_sd: float = log_sd(USUAL_CV)
    sampled: float = FULL_SORT
    clumping: float = USUAL_CLUMPING
    outcome: Counted = "worms"
    acts_on: ActsOn = "laying"
    towards: Towards = "fewer"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name, allowed in (("outcome", Counted), ("acts_on", ActsOn), ("towards", Towards)):
            if getattr(self, name) not in get_args(allowed):
                known = ", ".join(get_args(allowed))
                raise ImpossibleTrial(f"{name} is {getattr(self, name)!r}; it must be one of: {known}.")
        for name in ("area_m2", "litres", "edible_kg", "clumping"):
            if not 0 < getattr(self, name) < math.inf:
                raise ImpossibleTrial(f"{name} must be a number above 0, but is {getattr(self, name)}.")
        for name in ("laying_log_sd", "food_log_sd"):
            if not 0 <= getattr(self, name) <= 2:
                raise ImpossibleTrial(f"{name} must lie between 0 and 2, but is {getattr(self, name)}.")
        if not 0 < self.sampled <= FULL_SORT:
            raise ImpossibleTrial(f"The share of the bedding sampled must be above 0, up to 1; it is {self.sampled}.")
        if not 0 <= self.founders.low <= self.founders.high < math.inf or self.founders.high < 1:
            words = self.founders.words or "not noted"
            raise ImpossibleTrial(f"Founders need bounds, one at least; say about how many each bin gets, not {words}.")

    @property
    def days(self) -> int:
        """Whole days that the weather reaches."""
        return int(self.habitat.worms_c.shape[1]) // 24


def scene_of(study: Study, **changes: object) -> Scene:
    """The scene of a trial in bins such as one that was studied, with readings or without.

    changes : fields of the `Scene` that differ from what the bin says, such as `outcome`
    """
    thought, vessel = prior(study), study.case.situation.vessel
    dry_kg = vessel.bedding_m3 * study.case.situation.dry_kg_m3
    litres = float(quantile(thought.bedding.litres, np.array([0.5]))[0])
    said: dict[str, object] = {
        "species": study.case.species, "habitat": thought.habitat, "area_m2": thought.area_m2, "litres": litres,
        "edible_kg": dry_kg * EDIBLE, "founders": thought.founders, "notes": thought.notes,
    }  # fmt: skip
    return Scene(**(said | changes))  # type: ignore[arg-type]


class Drawn(NamedTuple):
    """Trials as the engine takes them: (trials,) what their bins share, (trials, bins) what is a bin's own.

    where : which course of the bedding; found : (trials, 5) chance of finding an animal by stage; clumping : k of a
    fistful; laying, feeding : factors
    """

    strain: Strain
    where: Ints
    adult_share: Array
    cocoons_each: Array
    found: Array
    clumping: Array
    founders: Ints
    food_kg: Array
    laying: Array
    feeding: Array


def drawn(scene: Scene, trials: int, bins: int, rng: np.random.Generator, own_rng: np.random.Generator) -> Drawn:
    """So many trials of so many bins each: what is shared by `rng`, what is a bin's own by `own_rng`."""
    eases = dict(zip(EASES, rng.standard_normal((len(EASES), trials)), strict=True))
    frost, cocoon_frost, adults, cocoons, food, clumping = rng.standard_normal((6, trials))
    sorting, sorting_cocoons = ndtr(rng.standard_normal((2, trials)))
    strain = Strain(
        **eases,
        frost_per_h=FROST_PER_H * np.exp(FROST_LOG_SD * frost),
        cocoon_frost_per_day=COCOON_FROST_PER_DAY * np.exp(FROST_LOG_SD * cocoon_frost),
    )
    where = rng.permuted(np.resize(np.arange(len(scene.habitat.worms_c)), trials))
    known, share = chances(), scene.species.founders_adult_share
    finds = [
        np.clip(betaincinv(known[one].found, known[one].missed, sorting_cocoons if one == "cocoon" else sorting), 0, 1)
        for one in STAGES
    ]
    own = (trials, bins)
    feeding = np.exp(scene.food_log_sd * own_rng.standard_normal(own))
    return Drawn(
        strain, where,
        np.minimum(0.95, [eased(share, float(ease)) for ease in adults]),
        COCOONS_PER_FOUNDER * np.exp(COCOONS_LOG_SD * cocoons),
        np.array(finds).T.copy(),
        scene.clumping * np.exp(CLUMPING_LOG_SD * clumping),
        np.maximum(1.0, np.round(quantile(scene.founders, own_rng.uniform(1e-9, 1 - 1e-9, own)))).astype(np.int64),
        scene.edible_kg * np.exp(EDIBLE_LOG_SD * food)[:, None] * feeding,
        np.exp(scene.laying_log_sd * own_rng.standard_normal(own)), feeding,
    )  # fmt: skip


def counted(scene: Scene, stages: Ints, among: Drawn, rng: np.random.Generator) -> Ints:
    """What is found of the outcome among animals by stage, (trials, bins, looks, 5) -> (trials, bins, looks).

    A sample holds a beta share of each stage, as in a gamma field (`fit.heard`); each animal in it is found with its
    stage's chance, the same in every bin of a trial.
    """
    which = MADE_OF[scene.outcome]
    there, chance = stages[..., which], among.found[:, None, None, which]
    if scene.sampled < FULL_SORT:
        k = (among.clumping * scene.litres / FISTFUL_L)[:, None, None, None]
        chance = chance * rng.beta(k * scene.sampled, k * (1 - scene.sampled), there.shape)
    return np.asarray(rng.binomial(there, chance).sum(axis=-1))
