"""One change tried by several keepers: the mean effect over keepers, and what the next one may find, by two levels.

Bin i of keeper k gives y = mu_k + (theta + u_k)·[with the change] + e. A keeper's own level mu_k is flat beforehand and
goes out of the difference of the arms; the effect varies between keepers, u_k ~ N(0, tau²), and bins of one arm
scatter, e ~ N(0, sigma²), with a sigma that is taken to be that of all keepers. So a keeper with one bin in each arm
tells something too: its difference strays by sigma and tau, and what it cannot tell of sigma, others can or the prior
does.

A keeper's difference of arm means and the squares within its arms are all that its bins say of theta, tau and sigma.
Theta is flat and goes out by hand; tau and log sigma are summed over by Gauss-Legendre quadrature, so that nothing is
left to chance (Röver 2020 does so for tau alone). Tau is half-normal beforehand, as few keepers hardly tell it (Gelman
2006).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import ndtr

from underlid.trials.arm import BadValues, CannotCompare
from underlid.trials.compare import FEWEST
from underlid.trials.sizes import USUAL_CV, log_sd

Array = NDArray[np.float64]

FEW_KEEPERS = 5  # below, tau is hardly known: our judgement
ALONE = 3  # keepers needed where one of them has a single bin in an arm: our judgement

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
_COARSE = 25  # points along tau and along log sigma to find where the posterior is
_DROP = 22.0  # log density below its peak that is out of the question
_REACH = 6.0  # scales of the prior
_FLAT_REACH = 100.0  # widths of the data that a flat tau may reach


class TooFewKeepers(CannotCompare):
    """So few keepers cannot say how keepers differ."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is held of the spreads before any bin, on the scale of the analysis.

    tau : scale of the half-normal law of the effect's standard deviation between keepers; inf for a flat one
    sigma : median of the standard deviation between bins; spread : that of its natural log, 0 if sigma is known
    """

    tau: float
    sigma: float
    spread: float

    def __post_init__(self) -> None:
        if not (self.tau > 0 and 0 < self.sigma < math.inf and 0 <= self.spread < math.inf):
            raise BadValues(
                f"Before any bin, tau is given the scale {self.tau:g} and sigma the median {self.sigma:g} with a "
                f"spread of {self.spread:g}; the first two have to be above 0, and the spread 0 or more."
            )


#: For natural logs. Effects of keepers differ by a tau of 0.34 in the middle, and of 1 or less in 19 of 20: a keeper
#: who is off by that much finds 1.4 or 2.7 times the mean. Bins vary by 30 % in the middle, and by 11 to 93 % in 9 of
#: 10. Our judgement.
LOGS = Prior(tau=0.5, sigma=log_sd(USUAL_CV), spread=0.6)


@dataclass(frozen=True, slots=True)
class Keeper:
    """What one keeper's bins say.

    effect : mean of the changed arm less that of the control; bins : of the control, and changed
    squares : within both arms, summed; df : bins less two
    own : variance of a bin's value by itself (its sampling, the width of its words), mean of each arm
    """

    name: str
    effect: float
    bins: tuple[int, int]
    squares: float
    df: int
    own: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        if min(self.bins) < 1 or self.df < 0:
            raise CannotCompare(
                f"{self.name} had {self.bins[0]} and {self.bins[1]} bins in the two arms; it takes one in each at "
                "least."
            )
        if (
            not all(math.isfinite(each) for each in (self.effect, self.squares, *self.own))
            or min(self.squares, *self.own) < 0
        ):
            raise BadValues(
                f"{self.name} gives an effect of {self.effect:g} with squares of {self.squares:g} within the arms and "
                f"variances of {self.own[0]:g} and {self.own[1]:g}; all have to be finite, and none but the effect "
                "below 0."
            )


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """A mixture of normal laws: weights, which sum to 1, means and standard deviations, each (parts,)."""

    weight: Array
    mean: Array
    sd: Array

    def cdf(self, x: float) -> float:
        """Probability of at most x."""
        return float(self.weight @ ndtr((x - self.mean) / self.sd))

    def quantile(self, share: float) -> float:
        """The value that so much of the probability lies below."""
        low, high = float((self.mean - 40 * self.sd).min()), float((self.mean + 40 * self.sd).max())
        return float(brentq(lambda x: self.cdf(x) - share, low, high, xtol=1e-10, rtol=1e-12))

    def interval(self, level: float) -> tuple[float, float]:
        """The range that leaves the same probability on either side."""
        tail = (1 - level) / 2
        return self.quantile(tail), self.quantile(1 - tail)


@dataclass(frozen=True, slots=True, eq=False)
class OverKeepers:
    """What several keepers say together.

    mean : belief about theta, the mean effect over keepers
    next_effect, next_found : of one more keeper, the true effect, and what as many bins as the middle one of these has
        would show
    effects : of each keeper here, given all
    tau, sigma : each by its 5, 50 and 95 % points
    remarks : sentences on what should make one doubt it
    """

    mean: Mixture
    next_effect: Mixture
    next_found: Mixture
    effects: tuple[Mixture, ...]
    tau: tuple[float, float, float]
    sigma: tuple[float, float, float]
    keepers: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def over_keepers(keepers: Sequence[Keeper], prior: Prior = LOGS) -> OverKeepers:
    """The posterior of the mean effect, of the next keeper's and of each keeper's own.

    Raises TooFewKeepers for fewer than three, or than two if each has two bins in each arm.
    """
    _check(keepers)
    data = _Data.of(keepers)
    tau, sigma, log_weight = _grid(data, prior)
    log_like, centre, variance = data.likelihood(tau, sigma)
    weight = np.exp(log_weight + log_like - (log_weight + log_like).max())
    weight /= weight.sum()

    def mixed(mean: Array, of: Array) -> Mixture:
        likely = weight > 1e-11
        return Mixture(weight[likely] / weight[likely].sum(), mean[likely], np.sqrt(of[likely]))

    tau2, sampling = tau[:, None] ** 2, data.sampling(sigma)
    effects = []
    for k in range(len(keepers)):
        within = sampling[None, :, k] + np.zeros_like(tau2)
        drawn = within / (within + tau2)  # towards the mean of all
        effects.append(mixed(drawn * centre + (1 - drawn) * data.effect[k], drawn * tau2 + drawn**2 * variance))
    usual = np.median(sampling, axis=1)[None, :]
    return OverKeepers(
        mean=mixed(centre, variance),
        next_effect=mixed(centre, variance + tau2),
        next_found=mixed(centre, variance + tau2 + usual),
        effects=tuple(effects),
        tau=_points(tau, weight.sum(axis=1)),
        sigma=_points(sigma, weight.sum(axis=0)),
        keepers=tuple(one.name for one in keepers),
        remarks=_remarks(keepers),
    )


# --- inside ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Data:
    """All keepers' statistics, each (keepers,): per_bin is 1/n + 1/n, fixed the known variance of the difference."""

    effect: Array
    per_bin: Array
    fixed: Array
    squares: Array
    df: Array
    own: Array

    @classmethod
    def of(cls, keepers: Sequence[Keeper]) -> _Data:
        bins = np.array([one.bins for one in keepers], float)
        own = np.array([one.own for one in keepers], float)
        return cls(
            effect=np.array([one.effect for one in keepers]),
            per_bin=(1 / bins).sum(axis=1),
            fixed=(own / bins).sum(axis=1),
            squares=np.array([one.squares for one in keepers]),
            df=np.array([one.df for one in keepers], float),
            own=((bins - 1) * own).sum(axis=1) / np.maximum((bins - 1).sum(axis=1), 1),
        )

    def sampling(self, sigma: Array) -> Array:
        """Variance of each keeper's difference around its own effect, (sigma, keepers)."""
        return sigma[:, None] ** 2 * self.per_bin + self.fixed

    def likelihood(self, tau: Array, sigma: Array) -> tuple[Array, Array, Array]:
        """Log likelihood without theta, and theta's mean and variance given the spreads, each (tau, sigma)."""
        precision = 1 / (tau[:, None, None] ** 2 + self.sampling(sigma))
        total = precision.sum(axis=-1)
        centre = precision @ self.effect / total
        apart = (precision * (self.effect - centre[..., None]) ** 2).sum(axis=-1)
        log_like = 0.5 * (np.log(precision).sum(axis=-1) - np.log(total) - apart)
        scatter = sigma[:, None] ** 2 + self.own
        within = -0.5 * (self.df * np.log(scatter) + self.squares / scatter).sum(axis=-1)
        return log_like + within, centre, 1 / total


