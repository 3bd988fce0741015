"""Draws from a posterior whose prior is a ball of standard normals, by population Monte Carlo.

Sets are drawn in rounds: the first from the prior, later ones from where the ones before proved probable, each weighted
by what it was drawn from (Cappé, Guillin, Marin & Robert 2004). To weigh all of them by the whole mixture (Cornuet,
Marin, Mira & Robert 2012) would make more of few sets, but the later proposals lie around the very sets that they would
weigh down: the evidence then came out a quarter to a half too low in trials with a known answer. An unbiased estimate
may stand in for the likelihood; the weights stay right (Tran, Scharth, Pitt & Kohn 2013).

Every round is one call for many sets, which is what compiled and parallel models are good at.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

Array = NDArray[np.float64]

ROUNDS = 12  # at most
SETTLED = 300.0  # effective sets at which no more rounds are needed
ENOUGH = 100.0  # effective sets below which a posterior is not shown as good: our judgement
LARGEST_SHARE = 0.1  # of the weight, on one set, beyond which it is not either: our judgement
PARTS = (0.1, 0.45, 0.45)  # of the second round from the prior, from wide and from narrow; later ones learn from it
LEAST = 0.1  # from the prior always, so that no weight can run away, and from each of the others
WIDE, NARROW = 1.15, 0.6  # than the sets they are made from
CENTRES = 150  # of the narrow ones
FREEDOM = 7.0  # of each multivariate t


@dataclass(frozen=True, slots=True)
class Weighted:
    """Weighted sets from a posterior.

    z : (sets, size) standard normals; share : (sets,) of the weight, summing to 1; log_evidence : of what was heard
    effective : how many sets of like weight would be worth as much
    """

    z: Array
    share: Array
    effective: float
    log_evidence: float

    @property
    def largest(self) -> float:
        """The largest share of one set."""
        return float(self.share.max())

    def drawn(self, draws: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """So many of the sets by their weights, in rising order; heavy ones several times."""
        at = np.searchsorted(np.cumsum(self.share), (rng.random() + np.arange(draws)) / draws)
        return np.asarray(at.clip(0, len(self.z) - 1), np.int64)


def settled(effective: float, largest: float) -> bool:
    """Whether enough sets carry the weight for ranges to be shown without a warning."""
    return effective >= ENOUGH and largest <= LARGEST_SHARE


def sample(
    log_likelihood: Callable[[Array], Array],
    size: int,
    sets: int,
    rng: np.random.Generator,
    *,
    rounds: int = ROUNDS,
    progress: Callable[[float], None] = lambda done: None,
) -> Weighted:
    """Weighted sets from the posterior of a likelihood that takes standard normals (sets, size) and gives (sets,).

    `progress` is called with the share of the most there can be to do.
    """
    normal = _Normal(size)
    proposal: _Normal | _Around = normal
    z, by_round = np.empty((0, size)), list[Array]()
    for number in range(rounds):
        fresh = proposal.draw(sets, rng)
        heard = log_likelihood(fresh)
        heard = np.where(np.isnan(heard), -np.inf, heard)  # where a set strays too far, nothing is probable
        by_round.append(heard + normal.log_density(fresh) - proposal.log_density(fresh))
        z, weights = np.concatenate([z, fresh]), _joined(by_round)
        progress((number + 1) / rounds)
        if round(_effective(weights), 6) >= SETTLED or number + 1 == rounds:  # equal weights are as many as they are
            break
        share = _tempered(weights, sets / 5)
        parts = PARTS if isinstance(proposal, _Normal) else proposal.worth(fresh, _tempered(by_round[-1], sets / 5))
        proposal = _around(z, share, parts, rng)
    possible = np.isfinite(weights).any()
    share = np.exp(weights - logsumexp(weights)) if possible else np.full(len(z), 1 / len(z))
    return Weighted(z, share, _effective(weights), float(logsumexp(weights) - np.log(len(z))))


# --- inside ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Normal:
    """The prior itself."""

    size: int

    def draw(self, sets: int, rng: np.random.Generator) -> Array:
        return rng.standard_normal((sets, self.size))

    def log_density(self, z: Array) -> Array:
        return np.asarray(-0.5 * (z**2).sum(axis=1) - 0.5 * self.size * np.log(2 * np.pi))


@dataclass(frozen=True, slots=True)
class _Around:
    """What proved probable: a wide multivariate t around it, a narrow one around each of some sets, and the prior.

    The narrow ones follow a posterior that is bent or skewed (West 1993, J. R. Stat. Soc. B 55:409, recalled); drawn in
    towards the mean, they have the spread of the sets themselves.
    """

    mean: Array
    root: Array  # lower triangle of the scale
    centres: Array
    parts: tuple[float, ...]

    def draw(self, sets: int, rng: np.random.Generator) -> Array:
        normal = rng.standard_normal((sets, len(self.mean)))
        stretched = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, sets))[:, None] * (normal @ self.root.T)
        kind = rng.choice(3, sets, p=self.parts)[:, None]
        narrow = self.centres[rng.integers(len(self.centres), size=sets)] + NARROW * stretched
        return np.where(kind == 0, normal, np.where(kind == 1, self.mean + WIDE * stretched, narrow))

    def log_density(self, z: Array) -> Array:
        return np.asarray(logsumexp(self._parts(z), axis=0))

    def worth(self, z: Array, share: Array) -> tuple[float, ...]:
        """How much of the weight of sets drawn from it each part would have found (Douc and others 2007)."""
        found = np.exp(self._parts(z) - self.log_density(z)) @ share
        return tuple((LEAST + (1 - 3 * LEAST) * found / found.sum()).tolist())

    def _parts(self, z: Array) -> Array:
        size = len(self.mean)
        at, around = (np.linalg.solve(self.root, (points - self.mean).T).T for points in (z, self.centres))
        apart = (at**2).sum(axis=1)[:, None] - 2 * np.einsum("si,ci->sc", at, around) + (around**2).sum(axis=1)
        scale = np.log(np.diag(self.root)).sum()
        wide = _log_t((at**2).sum(axis=1), size, WIDE) - scale
        narrow = logsumexp(_log_t(np.maximum(apart, 0.0), size, NARROW), axis=1) - np.log(len(around)) - scale
        return np.array([_Normal(size).log_density(z), wide, narrow]) + np.log(self.parts)[:, None]


def _log_t(squared: Array, size: int, width: float) -> Array:
    """Log density of a multivariate t of some width at squared distances from its middle."""
    whole = gammaln((FREEDOM + size) / 2) - gammaln(FREEDOM / 2) - 0.5 * size * np.log(FREEDOM * np.pi * width**2)
    return np.asarray(whole - 0.5 * (FREEDOM + size) * np.log1p(squared / FREEDOM / width**2))


def _joined(by_round: list[Array]) -> Array:
    """Log weights of all rounds; each round counts by how many effective sets it has, and all together as one."""
    worth = np.array([max(_effective(weights), 1e-9) for weights in by_round])
    return np.concatenate([w + np.log(n) for w, n in zip(by_round, worth / worth.mean(), strict=True)])


def _effective(log_weights: Array) -> float:
    if not np.isfinite(log_weights).any():
        return 0.0
    even = np.exp(log_weights - log_weights.max())
    return float(even.sum() ** 2 / np.einsum("i,i->", even, even))


def _tempered(log_weights: Array, wanted: float) -> Array:
    """Shares of the weight, evened out by a power so that as many sets as wanted carry it."""
    possible = np.isfinite(log_weights)
    if not possible.any():
        return np.full(len(log_weights), 1 / len(log_weights))
    low, high, some = 0.0, 1.0, log_weights[possible]
    if _effective(some) < wanted:
        for _ in range(40):
            power = (low + high) / 2
            low, high = (power, high) if _effective(power * some) > wanted else (low, power)
        some = low * some
    share = np.zeros(len(log_weights))
    share[possible] = np.exp(some - logsumexp(some))
    return share


def _around(z: Array, share: Array, parts: tuple[float, ...], rng: np.random.Generator) -> _Around:
    """The proposal that the weighted sets suggest, with a trace of the prior's spread."""
    mean = np.einsum("s,si->i", share, z)  # not `@`, whose threads cost more than they save here
    away = z - mean
    effective, size = 1.0 / (share**2).sum(), z.shape[1]
    spread = (effective * np.einsum("s,si,sj->ij", share, away, away) + np.eye(size)) / (effective + 1.0)
    at = np.searchsorted(np.cumsum(share), (rng.random() + np.arange(CENTRES)) / CENTRES).clip(0, len(z) - 1)
    return _Around(mean, np.linalg.cholesky(spread), mean + np.sqrt(1 - NARROW**2) * away[at], parts)
