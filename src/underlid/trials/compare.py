"""Bins of one arm against bins of another: the difference, its range, and what may be said of it.

The bin is what is repeated: one value a bin, however often it was sampled. Counts and times are compared as natural
logs, so that a difference is the log of a ratio; amounts that may be negative as they are. Vague values stay intervals,
see `underlid.trials.belief` for what is taken for granted.

A difference that is not shown is "not resolved". That the arms are alike can only be found against a margin, and the
margin has to be set before the counts (Schuirmann 1987).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtr

from underlid.trials.arm import Arm, BadValues, CannotCompare, NoEnd, NoSpread, TooFewBins
from underlid.trials.belief import Belief, Student, given_spread, integrated

__all__ = [
    "FEWEST",
    "Arm",
    "BadValues",
    "CannotCompare",
    "Difference",
    "Estimated",
    "Finding",
    "NoEnd",
    "NoSpread",
    "Rope",
    "Stated",
    "StatedFinding",
    "TooFewBins",
    "Tost",
    "difference",
    "finding",
    "rope",
    "stated",
    "tost",
]

FEWEST = 2  # bins an arm needs before its scatter can be told

Finding = Literal["differs", "alike within the margin", "both", "not resolved"]
StatedFinding = Literal["within the stated range", "outside the stated range", "not resolved"]


@dataclass(frozen=True, slots=True)
class Estimated:
    """A mean or difference with all that is believed of it, on the scale of the analysis.

    sd : standard deviation between bins, pooled or in the middle of what is believed of it
    df : degrees of freedom behind that (of vague values as if they were exact), None if it is assumed
    method : how it was worked out, in words
    bins : bins behind it, by arm
    assumed_cv : coefficient of variation between bins that was taken for granted, None where it was learned
    """

    belief: Belief
    sd: float
    df: int | None
    method: str
    bins: tuple[int, ...]
    assumed_cv: float | None = None

    @property
    def cv(self) -> float:
        """Coefficient of variation between bins, where the scale is the natural log; inf beyond all reason."""
        return math.sqrt(math.expm1(self.sd**2)) if self.sd < 20 else math.inf

    @property
    def estimate(self) -> float:
        """The middle (median) of what is believed; of exact values the plain difference of means."""
        return self.belief.quantile(0.5)

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """The range that leaves the same probability on either side."""
        tail = (1 - level) / 2
        return self.belief.quantile(tail), self.belief.quantile(1 - tail)

    def below(self, x: float) -> float:
        """Probability that it is below x."""
        return self.belief.cdf(x)

    def above(self, x: float) -> float:
        """Probability that it is above x."""
        return 1 - self.belief.cdf(x)

    def inside(self, low: float, high: float) -> float:
        """Probability that it is between two values."""
        return self.belief.cdf(high) - self.belief.cdf(low)


@dataclass(frozen=True, slots=True)
class Difference(Estimated):
    """Mean of the changed arm less that of the control."""

    def finding(self, margin: float | None) -> Finding:
        """What may be said: see `finding`."""
        return finding(self.interval(0.9), self.interval(0.95), margin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated(Estimated):
    """Mean of one arm beside a range that somebody stated."""

    low: float
    high: float

    @property
    def within(self) -> float:
        """Probability that the mean lies in the stated range."""
        return self.inside(self.low, self.high)

    @property
    def finding(self) -> StatedFinding:
        """Within if the 90 % range is, outside if the 95 % range is, else not resolved."""
        least, most = self.interval(0.9)
        if self.low < least and most < self.high:
            return "within the stated range"
        least, most = self.interval(0.95)
        return "outside the stated range" if most < self.low or least > self.high else "not resolved"


def difference(
    control: Arm, changed: Arm, spread: tuple[float, float] | None = None, assumed_cv: float | None = None
) -> Difference:
    """What the bins say of the mean difference, changed less control.

    Exact values give the classical pooled t. Anything vague, noisy or open goes through the quadrature of
    `underlid.trials.belief`.

    Parameters
    ----------
    spread : least and most standard deviation between bins that is thinkable, on the scale of the analysis, say
        (0.02, 3) for logs; used with vague values only. None sets no limits, which is never bolder
    assumed_cv : coefficient of variation between bins, for logs, to be taken for granted where an arm has fewer than
        two bins; the result is then labelled so

    Raises
    ------
    TooFewBins : fewer than two bins in an arm and no `assumed_cv`, or fewer than three bins with both bounds
    NoSpread, NoEnd : the values leave the scatter, or a mean, without a bound
    """
    arms = (control, changed)
    _check(arms, spread)
    bins = (len(control), len(changed))
    if min(bins) < FEWEST:
        if assumed_cv is None:
            few = control if len(control) < FEWEST else changed
            raise TooFewBins(
                f"Arm {few.name} has {_bins(len(few))}: how much bins differ among themselves cannot be told from "
                "fewer than two in each arm. Add bins, or name a coefficient of variation to be assumed."
            )
        method = _ASSUMED.format(100 * assumed_cv)
        return Difference(_assumed(arms, assumed_cv), _log_sd(assumed_cv), None, method, bins, assumed_cv)
    df = _freedom(arms)
    if control.is_exact and changed.is_exact:
        squares = sum(float(((arm.low - arm.low.mean()) ** 2).sum()) for arm in arms)
        sd = math.sqrt(squares / df)
        centre, scale = float(changed.low.mean() - control.low.mean()), sd * math.sqrt(1 / bins[0] + 1 / bins[1])
        return Difference(Student(centre, scale, df), sd, df, "pooled t", bins)
    belief = integrated([arm.values for arm in arms], spread, df)
    return Difference(belief, belief.sd, df, _VAGUE, bins)


def stated(values: Arm, low: float, high: float, spread: tuple[float, float] | None = None) -> Stated:
    """The mean of one arm's bins beside a stated range, with the same assumptions as `difference`.

    It speaks of bins like these; with no control it says nothing of why.
    """
    if not low < high:
        raise BadValues(f"The stated range runs from {low:g} to {high:g}; give the lower end first.")
    _check((values,), spread)
    n = len(values)
    if n < FEWEST:
        raise TooFewBins(f"Arm {values.name} has {_bins(n)}: a mean of bins needs two at least for its range.")
    df = _freedom((values,))
    if values.is_exact:
        sd = float(values.low.std(ddof=1))
        exact = Student(float(values.low.mean()), sd / math.sqrt(n), df)
        return Stated(exact, sd, df, "t of one sample", (n,), low=low, high=high)
    belief = integrated([values.values], spread, df)
    return Stated(belief, belief.sd, df, _VAGUE, (n,), low=low, high=high)


def finding(interval90: tuple[float, float], interval95: tuple[float, float], margin: float | None) -> Finding:
    """What may be said of a difference.

    "alike within the margin" if the 90 % range lies inside ± margin (the two one-sided tests of Schuirmann 1987 at
    5 %), "differs" if the 95 % range leaves out 0, "both" for a real but small difference. Without a margin nothing can
    be alike.
    """
    if margin is not None and not margin > 0:
        raise BadValues(f"The margin is {margin:g}; it has to be above 0, and set before the counts.")
    alike = margin is not None and -margin < interval90[0] and interval90[1] < margin
    differs = interval95[0] > 0 or interval95[1] < 0
    if alike:
        return "both" if differs else "alike within the margin"
    return "differs" if differs else "not resolved"


@dataclass(frozen=True, slots=True)
class Tost:
    """Two one-sided tests: t and p against the lower and the upper margin; `p` is the larger."""

    t1: float
    t2: float
    p1: float
    p2: float
    df: int

    @property
    def p(self) -> float:
        """The p of equivalence."""
        return max(self.p1, self.p2)


def tost(control: Sequence[float], changed: Sequence[float], margin: float) -> Tost:
    """Schuirmann's (1987) two one-sided tests on exact values, changed less control against ± margin."""
    found = difference(Arm.exact("control", control), Arm.exact("changed", changed)).belief
    if not margin > 0:
        raise BadValues(f"The margin is {margin:g}; it has to be above 0, and set before the counts.")
    assert isinstance(found, Student)
    t1, t2 = (found.centre + margin) / found.scale, (found.centre - margin) / found.scale
    return Tost(t1, t2, float(stdtr(found.df, -t1)), float(stdtr(found.df, t2)), int(found.df))


