"""From samples to a total with its range, by stage.

The bin is a field of animals clumped at the scale of a fistful: what lies in a volume v of a part of the bedding is
negative binomial with mean m v and aggregation k v/0.5 L, so that counts of separate volumes add up to the same law,
and the whole bin is one large finite volume. What sorting then finds of them is thinned by the chance of being found:
again negative binomial, with mean p m v and the same aggregation. So the samples tell the density of what is *found*,
a, and never p, which comes from `detection`; the animals there are a/p.

For each stage, on a grid: the log of the overall density of finds, the parts' densities around it (spread tau), and k.
A vague count is the sum over the numbers it may mean. From that posterior each draw settles what was really found,
what was overlooked in the samples, and who lives in the rest of the bin; so no total is ever below what was found.

The priors are judgements: k lognormal with median 1.5 and 90 % of 0.3 to 8 in half a litre; tau lognormal with median
0.6 and 90 % of 0.2 to 2; finds per litre lognormal with median 5 and 90 % of 0.05 to 500.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, logsumexp, ndtr

from underlid.counting import CannotTell
from underlid.counting.clumping import log_probability, moment_k
from underlid.counting.detection import Chance
from underlid.counting.found import Sample, possible, quantile
from underlid.counting.parts import ANYWHERE, Bedding
from underlid.records import STAGES, Stage

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 %

FISTFUL_L = 0.5
LOG_DENSITY = np.linspace(math.log(1e-3), math.log(5e3), 300)  # of finds, log of animals per litre
DENSITY_PRIOR = (math.log(5.0), math.log(100) / 1.645)
_Z = np.linspace(-2.5, 2.5, 11)
CLUMPING = 1.5 * np.exp(_Z)  # k of a fistful
LOG_CLUMPING_PRIOR = -0.5 * _Z**2
_Z_APART = np.linspace(-2.0, 2.0, 5)
APART = 0.6 * np.exp(0.7 * _Z_APART)  # tau
LOG_APART_PRIOR = -0.5 * _Z_APART**2
TOGETHER = 0.5  # correlation of what is not known between stages, as they share clumps and sorter: our judgement
WHOLE = 0.95  # of the bedding; samples that hold this much of it are a full sort
TOO_MUCH = 1.1  # of the bedding; samples cannot hold more
CROWDED = (100, 2000)  # that many of a stage, and that many a litre, are a slip of the pen: our judgement
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
                    "the "
                    "count and the volume with its unit."
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
        points(total) if worms else None,
        points(total / litres[keep]) if worms else None,
        tuple(stage for stage in STAGES if stage not in looked_for),
        tuple((part, sum(sample.place == part for sample in samples)) for part in parts),
        sampled,
        points(litres[keep]),
        whole,
        disagrees,
    )


def points(values: Array) -> Points:
    """5, 50 and 95 %."""
    low, middle, high = np.percentile(values, (5, 50, 95))
    return float(low), float(middle), float(high)


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


def _log_likelihood(stage: Stage, samples: Sequence[Sample]) -> Array:
    """Of the counts of one part, (clumping, log density)."""
    total = np.zeros((len(CLUMPING), len(LOG_DENSITY)))
    exact: dict[float, list[float]] = {}
    for sample in samples:
        count = dict(sample.counts).get(stage)
        if count is None:
            continue
        values, weights = possible(count)
        if len(values) == 1:
            exact.setdefault(sample.litres, []).append(values[0])
        else:
            total += logsumexp(_log_counts(values, sample.litres), axis=-1, b=weights)
    for litres, found in exact.items():
        values, times = np.unique(found, return_counts=True)
        total += (_log_counts(values, litres) * times).sum(axis=-1)
    return total


def _log_counts(values: Array, litres: float) -> Array:
    """Log probability of finding that many in so many litres, (clumping, log density, values)."""
    k = (CLUMPING * litres / FISTFUL_L)[:, None, None]
    return log_probability(values, (np.exp(LOG_DENSITY) * litres)[:, None], k)


def _draw(
    stage: Stage, samples: Sequence[Sample], parts: Sequence[str], rest: Array, litres: Array, chance: Chance,
    common: Array, rng: np.random.Generator,
) -> Draws:  # fmt: skip
    """Draws of one stage; `common` (draws, 2 + parts) are the normals that all stages share."""
    own = rng.standard_normal(common.shape)
    u = ndtr(math.sqrt(TOGETHER) * common + math.sqrt(1 - TOGETHER) * own)
    likelihood = np.array([_log_likelihood(stage, [s for s in samples if s.place == part]) for part in parts])
    clumping, log_finds = _draw_parameters(likelihood, u[:, 0], u[:, 2:], rng)
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


def _draw_parameters(
    likelihood: Array, u_overall: Array, u_parts: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Clumping (draws,) and log finds per litre (draws, parts) from the posterior on the grid.

    `likelihood` is (parts, clumping, log density). Uniforms turn into densities by rising order, so that correlated
    ones make correlated densities.
    """
    peak = likelihood.max(axis=(1, 2), keepdims=True)
    like = np.exp(likelihood - peak)
    mean, sd = DENSITY_PRIOR
    prior = -0.5 * ((LOG_DENSITY - mean) / sd) ** 2
    around = _around()
    with np.errstate(divide="ignore"):
        # Not `@`: for matrices this small its threads cost more than they save, and a busy machine waits on them.
        each = np.log(np.einsum("tma,pka->pmkt", around, like)).sum(axis=0)
    log_weight = each + prior[:, None, None] + LOG_CLUMPING_PRIOR[:, None] + LOG_APART_PRIOR
    weight = np.exp(log_weight - log_weight.max()).ravel()
    node = np.searchsorted(np.cumsum(weight), u_overall * weight.sum()).clip(0, len(weight) - 1)
    overall, k, tau = np.unravel_index(node, log_weight.shape)
    step = LOG_DENSITY[1] - LOG_DENSITY[0]
    log_finds = np.empty_like(u_parts)
    for part in range(len(likelihood)):
        inside = np.cumsum(around[tau, overall] * like[part][k], axis=1)
        at = (inside < u_parts[:, part, None] * inside[:, -1:]).sum(axis=1).clip(0, len(LOG_DENSITY) - 1)
        log_finds[:, part] = LOG_DENSITY[at] + step * (rng.random(len(at)) - 0.5)
    return CLUMPING[k], log_finds


@cache
def _around() -> Array:
    """How likely a part's log density is for each tau and overall one, (tau, overall, part's)."""
    around = np.exp(-0.5 * ((LOG_DENSITY[:, None] - LOG_DENSITY) / APART[:, None, None]) ** 2)
    return np.asarray(around / around.sum(axis=2, keepdims=True))


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
        points(drawn.total[keep]),
        points(drawn.per_litre[keep]),
        points(drawn.clumping[keep]),
        spread,
        Draws(drawn.total[keep], drawn.per_litre[keep], drawn.clumping[keep], drawn.finds_per_litre[keep]),
    )
