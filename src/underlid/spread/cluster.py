"""Parts done by the workers of a Dask cluster, which may be of other computers."""

from __future__ import annotations

import ipaddress
import logging
import pickle
import socket
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from functools import cache
from importlib.metadata import version
from typing import Any
from urllib.parse import urlsplit

from underlid import __version__
from underlid.spread.parts import LostWorkers, Part, Result, in_one_thread, told, window

ANSWER_S = 15.0  # a scheduler that does not answer within this is taken for none
PATIENCE_S = 60.0  # without any worker, at first or later, after which no more is hoped for: our judgement
NO_SCHEDULER = "The scheduler was lost, with all that was under way; start it, and run it again."
DECIDING = ("numpy", "scipy", "numba")  # packages whose versions may change the last digits of a result


class NoCluster(ValueError):
    """The address leads to no cluster that can be used."""


@contextmanager
def cluster_at(address: str) -> Iterator[Cluster]:
    """The cluster of the scheduler at an address, for as long as the block lasts. Raises NoCluster."""
    refuse_strangers(address)
    try:
        from distributed import Client
    except ImportError as missing:
        raise NoCluster(
            "A cluster needs the package distributed, which is not installed: pip install 'underlid[fleet]'."
        ) from missing
    security = _certificates(address) if urlsplit(address).scheme == "tls" else None
    log = logging.getLogger("distributed")
    level = log.level
    log.setLevel(logging.CRITICAL)  # what is lost is told by us, or done again
    try:
        try:
            client = Client(address, timeout=ANSWER_S, set_as_default=False, security=security)  # type: ignore[no-untyped-call]
        except (OSError, TimeoutError, ValueError, TypeError, RuntimeError) as error:
            raise NoCluster(f"No scheduler answers at {address} ({error}); start one, or mend the address.") from error
        try:
            _refuse_another_scheduler(client)
            yield Cluster(client)
        finally:
            client.close(ANSWER_S)  # type: ignore[no-untyped-call]
    finally:
        log.setLevel(level)


class Cluster:
    """Workers of a cluster, all of the same versions as here.

    Each is asked when it is first seen, as one without the program could not even say so when a part comes; and every
    part says by whom it was done, as it may go to one that has joined meanwhile.
    """

    def __init__(self, client: Any) -> None:
        self._client = client
        self._about = about()
        self._known: set[str] = set()  # workers that were asked

    def map(
        self, function: Callable[[Part], Result], parts: Iterable[Part], *,
        progress: Callable[[float], None] = lambda done: None,
    ) -> Iterator[Result]:  # fmt: skip
        """As `Workers.map`."""
        return told(self._map(function, parts), parts, progress)

    def _map(self, function: Callable[[Part], Result], parts: Iterable[Part]) -> Iterator[Result]:
        from distributed import KilledWorker
        from distributed.protocol.pickle import dumps  # also what a script defines, which no worker could import

        sent: deque[tuple[int, bytes, Any]] = deque()
        numbered = enumerate(parts)
        try:
            while True:
                room = window(max(2, self._threads()))
                while len(sent) < room and (more := next(numbered, None)) is not None:
                    packed: bytes = dumps((function, more[1]))  # type: ignore[no-untyped-call]
                    sent.append((more[0], packed, self._submit(packed)))
                if not sent:
                    return
                number, packed, future = sent[0]
                try:
                    answer = self._wait(future)
                except KilledWorker:
                    answer = self._by_itself(number, packed, [other for *_, other in sent])
                sent.popleft()
                yield self._checked(*answer)
        finally:
            for *_, future in sent:
                future.cancel()

    def _submit(self, packed: bytes) -> Any:
        alone_since = None
        while not self._known and (alone_since := self._nobody_since(alone_since)) is not None:
            time.sleep(0.1)
        # Not pure: two like parts are two, and a result is not kept for another run.
        return self._client.submit(done, self._about, packed, pure=False)

    def _by_itself(self, number: int, packed: bytes, others: list[Any]) -> Any:
        """A part that was lost with its workers, once no other is under way, as it may be another that ends them."""
        from distributed import KilledWorker

        for other in others:
            try:
                self._wait(other)
            except LostWorkers:
                raise
            except Exception:  # told when its own turn comes
                continue
        try:
            return self._wait(self._submit(packed))
        except KilledWorker as error:
            raise LostWorkers(
                f"Part {number + 1} was lost with its worker time and again, at last with no other part under way: "
                "perhaps a worker's memory is full, or one cannot load underlid; the workers' logs say."
            ) from error

    def _wait(self, future: Any) -> Any:
        """The result, for which we wait as long as there is anybody to work on it."""
        alone_since = None
        while True:
            try:
                return future.result(timeout=1.0)
            except CancelledError as error:
                raise LostWorkers(NO_SCHEDULER) from error
            except TimeoutError:
                if future.status == "error":  # it may have been the part itself that raised this
                    return future.result()
            alone_since = self._nobody_since(alone_since)

    def _nobody_since(self, since: float | None) -> float | None:
        """Since when there is no worker, if there is none; given since when there was none before."""
        if self._threads():
            return None
        since = since or time.monotonic()
        if time.monotonic() - since > PATIENCE_S:
            raise LostWorkers(f"The cluster has had no worker for {PATIENCE_S:.0f} s; start some, and run it again.")
        return since

    def _threads(self) -> int:
        """Of all workers; those that are new are asked who they are."""
        try:
            threads: dict[str, int] = self._client.nthreads()
            new = threads.keys() - self._known
            answers = self._client.run(about, workers=list(new), on_error="return") if new else {}
        except OSError as error:
            raise LostWorkers(NO_SCHEDULER) from error
        for worker, theirs in answers.items():
            if isinstance(theirs, OSError):  # it has left meanwhile
                continue
            if isinstance(theirs, Exception):
                raise NoCluster(f"The worker {worker} cannot load underlid ({theirs}); {SAME}") from theirs
            _refuse_other(f"worker {worker}", theirs, self._about)
            self._known.add(worker)
        return sum(threads.values())

    def _checked(self, worker: str, theirs: dict[str, str], result: Any) -> Any:
        _refuse_other(f"worker {worker}", theirs, self._about)
        return result


