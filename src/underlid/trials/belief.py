"""What is believed of a mean, or of a difference of two means, once the bins have been read.

Each bin gives one value, which may be exact, vague (an interval) or open on one side. Bins of an arm scatter around
the arm's mean with the same standard deviation s in all arms; a value may have an error of its own besides. A vague
value is as probable as the normal law is between its bounds (`underlid.fit.likelihood` does the same of readings).

The means are flat beforehand. For exact values s has the density 1/s, which makes the posterior Student's t. With vague
or noisy values 1/s would put endless weight on bins that are all alike, as such values cannot tell them apart; s then
has s/(s² + v²), v being the values' own root-mean-square error. It is Jeffreys's rule for a variance beside a known one
(Box and Tiao 1973, recalled), becomes 1/s as v vanishes, and makes the total variance at least v², so that vagueness
can only widen a range.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri, stdtr, stdtrit

Array = NDArray[np.float64]

_COARSE, _FINE = 64, 256  # points along a mean
_DROP = 32.0  # log likelihood below its peak at which a mean is out of the question: 8 standard deviations
_REACH = 8.0  # standard deviations beyond the bounds
_OUT = 2001  # points of the result
_TINY = 1e-300


class Values(NamedTuple):
    """One value a bin, on the scale of the analysis: bounds and the standard deviation of its own error, (bins,)."""

    low: Array
    high: Array
    noise: Array


class Belief(Protocol):
    """A distribution on the line."""

    def cdf(self, x: float) -> float:
        """Probability of at most x."""
        ...

    def quantile(self, share: float) -> float:
        """The value that so much of the probability lies below."""
        ...


@dataclass(frozen=True, slots=True)
class Student:
    """Student's t around a centre; normal for df = inf."""

    centre: float
    scale: float
    df: float

    def cdf(self, x: float) -> float:
        """Probability of at most x."""
        z = (x - self.centre) / self.scale
        return float(ndtr(z) if math.isinf(self.df) else stdtr(self.df, z))

    def quantile(self, share: float) -> float:
        """The value that so much of the probability lies below."""
        z = ndtri(share) if math.isinf(self.df) else stdtrit(self.df, share)
        return self.centre + self.scale * float(z)


@dataclass(frozen=True, slots=True, eq=False)
class Gridded:
    """A distribution as its rising probability on points, both (points,); `sd` is the middle of s behind it."""

    points: Array
    probability: Array
    sd: float

    def cdf(self, x: float) -> float:
        """Probability of at most x."""
        return float(np.interp(x, self.points, self.probability, left=0.0, right=1.0))

    def quantile(self, share: float) -> float:
        """The value that so much of the probability lies below."""
        rising = np.concatenate([[True], np.diff(self.probability) > 0])
        return float(np.interp(share, self.probability[rising], self.points[rising]))


def own_variance(values: Values) -> Array:
    """Variance of each bounded value apart from the scatter of bins: its noise, and the width of its interval."""
    bounded = np.isfinite(values.low) & np.isfinite(values.high)
    return np.asarray(values.noise[bounded] ** 2 + (values.high[bounded] - values.low[bounded]) ** 2 / 12)


def integrated(arms: Sequence[Values], spread: tuple[float, float] | None, df: int) -> Gridded:
    """Posterior of the mean of one arm, or of the second arm's mean less the first's, by quadrature over s and means.

    spread : least and most of s, None for no other limits than those of the quadrature
    df : bounded values less arms, which says how far the tail of s reaches
    """
    own = np.concatenate([own_variance(values) for values in arms])
    v2 = float(own.mean())
    total = math.sqrt(v2 + sum(_raw_squares(values) for values in arms) / df)
    step = min(0.12, 0.5 / math.sqrt(2 * df))
    least, most = total / 30, total * min(max(10.0 ** (6 / df), 10.0), 1e4)
    if spread is not None:
        least, most = (min(max(end, spread[0]), spread[1]) for end in (least, most))
        if least == most:
            least, most = spread
    s = np.exp(np.linspace(math.log(least), math.log(most), max(2, math.ceil(math.log(most / least) / step)) + 1))
    log_prior = np.log(s**2 / (s**2 + v2))  # per unit of log s
    log_prior[[0, -1]] -= math.log(2)
    return _mixed(arms, s, log_prior)


def given_spread(arms: Sequence[Values], s: float) -> Gridded:
    """The same for a standard deviation between bins that is taken as known."""
    return _mixed(arms, np.array([s]), np.zeros(1))


