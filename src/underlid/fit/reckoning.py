"""What a keeper asks of a census: how many, bred in the cold or not, when double, crowded, hungry, when to harvest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from underlid.fit.census import DOUBTFUL, Census, census
from underlid.fit.colony import Prior
from underlid.fit.filter import lives
from underlid.fit.study import Study
from underlid.fit.tally import DAY_H, Tally, tally
from underlid.quantity.points import PERCENT, three
from underlid.records import SampleCount, Sighting
from underlid.worms.habitat import DRY_SHARE, Habitat
from underlid.worms.lifecycle import LEDGER, Lives
from underlid.worms.rates import eased

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

COLD_C = 10.0  # bedding below it on a day's mean is cold: what common advice calls too cold to breed
WARM_C = 20.0  # what the cold is measured against: as in the standard tests (OECD 222, 2016)
RIPE = 0.5  # of what was laid and fed turned into casts calls for a harvest: our judgement
WEEK = 7


@dataclass(frozen=True, slots=True)
class Reached:
    """When something comes about: share of the draws in which it does before the end, and of those the day [s]."""

    chance: float
    time_utc: tuple[int, int, int] | None


@dataclass(frozen=True, slots=True)
class Breeding:
    """What was laid and hatched up to now on days when the bedding was colder than COLD_C; `days` of them.

    chance_laid, chance_hatched : that there was any; before_laid, before_hatched : the same before anything was counted
    """

    days: Points
    laid: Points
    hatched: Points
    chance_laid: float
    chance_hatched: float
    before_laid: float
    before_hatched: float


@dataclass(frozen=True, slots=True)
class Reckoning:
    """Answers, each with its range; masses in kg.

    now : the state of the present day, of those of the census; live_kg : mass of all worms
    alive, pair : chances that any worm lives now, and that two adults do
    doubles : twice as many worms as now; density_kg_m2, crowded : live mass on the bed, chance that it is above what
    beds usually hold; eats_kg : food as given (wet) that they can eat in the next WEEK days, None where no day is left
    casts_kg : dry casts so far, harvest : RIPE of all turned into casts
    warm : worms there would be now at WARM_C from the beginning, cold_cost : those less the worms there are
    """

    now: int
    live_kg: Points
    alive: float
    pair: float
    breeding: Breeding
    doubles: Reached
    density_kg_m2: Points
    usual_kg_m2: Points
    crowded: float
    eats_kg: Points | None
    casts_kg: Points
    harvest: Reached
    warm: Points
    cold_cost: Points


def reckoning(prior: Prior, found: Census) -> Reckoning:
    """The answers that a census gives on the present day of its study."""
    case = prior.study.case
    states = found.lives.stages.shape[1]
    now = min(round(case.now_index / DAY_H), states - 1)
    worms = found.lives.stages[:, :, 1:].sum(axis=2)
    mass, eaten = found.lives.kg[:, :, 0], found.lives.kg[:, :, 2]
    density = mass[:, now] / prior.area_m2
    usual = case.species.usual_density_kg_m2
    rng = np.random.default_rng([found.seed, 4])
    casts_share = [eased(case.species.casts_of_eaten_share, ease) for ease in rng.standard_normal(len(worms))]
    casts = np.array(casts_share)[:, None] * eaten
    given = np.concatenate([[0.0], np.cumsum(prior.habitat.food_kg)])[DAY_H * np.arange(states)]
    laid_kg = case.situation.vessel.bedding_m3 * case.situation.dry_kg_m3
    warm = _warm(prior, found, now)
    return Reckoning(
        now,
        three(mass[:, now]),
        float((worms[:, now] > 0).mean()),
        float((found.lives.stages[:, now, 4] > 1).mean()),
        _breeding(prior, found, now),
        _reached(worms[:, now:] >= 2 * np.maximum(worms[:, now], 1)[:, None], found.time_utc[now:]),
        three(density),
        (usual.low, usual.value, usual.high),
        float((density > usual.high).mean()),
        three((eaten[:, min(now + WEEK, states - 1)] - eaten[:, now]) / DRY_SHARE) if now + WEEK < states else None,
        three(casts[:, now]),
        _reached(casts[:, now:] >= RIPE * (laid_kg + given[now:]), found.time_utc[now:]),
        three(warm),
        three(warm - worms[:, now]),
    )


def doubtful(counted: Tally, found: Census) -> tuple[str, ...]:
    """Sentences on what was counted or seen and hardly any life agrees with."""
    said = []
    for occasion in np.flatnonzero(found.slip > DOUBTFUL):
        named = _named(counted.used[int(occasion)])
        said.append(
            f"Hardly any life that founders, bedding and the other counts allow agrees with {named}. What was found in "
            "hand is the better witness: doubt the estimate, or see whether a number, a volume or the founders were "
            "written down wrongly."
        )
    return tuple(said)


def careful(of: Study, counted: Tally, found: Census) -> tuple[str, ...]:
    """What must be said before any figure of a bin's bedding and colony is read."""
    return (*of.careful, *found.warnings, *doubtful(counted, found))


