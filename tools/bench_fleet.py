"""How a fleet scales: bins invented one by one, each read for a year, fitted quickly and run a week ahead.

Every bin comes from its number alone: its size, bedding, start, truth, feedings and some forty vague readings in words,
which go through the parser and are laid out as in a journal. The weather is a real typical year shifted by a random
number of days. The truth is drawn from the prior and stepped on a finer grid than the fit's; then the true temperature
of the bedding in the two weeks around the present, before and after, is compared with the 90 % ranges. Nothing is held
but a few numbers a bin. Writes docs/fleet.md after each size. A line of each bin is kept in --rows as it is done: given
again, the same command goes on after the last, unless the source has changed meanwhile.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import sys
import time
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from itertools import count, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

os.environ.setdefault("NUMBA_NUM_THREADS", "1")  # one bin a process is faster than one set a thread
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads would only wait for each other

import numpy as np
from calibrate import as_observed, random_bin, said_when

from underlid.demo import winter as demo
from underlid.entry import parse_line
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.outlook import PLACES, stray
from underlid.fit.posterior import PARAMETERS
from underlid.fit.quick import quick_fit_case, quick_study
from underlid.fit.study import Case, fit_case, lay_out, model_text, study
from underlid.fleet import to_keep
from underlid.heat.model import simulate, standard_probes
from underlid.journal.memory import remember
from underlid.records import AnyEntry
from underlid.spread import workers
from underlid.weather.series import Weather, lay_over

DAYS, AHEAD = 365, 7
TRUE_GRID = (5, 4, 7)  # finer than either fit's: what a coarse grid costs is part of what is tested
FEEDINGS, READINGS = 45, 40  # in the year
MILLION, PRICE_USD = 1_000_000, 0.05  # bins reckoned on paper; a core-hour, an assumption
BESIDE_DAYS, BESIDE_READINGS = 60, 14  # of the bins that are fitted in full too, which takes long


@cache
def year() -> Weather:
    """The typical year, read once a process."""
    return demo.weather()


@dataclass(frozen=True, slots=True)
class Invented:
    """A bin as its keeper knows it, and the truth about it: (3 places, hours) [degC]."""

    case: Case
    true_c: np.ndarray


def invent(number: int, days: int = DAYS, readings: int = READINGS) -> Invented:
    """Bin `number` with its year: the same number gives the same bin in any process."""
    rng = np.random.default_rng([number, 365])
    begins = demo.START.replace(year=2024, month=1, day=1) + timedelta(days=int(rng.integers(0, 366)), hours=12)
    now = begins + timedelta(days=days)
    until = now + timedelta(days=AHEAD)
    shift = timedelta(days=int(rng.integers(-20, 21)))
    laid = as_observed(lay_over(year(), begins + shift, until + shift + timedelta(hours=1)))
    laid = replace(laid, time_utc=laid.time_utc - int(shift.total_seconds()))
    record = random_bin(begins, rng)
    ids = count()

    def entered(line: str) -> tuple[AnyEntry, ...]:
        return tuple(parse_line(line, bin=record, now=now, new_id=lambda: f"{number}-{next(ids)}").records)

    fed: list[AnyEntry] = []
    for day in np.sort(rng.choice(np.arange(1, days), size=FEEDINGS * days // DAYS, replace=False)):
        at = (begins + timedelta(days=int(day))).astimezone(demo.TIMEZONE)
        fed += entered(f"{at:%Y-%m-%d %H:%M}: fed {10 * rng.integers(5, 40)} g {rng.choice(demo.FOODS)}")
    blank = lay_out(record, fed, laid, now, until)
    parameters = blank.prior.parameters(rng.standard_normal((1, len(PARAMETERS))))
    vessel, hours = blank.situation.vessel, len(blank.time_utc)
    bedding = simulate(
        vessel,
        blank.prior.thermal(parameters),
        blank.drive,
        list(standard_probes(vessel).values()),
        grid=TRUE_GRID,
        full=True,
    )
    true_c = bedding.probes_c[0].T + stray(np.full(3, parameters["scatter"][0]), hours, rng)
    entries = list(fed)
    for hour in np.sort(rng.choice(np.arange(24, blank.now_index), size=readings, replace=False)):
        at = datetime.fromtimestamp(int(blank.time_utc[hour]), demo.TIMEZONE)
        spot = int(rng.integers(0, 3))
        shown = blank.prior.thermometer(parameters).shown(true_c[spot, [hour]], blank.drive.air_c[hour])[0]
        words = demo.spoken(float(shown + rng.normal(0, INSTRUMENT_K)), rng)
        entries += entered(f"{said_when(at, rng)}: {PLACES[spot]} {words}")
    return Invented(lay_out(record, entries, laid, now, until), true_c)


@dataclass(frozen=True, slots=True)
class Row:
    """What one bin came to: seconds of processor time, how good the quick fit was, and whether ranges held."""

    number: int
    invent_s: float
    fit_s: float
    outlook_s: float
    effective: float
    settled: bool
    sets: int
    held_before: float
    held_ahead: float
    held_usual: float  # of the full fit, if that was made too; else NaN
    off_k: float  # between the medians of quick and full fit
    width_k: float
    width_usual_k: float
    digest: str


def look(number: int, full: bool = False) -> Row:
    """Invent, fit and look ahead at one bin."""
    spent = [time.process_time()]
    invented = invent(number, BESIDE_DAYS, BESIDE_READINGS) if full else invent(number)
    spent.append(time.process_time())
    posterior = quick_fit_case(invented.case, number)
    spent.append(time.process_time())
    told = quick_study(invented.case, posterior).outlook
    spent.append(time.process_time())
    begin = len(invented.case.time_utc) - len(told.time_utc)
    now = told.now_index + 1
    held = np.array([_held(told.bedding_c[place], invented.true_c[i, begin:]) for i, place in enumerate(PLACES)])
    digest = hashlib.sha256()
    for name in sorted(posterior.draws):
        digest.update(posterior.draws[name].tobytes())
    for place in PLACES:
        digest.update(told.bedding_c[place].tobytes())
    usual, off, width = np.nan, np.nan, np.nan
    if full:
        other = study(invented.case, fit_case(invented.case, number)).outlook
        mine, theirs = told.bedding_c["middle"][:now], other.bedding_c["middle"][begin : begin + now]
        off = float(np.abs(mine[:, 1] - theirs[:, 1]).mean())
        width = float((theirs[:, 2] - theirs[:, 0]).mean())
        usual = float(
            np.mean([
                _held(other.bedding_c[p][begin : begin + now], invented.true_c[i, begin : begin + now]).mean()
                for i, p in enumerate(PLACES)
            ])
        )  # fmt: skip
    middle = told.bedding_c["middle"][:now]
    invent_s, fit_s, outlook_s = (after - before for before, after in pairwise(spent))
    return Row(
        number, invent_s, fit_s, outlook_s, posterior.effective, posterior.trusted, posterior.sets,
        float(held[:, :now].mean()), float(held[:, now:].mean()), usual, off,
        float((middle[:, 2] - middle[:, 0]).mean()), width, digest.hexdigest(),
    )  # fmt: skip


def look_fully(number: int) -> Row:
    """The same, beside a full fit."""
    return look(number, full=True)


def _held(band: np.ndarray, true_c: np.ndarray) -> np.ndarray:
    return (true_c >= band[:, 0]) & (true_c <= band[:, 2])


@dataclass(slots=True)
class Run:
    """One size on so many workers: sums over its bins, kept as they come."""

    bins: int
    workers: int
    seconds: float = 0.0
    invent_s: float = 0.0
    fit_s: float = 0.0
    outlook_s: float = 0.0
    settled: float = 0.0
    effective: float = 0.0
    sets: float = 0.0
    held_before: float = 0.0
    held_ahead: float = 0.0
    memory_mb: float = 0.0
    workers_mb: float = 0.0
    digest: str = ""

    @property
    def each_s(self) -> float:
        """Processor time a bin."""
        return self.invent_s + self.fit_s + self.outlook_s

    @property
    def busy(self) -> float:
        """Share of the processes' time that was processor time."""
        return self.each_s * self.bins / (self.seconds * self.workers)


