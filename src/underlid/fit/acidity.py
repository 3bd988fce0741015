"""How the bedding takes acid, learned from the pH readings of its journal: start, buffer, loss of acid, and pH now.

Every set of what is unknown is run forward through all feedings of the journal (`chemistry.succession`), and weighed by
how probable it makes the readings, with the law of `chemistry.field`: an interval stays one, spots and places differ,
strips and meters stray, one reading in a hundred is a slip. A reading at the food's place is of the food's pocket as
often as the pocket's share of that place; one whose place is not noted may be of any part.

What readings can tell is sampled by population Monte Carlo (`fit.sampler`). The rest, such as what exactly was fed and
when, is drawn from what is known of it, anew with each set, and kept with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from underlid.chemistry.aftermath import Course, Points, points
from underlid.chemistry.field import meant_and_slipped
from underlid.chemistry.pocket import Bedding, Feed, hours_to
from underlid.chemistry.rates import SPREADS, Rates, draw_rates
from underlid.chemistry.readings import PH, Evidence
from underlid.chemistry.succession import Meal, State, Succession, steps_for, succession
from underlid.fit.acidhistory import AHEAD_H, Heard, History, anywhere
from underlid.fit.feeding import HEAVIEST_KG_L, bedding_of, feed_of
from underlid.fit.sampler import ROUNDS, Weighted, sample, settled

Array = NDArray[np.float64]
Drawn = TypeVar("Drawn", Bedding, Feed, Rates)

LEARNT_RATES = ("citrate_per_day", "lactate_per_day", "acetate_per_day", "release_per_day", "fermented")
PLACES = ("middle", "edge", "surface")
NAMES = ("start", "buffer", "dry", *LEARNT_RATES, "drift", "scatter", "differ", "shared", *PLACES)
START_PH, START_SD = 7.0, 0.6  # of bedding before anything was read: 6 to 8 in nine of ten, our judgement
LEAST_PH, MOST_PH = 3.5, 9.5
DRIFT_SD = 0.15  # by which the bedding's own decay may move its pH in a month: our judgement
MONTH_DAYS = 30.0
POOL = 4000  # draws that stand for what is known of the bedding by its materials
AT_MOST_IN_POCKET = 0.5  # of the readings at a place: keepers look at bedding rather than food, our judgement
SETS, DRAWS = 400, 240
LEARNT = 0.8  # of the width before: a range that is wider than that has hardly learned anything, our judgement
TOLD = ("start_ph", "buffer", "half_life", "now_ph")


@dataclass(frozen=True, slots=True)
class Learnt:
    """One figure: 5, 50 and 95 % points before and after the readings, and draws of it (draws,)."""

    before: Points
    after: Points
    draws: Array

    @property
    def narrowed(self) -> float:
        """Width after over width before."""
        width = self.before[2] - self.before[0]
        return (self.after[2] - self.after[0]) / width if width > 0 else 1.0


@dataclass(frozen=True, slots=True)
class Sets:
    """Sets of all that is unknown, run forward: arrays (sets,) but for the meals' and `ends` (steps,).

    lives_in : row of the history's warmth; wander : of its temperature; offset : place -> how far it is off the whole
    """

    bedding: Bedding
    rates: Rates
    meals: tuple[Meal, ...]
    own_base: Array
    scatter: Array
    shared: Array
    offset: Mapping[str, Array]
    lives_in: NDArray[np.int64]
    wander: Array
    now_ph: Array

    def some(self, which: NDArray[np.int64]) -> Sets:
        """Those of these numbers."""
        return Sets(
            _some(self.bedding, which), _some(self.rates, which),
            tuple(Meal(_some(meal.feed, which), np.asarray(meal.at_h)[which]) for meal in self.meals),
            self.own_base[which], self.scatter[which], self.shared[which],
            {place: values[which] for place, values in self.offset.items()},
            self.lives_in[which], self.wander[which], self.now_ph[which],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Acidity:
    """What the readings say, beside what was known before.

    told : start_ph, buffer [mol/kg dry/pH], half_life of citrate at 20 degC [days], now_ph (mean of the bedding)
    effective : how many sets of like weight are behind the draws; largest : share of the weight that one carries
    used : the readings that count; refused : sentences on readings and feedings that do not
    """

    of: History
    sets: Sets
    state: State
    told: Mapping[str, Learnt]
    effective: float
    largest: float
    used: tuple[Evidence, ...]
    refused: tuple[str, ...]
    notes: tuple[str, ...]
    seed: int

    @property
    def settled(self) -> bool:
        """Whether enough sets carry the weight to show ranges without a warning."""
        return settled(self.effective, self.largest)

    @property
    def fitted_warmth(self) -> bool:
        """Whether temperature and moisture are those of a fitted bin, draw by draw."""
        return self.of.warmth.moisture is not None

    def learned(self, name: str) -> bool:
        """Whether the readings narrow a figure at all; never where the fit has not settled."""
        return bool(self.used) and self.settled and self.told[name].narrowed < LEARNT

    def fed_now(self, feed: Feed, which: NDArray[np.int64], at_c: Array | None, days: float) -> Course:
        """What follows a feeding now (draws,), with all that was fed before: in these of the draws.

        at_c : temperature of the days to come (draws,), or None for that of the fitted bin
        """
        mine, ends = self.sets.some(which), hours_to(days)
        if at_c is None:
            at_c = self.of.warmth.steps(self.of.hours + ends, mine.lives_in, mine.wander, self.of.hours)
        else:
            at_c = np.repeat(at_c[:, None], len(ends), axis=1)
        return succession(
            mine.bedding, [*mine.meals, Meal(feed, 0.0)], mine.rates, at_c, ends,
            own_base_mol_kg_day=mine.own_base, after=self.state.some(which),
        ).after_last()  # fmt: skip

    def ahead_c(self, which: NDArray[np.int64], days: float) -> Array:
        """Mean temperature of the bedding over the days to come [degC], (draws,)."""
        mine = self.sets.some(which)
        ends = np.array([self.of.hours + min(24 * days, AHEAD_H)])
        return self.of.warmth.steps(ends, mine.lives_in, mine.wander, self.of.hours)[:, 0]


def acidity(
    of: History,
    seed: int,
    *,
    draws: int = DRAWS,
    sets: int = SETS,
    rounds: int = ROUNDS,
    progress: Callable[[float], None] = lambda done: None,
) -> Acidity:
    """Learn from a history; the same history and seed give the same draws."""
    rng = np.random.default_rng([seed, 17])
    ends, pool = steps_of(of), bedding_of(of.bed, POOL, rng)
    kept: list[Sets] = []

    def heard(z: Array) -> Array:
        drawn = drawn_sets(of, pool, z, rng)
        ran = forward(of, drawn, ends)
        kept.append(replace(drawn, now_ph=ran.whole_ph[:, -1]))
        return log_likelihood(of, drawn, ran)

    size = len(NAMES)
    if of.heard:
        weighted = sample(heard, size, sets, rng, rounds=rounds, progress=progress)
    else:
        z = rng.standard_normal((draws, size))
        heard(z)
        weighted = Weighted(z, np.full(draws, 1 / draws), float(draws), 0.0)
    progress(1.0)
    prior, every = kept[0], _joined(kept)
    after = every.some(weighted.drawn(draws, rng))
    told = {
        name: Learnt(points(before), points(now), now)
        for name, before, now in zip(TOLD, figures(prior), figures(after), strict=True)
    }
    return Acidity(
        of, after, forward(of, after, ends).state, told, weighted.effective, weighted.largest,
        tuple(one.evidence for one in of.heard), of.refused,
        (of.warmth.words,), seed,
    )  # fmt: skip


def drawn_sets(of: History, pool: Bedding, z: Array, rng: np.random.Generator) -> Sets:
    """Standard normals (sets, size) as what they stand for, and the rest drawn from what is known of it."""
    unit, count = dict(zip(NAMES, z.T, strict=True)), len(z)
    share = {name: ndtr(values) for name, values in unit.items()}
    lives_in = rng.integers(len(of.warmth.by_hour), size=count)
    some = _some(pool, rng.integers(POOL, size=count))
    dry = np.quantile(np.asarray(pool.dry_kg), share["dry"])
    wet = np.asarray(some.water_kg) / (np.asarray(some.water_kg) + np.asarray(some.dry_kg))
    if of.warmth.moisture is not None:
        wet = of.warmth.moisture[lives_in]
        dry = np.minimum(dry, HEAVIEST_KG_L * of.bed.litres * (1 - wet))
    start = START_PH + START_SD * unit["start"]
    if of.start_ph is not None:
        start = of.start_ph[0] + (of.start_ph[1] - of.start_ph[0]) * share["start"]
    buffer = np.quantile(np.asarray(pool.buffer_mol_kg_ph), share["buffer"])
    bedding = replace(
        some, dry_kg=dry, water_kg=dry * wet / (1 - wet), ph=np.clip(start, LEAST_PH, MOST_PH), buffer_mol_kg_ph=buffer
    )
    rates = replace(draw_rates(count, rng), **{name: SPREADS[name].at(share[name]) for name in LEARNT_RATES})
    meals = tuple(
        Meal(
            feed_of(fed.food, 1.0, count, rng).times(
                fed.amount.low + (fed.amount.high - fed.amount.low) * rng.random(count)
            ),
            fed.first_h + (fed.last_h - fed.first_h) * rng.random(count),
        )
        for fed in of.fed
    )
    apart = PH.places * np.exp(PH.places_sd * unit["differ"])
    middle = sum(part * unit[place] for place, part in of.shares.items() if place in unit)
    return Sets(
        bedding, rates, meals, buffer * DRIFT_SD / MONTH_DAYS * unit["drift"],
        PH.spots * np.exp(PH.spots_sd * unit["scatter"]), PH.shared * unit["shared"],
        {place: apart * (unit[place] - middle) for place in of.shares if place in unit},
        lives_in, rng.standard_normal(count), np.full(count, np.nan),
    )  # fmt: skip


def forward(of: History, drawn: Sets, ends: Array) -> Succession:
    """Run sets through the journal's feedings."""
    warm = of.warmth.steps(ends, drawn.lives_in, drawn.wander)
    return succession(
        drawn.bedding, drawn.meals, drawn.rates, warm, ends, own_base_mol_kg_day=drawn.own_base, unbalanced=True
    )  # fmt: skip


