"""The section of docs/calibration.md on colonies: what invented journals say about the ranges of a census."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import altair as alt
import numpy as np
from numpy.typing import NDArray
from scipy import stats
from sections import COLONIES

from underlid.fit.colony import PARAMETERS
from underlid.records import STAGES
from underlid.update.drawn import drawing
from underlid.update.drawn.charts import BLUE, INK

Ints = NDArray[np.int64]

FIGURE = Path("figures") / "ranks.svg"  # beside the page
AHEAD = 30  # days beyond it, without a forecast for most of them
RANKS = 99  # draws kept to rank among: far fewer than sets, to be nearly independent
BINS = 20
CUT_99 = 36.19  # of chi-square with 19 degrees of freedom
TOLD = (*STAGES, "worms")
MOMENTS = ("a random day", "the last day", f"{AHEAD} days ahead")
TEXT, WIDTH, HEIGHT, COLUMNS = 13, 150, 60, 4
BAND = 0.99  # of bins lie in it by chance
PALE = "#e4e1da"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One journal.

    rank : of the truth among RANKS draws, ties broken by lot, for each parameter and each count on each of MOMENTS
    held : whether the 90 % range shown holds the true count; place : where among all draws the truth lies, 0 to 1
    true, wide : the true count and how wide the range is; spread : of each parameter after the fit, 1 before
    """

    seed: int
    rank: dict[str, int]
    held: dict[str, bool]
    place: dict[str, float]
    true: dict[str, int]
    wide: dict[str, float]
    spread: dict[str, float]
    effective: float
    largest: float
    trusted: bool
    seconds: float
    days: int
    warmer_k: float
    looks: int
    numbers: int
    vague: int
    truths: int


def report(outcomes: list[Outcome]) -> str:
    """The section on colonies, from its heading on."""
    many, trusted = len(outcomes), [outcome for outcome in outcomes if outcome.trusted]
    low, high = (int(stats.binom.ppf(share, many, 0.9)) for share in (0.025, 0.975))
    counts = [f"{name}, {moment}" for moment in MOMENTS for name in TOLD]
    ranked = [*PARAMETERS, *counts]
    tests = {key: _uniform(outcomes, key) for key in ranked}
    beyond = [key for key in ranked if tests[key][0] > CUT_99]
    least = min(ranked, key=lambda key: tests[key][1])
    after = {name: np.mean([outcome.spread[name] for outcome in outcomes]) for name in PARAMETERS}
    held = [
        f"| {moment} | {name} | {_told(outcomes, key, 'held')} | {_told(outcomes, key, 'place')} "
        f"| {_told(trusted, key, 'place')} | {np.median([o.true[key] for o in outcomes]):.0f} "
        f"| {np.median([o.wide[key] for o in outcomes]):.0f} |"
        for moment in MOMENTS
        for name in TOLD
        for key in [f"{name}, {moment}"]
    ]
    rows = [
        f"| {key} | {tests[key][0]:.1f} | {tests[key][1]:.3f} | `{_bars(outcomes, key)}` "
        f"| {f'{after[key]:.2f}' if key in after else ''} |"
        for key in ranked
    ]
    ends, trusted_ends = (
        np.mean([o.rank[key] < 5 or o.rank[key] > RANKS - 5 for o in some for key in PARAMETERS])
        for some in (outcomes, trusted)
    )
    warmer = sorted({o.warmer_k for o in outcomes} - {0.0})
    seconds = np.array([outcome.seconds for outcome in outcomes])
    days, looks = ([getattr(o, name) for o in outcomes] for name in ("days", "looks"))
    intro = textwrap.fill(
        f"Written by `tools/calibrate_colonies.py`. {many} invented journals, each with its own bin, {min(days)} to "
        f"{max(days)} days of real weather beginning on a random day (as it was, or "
        f"{' or '.join(f'{k:.0f}' for k in warmer)} K warmer, so that worms breed), and a colony drawn from the prior, "
        f"which lives in one of the draws of the bedding. The keeper feeds, and looks on {min(looks)} to {max(looks)} "
        "occasions: samples of half a litre to two, now and then all of the bedding, or a glance that finds so many "
        "at least. What is found follows the fit's own law, and so do the words: "
        f"{np.mean([o.vague for o in outcomes]):.1f} of {np.mean([o.numbers for o in outcomes]):.1f} counts of a "
        'journal are vague on average ("about 20", "12 to 19", "a few", "dozens"). The words are parsed, tallied and '
        f"fitted as a keeper's are. Fits are counted whether they are trusted or not; {len(trusted)} of {many} were "
        f"({len(trusted) / many:.0%}).",
        120,
    )
    named = f" ({', '.join(beyond)})" if beyond else ""
    least_likely = textwrap.fill(
        f"- Beyond the cut: {len(beyond)} of {len(ranked)}{named}; chance has "
        f"{0.01 * len(ranked):.1f}. The smallest p, that of {least}, is {tests[least][1]:.4f}; among {len(ranked)} "
        f"tests the smallest is below {1 - 0.95 ** (1 / len(ranked)):.4f} by chance once in 20.",
        120,
        subsequent_indent="  ",
    )
    return f"""{COLONIES}: are the ranges of a census right?

{intro}

### Do 90 % ranges hold the truth on days without a count?

Of {many} ranges that are right, {low} to {high} hold the truth (19 times in 20). Counts are whole numbers, so a range
as shown, ends included, holds more; where ties with its ends are settled by lot it must hold 90 %.

| day | who | held, as shown | held, ties by lot | of those trusted, by lot | true median | median width |
|---|---|---|---|---|---|---|
{chr(10).join(held)}

### Are the truth's ranks uniform?

The truth is ranked among {RANKS} of the lives drawn, in {BINS} bins (simulation-based calibration; Talts, Betancourt,
Simpson, Vehtari & Gelman 2018). Chi-square is to be below {CUT_99} in 99 of 100 of them; p is that of Kolmogorov and
Smirnov's test. In the figure the pale band holds 99 of 100 bins by chance. "After" is the spread that the fit leaves of
a parameter, of 1 before: where it is near 1 the ranks test little.

![Histograms of the ranks of each parameter and of the worms in all](figures/ranks.svg)

| of | chi-square | p | ranks, from low to high | after |
|---|---|---|---|---|
{chr(10).join(rows)}

{least_likely}
- Of all ranks of parameters, {ends:.1%} are in the outermost tenth (of trusted fits {trusted_ends:.1%}); more than 10 %
  there are ranges too narrow.
- Seconds for a census, by the clock of a machine shared with other work: {np.median(seconds):.0f} in the middle,
  {np.percentile(seconds, 90):.0f} or less in nine of ten.

What is exact: the joint law of colony, counts and words is the fit's own, as the truth lives in one of the bedding's
draws, vague words are chosen with the weight that the fit gives their meanings, and colonies in which a sighting would
be a lie are drawn anew as a whole. What is not: slips of the pen end at 63 animals, where the fit's never do; where
several samples of a day have vague counts, the fit draws a meaning for each; and the draws come from weighted sets, not
from independent fits. What this does not show: whether the life cycle, or the law by which animals clump, is that of a
real bin.
"""