def measure(bins: int, count: int, rows: Path) -> Run:
    """Do so many bins, or those of them that an interrupted run has not done, keeping a line of each in `rows`.

    A run that was finished is read and not done again; it ends with a line of what its memory was.
    """
    kept = rows / f"{bins}-{count}-{made_by()}.jsonl"
    found = _complete_lines(kept)
    if found and "run" in found[-1]:
        return Run(**found[-1]["run"])
    run, digest, resumed = Run(bins, count), hashlib.sha256(), len(found)
    for done, line in enumerate(found, start=1):
        run.seconds = line.pop("seconds")
        _count_in(run, Row(**line), done, digest)
    before_s, begun = run.seconds, time.perf_counter()
    every = max(1, bins // 100)
    with kept.open("a", encoding="utf-8") as file, workers(count) as pool:
        # A range has a length and holds nothing: bins come from their numbers.
        for done, row in enumerate(pool.map(look, range(resumed, bins)), start=resumed + 1):
            _count_in(run, row, done, digest)
            since_s = time.perf_counter() - begun
            run.seconds = before_s + since_s
            file.write(json.dumps({**asdict(row), "seconds": run.seconds}) + "\n")
            file.flush()
            if done % every == 0 or done == bins:
                left_min = since_s / (done - resumed) * (bins - done) / 60
                print(
                    f"{done:,} of {bins:,} bins on {count}: {run.seconds:.0f} s, some {left_min:.1f} min left",
                    flush=True,
                )
    run.digest = digest.hexdigest()
    run.memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    run.workers_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    with kept.open("a", encoding="utf-8") as file:
        file.write(json.dumps({"run": asdict(run)}) + "\n")
    return run


def _count_in(run: Run, row: Row, done: int, digest: hashlib._Hash) -> None:
    """Bring the means of a run up to one more bin, the `done`-th."""
    digest.update(row.digest.encode())
    for name in ("invent_s", "fit_s", "outlook_s", "settled", "effective", "sets", "held_before", "held_ahead"):
        setattr(run, name, getattr(run, name) + (getattr(row, name) - getattr(run, name)) / done)


def _complete_lines(kept: Path) -> list[dict[str, Any]]:
    """What a run has left; a last line that was cut off is taken out of the file."""
    if not kept.exists():
        return []
    whole = kept.read_bytes()
    whole = whole[: whole.rfind(b"\n") + 1]
    kept.write_bytes(whole)
    return [json.loads(line) for line in whole.splitlines()]


def made_by() -> str:
    """A short digest of the source that rows come from: those of another are not gone on with."""
    science = ("bedding", "heat", "fit", "entry", "quantity", "weather", "worms")
    text = Path(__file__).read_bytes() + model_text(tuple((package, None) for package in science))
    return hashlib.sha256(text).hexdigest()[:8]


def kept_in_kb(number: int = 0) -> float:
    """What a journal's memory takes for one bin."""
    with TemporaryDirectory() as folder:
        remember(Path(folder), "one", *to_keep(quick_fit_case(invent(number).case, number)))
        return sum(path.stat().st_size for path in Path(folder).rglob("*.npz")) / 1000


def report(runs: list[Run], beside: list[Row], kept_kb: float) -> str:
    table = "\n".join(
        f"| {run.bins:,} | {run.workers} | {run.seconds:,.0f} | {1000 * run.seconds * run.workers / run.bins:.0f} | "
        f"{run.fit_s:.2f} | {run.outlook_s:.3f} | {run.busy:.0%} | {run.memory_mb:.0f} | "
        f"{'–' if run.workers == 1 else f'{run.workers_mb:.0f}'} |"
        for run in runs
    )
    last = runs[-1]
    per_bin_s = last.fit_s + last.outlook_s
    core_hours = per_bin_s * MILLION / 3600
    return f"""# A fleet of bins: what it costs and how good it is

Written by `tools/bench_fleet.py`. Every bin is invented from its number: its size and bedding, a year from a random
day, {FEEDINGS} feedings and {READINGS} vague readings whose words go through the parser, a real typical year shifted by
up to twenty days, a truth drawn from the prior and stepped on a finer grid
({TRUE_GRID[0]} x {TRUE_GRID[1]} x {TRUE_GRID[2]} cells) than the quick fit's. Then it is fitted quickly and looked at
{AHEAD} days ahead, with the true weather as forecast, as `underlid fleet` does.

| bins | processes | seconds | ms of a core a bin | fit, s a bin | outlook, s | busy | memory, MB | largest worker, MB |
|---|---|---|---|---|---|---|---|---|
{table}

Seconds and milliseconds hold the inventing of the bin and its truth, {last.invent_s:.2f} s a bin, which a real fleet
does not need. Fit and outlook are processor time. Busy is the share of the processes' time in which they had a
processor: the rest is handing out and waiting, also for other work where the machine did some.

- {_growth(runs)}
- {_same(runs)}
- Fits that had settled: {last.settled:.0%}, with on average {last.effective:.0f} effective sets of {last.sets:.0f};
  `underlid fleet` says of the others that they should be fitted by themselves, or does so with `--careful`.
- Hours in which the 90 % range held the true temperature of the bedding, middle, edge and surface alike:
  {last.held_before:.1%} of the two weeks before the last reading and on to the present, {last.held_ahead:.1%} of the
  {AHEAD} days ahead. Bins that had not settled are counted too.
{_beside(beside)}
## A million bins, on paper

Not done; reckoned from the last row above, as if cost grew with the number of bins. A first look at 1,000,000 bins
needs some {core_hours:,.0f} core-hours, {core_hours / 100:,.1f} hours on a hundred cores. At {PRICE_USD} USD each,
which is an assumption and not a quoted price, that is {core_hours * PRICE_USD:,.0f} USD. Memory is that of the workers,
{max(last.workers_mb, last.memory_mb):.0f} MB each, however many bins there are, as no more than a few are under way.
What is remembered of a bin takes {kept_kb:.0f} kB, {kept_kb * MILLION / 1e6:,.0f} GB for all. Later looks fit only the
bins with new entries; the others cost their outlook alone, {last.outlook_s * MILLION / 3600:,.0f} core-hours for all.
Laying out a journal's bins is done by one process and not counted here; at a million it would have to be split.
"""


def _growth(runs: list[Run]) -> str:
    told = []
    for many in sorted({run.workers for run in runs}):
        ordered = sorted((run for run in runs if run.workers == many), key=lambda run: run.bins)
        least, most = ordered[0], ordered[-1]
        if least.bins != most.bins:
            told.append(
                f"on {many} by a factor of {most.each_s / least.each_s:.2f} (and the seconds on the clock by "
                f"{most.seconds / most.bins / (least.seconds / least.bins):.2f})"
            )
    if not told:
        return "Only one size was run: how the cost grows was not measured."
    sizes = sorted({run.bins for run in runs})
    return (
        f"From {sizes[0]:,} to {sizes[-1]:,} bins the processor time for each changed {', '.join(told)}; 1 would be "
        "growth in proportion."
    )


def _same(runs: list[Run]) -> str:
    by_size: dict[int, set[str]] = {}
    for run in runs:
        by_size.setdefault(run.bins, set()).add(run.digest)
    if len({run.workers for run in runs}) == 1:
        return "Only one number of processes was run: whether others give the same bytes was not tested here."
    alike = all(len(digests) == 1 for digests in by_size.values())
    found = "the same bytes" if alike else "NOT alike"
    return f"Draws and ranges of all bins, on different numbers of processes: {found}."


def _beside(rows: list[Row]) -> str:
    if not rows:
        return ""
    held, usual, off, most, width, width_usual = (
        np.mean([r.held_before for r in rows]), np.mean([r.held_usual for r in rows]), np.mean([r.off_k for r in rows]),
        max(r.off_k for r in rows), np.mean([r.width_k for r in rows]), np.mean([r.width_usual_k for r in rows]),
    )  # fmt: skip
    return f"""
## Beside full fits

{len(rows)} others, of {BESIDE_DAYS} days and {BESIDE_READINGS} readings, were fitted in full too, on a fuller grid.
In the weeks before the present the medians of the middle lie {off:.2f} K apart on average, {most:.2f} K at most in a
bin; the 90 % range is {width:.1f} K wide by the quick fit and {width_usual:.1f} K by the full one. The ranges held the
truth in {held:.1%} of the hours by the quick fit and in {usual:.1%} by the full one.
"""


def _besides(bins: int, count: int, rows: Path) -> list[Row]:
    """So many bins beside their full fits, some seven seconds of a core each; kept and gone on with as a run is."""
    kept = rows / f"beside-{made_by()}.jsonl"
    found = [Row(**line) for line in _complete_lines(kept)][:bins]
    if len(found) == bins:
        return found
    with kept.open("a", encoding="utf-8") as file, workers(count) as pool:
        for row in pool.map(look_fully, range(len(found), bins)):
            found.append(row)
            file.write(json.dumps(asdict(row)) + "\n")
            file.flush()
            print(f"{len(found)} of {bins} bins beside full fits", flush=True)
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--bins", default="1000,10000", help="sizes, with commas between")
    parser.add_argument("--workers", default="1,2", help="numbers of processes, with commas between")
    parser.add_argument("--beside", type=int, default=0, help="bins to fit in full too")
    parser.add_argument("--rows", type=Path, default=Path(".build/fleet-rows"), help="folder of rows as they come")
    parser.add_argument("--out", type=Path, default=Path("docs/fleet.md"))
    arguments = parser.parse_args()
    arguments.rows.mkdir(parents=True, exist_ok=True)
    sizes, counts = ([int(each) for each in words.split(",")] for words in (arguments.bins, arguments.workers))
    beside = _besides(arguments.beside, max(counts), arguments.rows)
    look(0)  # compile before the clock starts
    runs, kept_kb = [], kept_in_kb()
    for bins in sizes:
        for each in counts:
            runs.append(measure(bins, each, arguments.rows))
            arguments.out.write_text(report(runs, beside, kept_kb), encoding="utf-8")
    print(arguments.out.read_text("utf-8"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
