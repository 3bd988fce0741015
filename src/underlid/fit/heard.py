"""How probable the words of one occasion are, given the animals by stage there are.

A sample of a bin in which animals clump like a gamma field holds a beta-binomial share of them (the negative binomial
of a bin without end, brought to a finite one), several samples of one day a Dirichlet-multinomial one; of what is
there, each animal is found with its stage's chance.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.counting.samples import WHOLE
from underlid.fit.tally import Rows
from underlid.threads import deal
from underlid.worms.chance import LEAN, begin, binomial, uniform

Array = NDArray[np.float64]

STAGES = 5
OFTEN = 20  # draws of who can be found, for the chance of a slip


class Looking(NamedTuple):
    """What is looked at, and how well, (sets, ...) each.

    founders : (sets,) animals; adult_share : of them; cocoons : expected among them; food_kg : dry, at first
    found : (sets, 5) chance of finding an animal by stage; concentration : (sets,) of the field of animals, the k of
    the whole bedding; share : (sets, samples) of the animals that each sample holds on average
    """

    founders: NDArray[np.int64]
    adult_share: Array
    cocoons: Array
    food_kg: Array
    found: Array
    concentration: Array
    share: Array


def slips(rows: Rows, looking: Looking, stages: NDArray[np.int64], seed: int) -> Array:
    """Chance that each occasion was a slip, for lives (sets, states, 5) that were drawn; (sets, occasions)."""
    out = np.zeros((len(stages), len(rows.ends)))
    deal(_slips, len(stages), rows, looking, stages, seed, out)
    return out


@nb.njit(cache=True, nogil=True)
def _slips(begun, end, rows, looking, stages, seed, out):  # type: ignore[no-untyped-def]
    for s in range(begun, end):
        stream = np.empty(1, np.uint64)
        begin(stream, seed, s, -1)
        for part in range(rows.part_state.shape[0]):
            o, there = rows.part_occasion[part], stages[s, rows.part_state[part]]
            for _ in range(OFTEN):  # who can be found is drawn anew each time
                words = heard(rows, looking, s, o, there, stream)
                out[s, o] += rows.part_weight[part] * words / OFTEN
        for o in range(rows.ends.shape[0]):
            slip = rows.slip[o] * rows.slip_chance[o]
            out[s, o] = slip / (slip + (1.0 - rows.slip[o]) * out[s, o])


@nb.njit(**LEAN)
def heard(rows, looking, s, o, stages, stream):  # type: ignore[no-untyped-def]
    """Probability of the words of one occasion, given the animals by stage there are."""
    for g in range(rows.sightings[o], rows.sightings[o + 1]):
        there = 0
        for stage in range(STAGES):
            if rows.who[g, stage]:
                there += stages[stage]
        if there < rows.least[g]:
            return 0.0
    chance = 1.0
    for stage in range(STAGES):
        chance *= _counted(rows, looking, s, o, stage, stages[stage], stream)
        if chance == 0.0:
            return 0.0
    return chance


@nb.njit(**LEAN)
def _counted(rows, looking, s, o, stage, there, stream):  # type: ignore[no-untyped-def]
    """Probability of all counts of one stage on one occasion; of several samples, an unbiased estimate."""
    first, after = rows.samples[o], rows.samples[o + 1]
    held, many = 0.0, 0
    for i in range(first, after):
        for c in range(rows.counts[i], rows.counts[i + 1]):
            if rows.stage[c] == stage:  # a sample where the stage was not looked for says nothing about it
                held += looking.share[s, i]
                many += 1
    if many == 0:
        return 1.0
    p, k = looking.found[s, stage], looking.concentration[s]
    if held >= WHOLE:
        if many == 1:
            return _sorted_out(rows, first, after, stage, there, p)
        return _shared_out(rows, looking, s, first, after, stage, there, p, stream)
    left, rest, chance = binomial(stream, there, p), k, 1.0
    for i in range(first, after):
        for c in range(rows.counts[i], rows.counts[i + 1]):
            if rows.stage[c] == stage:
                mine = k * looking.share[s, i]
                said, meant = _share_of(rows, c, left, mine, rest - mine, stream)
                chance, left, rest = chance * said, left - meant, rest - mine
    return chance


@nb.njit(**LEAN)
def _share_of(rows, c, there, mine, rest, stream):  # type: ignore[no-untyped-def]
    """Probability of the words of a count, of so many findable animals shared out by a beta of (mine, rest).

    Beside it a number that the words may mean, drawn as probable as it is: so many fewer are left for the next sample.
    """
    rest = max(rest, 1e-9)
    base = math.lgamma(there + 1.0) + math.lgamma(mine + rest) - math.lgamma(mine) - math.lgamma(rest)
    base -= math.lgamma(there + mine + rest)
    total, meant = 0.0, 0
    for v in range(rows.values[c], rows.values[c + 1]):
        x = rows.value[v]
        if x <= there:
            log_p = base + math.lgamma(x + mine) + math.lgamma(there - x + rest)
            log_p -= math.lgamma(x + 1.0) + math.lgamma(there - x + 1.0)
            here = rows.weight[v] * math.exp(log_p)
            total += here
            if uniform(stream) * total < here:
                meant = int(x)
    return total, meant


@nb.njit(**LEAN)
def _sorted_out(rows, first, after, stage, there, p):  # type: ignore[no-untyped-def]
    """Probability of the words of the one count of a stage in a full sort."""
    total = 0.0
    for i in range(first, after):
        for c in range(rows.counts[i], rows.counts[i + 1]):
            if rows.stage[c] == stage:
                for v in range(rows.values[c], rows.values[c + 1]):
                    total += rows.weight[v] * math.exp(_log_binomial(there, rows.value[v], p))
    return total


@nb.njit(**LEAN)
def _shared_out(rows, looking, s, first, after, stage, there, p, stream):  # type: ignore[no-untyped-def]
    """The same of several that make up a full sort, at a meaning drawn for each: their sum, and how they share it."""
    log_p, found_in_all, alpha = 0.0, 0, 0.0
    for i in range(first, after):
        for c in range(rows.counts[i], rows.counts[i + 1]):
            if rows.stage[c] == stage:
                mine = looking.concentration[s] * looking.share[s, i]
                total, meant = 0.0, 0
                for v in range(rows.values[c], rows.values[c + 1]):
                    total += rows.weight[v]
                    if uniform(stream) * total < rows.weight[v]:
                        meant = int(rows.value[v])
                log_p += math.log(total) + math.lgamma(meant + mine) - math.lgamma(mine) - math.lgamma(meant + 1.0)
                found_in_all, alpha = found_in_all + meant, alpha + mine
    log_p += math.lgamma(found_in_all + 1.0) + math.lgamma(alpha) - math.lgamma(found_in_all + alpha)
    return math.exp(log_p + _log_binomial(there, found_in_all, p))


@nb.njit(**LEAN)
def _log_binomial(n, x, p):  # type: ignore[no-untyped-def]
    if x > n:
        return -np.inf
    ways = math.lgamma(n + 1.0) - math.lgamma(x + 1.0) - math.lgamma(n - x + 1.0)
    return ways + x * math.log(p) + (n - x) * math.log1p(-min(p, 1.0 - 1e-12))
