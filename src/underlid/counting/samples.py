"""From samples to a total with its range, by stage.

The bin is a field of animals clumped at the scale of a fistful: what lies in a volume v of a part of the bedding is
negative binomial with mean m v and aggregation k v/0.5 L, so that counts of separate volumes add up to the same law,
and the whole bin is one large finite volume. What sorting then finds of them is thinned by the chance of being found:
again negative binomial, with mean p m v and the same aggregation. So the samples tell the density of what is *found*,
a, and never p, which comes from `detection`; the animals there are a/p.

For each stage `density` holds the posterior of all that. A vague count is the sum over the numbers it may mean.
Each draw settles what was really found, what was overlooked in the samples, and who lives in the rest of the bin; so no
total is ever below what was found.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtr

from underlid.counting import CannotTell
from underlid.counting.clumping import log_probability, moment_k
from underlid.counting.density import FISTFUL_L, draw_parameters, log_likelihood
from underlid.counting.detection import Chance
from underlid.counting.found import Sample, possible, quantile
from underlid.counting.parts import ANYWHERE, Bedding
from underlid.quantity.points import three
from underlid.records import STAGES, Stage

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

TOGETHER = 0.5  # correlation of what is not known between stages, as they share clumps and sorter: our judgement
WHOLE = 0.95  # of the bedding; samples that hold this much of it are a full sort
TOO_MUCH = 1.1  # of the bedding; samples cannot hold more
CROWDED = (100, 10_000)  # that many of a stage, and that many a litre, are a slip of the pen: our judgement
DRAWS = 4000
FEWEST = 0.02  # share of the draws that must agree with what was seen


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of what is not known about a stage, (draws,); `finds_per_litre` is (draws, parts)."""

    total: Array
    per_litre: Array
    clumping: Array
    finds_per_litre: Array


@dataclass(frozen=True, slots=True)
class StageTotal:
    """One stage in the whole bedding.

    found : least and most found in all samples together; samples : how many of them looked for it
    total, per_litre, clumping : 5, 50 and 95 %; clumping is k of half a litre
    spread : the samples' own k, None for no sign of clumping, "unknown" with fewer than three alike
    """

    stage: Stage
    found: tuple[float, float]
    samples: int
    total: Points
    per_litre: Points
    clumping: Points
    spread: float | str | None
    draws: Draws = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Estimate:
    """All stages; `worms` and `worms_per_litre` are of all stages looked for but cocoons, None if there are none.

    parts : those of the bedding, with how many samples each; whole : whether the samples are all of the bedding
    disagrees : what was seen that hardly any draw agrees with
    """

    stages: tuple[StageTotal, ...]
    worms: Points | None
    worms_per_litre: Points | None
    not_looked_for: tuple[Stage, ...]
    parts: tuple[tuple[str, int], ...]
    litres_sampled: float
    litres: Points
    whole: bool
    disagrees: tuple[str, ...]


def estimate(
    samples: Sequence[Sample],
    bedding: Bedding,
    chances: Mapping[Stage, Chance],
    rng: np.random.Generator,
    *,
    seen: Mapping[str, float] | None = None,
    draws: int = DRAWS,
) -> Estimate:
    """How many animals of each stage live in the bedding.

    Parameters
    ----------
    samples : in any order; the same samples and seed give the same answer
    chances : of an animal being found that is there, by stage
    seen : one-sided evidence: stage, or "worm" for any but cocoons, -> at least so many live here
    draws : how many draws of the posterior the percentiles rest on

    Raises
    ------
    CannotTell : without samples, or where they hold more than the bedding, or more animals than bedding can
    """
    if not samples:
        raise CannotTell("No samples: a total needs animals counted out of a known volume.")
    samples = sorted(samples, key=lambda s: (s.place, s.volume.low, s.volume.high, str(s.counts)))
    sampled = sum(sample.litres for sample in samples)
    if sum(sample.volume.low for sample in samples) > TOO_MUCH * bedding.litres.high:
        raise CannotTell(
            f"The samples hold {sampled:.3g} litres, more than the {bedding.litres.high:.3g} litres of bedding at "
            "most: either the same bedding was sampled more than once (ask for one day alone) or a volume is wrong."
        )
    for sample in samples:
        for stage, count in sample.counts:
            if count.low > CROWDED[0] and count.low > CROWDED[1] * sample.volume.high:
                raise CannotTell(
                    f"{count.low:.0f} {stage}s in {sample.litres:.3g} litres are more than any bedding holds: check "
                    "the count and the volume with its unit."
                )
    strange = {sample.place for sample in samples} - set(bedding.shares) - {ANYWHERE}
    if strange:
        raise CannotTell(f"No share of the bedding is known for {', '.join(sorted(strange))}.")
    parts = sorted({*bedding.shares, *(sample.place for sample in samples)})
    whole = sampled >= WHOLE * (bedding.litres.low + bedding.litres.high) / 2
    # The same scoop errs the same way each time: one share for all volumes.
    u = rng.random((2, draws))
    drawn = np.sum([quantile(sample.volume, u[0]) for sample in samples], axis=0)
    litres = drawn if whole else np.maximum(quantile(bedding.litres, u[1]), drawn)
    nominal = litres * sampled / drawn  # the bedding, in litres as the scoop has them
    rest = np.array([_rest(part, parts, samples, bedding, nominal, whole) for part in parts]).T
    common = rng.standard_normal((draws, 2 + len(parts)))
    looked_for = [stage for stage in STAGES if any(stage in dict(sample.counts) for sample in samples)]
    found = {stage: _draw(stage, samples, parts, rest, litres, chances[stage], common, rng) for stage in looked_for}
    keep, disagrees = _agree(found, seen or {})
    worms = [stage for stage in looked_for if stage != "cocoon"]
    total = sum((found[stage].total[keep] for stage in worms), np.zeros(int(keep.sum())))
    return Estimate(
        tuple(_told(stage, found[stage], keep, samples) for stage in looked_for),
        three(total) if worms else None,
        three(total / litres[keep]) if worms else None,
        tuple(stage for stage in STAGES if stage not in looked_for),
        tuple((part, sum(sample.place == part for sample in samples)) for part in parts),
        sampled,
        three(litres[keep]),
        whole,
        disagrees,
    )


