"""Simulate journals of colonies whose truth is known, and see how it ranks among the lives the census draws.

Every journal: a bin of random size, started on a random day, under 150 to 330 days of real weather, for some made
warmer so that worms breed; a colony drawn from the prior, living in one draw of the bedding; a keeper who feeds, counts
samples and sees worms now and then, and writes vague words. The words go the whole way: parsed, tallied, fitted. Then
the truth is ranked among the lives fitted (simulation-based calibration; Talts and others 2018), and the 90 % ranges
are asked whether they hold it on days without a count. Writes the second section of docs/calibration.md.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path

import numpy as np
from calibrate import as_observed, random_bin, said_when
from colonies_page import AHEAD, FIGURE, MOMENTS, RANKS, TOLD, Outcome, ranks_figure, report
from invented_counts import Look, counted, in_words, looks, seen_truly
from labour import asked, workers
from numpy.typing import NDArray
from sections import PAGE, lay_into

from underlid.counting.parts import bedding_litres
from underlid.demo import winter as demo
from underlid.entry import parse_line
from underlid.fit import filter
from underlid.fit.census import census
from underlid.fit.colony import PARAMETERS, prior
from underlid.fit.colony import Prior as ColonyPrior
from underlid.fit.evidence import situation
from underlid.fit.study import FORECAST_DAYS, fit_case, lay_out, study
from underlid.fit.tally import Tally, tally
from underlid.quantity.amount import parse_amount
from underlid.records import STAGES, AnyEntry, Bin
from underlid.weather.series import lay_over
from underlid.worms.lifecycle import Lives

Ints = NDArray[np.int64]

DAYS = (75, 165)  # from the first founder to the present
WARMER_K, OF_WARMER = (0.0, 4.0, 8.0), (0.3, 0.35, 0.35)  # the place is cold all year, and worms hardly breed there
FOUNDERS = ("12", "about 20", "a couple of dozen", "30 or so", "50 to 80", "100 to 150", "at least 40", "not noted")
OCCASIONS = (1, 6)
NOTHING_BEFORE = 14  # days in which nobody looks


@dataclass(frozen=True, slots=True)
class Journal:
    """An invented journal and its truth.

    known : the colony's prior; said : the tally of the keeper's words, of which `numbers` are counts and `vague` vague
    z : (parameters,) the true standard normals; lives_in : the true draw of the bedding; life : as it was
    days : to the present; truths : colonies drawn until every sighting was true
    """

    known: ColonyPrior
    said: Tally
    z: NDArray[np.float64]
    lives_in: int
    life: Lives
    days: int
    warmer_k: float
    vague: int
    truths: int


def invent(seed: int, rng: np.random.Generator) -> Journal:
    days, warmer_k = int(rng.integers(DAYS[0], DAYS[1] + 1)), float(rng.choice(WARMER_K, p=OF_WARMER))
    begins = demo.START.replace(year=2025, month=1, day=1, hour=0) + timedelta(
        days=int(rng.integers(0, 365)), hours=int(rng.integers(8, 21))
    )
    now = begins + timedelta(days=days)
    year = demo.weather()
    year = replace(year, air_c=year.air_c + warmer_k)
    founders = str(rng.choice(FOUNDERS))
    record = replace(random_bin(begins, rng), founders=parse_amount(founders, expect="1"))
    fed = [entry for line in _feedings(begins, days, rng) for entry in _read(line, record, now)]
    seen = as_observed(lay_over(year, begins, now + timedelta(days=FORECAST_DAYS + 1)))
    case = lay_out(record, fed, seen, now, now + timedelta(days=AHEAD + 1), past=(year,))
    known = prior(study(case, fit_case(case, seed)))  # nothing was read: the bedding's draws are the prior's

    planned = _plan(record, begins, days, now, rng)
    shape = tally(_entries(planned, [["1"] * len(look.stages) for look in planned], record, now), case.time_utc)
    z, lives_in, life, found, truths = _truth(known, shape, seed, rng)
    words = [[in_words(n, rng) for n in found.get(i, [])] for i in range(len(planned))]
    said = tally(_entries(planned, words, record, now), case.time_utc)
    vague = sum(not word.isdigit() for line in words for word in line)
    return Journal(known, said, z, lives_in, life, days, warmer_k, vague, truths)


def simulate_journal(seed: int) -> Outcome:
    rng = np.random.default_rng([seed, 91])
    of = invent(seed, rng)
    begun = time.perf_counter()
    fitted = census(of.known, of.said, seed)
    seconds = time.perf_counter() - begun
    counted_on = set(of.said.rows.part_state.tolist())
    free = [day for day in range(NOTHING_BEFORE, of.days) if day not in counted_on]
    moments = dict(zip(MOMENTS, (int(rng.choice(free)), of.days, of.days + AHEAD), strict=True))
    chosen = rng.choice(len(fitted.z), RANKS, replace=False)
    rank = {name: int((fitted.z[chosen, i] < of.z[i]).sum()) for i, name in enumerate(PARAMETERS)}
    held, place, true, wide = {}, {}, {}, {}
    for moment, state in moments.items():
        told = fitted.on(state)
        for name in TOLD:
            key, here = f"{name}, {moment}", _number(fitted.lives, name, state)
            true[key] = int(_number(of.life, name, state)[0])
            rank[key] = _rank(here[chosen], true[key], rng)
            place[key] = (_rank(here, true[key], rng) + rng.random()) / (len(here) + 1)
            low, _, high = told[name]
            held[key], wide[key] = bool(low <= true[key] <= high), high - low
    spread = dict(zip(PARAMETERS, fitted.z.std(axis=0).tolist(), strict=True))
    return Outcome(
        seed, rank, held, place, true, wide, spread, fitted.effective, fitted.largest, fitted.trusted, seconds,
        of.days, of.warmer_k, len(of.said), len(of.said.rows.stage), of.vague, of.truths,
    )  # fmt: skip


def _feedings(begins: datetime, days: int, rng: np.random.Generator) -> list[str]:
    lines, day = [], 4
    while day < days:
        at = begins + timedelta(days=day)
        lines.append(f"{at:%Y-%m-%d %H:%M}: fed {rng.choice([80, 120, 200, 300])} g {rng.choice(demo.FOODS)}")
        day += int(rng.integers(8, 25))
    return lines


def _read(line: str, record: Bin, now: datetime, first: int = 0) -> Sequence[AnyEntry]:
    numbers = count(first)
    return parse_line(line, bin=record, now=now, new_id=lambda: str(next(numbers))).records


def _plan(record: Bin, begins: datetime, days: int, now: datetime, rng: np.random.Generator) -> list[Look]:
    """When and where the keeper looks; decided before anything lives."""
    on = np.sort(rng.choice(np.arange(NOTHING_BEFORE, days - 1), size=int(rng.integers(*OCCASIONS)), replace=False))
    when = [said_when((begins + timedelta(days=int(day))).replace(hour=int(rng.integers(8, 22))), rng) for day in on]
    when = [words for words in dict.fromkeys(when) if _reads(words, record, now)]
    return list(looks(when, bedding_litres(record, situation(record).vessel).high, rng))


def _reads(when: str, record: Bin, now: datetime) -> bool:
    try:
        return bool(_read(f"{when}: saw 1 worm", record, now))
    except ValueError:
        return False


def _entries(planned: list[Look], words: list[list[str]], record: Bin, now: datetime) -> list[AnyEntry]:
    """The records of all lines, each with the number of its line as its id."""
    return [
        entry
        for i, (look, said) in enumerate(zip(planned, words, strict=True))
        for entry in _read(look.line(said), record, now, i)
    ]


def _truth(
    known: ColonyPrior, shape: Tally, seed: int, rng: np.random.Generator
) -> tuple[NDArray[np.float64], int, Lives, dict[int, list[int]], int]:
    """A colony in which every sighting planned can be made, what its samples hold by line, and how many it took.

    Colonies in which a sighting would be a lie are drawn anew as a whole: then the words are as probable as the fit
    has it, which silence of a keeper who sees too few would not be.
    """
    nothing, rows = tally((), known.study.case.time_utc).rows, shape.rows
    states = len(known.study.case.time_utc) // 24 + 1
    for number in count():
        z, where = rng.standard_normal((1, known.size)), rng.integers(known.draws, size=1)
        is_so = known.possible(z, where, shape)
        life = Lives(
            *filter.lives(
                nothing, is_so.looking, is_so.course, is_so.colony, 1_000_000 + seed, np.array([number]),
                np.zeros(1, np.int64), 1, states,
            )
        )  # fmt: skip
        days = [rng.choice(rows.part_state[rows.part_occasion == o]) for o in range(len(shape))]
        if all(seen_truly(rows, o, life.stages[0, day], rng) for o, day in enumerate(days)):
            break
    found: dict[int, list[int]] = {}
    for o, day in enumerate(days):
        samples = range(rows.samples[o], rows.samples[o + 1])
        if samples:
            held = counted(rows, o, is_so.looking, life.stages[0, day], rng)
            found |= {int(entry.id): counts for entry, counts in zip(shape.used[o], held, strict=True)}
    return z[0], int(where[0]), life, found, number + 1


def _number(lives: Lives, name: str, state: int) -> Ints:
    here = lives.stages[:, state]
    return np.asarray(here[:, 1:].sum(axis=1) if name == "worms" else here[:, STAGES.index(name)])


def _rank(draws: Ints, truth: int, rng: np.random.Generator) -> int:
    """How many draws are below the truth; those that equal it are so by lot, all as one with it."""
    return int((draws < truth).sum() + rng.integers(0, (draws == truth).sum() + 1))


def main() -> int:
    parser = asked(__doc__, "journals", 200, PAGE)
    parser.add_argument(
        "--kept", type=Path, help="a file of outcomes: those in it are not run again, new ones go there"
    )
    arguments = parser.parse_args()
    begun = time.perf_counter()
    outcomes = [Outcome(**json.loads(line)) for line in arguments.kept.open()] if _is(arguments.kept) else []
    wanted = sorted(set(range(1, arguments.journals + 1)) - {outcome.seed for outcome in outcomes})
    if wanted:
        simulate_journal(0)  # compile once, before the workers start
        with workers(arguments) as pool:
            for outcome in pool.map(simulate_journal, wanted):
                outcomes.append(outcome)
                if arguments.kept:
                    with arguments.kept.open("a") as kept:
                        kept.write(json.dumps(asdict(outcome)) + "\n")
                print(
                    f"{len(outcomes):4d} of {arguments.journals} journals, {time.perf_counter() - begun:.0f} s",
                    flush=True,
                )
    outcomes.sort(key=lambda outcome: outcome.seed)
    text = report(outcomes)
    figure = arguments.out.parent / FIGURE
    figure.parent.mkdir(exist_ok=True)
    figure.write_text(ranks_figure(outcomes), encoding="utf-8")
    lay_into(arguments.out, text)
    print(text)
    return 0


def _is(path: Path | None) -> bool:
    return path is not None and path.exists()


if __name__ == "__main__":
    sys.exit(main())
