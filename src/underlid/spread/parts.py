"""What all workers have in common: how parts are given, in how many threads they are done, how results come."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sized
from functools import partial
from typing import Any, Protocol, TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")

AHEAD = 4  # parts under way for each worker: enough that none waits for the next
MOST_AHEAD = 1000  # parts under way at all, as each is held in memory: more workers than this are not used


class LostWorkers(ValueError):
    """Workers were lost, time and again, so that a part could not be done."""


class Workers(Protocol):
    """Who does the parts."""

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        """Yield the function of each part, in the order of the parts.

        `progress` is called with the share that is done, where the number of parts is known. What a function raises
        is raised here.
        """
        ...


class Here:
    """This process."""

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        """As `Workers.map`."""
        return told(map(partial(in_one_thread, function), parts), parts, progress)


def in_one_thread(function: Callable[[Part], Result], part: Part) -> Result:
    """The function of a part, in one thread of Numba: as many workers as cores beat all of them taking all cores."""
    numba = sys.modules.get("numba")  # who needs it has loaded it; to load it for nothing would cost half a second
    if numba is None:
        return function(part)
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        return function(part)
    finally:
        numba.set_num_threads(before)


def window(count: int) -> int:
    """How many parts may be under way with so many workers."""
    return min(AHEAD * count, MOST_AHEAD)


def told(
    results: Iterator[Result], parts: Iterable[Any], progress: Callable[[float], None]
) -> Iterator[Result]:  # fmt: skip
    """The results, with progress told where the number of parts is known."""
    total = len(parts) if isinstance(parts, Sized) else 0
    for number, result in enumerate(results, start=1):
        yield result
        if total:
            progress(number / total)
