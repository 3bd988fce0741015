"""What is thought possible of a colony before anything is counted, and what each possibility means for the engine.

Twenty-one standard normals stand for what is not known. With the fitted bedding, of which every colony lives in one
draw, they become founders, rates, deaths and room, and how animals clump and how many of them sorting finds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtr

from underlid.counting.density import FISTFUL_L, USUAL_CLUMPING
from underlid.counting.detection import chances
from underlid.counting.found import quantile
from underlid.counting.parts import Bedding, bedding_litres, shares
from underlid.fit.evidence import food_kg
from underlid.fit.heard import Looking
from underlid.fit.outlook import PLACES
from underlid.fit.study import Study
from underlid.fit.tally import PLACES as SAMPLED
from underlid.fit.tally import Tally
from underlid.quantity.amount import NINETY, VagueAmount
from underlid.records import STAGES
from underlid.worms.habitat import COCOON_FROST_PER_DAY, DRY_SHARE, FROST_PER_H, Habitat, Strain, colony, course
from underlid.worms.lifecycle import Colony, Course
from underlid.worms.rates import eased

Array = NDArray[np.float64]

EASES = (
    "incubation", "maturation", "laying", "hatching", "hatchlings", "crowding", "eating", "freezing", "life_span",
)  # fmt: skip
PARAMETERS = (
    "founders", "adults", "cocoons", *EASES, "frost", "cocoon_frost", "food", "clumping", "contrast", "sorting",
    "sorting_cocoons", "bedding", "scoop",
)  # fmt: skip

COCOONS_PER_FOUNDER, COCOONS_LOG_SD = 0.3, math.log(5.0) / NINETY  # come unseen with a handful; weak, recalled
FROST_LOG_SD = math.log(10.0) / NINETY  # of deaths of worms and of cocoons in ice: our judgement
EDIBLE, EDIBLE_LOG_SD = 0.5, math.log(2.0) / NINETY  # share of the bedding that worms come to eat: our judgement
CLUMPING_LOG_SD = 0.998  # of k of a fistful, 90 % of 0.3 to 8: our judgement, as for a single count
CONTRAST, CONTRAST_SD = -0.5, 0.8  # log of the density at the edge over that in the middle: our judgement
GATHER = (0.3, 1.0)  # how far worms are gathered where it is best, from evenly spread to all there: our judgement
FEW, MANY = 10.0, 300.0  # founders that were not noted: our judgement
FAR = 8.0  # standard normals further out are taken as that far: beyond it a share rounds to 1, and "about" to no end


@dataclass(frozen=True, slots=True)
class Possible:
    """Colonies as the engine takes them, one for each set."""

    looking: Looking
    course: Course
    colony: Colony


@dataclass(frozen=True, slots=True)
class Prior:
    """The prior of one colony: a bin whose bedding is known by draws, and what was noted of its founders."""

    study: Study
    habitat: Habitat
    bedding: Bedding
    founders: VagueAmount
    area_m2: float
    notes: tuple[str, ...]

    @property
    def size(self) -> int:
        """How many numbers a set is made of."""
        return len(PARAMETERS)

    @property
    def draws(self) -> int:
        """How many beddings there are to live in."""
        return len(self.habitat.worms_c)

    def possible(self, z: Array, lives_in: NDArray[np.int64], tally: Tally) -> Possible:
        """Colonies of standard normals z (sets, size), each in one draw of the bedding (sets,)."""
        of = dict(zip(PARAMETERS, np.clip(z, -FAR, FAR).T, strict=True))
        kind = self.study.case.species
        strain = Strain(
            **{name: of[name] for name in EASES},
            frost_per_h=FROST_PER_H * np.exp(FROST_LOG_SD * of["frost"]),
            cocoon_frost_per_day=COCOON_FROST_PER_DAY * np.exp(FROST_LOG_SD * of["cocoon_frost"]),
        )
        return Possible(
            self._looking(of, tally), course(kind, self.habitat, strain, lives_in), colony(kind, self.area_m2, strain)
        )

    def _looking(self, of: dict[str, Array], tally: Tally) -> Looking:
        vessel, kind = self.study.case.situation.vessel, self.study.case.species
        founders = np.maximum(1.0, np.round(quantile(self.founders, ndtr(of["founders"]))))
        adults = np.minimum(0.95, [eased(kind.founders_adult_share, float(ease)) for ease in of["adults"]])
        litres = quantile(self.bedding.litres, ndtr(of["bedding"]))
        known = chances()
        sorting = {stage: of["sorting_cocoons" if stage == "cocoon" else "sorting"] for stage in STAGES}
        finds = [
            np.clip(betaincinv(known[stage].found, known[stage].missed, ndtr(sorting[stage])), 0.001, 0.999)
            for stage in STAGES
        ]
        edge = np.exp(CONTRAST + CONTRAST_SD * of["contrast"])
        density = {"middle": np.ones_like(edge), "edge": edge, "surface": np.sqrt(edge)}
        parts = shares(vessel, {"surface"} & tally.places | {"middle"})
        mean = sum((share * density[part] for part, share in parts.items()), np.zeros_like(edge))
        density["not noted"] = mean
        scoop = ndtr(of["scoop"])
        held = [
            density[SAMPLED[place]] / mean * quantile(volume, scoop) / litres
            for place, volume in zip(tally.rows.place, tally.volumes, strict=True)
        ]
        clumping = USUAL_CLUMPING * np.exp(CLUMPING_LOG_SD * of["clumping"])
        dry_kg = vessel.bedding_m3 * self.study.case.situation.dry_kg_m3
        return Looking(
            founders.astype(np.int64), adults, founders * COCOONS_PER_FOUNDER * np.exp(COCOONS_LOG_SD * of["cocoons"]),
            dry_kg * EDIBLE * np.exp(EDIBLE_LOG_SD * of["food"]), np.array(finds).T.copy(),
            clumping * litres / FISTFUL_L, np.array(held).reshape(len(held), len(litres)).T.copy(),
        )  # fmt: skip


def prior(study: Study) -> Prior:
    """The prior of the colony in a studied bin."""
    case = study.case
    vessel = case.situation.vessel
    litres = bedding_litres(case.bin, vessel)
    founders, notes = case.bin.founders, []
    if not (founders.kind != "not noted" and founders.high > 0):
        founders = VagueAmount(FEW, MANY, "1", "between", "not noted")
        notes.append(f"How many founders there were is not noted: {FEW:g} to {MANY:g} are assumed.")
    elif not math.isfinite(founders.high):
        founders = VagueAmount(founders.low, 3 * founders.low + 10, "1", "between", founders.words)
    notes.append(
        "What the bedding itself feeds, how far worms gather in its best part and how cocoons fare in ice are our "
        "judgement, and wide."
    )
    return Prior(
        study, habitat_of(study), Bedding(litres, {"not noted": 1.0}), founders, vessel.length_m * vessel.width_m,
        tuple(notes),
    )  # fmt: skip


def habitat_of(study: Study) -> Habitat:
    """Where worms and cocoons are in each draw of the bedding.

    Worms gather in the place that is nearest to what they grow best at, as far as chance has it in each draw; cocoons
    stay all over the bedding.
    """
    told, case = study.outlook, study.case
    parts = shares(case.situation.vessel, set(PLACES))
    places = np.stack([told.draws_c[place] for place in parts])
    mean = np.tensordot(np.array(list(parts.values())), places, axes=1)
    best = np.take_along_axis(places, np.abs(places - case.species.best_growth_c.value).argmin(axis=0)[None], axis=0)[0]
    gather = np.random.default_rng([study.posterior.seed, 2]).uniform(*GATHER, len(mean))[:, None]
    given, _ = food_kg(case.entries, case.time_utc)
    return Habitat(
        mean + gather * (best - mean), mean, told.outside_k[:, :, 0], told.frozen_draws, told.moisture_draws,
        DRY_SHARE * given.sum(axis=1), told.band_c,
    )  # fmt: skip
