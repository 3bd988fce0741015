"""Simulate clubs whose truth is known and count how often the range over keepers holds it.

Every club: keepers whose own effects vary around the true mean by tau, each with so many bins in each arm, whose logs
scatter by the same CV. The mean, and what one more keeper truly would find, are compared with their ranges. Writes a
section of docs/calibration.md.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass

import numpy as np
from labour import asked, workers
from numpy.typing import NDArray
from sections import CLUBS, PAGE, lay_into

from underlid.trials.hierarchy import LOGS, Keeper, Prior, over_keepers
from underlid.trials.judged import standard_error
from underlid.trials.sizes import log_sd

KEEPERS, BINS, TAUS = (3, 5, 10), (1, 2, 3), (0.0, 0.25, 0.5, 1.0)
CVS = (0.3, 0.6)
LEVEL = 0.9
HEAD = "| bins vary by, % | bins in each arm | keepers | " + " | ".join(f"tau {tau:g}" for tau in TAUS) + " |"


@dataclass(frozen=True, slots=True)
class Club:
    """How many keepers with how many bins in each arm; how bins scatter and effects vary, None for as is assumed."""

    keepers: int
    bins: int
    cv: float | None = None
    tau: float | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """Shares of clubs whose range held the mean, and the next keeper's result; middle width of that of the mean."""

    mean: float
    next: float
    width: float


def spreads(club: Club, rng: np.random.Generator, prior: Prior = LOGS) -> tuple[float, float]:
    """Sigma and tau of one club."""
    sigma = prior.sigma * math.exp(prior.spread * rng.normal()) if club.cv is None else log_sd(club.cv)
    return sigma, abs(rng.normal(0, prior.tau)) if club.tau is None else club.tau


def simulated(keepers: int, bins: int, sigma: float, tau: float, effect: float, rng: np.random.Generator) -> list[
    Keeper
]:  # fmt: skip
    """What the keepers of a club find."""
    values = rng.normal(0.0, sigma, (2, keepers, bins))
    values[1] += rng.normal(effect, tau, keepers)[:, None]
    return [keeper_of(f"keeper {k}", values[0, k], values[1, k]) for k in range(keepers)]


def keeper_of(name: str, control: NDArray[np.float64], changed: NDArray[np.float64]) -> Keeper:
    """The statistics of exact values on the scale of the analysis."""
    squares = sum(float(((arm - arm.mean()) ** 2).sum()) for arm in (control, changed))
    bins = (len(control), len(changed))
    return Keeper(name, float(changed.mean() - control.mean()), bins, squares, sum(bins) - 2)


def held(club: Club, clubs: int, rng: np.random.Generator) -> Held:
    """How often the ranges hold, over so many clubs."""
    mean = after = 0
    widths = []
    tail = (1 - LEVEL) / 2
    for number in range(clubs):
        effect, (sigma, tau) = rng.normal(), spreads(club, rng)
        found = over_keepers(simulated(club.keepers, club.bins, sigma, tau, effect, rng))
        (following,) = simulated(1, club.bins, sigma, tau, effect, rng)
        mean += tail <= found.mean.cdf(effect) <= 1 - tail
        after += tail <= found.next_found.cdf(following.effect) <= 1 - tail
        if number % 5 == 0:  # the middle of widths is known well enough by fewer
            low, high = found.mean.interval(LEVEL)
            widths.append(high - low)
    return Held(mean / clubs, after / clubs, float(np.median(widths)))


