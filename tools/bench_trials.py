"""Time of 10,000 simulated one-year trials of four bins, beside the same trials in plain NumPy; Markdown.

Two bins with a change and two without, of two dozen founders each, through a year of bedding that the heat model makes
of an invented year's air, in draws of what the bin may be like. Each trial has its own population, and each bin its own
laying and food. The time is that on the wall, on all cores given, and holds all there is to a trial: drawing,
courses, lives, counts and verdicts; compiling is left out, and so is the bedding, which is told apart.

In NumPy it is the usual chain of binomials in daily steps, all bins side by side: those let cocoons hatch late (see
`peers_colonies`), so that numbers differ somewhat. It is timed over fewer trials, and scaled.
"""

from __future__ import annotations

import platform
import sys
import time
from importlib.metadata import version

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.bedding.vessel import Vessel
from underlid.fit.evidence import Situation
from underlid.fit.posterior import PARAMETERS, Prior
from underlid.heat.model import Drive, standard_probes
from underlid.heat.model import simulate as bedding_of
from underlid.quantity.amount import VagueAmount
from underlid.trials.judged import Rule, chances
from underlid.trials.scene import Drawn, Scene, counted, drawn
from underlid.trials.simulated import simulate
from underlid.worms.habitat import Habitat, colony, course
from underlid.worms.lifecycle import (
    ADULTS,
    COCOON_STEPS,
    CROWDED_GROWTH,
    CROWDED_OUT_PER_DAY,
    ENOUGH_DAYS,
    HATCHLING_STEPS,
    JUVENILE_STEPS,
    JUVENILES,
    STARVED_PER_DAY,
    SUB_ADULTS,
    YOUNG_STEPS,
)
from underlid.worms.species import species

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

YEAR_D, DRAWS, TRIALS, BINS, NUMPY_TRIALS = 365, 40, 10_000, 2, 200
GOAL_S = 60.0
KIND = species("E. fetida")
VESSEL = Vessel(0.43, 0.30, 0.28, 0.22)