def _told(outcomes: list[Outcome], key: str, how: str) -> str:
    hits = [o.held[key] if how == "held" else 0.05 <= o.place[key] < 0.95 for o in outcomes]
    return f"{np.mean(hits):.1%} ({sum(hits)})" if hits else ""


def _uniform(outcomes: list[Outcome], key: str) -> tuple[float, float]:
    """Chi-square of the ranks in bins, and p of Kolmogorov and Smirnov's test of them, spread within their steps."""
    ranks = np.array([outcome.rank[key] for outcome in outcomes])
    seen, expected = _binned(outcomes, key), len(outcomes) / BINS
    spread = (ranks + np.random.default_rng(len(key)).random(len(ranks))) / (RANKS + 1)
    return float(((seen - expected) ** 2 / expected).sum()), float(stats.kstest(spread, "uniform").pvalue)


def _binned(outcomes: list[Outcome], key: str) -> Ints:
    return np.bincount([outcome.rank[key] * BINS // (RANKS + 1) for outcome in outcomes], minlength=BINS)


def _bars(outcomes: list[Outcome], key: str) -> str:
    """The histogram in letters: the middle of the height is what is expected."""
    seen = _binned(outcomes, key) * BINS / len(outcomes)
    return "".join("▁▂▃▄▅▆▇█"[min(7, round(float(share) * 3.5))] for share in seen)


def ranks_figure(outcomes: list[Outcome]) -> str:
    """How often the truth fell in each bin of ranks, a panel for each parameter and for the worms in all."""
    shown = [*PARAMETERS, *(f"worms, {moment}" for moment in MOMENTS)]
    seen = {name.replace("_", " "): _binned(outcomes, name).tolist() for name in shown}
    mean = len(outcomes) / BINS
    low, high = (float(stats.binom.ppf(share, len(outcomes), 1 / BINS)) for share in ((1 - BAND) / 2, (1 + BAND) / 2))
    top = max(high, *(max(counts) for counts in seen.values())) * 1.05
    y = alt.Scale(domain=[0, top], nice=False)
    band = alt.Chart(alt.InlineData(values=[{"low": low, "high": high, "mean": mean}]))
    panels = []
    for name, counts in seen.items():
        rows = [{"from": i, "to": i + 0.9, "n": n, "zero": 0} for i, n in enumerate(counts)]
        bars = (
            alt.Chart(alt.InlineData(values=rows))
            .mark_rect(color=BLUE, opacity=0.75)
            .encode(
                x=alt.X("from:Q", title=None, axis=None, scale=alt.Scale(domain=[0, BINS], nice=False)),
                x2="to:Q",
                y=alt.Y("zero:Q", title=None, axis=None, scale=y),
                y2="n:Q",
            )
        )
        chance = band.mark_rect(color=PALE).encode(y=alt.Y("low:Q", title=None, axis=None, scale=y), y2="high:Q")
        middle = band.mark_rule(color=INK, strokeDash=[3, 3]).encode(y=alt.Y("mean:Q", axis=None, scale=y))
        panels.append(
            alt.layer(chance, bars, middle).properties(
                width=WIDTH,
                height=HEIGHT,
                title=alt.TitleParams(name, anchor="start", fontSize=TEXT, color=INK, offset=3),
            )
        )
    chart = (
        alt.concat(*panels, columns=COLUMNS, spacing=12)
        .properties(background="white", padding=12)
        .configure(aria=False, font=drawing.FONT)
        .configure_view(stroke=None)
    )
    says = f"Histograms of the truth's ranks, with the band in which {BAND:.0%} of bins lie by chance."
    inline = drawing.svg(cast(alt.LayerChart, chart), "ranks", says)
    return inline.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) + "\n"