def _grid(data: _Data, prior: Prior) -> tuple[Array, Array, Array]:
    """Nodes of tau and of sigma, and the log of each pair's weight times its prior, (tau, sigma)."""
    width = float(np.ptp(data.effect)) + math.sqrt(float(data.sampling(np.array([prior.sigma])).max()))
    top = _REACH * prior.tau if math.isfinite(prior.tau) else _FLAT_REACH * width
    ends = np.array([[0.0, 1.0], [-_REACH, _REACH]])  # of the cube root of tau/top, and of log sigma in spreads
    for _ in range(3):  # a peak may be much narrower than the first grid
        root, z = (np.linspace(low, high, _COARSE) for low, high in ends)
        high = _log_density(data, prior, top, root, z)
        near = high > high.max() - _DROP
        ends = np.array([_around(root, near.any(axis=1)), _around(z, near.any(axis=0))])
    root, z = (low + (high - low) * (_NODES + 1) / 2 for low, high in ends)
    if prior.spread == 0:
        z = np.zeros(1)
    log_weight = _log_prior(prior, top, root, z) + np.log(_WEIGHTS)[:, None]
    if prior.spread > 0:
        log_weight = log_weight + np.log(_WEIGHTS)
    return top * root**3, prior.sigma * np.exp(prior.spread * z), log_weight


