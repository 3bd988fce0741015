"""The linear chain: animals in stages of equal pace move on by a Poisson number of stages in a step.

A stage's count is drawn as a whole, and all stages of a span together: who moves on by one stage at least, of those who
by two, and so on (`chance.thin`). The numbers are those that drawing for each animal by itself would give.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.worms.chance import LEAN, MOST_WORDS, binomial, thin, uniform

SINGLY = 16  # animals are moved on one by one, by trial
REST = 1e-14  # of the animals may be thought to go further than is reckoned


class Room(NamedTuple):
    """Where a step does its sums: (3, stages) animals that move or die, and the bits that decide."""

    moving: NDArray[np.int64]
    bits: NDArray[np.uint64]


@nb.njit(cache=True)
def room_for(stages):  # type: ignore[no-untyped-def]
    """Room for spans of so many stages at most."""
    return Room(np.empty((3, stages), np.int64), np.empty((3, MOST_WORDS + 1), np.uint64))


@nb.njit(**LEAN)
def pace_of(mean):  # type: ignore[no-untyped-def]
    """Of a Poisson number of stages: the mean, the chance of none, and of more than none."""
    return mean, math.exp(-mean), -math.expm1(-mean)


@nb.njit(**LEAN)
def move_on(row, first, after, hazard, pace, room, stream):  # type: ignore[no-untyped-def]
    """Let the animals of a span of stages die or move on, by a Poisson number of stages; see `pace_of`.

    Returns how many left its end, and how many died. Who moves and who dies are drawn as one, then told apart; of
    those who have moved by so many stages at least, it is drawn who moves by one more.
    """
    mean, term, tail = pace  # term and tail: the chance of exactly n stages, and of more than n
    dies = -math.expm1(-hazard) if hazard > 0.0 else 0.0
    changes = dies + (1.0 - dies) * tail
    stages, left, dead, now, then = after - first, 0, 0, 0, 1
    moving, dying = room.moving, room.moving[2]
    going = thin(stream, row, first, after, changes, moving[now], room.bits)
    if going == 0:
        return 0, 0
    for i in range(np.uint64(stages)):
        row[np.uint64(first) + i] -= moving[now, i]
    if dies > 0.0:
        dead = thin(stream, moving[now], 0, stages, dies / changes, dying, room.bits)
        going -= dead
        if dead > 0:
            for i in range(np.uint64(stages)):
                moving[now, i] -= dying[i]
    moved = 0
    while going > 0:
        moved += 1  # now in the stage after the one where they were counted
        left += moving[now, stages - moved]
        going -= moving[now, stages - moved]
        term *= mean / moved
        rest = tail - term
        if going <= SINGLY:
            left += _move_singly(row, moving[now], first + moved, after, mean, moved, term, rest, tail, stream)
            return left, dead
        further = rest / tail if rest > REST else 0.0
        tail = rest
        going = thin(stream, moving[now], 0, stages - moved, further, moving[then], room.bits)
        for i in range(np.uint64(stages - moved)):
            row[np.uint64(first + moved) + i] += moving[now, i] - moving[then, i]
        now, then = then, now
    return left, dead


@nb.njit(**LEAN)
def _move_singly(row, moving, first, after, mean, moved, term, rest, tail, stream):  # type: ignore[no-untyped-def]
    """The same for the last few, one by one: the chance to have moved on further is `rest`, of those here `tail`."""
    left = 0
    for i in range(np.uint64(after - first)):
        for _ in range(moving[i]):
            stop, at, n, chance, exactly = tail * uniform(stream), first + np.int64(i), moved, rest, term
            while chance > stop and chance > REST and at < after:
                at += 1
                n += 1
                exactly *= mean / n
                chance -= exactly
            if at < after:
                row[at] += 1
            else:
                left += 1
    return left


@nb.njit(**LEAN)
def enter(row, entering, first, after, most, pace, stream):  # type: ignore[no-untyped-def]
    """Set down animals that enter stage `first` at a uniform moment of the step and move on, by `most` stages at most,
    in the rest of it; returns how many leave the span's end."""
    if entering == 0:
        return 0
    # The chance of exactly n is the chance of more than n in the whole step, over the pace.
    mean, term, more = pace
    tail, at, moved = 1.0, first, 0
    while at < after and entering > 0:
        further = 0.0
        if moved < most and mean > 0.0:
            rest = tail - more / mean
            further = rest / tail if rest > REST else 0.0
            tail = rest
            moved += 1
            term *= mean / moved
            more -= term
        going = binomial(stream, entering, further)
        row[at] += entering - going
        entering, at = going, at + 1
    return entering
