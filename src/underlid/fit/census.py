"""How many live there, from the first founder to the last day asked: a colony fitted to bedding and tally together.

The likelihood of each parameter set is the particle filter's unbiased estimate. Each set lives in one draw of the
fitted bedding, so heat and colony are fitted as one.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlid import __version__
from underlid.fit.colony import Prior
from underlid.fit.filter import lives, log_likelihood
from underlid.fit.heard import slips
from underlid.fit.sampler import ROUNDS, sample, settled
from underlid.fit.study import model_text
from underlid.fit.tally import Tally
from underlid.quantity.points import three
from underlid.records import STAGES
from underlid.weather.series import DAY_S
from underlid.worms.lifecycle import Lives

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

SETS = 500  # drawn in a round
PARTICLES, SHARP_PARTICLES = 48, 150  # and where samples hold much of the bedding, as few lives agree with such a count
MUCH = 0.5  # of it
DRAWS = 200  # lives kept
DOUBTFUL = 0.5  # chance of a slip from which an occasion is told as one
#: What a census is made by, beside the bedding's fit that it is told of.
MADE_BY = (("worms", None), ("counting", None), ("fit", None))
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
        return settled(self.effective, self.largest)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be said before any figure of this census is read."""
        if not self.used:
            return ("Nothing was counted or seen: these figures rest on founders, bedding and published rates alone.",)
        if self.settled:
            return ()
        return (
            f"The fit has not settled ({self.effective:.0f} effective sets, one carries {self.largest:.0%} of the "
            "weight): read its ranges with doubt. Counts that contradict each other or the founders are the usual "
            "reason.",
        )

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
    rng = np.random.default_rng([seed, 3])
    beddings: list[NDArray[np.int64]] = []

    def heard(z: Array) -> Array:
        first = sum(map(len, beddings))
        beddings.append(np.resize(rng.permutation(prior.draws), len(z)))
        possible = prior.possible(z, beddings[-1], tally)
        return log_likelihood(
            tally.rows, possible.looking, possible.course, possible.colony, seed, first, particles
        )  # fmt: skip

    weighted = sample(
        heard, prior.size, sets, rng, rounds=ROUNDS if len(tally) else 1, progress=lambda done: progress(0.95 * done)
    )  # fmt: skip
    z, lives_in, chosen = weighted.z, np.concatenate(beddings), weighted.drawn(draws, rng)
    copies = np.concatenate([np.arange(n) for n in np.unique(chosen, return_counts=True)[1]])
    possible = prior.possible(z[chosen], lives_in[chosen], tally)
    states = possible.course.laid.shape[1] + 1
    found = Lives(
        *lives(
            tally.rows, possible.looking, possible.course, possible.colony, seed, chosen, copies, particles, states
        )
    )  # fmt: skip
    progress(1.0)
    time_utc = prior.study.case.time_utc[0] + DAY_S * np.arange(states)
    return Census(
        found, time_utc, z[chosen], lives_in[chosen],
        slips(tally.rows, possible.looking, found.stages, seed).mean(axis=0),
        weighted.log_evidence, weighted.effective, weighted.largest, len(tally), seed,
        (*prior.notes, *tally.left_out),
    )  # fmt: skip


def census_key(prior: Prior, tally: Tally, seed: int) -> str:
    """A digest of what a census depends on: the same key means the same lives."""
    digest = hashlib.blake2b(digest_size=16)
    digest.update(repr((__version__, seed, prior.founders, prior.bedding, prior.area_m2, tally.volumes)).encode())
    case = prior.study.case
    digest.update(repr((case.species, case.situation, int(case.time_utc[0]), prior.notes, tally.left_out)).encode())
    for values in (*tally.rows, *(getattr(prior.habitat, field.name) for field in fields(prior.habitat))):
        digest.update(np.ascontiguousarray(values).tobytes())
    digest.update(model_text(MADE_BY))
    return "census-" + digest.hexdigest()


def particles_for(prior: Prior, tally: Tally) -> int:
    """How many particles each set needs: more where samples of one day hold much of the bedding."""
    first = tally.rows.samples
    litres = [(volume.low + volume.high) / 2 for volume in tally.volumes]
    bedding = (prior.bedding.litres.low + prior.bedding.litres.high) / 2
    much = any(sum(litres[a:b]) > MUCH * bedding for a, b in pairwise(first))
    return SHARP_PARTICLES if much else PARTICLES
