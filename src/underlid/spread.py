"""Work spread over processes of this computer, or over a Dask cluster by its address.

    with workers(2) as pool:
        for told in pool.map(function, parts):
            ...

Results come in the order of the parts, whoever finishes first, and a part must hold all that its result depends on, its
seed too: so the same parts give the same bytes in one process, in several, or on a cluster. A part whose worker is lost
is done again elsewhere. No more than a window of parts is under way, so that they may be a million and made as they go.
"""

from __future__ import annotations

import ipaddress
import logging
import os
import platform
import socket
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sized
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar
from urllib.parse import urlsplit

from underlid import __version__

Part = TypeVar("Part")
Result = TypeVar("Result")

AHEAD = 4  # parts under way for each worker: enough that none waits for the next
TRIES = 3  # of a part whose worker is lost: a part that ends its worker each time would go on for ever
ANSWER_S = 15.0  # a scheduler that does not answer within this is taken for none
PATIENCE_S = 60.0  # without any worker, after which no more is hoped for: our judgement


class NoCluster(ValueError):
    """The address leads to no cluster that can be used."""


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


@contextmanager
def workers(count: int | None = None, cluster: str | None = None) -> Iterator[Workers]:
    """Give workers for as long as the block lasts.

    count : processes; 1 works in this one, None takes one for each core. cluster : address of a Dask scheduler, as
    “tcp://192.168.1.5:8786” or “tls://...”, in place of processes. Raises NoCluster.
    """
    if cluster is not None:
        with _cluster(cluster) as there:
            yield there
    elif (count or os.cpu_count() or 1) == 1:
        yield _Here()
    else:
        with _single_threads():
            pool = _Processes(count or os.cpu_count() or 1)
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


# --- in this process -------------------------------------------------------------------------------------


class _Here:
    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        return _told((function(part) for part in parts), parts, progress)


# --- in several processes --------------------------------------------------------------------------------


@dataclass(slots=True)
class _Sent:
    """A part under way."""

    number: int
    part: Any
    future: Future[Any]
    tries: int = 1


