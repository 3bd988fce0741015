"""Views as they were made last, one JSON file a bin in the journal's folder `views`: shown at once, however old.

A view can be thrown away at any time: a missing or damaged file only means making it again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache, lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Any
from urllib.parse import quote

from underlid import __version__
from underlid.files import write_whole
from underlid.fit.study import model_text
from underlid.web.settings import Settings

FOLDER = "views"
LONGEST_NAME = 120
#: A view this old is made anew even if nothing was noted: what was to come has become what was. Our judgement.
FRESH = timedelta(hours=6)

NONE_GIVEN = "no weather was given to the server. Start it with --weather FILE."
#: What gives a view its form, see `form`.
WRITTEN_BY = (("web", frozenset({"views"})), ("update", frozenset({"timeline", "charts", "drawing"})))

View = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Age:
    """How a kept view stands to the present.

    newer : entries that it does not know, negative where a backup that was put in place has fewer than it saw
    weather_changed : whether its weather files are not those of today
    no_weather : whether it rests on weather and none is given now: what could be made anew would tell less
    """

    made_at: datetime
    old: timedelta
    newer: int
    weather_changed: bool
    no_weather: bool = False

    @property
    def stale(self) -> bool:
        """Whether it is to be made anew."""
        return not self.no_weather and (self.newer != 0 or self.weather_changed or self.old > FRESH)

    @property
    def sentence(self) -> str:
        """ "Made 3 hours ago, before 2 newer entries." """
        before = []
        if self.newer < 0:
            before.append("a journal with fewer entries was put in place")
        if self.newer > 0:
            before.append("1 newer entry" if self.newer == 1 else f"{self.newer} newer entries")
        if self.weather_changed:
            before.append("the weather given now")
        later = f" Nothing newer can be worked out: {NONE_GIVEN}" if self.no_weather else ""
        return f"Made {ago(self.old)}{', before ' + ' and '.join(before) if before else ''}.{later}"


def ago(old: timedelta) -> str:
    """ "just now", "5 minutes ago", "3 hours ago", "2 days ago"."""
    minutes = int(old.total_seconds() // 60)
    if minutes < 1:
        return "just now"
    for size, unit in ((1440, "day"), (60, "hour"), (1, "minute")):
        if minutes >= size:
            many = minutes // size
            return f"{many} {unit}{'' if many == 1 else 's'} ago"
    raise AssertionError(minutes)


def keep(journal: Path, bin: str, view: View) -> None:
    """Write a view whole."""
    text = json.dumps(view, allow_nan=False, separators=(",", ":"))
    write_whole(_file(journal, bin), text.encode())


def kept(journal: Path, bin: str) -> View | None:
    """The view made last; None if there is none that can be read, or another underlid made it in a form of its own."""
    path = _file(journal, bin)
    try:
        made = path.stat()
        return _read_once(path, made.st_mtime_ns, made.st_size)
    except (OSError, ValueError, RecursionError):
        return None


def age_of(view: View, entries: int, weather: Sequence[Path], now: datetime) -> Age:
    """How a view stands to a journal that holds so many entries of its bin, corrected ones counted."""
    made_at, rests_on = datetime.fromisoformat(view["made_at"]), view["weather"]["stamps"]
    none_given = bool(rests_on) and not weather
    return Age(
        made_at, max(now - made_at, timedelta()), entries - int(view["entries"]),
        rests_on != stamps(weather) and not none_given, none_given,
    )  # fmt: skip


def file_name(bin: str) -> str:
    """A name for files of a bin that any file system takes, another one for each bin."""
    name = quote(bin, safe=" ")
    if len(name) <= LONGEST_NAME:
        return name
    return f"{name[:LONGEST_NAME]}-{blake2b(bin.encode(), digest_size=8).hexdigest()}"


def weather_files(settings: Settings) -> list[Path]:
    """The weather files that a view rests on."""
    return [path for path in (settings.weather, *settings.past) if path is not None]


@cache
def form() -> str:
    """What a view is written in: the version, and a digest of what writes it."""
    return f"{__version__} {model_text(WRITTEN_BY).hex()}"


def stamps(paths: Sequence[Path]) -> list[list[object]]:
    """What tells whether files are still the same: name, time and size of each."""
    found: list[list[object]] = []
    for path in paths:
        made = path.stat() if path.is_file() else None
        found.append(
            [path.name, None if made is None else str(made.st_mtime_ns), None if made is None else made.st_size]
        )
    return found


@lru_cache(maxsize=8)
def _read_once(path: Path, made_ns: int, size: int) -> View:
    view = json.loads(path.read_bytes())
    if not isinstance(view, dict) or view.get("form") != form():
        raise ValueError(f"{path} is no view of this form.")
    return view


def _file(journal: Path, bin: str) -> Path:
    return journal / FOLDER / f"{file_name(bin)}.json"