def log_likelihood(values: Values, mean: Array, s: Array) -> Array:
    """Log probability of an arm's values, density where they are exact; `mean` and the result are (s, means)."""
    total = np.zeros_like(mean)
    for low, high, noise in zip(*values, strict=True):
        sd = np.sqrt(s**2 + noise**2)[:, None]
        if low == high:
            total += -0.5 * ((low - mean) / sd) ** 2 - np.log(sd)
        elif np.isinf(high):
            total += log_ndtr((mean - low) / sd)
        elif np.isinf(low):
            total += log_ndtr((high - mean) / sd)
        else:
            # On the side of the mean where both tails are small, so that their difference keeps its digits.
            far = np.where(mean < (low + high) / 2, -1.0, 1.0)
            near, away = np.where(far < 0, low, high), np.where(far < 0, high, low)
            inside = ndtr(far * (near - mean) / sd) - ndtr(far * (away - mean) / sd)
            total += np.log(np.maximum(inside, _TINY))
    return total


# --- inside ----------------------------------------------------------------------------------------------


def _raw_squares(values: Values) -> float:
    """Sum of squares within the arm, each value at its middle, or at its bound if it has but one."""
    low = np.where(np.isfinite(values.low), values.low, values.high)
    high = np.where(np.isfinite(values.high), values.high, values.low)
    middle = (low + high) / 2
    return float(((middle - middle.mean()) ** 2).sum())


def _mixed(arms: Sequence[Values], s: Array, log_prior: Array) -> Gridded:
    ranges = [_range(values, s) for values in arms]
    step = np.max([high - low for low, high in ranges], axis=0) / (_FINE - 1)
    density, log_weight = [], log_prior.copy()
    for values, (low, _) in zip(arms, ranges, strict=True):
        log_like = log_likelihood(values, low[:, None] + step[:, None] * np.arange(_FINE), s)
        peak = log_like.max(axis=1, keepdims=True)
        like = np.exp(log_like - peak)
        mass = like.sum(axis=1, keepdims=True)
        density.append(like / mass)
        log_weight += (peak + np.log(mass))[:, 0] + np.log(step)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    if len(arms) == 1:
        start, share = ranges[0][0], density[0]
    else:
        start = ranges[1][0] - ranges[0][0] - step * (_FINE - 1)
        share = _difference(*density)
    below = np.cumsum(share, axis=1) - share / 2
    nodes = start[:, None] + step[:, None] * np.arange(share.shape[1])
    sd = float(np.exp(np.interp(0.5, np.cumsum(weight) - weight / 2, np.log(s))))
    likely = weight > 1e-12
    return _merged(nodes[likely], below[likely], weight[likely], sd)


def _range(values: Values, s: Array) -> tuple[Array, Array]:
    """Between which means the likelihood lies, for each s."""
    # A mean far below the highest lower bound, or far above the lowest upper one, is ruled out by that value alone.
    sd = np.sqrt(s[:, None] ** 2 + values.noise**2)
    a = np.where(np.isfinite(values.low), values.low - _REACH * sd, -np.inf).max(axis=1)
    b = np.where(np.isfinite(values.high), values.high + _REACH * sd, np.inf).min(axis=1)
    low, high = np.minimum(a, b), np.maximum(a, b)
    step = (high - low) / (_COARSE - 1)
    log_like = log_likelihood(values, low[:, None] + step[:, None] * np.arange(_COARSE), s)
    near = log_like > log_like.max(axis=1, keepdims=True) - _DROP
    first, last = near.argmax(axis=1), _COARSE - 1 - near[:, ::-1].argmax(axis=1)
    return low + step * (first - 1), low + step * (last + 1)


def _difference(first: Array, second: Array) -> Array:
    """Probabilities of second less first on the shared step, lags -(n - 1) to n - 1, (s, 2n - 1)."""
    n = first.shape[1]
    length = 2 * n
    transform = np.fft.rfft(second, length) * np.conj(np.fft.rfft(first, length))
    return np.maximum(np.roll(np.fft.irfft(transform, length), n - 1, axis=1)[:, : 2 * n - 1], 0.0)


def _merged(nodes: Array, below: Array, weight: Array, sd: float) -> Gridded:
    """The mixture over s on one set of points, dense in the middle and reaching to both ends."""
    middle = np.array([np.interp((0.25, 0.5, 0.75), p, x) for p, x in zip(below, nodes, strict=True)])
    likeliest = int(weight.argmax())
    centre, scale = middle[likeliest, 1], (middle[likeliest, 2] - middle[likeliest, 0]) / 2
    low, high = np.arcsinh((nodes.min() - centre) / scale), np.arcsinh((nodes.max() - centre) / scale)
    points = centre + scale * np.sinh(np.linspace(low, high, _OUT))
    probability = np.zeros(_OUT)
    for share, x, p in zip(weight, nodes, below, strict=True):
        probability += share * np.interp(points, x, p, left=0.0, right=1.0)
    return Gridded(points, np.maximum.accumulate(probability), sd)
