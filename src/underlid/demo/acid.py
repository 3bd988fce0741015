"""What the invented keeper reads with a pH strip: one truth, drawn from what is likely and run through the feedings.

What a strip shows strays by the law of the fit; what is written is the pair of colours it lies between.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from underlid.fit.acidhistory import history
from underlid.fit.acidity import NAMES, POOL, drawn_sets, forward, levels, steps_of
from underlid.fit.feeding import bedding_of
from underlid.records import AnyEntry, Bin

STRIP_STEP = 0.5
STRIP_STRAYS = 0.15  # pH, of what the eye makes of a colour: our judgement


def strip_lines(
    record: Bin, fed: Sequence[AnyEntry], now: datetime, at: Sequence[tuple[datetime, str]], rng: np.random.Generator
) -> Iterator[tuple[datetime, str]]:
    """When the strip was read and the line written then, for each moment and place."""
    of = history(record, fed, now)
    truth = drawn_sets(of, bedding_of(of.bed, POOL, rng), rng.standard_normal((1, len(NAMES))), rng)
    ran = forward(of, truth, steps_of(of))
    for moment, place in at:
        hour = np.array([(moment - record.started.start).total_seconds() / 3600])
        parts = levels(of, truth, ran, place, hour)
        odds = np.array([float(weight[0, 0]) for _, weight in parts])
        level = float(parts[int(rng.choice(len(odds), p=odds / odds.sum()))][0][0, 0])
        shown = level + float(rng.normal(0, np.hypot(truth.scatter[0], STRIP_STRAYS)))
        low = np.floor(shown / STRIP_STEP) * STRIP_STEP
        yield moment, f"{place} pH {low:g}-{low + STRIP_STEP:g} with a strip"