def done(asked: dict[str, str], packed: bytes) -> tuple[str, dict[str, str], Any]:
    """Run by a worker: its address, its versions and, if they are those asked for, the result of a packed part."""
    from distributed import get_worker

    own = about()
    result = None
    if own == asked:
        function, part = pickle.loads(packed)
        result = in_one_thread(function, part)
    return str(get_worker().address), own, result


# --- versions --------------------------------------------------------------------------------------------

SAME = "install the same versions on the scheduler and on every worker, and start them anew."


def about() -> dict[str, str]:
    """The versions that decide the bytes of a result."""
    return {"underlid": __version__, "Python": "{}.{}".format(*sys.version_info), **_packages()}


@cache
def _packages() -> dict[str, str]:
    return {name: version(name) for name in DECIDING}


def _refuse_other(who: str, theirs: dict[str, str], own: dict[str, str]) -> None:
    if theirs != own:
        unlike = sorted(name for name in own.keys() | theirs.keys() if own.get(name) != theirs.get(name))
        their, our = (", ".join(f"{name} {of.get(name, 'none')}" for name in unlike) for of in (theirs, own))
        raise NoCluster(f"The {who} has {their}, this computer {our}; {SAME}")


def _refuse_another_scheduler(client: Any) -> None:
    """It passes parts on, and must know what they are."""
    try:
        theirs = client.run_on_scheduler(about)
    except Exception as error:  # whatever fails there: most often the package is missing
        raise NoCluster(f"The scheduler cannot load underlid ({error}); {SAME}") from error
    _refuse_other("scheduler", theirs, about())


# --- whom to trust ---------------------------------------------------------------------------------------


def refuse_strangers(address: str) -> None:
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


def _certificates(address: str) -> Any:
    """Dask's settings of certificates, if they are there and can be used."""
    from distributed import Security

    settings = "DASK_DISTRIBUTED__COMM__TLS__"
    security: Any = Security()  # type: ignore[no-untyped-call]
    if security.tls_ca_file is None or security.tls_client_cert is None:
        raise NoCluster(
            f"{address} needs certificates, and Dask's settings name none: set {settings}CA_FILE, "
            f"{settings}CLIENT__CERT and {settings}CLIENT__KEY to their files."
        )
    try:
        security.get_connection_args("client")
    except OSError as error:  # also what is no certificate
        raise NoCluster(
            f"The certificates for {address} cannot be used ({error}): look at the files that {settings}CA_FILE, "
            f"{settings}CLIENT__CERT and {settings}CLIENT__KEY name."
        ) from error
    return security
