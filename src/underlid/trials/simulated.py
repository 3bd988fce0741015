"""Whole trials by simulation: every bin lived day by day by the compiled engine, then counted as a keeper would.

A change of a rate does not change numbers by the same factor: crowding and want of food even out what more cocoons
begin, and founders live on whatever they lay. So the factor on a rate that changes the outcome by a given ratio is
searched for (`factors_for`), in bins that live by the same random numbers with and without it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.threads import deal
from underlid.trials.scene import MADE_OF, ActsOn, Drawn, ImpossibleTrial, Scene, counted, drawn
from underlid.worms.chance import begin
from underlid.worms.habitat import Habitat, colony, course
from underlid.worms.lifecycle import WIDTH, Course, found, step, tell, workroom

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Progress = Callable[[float], None]

CHUNK = 200  # trials at once, some 20 MB; results depend on it, as each chunk has random numbers of its own
LONGEST_DAYS = 366
EXTINCT = 0.5  # stands for none, where a logarithm is taken
ACTS: tuple[ActsOn, ...] = ("laying", "survival of the young", "cocoons")
LAYING, SURVIVAL, COCOONS = range(3)  # of those

REPLICAS = 16  # bins in which each population is tried with each factor
STREAM = 1 << 20  # where the random streams of those begin, beyond those of all bins of a trial
WEAKEST = 1e-3  # factor tried; its inverse is the strongest
HALVINGS = 6  # of the log of the factor: to 6 %, which moves crowded numbers less


@dataclass(frozen=True, slots=True)
class Factors:
    """What the rate must be multiplied by in each trial for the outcome to become `ratio` times what it would be.

    values : (trials,), NaN in those out of reach, whose population no such change of the rate changes by so much
    """

    ratio: float
    values: Array

    @property
    def reached(self) -> NDArray[np.bool_]:
        """The trials in which it can be, (trials,)."""
        return np.isfinite(self.values)


def _silent(done: float) -> None:
    pass


def simulate(
    scene: Scene,
    bins: int,
    trials: int,
    days: Sequence[int],
    factors: ArrayLike = (1.0, 1.0),
    seed: int = 1,
    progress: Progress = _silent,
) -> Ints:
    """Counted numbers of the outcome, (trials, arms, bins, looks).

    days : of the looks, rising; factors : on the rate changed, (arms,) or (trials, arms), 1 in a control

    The same seed gives the same numbers on any number of threads; the first trials are the same however many follow.
    `progress` is called with the share of the work done.
    """
    wanted, change = _looks(scene, days), np.asarray(factors, float)
    if bins < 1 or trials < 1 or not change.size or change.ndim > 2 or len(np.atleast_2d(change)) not in (1, trials):
        raise ImpossibleTrial(f"{trials} trials of {bins} bins need a factor for each arm, not {np.shape(factors)}.")
    if not ((change > 0) & np.isfinite(change)).all():
        raise ImpossibleTrial("A rate can be multiplied by numbers above 0 only; mend the factors.")
    arms = change.shape[-1]
    change = np.repeat(np.broadcast_to(change, (trials, arms)), bins, axis=1)
    numbers = np.empty((trials, arms, bins, len(wanted)), np.int64)
    for first, last, own_rng, among in _chunks(scene, trials, arms * bins, seed, 6):
        stages, _ = lived(scene, among, change[first:last], wanted, seed, first)
        here = counted(scene, stages, among, own_rng)[: last - first]
        numbers[first:last] = here.reshape(last - first, arms, bins, -1)
        progress(last / trials)
    return numbers


def factors_for(
    scene: Scene, ratio: float, day: int, trials: int, seed: int = 1, progress: Progress = _silent
) -> Factors:
    """The factor on the rate, for the population of each trial, that makes the outcome on that day `ratio` times.

    Bisection on the log of the factor. Expected is the geometric mean over bins, as trials are judged by logarithms:
    REPLICAS of them, that begin alike and live by the same random numbers with and without the change, so that their
    chance nearly cancels (what is left of it lets the true ratios of the trials scatter about the one asked). Where
    several factors would do, one is found.
    """
    days = _looks(scene, (day,))
    if not 0 < ratio < math.inf or ratio == 1:
        raise ImpossibleTrial(f"An effect is a ratio above 0 other than 1, not {ratio}.")
    values, stage_of, end = np.empty(trials), MADE_OF[scene.outcome], math.copysign(math.log(WEAKEST), math.log(ratio))

    for first, last, _, among in _chunks(scene, trials, REPLICAS, seed, 7):

        def expected(log_factor: Array, first: int = first, among: Drawn = among) -> Array:
            change = np.repeat(np.exp(log_factor)[:, None], REPLICAS, axis=1)
            stages, _ = lived(scene, among, change, days, seed, first, STREAM)
            there = (stages[: len(change), :, 0] * among.found[: len(change), None])[..., stage_of].sum(axis=-1)
            return np.asarray(np.log(np.maximum(there, EXTINCT)).mean(axis=1))

        near, far = np.zeros(last - first), np.full(last - first, end)
        wanted = expected(near) + math.log(ratio)
        for halving in range(HALVINGS):
            middle = (near + far) / 2
            now = expected(middle)
            beyond = now < wanted if ratio < 1 else now > wanted
            near, far = np.where(beyond, near, middle), np.where(beyond, middle, far)
            progress((first + (last - first) * (halving + 1) / HALVINGS) / trials)
        values[first:last] = np.where(far == end, np.nan, np.exp((near + far) / 2))
    return Factors(ratio, values)


def lived(
    scene: Scene, among: Drawn, change: Array, days: Ints, seed: int, first: int, stream: int = 0
) -> tuple[Ints, Ints]:
    """Animals by stage (trials drawn, bins, looks, 5) and the ledger (..., 6) of the bins on those days.

    change : (trials, bins) factor on the rate; of as many trials as are to be lived, the others stay empty
    first, stream : number of the first trial, and what is added to a bin's, which name its random stream
    """
    habitat = _until(scene.habitat, int(days[-1]))
    shared = course(scene.species, habitat, among.strain, among.where)
    own = colony(scene.species, scene.area_m2, among.strain)
    shape = (*among.founders.shape, len(days))
    stages, ledger = np.zeros((*shape, 5), np.int64), np.zeros((*shape, 6), np.int64)
    deal(
        _lived, change.shape[0] * among.founders.shape[1], shared, own, among.adult_share, among.cocoons_each,
        among.founders, among.food_kg, among.laying, among.feeding, np.ascontiguousarray(change),
        ACTS.index(scene.acts_on), days, seed, first, stream, stages, ledger,
    )  # fmt: skip
    return stages, ledger


# --- inside ----------------------------------------------------------------------------------------------


def _chunks(
    scene: Scene, trials: int, bins: int, seed: int, own: int
) -> Iterator[tuple[int, int, np.random.Generator, Drawn]]:
    """The first trial and that after the last of each chunk, what draws for its bins, and what was drawn.

    The same trials have the same populations, whatever bins (`own` names their draws) they are asked for.
    """
    for first in range(0, trials, CHUNK):
        shared_rng, own_rng = (np.random.default_rng([seed, name, first // CHUNK]) for name in (5, own))
        yield first, min(first + CHUNK, trials), own_rng, drawn(scene, CHUNK, bins, shared_rng, own_rng)


def _looks(scene: Scene, days: Sequence[int]) -> Ints:
    wanted = np.asarray(days, dtype=np.int64)
    if not len(wanted) or wanted[0] < 0 or (np.diff(wanted) <= 0).any() or wanted[-1] > LONGEST_DAYS:
        raise ImpossibleTrial(f"The days of the counts must rise, from 0 to {LONGEST_DAYS} at most; they are {days}.")
    if wanted[-1] > scene.days:
        raise ImpossibleTrial(
            f"The weather reaches {scene.days} days from the bins' start, but the last count is on day {wanted[-1]}; "
            "give a longer file, or past years for the time beyond it."
        )
    return wanted


def _until(habitat: Habitat, days: int) -> Habitat:
    hours = 24 * max(days, 1)
    return Habitat(
        habitat.worms_c[:, :hours], habitat.cocoons_c[:, :hours], habitat.outside_k[:, :hours],
        habitat.frozen[:, :hours], habitat.moisture[:, :hours], habitat.food_kg[:hours], habitat.band_c,
    )  # fmt: skip


@nb.njit(cache=True, nogil=True)
def _lived(  # type: ignore[no-untyped-def]
    begun, end, shared, own, adult_share, cocoons_each, founders, food_kg, laying, feeding, change, acts_on, days, seed,
    first, streams, stages, ledger,
):  # fmt: skip
    bins = founders.shape[1]
    for i in range(begun, end):
        trial, bin = i // bins, i % bins
        stream = np.empty(1, np.uint64)
        begin(stream, seed, first + trial, streams + bin)
        row, store, kg, room = np.zeros(WIDTH, np.int64), np.zeros(2), np.empty(3), workroom()
        many = founders[trial, bin]
        found(row, many, adult_share[trial], cocoons_each[trial] * many, stream)
        store[0] = food_kg[trial, bin]
        mine = _of_bin(shared, trial, laying[trial, bin], feeding[trial, bin], change[trial, bin], acts_on)
        day = 0
        for look in range(days.shape[0]):
            while day < days[look]:
                step(row, store, mine, 0, day, own, trial, stream, room)
                day += 1
            tell(row, store, own, trial, stages[trial, bin, look], ledger[trial, bin, look], kg)


@nb.njit(cache=True)
def _of_bin(shared, trial, laying, feeding, factor, acts_on):  # type: ignore[no-untyped-def]
    """The one course of a bin, with what is its own in laying and food, and the change."""
    one = slice(trial, trial + 1)
    laid, viable, young_death = shared.laid[one] * laying, shared.viable[one], shared.young_death[one]
    if acts_on == LAYING:
        laid = laid * factor
    elif acts_on == SURVIVAL:
        young_death = young_death / factor
    else:
        viable = np.minimum(1.0, viable * factor)
    return Course(
        shared.cocoon_pace[one], shared.young_pace[one], laid, viable, shared.cocoon_death[one], young_death,
        shared.adult_death[one], shared.appetite[one], shared.food[one] * feeding, shared.rot[one], shared.days[one],
    )  # fmt: skip