def scene() -> Scene:
    """Bins under a roof, in a year of 1 to 19 degC on the days' mean, fed each fortnight."""
    hours = np.arange(24 * YEAR_D)
    rng = np.random.default_rng(0)
    fronts = np.repeat(rng.normal(0, 3, YEAR_D // 2 + 1), 48)[: len(hours)]
    season, daily = np.cos(2 * np.pi * hours / len(hours)), np.sin(2 * np.pi * (hours - 9) / 24)
    air_c = 10 - 9 * season + 4 * daily + fronts
    prior = Prior(Situation(VESSEL, 150.0, (0.6, 0.8), ()))
    drawn_bins = prior.parameters(rng.standard_normal((DRAWS, len(PARAMETERS))))
    probe = [standard_probes(VESSEL)["middle"]]
    drive = Drive(air_c, np.zeros(len(hours)), 3.0, float(air_c[:48].mean()))
    found = bedding_of(VESSEL, prior.thermal(drawn_bins), drive, probe, bands_c=(KIND.band_c,))
    middle = found.probes_c[:, :, 0]
    food = np.zeros(len(hours))
    food[:: 24 * 14] = 0.03
    habitat = Habitat(middle, middle, found.outside_k[:, :, 0], found.frozen, found.moisture, food, KIND.band_c)
    founders = VagueAmount(20, 28, "1", "about", "two dozen")
    return Scene(KIND, habitat, VESSEL.length_m * VESSEL.width_m, 1000 * VESSEL.bedding_m3, 2.0, founders)


def in_numpy(of: Scene, trials: int, seed: int) -> Ints:
    """Counted worms at the end of the year, (trials, 2, BINS, 1): what `simulate` does, written plainly."""
    rng = np.random.default_rng(seed)
    among = drawn(of, trials, 2 * BINS, rng, rng)
    shared = course(of.species, of.habitat, among.strain, among.where)
    own = colony(of.species, of.area_m2, among.strain)
    stages = _year(shared._asdict(), own._asdict(), among, rng)
    return counted(of, stages[:, :, None], among, rng).reshape(trials, 2, BINS, 1)


def _year(shared: dict[str, Array], own: dict[str, Array], among: Drawn, rng: np.random.Generator) -> Ints:
    """Animals by stage at the end, (trials, bins, 5); each day all bins at once."""
    trials, bins = among.founders.shape
    n = np.zeros((trials, bins, ADULTS + 1), np.int64)
    n[..., ADULTS] = rng.binomial(among.founders, among.adult_share[:, None])
    left = among.founders - n[..., ADULTS]
    n[..., COCOON_STEPS:ADULTS] = rng.multinomial(left, np.full(YOUNG_STEPS, 1 / YOUNG_STEPS))
    cocoons = rng.poisson(among.cocoons_each[:, None] * among.founders)
    n[..., :COCOON_STEPS] = rng.multinomial(cocoons, np.full(COCOON_STEPS, 1 / COCOON_STEPS))
    steps = [COCOON_STEPS, HATCHLING_STEPS, JUVENILE_STEPS, ADULTS - SUB_ADULTS, 1]
    names = ("hatchling_kg", "juvenile_kg", "sub_adult_kg", "adult_kg")
    kg = np.repeat(np.array([0.0 * own["adult_kg"], *(own[name] for name in names)]), steps, axis=0).T
    food, ceiling = among.food_kg.copy(), own["ceiling_kg"][:, None]
    for t in range(shared["laid"].shape[1]):
        day = {name: part[:, t, None] for name, part in shared.items()}
        mass = (n * kg[:, None]).sum(axis=2)
        hunger, crowd = day["appetite"] * mass, mass / ceiling
        food += day["food"] * among.feeding
        fed = np.divide(food, food + hunger * ENOUGH_DAYS, out=np.ones_like(food), where=hunger > 0)
        lost = STARVED_PER_DAY * np.maximum(0, 1 - 4 * fed) + CROWDED_OUT_PER_DAY * np.maximum(0, crowd - 1)
        n[..., ADULTS] -= rng.binomial(n[..., ADULTS], -np.expm1(-day["adult_death"] - lost))
        young = n[..., COCOON_STEPS:ADULTS]
        young -= rng.binomial(young, -np.expm1(-day["young_death"] - lost)[..., None])
        eggs = n[..., :COCOON_STEPS]
        eggs -= rng.binomial(eggs, np.broadcast_to(-np.expm1(-day["cocoon_death"]), (trials, bins))[..., None])
        grow = day["young_pace"] * fed * (1 - (1 - CROWDED_GROWTH) * np.minimum(1, crowd))
        pace = np.stack([np.broadcast_to(day["cocoon_pace"], grow.shape), grow], axis=2)
        moved = rng.binomial(n[..., :ADULTS], -np.expm1(-np.repeat(pace, [COCOON_STEPS, YOUNG_STEPS], axis=2)))
        adults = n[..., ADULTS].copy()
        n[..., :ADULTS] -= moved
        n[..., 1:] += moved
        viable = rng.binomial(moved[..., COCOON_STEPS - 1], day["viable"])
        more = rng.poisson(viable * (own["hatchlings"][:, None] - 1))
        n[..., COCOON_STEPS] += viable + more - moved[..., COCOON_STEPS - 1]
        n[..., 0] += rng.poisson(
            day["laid"] * among.laying * np.where(adults > 1, adults, 0) * fed * np.maximum(0, 1 - crowd)
        )
        food = (food - np.minimum(hunger * fed, food)) * (1 - day["rot"])
    edges = [0, COCOON_STEPS, JUVENILES, SUB_ADULTS, ADULTS]
    return np.asarray(np.add.reduceat(n, edges, axis=2))


def shown(done: float) -> None:
    """Progress, apart from the table."""
    print(f"\r{done:4.0%}", end="" if done < 1 else "\n", file=sys.stderr, flush=True)


def main() -> None:
    print(f"{TRIALS:,} trials of a year, {2 * BINS} bins each, {nb.get_num_threads()} threads, Python",
          f"{platform.python_version()}, numpy {version('numpy')}, numba {version('numba')}\n")  # fmt: skip
    start = time.perf_counter()
    here, rule = scene(), Rule(2.0, (YEAR_D,))
    print(f"The bedding, {DRAWS} draws of a year: {time.perf_counter() - start:.1f} s (with compiling).\n")
    simulate(here, BINS, 2, rule.days)  # compiles
    in_numpy(here, 2, 1)
    start = time.perf_counter()
    numbers = simulate(here, BINS, TRIALS, rule.days, progress=shown)
    told = chances(numbers, rule)
    ours = time.perf_counter() - start
    start = time.perf_counter()
    beside = in_numpy(here, NUMPY_TRIALS, 2)
    chances(beside, rule)
    theirs = (time.perf_counter() - start) * TRIALS / NUMPY_TRIALS
    print("| method | s for all | times ours | timed over | worms counted at the end: 5, 50, 95 % |")
    print("|---|---|---|---|---|")
    for name, taken, over, found in (
        ("underlid", ours, f"{TRIALS:,} trials", numbers),
        ("NumPy, daily chain of binomials, one core", theirs, f"{NUMPY_TRIALS} trials, scaled", beside),
    ):
        low, middle, high = np.percentile(found, [5, 50, 95])
        print(f"| {name} | {taken:.1f} | {taken / ours:.2g} | {over} | {low:,.0f}, {middle:,.0f}, {high:,.0f} |")
    print(f"\nIf the change does nothing, {BINS} bins in each arm show it within a margin of {rule.margin:g} times",
          f"with a chance of {told.holds:.1%} (± {told.holds_se:.1%}).")  # fmt: skip
    print(f"\n| goal | measured | met |\n|---|---|---|\n| {TRIALS:,} trials: {GOAL_S:g} s | {ours:.1f} s | "
          f"{'yes' if ours <= GOAL_S else 'no'} |")  # fmt: skip


if __name__ == "__main__":
    main()