def log_likelihood(of: History, drawn: Sets, ran: Succession) -> Array:
    """Log probability of all readings, (sets,)."""
    total = np.zeros(len(drawn.scatter))
    for one in of.heard:
        total += np.log(probability(of, drawn, ran, one))
    return total


def probability(of: History, drawn: Sets, ran: Succession, one: Heard) -> Array:
    """Probability of one reading's words, (sets,)."""
    meant, slipped = np.zeros(len(drawn.scatter)), 0.0
    for level, weight in levels(of, drawn, ran, one.evidence.place, one.at_h):
        likely, slipped = meant_and_slipped(one.evidence, level, drawn.scatter[:, None], PH)
        meant += (weight * likely).mean(axis=1)
    return meant + slipped


def levels(of: History, drawn: Sets, ran: Succession, place: str, at_h: Array) -> list[tuple[Array, Array]]:
    """What a reading may be of: levels and how likely each is, (sets, moments) both; they sum to 1 over the list."""
    at = np.searchsorted(ran.time_h, at_h).clip(max=len(ran.time_h) - 1)
    bulk, pocket, share = ran.bulk_ph[:, at], ran.pocket_ph[:, at], ran.pocket_share[:, at]
    parts = dict(of.shares) if anywhere(place) or place not in of.shares else {place: 1.0}
    latest = _latest(ran.step, at)
    found = []
    for part, weight in parts.items():
        there = _fed_there(of, part)[latest] if of.fed else np.zeros_like(share)
        beside = np.minimum(there * share / of.shares[part], AT_MOST_IN_POCKET)
        shown = (drawn.offset.get(part, np.zeros(len(share))) + drawn.shared)[:, None]
        found += [(bulk + shown, weight * (1 - beside)), (pocket + shown, weight * beside)]
    return found