@dataclass(frozen=True, slots=True)
class Rope:
    """Probability that the difference lies inside, above and below a margin; `prior_inside` is that before any bin."""

    inside: float
    above: float
    below: float
    prior_inside: float


def rope(difference: Difference, margin: float, thinkable: float = math.log(10)) -> Rope:
    """Kruschke's region of practical equivalence, ± margin.

    Beforehand every difference up to ± `thinkable` is as likely as any other (ten times more or fewer, of logs: our
    judgement), and none beyond it: `prior_inside` is margin/thinkable. Where that is near the result, the bins have
    said little. Call arms alike only if `inside` is 0.95 or more, with the margin set beforehand.
    """
    if not 0 < margin < thinkable:
        raise BadValues(f"The margin is {margin:g}; it has to lie between 0 and the {thinkable:g} that is thinkable.")
    cdf = difference.belief.cdf
    bottom, top = cdf(-thinkable), cdf(thinkable)
    if top - bottom <= 0:
        raise BadValues(f"The bins put all differences beyond the {thinkable:g} that was called thinkable; widen it.")
    low, high = cdf(-margin), cdf(margin)
    whole = top - bottom
    return Rope((high - low) / whole, (top - high) / whole, (low - bottom) / whole, margin / thinkable)


# --- inside ----------------------------------------------------------------------------------------------

