"""What an invented keeper counts and writes, by the very law the fit assumes, so that ranks can be exact.

Words are chosen so that the chance of a phrase given the true count is, up to a factor of its own, the weight the fit
gives that count when it reads the phrase (`underlid.counting.found.possible`). Three ways of saying serve, of which a
keeper takes one without looking at the count: the plain number; the interval of a partition of all numbers that was
fixed before; or a vague phrase ("about 20", "a few", "dozens") with a chance in proportion to its weight, and
else the plain number, which means one count only and so may be as probable as it likes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from underlid.counting.found import possible
from underlid.counting.samples import WHOLE
from underlid.fit.heard import Looking
from underlid.fit.tally import Rows
from underlid.quantity.amount import parse_amount
from underlid.records import STAGES, Place, Stage

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

WAYS, OF_WAYS = ("plain", "range", "vague"), (0.4, 0.3, 0.3)
COARSE = (1.3, 1.6, 2.0)  # how much wider each interval of a partition is than the one before
LARGEST_SAID = 400  # beyond it every count is a plain number
SEEN = ("at least 1", "a few", "at least 5", "about a dozen")  # said of sightings
ASKED: tuple[tuple[Stage, ...], ...] = (
    STAGES, STAGES[1:], ("adult",), ("adult", "juvenile", "cocoon"), ("adult", "cocoon"), ("sub-adult", "adult"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """A line of counts or a sighting still to be filled in: where and when the keeper looks, and for whom."""

    when: str
    volume: str  # "" for a sighting
    place: Place
    stages: tuple[Stage, ...]
    seen: str = ""

    def line(self, counts: list[str]) -> str:
        """The keeper's words."""
        if self.seen:
            return f"{self.when}: saw {self.seen} {'worm' if len(self.stages) != 1 else self.stages[0]}s"
        where = "" if self.place == "not noted" else f" {self.place}"
        said = ", ".join(f"{count} {stage}s" for count, stage in zip(counts, self.stages, strict=True))
        return f"{self.when}: sample {self.volume}{where}: {said}"


def looks(when: list[str], whole_l: float, rng: np.random.Generator) -> Iterator[Look]:
    """What is looked at on each occasion: one to three samples, or all the bedding of `whole_l` litres, or a glance."""
    for moment in when:
        kind = rng.choice(["samples", "sort", "glance"], p=[0.6, 0.1, 0.3])
        if kind == "glance":
            stages: tuple[Stage, ...] = () if rng.random() < 0.5 else (STAGES[int(rng.integers(1, 5))],)
            yield Look(moment, "", "not noted", stages, str(rng.choice(SEEN)))
        elif kind == "sort":
            yield Look(moment, f"{math.ceil(whole_l)} L", "not noted", ASKED[int(rng.integers(len(ASKED)))])
        else:
            asked = ASKED[int(rng.integers(len(ASKED)))]
            for place in rng.choice(["middle", "edge", "surface", "not noted"], size=int(rng.integers(1, 4))):
                yield Look(moment, str(rng.choice(["0.5 L", "1.0 L", "1 L", "about 2 L"])), place, asked)


def seen_truly(rows: Rows, occasion: int, stages: Ints, rng: np.random.Generator) -> bool:
    """Whether a sighting may stand: it is true of (5,) animals by stage, or a slip."""
    if rng.random() < rows.slip[occasion]:
        return True
    said = range(rows.sightings[occasion], rows.sightings[occasion + 1])
    return all(stages[rows.who[g]].sum() >= rows.least[g] for g in said)


def counted(rows: Rows, occasion: int, looking: Looking, stages: Ints, rng: np.random.Generator) -> list[list[int]]:
    """What the samples of one occasion hold, a list for each, of `stages` (5,) animals there are.

    Each animal is findable by its stage's chance; the findable are shared out by a Dirichlet field, or in a full
    sort all taken. `looking` is of one set.
    """
    first, after = int(rows.samples[occasion]), int(rows.samples[occasion + 1])
    asked = [rows.stage[rows.counts[i] : rows.counts[i + 1]] for i in range(first, after)]
    if rng.random() < rows.slip[occasion]:
        return [[_slip(rng) for _ in stages_of] for stages_of in asked]
    share, k = looking.share[0, first:after], float(looking.concentration[0])
    held = np.zeros((after - first, len(STAGES)), np.int64)
    for stage, animals in enumerate(stages):
        found = rng.binomial(animals, looking.found[0, stage])
        if share.sum() >= WHOLE:
            held[:, stage] = rng.multinomial(found, share / share.sum())
        else:
            part = rng.dirichlet(np.maximum(k * np.append(share, 1.0 - share.sum()), 1e-9))
            held[:, stage] = rng.multinomial(found, part / part.sum())[:-1]
    return [[int(held[i, stage]) for stage in stages_of] for i, stages_of in enumerate(asked)]


def in_words(count: int, rng: np.random.Generator) -> str:
    """Words that are true of a count."""
    way = rng.choice(WAYS, p=OF_WAYS)
    if way == "range":
        ratio, offset = float(rng.choice(COARSE)), rng.random()
        for low, high in partition(ratio, offset):
            if low <= count <= high:
                return str(count) if low == high else f"at most {high}" if low == 0 else f"{low} to {high}"
    if way == "vague" and count < LARGEST_SAID:
        phrases, chance = vague()
        which = int(np.searchsorted(np.cumsum(chance[:, count]), rng.random(), side="right"))
        if which < len(phrases):
            return phrases[which]
    return str(count)


def partition(ratio: float, offset: float) -> Iterator[tuple[int, int]]:
    """All numbers from 0 on in intervals, each about `ratio` times as wide as the one before."""
    low, j = 0, 0
    while True:
        after = math.ceil(ratio ** (j + offset))
        if after > low:
            yield low, after - 1
            low = after
        j += 1


@cache
def vague() -> tuple[tuple[str, ...], Array]:
    """Vague phrases, and the chance of each given the count, (phrases, LARGEST_SAID); the rest is the plain number."""
    numbers = [*range(2, 20), *range(20, 60, 5), *range(60, 300, 10)]
    apart = np.diff([*numbers, 310.0])
    phrases = {f"about {n}": float(gap) for n, gap in zip(numbers, apart, strict=True)}
    phrases |= {
        "a couple": 0.5,
        "a few": 1.0,
        "several": 1.5,
        "a couple of dozen": 4.0,
        "dozens": 10.0,
        "over 20": 10.0,
    }
    chance = np.zeros((len(phrases), LARGEST_SAID))
    for row, (phrase, many) in zip(chance, phrases.items(), strict=True):
        values, weights = possible(parse_amount(phrase, expect="1"))
        inside = values < LARGEST_SAID
        row[values[inside].astype(int)] = many * (weights / weights.sum())[inside]
    return tuple(phrases), chance / chance.sum(axis=0).max()


def _slip(rng: np.random.Generator) -> int:
    """What is written by mistake: with density 1 / (10 + 3 n), as the fit has it, up to where that adds up to 1."""
    return int(10 / 3 * math.expm1(3 * rng.random()))
