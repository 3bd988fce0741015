"""Heavy work in the background: one process beside the server fits and draws, and what it made is kept with its age.

A page never waits for a fit. It shows what was made last, says how old that is, and asks for it anew where the journal
has changed since; the work's progress can be asked for.

    worker = Worker(settings)
    number = worker.ask("underlid.web.views:made", bin="north")
    worker.job(number).state

What is asked names a function of ours that is called as `function(settings, progress, **args)` in the process beside;
its answer, plain JSON types, is the job's `result`. A named error of ours is told as its sentence.
"""

from __future__ import annotations

import importlib
import json
import multiprocessing
import os
import signal
import sys
import threading
import traceback
import uuid
from collections import OrderedDict, deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from multiprocessing.connection import Connection
from typing import Any, Literal

from underlid.web.settings import Settings

State = Literal["waiting", "running", "done", "refused", "failed"]
Progress = Callable[[float], None]

OURS = "underlid."
MOST_WAITING = 40
MOST_KEPT = 200  # finished jobs that can still be asked for
STOP_S = 5.0  # how long an ended process is waited for
LEAST_STEP = 0.005  # of progress that is worth telling
#: A process beside the server may not take all of the machine: pages come first.
NICENESS = 5
CRASHED = "The work broke off before it was done; nothing in the journal is changed. Ask again."
FAULT = "Something in underlid itself went wrong; nothing in the journal is changed. The server's log says more."


class TooMuchAsked(ValueError):
    """More is waiting to be worked on than one process can promise."""


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of work, as it stands.

    progress : share that is done; result : plain JSON types, of a job that is done; error : a sentence, of one that is
    refused (the keeper can mend it) or failed; asked_at, made_at : by the server's clock
    """

    id: str
    kind: str
    args: dict[str, Any]
    asked_at: datetime
    state: State = "waiting"
    progress: float = 0.0
    result: Any = None
    error: str | None = None
    made_at: datetime | None = None

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in ("done", "refused", "failed")


class Worker:
    """Works on what is asked, one thing after the other, in a process of its own that starts with the first.

    The same question again while it waits or runs is the same job.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._waiting: deque[str] = deque()
        self._changed = threading.Condition()
        self._process: Any = None
        self._pipe: Connection | None = None
        self._stopped = False
        self._thread: threading.Thread | None = None

    def ask(self, kind: str, *, first: bool = False, **args: Any) -> str:
        """Put a question and get the job's id; `first` before all that wait. Raises TooMuchAsked.

        kind : "underlid.module:function"
        """
        with self._changed:
            same = self._find(kind, args, over=False)
            if same is not None:
                return same.id
            if len(self._waiting) >= MOST_WAITING:
                raise TooMuchAsked(f"{MOST_WAITING} questions wait already; ask again when some are answered.")
            job = Job(uuid.uuid4().hex, kind, args, self._settings.now())
            self._jobs[job.id] = job
            (self._waiting.appendleft if first else self._waiting.append)(job.id)
            self._forget()
            if self._thread is None and not self._stopped:
                self._thread = threading.Thread(target=self._work, name="underlid worker", daemon=True)
                self._thread.start()
            self._changed.notify_all()
            return job.id

    def job(self, id: str) -> Job | None:
        """The job as it stands; None if there is none of that id, or not any more."""
        with self._changed:
            return self._jobs.get(id)

    def last(self, kind: str, **args: Any) -> Job | None:
        """The latest job of that question."""
        with self._changed:
            return self._find(kind, args)

    def wait(self, id: str, seconds: float) -> Job | None:
        """The job when it is over, or as it stands after so many seconds."""
        with self._changed:
            self._changed.wait_for(lambda: id not in self._jobs or self._jobs[id].over, seconds)
            return self._jobs.get(id)

    def stop(self) -> None:
        """End at once; what was being worked on is lost, and the journal is not touched by that."""
        with self._changed:
            self._stopped = True
            process = self._process
            self._changed.notify_all()
        if process is not None:
            process.kill()
        if self._thread is not None:
            self._thread.join(STOP_S)
        self._drop()

    # --- inside ---------------------------------------------------------------------------------------------

    def _find(self, kind: str, args: dict[str, Any], over: bool | None = None) -> Job | None:
        asked = _canonical(kind, args)
        for job in reversed(self._jobs.values()):
            if (over is None or job.over == over) and _canonical(job.kind, job.args) == asked:
                return job
        return None

    def _forget(self) -> None:
        spent = [id for id, job in self._jobs.items() if job.over]
        for id in spent[: max(0, len(spent) - MOST_KEPT)]:
            del self._jobs[id]

    def _set(self, id: str, **changed: Any) -> None:
        with self._changed:
            self._jobs[id] = replace(self._jobs[id], **changed)
            self._changed.notify_all()

    def _work(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._stopped)
                if self._stopped:
                    return
                job = self._jobs[self._waiting.popleft()]
            self._set(job.id, state="running")
            try:
                state, result, error = self._answered(job)
            except Exception:  # whatever it is, questions that wait are still to be answered
                self._drop()
                state, result, error = "failed", None, CRASHED
            self._set(job.id, state=state, result=result, error=error, made_at=self._settings.now())

    def _answered(self, job: Job) -> tuple[State, Any, str | None]:
        """Have the process beside work on it. Raises OSError or EOFError where that ends before."""
        pipe = self._beside()
        # The clock of the question: a function of the server's may not be sent, and its answer is of this moment.
        settings = replace(self._settings, now=partial(_same, job.asked_at))
        pipe.send((job.kind, settings, job.args))
        while True:
            what, told = pipe.recv()
            if what == "progress":
                self._set(job.id, progress=told)
            elif what == "done":
                self._set(job.id, progress=1.0)
                return "done", told, None
            else:
                return what, None, told

    def _beside(self) -> Connection:
        """The pipe to the process beside, which is started if there is none."""
        if self._pipe is None or not self._process.is_alive():
            self._drop()
            context = multiprocessing.get_context("spawn")
            ours, theirs = context.Pipe()
            process = context.Process(target=_serve, args=(theirs,), name="underlid work", daemon=True)
            with self._changed:
                if self._stopped:
                    raise EOFError("The worker has been stopped.")
                process.start()
                self._process, self._pipe = process, ours
            theirs.close()
        return self._pipe

    def _drop(self) -> None:
        """Let go of a process that is of no more use."""
        with self._changed:
            process, pipe, self._process, self._pipe = self._process, self._pipe, None, None
        if pipe is not None:
            pipe.close()
        if process is not None:
            process.kill()
            process.join(STOP_S)


