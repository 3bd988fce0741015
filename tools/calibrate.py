"""Simulate journals whose truth is known and count how often the stated 90 % ranges hold it.

Every journal: a bin of random size, parameters drawn from the prior, forty days of real weather beginning
on a random day, mostly of the cold half-year and for some made colder, a keeper who looks in now and then and writes
vague words. The truth is stepped in the full field on a finer grid than the fit's. The words go the whole way:
parsed, laid out as evidence, fitted, run through the outlook. Then the bedding's true temperature at the
hours without a reading is compared with the range. Writes docs/calibration.md.
"""

from __future__ import annotations

import sys
import time
import uuid
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from labour import asked, workers
from sections import PAGE, lay_into

from underlid.demo import winter as demo
from underlid.entry import parse_line
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.outlook import PLACES, stray
from underlid.fit.posterior import PARAMETERS, Prior
from underlid.fit.study import fit_case, lay_out, study
from underlid.heat.model import simulate, standard_probes
from underlid.quantity.amount import parse_size
from underlid.quantity.when import parse_when
from underlid.records import AnyEntry, Bin, Reading
from underlid.weather.series import HOUR_S, Weather, lay_over

DAYS = 40
TRUE_GRID = (6, 5, 9)  # finer than the fit's: what a coarse grid costs is part of what is tested
COLD_SHARE = 0.7  # of the journals begin from November to mid February
COLDER_K = (0.0, -3.0, -6.0)  # how much colder than the typical year a cold journal is made


@dataclass(frozen=True, slots=True)
class Outcome:
    """One journal: share of unlogged hours inside the range, per place, and what kind of journal it was."""

    covered: dict[str, float]
    covered_in_frost: float
    frost_hours: int
    covered_in_ice: float
    ice_hours: int
    moisture_covered: float
    hours: int
    width_k: float
    readings: int
    trusted: bool
    parameter_held: dict[str, bool]


def simulate_journal(seed: int) -> Outcome:
    rng = np.random.default_rng([seed, 90])
    year = demo.weather()
    cold = rng.random() < COLD_SHARE
    day = int(rng.integers(304, 304 + 110)) if cold else int(rng.integers(0, 364))
    begins = demo.START.replace(year=2025, month=1, day=1) + timedelta(days=day, hours=12)
    ends = begins + timedelta(days=DAYS)
    laid = lay_over(year, begins, ends + timedelta(hours=1))
    laid = replace(laid, air_c=laid.air_c + (float(rng.choice(COLDER_K)) if cold else 0.0))
    record = random_bin(begins, rng)

    # The truth: a draw from the prior, and a slow straying of every spot.
    blank = lay_out(record, (), as_observed(laid), ends, ends)
    prior: Prior = blank.prior
    parameters = prior.parameters(rng.standard_normal((1, len(PARAMETERS))))
    probes = list(standard_probes(blank.situation.vessel).values())
    bedding = simulate(
        blank.situation.vessel, prior.thermal(parameters), blank.drive, probes, grid=TRUE_GRID, full=True
    )
    thermometer = prior.thermometer(parameters)
    strays = stray(np.full(3, parameters["scatter"][0]), len(blank.time_utc), rng)
    true_c = bedding.probes_c[0].T + strays

    entries: list[AnyEntry] = []
    for hour in np.sort(
        rng.choice(np.arange(24, len(blank.time_utc) - 1), size=int(rng.integers(6, 22)), replace=False)
    ):
        at = begins + timedelta(seconds=int(blank.time_utc[hour]) - begins.timestamp())
        spot = int(rng.integers(0, 3))
        shown = thermometer.shown(true_c[spot, [hour]], blank.drive.air_c[hour])[0] + rng.normal(0, INSTRUMENT_K)
        line = f"{said_when(at.astimezone(demo.TIMEZONE), rng)}: {PLACES[spot]} {demo.spoken(float(shown), rng)}"
        entries += parse_line(line, bin=record, now=ends, new_id=lambda: str(uuid.uuid4())).records

    case = lay_out(record, entries, as_observed(laid), ends, ends)
    posterior = fit_case(case, seed)
    told = study(case, posterior).outlook
    logged = {round((e.when.start.timestamp() - case.time_utc[0]) / HOUR_S) for e in entries if isinstance(e, Reading)}
    unlogged = np.array([h for h in range(24, len(case.time_utc)) if h not in logged])
    inside = {}
    for i, place in enumerate(PLACES):
        band = told.bedding_c[place][unlogged]
        inside[place] = (true_c[i, unlogged] >= band[:, 0]) & (true_c[i, unlogged] <= band[:, 2])
    frost = case.drive.air_c[unlogged] < 0
    ice = bedding.frozen[0, unlogged] > 0.01
    wet = 100 * bedding.moisture[0, unlogged]
    told_wet = 100 * told.moisture[unlogged]
    middle = told.bedding_c["middle"][unlogged]
    return Outcome(
        {place: float(hit.mean()) for place, hit in inside.items()},
        float(inside["middle"][frost].mean()) if frost.any() else np.nan,
        int(frost.sum()),
        float(np.mean([hit[ice].mean() for hit in inside.values()])) if ice.any() else np.nan, int(ice.sum()),
        float(((wet >= told_wet[:, 0]) & (wet <= told_wet[:, 2])).mean()),
        len(unlogged), float((middle[:, 2] - middle[:, 0]).mean()), len(case.evidence),
        posterior.trusted,
        {n: bool(posterior.range_of(n)[0] <= parameters[n][0] <= posterior.range_of(n)[2]) for n in PARAMETERS},
    )  # fmt: skip


