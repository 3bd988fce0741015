"""How many live there, from the first founder to the last day asked: a colony fitted to bedding and tally together.

Parameter sets are drawn by adaptive importance sampling: the first from the prior, later ones from where the ones
before proved probable, each weighted by what it was drawn from (Cappé, Guillin, Marin & Robert 2004). To weigh all of
them by the whole mixture (Cornuet, Marin, Mira & Robert 2012) would make more of few sets, but the later proposals lie
around the very sets that they would weigh down: the evidence then came out a quarter to a half too low in trials with a
known answer. The likelihood of each is the particle filter's unbiased estimate, which leaves the weights right (Tran,
Scharth, Pitt & Kohn 2013). Each set lives in one draw of the fitted bedding, so heat and colony are fitted as one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

from underlid import __version__
from underlid.fit.colony import Prior
from underlid.fit.filter import lives, log_likelihood
from underlid.fit.heard import slips
from underlid.fit.tally import Tally
from underlid.quantity.points import three
from underlid.records import STAGES
from underlid.weather.series import HOUR_S
from underlid.worms.lifecycle import Lives

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

SETS = 500  # drawn in a round
ROUNDS = 8  # at most
PARTICLES, SHARP_PARTICLES = 48, 150  # and where samples hold much of the bedding, as few lives agree with such a count
MUCH = 0.5  # of it
DRAWS = 200  # lives kept
SETTLED = 300.0  # effective sets at which no more rounds are needed
ENOUGH = 100.0  # effective sets below which a census is not shown as good: our judgement
LARGEST_SHARE = 0.1  # of the weight, on one set, beyond which it is not either: our judgement
DOUBTFUL = 0.5  # chance of a slip from which an occasion is told as one
DEFENSIVE = 0.2  # of each later round is from the prior, so that no weight can run away
FREEDOM = 7.0  # of the multivariate t that the others are from
WIDER = 1.15  # than the sets it is made from
DAY_S = 24 * HOUR_S
KEPT_ARRAYS = ("time_utc", "z", "lives_in", "slip")
KEPT_VALUES = ("log_evidence", "effective", "largest", "used", "seed", "notes")


@dataclass(frozen=True, slots=True)
class Census:
    """Lives that fit the bedding and the tally.

    lives : (draws, states, ...) day by day; time_utc : (states,) [s]; z : (draws, parameters) standard normals behind
    them; lives_in : (draws,) which draw of the bedding; slip : (occasions,) chance that each occasion of the tally was
    a slip of the keeper's; log_evidence : of the tally; effective, largest : sets behind the weights, and the largest
    share of one; used : occasions
    """

    lives: Lives
    time_utc: NDArray[np.int64]
    z: Array
    lives_in: NDArray[np.int64]
    slip: Array
    log_evidence: float
    effective: float
    largest: float
    used: int
    seed: int
    notes: tuple[str, ...]

    @property
    def trusted(self) -> bool:
        """Whether enough sets carry the weight, and nothing that was counted or seen had to be taken for a slip."""
        return self.settled and not (self.slip > DOUBTFUL).any()

    @property
    def settled(self) -> bool:
        """Whether enough sets carry the weight."""
        return self.effective >= ENOUGH and self.largest <= LARGEST_SHARE

    def to_keep(self) -> tuple[dict[str, NDArray[Any]], dict[str, object]]:
        """The census as named arrays and plain values."""
        arrays = {name: getattr(self, name) for name in KEPT_ARRAYS}
        arrays |= {field.name: getattr(self.lives, field.name) for field in fields(Lives)}
        return arrays, {name: getattr(self, name) for name in KEPT_VALUES}

    @classmethod
    def kept(cls, arrays: dict[str, Any], values: dict[str, Any]) -> Census | None:
        """The census of what `to_keep` gave, None if something is missing."""
        try:
            lives = Lives(**{field.name: arrays.pop(field.name) for field in fields(Lives)})
            return cls(lives, **arrays, **{**values, "notes": tuple(values["notes"])})
        except (KeyError, TypeError):
            return None

    def on(self, state: int) -> dict[str, Points]:
        """Animals by stage and worms in all on one day, each 5, 50 and 95 %."""
        here = self.lives.stages[:, state]
        found: dict[str, Points] = {stage: three(here[:, i]) for i, stage in enumerate(STAGES)}
        return found | {"worms": three(here[:, 1:].sum(axis=1))}


def census(
    prior: Prior,
    tally: Tally,
    seed: int,
    *,
    sets: int = SETS,
    particles: int = PARTICLES,
    draws: int = DRAWS,
    progress: Callable[[float], None] = lambda done: None,
) -> Census:
    """Fit a colony; the same bedding, tally and seed give the same lives on any number of threads.

    particles : of each set, see `particles_for`
    `progress` is called with the share of the work done.
    """
    rng, normal = np.random.default_rng([seed, 3]), _Normal(prior.size)
    z, lives_in = np.empty((0, prior.size)), np.empty(0, np.int64)
    proposal: _Normal | _Student = normal
    by_round: list[Array] = []
    rounds = ROUNDS if len(tally) else 1
    for number in range(rounds):
        fresh = proposal.draw(sets, rng)
        where = np.resize(rng.permutation(prior.draws), sets)
        possible = prior.possible(fresh, where, tally)
        heard = log_likelihood(
            tally.rows, possible.looking, possible.course, possible.colony, seed, len(z), particles
        )  # fmt: skip
        z, lives_in = np.concatenate([z, fresh]), np.concatenate([lives_in, where])
        by_round.append(heard + normal.log_density(fresh) - proposal.log_density(fresh))
        weights = _joined(by_round)
        effective = _effective(weights)
        progress(0.95 * (number + 1) / rounds)
        if effective >= SETTLED or number + 1 == rounds:
            break
        proposal = _around(z, _tempered(weights, sets / 4))
    share = np.exp(weights - logsumexp(weights)) if np.isfinite(weights).any() else np.full(len(z), 1 / len(z))
    at = np.searchsorted(np.cumsum(share), (rng.random() + np.arange(draws)) / draws).clip(0, len(z) - 1)
    chosen, copies = at, np.concatenate([np.arange(n) for n in np.unique(at, return_counts=True)[1]])
    possible = prior.possible(z[chosen], lives_in[chosen], tally)
    states = possible.course.laid.shape[1] + 1
    found = Lives(
        *lives(
            tally.rows, possible.looking, possible.course, possible.colony, seed, chosen, copies, particles, states
        )
    )  # fmt: skip
    progress(1.0)
    time_utc = prior.study.case.time_utc[0] + DAY_S * np.arange(states)
    result = Census(
        found, time_utc, z[chosen], lives_in[chosen],
        slips(tally.rows, possible.looking, found.stages, seed).mean(axis=0),
        float(logsumexp(weights) - np.log(len(z))), effective, float(share.max()), len(tally), seed,
        (*prior.notes, *tally.left_out),
    )  # fmt: skip
    return replace(result, notes=(*_warnings(result), *result.notes))


def census_key(prior: Prior, tally: Tally, seed: int) -> str:
    """A digest of what a census depends on: the same key means the same lives."""
    digest = hashlib.blake2b(digest_size=16)
    digest.update(repr((__version__, seed, prior.founders, prior.bedding, prior.area_m2, tally.volumes)).encode())
    case = prior.study.case
    digest.update(repr((case.species, case.situation, int(case.time_utc[0]), prior.notes, tally.left_out)).encode())
    for values in (*tally.rows, *(getattr(prior.habitat, field.name) for field in fields(prior.habitat))):
        digest.update(np.ascontiguousarray(values).tobytes())
    digest.update(_model_text())
    return "census-" + digest.hexdigest()


@cache
def _model_text() -> bytes:
    """A digest of the source that makes a census: one is remembered only for the model that made it."""
    digest = hashlib.blake2b(digest_size=16)
    for package in ("worms", "counting", "fit"):
        for path in sorted(Path(str(files(f"underlid.{package}"))).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.digest()


def particles_for(prior: Prior, tally: Tally) -> int:
    """How many particles each set needs: more where samples of one day hold much of the bedding."""
    first = tally.rows.samples
    litres = [(volume.low + volume.high) / 2 for volume in tally.volumes]
    bedding = (prior.bedding.litres.low + prior.bedding.litres.high) / 2
    much = any(sum(litres[a:b]) > MUCH * bedding for a, b in pairwise(first))
    return SHARP_PARTICLES if much else PARTICLES


def _warnings(found: Census) -> list[str]:
    """What must be said before any figure of this census is read."""
    if not found.used:
        return [
            "Nothing was counted or seen: these figures rest on the founders, the bedding and published rates alone."
        ]
    if found.settled:
        return []
    return [
        f"The fit has not settled ({found.effective:.0f} effective sets, one carries {found.largest:.0%} of the "
        "weight): read its ranges with doubt. Counts that contradict each other or the founders are the usual reason."
    ]


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
class _Student:
    """A multivariate t around what proved probable, with the prior mixed in."""

    mean: Array
    root: Array  # lower triangle of the scale

    def draw(self, sets: int, rng: np.random.Generator) -> Array:
        size = len(self.mean)
        normal = rng.standard_normal((sets, size))
        stretch = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, sets))[:, None]
        from_prior = rng.random(sets) < DEFENSIVE
        return np.where(from_prior[:, None], normal, self.mean + stretch * (normal @ self.root.T))

    def log_density(self, z: Array) -> Array:
        size = len(self.mean)
        away = np.linalg.solve(self.root, (z - self.mean).T)
        inside = -0.5 * (FREEDOM + size) * np.log1p((away**2).sum(axis=0) / FREEDOM)
        scale = np.log(np.diag(self.root)).sum() + 0.5 * size * np.log(FREEDOM * np.pi)
        student = inside - scale + gammaln((FREEDOM + size) / 2) - gammaln(FREEDOM / 2)
        return np.asarray(
            np.logaddexp(np.log1p(-DEFENSIVE) + student, np.log(DEFENSIVE) + _Normal(size).log_density(z))
        )


def _joined(by_round: list[Array]) -> Array:
    """Log weights of all rounds; each round counts by how many effective sets it has, and all together as one."""
    worth = np.array([max(_effective(weights), 1e-9) for weights in by_round])
    return np.concatenate([w + np.log(n) for w, n in zip(by_round, worth / worth.mean(), strict=True)])


def _effective(log_weights: Array) -> float:
    if not np.isfinite(log_weights).any():
        return 0.0
    return float(np.exp(2 * logsumexp(log_weights) - logsumexp(2 * log_weights)))


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


def _around(z: Array, share: Array) -> _Student:
    """The proposal that the weighted sets suggest; the fewer they are, the more the prior's spread is kept."""
    mean = share @ z
    away = z - mean
    # Not `@`: for matrices this small its threads cost more than they save, and a busy machine waits on them.
    spread = np.einsum("si,sj->ij", share[:, None] * away, away)
    effective, size = 1.0 / (share**2).sum(), z.shape[1]
    spread = (effective * spread + size * np.eye(size)) / (effective + size)
    return _Student(mean, WIDER * np.linalg.cholesky(spread))
