"""Parts done by several processes of this computer."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from typing import Any

from underlid.spread.parts import LostWorkers, Part, Result, in_one_thread, told, window

TRIES = 3  # of parts that were under way when a process was lost; then each is done by itself, to find the one


@contextmanager
def own_processes(count: int) -> Iterator[Processes]:
    """So many processes, for as long as the block lasts."""
    with _single_threads():
        pool = Processes(count)
        try:
            yield pool
        finally:
            pool.close()


@contextmanager
def _single_threads() -> Iterator[None]:
    """Let processes that start meanwhile do linear algebra in one thread; Dask's own workers are started so."""
    before = {name: os.environ.get(name) for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
    os.environ.update({name: value or "1" for name, value in before.items()})
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]


@dataclass(slots=True)
class _Sent:
    """A part under way.

    losses : times that a process was lost before this part was done; deadly : it ended its process with no other part
    under way
    """

    number: int
    part: Any
    future: Future[Any]
    losses: int = 0
    deadly: bool = False

    @property
    def lost(self) -> bool:
        return self.future.done() and isinstance(self.future.exception(), BrokenProcessPool)


class Processes:
    """Processes that are started anew when one of them is lost."""

    def __init__(self, count: int) -> None:
        self.count = count
        self._pool = self._start()

    def _start(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(self.count, mp_context=get_context("spawn"))

    def close(self) -> None:
        """End the processes."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        """As `Workers.map`."""
        return told(self._map(partial(in_one_thread, function), parts), parts, progress)

    def _map(self, function: Callable[[Part], Result], parts: Iterable[Part]) -> Iterator[Result]:
        sent: deque[_Sent] = deque()
        numbered = enumerate(parts)
        try:
            while True:
                while len(sent) < window(self.count) and (more := next(numbered, None)) is not None:
                    sent.append(_Sent(*more, self._submit(function, more[1])))
                if not sent:
                    return
                if sent[0].deadly:
                    raise LostWorkers(
                        f"Part {sent[0].number + 1} was lost with its process {sent[0].losses} times, at last with no "
                        "other part under way: perhaps the memory is full. Give one worker, which shows what is wrong."
                    )
                try:
                    result = sent[0].future.result()
                except BrokenProcessPool:
                    self._anew(function, sent)
                else:
                    sent.popleft()
                    yield result
        finally:
            for one in sent:
                one.future.cancel()

    def _submit(self, function: Callable[[Part], Result], part: Part) -> Future[Result]:
        """A part sent; where a process was just lost, it is lost too, and found so when its turn comes."""
        try:
            return self._pool.submit(function, part)
        except BrokenProcessPool as broken:
            lost: Future[Result] = Future()
            lost.set_exception(broken)
            return lost

    def _anew(self, function: Callable[[Part], Result], sent: deque[_Sent]) -> None:
        """New processes for what the lost ones had not done.

        Which part ended its process cannot be seen, as all that were under way are lost with it. So those that were
        lost time and again are done first, one by one.
        """
        self._restart()
        lost = [one for one in sent if one.lost and not one.deadly]
        for one in lost:
            one.losses += 1
        for one in lost:
            if one.losses >= TRIES:
                self._by_itself(function, one)
        for one in lost:
            if one.losses < TRIES:
                one.future = self._submit(function, one.part)

    def _by_itself(self, function: Callable[[Part], Result], one: _Sent) -> None:
        one.future = self._submit(function, one.part)
        wait([one.future])
        if one.lost:
            one.losses += 1
            one.deadly = True
            self._restart()

    def _restart(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)  # until all that were under way are known to be lost
        self._pool = self._start()