def random_bin(begins: datetime, rng: np.random.Generator) -> Bin:
    record = demo.make_bin(demo.BINS[int(rng.integers(len(demo.BINS)))])
    size = parse_size(f"{rng.integers(30, 70)} x {rng.integers(22, 45)} x {rng.integers(25, 40)} cm")
    started = parse_when(begins.isoformat(), now=begins + timedelta(days=1), tz=demo.TIMEZONE)
    return replace(record, length=size.length, width=size.width, height=size.height, started=started)


def as_observed(laid: Weather) -> Weather:
    """The laid-over year taken as the weather of those dates."""
    return replace(laid, typical=False)


def said_when(at: datetime, rng: np.random.Generator) -> str:
    """The date in the keeper's words: mostly with the hour, sometimes only the day or the part of the month."""
    kind = rng.choice(["hour", "day", "part"], p=[0.65, 0.3, 0.05])
    if kind == "hour":
        return f"{at:%Y-%m-%d %H:%M}"
    if kind == "day":
        return f"{at:%Y-%m-%d}"
    return f"{'early' if at.day <= 10 else 'mid' if at.day <= 20 else 'late'} {at:%B %Y}"


def report(outcomes: list[Outcome]) -> str:
    rows = []
    for place in PLACES:
        shares = np.array([outcome.covered[place] for outcome in outcomes])
        rows.append(f"| {place} | {shares.mean():.1%} | ±{1.96 * shares.std(ddof=1) / np.sqrt(len(shares)):.1%} |")
    frosty = [(o.covered_in_frost, o.frost_hours) for o in outcomes if o.frost_hours]
    in_frost = sum(share * hours for share, hours in frosty) / sum(hours for _, hours in frosty)
    icy = [(o.covered_in_ice, o.ice_hours) for o in outcomes if o.ice_hours]
    in_ice = sum(share * hours for share, hours in icy) / sum(hours for _, hours in icy)
    few = np.mean([o.covered["middle"] for o in outcomes if o.readings < 12])
    many = np.mean([o.covered["middle"] for o in outcomes if o.readings >= 12])
    held = ", ".join(f"{name} {np.mean([o.parameter_held[name] for o in outcomes]):.0%}" for name in PARAMETERS)
    return f"""# Calibration: do the ranges hold what they promise?

Written by `make calibration`. {len(outcomes)} invented journals of {DAYS} days, each with its own bin, its own truth
drawn from the prior, real weather beginning on a random day ({COLD_SHARE:.0%} of them in the cold half-year, as it
was or {-COLDER_K[1]:.0f} or {-COLDER_K[2]:.0f} K colder), and {min(o.readings for o in outcomes)} to
{max(o.readings for o in outcomes)} readings in vague words at vague times. The truth is stepped in the full field on a
finer grid ({TRUE_GRID[0]} x {TRUE_GRID[1]} x {TRUE_GRID[2]} cells) than the fit's. The words are parsed, fitted and run
through the outlook; then the true temperature of the bedding at the hours *without* a reading is compared with the
90 % range. A well-calibrated range holds it in 90 % of those hours; we accept 85 to 95 %.

| place | hours in which the 90 % range holds the truth | 95 % uncertainty of that share |
|---|---|---|
{chr(10).join(rows)}

- Hours when the air was below 0 °C, middle of the bedding: {in_frost:.1%} (over {len(frosty)} journals with frost).
- Hours with more than a hundredth of the bedding's water frozen, all three places: {in_ice:.1%} (over
  {sum(hours for _, hours in icy)} such hours in {len(icy)} journals).
- Moisture, of which the keeper says nothing after the start: {np.mean([o.moisture_covered for o in outcomes]):.1%}.
- Journals with fewer than 12 readings: {few:.1%}; with 12 or more: {many:.1%} (middle).
- Mean width of the 90 % range of the middle: {np.mean([o.width_k for o in outcomes]):.2f} K.
- Journals in which the 90 % range of a parameter holds its true value: {held}.
- Fits that had settled (enough effective sets behind their draws): {np.mean([o.trusted for o in outcomes]):.0%}; the
  others are counted above all the same.

Each of these shares is itself known to about 5 points.

What this does not show: the truth here comes from the same equations as the fit, if on a finer grid, so it tests the
inference and the reading of vague words, not whether the model is right about a real bin. And it looks at the hours up
to the present only: how wide a forecast's range should be is our judgement, not tested here.
"""


def main() -> int:
    arguments = asked(__doc__, "journals", 60, PAGE).parse_args()
    begun = time.perf_counter()
    outcomes: list[Outcome] = []
    simulate_journal(0)  # compile once, before the workers start
    with workers(arguments) as pool:
        for outcome in pool.map(simulate_journal, range(1, arguments.journals + 1)):
            outcomes.append(outcome)
            covered = np.mean([o.covered["middle"] for o in outcomes])
            print(
                f"{len(outcomes):4d} of {arguments.journals} journals, middle covered {covered:.1%}, "
                f"{time.perf_counter() - begun:.0f} s",
                flush=True,
            )
    text = report(outcomes)
    lay_into(arguments.out, text)
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
