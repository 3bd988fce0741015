"""What would narrow the range: more samples like those taken, or a recovery trial.

Futures are drawn from what is known now: one draw of the posterior says how many animals more samples would find, the
estimate is made again with them, and the widths of its range are averaged over the futures. So the answer knows of
everything the estimate knows of: clumping, parts never sampled, what sorting overlooks, a vague volume of bedding.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from underlid.counting.clumping import samples_needed
from underlid.counting.density import FISTFUL_L
from underlid.counting.detection import Chance
from underlid.counting.found import Sample, exactly
from underlid.counting.parts import Bedding
from underlid.counting.samples import Estimate, Points, estimate
from underlid.quantity.amount import VagueAmount
from underlid.records import Stage

MORE = (3, 6, 12, 24)  # samples tried
PUT_IN = 20  # animals of each stage in the recovery trial tried
FUTURES = 10
DRAWS = 400


@dataclass(frozen=True, slots=True)
class Narrowing:
    """Widths of the 90 % range of the worms, as a share of the width now, expected (0.5: half as wide).

    volume : of each further sample
    with_samples : how many more -> share of the width; those that the bin has room for
    with_trial : the share after a recovery trial with PUT_IN animals of each stage, and no more samples
    """

    volume: VagueAmount
    with_samples: Mapping[int, float]
    with_trial: float


def narrowing(
    samples: Sequence[Sample],
    bedding: Bedding,
    known: Mapping[Stage, Chance],
    now: Estimate,
    rng: np.random.Generator,
    *,
    futures: int = FUTURES,
    more: Sequence[int] = MORE,
) -> Narrowing:
    """How the range of `now`, the estimate from these samples, would shrink."""
    volume = sorted(samples, key=lambda sample: (sample.litres, str(sample.volume)))[len(samples) // 2].volume
    litres = (volume.low + volume.high) / 2
    room = 0 if now.whole else int((bedding.litres.low - now.litres_sampled) / litres)
    tried = [n for n in more if n <= room]
    seeds = rng.integers(2**63, size=futures)

    def width(seed: int, extra: Sequence[Sample], chance: Mapping[Stage, Chance]) -> float:
        # The seed of a future is the same with and without more: only what they tell makes the difference.
        found = estimate([*samples, *extra], bedding, chance, np.random.default_rng(seed), draws=DRAWS)
        return _width(found.worms or found.stages[0].total)

    before, after, learned = 0.0, dict.fromkeys(tried, 0.0), 0.0
    for seed in map(int, seeds):
        future = np.random.default_rng(seed)
        extra = _more(max(tried, default=0), volume, now, bedding, future)
        before += width(seed, (), known)
        for n in tried:
            after[n] += width(seed, extra[:n], known)
        learned += width(seed, (), _learned(known, now, future))
    shares = np.minimum.accumulate([min(1.0, after[n] / before) if before else 1.0 for n in tried])
    return Narrowing(
        volume,
        dict(zip(tried, shares.tolist(), strict=True)),
        min(1.0, learned / before) if before else 1.0,
    )


def needed(now: Estimate, volume: VagueAmount, precision: float) -> float:
    """Samples of that volume in all for a mean find with a standard error of `precision` times the mean.

    By the textbook: the middle clumping and density of all stages but cocoons together, of a bin of finite size. It
    leaves out what sorting overlooks.
    """
    litres = (volume.low + volume.high) / 2
    worms = [stage for stage in now.stages if stage.stage != "cocoon"] or list(now.stages)
    finds = [float(np.median(stage.draws.finds_per_litre.mean(axis=1))) * litres for stage in worms]
    clumping = [stage.clumping[1] * litres / FISTFUL_L for stage in worms]
    mean = sum(finds)
    # The stages share clumps; taken as independent their variances add, so the k of their sum is this.
    k = mean**2 / sum(m**2 / k for m, k in zip(finds, clumping, strict=True))
    return samples_needed(mean, precision, k, now.litres[1] / litres)


# --- inside ----------------------------------------------------------------------------------------------


def _more(
    count: int, volume: VagueAmount, now: Estimate, bedding: Bedding, rng: np.random.Generator
) -> list[Sample]:  # fmt: skip
    """Samples as one draw of the posterior has them, spread over the parts by their shares."""
    litres = (volume.low + volume.high) / 2
    names = [name for name, _ in now.parts]
    row = {stage.stage: int(rng.integers(len(stage.draws.total))) for stage in now.stages}
    taken = dict.fromkeys(bedding.shares, 0)
    extra = []
    for _ in range(count):
        place = max(taken, key=lambda part: bedding.shares[part] * (sum(taken.values()) + 1) - taken[part])
        taken[place] += 1
        counts = []
        for stage in now.stages:
            draw = row[stage.stage]
            k = float(stage.draws.clumping[draw]) * litres / FISTFUL_L
            mean = float(stage.draws.finds_per_litre[draw, names.index(place)]) * litres
            counts.append((stage.stage, exactly(int(rng.poisson(mean * rng.gamma(k) / k)))))
        extra.append(Sample(place, volume, tuple(counts)))
    return extra


def _learned(known: Mapping[Stage, Chance], now: Estimate, rng: np.random.Generator) -> dict[Stage, Chance]:
    """The chances after a trial whose outcome they expect."""
    after = dict(known)
    for stage in (each.stage for each in now.stages):
        chance = known[stage]
        p = float(betaincinv(chance.found, chance.missed, rng.random()))
        found = int(rng.binomial(PUT_IN, p))
        after[stage] = Chance(chance.found + found, chance.missed + PUT_IN - found, chance.tried + PUT_IN)
    return after


def _width(points: Points) -> float:
    """Of a range, against its middle."""
    low, middle, high = points
    return (high - low) / max(middle, 1.0)