# --- inside ----------------------------------------------------------------------------------------------


def _rest(
    part: str, parts: Sequence[str], samples: Sequence[Sample], bedding: Bedding, nominal: Array, whole: bool
) -> Array:
    """What was not sampled of a part [L as the scoop has them], (draws,)."""
    if whole:
        return np.zeros_like(nominal)
    share = bedding.shares.get(part, 0.0)
    taken = sum(sample.litres for sample in samples if sample.place == part and share)
    anywhere = sum(sample.litres for sample in samples if sample.place not in bedding.shares)
    return np.asarray(np.maximum(0.0, share * (nominal - anywhere) - taken))


def _draw(
    stage: Stage, samples: Sequence[Sample], parts: Sequence[str], rest: Array, litres: Array, chance: Chance,
    common: Array, rng: np.random.Generator,
) -> Draws:  # fmt: skip
    """Draws of one stage; `common` (draws, 2 + parts) are the normals that all stages share."""
    own = rng.standard_normal(common.shape)
    u = ndtr(math.sqrt(TOGETHER) * common + math.sqrt(1 - TOGETHER) * own)
    likelihood = np.array([log_likelihood(stage, [s for s in samples if s.place == part]) for part in parts])
    clumping, log_finds = draw_parameters(likelihood, u[:, 0], u[:, 2:], rng)
    finds = np.exp(log_finds)
    p = np.maximum(betaincinv(chance.found, chance.missed, u[:, 1]), 1e-3)
    total = np.zeros(len(p))
    for sample in samples:
        count = dict(sample.counts).get(stage)
        here, k = finds[:, parts.index(sample.place)] * sample.litres, clumping * sample.litres / FISTFUL_L
        x = _settle(possible(count), here, k, rng) if count is not None else np.zeros(len(p))
        if count is None:  # not looked for: all of this sample is as unknown as the rest
            total += _animals(here / p, k, rng)
        else:  # what is there of a clumped place, given what was found of it: a gamma, thinned the other way
            total += x + rng.poisson(rng.gamma(k + x) / (k / here + 1) * (1 - p) / p)
    for part in range(len(parts)):
        total += _animals(finds[:, part] / p * rest[:, part], clumping * rest[:, part] / FISTFUL_L, rng)
    return Draws(total, total / litres, clumping, finds)


def _settle(count: tuple[Array, Array], mean: Array, k: Array, rng: np.random.Generator) -> Array:
    """What was really found, of the numbers a vague count may mean, (draws,)."""
    values, weights = count
    if len(values) == 1:
        return np.full(len(mean), values[0])
    log_p = log_probability(values, mean[:, None], k[:, None]) + np.log(weights)
    inside = np.cumsum(np.exp(log_p - log_p.max(axis=1, keepdims=True)), axis=1)
    return np.asarray(values[(inside < rng.random((len(mean), 1)) * inside[:, -1:]).sum(axis=1)])


def _animals(mean: Array, k: Array, rng: np.random.Generator) -> Array:
    """Negative binomial numbers, 0 where the mean is."""
    clump = rng.gamma(np.maximum(k, 1e-12)) / np.maximum(k, 1e-12)
    return np.asarray(rng.poisson(np.minimum(mean * clump, 1e15)), float)


def _agree(found: Mapping[Stage, Draws], seen: Mapping[str, float]) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
    """Which draws hold at least what was seen, and what hardly any of them holds."""
    keep = np.ones(len(next(iter(found.values())).total), bool)
    disagrees = []
    for who, least in sorted(seen.items()):
        meant = {stage for stage in found if stage != "cocoon"} if who == "worm" else {who}
        totals = [draws.total for stage, draws in found.items() if stage in meant]
        if not totals:
            continue
        agree = np.sum(totals, axis=0) >= least
        if (keep & agree).mean() < FEWEST:
            disagrees.append(who)
        else:
            keep &= agree
    return keep, tuple(disagrees)


def _told(stage: Stage, drawn: Draws, keep: NDArray[np.bool_], samples: Sequence[Sample]) -> StageTotal:
    counts = [(sample.litres, count) for sample in samples for who, count in sample.counts if who == stage]
    ends = [possible(count)[0] for _, count in counts]
    alike = len({litres for litres, _ in counts}) == 1 and all(len(values) == 1 for values in ends)
    spread: float | str | None = "unknown"
    if alike and len(counts) >= 3 and any(values[0] for values in ends):
        spread = moment_k([int(values[0]) for values in ends])
    return StageTotal(
        stage,
        (sum(float(values[0]) for values in ends), sum(float(values[-1]) for values in ends)),
        len(counts),
        three(drawn.total[keep]),
        three(drawn.per_litre[keep]),
        three(drawn.clumping[keep]),
        spread,
        Draws(drawn.total[keep], drawn.per_litre[keep], drawn.clumping[keep], drawn.finds_per_litre[keep]),
    )