# --- inside ----------------------------------------------------------------------------------------------


def _named(entries: Sequence[SampleCount | Sighting]) -> str:
    return "; ".join(f"“{entry.words}” ({entry.when.start:%-d %b %Y})" for entry in entries)


def _reached(there: NDArray[np.bool_], time_utc: NDArray[np.int64]) -> Reached:
    """`there` is (draws, days)."""
    ever = there.any(axis=1)
    if not ever.any():
        return Reached(0.0, None)
    early, usual, late = np.percentile(time_utc[there[ever].argmax(axis=1)], PERCENT, method="nearest")
    return Reached(float(ever.mean()), (int(early), int(usual), int(late)))


def _breeding(prior: Prior, found: Census, now: int) -> Breeding:
    before = census(prior, tally((), prior.study.case.time_utc), found.seed)
    (days, laid, hatched), (_, laid_before, hatched_before) = (_in_the_cold(prior, one, now) for one in (found, before))
    return Breeding(
        three(days), three(laid), three(hatched), float((laid > 0).mean()), float((hatched > 0).mean()),
        float((laid_before > 0).mean()), float((hatched_before > 0).mean()),
    )  # fmt: skip


def _in_the_cold(prior: Prior, found: Census, now: int) -> tuple[Array, Array, Array]:
    """Days so far on which the bedding was cold, and what was laid and hatched on them, (draws,) each."""
    by_hour = prior.habitat.cocoons_c[:, : DAY_H * now]
    cold = by_hour.reshape(len(by_hour), now, DAY_H).mean(axis=2)[found.lives_in] < COLD_C
    fresh = np.diff(found.lives.ledger[:, : now + 1], axis=1)
    laid, hatched = (np.where(cold, fresh[:, :, LEDGER.index(name)], 0).sum(axis=1) for name in ("laid", "hatched"))
    return cold.sum(axis=1), laid, hatched


def _warm(prior: Prior, found: Census, now: int) -> Array:
    """Worms there would be now in bedding held at WARM_C from the beginning, fed the same, (draws,)."""
    case = prior.study.case
    hours = DAY_H * max(now, 1)
    steady = replace(Habitat.steady(case.species, WARM_C, hours), food_kg=prior.habitat.food_kg[:hours])
    nothing = tally((), case.time_utc)
    held = replace(prior, habitat=steady).possible(found.z, np.zeros(len(found.z), np.int64), nothing)
    numbers = np.arange(len(found.z))
    lived = Lives(*lives(
        nothing.rows, held.looking, held.course, held.colony, found.seed + 1, numbers, numbers * 0, 1, now + 1
    ))  # fmt: skip
    return np.asarray(lived.stages[:, now, 1:].sum(axis=1), float)