def report(rows: dict[Club, Held], clubs: int) -> str:
    """The section, in Markdown."""
    table = []
    for cv in CVS:
        for bins in BINS:
            for keepers in KEEPERS:
                cells = [rows[Club(keepers, bins, cv, tau)] for tau in TAUS]
                said = " | ".join(
                    f"{100 * one.mean:.0f}, {100 * one.next:.0f} ({math.exp(one.width / 2):.2g})" for one in cells
                )
                table.append(f"| {100 * cv:.0f} | {bins} | {keepers} | {said} |")
    known = [one.mean for club, one in rows.items() if club.tau is None]
    usual = [one.mean for club, one in rows.items() if club.cv == CVS[0] and (club.tau or 0.0) <= LOGS.tau]
    worst = {tau: min(one.mean for club, one in rows.items() if club.tau == tau) for tau in TAUS}
    lowest = ", ".join(f"{100 * share:.0f} % at tau {tau:g}" for tau, share in worst.items())
    many, thrice = (rows[Club(keepers, bins, CVS[0], LOGS.tau)].width for keepers, bins in ((10, 1), (3, 3)))
    least, most = (100 * (LEVEL + sign * 1.96 * standard_error(LEVEL, clubs)) for sign in (-1, 1))
    said_known, said_usual = (f"{100 * min(each):.0f} to {100 * max(each):.0f} %" for each in (known, usual))
    return f"""{CLUBS}: does the range over keepers hold the mean?

Written by `tools/calibrate_hierarchy.py`: {clubs:,} simulated clubs a cell. Every keeper has one, two or three bins in
each arm; logs of their counts scatter as a CV of 30 % or, as the program does not expect, 60 %. A keeper's own effect
varies around the mean of all keepers by tau, on the log scale: a keeper who is off by one tau of 0.25, 0.5 or 1 finds
1.3, 1.6 or 2.7 times the mean. The program takes tau to be half-normal with scale {LOGS.tau:g}, and bins to vary by
30 % in the middle, give or take a factor of {math.exp(LOGS.spread):.1f} (a standard deviation). It knows neither here.

In each cell: how often in 100 the 90 % range of the mean over keepers held the truth; how often that for one more
keeper held what that keeper found; and in brackets the factor from the middle of the mean's range to its ends. A 90
shows as {least:.0f} to {most:.0f} 19 times in 20.

{HEAD}
|{"---|" * (3 + len(TAUS))}
{chr(10).join(table)}

Where tau and the scatter of bins are drawn as the program takes them to be, the range of the mean held in
{said_known} of clubs, by numbers of keepers and bins: so the sums are right. With bins that vary by
30 % and a tau of {LOGS.tau:g} at most it held in {said_usual}. The least of all rows:
{lowest}.

Where keepers agree better than was assumed, ranges are wider than need be. Where they differ far more, a few keepers
cannot tell it, and the range is too narrow, as it is for single bins that vary more than is expected: read that of
three keepers with doubt. At a tau of {LOGS.tau:g} ten keepers with one bin in each arm have the mean within a factor
of {math.exp(many / 2):.2g}, three keepers with three bins within {math.exp(thrice / 2):.2g}.

What this does not show: whether keepers who take part are like others, whether bins of all keepers scatter alike, and
whether effects vary as the normal law has it. One keeper with a far larger effect pulls the mean.
"""


def _row(part: tuple[Club, int, int]) -> Held:
    club, clubs, seed = part
    return held(club, clubs, np.random.default_rng([seed, 11]))


def main() -> int:
    arguments = asked(__doc__, "clubs", 300, PAGE).parse_args()
    begun = time.perf_counter()
    clubs = [Club(keepers, bins, cv, tau) for cv in CVS for bins in BINS for keepers in KEEPERS for tau in TAUS]
    clubs += [Club(keepers, bins) for bins in BINS for keepers in KEEPERS]
    rows = {}
    parts = [(club, arguments.clubs, seed) for seed, club in enumerate(clubs)]
    with workers(arguments) as pool:
        for (club, _, seed), row in zip(parts, pool.map(_row, parts), strict=True):
            rows[club] = row
            print(f"{seed + 1} of {len(clubs)} rows, {time.perf_counter() - begun:.0f} s", file=sys.stderr, flush=True)
    section = report(rows, arguments.clubs)
    lay_into(arguments.out, section)
    print(section)
    return 0


if __name__ == "__main__":
    sys.exit(main())
