"""Which backups are kept as time goes by, and which may go.

Of the backups that are good, the last of each day, week (ISO 8601) and month is kept, for so many days, weeks and
months in which there was one; how many is our judgement. No clock is asked: backups are taken in the order in which
they were made, and one is not removed because it is old, but because newer ones have come. A backup goes only if

- it is good itself: one that could not be verified is left for the keeper to look at,
- it is not the newest good one,
- it is not dated after the newest one, which would mean that the clock was set back,
- the newest good one holds every row and every picture of it, word for word.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from underlid.files import sync_folder
from underlid.journal.copied import lacking
from underlid.journal.errors import disk_error
from underlid.journal.manifest import PART, Backup, alone, folders, read_manifest
from underlid.journal.store import FILE
from underlid.journal.verify import verify


@dataclass(frozen=True, slots=True)
class Keep:
    """For how many days, weeks and months the last backup of each is kept."""

    daily: int = 7
    weekly: int = 4
    monthly: int = 12


@dataclass(frozen=True, slots=True)
class Rotated:
    """What went, and what did not although it was due, with the reason."""

    removed: tuple[Path, ...]
    notes: tuple[str, ...]


def chosen(made: Sequence[Backup], keep: Keep) -> set[int]:
    """Return the numbers of the backups to keep, by their days, weeks and months alone."""
    newest_first = sorted(made, key=lambda each: each.number, reverse=True)
    kept: set[int] = {each.number for each in newest_first[:1]}
    days = [each.made_at.date() for each in newest_first]
    for many, periods in (
        (keep.daily, [(day.year, day.month, day.day) for day in days]),
        (keep.weekly, [tuple(day.isocalendar()[:2]) for day in days]),
        (keep.monthly, [(day.year, day.month) for day in days]),
    ):
        seen: set[tuple[int, ...]] = set()
        for each, period in zip(newest_first, periods, strict=True):
            if period not in seen and len(seen) < many:
                seen.add(period)
                kept.add(each.number)
    return kept


def rotate(target: Path | str, keep: Keep | None = None) -> Rotated:
    """Remove the backups in a folder that newer ones make needless."""
    target = Path(target)
    with alone(target):
        good, notes = _good(target)
        if not good:
            return Rotated((), tuple(notes))
        newest = good[-1]
        past = [each for each in good if each.made_at <= newest.made_at]
        ahead = len(good) - len(past)
        if ahead:
            notes.append(
                f"{_many(ahead)} dated after the newest one, so a clock was set back; {_they(ahead)} kept: is the "
                "clock right?"
            )
        kept = chosen(past, keep or Keep())
        removed = []
        for each in past:
            if each.number in kept:
                continue
            reason = _needed(each, newest)
            if reason is None:
                _remove(each.folder)
                removed.append(each.folder)
            else:
                notes.append(reason)
    return Rotated(tuple(removed), tuple(notes))


def _good(target: Path) -> tuple[list[Backup], list[str]]:
    """The good backups in the order in which they were made, and a sentence about each other one."""
    good, notes = [], []
    known: dict[Path, bool] = {}
    for folder in folders(target):
        found = verify(folder, known)
        if found.good:
            good.append(read_manifest(folder))
        else:
            notes.append(f"{folder.name} could not be verified and is left as it is: {found.problems[0]}")
    return good, notes


def _needed(older: Backup, newest: Backup) -> str | None:
    """Return why an older backup must stay, None if the newest holds all of it."""
    rows = lacking(newest.folder / FILE, older.folder / FILE)
    if rows:
        return f"{older.folder.name} is kept beyond its time: {rows} of its rows are not in the newest backup."
    pictures = len({each.sha256 for each in older.pictures} - {each.sha256 for each in newest.pictures})
    if pictures:
        return f"{older.folder.name} is kept beyond its time: {pictures} of its pictures are not in the newest backup."
    return None


def _remove(folder: Path) -> None:
    """Take the name first: what a sudden end leaves is then no backup, and is cleaned up like an unfinished one."""
    try:
        gone = folder.rename(folder.with_name(f".{folder.name}{PART}"))
        sync_folder(folder.parent)
    except OSError as error:
        raise disk_error(error, folder.parent) from error
    shutil.rmtree(gone, ignore_errors=True)


def _many(number: int) -> str:
    return "1 backup is" if number == 1 else f"{number} backups are"


def _they(number: int) -> str:
    return "it is" if number == 1 else "they are"
