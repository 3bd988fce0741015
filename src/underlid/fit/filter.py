"""The compiled particle filter: how probable a tally is for each parameter set, and lives that fit it.

For each set so many colonies (particles) are lived through side by side; whenever an occasion is past they are weighted
by how probable its words are, and drawn anew once the weights have become uneven (Gordon, Salmond & Smith 1993;
systematic resampling, Kitagawa 1996). The product of the mean weights is an unbiased estimate of the likelihood
(Del Moral 2004), the same for the same seed. What a day's words are worth says `heard`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.fit.heard import Looking, heard
from underlid.fit.tally import Rows
from underlid.threads import deal
from underlid.worms.chance import LEAN, begin, uniform
from underlid.worms.lifecycle import WIDTH, Colony, Course, found, step, tell, workroom

Array = NDArray[np.float64]

UNEVEN = 0.5  # of the particles: below so many effective ones they are drawn anew


def log_likelihood(
    rows: Rows, looking: Looking, course: Course, colony: Colony, seed: int, first: int, particles: int
) -> Array:
    """Estimate of the log probability of the tally for each set, (sets,).

    course, colony : (sets, ...) each; first : number of the first set, which names its random stream
    """
    out = np.empty(len(looking.founders))
    deal(_log_likelihood, len(out), rows, looking, course, colony, seed, first, particles, out)
    return out


def lives(
    rows: Rows, looking: Looking, course: Course, colony: Colony, seed: int, numbers: NDArray[np.int64],
    copies: NDArray[np.int64], particles: int, states: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:  # fmt: skip
    """One life for each set out of those that fit the tally, on beyond it to `states`.

    numbers : (sets,) as each set was numbered for its likelihood; copies : (sets,) which of several of the same set
    Returns stages (sets, states, 5), ledger (sets, states, 6) and kg (sets, states, 3), see `worms.lifecycle.Lives`.
    """
    sets = len(looking.founders)
    out = np.empty((sets, states, 5), np.int64), np.empty((sets, states, 6), np.int64), np.empty((sets, states, 3))
    deal(_lives, sets, rows, looking, course, colony, seed, numbers, copies, particles, *out)
    return out


@nb.njit(cache=True, nogil=True)
def _log_likelihood(begun, end, rows, looking, course, colony, seed, first, particles, out):  # type: ignore[no-untyped-def]
    for s in range(begun, end):
        flock = _flock(rows, particles, 0)
        stream = np.empty(1, np.uint64)
        begin(stream, seed, first + s, 0)
        out[s] = _run(rows, looking, course, colony, s, stream, flock)


@nb.njit(cache=True, nogil=True)
def _lives(begun, end, rows, looking, course, colony, seed, numbers, copies, particles, stages, ledger, kg):  # type: ignore[no-untyped-def]
    for s in range(begun, end):
        states = stages.shape[1]
        last = min(_last(rows), states - 1)
        flock = _flock(rows, particles, last + 1)
        stream = np.empty(1, np.uint64)
        begin(stream, seed, numbers[s], 0)
        _run(rows, looking, course, colony, s, stream, flock)
        begin(stream, seed, numbers[s], 1 + copies[s])
        at = _drawn(flock.weight, uniform(stream))
        room = workroom()
        row, store = flock.rows[at].copy(), flock.stores[at].copy()
        for state in range(last, -1, -1):
            stages[s, state] = flock.stages[state, at]
            ledger[s, state] = flock.ledger[state, at]
            kg[s, state] = flock.kg[state, at]
            if state > 0:
                at = flock.parent[state, at]
        for state in range(last + 1, states):
            step(row, store, course, s, state - 1, colony, s, stream, room)
            tell(row, store, colony, s, stages[s, state], ledger[s, state], kg[s, state])


class _Flock(NamedTuple):
    """Particles of one set, and room for them; the last four keep the past, by state, of as many as asked for."""

    rows: NDArray[np.int64]
    stores: Array
    heard: Array
    weight: Array
    source: NDArray[np.int64]
    spare_rows: NDArray[np.int64]
    spare_stores: Array
    spare_heard: Array
    stages: NDArray[np.int64]
    ledger: NDArray[np.int64]
    kg: Array
    parent: NDArray[np.int64]


@nb.njit(cache=True)
def _flock(rows, particles, kept):  # type: ignore[no-untyped-def]
    occasions = rows.ends.shape[0]
    return _Flock(
        np.zeros((particles, WIDTH), np.int64), np.zeros((particles, 2)), np.zeros((particles, occasions)),
        np.full(particles, 1.0 / particles), np.arange(particles),
        np.empty((particles, WIDTH), np.int64), np.empty((particles, 2)), np.empty((particles, occasions)),
        np.empty((kept, particles, 5), np.int64), np.empty((kept, particles, 6), np.int64),
        np.empty((kept, particles, 3)), np.empty((kept, particles), np.int64),
    )  # fmt: skip


@nb.njit(cache=True)
def _last(rows):  # type: ignore[no-untyped-def]
    last = 0
    for o in range(rows.ends.shape[0]):
        last = max(last, rows.ends[o])
    return last


@nb.njit(cache=True)
def _run(rows, looking, course, colony, s, stream, flock):  # type: ignore[no-untyped-def]
    """Live through the tally; returns the log of its probability, and leaves the particles as they end."""
    particles, occasions, keeps = flock.weight.shape[0], rows.ends.shape[0], flock.parent.shape[0] > 0
    room, part, total = workroom(), 0, 0.0
    stages, ledger, kg = np.empty(5, np.int64), np.empty(6, np.int64), np.empty(3)
    for m in range(particles):
        found(flock.rows[m], looking.founders[s], looking.adult_share[s], looking.cocoons[s], stream)
        flock.stores[m, 0] = looking.food_kg[s]
    for state in range(_last(rows) + 1):
        for m in range(particles):
            flock.source[m] = m
        if state > 0:
            _step_all(flock.rows, flock.stores, course, state - 1, colony, s, stream, room)
        ended = False
        begins = part
        for m in range(particles):
            if begins == rows.part_state.shape[0] or rows.part_state[begins] != state:
                break  # nothing was said of this day
            tell(flock.rows[m], flock.stores[m], colony, s, stages, ledger, kg)
            part = begins
            while part < rows.part_state.shape[0] and rows.part_state[part] == state:
                o = rows.part_occasion[part]
                flock.heard[m, o] += rows.part_weight[part] * heard(rows, looking, s, o, stages, stream)
                part += 1
        for o in range(occasions):
            if rows.ends[o] == state:
                ended = True
                for m in range(particles):
                    meant = (1.0 - rows.slip[o]) * flock.heard[m, o]
                    flock.weight[m] *= meant + rows.slip[o] * rows.slip_chance[o]
        if ended:
            weight = np.sum(flock.weight)
            total += math.log(weight) if weight > 0.0 else -np.inf
            effective = 0.0
            for m in range(particles):
                flock.weight[m] = flock.weight[m] / weight if weight > 0.0 else 1.0 / particles
                effective += flock.weight[m] ** 2
            if 1.0 / effective < UNEVEN * particles:
                _draw_anew(flock, stream)
        if keeps:
            for m in range(particles):
                tell(flock.rows[m], flock.stores[m], colony, s, flock.stages[state, m], flock.ledger[state, m],
                     flock.kg[state, m])  # fmt: skip
                flock.parent[state, m] = flock.source[m]
    return total


@nb.njit(**LEAN)
def _step_all(rows, stores, course, t, colony, s, stream, room):  # type: ignore[no-untyped-def]
    for m in range(rows.shape[0]):
        step(rows[m], stores[m], course, s, t, colony, s, stream, room)


@nb.njit(cache=True)
def _draw_anew(flock, stream):  # type: ignore[no-untyped-def]
    """Systematic resampling: particles by their weights, all then alike; `source` tells whose place each has taken."""
    particles = flock.weight.shape[0]
    reached, m = flock.weight[0], 0
    start = uniform(stream)
    for i in range(particles):
        while reached < (start + i) / particles and m < particles - 1:
            m += 1
            reached += flock.weight[m]
        flock.source[i] = m
    for i in range(particles):
        flock.spare_rows[i] = flock.rows[flock.source[i]]
        flock.spare_stores[i] = flock.stores[flock.source[i]]
        flock.spare_heard[i] = flock.heard[flock.source[i]]
    flock.rows[:], flock.stores[:], flock.heard[:] = flock.spare_rows, flock.spare_stores, flock.spare_heard
    flock.weight[:] = 1.0 / particles


@nb.njit(**LEAN)
def _drawn(weight, u):  # type: ignore[no-untyped-def]
    for m in range(weight.shape[0]):
        u -= weight[m]
        if u < 0.0:
            return m
    return weight.shape[0] - 1