def _log_density(data: _Data, prior: Prior, top: float, root: Array, z: Array) -> Array:
    likelihood = data.likelihood(top * root**3, prior.sigma * np.exp(prior.spread * z))[0]
    return np.asarray(likelihood + _log_prior(prior, top, np.maximum(root, root[1] / 2), z))


def _log_prior(prior: Prior, top: float, root: Array, z: Array) -> Array:
    """Per unit of root and z; tau is top·root³, so that quadrature is dense near none."""
    on_tau = 2 * np.log(root) - 0.5 * (top * root**3 / prior.tau) ** 2
    return np.asarray(on_tau[:, None] - 0.5 * z**2)


def _around(points: Array, near: NDArray[np.bool_]) -> tuple[float, float]:
    """From the point before the first that is near to the one after the last."""
    inside = np.flatnonzero(near)
    return float(points[max(inside[0] - 1, 0)]), float(points[min(inside[-1] + 1, len(points) - 1)])


def _points(values: Array, weight: Array) -> tuple[float, float, float]:
    """Its 5, 50 and 95 % points; half of a node's weight lies below it."""
    if len(values) == 1:
        return (float(values[0]),) * 3
    kept = weight > 1e-12 * weight.max()
    rising = (np.cumsum(weight) - weight / 2)[kept]
    low, middle, high = np.exp(PchipInterpolator(rising, np.log(values[kept]))((0.05, 0.5, 0.95)))
    return float(low), float(middle), float(high)


def _check(keepers: Sequence[Keeper]) -> None:
    if len({one.name for one in keepers}) < len(keepers):
        raise CannotCompare("A keeper is named twice: give one result for each, as repeats by one are not new keepers.")
    if len(keepers) >= ALONE or (len(keepers) == 2 and min(min(one.bins) for one in keepers) >= FEWEST):
        return
    many = {0: "No keeper can", 1: "One keeper cannot"}.get(
        len(keepers), "Two keepers, one of them with a single bin in an arm, cannot"
    )
    raise TooFewKeepers(
        f"{many} say what holds of keepers in general: three at least are needed, or two with {FEWEST} bins in "
        "each arm, and five are better."
    )


def _remarks(keepers: Sequence[Keeper]) -> tuple[str, ...]:
    said = []
    if len(keepers) < FEW_KEEPERS:
        said.append(
            f"{len(keepers)} keepers hardly tell how keepers differ: the range rests much on what was assumed of that "
            "beforehand."
        )
    if not any(one.df for one in keepers):
        said.append(
            "No keeper has a second bin in an arm, so how bins of one keeper differ is assumed, not learned by itself; "
            "a second bin in any arm would help to tell it from how keepers differ."
        )
    return tuple(said)
