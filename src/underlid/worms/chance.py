"""Random numbers of the life-cycle engine: compiled, exact, and the same on any number of threads.

Every bin, and every particle of a fit, has a stream of its own, named by numbers. NumPy's generators cannot be handed
out by the thousand inside compiled loops, hence this small one: splitmix64 (Steele, Lea & Flood 2014), whose outputs
are checked against its published ones.
"""

from __future__ import annotations

import math
from typing import Any

import numba as nb
import numpy as np

GOLDEN = np.uint64(0x9E3779B97F4A7C15)
MIX_1, MIX_2 = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
NONE, ONE, TOP, ALL = np.uint64(0), np.uint64(1), np.uint64(63), np.uint64(0xFFFFFFFFFFFFFFFF)
M1, M2, M4 = np.uint64(0x5555555555555555), np.uint64(0x3333333333333333), np.uint64(0x0F0F0F0F0F0F0F0F)
BYTES = np.uint64(0x0101010101010101)
S1, S2, S4, S6, S27, S30, S31, S56 = (np.uint64(n) for n in (1, 2, 4, 6, 27, 30, 31, 56))
WORD = 2.0**64
BITS = 12  # of each uniform that are looked at before the few not yet told apart
DRAWS, SHIFT = np.uint64(BITS), np.uint64(BITS)
BLOCK = 8  # words, which a processor may handle side by side
LANES, LAST_LANE = 64, np.uint64(63)
MOST_WORDS = 128  # of room for groups thinned at once; larger ones are thinned one by one
FEW, SEVERAL_WORDS, RARE = 4, 128, 8.0  # animals looked at singly; where skipping is quicker than words: by trial
SMALL_MEAN, LONGEST = 10.0, 256  # of a Poisson number, where counting up is quicker; steps that this may take
#: For functions that make no arrays: counting who holds those handed on took half of the engine's time, and asking
#: before each division whether it is by zero a fourteenth. Numba uses the first within itself; a function that does
#: make an array is refused by it.
LEAN: dict[str, Any] = {"cache": True, "_nrt": False, "error_model": "numpy"}
PER = np.array([0.0, *(1.0 / n for n in range(1, LONGEST))])


@nb.njit(cache=True, inline="always")
def _mixed(z):  # type: ignore[no-untyped-def]
    z = (z ^ (z >> S30)) * MIX_1
    z = (z ^ (z >> S27)) * MIX_2
    return z ^ (z >> S31)


@nb.njit(cache=True, inline="always")
def word(stream):  # type: ignore[no-untyped-def]
    """The next 64 random bits of a stream, a (1,) array of uint64."""
    stream[0] += GOLDEN
    return _mixed(stream[0])


@nb.njit(**LEAN)
def begin(stream, seed, first, second):  # type: ignore[no-untyped-def]
    """Set a stream to where the one of these three numbers begins."""
    z = _mixed(np.uint64(seed) + GOLDEN)
    z = _mixed(z ^ (np.uint64(first) * GOLDEN + MIX_1))
    stream[0] = _mixed(z ^ (np.uint64(second) * MIX_2 + GOLDEN))


@nb.njit(cache=True, inline="always")
def uniform(stream):  # type: ignore[no-untyped-def]
    """Uniform in [0, 1)."""
    return np.float64(word(stream) >> np.uint64(11)) * 2.0**-53


@nb.njit(cache=True, inline="always")
def _ones(bits):  # type: ignore[no-untyped-def]
    bits -= (bits >> S1) & M1
    bits = (bits & M2) + ((bits >> S2) & M2)
    bits = (bits + (bits >> S4)) & M4
    return np.int64((bits * BYTES) >> S56)


@nb.njit(cache=True, inline="always")
def _first_bits(first, threshold, level):  # type: ignore[no-untyped-def]
    """Of 64 uniforms whose bits are the lanes of words from `first` on: those below, and those still level with it."""
    below = NONE
    for bit in range(BITS):
        drawn = _mixed(first + GOLDEN * np.uint64(bit))
        one = NONE - ((threshold >> np.uint64(63 - bit)) & ONE)  # all bits those of the threshold
        below |= level & ~drawn & one
        level &= ~(drawn ^ one)
    return below, level


@nb.njit(**LEAN)
def binomial(stream, n, p):  # type: ignore[no-untyped-def]
    """How many of n animals something befalls that befalls each with probability p.

    Exact: each animal has a uniform of its own, compared with p bit by bit, 64 animals in a word. After BITS bits
    hardly any is not told apart yet; these go on with the next bits.
    """
    if n <= 0 or not p > 0.0:
        return 0
    if p >= 1.0:
        return n
    if n > SEVERAL_WORDS and n * p < RARE:  # then from one to the next whom it befalls (Devroye 1986, chapter X.4)
        apart, befallen, at = 1.0 / math.log1p(-p), -1, -1.0
        while at < n:
            befallen += 1
            at += 1.0 + np.floor(math.log(1.0 - uniform(stream)) * apart)
        return befallen
    threshold, befallen = np.uint64(p * WORD), 0
    while n > FEW:
        words = np.uint64(n + LANES - 1) >> S6
        if words > ONE:
            words = (words + np.uint64(BLOCK - 1)) & ~np.uint64(BLOCK - 1)
        full, last = np.uint64(n) >> S6, (ONE << (np.uint64(n) & LAST_LANE)) - ONE
        state, hit, undecided = stream[0] + GOLDEN, np.int64(0), np.int64(0)
        for w in range(words):
            lanes = ALL if w < full else (last if w == full else NONE)
            below, level = _first_bits(state + GOLDEN * DRAWS * w, threshold, lanes)
            hit += _ones(below)
            undecided += _ones(level)
        stream[0] += GOLDEN * DRAWS * words
        befallen += int(hit)
        n, threshold = int(undecided), threshold << SHIFT
    for _ in range(n):
        if word(stream) < threshold:
            befallen += 1
    return befallen


