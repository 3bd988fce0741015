"""Updates as they were made last: the files of a bin's month in the journal's folder `updates`, and what they were
asked with.

What was made can be thrown away at any time; `asked.json` is written last, so a folder without it counts as not made.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any
from zoneinfo import ZoneInfo

from underlid.answer import SEED, answer, case_of, weather_from
from underlid.files import write_whole
from underlid.journal.store import Journal
from underlid.monthly import photos_of, pictures_of, story_of
from underlid.update.forms.formats import render
from underlid.update.lifefacts import Own
from underlid.update.own import accent_from, words_from
from underlid.update.story import hours_of_month
from underlid.web.beforehand import NO_FIT, NeedsWeather
from underlid.web.kept import file_name
from underlid.web.settings import Settings
from underlid.web.work import Progress

FOLDER, ASKED = "updates", "asked.json"
ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # the same files give the same bytes


class UnknownFile(ValueError):
    """That update, or that file of it, was not made yet."""


@dataclass(frozen=True, slots=True)
class Made:
    """An update that was made.

    files : name within it -> size in bytes; asked : what it was asked with; notes : sentences on what could not be
    shown; entries : how many the bin had, corrected ones counted
    """

    made_at: datetime
    files: Mapping[str, int]
    notes: Sequence[str]
    asked: Mapping[str, Any]
    entries: int


def make(
    settings: Settings, progress: Progress, bin: str, month: str, own: Mapping[str, Any], formats: Sequence[str]
) -> dict[str, Any]:
    """Fit if need be, draw every format asked for, and keep the files: the worker's answer to a page.

    own : title, keeper, accent, words (section -> text) and photos (id, x, y), as they were asked with
    """
    if settings.weather is None:
        raise NeedsWeather(NO_FIT)
    when = datetime.strptime(month, "%Y-%m")
    with Journal.open(settings.journal) as book:
        record = book.bin(bin)
        entries = len(book.entries(bin, superseded=True))
        now = settings.now().astimezone(ZoneInfo(record.timezone))
        air, *years = (
            weather_from(path, record.timezone, 0, settings.place) for path in (settings.weather, *settings.past)
        )
        case = case_of(book, bin, air, now, past=years)
        hours_of_month(case, when.date())  # what cannot be told is refused before it is fitted
        study = answer(book, case, progress=lambda done: progress(0.4 * done))
        chosen = {one["id"]: (one["x"], one["y"]) for one in own["photos"]}
        photos = [one for one in photos_of(book, bin, (when.year, when.month)) if one.id in chosen]
        brought = Own(
            own["title"] or None, own["keeper"] or None, accent_from(own["accent"]), words_from(text_of(own["words"])),
            pictures_of(book, photos, chosen),
        )  # fmt: skip
        story = story_of(
            book, study, (when.year, when.month), own=brought, seed=SEED,
            progress=lambda done: progress(0.4 + 0.2 * done),
        )  # fmt: skip
    progress(0.6)
    rendered = render(story, tuple(formats), progress=lambda done: progress(0.6 + 0.39 * done))
    keep(settings.journal, bin, month, rendered.files, {
        "made_at": now.isoformat(), "notes": list(rendered.notes), "entries": entries,
        "asked": {**own, "formats": list(formats)},
    })  # fmt: skip
    return {"bin": bin, "month": month, "files": sorted(rendered.files), "notes": list(rendered.notes)}


def text_of(words: Mapping[str, str]) -> str:
    """Words by section as the one text that a keeper may also write, with a heading before each part."""
    return "\n\n".join(
        text if not name else f"# {name}\n{text}" for name, text in sorted(words.items(), key=lambda one: one[0] != "")
    )


def keep(journal: Path, bin: str, month: str, files: Mapping[str, bytes], about: Mapping[str, Any]) -> None:
    """Write the files of an update, and let go of those of the one before that are no part of it."""
    folder = _folder(journal, bin, month)
    (folder / ASKED).unlink(missing_ok=True)  # while files change it counts as not made
    for name, data in files.items():
        write_whole(folder / _inside(name), data)
    for path in folder.rglob("*"):
        if path.is_file() and path.relative_to(folder).as_posix() not in files:
            path.unlink()
    sizes = {name: len(data) for name, data in files.items()}
    write_whole(folder / ASKED, json.dumps({**about, "files": sizes}, allow_nan=False).encode())


def made_of(journal: Path, bin: str, month: str) -> Made | None:
    """The update made last of a month; None if there is none that can be read."""
    try:
        told = json.loads((_folder(journal, bin, month) / ASKED).read_bytes())
        return Made(
            datetime.fromisoformat(told["made_at"]), told["files"], told["notes"], told["asked"], told["entries"]
        )
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def file_of(journal: Path, bin: str, month: str, name: str) -> Path:
    """A file of an update, by its name in what was made. Raises UnknownFile."""
    made = made_of(journal, bin, month)
    path = _folder(journal, bin, month) / name
    if made is None or name not in made.files or not path.is_file():
        raise UnknownFile("There is no such file of that update, or not any more: make it anew.")
    return path


def zip_of(journal: Path, bin: str, month: str) -> bytes:
    """All files of an update in one archive. Raises UnknownFile."""
    made = made_of(journal, bin, month)
    if made is None:
        raise UnknownFile("That update was not made yet.")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:  # pictures and films are packed already
        for name in sorted(made.files):
            archive.writestr(zipfile.ZipInfo(name, ZIP_TIME), file_of(journal, bin, month, name).read_bytes())
    return out.getvalue()


def _folder(journal: Path, bin: str, month: str) -> Path:
    return journal / FOLDER / f"{file_name(bin)}-{month}"


def _inside(name: str) -> PurePosixPath:
    path = PurePosixPath(name)
    assert not path.is_absolute(), name
    assert ".." not in path.parts, name
    return path
