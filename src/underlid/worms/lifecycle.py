"""The life cycle of a colony: cocoons, young and adults in whole numbers, by chance from the first founder on.

A cocoon passes through COCOON_STEPS stages of equal pace before it hatches, a young animal through YOUNG_STEPS before
its clitellum shows: the time to either is Erlang distributed (the linear chain; MacDonald 1978). Paces follow the
bedding, so they change from day to day; over a day of any temperatures an animal moves on by a Poisson number of
stages whose mean is the pace summed over the day. So a time step costs no accuracy in how long anything takes: a
chance of `1 - exp(-rate)` to move on by one stage a day, as is often done, makes a 23-day stage last 27 days.
Who is hatched or laid within a step is so at a uniform moment of it.

Crowding and want of food act on laying, food also on growth and death, by the colony's state at the beginning of a
step. Numbers are whole, and every animal is accounted for (`Lives`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.threads import deal
from underlid.worms.chain import enter, move_on, pace_of, room_for
from underlid.worms.chance import LEAN, begin, binomial, poisson

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

COCOON_STEPS = 8  # times to hatching scatter by 35 % of their mean: our judgement
YOUNG_STEPS = 16  # times to clitellum scatter by 25 %: our judgement
HATCHLING_STEPS, JUVENILE_STEPS = 4, 8  # of those; the rest are sub-adults: our judgement
JUVENILES = COCOON_STEPS + HATCHLING_STEPS  # where each begins in a row, after cocoons and hatchlings
SUB_ADULTS = JUVENILES + JUVENILE_STEPS
ADULTS = COCOON_STEPS + YOUNG_STEPS
LEDGER = ("laid", "failed", "opened", "hatched", "matured", "died")
LAID, FAILED, OPENED, HATCHED, MATURED, DIED = range(ADULTS + 1, ADULTS + 7)
ALONE = ADULTS + 7  # hours in which there was no pair of adults
WIDTH = ADULTS + 8  # of a row of whole numbers that is one colony
FOOD, EATEN = range(2)  # the row of real numbers beside it [kg dry]

#: After so long alone the sperm of the last mating is used up. Weeks to months: recalled, no one source.
SPERM_DAYS = 60
ENOUGH_DAYS = 14.0  # food for so long lets half of growth go on: our judgement
STARVED_PER_DAY = 0.02  # death of the young and adults without any food: our judgement
CROWDED_GROWTH = 0.25  # of growth is left at the ceiling (it falls: Domínguez & Edwards 1997, recalled): our judgement
CROWDED_OUT_PER_DAY = 0.02  # death, or escape, for each time that the ceiling is exceeded by itself: our judgement


class ImpossibleLives(ValueError):
    """Numbers that no colony can live by, or that do not fit each other."""


class Course(NamedTuple):
    """What the bedding does to a colony in each step, (courses, steps) each; made by `habitat`.

    cocoon_pace, young_pace : stages moved on by, in food that suffices; laid : cocoons per adult, in food and room that
    suffice; viable : share of the cocoons opening now that hold young; cocoon_death, young_death, adult_death : deaths
    each can expect (hazard times time); appetite : food eaten per live mass [kg dry/kg]; food : food given [kg dry];
    rot : share of the food lost to others; days : length of the step
    """

    cocoon_pace: Array
    young_pace: Array
    laid: Array
    viable: Array
    cocoon_death: Array
    young_death: Array
    adult_death: Array
    appetite: Array
    food: Array
    rot: Array
    days: Array


class Colony(NamedTuple):
    """What is a colony's own, (sets,) each.

    hatchlings : per viable cocoon, on average, at least 1; ceiling_kg : live mass at which laying ends;
    lone_lays : laying of an adult long alone, as a share of that in company; the others live masses [kg]
    """

    hatchlings: Array
    ceiling_kg: Array
    lone_lays: Array
    hatchling_kg: Array
    juvenile_kg: Array
    sub_adult_kg: Array
    adult_kg: Array


@dataclass(frozen=True, slots=True)
class Lives:
    """Colonies through time; states are those at the beginning and after each step.

    stages : (colonies, states, 5) animals, from cocoon to adult; ledger : (colonies, states, 6) sums since the
    beginning, see LEDGER; kg : (colonies, states, 3) live mass, food left [dry] and food eaten so far [dry]

    Animals are conserved: cocoons now = cocoons at first + laid - failed - opened, and worms now = worms at first
    + hatched - died.
    """

    stages: Counts
    ledger: Counts
    kg: Array


def live(
    founders: ArrayLike, food_kg: ArrayLike, course: Course, colony: Colony, seed: int, *, replicates: int = 1
) -> Lives:
    """Run colonies through a course, in parallel; the same seed gives the same lives on any number of threads.

    Parameters
    ----------
    founders : (sets, 25) or (25,) animals by stage: the stages of cocoons, those of the young, adults
    food_kg : (sets,) or a number, food in the bedding at first [kg dry]
    course : (sets, steps) or (1, steps); colony : (sets,)
    replicates : bins of each set, one after another in the answer

    Raises
    ------
    ImpossibleLives : less than nothing, not a number, or shapes that differ from these
    """
    sets = len(colony.hatchlings)
    _possible(founders, food_kg, course, colony)
    rows = np.zeros((sets, WIDTH), dtype=np.int64)
    rows[:, : ADULTS + 1] = np.asarray(founders, dtype=np.int64)
    food = _plain(np.broadcast_to(np.asarray(food_kg, float), sets))
    course, colony = Course(*map(_plain, course)), Colony(*map(_plain, colony))
    bins, states = sets * replicates, course.laid.shape[1] + 1
    lives = Lives(
        np.empty((bins, states, 5), np.int64), np.empty((bins, states, 6), np.int64), np.empty((bins, states, 3))
    )
    deal(_live, bins, rows, food, course, colony, seed, replicates, lives.stages, lives.ledger, lives.kg)
    return lives


def _possible(founders: ArrayLike, food_kg: ArrayLike, course: Course, colony: Colony) -> None:
    """Compiled loops read past the end of an array that is too short, so this is looked at before."""
    sets, shape = len(colony.hatchlings), np.shape(course.laid)
    if len(shape) != 2 or shape[0] not in (1, sets):
        raise ImpossibleLives(f"A course needs one row, or one for each of {sets} sets; its shape is {shape}.")
    start = [("founders", founders, [(ADULTS + 1,), (sets, ADULTS + 1)]), ("food_kg", food_kg, [(), (sets,)])]
    paces = [(name, numbers, [shape]) for name, numbers in course._asdict().items()]
    own = [(name, numbers, [(sets,)]) for name, numbers in colony._asdict().items()]
    for name, numbers, shapes in start + paces + own:
        if np.shape(numbers) not in shapes:
            raise ImpossibleLives(f"The shape of {name} must be {shapes[-1]}, but is {np.shape(numbers)}.")
        if not (np.asarray(numbers) >= 0).all():
            raise ImpossibleLives(f"In {name} there is a number below zero, or none at all: nothing can live by that.")


def _plain(numbers: Array) -> Array:
    """In rows and writable, as nearly all are: for any other kind of array the loops would be compiled anew."""
    return np.require(numbers, float, ("C", "W"))


@nb.njit(cache=True, nogil=True)
def _live(begun, end, rows, food_kg, course, colony, seed, replicates, stages, ledger, kg):  # type: ignore[no-untyped-def]
    for b in range(begun, end):
        s = b // replicates
        c = s if course.laid.shape[0] > 1 else 0
        stream = np.empty(1, np.uint64)
        begin(stream, seed, s, b % replicates)
        row, store = rows[s].copy(), np.array([food_kg[s], 0.0])
        _life(row, store, course, c, colony, s, stream, workroom(), stages[b], ledger[b], kg[b])


@nb.njit(**LEAN)
def _life(row, store, course, c, colony, s, stream, room, stages, ledger, kg):  # type: ignore[no-untyped-def]
    for state in range(stages.shape[0]):
        if state > 0:
            step(row, store, course, c, state - 1, colony, s, stream, room)
        tell(row, store, colony, s, stages[state], ledger[state], kg[state])


@nb.njit(cache=True)
def found(row, founders, adult_share, cocoons, stream):  # type: ignore[no-untyped-def]
    """Put founders of mixed ages into an empty row, and a Poisson number of cocoons among them.

    Each is an adult with a chance of `adult_share`; the young are of any age alike, and so are the cocoons.
    """
    adults = binomial(stream, founders, adult_share)
    row[ADULTS] += adults
    _scatter(row, founders - adults, COCOON_STEPS, ADULTS, stream)
    _scatter(row, poisson(stream, cocoons), 0, COCOON_STEPS, stream)


@nb.njit(cache=True)
def _scatter(row, animals, first, after, stream):  # type: ignore[no-untyped-def]
    for i in range(first, after):
        here = binomial(stream, animals, 1.0 / (after - i))
        row[i] += here
        animals -= here


@nb.njit(cache=True)
def workroom():  # type: ignore[no-untyped-def]
    """Room for `step`; one for each thread that steps."""
    return room_for(YOUNG_STEPS)


@nb.njit(**LEAN)
def step(row, store, course, c, t, colony, s, stream, room):  # type: ignore[no-untyped-def]
    """Let colony `s`, a row of whole numbers and a store of food, live through step `t` of course `c`."""
    days, mass = course.days[c, t], live_kg(row, colony, s)
    hunger = course.appetite[c, t] * mass
    store[FOOD] += course.food[c, t]
    fed = store[FOOD] / (store[FOOD] + hunger / days * ENOUGH_DAYS) if hunger > 0.0 else 1.0
    crowd = mass / colony.ceiling_kg[s]
    lost = STARVED_PER_DAY * days * max(0.0, 1.0 - 4.0 * fed)  # once less than five days' food is left
    lost += CROWDED_OUT_PER_DAY * days * max(0.0, crowd - 1.0)

    dead = binomial(stream, row[ADULTS], -math.expm1(-course.adult_death[c, t] - lost))
    row[ADULTS] -= dead
    adults = row[ADULTS]
    grow = pace_of(course.young_pace[c, t] * fed * (1.0 - (1.0 - CROWDED_GROWTH) * min(1.0, crowd)))
    develop = pace_of(course.cocoon_pace[c, t])
    matured, culled = move_on(row, COCOON_STEPS, ADULTS, course.young_death[c, t] + lost, grow, room, stream)
    row[DIED] += dead + culled
    opened, failed = move_on(row, 0, COCOON_STEPS, course.cocoon_death[c, t], develop, room, stream)
    viable = binomial(stream, opened, course.viable[c, t])
    hatched = viable + poisson(stream, viable * (colony.hatchlings[s] - 1.0))
    matured += enter(row, hatched, COCOON_STEPS, ADULTS, YOUNG_STEPS, grow, stream)
    row[ADULTS] += matured

    # Who grows up where there is no adult has no sperm from anyone.
    row[ALONE] = 0 if adults > 1 else row[ALONE] + round(24.0 * days) if adults == 1 else 24 * SPERM_DAYS
    laying = adults + 0.5 * matured  # the newly grown lay in half of the step
    if adults == 1 and row[ALONE] > 24 * SPERM_DAYS:
        laying *= colony.lone_lays[s]
    laid = poisson(stream, course.laid[c, t] * laying * fed * max(0.0, 1.0 - crowd))
    enter(row, laid, 0, COCOON_STEPS, COCOON_STEPS - 1, develop, stream)
    row[LAID] += laid
    row[FAILED] += failed
    row[OPENED] += opened
    row[HATCHED] += hatched
    row[MATURED] += matured

    eaten = min(hunger * fed, store[FOOD])
    store[FOOD] = (store[FOOD] - eaten) * (1.0 - course.rot[c, t])
    store[EATEN] += eaten


@nb.njit(**LEAN)
def tell(row, store, colony, s, stages, ledger, kg):  # type: ignore[no-untyped-def]
    """Write a colony as it is now into (5,) animals by stage, (6,) sums and (3,) kilograms; see `Lives`."""
    stages[0], stages[1] = _count(row, 0, COCOON_STEPS), _count(row, COCOON_STEPS, JUVENILES)
    stages[2], stages[3] = _count(row, JUVENILES, SUB_ADULTS), _count(row, SUB_ADULTS, ADULTS)
    stages[4] = row[ADULTS]
    for i in range(6):
        ledger[i] = row[LAID + i]
    kg[0], kg[1], kg[2] = live_kg(row, colony, s), store[FOOD], store[EATEN]


@nb.njit(**LEAN)
def live_kg(row, colony, s):  # type: ignore[no-untyped-def]
    """Live mass of all but the cocoons."""
    return (
        _count(row, COCOON_STEPS, JUVENILES) * colony.hatchling_kg[s]
        + _count(row, JUVENILES, SUB_ADULTS) * colony.juvenile_kg[s]
        + _count(row, SUB_ADULTS, ADULTS) * colony.sub_adult_kg[s] + row[ADULTS] * colony.adult_kg[s]
    )  # fmt: skip


# --- inside ----------------------------------------------------------------------------------------------


@nb.njit(**LEAN)
def _count(row, first, after):  # type: ignore[no-untyped-def]
    total = 0
    for i in range(first, after):
        total += row[i]
    return total