@nb.njit(**LEAN)
def thin(stream, groups, first, after, p, befallen, bits):  # type: ignore[no-untyped-def]
    """How many of each group something befalls: `befallen[: after - first]` of `groups[first:after]`; returns the sum.

    The same law as `binomial` of each, with the groups side by side in the words' lanes.

    bits : (3, MOST_WORDS + 1) of uint64 to work in
    """
    many, total = after - first, 0
    for i in range(np.uint64(many)):
        befallen[i] = 0
        total += groups[np.uint64(first) + i]
    if total <= 0 or not p > 0.0:
        return 0
    if p >= 1.0:
        for i in range(many):
            befallen[i] = groups[first + i]
        return total
    if total > SEVERAL_WORDS and total * p < RARE:
        return _skip(stream, groups, first, total, p, befallen)
    if total > LANES * MOST_WORDS:
        hit = 0
        for i in range(many):
            befallen[i] = binomial(stream, groups[first + i], p)
            hit += befallen[i]
        return hit
    threshold = np.uint64(p * WORD)
    if total <= FEW:
        hit = 0
        for i in range(np.uint64(many)):
            for _ in range(groups[np.uint64(first) + i]):
                if word(stream) < threshold:
                    befallen[i] += 1
                    hit += 1
        return hit
    return _side_by_side(stream, groups, first, many, total, threshold, befallen, bits)


@nb.njit(**LEAN)
def _skip(stream, groups, first, total, p, befallen):  # type: ignore[no-untyped-def]
    apart, hit, i, end = 1.0 / math.log1p(-p), 0, 0, groups[first]
    at = np.floor(math.log(1.0 - uniform(stream)) * apart)
    while at < total:
        while at >= end:
            i += 1
            end += groups[first + i]
        befallen[i] += 1
        hit += 1
        at += 1.0 + np.floor(math.log(1.0 - uniform(stream)) * apart)
    return hit


@nb.njit(**LEAN)
def _side_by_side(stream, groups, first, many, total, threshold, befallen, bits):  # type: ignore[no-untyped-def]
    words = (np.uint64(total) + np.uint64(LANES * BLOCK - 1)) // np.uint64(LANES * BLOCK) * np.uint64(BLOCK)
    full, last = np.uint64(total) >> S6, (ONE << (np.uint64(total) & LAST_LANE)) - ONE
    below, level, before = bits[0], bits[1], bits[2]
    state, undecided = stream[0] + GOLDEN, NONE
    for w in range(words):
        lanes = ALL if w < full else (last if w == full else NONE)
        below[w], level[w] = _first_bits(state + GOLDEN * DRAWS * w, threshold, lanes)
        undecided |= level[w]
    stream[0] += GOLDEN * DRAWS * words
    threshold <<= SHIFT
    ones = NONE
    if full == words:
        below[full] = NONE  # a word beyond those drawn, where the last group ends
    if undecided != NONE:
        for w in range(words):
            left = level[w]
            while left != NONE:
                if word(stream) < threshold:
                    below[w] |= left & (NONE - left)
                left &= left - ONE
    for w in range(full + ONE):
        before[w] = ones
        ones += np.uint64(_ones(below[w]))
    end, counted = NONE, NONE
    for i in range(np.uint64(many)):
        end += np.uint64(groups[np.uint64(first) + i])
        up_to = before[end >> S6] + np.uint64(_ones(below[end >> S6] & ((ONE << (end & LAST_LANE)) - ONE)))
        befallen[i] = np.int64(up_to - counted)
        counted = up_to
    return np.int64(ones)


@nb.njit(**LEAN)
def poisson(stream, mean):  # type: ignore[no-untyped-def]
    """A Poisson number: counted up by inversion, or, of a large mean, by transformed rejection (Hörmann 1993, PTRS)."""
    if not mean > 0.0:
        return 0
    if mean > SMALL_MEAN:
        return _rejected(stream, mean)
    left, chance, n = uniform(stream), math.exp(-mean), 0
    while left >= chance and n < LONGEST - 1:
        left -= chance
        n += 1
        chance *= mean * PER[n]
    return n


@nb.njit(**LEAN)
def _rejected(stream, mean):  # type: ignore[no-untyped-def]
    b = 0.931 + 2.53 * math.sqrt(mean)
    a = -0.059 + 0.02483 * b
    while True:
        u, v = uniform(stream) - 0.5, 1.0 - uniform(stream)
        us = 0.5 - abs(u)
        if us <= 0.0:
            continue
        k = np.floor((2.0 * a / us + b) * u + mean + 0.43)
        if us >= 0.07 and v <= 0.9277 - 3.6224 / (b - 2.0):
            return np.int64(k)
        if k < 0.0 or (us < 0.013 and v > us):
            continue
        hat = math.log(v * (1.1239 + 1.1328 / (b - 3.4)) / (a / (us * us) + b))
        if hat <= k * math.log(mean) - mean - math.lgamma(k + 1.0):
            return np.int64(k)
