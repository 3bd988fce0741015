"""Time of underlid's life-cycle engine and particle filter beside general tools, in one run on one core; Markdown.

One colony for all: 30 adults of E. fetida in a wide bin through a year of 15 to 25 degC, who lay so seldom that in the
end some 5,000 worms live there, the more slowly the more crowded. Times are processor time, compiling left out.

How long cocoons take to hatch is shown beside what it should be, in bedding that stays at 25 degC: a tool may be quick
because it leaves things out. Hatching is dated as each tool has it, within the step (ours) or at its end.
"""

from __future__ import annotations

import os

# One core; set before NumPy and Numba are imported, which read this once.
os.environ.update(
    dict.fromkeys(("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
)

import platform
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray
from peers_colonies import chain_hatching_days, has, mesa_agents, numpy_chain, particles_filter

from underlid.fit.filter import log_likelihood
from underlid.fit.heard import Looking
from underlid.fit.tally import Rows
from underlid.worms.habitat import Habitat, Strain, colony, course
from underlid.worms.lifecycle import ADULTS, COCOON_STEPS, LEDGER, Colony, Course, live
from underlid.worms.species import species

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

YEAR_H, DAY_H = 8760, 24
ADULTS_AT_FIRST, AREA_M2, PLENTY_KG = 30, 0.8, 1e4
STEADY_C, COCOONS = 25.0, 4000
MONTHS, MONTH_DAYS, PARTICLES = 12, 30, 1000
SHARE, CONCENTRATION, SLIP, SLIP_CHANCE = 0.05, 50.0, 0.01, 0.002  # a twentieth of the bedding, evenly mixed
SEEDS = range(10)

KIND = species("E. fetida")
COLONY: Colony = colony(KIND, AREA_M2, Strain.usual())
LAID = 0.07  # of what they might lay: 1,700 animals live there on the mean day


def seasons(step_days: int = 1) -> Course:
    """A year that begins at its coldest."""
    bedding_c = 20.0 - 5.0 * np.cos(2 * np.pi * np.arange(YEAR_H) / YEAR_H)
    year = course(KIND, Habitat.steady(KIND, bedding_c, YEAR_H), Strain.usual(), hours_per_step=DAY_H * step_days)
    return year._replace(laid=LAID * year.laid)


def steady(step_days: int = 1) -> Course:
    """A year at one temperature, in which none lay."""
    years = course(KIND, Habitat.steady(KIND, STEADY_C, YEAR_H), Strain.usual(), hours_per_step=DAY_H * step_days)
    return years._replace(laid=np.zeros_like(years.laid))


def first(cocoons: int = 0, adults: int = 0) -> Counts:
    """Cocoons just laid and adults, by stage."""
    row = np.zeros(ADULTS + 1, np.int64)
    row[[0, ADULTS]] = cocoons, adults
    return row


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the table.

    worms : worms at the end of the year in each of so many bins, of a seed
    hatching_days : mean days from laying to hatching in steady bedding
    """

    name: str
    bins: int
    worms: Callable[[int, int], Counts]
    hatching_days: Callable[[], float]
    repeats: int = 3


def ours(step_days: int) -> Entry:
    """The engine, in steps of so many days."""
    year = seasons(step_days)

    def worms(bins: int, seed: int) -> Counts:
        found = live(first(adults=ADULTS_AT_FIRST), PLENTY_KG, year, COLONY, seed, replicates=bins)
        return np.asarray(found.stages[:, -1, 1:].sum(axis=1))

    def hatching_days() -> float:
        found = live(first(COCOONS), PLENTY_KG, steady(step_days), COLONY, 1, replicates=20)
        opened = np.diff(found.ledger[:, :, LEDGER.index("opened")].sum(axis=0))
        return float(step_days * np.average(np.arange(opened.size) + 0.5, weights=opened))

    steps = "daily steps" if step_days == 1 else f"{step_days}-day steps"
    return Entry(f"underlid, {steps}", 1000, worms, hatching_days)


def peers() -> list[Entry]:
    """Those that are installed; of the others it is said that they are not."""
    year = seasons()
    pace = float(steady().cocoon_pace[0, 0])
    entries = [
        Entry(
            "NumPy, daily chain of binomials, all bins at once", 500,
            lambda bins, seed: numpy_chain(year, COLONY, first(adults=ADULTS_AT_FIRST), bins, seed)[
                :, COCOON_STEPS:
            ].sum(axis=1),
            lambda: chain_hatching_days(pace, 50_000, 1),
            repeats=2,
        )
    ]  # fmt: skip
    if has("mesa"):
        weeks = Course(*(part[:, :100] for part in steady()))
        entries.append(
            Entry(
                "Mesa, an agent for each animal, daily steps", 4,
                lambda bins, seed: mesa_agents(year, COLONY, first(adults=ADULTS_AT_FIRST), bins, seed)[0][:, 1:].sum(
                    axis=1
                ),
                lambda: float(mesa_agents(weeks, COLONY, first(COCOONS), 1, 1)[1][0]),
                repeats=1,
            )
        )  # fmt: skip
    else:
        print("Mesa is not installed, so it is left out; `pip install mesa` brings it.\n")
    return entries


def best(run: Callable[[], object], repeats: int) -> float:
    """Least processor time [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        run()
        times.append(time.process_time() - start)
    return min(times)


def print_colonies() -> list[float]:
    """One line a tool, printed as it is measured; returns the seconds per 1,000 bin-years of ours."""
    entries = [ours(1), ours(3), *peers()]
    nominal = COCOON_STEPS / float(steady().cocoon_pace[0, 0])
    print(f"| method | s per 1,000 bin-years | times ours | timed over | worms at the end: mean, sd | {nominal:.0f} "
          "days to hatching come to |\n|---|---|---|---|---|---|")  # fmt: skip
    seconds: list[float] = []
    for entry in entries:
        entry.worms(1, 0)  # compiles, warms the caches
        taken = best(lambda entry=entry: entry.worms(entry.bins, 1), entry.repeats) / entry.bins * 1000  # type: ignore[misc]
        seconds.append(taken)
        worms = entry.worms(entry.bins, 2)
        scaled = f"{entry.bins:,} bins" if entry.bins == 1000 else f"{entry.bins} bins, scaled"
        print(f"| {entry.name} | {taken:.3g} | {taken / seconds[0]:.3g} | {scaled} | {worms.mean():,.0f}, "
              f"{worms.std(ddof=1):.0f} | {entry.hatching_days():.2f} |", flush=True)  # fmt: skip
    return seconds[:2]


def monthly_rows(counts: Array, step_days: int = 1) -> Rows:
    """Adults counted in one sample at the end of each month, as the filter reads them."""
    many = len(counts)
    whole, ends = np.arange(many + 1), MONTH_DAYS // step_days * np.arange(1, many + 1)
    return Rows(
        ends, whole[:-1], np.ones(many), ends, np.full(many, SLIP), np.full(many, SLIP_CHANCE), whole,
        np.zeros(many + 1, np.int64), np.zeros(many, np.int64), whole, np.full(many, 4), whole, counts, np.ones(many),
        np.zeros((0, 5), bool), np.zeros(0),
    )  # fmt: skip


def print_filters() -> list[float]:
    """The filters on counts that a life of ours gave; returns the seconds of ours, in daily and in 3-day steps."""
    year = seasons()
    adults = live(first(adults=ADULTS_AT_FIRST), PLENTY_KG, year, COLONY, 9).stages[0, MONTH_DAYS::MONTH_DAYS, 4]
    counts = np.random.default_rng(9).binomial(adults[:MONTHS], SHARE).astype(float)
    looking = Looking(
        np.array([ADULTS_AT_FIRST]), np.ones(1), np.zeros(1), np.full(1, PLENTY_KG), np.ones((1, 5)),
        np.full(1, CONCENTRATION), np.full((1, MONTHS), SHARE),
    )  # fmt: skip

    def ours_in(step_days: int) -> Callable[[int, int], float]:
        rows, lived = monthly_rows(counts, step_days), seasons(step_days)
        return lambda particles, seed: float(log_likelihood(rows, looking, lived, COLONY, seed, 0, particles)[0])

    filters = [("underlid, daily steps", ours_in(1)), ("underlid, 3-day steps", ours_in(3))]
    if has("particles"):
        package = particles_filter(
            year, COLONY, first(adults=ADULTS_AT_FIRST), counts, MONTH_DAYS, SHARE, CONCENTRATION, SLIP, SLIP_CHANCE
        )
        filters.append(("`particles`, with the NumPy chain for its step", package))
    else:
        print("The package `particles` is not installed, so it is left out: it asks for NumPy before 2, which underlid")
        print("does not run on. With `pip install --no-deps particles` and what it imports, it is timed too.\n")
    print("| filter | s | times ours | log likelihood: mean, sd |\n|---|---|---|---|")
    seconds: list[float] = []
    for name, run in filters:
        run(10, 0)
        seconds.append(best(lambda run=run: run(PARTICLES, 1), 3))  # type: ignore[misc]
        found = [run(PARTICLES, seed) for seed in SEEDS]
        print(f"| {name} | {seconds[-1]:.3g} | {seconds[-1] / seconds[0]:.3g} | {np.mean(found):.2f}, "
              f"{np.std(found, ddof=1):.2f} |", flush=True)  # fmt: skip
    return seconds[:2]


def print_goals(daily: float, coarse: float, filtering: list[float]) -> None:
    """What was aimed at, what was measured, and whether it was met."""
    print("\n| goal | measured | met |\n|---|---|---|")
    for goal_s, name in ((0.30, "1,000 bin-years on a core"), (0.15, "the same, stretched")):
        for steps, taken in (("daily steps", daily), ("3-day steps", coarse)):
            print(f"| {name}, {steps}: {goal_s:g} s | {taken:.3g} s | {'yes' if taken <= goal_s else 'no'} |")
    for steps, taken in zip(("daily steps", "3-day steps"), filtering, strict=True):
        print(f"| {PARTICLES:,} particles through {MONTHS} months, {steps}: 0.25 s | {taken:.3g} s | "
              f"{'yes' if taken <= 0.25 else 'no'} |")  # fmt: skip


def main() -> None:
    tools = [name for name in ("numpy", "numba", "mesa", "particles") if has(name)]
    print(f"Life cycle, one core, Python {platform.python_version()},", ", ".join(f"{n} {version(n)}" for n in tools))
    print(f"\n{ADULTS_AT_FIRST} adults through a year of 15 to 25 degC:\n")
    daily, coarse = print_colonies()
    print("\nIn the chain of binomials cocoons and young are late, as a chance of 1 - exp(-pace) a day lets none move")
    print("on by two stages; agents are late by half a day, as they hatch at the end of a day.")
    print(f"\n{PARTICLES:,} particles through {MONTHS} months of one count each, {len(SEEDS)} seeds:\n")
    filtering = print_filters()
    if has("particles"):
        print("\nThe log likelihoods differ as far as the chain's late cocoons and young do; the weighing is the same.")
    print_goals(daily, coarse, filtering)


if __name__ == "__main__":
    main()