# --- inside ----------------------------------------------------------------------------------------------


def steps_of(of: History) -> Array:
    """Ends of the steps from the start to now [h]."""
    return steps_for([(fed.first_h + fed.last_h) / 2 for fed in of.fed], of.hours)


def _latest(step: NDArray[np.int64], at: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of the meal that was the latest at these steps, (sets, moments); the first where none was given yet."""
    if not step.shape[1]:
        return np.zeros((len(step), len(at)), np.int64)
    given = np.where(step[:, :, None] <= at, step[:, :, None], -1)[:, ::-1]
    return np.asarray(step.shape[1] - 1 - given.argmax(axis=1))


def _fed_there(of: History, part: str) -> Array:
    """Chance that each feeding lies in a part, (meals,)."""
    places = [fed.taken.place for fed in of.fed]
    return np.array([of.shares[part] if anywhere(place) else float(place == part) for place in places])


def figures(sets: Sets) -> tuple[Array, ...]:
    """In the order of TOLD."""
    bedding = sets.bedding
    half_life = np.log(2) / np.asarray(sets.rates.citrate_per_day)
    return np.asarray(bedding.ph), np.asarray(bedding.buffer_mol_kg_ph), half_life, sets.now_ph


def _some(one: Drawn, which: NDArray[np.int64]) -> Drawn:
    """Some of the draws; what is one number for all stays."""
    parts = {f.name: np.asarray(getattr(one, f.name), dtype=float) for f in fields(one)}
    return replace(one, **{name: part[which] for name, part in parts.items() if part.ndim})


def _together(many: Sequence[Drawn]) -> Drawn:
    parts = {f.name: [np.asarray(getattr(one, f.name), dtype=float) for one in many] for f in fields(many[0])}
    return replace(many[0], **{name: np.concatenate(part) for name, part in parts.items() if part[0].ndim})


def _joined(kept: Sequence[Sets]) -> Sets:
    """All rounds as one, in their order."""

    def end_to_end(name: str) -> Array:
        return np.concatenate([getattr(one, name) for one in kept])

    first = kept[0]
    return Sets(
        _together([one.bedding for one in kept]), _together([one.rates for one in kept]),
        tuple(
            Meal(
                _together([one.meals[i].feed for one in kept]), np.concatenate([one.meals[i].at_h for one in kept])
            )
            for i in range(len(first.meals))
        ),
        end_to_end("own_base"), end_to_end("scatter"), end_to_end("shared"),
        {place: np.concatenate([one.offset[place] for one in kept]) for place in first.offset},
        np.concatenate([one.lives_in for one in kept]), end_to_end("wander"), end_to_end("now_ph"),
    )  # fmt: skip