_VAGUE = "vague values integrated over their intervals and over the scatter of bins"
_ASSUMED = "scatter of bins not learned: assumed CV {:.0f} %"


def _check(arms: Sequence[Arm], spread: tuple[float, float] | None) -> None:
    if spread is not None and not 0 < spread[0] < spread[1] < math.inf:
        raise BadValues(f"The spread runs from {spread[0]:g} to {spread[1]:g}; give the lower first, above 0.")
    for arm in arms:
        if not len(arm):
            raise TooFewBins(f"Arm {arm.name} has no bin.")
        for bounds, side, words in ((arm.high, "upper", "at least"), (arm.low, "lower", "at most")):
            if not np.isfinite(bounds).any():
                raise NoEnd(
                    f'All bins of arm {arm.name} are known as "{words}" only, so their mean has no {side} end: watch '
                    "on until one has both bounds."
                )


def _freedom(arms: Sequence[Arm]) -> int:
    """Degrees of freedom for the scatter of bins; refuses values that leave it without a bound."""
    df = sum(arm.bounded for arm in arms) - len(arms)
    if df < 1:
        raise TooFewBins(
            f"Only {_bins(sum(arm.bounded for arm in arms))} of all have a value with both bounds: {len(arms) + 1} at "
            "least are needed to tell how much bins differ. Watch on, or add bins."
        )
    points = [arm.low[(arm.low == arm.high) & (arm.noise == 0)] for arm in arms]
    if any(len(point) > 1 for point in points) and not any(len(point) and np.ptp(point) > 0 for point in points):
        names = " and ".join(arm.name for arm in arms)
        raise NoSpread(
            f"The exact values in {names} are all the same, so they do not say how much bins differ: give each with "
            "the range it may have been read in."
        )
    return df


def _log_sd(cv: float) -> float:
    if not 0 < cv < 10:
        raise BadValues(f"The assumed coefficient of variation is {cv:g}; 0.3 means 30 % between bins.")
    return math.sqrt(math.log1p(cv**2))


def _assumed(arms: tuple[Arm, Arm], cv: float) -> Belief:
    s = _log_sd(cv)
    control, changed = arms
    if control.is_exact and changed.is_exact:
        scale = s * math.sqrt(1 / len(control) + 1 / len(changed))
        return Student(float(changed.low.mean() - control.low.mean()), scale, math.inf)
    return given_spread([arm.values for arm in arms], s)


def _bins(n: int) -> str:
    return "1 bin" if n == 1 else f"{n} bins"
