"""Simulate trials whose truth is known, from the keeper's words to the verdict, and count how often it is wrong.

Every trial: bins of one kind in one place, lived day by day by the life cycle, each with its own founders, laying and
food; one arm then keeps all animals, half of them or a quarter, each kept or not by itself, so that the true ratio is
known exactly whatever the life cycle makes of a change. The keeper sorts every bin at each look and writes exact
counts, ranges and “about”. The words are parsed and judged as any journal is. Writes a section of docs/calibration.md.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from itertools import count

import numpy as np
from labour import asked, workers
from numpy.typing import NDArray
from sections import PAGE, TRIALS, lay_into

from underlid.demo import trial as demo
from underlid.entry import parse_line
from underlid.quantity.amount import NINETY
from underlid.records import AnyEntry, Bin
from underlid.trials.judged import standard_error
from underlid.trials.plan import ArmName, Plan
from underlid.trials.simulated import simulate
from underlid.trials.verdict import FAILS, HOLDS, Verdict, verdict

MARGIN = 2.0
SHARES = {"nothing": 1.0, "as much as the margin": 1 / MARGIN, "twice the margin": 1 / MARGIN**2}  # of animals kept
SIZES = (1, 2, 4, 8)
LOOKS = {"one look": (180,), "three looks": (60, 120, 180)}
ALL_LOOKS = (60, 120, 180)
ABOUT = 0.10  # the half-width of what “about” means at these sizes, as the program takes it
ZONE = demo.TIMEZONE
REGISTERED, NOW = demo.START - timedelta(days=7), demo.START + timedelta(days=220)
HEAD = (
    "| counts | looks | bins in each arm | holds, at the margin, % | fails, nothing, % | fails, at the margin, % "
    "| holds, nothing, % | fails, twice the margin, % | 90 % range holds: nothing, at the margin, % |"
)
Key = tuple[str, str, str, int]  # how it is written, truth, looks, bins in each arm


def bins(many: int) -> dict[str, Bin]:
    """So many bins in each arm."""
    model = demo.make_bin(demo.BINS[0])
    return {name: replace(model, id=name, name=name) for arm in "cx" for i in range(many) for name in (f"{arm}{i}",)}


def plan_of(size: int, looks: tuple[int, ...]) -> Plan:
    arms: dict[str, ArmName] = {f"c{i}": "control" for i in range(size)}
    arms |= {f"x{i}": "changed" for i in range(size)}
    return Plan(
        name="calibration", claim="none", statement="The change makes no difference to worms beyond the margin.",
        control="as usual", changed="changed", outcome="worms", scale="ratio", unit="", margin=MARGIN,
        because="for this", founders=demo.FOUNDERS, starts=demo.START.date().isoformat(), looks=looks,
        arms=arms, seed=1,
    )  # fmt: skip


def spoken(many: int, vague: bool, rng: np.random.Generator) -> str:
    """A count in words: exact, or a range or “about” that is as right as it says."""
    kind = rng.choice(["exact", "range", "about"], p=[0.4, 0.3, 0.3]) if vague and many >= 10 else "exact"
    if kind == "range":
        below, above = rng.uniform(0.0, 0.3, 2)
        return f"{int(many * (1 - below))} to {int(np.ceil(many * (1 + above)))}"
    if kind == "about":
        return f"about {max(1, round(many * (1 + rng.normal(0, ABOUT / NINETY))))}"
    return str(many)


def written(numbers: NDArray[np.int64], vague: bool, rng: np.random.Generator, kept: dict[str, Bin]) -> dict[
    str, tuple[AnyEntry, ...]
]:  # fmt: skip
    """The entries of each bin; numbers are (arms, bins, looks)."""
    ids = count()
    entries = {}
    for name, record in kept.items():
        arm, number = "cx".index(name[0]), int(name[1:])
        lines: list[AnyEntry] = []
        for look, day in enumerate(ALL_LOOKS):
            at = demo.START + timedelta(days=day, hours=6)
            line = f"full sort: {spoken(int(numbers[arm, number, look]), vague, rng)} adults"
            lines += parse_line(line, bin=record, now=at, new_id=lambda: f"e{next(ids)}").records
        entries[name] = tuple(lines)
    return entries


def some_trials(task: tuple[int, int]) -> tuple[Counter[tuple[Key, str]], Counter[Key]]:
    """Words and how often the 90 % range held the truth, of one part of the trials."""
    seed, trials = task
    words: Counter[tuple[Key, str]] = Counter()
    held: Counter[Key] = Counter()
    most = max(SIZES)
    numbers = simulate(demo.scene(), most, trials, ALL_LOOKS, (1.0, 1.0), seed)
    rng = np.random.default_rng([seed, 7])
    kept = bins(most)
    for one in numbers:
        for truth, share in SHARES.items():
            told = one.copy()
            told[1] = rng.binomial(one[1], share)
            for vague in (False, True):
                entries = written(told, vague, rng, kept)
                for looks_name, looks in LOOKS.items():
                    for size in SIZES:
                        key = ("vague" if vague else "exact", truth, looks_name, size)
                        found = judged(plan_of(size, looks), kept, entries)
                        words[key, found.word] += 1
                        held[key] += holds_truth(found, share)
    return words, held


def judged(plan: Plan, kept: dict[str, Bin], entries: dict[str, tuple[AnyEntry, ...]]) -> Verdict:
    mine = {name: kept[name] for name in plan.arms}
    return verdict(plan, REGISTERED, mine, {name: entries[name] for name in mine}, (), NOW)


def holds_truth(found: Verdict, share: float) -> int:
    last = found.looks[-1] if found.looks else None
    if last is None or last.effect is None or last.effect.assumed_cv is not None:
        return 0
    low, high = last.effect.interval(0.9)
    return int(low <= np.log(share) <= high)


# --- the page --------------------------------------------------------------------------------------------


def report(words: Counter[tuple[Key, str]], held: Counter[Key], trials: int) -> str:
    """The section, in Markdown."""
    by_luck = 1.96 * float(np.sqrt(0.05 * 0.95 / trials))
    low, high = max(0.0, 100 * (0.05 - by_luck)), 100 * (0.05 + by_luck)

    def rate(key: Key, word: str) -> float:
        return words[key, word] / trials

    def cell(share: float) -> str:
        return f"{100 * share:.1f} ± {100 * standard_error(share, trials):.1f}"

    rows = []
    for how in ("exact", "vague"):
        for looks_name in LOOKS:
            for size in SIZES:
                none, at, twice = ((how, truth, looks_name, size) for truth in SHARES)
                rows.append(
                    f"| {how} | {looks_name} | {size} | {cell(rate(at, HOLDS))} | {cell(rate(none, FAILS))} | "
                    f"{cell(rate(at, FAILS))} | {100 * rate(none, HOLDS):.0f} | {100 * rate(twice, FAILS):.0f} | "
                    + (f"{100 * held[none] / trials:.1f}, {100 * held[at] / trials:.1f} |" if size > 1 else "none |")
                )
    worst_holds = max(rate((how, "as much as the margin", name, size), HOLDS) for how in ("exact", "vague")
                      for name in LOOKS for size in SIZES)  # fmt: skip
    worst_fails = max(rate((how, "nothing", name, size), FAILS) for how in ("exact", "vague")
                      for name in LOOKS for size in SIZES)  # fmt: skip
    return f"""{TRIALS}: how often is a verdict wrong?

