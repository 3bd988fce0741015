"""What a small trial can tell, before it begins: the chance of each verdict, by simulating whole trials.

Power is the chance of "holds" if the change does nothing; that of "fails" if it does twice the margin stands beside it.
A trial whose power is below a half "cannot answer the question" and should not cost its animals their place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from underlid.trials.compare import FEWEST
from underlid.trials.judged import (
    HOLDS,
    Chances,
    Rule,
    chances,
    ratio_intervals,
    standard_error,
    verdicts,
)
from underlid.trials.plan import ALPHA
from underlid.trials.scene import ImpossibleTrial, Scene
from underlid.trials.simulated import factors_for, simulate
from underlid.trials.sizes import USUAL_CV, log_sd

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

TRIALS = 400  # simulated: a chance is known to 2 or 3 % (standard error)
ENOUGH, HOPELESS = 0.8, 0.5  # power that is wanted, and below which a trial cannot answer
CONTROL, IDLE, CHANGED, TWICE = range(4)  # arms simulated: without change, the same again, and with either effect


@dataclass(frozen=True, slots=True)
class Power:
    """What a planned trial can tell.

    idle, at_margin, twice : chances of the verdicts if the change does nothing, if it does as much as the margin, and
    twice as much (the margin squared, as effects multiply); None where it cannot, or where no verdict is possible.
    At the margin "holds" may exceed alpha a little: counts are not quite log-normal, effects not quite the margin
    reached : share of the populations in which the change can do so much, at the margin and twice; others are left out
    within : factor by which the interval reaches to either side of the ratio at the last look, if the change does
    nothing (5, 50 and 95 % of the trials; inf where it has no end)
    extinct : share of the trials with a bin in which none is found at the last look, if the change does nothing
    cv : coefficient of variation between like bins at the last look, of the middle trial; None without a scatter
    counts : found in a control bin at the last look
    """

    rule: Rule
    bins: int
    trials: int
    seed: int
    idle: Chances
    at_margin: Chances | None
    twice: Chances | None
    reached: tuple[float, float]
    within: Points
    extinct: float
    cv: float | None
    counts: Points
    notes: tuple[str, ...]

    @property
    def can_answer(self) -> bool:
        """Whether the trial is worth its animals: at best, if the change does nothing, it may well say so."""
        return self.idle.holds >= HOPELESS


@dataclass(frozen=True, slots=True)
class Surface:
    """The chance of "holds" if the change does nothing, and its standard error, (spreads, margins, bins).

    spreads : coefficients of variation of laying and of food between bins
    """

    spreads: tuple[float, ...]
    margins: tuple[float, ...]
    bins: tuple[int, ...]
    holds: Array
    se: Array
    trials: int
    seed: int


@dataclass(frozen=True, slots=True)
class Cheapest:
    """The fewest bins an arm that could answer, the smallest margin they could answer for, and how probably."""

    bins: int
    margin: float
    spread: float
    holds: float
    se: float


def power(
    scene: Scene,
    bins: int,
    rule: Rule,
    *,
    trials: int = TRIALS,
    seed: int = 1,
    progress: Callable[[float], None] = lambda done: None,
) -> Power:
    """What a trial of so many bins in each arm can tell, by whole trials lived and counted.

    `progress` is called with the share of the work done.
    """
    if bins < FEWEST:
        numbers = simulate(scene, bins, trials, rule.days, (1.0, 1.0), seed, progress)
        alone = "With one bin in an arm nothing is known of how bins differ, so that no verdict is possible."
        return _power(scene, rule, numbers, seed, (None, None), (0.0, 0.0), (alone,))
    notes, found = [], []
    for part, times in enumerate((rule.margin, rule.margin**2)):

        def told(done: float, part: int = part) -> None:
            progress(0.45 * (part + done))

        ratio = 1 / times if scene.towards == "fewer" else times
        found.append(factors_for(scene, ratio, rule.days[-1], trials, seed, told))
        if not found[-1].reached.all():
            notes.append(
                f"An effect of {ratio:.2g} times cannot come of {scene.acts_on} in "
                f"{1 - found[-1].reached.mean():.0%} of the simulated trials; those are left out of its chances."
            )
    if len(rule.days) > 1:
        notes.append(
            "Effects are those at the last look. At an earlier one the same change may do more or less, as crowding "
            "and want of food even numbers out in time: a trial may rightly fail there."
        )
    factors = np.ones((trials, 4))
    factors[:, CHANGED:] = np.stack([np.where(one.reached, one.values, 1.0) for one in found], axis=1)
    numbers = simulate(scene, bins, trials, rule.days, factors, seed, lambda done: progress(0.9 + 0.1 * done))
    at_margin, twice = (
        chances(numbers[one.reached][:, [CONTROL, arm]], rule) if one.reached.any() else None
        for arm, one in zip((CHANGED, TWICE), found, strict=True)
    )
    reached = float(found[0].reached.mean()), float(found[1].reached.mean())
    return _power(scene, rule, numbers, seed, (at_margin, twice), reached, tuple(notes))


def _power(
    scene: Scene, rule: Rule, numbers: NDArray[np.int64], seed: int, effects: tuple[Chances | None, Chances | None],
    reached: tuple[float, float], notes: tuple[str, ...],
) -> Power:  # fmt: skip
    """With what the arms without a change show."""
    idle = numbers[:, [CONTROL, IDLE]]
    last = idle[..., -1]
    low, high = ratio_intervals(last, rule.alpha)
    return Power(
        rule, last.shape[2], len(last), seed, chances(idle, rule), effects[0], effects[1], reached,
        _points(np.exp((high - low) / 2)), float((last == 0).any(axis=(1, 2)).mean()), _cv(last), _points(last[:, 0]),
        (*scene.notes, *notes),
    )  # fmt: skip


def surface(
    scene: Scene,
    days: Sequence[int],
    *,
    alphas: Sequence[float] = (ALPHA,),
    bins: Sequence[int] = (1, 2, 3, 4, 6, 8),
    margins: Sequence[float] = (1.25, 1.5, 2.0, 3.0),
    spreads: Sequence[float] = (0.2, USUAL_CV, 0.5),
    trials: int = TRIALS,
    seed: int = 1,
    progress: Callable[[float], None] = lambda done: None,
) -> Surface:
    """The power of trials of many sizes: the most bins are lived once for each spread, and fewer are taken of them."""
    shape = (len(spreads), len(margins), len(bins))
    holds, se = np.zeros(shape), np.zeros(shape)
    for i, spread in enumerate(spreads):
        alike = replace(scene, laying_log_sd=log_sd(spread), food_log_sd=log_sd(spread))

        def told(done: float, i: int = i) -> None:
            progress((i + done) / len(spreads))

        numbers = simulate(alike, max(bins), trials, days, (1.0, 1.0), seed, told)
        for j, margin in enumerate(margins):
            rule = Rule(margin, tuple(days), tuple(alphas))
            for k, few in enumerate(bins):
                holds[i, j, k], se[i, j, k] = _of_subsets(numbers, few, rule)
    return Surface(tuple(spreads), tuple(margins), tuple(bins), holds, se, trials, seed)


def cheapest(of: Surface, wanted: float = ENOUGH, spread: float = USUAL_CV) -> Cheapest | None:
    """The fewest bins that answer with the chance wanted, for the smallest margin that they do; None if none do."""
    if spread not in of.spreads:
        raise ImpossibleTrial(f"The power was reckoned for spreads of {of.spreads}, not for {spread:g}.")
    i = of.spreads.index(spread)
    for k in np.argsort(of.bins):
        for j in np.argsort(of.margins):
            if of.holds[i, j, k] >= wanted:
                return Cheapest(of.bins[k], of.margins[j], spread, float(of.holds[i, j, k]), float(of.se[i, j, k]))
    return None


def answer(of: Power, sizes: Surface | None = None) -> str:
    """Whether the trial can answer its question, in words, and what could where it cannot."""
    arms, margin = f"{of.bins} {'bin' if of.bins == 1 else 'bins'} in each arm", f"a margin of {of.rule.margin:g} times"
    at_best = f"{of.idle.holds:.0%} (± {max(of.idle.holds_se, 0.001):.1%})"
    if of.bins < FEWEST:
        said = f"This trial cannot answer the question: with {arms} nothing is known of how bins differ."
    elif not of.can_answer:
        said = (
            f"This trial cannot answer the question: even if the change does nothing, {arms} would show it within "
            f"{margin} with a chance of only {at_best}, by simulation."
        )
    else:
        return (
            f"If the change does nothing, {arms} show that within {margin} with a chance of {at_best}, by simulation."
        )
    if sizes is None:
        return said
    for wanted in (ENOUGH, HOPELESS):
        could = cheapest(sizes, wanted, min(sizes.spreads, key=lambda spread: abs(spread - USUAL_CV)))
        if could is not None:
            known = f"{could.holds:.0%} (± {could.se:.1%})"
            return f"{said} {could.bins} in each arm could, for a margin of {could.margin:g} times, {known}."
    return f"{said} Nor could {max(sizes.bins)} in each arm, for a margin of {max(sizes.margins):g} times or less."


# --- inside ----------------------------------------------------------------------------------------------


def _of_subsets(numbers: NDArray[np.int64], few: int, rule: Rule) -> tuple[float, float]:
    """Chance of "holds" with so few bins an arm, over all that the bins can be parted into, and its standard error.

    Parts of one trial share population and weather, so the error is that of the trials' means.
    """
    parts = numbers.shape[2] // few
    each = [verdicts(numbers[:, :, few * part : few * (part + 1)], rule) == HOLDS for part in range(parts)]
    means = np.mean(each, axis=0)
    share = float(means.mean())
    if parts == 1 or not 0 < share < 1:
        return share, standard_error(share, len(means))
    return share, float(means.std(ddof=1)) / math.sqrt(len(means))


def _points(values: NDArray[np.float64] | NDArray[np.int64]) -> Points:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95), method="inverted_cdf")  # no midpoint with inf
    return float(low), float(middle), float(high)


def _cv(numbers: NDArray[np.int64]) -> float | None:
    """From the median of the pooled variances of logs, over that of such variances for a true one of 1."""
    bins = numbers.shape[2]
    all_found = (numbers > 0).all(axis=(1, 2))
    if bins < FEWEST or not all_found.any():
        return None
    df = 2 * (bins - 1)
    variance = np.median(np.log(numbers[all_found]).var(axis=2, ddof=1).mean(axis=1)) / (chdtri(df, 0.5) / df)
    return float(np.sqrt(np.expm1(variance)))
