"""What a population comes to in the long run, while nothing around it changes: how fast it grows, and of whom it is.

Stages projected by a matrix are read from its dominant eigenvalue and eigenvectors (Caswell 2001, recalled). Our own
life cycle runs in continuous time: eggs wait in the cocoon, then young on the clitellum, each through steps of equal
pace (the linear chain; MacDonald 1978, recalled), and its growth is the root of the Euler-Lotka equation.

    >>> f"{dominant([[0.0, 1.5, 1.0], [0.5, 0.0, 0.0], [0.0, 0.25, 0.0]]).growth_factor:.6f}"
    '0.939693'
    >>> cocoon, young = Chain(28, steps=8), Chain(50, steps=16, deaths=0.004)
    >>> cycle = LifeCycle(cocoon, young, young_per_cocoon=2.7, cocoons_per_day=0.35, adult_deaths=0.002)
    >>> f"{math.log(2) / growth_rate(cycle):.0f} days to double"
    '17 days to double'
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.sparse.csgraph import shortest_path

from underlid.worms.rates import (
    COCOON_STEPS,
    FAST_END,
    YOUNG_DEATHS,
    YOUNG_STEPS,
    Span,
    eased,
    hatching_share,
    life_span,
    rates,
)
from underlid.worms.species import Species

Array = NDArray[np.float64]

ALIKE = 1e-9  # two growth factors that differ by less, relatively, are one to us
DAYS_PER_YEAR = 365.25


class UnusableMatrix(ValueError):
    """The matrix does not lead from stages to stages, or no one growth factor sums it up."""


class ImpossibleLife(ValueError):
    """A time, a rate or a number of a life cycle is less than nothing, or without end where it must have one."""


@dataclass(frozen=True, slots=True, eq=False)
class Asymptote:
    """What a projection comes to.

    growth_factor : per step; stages : (n,) shares of the stable distribution, summing to 1; reproductive_values : (n,)
    what an animal of each stage adds to the later population, the first stage's being 1; elasticities : (n, n) the
    relative change of the growth factor with that of each entry, summing to 1
    """

    growth_factor: float
    stages: Array
    reproductive_values: Array
    elasticities: Array

    @property
    def rate(self) -> float:
        """The growth rate [1/step], the logarithm of the growth factor."""
        return math.log(self.growth_factor)


def dominant(matrix: ArrayLike) -> Asymptote:
    """What repeated projection by a matrix comes to; its entry [i, j] is the number in i a step later for one in j.

    Stages that only descend from the others (too old to breed) or only lead to them are welcome. Where all breeding
    falls on one age, numbers go on cycling about this answer and do not settle to it.

    Raises
    ------
    UnusableMatrix : not square, negative, not finite; or all die out within as many steps as stages, two groups apart
        grow equally fast, a stage has no part in the growing group, or the first stage never leads to it
    """
    found = _checked(matrix, "the matrix")
    leads = np.isfinite(shortest_path(found > 0, unweighted=True)).T  # [from, to], in any number of steps, also none
    group = (leads & leads.T).argmax(axis=1)  # each stage's by its first member
    factors = {int(first): _radius(found[np.ix_(group == first, group == first)]) for first in np.unique(group)}
    growing = max(factors, key=lambda first: factors[first])
    factor = factors[growing]
    if factor == 0:
        raise UnusableMatrix("The matrix lets every stage die out in a few steps; nothing is left that could grow.")
    equal = [first for first, other in factors.items() if other > factor * (1 - ALIKE)]
    if len(equal) > 1:
        raise UnusableMatrix(
            f"Stages {equal[0] + 1} and {equal[1] + 1} never lead back to each other and their groups grow equally "
            "fast, so no one distribution is approached; project each group by itself."
        )
    before, after = leads[:, growing], leads[growing]
    if not (before | after).all():
        apart = int(np.argmin(before | after)) + 1
        raise UnusableMatrix(f"Stage {apart} has no part in the group that grows fastest; project it by itself.")
    if not before[0]:
        raise UnusableMatrix(
            f"The first stage never leads to stage {growing + 1}, whose group grows fastest, so it cannot measure the "
            "others; put the newborn of that group first."
        )
    stages = np.where(after, _eigenvector(found), 0.0)
    values = np.where(before, _eigenvector(found.T), 0.0)
    stages, values = stages / stages.sum(), values / values[0]
    return Asymptote(factor, stages, values, found * np.outer(values, stages) / (factor * (values @ stages)))


def net_reproduction(fecundity: ArrayLike, survival: ArrayLike) -> float:
    """Offspring of a lifetime for each newborn (R0): the dominant eigenvalue of F (1 - T)^-1.

    Parameters
    ----------
    fecundity, survival : (n, n) F and T, the newborn and those who lived on a step later; their sum is the projection

    Raises
    ------
    UnusableMatrix : either is not square, negative or not finite, they differ in shape, or T lets some live for ever
    """
    born, lived = _checked(fecundity, "the fecundity matrix"), _checked(survival, "the survival matrix")
    if born.shape != lived.shape:
        raise UnusableMatrix(f"Fecundity has {len(born)} stages and survival {len(lived)}; both need the same.")
    if _radius(lived) >= 1 - ALIKE:
        raise UnusableMatrix("The survival matrix lets some live for ever, so a lifetime has no end to count up to.")
    lifetimes = np.linalg.inv(np.eye(len(born)) - lived)  # [i, j]: steps that one now in j spends in i
    return _radius(np.asarray(born @ lifetimes, dtype=np.float64))


@dataclass(frozen=True, slots=True)
class Chain:
    """A wait of `days` on average through `steps` of equal pace (Erlang distributed), with deaths [1/day] meanwhile."""

    days: float
    steps: int
    deaths: float = 0.0

    def __post_init__(self) -> None:
        if not (self.days >= 0 and self.steps >= 1 and 0 <= self.deaths < math.inf):
            raise ImpossibleLife(f"A chain needs days and deaths of at least 0 and a step at least, but is {self}.")

    @property
    def slowest(self) -> float:
        """The growth rate [1/day] of those who wait, if none ever joined them; -inf where there is no wait."""
        return -(self.deaths + (self.steps / self.days if self.days > 0 else math.inf))

    def held_up(self, rate: float) -> float:
        """By how much the chain divides the births of a population that grows at a rate [1/day], step by step.

        So many steps of it as there are make up the whole: this is the root of that, which cannot overflow.
        """
        return max(1 + self.days * (rate + self.deaths) / self.steps, 0.0)


@dataclass(frozen=True, slots=True)
class LifeCycle:
    """A life cycle at constant rates: cocoon, young, adult.

    young_per_cocoon : hatchlings of a cocoon that lived through its chain, those that hatch none counted in;
    cocoons_per_day : laid by an adult; adult_deaths : [1/day]
    """

    cocoon: Chain
    young: Chain
    young_per_cocoon: float
    cocoons_per_day: float
    adult_deaths: float

    def __post_init__(self) -> None:
        if not all(0 <= x < math.inf for x in (self.young_per_cocoon, self.cocoons_per_day, self.adult_deaths)):
            raise ImpossibleLife(f"Numbers and rates of a life cycle must be at least 0 and finite, but are {self}.")


def growth_rate(cycle: LifeCycle) -> float:
    """The rate [1/day] at which a population of all stages comes to grow: the root r of the Euler-Lotka equation

        births * C(r) * Y(r) = r + adult deaths,     C, Y = (k m / (k m + r + deaths))^k of cocoons and of young,

    with k steps and m = 1 / mean days. Without births or without an end to a wait it is how slowly the last are lost.
    """
    births = cycle.cocoons_per_day * cycle.young_per_cocoon
    chains = (cycle.cocoon, cycle.young)
    floor = max(-cycle.adult_deaths, *(chain.slowest for chain in chains))
    if births == 0 or any(math.isinf(chain.days) for chain in chains):
        return floor
    power = 1 / (1 + sum(chain.steps for chain in chains))

    def excess(rate: float) -> float:
        """Of the losses over the births; their roots of the order of the equation, so nearly straight in the rate."""
        waits = math.prod(chain.held_up(rate) ** (chain.steps * power) for chain in chains)
        return float(max(rate + cycle.adult_deaths, 0.0) ** power * waits - births**power)

    if excess(floor) >= 0:  # births so few that they are lost in rounding
        return floor
    return float(brentq(excess, floor, 2 * births, xtol=1e-15))


def doubling_days(kind: Species, low_c: float, high_c: float) -> Span:
    """Days in which a species doubles in number at a steady bedding temperature, known from `low_c` to `high_c` [degC].

    Food and room are in excess, and all stages there in their stable shares. The value is that of the best rates at the
    middle. The range takes every rate at its slow or at its fast end together, at every temperature between: a wide
    one. Without end (inf) where numbers do not grow.
    """
    at_c = [float(bedding_c) for bedding_c in np.linspace(low_c, high_c, 41)]
    return Span(
        _doubling(life_cycle(kind, at_c[20])),
        min(_doubling(life_cycle(kind, bedding_c, FAST_END)) for bedding_c in at_c),
        max(_doubling(life_cycle(kind, bedding_c, -FAST_END)) for bedding_c in at_c),
    )


def life_cycle(kind: Species, bedding_c: float, ease: float = 0.0) -> LifeCycle:
    """The life cycle of a species at a bedding temperature [degC]; `ease` as in `rates`, one for all that is uncertain.

    Cocoons do not die in it: those that come to nothing are missing from the share that hatches.
    """
    found = rates(kind, (ease,) * 3)
    incubation, maturation = (float(curve(bedding_c)) for curve in (found.incubation, found.maturation))
    return LifeCycle(
        Chain(1 / incubation if incubation > 0 else math.inf, COCOON_STEPS),
        Chain(1 / maturation if maturation > 0 else math.inf, YOUNG_STEPS, eased(YOUNG_DEATHS, -ease)),
        float(hatching_share(kind, bedding_c, ease)) * eased(kind.hatchlings_per_cocoon, ease),
        float(found.laying(bedding_c)),
        1 / (DAYS_PER_YEAR * eased(life_span(kind), ease)),
    )


def _doubling(cycle: LifeCycle) -> float:
    rate = growth_rate(cycle)
    return math.log(2) / rate if rate > 0 else math.inf


def _checked(matrix: ArrayLike, what: str) -> Array:
    """The matrix as numbers, if it can lead from stages to the same stages."""
    try:
        found = np.asarray(matrix, dtype=np.float64, order="C")
    except (TypeError, ValueError) as error:
        raise UnusableMatrix(f"In {what} every row must be as long as the others and hold numbers.") from error
    if found.ndim != 2 or found.shape[0] != found.shape[1] or not found.size:
        raise UnusableMatrix(f"Use as many rows as columns for {what}, one for each stage; its shape is {found.shape}.")
    for wrong, how in ((~np.isfinite(found), "not a finite number"), (found < 0, "less than nothing")):
        if wrong.any():
            row, column = np.argwhere(wrong)[0]
            raise UnusableMatrix(f"Row {row + 1}, column {column + 1} of {what} is {found[row, column]:g}: {how}.")
    return found


def _radius(matrix: Array) -> float:
    """The largest eigenvalue of a matrix without negative entries: real, and at least 0 (Perron and Frobenius)."""
    return max(float(np.linalg.eigvals(matrix).real.max()), 0.0)


def _eigenvector(matrix: Array) -> Array:
    """The eigenvector of that eigenvalue, which has entries of one sign only."""
    values, vectors = np.linalg.eig(matrix)
    found: Array = np.abs(vectors[:, values.real.argmax()].real)
    return found