def _canonical(kind: str, args: dict[str, Any]) -> str:
    return json.dumps([kind, args], sort_keys=True, default=str)


def _same(moment: datetime) -> datetime:
    return moment


# --- the process beside --------------------------------------------------------------------------------------


def _serve(pipe: Connection) -> None:
    """Answer questions until the server is gone."""
    with suppress(ValueError, OSError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server is told, and ends this one
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    numba = importlib.import_module("numba")  # only here: the server itself fits nothing
    numba.set_num_threads(max(1, numba.get_num_threads() - 1))  # one is left to the pages
    with suppress(EOFError, OSError):
        while True:
            kind, settings, args = pipe.recv()
            pipe.send(answered(kind, settings, _telling(pipe), args))


def _telling(pipe: Connection) -> Progress:
    told = 0.0

    def progress(share: float) -> None:
        nonlocal told
        if share - told >= LEAST_STEP:
            told = share
            pipe.send(("progress", float(min(share, 1.0))))

    return progress


def answered(kind: str, settings: Settings, progress: Progress, args: dict[str, Any]) -> tuple[str, Any]:
    """How a question ends: ("done", result), ("refused", sentence) or ("failed", sentence)."""
    module, _, name = kind.partition(":")
    if not module.startswith(OURS):
        return "failed", FAULT
    try:
        return "done", getattr(importlib.import_module(module), name)(settings, progress, **args)
    except (BrokenPipeError, EOFError):
        raise
    except Exception as error:
        if type(error).__module__.startswith(OURS) and str(error):
            return "refused", str(error)
        traceback.print_exc(file=sys.stderr)
        return "failed", FAULT
