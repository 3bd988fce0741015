"""What underlid's life-cycle engine is timed beside: the same colony lived by general tools.

All take the paces, deaths and layings of one `Course` in daily steps, and the masses and the ceiling of one `Colony`;
food suffices. The chain in NumPy is the usual one: each day every animal moves on by one stage or none, with a chance
of `1 - exp(-pace)`. That is too slow: a day's chance of a second stage is left out, and cocoons hatch late. Agents each
have a way of their own to go, drawn once, and a state that each day moves along it.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from underlid.worms.lifecycle import (
    ADULTS,
    COCOON_STEPS,
    CROWDED_GROWTH,
    CROWDED_OUT_PER_DAY,
    HATCHLING_STEPS,
    JUVENILE_STEPS,
    YOUNG_STEPS,
    Colony,
    Course,
)

Array = NDArray[np.float64]
Counts = NDArray[np.int64]


def has(package: str) -> bool:
    """Whether a peer's package is there; it is left out, and that is said, where it is not."""
    return find_spec(package) is not None


# --- NumPy ----------------------------------------------------------------------------------------------


def stage_kg(colony: Colony) -> Array:
    """Live mass by stage, (25,)."""
    steps = [COCOON_STEPS, HATCHLING_STEPS, JUVENILE_STEPS, YOUNG_STEPS - HATCHLING_STEPS - JUVENILE_STEPS, 1]
    each = [0.0, *(float(kg[0]) for kg in (colony.hatchling_kg, colony.juvenile_kg, colony.sub_adult_kg))]
    return np.repeat([*each, float(colony.adult_kg[0])], steps)


def chain_day(n: Counts, course: Course, colony: Colony, t: int, kg: Array, rng: np.random.Generator) -> Counts:
    """Colonies (bins, 25) a day on; all bins at once."""
    crowd = n @ kg / colony.ceiling_kg[0]
    lost = CROWDED_OUT_PER_DAY * np.maximum(0.0, crowd - 1.0)[:, None]
    hazard = np.repeat([course.young_death[0, t], course.adult_death[0, t]], [YOUNG_STEPS, 1])
    n = n.copy()
    n[:, COCOON_STEPS:] -= rng.binomial(n[:, COCOON_STEPS:], -np.expm1(-hazard - lost))
    if course.cocoon_death[0, t] > 0:
        n[:, :COCOON_STEPS] -= rng.binomial(n[:, :COCOON_STEPS], -np.expm1(-course.cocoon_death[0, t]))
    grows = course.young_pace[0, t] * (1.0 - (1.0 - CROWDED_GROWTH) * np.minimum(1.0, crowd))
    pace = np.repeat(
        np.stack([np.full_like(grows, course.cocoon_pace[0, t]), grows], axis=1), [COCOON_STEPS, YOUNG_STEPS], 1
    )
    moved = rng.binomial(n[:, :ADULTS], -np.expm1(-pace))
    adults = n[:, ADULTS].copy()
    n[:, :ADULTS] -= moved
    n[:, 1 : ADULTS + 1] += moved
    opened = moved[:, COCOON_STEPS - 1]
    viable = rng.binomial(opened, course.viable[0, t])
    n[:, COCOON_STEPS] += viable + rng.poisson(viable * (colony.hatchlings[0] - 1.0)) - opened
    n[:, 0] += rng.poisson(course.laid[0, t] * adults * np.maximum(0.0, 1.0 - crowd))
    return n


def numpy_chain(course: Course, colony: Colony, founders: Counts, bins: int, seed: int) -> Counts:
    """Animals by stage at the end, (bins, 25)."""
    rng, kg = np.random.default_rng(seed), stage_kg(colony)
    n = np.tile(founders, (bins, 1))
    for t in range(course.days.shape[1]):
        n = chain_day(n, course, colony, t, kg, rng)
    return n


def chain_hatching_days(pace: float, cocoons: int, seed: int) -> float:
    """Mean days from laying to hatching of the chain, at one pace."""
    return float((1 + np.random.default_rng(seed).negative_binomial(1, -np.expm1(-pace), (cocoons, COCOON_STEPS)))
                 .sum(axis=1).mean())  # fmt: skip


# --- Mesa -----------------------------------------------------------------------------------------------


