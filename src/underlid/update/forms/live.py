"""What the page's script reads off the charts: the same figures as everywhere, rounded as phrases round them.

Temperatures and litres are whole numbers of halves, worms whole numbers, three in a row: low, middle, high of nine in
ten. Times are local wall clocks written as if they were UTC [ms]; where they are not evenly spaced it is said.
"""

from __future__ import annotations

import json
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.update.drawn import palette
from underlid.update.drawn.charts import wall_clock
from underlid.update.drawn.crosscut import Crosscut
from underlid.update.facts import Array, Story
from underlid.update.prose.phrases import WIDE_K

MOST_HOURS = 1500  # in the page; of more, every so many
HOUR_MS = 3_600_000


def as_json(story: Story, cut: Crosscut | None) -> str:
    """All that can be read off, as JSON that may stand within a script element."""
    told: dict[str, Any] = {"hours": _hours(story)}
    if story.animals is not None:
        told["days"] = _days(story)
    if cut is not None:
        told["cut"] = _cut(cut, story)
    return json.dumps(told, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def halves(ranges: Array, step: Array) -> list[int]:
    """Ranges (..., 3) in halves, in a row: ends rounded away from the middle to a step each (...,)."""
    scaled = np.round(ranges / step[..., None], 6)
    ends = np.stack(
        [np.floor(scaled[..., 0]), np.floor(scaled[..., 1] + 0.5), np.ceil(scaled[..., 2])], axis=-1
    )  # fmt: skip
    return [int(value) for value in np.rint(2 * ends * step[..., None]).ravel()]


def temperatures(ranges: Array) -> list[int]:
    """Temperatures (..., 3) in halves of a degree, in whole degrees where the range is wide."""
    return halves(ranges, np.where(ranges[..., 2] - ranges[..., 0] > WIDE_K, 1.0, 0.5))


def litres(ranges: Array, bedding: float) -> list[int]:
    """Litres (..., 3) in halves, in whole litres where there are many; none are more than the bedding as it is told."""
    most = 2 * int(f"{bedding:.0f}")
    return [min(half, most) for half in halves(ranges, np.where(ranges[..., 2] >= 5, 1.0, 0.5))]


def _hours(story: Story) -> dict[str, Any]:
    hours = story.hours
    at, kept = wall_clock(hours.time_utc, ZoneInfo(story.timezone))
    every = -(-int(kept.sum()) // MOST_HOURS)
    chosen = np.flatnonzero(kept)[::every]
    bedding = story.refuge.bedding_litres
    return {
        **_times(at[chosen], every * HOUR_MS),
        "span": [int(at[0]), int(at[-1])],
        "predicted": int(np.searchsorted(chosen, hours.predicted_from)),
        "air": _air(hours.air_c[chosen]),
        "middle": temperatures(hours.middle_c[chosen]),
        "litres": litres(hours.refuge_pct[chosen] * bedding / 100, bedding),
    }


def _air(ranges: Array) -> list[int]:
    """The air in halves of a degree: where it was observed, its range is the one value."""
    found = np.array(temperatures(ranges)).reshape(-1, 3)
    observed = ranges[:, 0] == ranges[:, 2]
    found[observed] = found[observed, 1:2]
    return [int(value) for value in found.ravel()]


def _days(story: Story) -> dict[str, Any]:
    assert story.animals is not None
    daily = story.animals.daily
    at, kept = wall_clock(daily.time_utc, ZoneInfo(story.timezone))
    chosen = np.flatnonzero(kept)
    return {
        **_times(at[chosen], 24 * HOUR_MS),
        "span": [int(at[0]), int(at[-1])],
        "predicted": int(np.searchsorted(chosen, daily.predicted_from)),
        "worms": _whole(daily.worms[chosen]),
        "adults": _whole(daily.adults[chosen]),
    }


def _cut(cut: Crosscut, story: Story) -> dict[str, Any]:
    at, kept = wall_clock(cut.time_utc, ZoneInfo(story.timezone))
    chosen = np.flatnonzero(kept)
    step = int(at[chosen[1]] - at[chosen[0]]) if len(chosen) > 1 else HOUR_MS
    return {
        **_times(at[chosen], step),
        "predicted": int(np.searchsorted(chosen, cut.predicted_from)),
        "start": int(np.searchsorted(chosen, cut.coldest)),
        "columns": cut.columns,
        "cells": temperatures(cut.left_c[chosen]),
        "edges": palette.EDGES_C,
        "shades": palette.SHADES,
        "inks": [palette.ink_on(shade) for shade in range(len(palette.SHADES))],
    }


def _times(at: NDArray[np.int64], step: int) -> dict[str, Any]:
    """A first moment, a step and what comes on top of it from which index on."""
    extra = at - at[0] - step * np.arange(len(at))
    jumps = np.flatnonzero(np.diff(extra)) + 1
    return {"first": int(at[0]), "step": step, "count": len(at), "jumps": [[int(i), int(extra[i])] for i in jumps]}


def _whole(ranges: Array) -> list[int]:
    """Numbers of animals in a row, the ends rounded outward."""
    ends = np.stack([np.floor(ranges[:, 0]), np.floor(ranges[:, 1] + 0.5), np.ceil(ranges[:, 2])], axis=-1)
    return [int(value) for value in ends.ravel()]