Written by `tools/calibrate_trials.py`: {trials:,} simulated trials a row, of bins lived by the life cycle for 180 days
at 16 to 19 °C (61 to 66 °F), {demo.FOUNDERS} founders each, bins differing by chance and by 30 % in laying and in food.
One arm keeps all its animals, or each with a chance of a half (an effect as large as the margin of {MARGIN:g}) or of a
quarter, so that the true ratio is known. The keeper writes exact counts, or vague ones (a third ranges, a third
“about”); the words are parsed and judged as any journal is. “One look” is at the end; with three, the first two may
only say “fails”, at a fifth of its error rate. Vague words widen what decides, as all may err the same way.

Wrong is to say “holds” with an effect as large as the margin (at most 5 % is allowed), and “fails” without any. At
exactly the margin “fails” is right by a hair, and may come in 5 % too. A rate of 5 % shows as {low:.1f} to {high:.1f} %
19 times in 20. The worst of the wrong: “holds” at the margin {100 * worst_holds:.1f} %, “fails” without an effect
{100 * worst_fails:.1f} %.

{HEAD}
|---|---|---|---|---|---|---|---|---|
{chr(10).join(rows)}

With one bin in each arm no verdict is ever given. What this does not show: whether bins of a real keeper differ as the
simulated ones do; where they differ more, fewer trials decide, and where counts are far from log-normal the rates may
be off. Nor is it of use where the arms are not sorted alike: then the verdict is withheld.
"""


def main() -> int:
    arguments = asked(__doc__, "trials", 2000, PAGE).parse_args()
    begun = time.perf_counter()
    parts = max(2, arguments.trials // 100)
    tasks = [(1000 + part, len(each)) for part, each in enumerate(np.array_split(np.arange(arguments.trials), parts))]
    words: Counter[tuple[Key, str]] = Counter()
    held: Counter[Key] = Counter()
    done = 0
    with workers(arguments) as pool:
        for (more_words, more_held), (_, trials) in zip(pool.map(some_trials, tasks), tasks, strict=True):
            words, held, done = words + more_words, held + more_held, done + trials
            print(f"{done:5d} of {arguments.trials} trials, {time.perf_counter() - begun:.0f} s", flush=True)
    section = report(words, held, arguments.trials)
    lay_into(arguments.out, section)
    print(section)
    return 0


if __name__ == "__main__":
    sys.exit(main())