def mesa_agents(course: Course, colony: Colony, founders: Counts, bins: int, seed: int) -> tuple[Counts, Array]:
    """Cocoons, young and adults at the end, (bins, 3), and the mean days from laying to hatching, (bins,).

    Each animal is an agent; founders are cocoons just laid and adults.
    """
    import mesa

    masses = [float(kg[0]) for kg in (colony.hatchling_kg, colony.juvenile_kg, colony.sub_adult_kg, colony.adult_kg)]
    hatchlings, ceiling_kg = float(colony.hatchlings[0]), float(colony.ceiling_kg[0])
    days = [tuple(float(part[0, t]) for part in course) for t in range(course.days.shape[1])]
    grows = HATCHLING_STEPS / YOUNG_STEPS, (HATCHLING_STEPS + JUVENILE_STEPS) / YOUNG_STEPS

    class Bin(mesa.Model):  # type: ignore[misc]
        def __init__(self, seed: int) -> None:
            super().__init__(seed=seed)
            self.kg, self.next_kg, self.waited, self.hatched = 0.0, 0.0, 0, 0
            self.draw = self.random.random

        def poisson(self, mean: float) -> int:
            left, chance, n = self.draw(), float(np.exp(-mean)), 0
            while left >= chance > 0.0:
                left -= chance
                n += 1
                chance *= mean / n
            return n

        def live(self) -> None:
            for day in days:
                crowd = self.kg / ceiling_kg
                lost = CROWDED_OUT_PER_DAY * max(0.0, crowd - 1.0)
                slowed = 1.0 - (1.0 - CROWDED_GROWTH) * min(1.0, crowd)
                self.cocoon_pace, self.young_pace, self.viable = day[0], day[1] * slowed, day[3]
                self.young_dies, self.adult_dies = 1.0 - np.exp(-day[5] - lost), 1.0 - np.exp(-day[6] - lost)
                self.lays, self.next_kg = day[2] * max(0.0, 1.0 - crowd), 0.0
                self.none_laid = float(np.exp(-self.lays))
                self.agents.do("step")
                self.kg = self.next_kg

    class Cocoon(mesa.Agent):  # type: ignore[misc]
        def __init__(self, model: Bin) -> None:
            super().__init__(model)
            self.left, self.age = model.random.gammavariate(COCOON_STEPS, 1.0), 0

        def step(self) -> None:
            model = self.model
            self.left -= model.cocoon_pace
            self.age += 1
            if self.left <= 0.0:
                model.waited += self.age
                model.hatched += 1
                if model.draw() < model.viable:
                    for _ in range(1 + model.poisson(hatchlings - 1.0)):
                        Young(model)
                self.remove()

    class Young(mesa.Agent):  # type: ignore[misc]
        def __init__(self, model: Bin) -> None:
            super().__init__(model)
            self.way, self.gone = model.random.gammavariate(YOUNG_STEPS, 1.0), 0.0

        def step(self) -> None:
            model = self.model
            if model.draw() < model.young_dies:
                self.remove()
                return
            self.gone += model.young_pace
            share = self.gone / self.way
            if share >= 1.0:
                Adult(model)
                self.remove()
            model.next_kg += masses[0 if share < grows[0] else 1 if share < grows[1] else 2 if share < 1.0 else 3]

    class Adult(mesa.Agent):  # type: ignore[misc]
        def step(self) -> None:
            model = self.model
            if model.draw() < model.adult_dies:
                self.remove()
                return
            model.next_kg += masses[3]
            if model.lays > 0.0 and model.draw() >= model.none_laid:  # at least one
                Cocoon(model)
                for _ in range(_more_than_one(model)):
                    Cocoon(model)

    def _more_than_one(model: Bin) -> int:
        """How many beyond the first, of a Poisson number that is not zero."""
        chance, left, n = model.none_laid * model.lays, model.draw() * (1.0 - model.none_laid), 1
        while left >= chance > 0.0:
            left -= chance
            n += 1
            chance *= model.lays / n
        return n - 1

    ends, waits = np.empty((bins, 3), np.int64), np.empty(bins)
    for b in range(bins):
        model = Bin(seed + b)
        for _ in range(int(founders[0])):
            Cocoon(model)
        for _ in range(int(founders[ADULTS])):
            Adult(model)
        model.kg = founders[ADULTS] * masses[3]
        model.live()
        for i, kind in enumerate((Cocoon, Young, Adult)):
            ends[b, i] = len(model.agents_by_type.get(kind, ()))
        waits[b] = model.waited / max(1, model.hatched)
    return ends, waits


# --- particles ------------------------------------------------------------------------------------------


def particles_filter(
    course: Course, colony: Colony, founders: Counts, counts: Array, month_days: int, share: float,
    concentration: float, slip: float, slip_chance: float,
) -> Callable[[int, int], float]:  # fmt: skip
    """The log likelihood by the `particles` package, of so many particles and a seed.

    A month is `month_days` daily steps of the chain; adults are counted in a `share` of the bedding at its end.
    """
    import particles
    from particles import distributions, state_space_models

    kg = stage_kg(colony)

    class Months(distributions.ProbDist):  # type: ignore[misc]
        dim, dtype = ADULTS + 1, np.int64

        def __init__(self, before: Counts | None, t: int) -> None:
            self.before, self.t = before, t

        def rvs(self, size: int | None = None) -> Counts:
            n = np.tile(founders, (size or 1, 1)) if self.before is None else self.before
            for day in range(self.t * month_days, (self.t + 1) * month_days):
                n = chain_day(n, course, colony, day, kg, rng[0])
            return n

    class Counted(distributions.ProbDist):  # type: ignore[misc]
        def __init__(self, adults: Counts) -> None:
            self.adults = adults

        def logpdf(self, x: float) -> Array:
            a, b = concentration * share, concentration * (1.0 - share)
            return np.log((1.0 - slip) * stats.betabinom.pmf(x, self.adults, a, b) + slip * slip_chance)

    class Bin(state_space_models.StateSpaceModel):  # type: ignore[misc]
        def PX0(self) -> Any:
            return Months(None, 0)

        def PX(self, t: int, xp: Counts) -> Any:
            return Months(xp, t)

        def PY(self, t: int, xp: Counts, x: Counts) -> Any:
            return Counted(x[:, ADULTS])

    rng = [np.random.default_rng()]

    def run(many: int, seed: int) -> float:
        rng[0] = np.random.default_rng(seed)
        np.random.seed(seed)  # noqa: NPY002 - the package resamples from NumPy's global generator
        steps = particles.SMC(fk=state_space_models.Bootstrap(ssm=Bin(), data=list(counts)), N=many)
        steps.run()
        return float(steps.logLt)

    return run
