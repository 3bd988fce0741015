"""Looks at all bins of a journal: taken in the background, a few bins at a time, and kept each with its age.

A round of looks goes in lots through the one process that works beside the server, so that what somebody asks at a bin
meanwhile waits for a lot and not for the round. What is seen is kept lot by lot: a round that is stopped, or that ends
with the server, has cost nothing but the lot under way. Looks can be thrown away at any time.
"""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter

from underlid import __version__
from underlid.files import write_whole
from underlid.fleet import NotTold, Told, fleet
from underlid.journal.store import Journal
from underlid.web.kept import FOLDER, Age, stamps, weather_files
from underlid.web.settings import Settings
from underlid.web.work import Job, Progress, TooMuchAsked, Worker

LOOKED = "underlid.web.looking:looked"
LOT = 10  # bins, that others wait for: our judgement
MOST_IN_VAIN = 5  # bins that end the work, one by one, after which a round is given up: our judgement
POLL_S = 0.3
NO_WEATHER = (
    "No weather was given to the server, so no bin can be looked at anew here. Start it with --weather FILE, hourly "
    "temperatures near the bins since the first was started; “underlid weather fetch” makes such a file."
)


class NeedsWeather(ValueError):
    """A look rests on the weather, and none was given."""


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen of a bin, when, and how many entries it had; weather : what tells its weather files apart."""

    told: Told | NotTold
    at: datetime
    entries: int
    weather: str

    def age(self, entries: int, weather: Sequence[Path], now: datetime) -> Age:
        """How it stands to a bin that has so many entries now."""
        old = max(now - self.at, timedelta())
        changed = bool(weather) and self.weather != as_given(weather)
        return Age(self.at, old, entries - self.entries, changed, not weather)


Looks = Mapping[str, Look]


def as_given(weather: Sequence[Path]) -> str:
    """What tells weather files from others, and from themselves before they were changed."""
    return json.dumps(stamps(weather))


@dataclass(frozen=True, slots=True)
class _Kept:
    version: str
    looks: dict[str, Look]


_KEPT = TypeAdapter(_Kept)


# --- looks that are kept --------------------------------------------------------------------------------------


def looks(journal: Path) -> Looks:
    """The latest look at each bin by its name; none where another underlid took them, or they cannot be read."""
    path = _file(journal)
    try:
        made = path.stat()
        return _read_once(path, made.st_mtime_ns, made.st_size)
    except (OSError, ValueError, RecursionError):
        return {}


def looked(settings: Settings, progress: Progress, bins: list[str]) -> dict[str, int]:
    """Look at some bins and keep what is seen: the worker's part of a round."""
    if settings.weather is None:
        raise NeedsWeather(NO_WEATHER)
    with Journal.open(settings.journal) as book:
        counts = book.entry_counts()  # before the look: what is noted meanwhile is newer
        now = settings.now().astimezone(ZoneInfo(book.bin(bins[0]).timezone))
        found = fleet(
            book, settings.weather, now, bins=bins, past=settings.past, place=settings.place, progress=progress
        )
    every: tuple[Told | NotTold, ...] = (*found.told, *found.not_told)
    given = as_given(weather_files(settings))
    kept = dict(looks(settings.journal)) | {one.bin: Look(one, now, counts[one.bin], given) for one in every}
    keep(settings.journal, {name: look for name, look in kept.items() if name in counts})
    return {"bins": len(every), "fitted": found.fitted}


def keep(journal: Path, found: Looks) -> None:
    """Write the looks whole."""
    write_whole(_file(journal), _KEPT.dump_json(_Kept(__version__, dict(found))))


@lru_cache(maxsize=4)
def _read_once(path: Path, made_ns: int, size: int) -> Looks:
    kept = _KEPT.validate_json(path.read_bytes())
    if kept.version != __version__:
        raise ValueError(f"{path} is of another version.")
    return kept.looks


def _file(journal: Path) -> Path:
    return journal / FOLDER / "fleet" / "looks.json"  # in a folder of its own: a bin may have any name


# --- a round ------------------------------------------------------------------------------------------------

State = Literal["running", "stopping", "done", "stopped", "failed"]