class _Processes:
    def __init__(self, count: int) -> None:
        self.count = count
        self._pool = self._start()

    def _start(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(self.count, mp_context=get_context("spawn"))

    def close(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        return _told(self._map(partial(_alone, function), parts), parts, progress)

    def _map(self, function: Callable[[Part], Result], parts: Iterable[Part]) -> Iterator[Result]:
        sent: deque[_Sent] = deque()
        numbered = enumerate(parts)
        while True:
            while len(sent) < AHEAD * self.count and (more := next(numbered, None)) is not None:
                sent.append(_Sent(*more, self._submit(function, more[1], sent)))
            if not sent:
                return
            try:
                result = sent[0].future.result()
            except BrokenProcessPool:
                self._anew(function, sent)
            else:
                sent.popleft()
                yield result

    def _submit(self, function: Callable[[Part], Result], part: Part, sent: deque[_Sent]) -> Future[Result]:
        try:
            return self._pool.submit(function, part)
        except BrokenProcessPool:
            self._anew(function, sent)
            return self._pool.submit(function, part)

    def _anew(self, function: Callable[[Part], Result], sent: deque[_Sent]) -> None:
        """New processes, which do what the lost ones had not done."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = self._start()
        for one in sent:
            if one.future.done() and one.future.exception() is None:
                continue
            if one is sent[0] and one.tries >= TRIES:
                raise LostWorkers(
                    f"Part {one.number + 1} was lost with its process {TRIES} times: perhaps the memory is full. Give "
                    "fewer workers, or one, which shows what is wrong."
                )
            one.tries += one is sent[0]
            one.future = self._pool.submit(function, one.part)


# --- on a cluster ----------------------------------------------------------------------------------------


@contextmanager
def _cluster(address: str) -> Iterator[_Cluster]:
    _refuse_strangers(address)
    try:
        from distributed import Client
    except ImportError as missing:
        raise NoCluster(
            "A cluster needs the package distributed, which is not installed: pip install 'underlid[fleet]'."
        ) from missing
    log = logging.getLogger("distributed")
    level = log.level
    log.setLevel(logging.CRITICAL)  # what is lost is told by us, or done again
    try:
        try:
            client = Client(address, timeout=ANSWER_S, set_as_default=False)  # type: ignore[no-untyped-call]
        except (OSError, TimeoutError, ValueError, TypeError) as error:
            raise NoCluster(f"No scheduler answers at {address} ({error}); start one, or mend the address.") from error
        try:
            _refuse_others(client)
            yield _Cluster(client)
        finally:
            client.close(ANSWER_S)  # type: ignore[no-untyped-call]
    finally:
        log.setLevel(level)


class _Cluster:
    def __init__(self, client: Any) -> None:
        self._client = client

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        return _told(self._map(partial(_alone, function), parts), parts, progress)

    def _map(self, function: Callable[[Part], Result], parts: Iterable[Part]) -> Iterator[Result]:
        from distributed import KilledWorker

        sent: deque[tuple[int, Any]] = deque()
        numbered = enumerate(parts)
        try:
            while True:
                room = AHEAD * max(2, sum(self._client.nthreads().values()))
                while len(sent) < room and (more := next(numbered, None)) is not None:
                    # Not pure: two like parts are two, and a result is not kept for another run.
                    sent.append((more[0], self._client.submit(function, more[1], pure=False)))
                if not sent:
                    return
                number, future = sent[0]
                try:
                    result = self._wait(future)
                except KilledWorker as error:
                    raise LostWorkers(
                        f"Part {number + 1} was lost with its worker time and again: perhaps a worker's memory is full."
                    ) from error
                sent.popleft()
                yield result
        finally:
            for _, future in sent:
                future.cancel()

    def _wait(self, future: Any) -> Any:
        """The result, for which we wait as long as there is anybody to work on it."""
        alone_since = None
        while True:
            try:
                return future.result(timeout=1.0)
            except TimeoutError:
                if future.done():  # it was the function itself that raised this
                    raise
            if self._client.nthreads():
                alone_since = None
                continue
            alone_since = alone_since or time.monotonic()
            if time.monotonic() - alone_since > PATIENCE_S:
                raise LostWorkers(
                    f"The cluster has had no worker for {PATIENCE_S:.0f} s; start some, and run it again."
                )


def _refuse_strangers(address: str) -> None:
    """Whoever answers is sent programs to run and sends results that are believed: so only near ones in the clear."""
    parts = urlsplit(address)
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if parts.scheme not in ("tcp", "tls") or not host or not port:
        raise NoCluster(
            f"“{address}” is no address of a cluster; write it as tcp://192.168.1.5:8786 or tls://name:8786."
        )
    if parts.scheme == "tls":
        return
    try:
        found = {str(info[4][0]) for info in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)}
    except OSError as error:
        raise NoCluster(f"There is no computer {host} ({error.strerror}); mend the address.") from error
    if any(ipaddress.ip_address(one.split("%")[0]).is_global for one in found):
        raise NoCluster(
            f"{host} is beyond the own network, and tcp:// has neither a lock nor a key: anybody on the way could run "
            "programs here. Use tls:// with certificates."
        )


def _refuse_others(client: Any) -> None:
    """Other versions give other bytes, or none."""
    own = _about()
    try:
        theirs = client.run(_about)
    except Exception as error:  # whatever fails there: most often the package is missing
        raise NoCluster(f"A worker cannot run underlid ({error}); install the same version on every worker.") from error
    for worker, about in theirs.items():
        if about != own:
            raise NoCluster(
                f"The worker {worker} has {_words(about)}, this computer {_words(own)}; install the same on all."
            )


def _about() -> dict[str, str]:
    import numpy

    return {"underlid": __version__, "Python": platform.python_version(), "NumPy": numpy.__version__}


def _words(about: dict[str, str]) -> str:
    return ", ".join(f"{name} {version}" for name, version in about.items())


# --- everywhere ------------------------------------------------------------------------------------------


def _alone(function: Callable[[Part], Result], part: Part) -> Result:
    """In one thread: as many workers as cores are faster than all of them taking all cores."""
    import numba

    numba.set_num_threads(1)
    return function(part)


def _told(
    results: Iterator[Result], parts: Iterable[Any], progress: Callable[[float], None]
) -> Iterator[Result]:  # fmt: skip
    total = len(parts) if isinstance(parts, Sized) else 0
    for number, result in enumerate(results, start=1):
        yield result
        if total:
            progress(number / total)