@dataclass(frozen=True, slots=True)
class Round:
    """A round of looks, as it stands.

    done : bins that have been looked at; share : of the whole, with the lot under way; fitted : bins fitted anew;
    in_vain : bins whose work broke off; error : why, of the last of them
    """

    bins: int
    state: State = "running"
    done: int = 0
    share: float = 0.0
    fitted: int = 0
    in_vain: tuple[str, ...] = ()
    error: str | None = None

    @property
    def over(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state in ("done", "stopped", "failed")

    @property
    def sentence(self) -> str:
        """How far it is, or how it ended."""
        many = f"{self.done:,} of {self.bins:,} bins looked at"
        broke = f" The work broke off at {', '.join(self.in_vain)}. {self.error}" if self.in_vain else ""
        match self.state:
            case "running":
                return f"Looking: {many}."
            case "stopping":
                return f"Stopping after the few bins under way; {many}."
            case "done":
                return f"All {self.bins:,} bins looked at, {self.fitted:,} of them fitted anew."
            case "stopped":
                return f"Stopped: {many}, the others stand as they were.{broke}"
            case "failed":
                return f"{many}, the others stand as they were.{broke}"


class Looking:
    """The rounds of a server, one at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._round: Round | None = None
        self._thread: threading.Thread | None = None
        self._stop, self._end = threading.Event(), threading.Event()

    def begin(self, worker: Worker, bins: Sequence[str]) -> bool:
        """Begin a round in this order; False where one is under way, which goes on as it was."""
        with self._lock:
            if self._end.is_set() or not bins or (self._round is not None and not self._round.over):
                return False
            self._round = Round(len(bins))
            self._stop.clear()
            self._thread = threading.Thread(target=self._go, args=(worker, list(bins)), name="looking", daemon=True)
            self._thread.start()
            return True

    def last(self) -> Round | None:
        """The round under way, else the latest."""
        with self._lock:
            return self._round

    def stop(self) -> None:
        """Take no further lot; the one under way is done first."""
        with self._lock:
            if self._round is not None and self._round.state == "running":
                self._round = replace(self._round, state="stopping")
                self._stop.set()

    def end(self) -> None:
        """The server ends: wait for nothing more."""
        self._end.set()
        self._stop.set()
        if self._thread is not None:
            self._thread.join(10 * POLL_S)

    # --- inside ---------------------------------------------------------------------------------------------

    def _go(self, worker: Worker, bins: list[str]) -> None:
        lots = deque(bins[start : start + LOT] for start in range(0, len(bins), LOT))
        done, fitted, in_vain, error = 0, 0, list[str](), None
        while lots and not self._stop.is_set() and len(in_vain) < MOST_IN_VAIN:
            lot = lots.popleft()
            ended = self._ended(worker, lot, done)
            if ended is None:
                break
            if ended.state == "done":
                done, fitted = done + len(lot), fitted + ended.result["fitted"]
            elif len(lot) > 1:
                lots.extend([name] for name in lot)  # so that one bin that breaks off the work stops no other
            else:
                in_vain, error = [*in_vain, *lot], ended.error
            self._set(done=done, fitted=fitted, in_vain=tuple(in_vain), error=error, share=done / len(bins))
        asked_to_end = self._stop.is_set() and bool(lots)
        self._set(state="done" if done == len(bins) else "failed" if in_vain and not asked_to_end else "stopped")

    def _ended(self, worker: Worker, lot: list[str], done: int) -> Job | None:
        """The job of a lot when it is over; None where the round is to end without it."""
        id = None
        while id is None:
            try:
                id = worker.ask(LOOKED, bins=lot)
            except TooMuchAsked:  # others come first
                if self._stop.wait(POLL_S):
                    return None
        job = worker.job(id)
        while job is not None and not job.over and not self._end.is_set():
            assert self._round is not None
            self._set(share=(done + job.progress * len(lot)) / self._round.bins)
            job = worker.wait(id, POLL_S)
        return job if job is not None and job.over and not self._end.is_set() else None

    def _set(self, **changed: Any) -> None:
        with self._lock:
            assert self._round is not None
            self._round = replace(self._round, **changed)
