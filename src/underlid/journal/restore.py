"""A backup put in place as a journal: verified before and after, whole or not at all."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from underlid.files import part_of, sync_folder, write_whole
from underlid.journal.copied import keep_log, lacking, look, overwrite
from underlid.journal.database import revision
from underlid.journal.errors import (
    DamagedJournal,
    DiskFailed,
    JournalError,
    JournalExists,
    NewerJournal,
    NotAJournal,
    disk_error,
)
from underlid.journal.manifest import Backup, DamagedBackup, OnAServer, holds, read_manifest, sha256_of
from underlid.journal.place import POINTER, shown, where
from underlid.journal.store import FILE, PHOTOS
from underlid.journal.tables import HEAD
from underlid.journal.verify import verify

LOGS = (f"{FILE}-wal", f"{FILE}-shm", f"{FILE}-journal")  # what SQLite keeps beside a file in use


class JournalStands(JournalExists):
    """There is a journal in {folder}: with --replace the backup takes its place, and what stands there is kept; or
    choose another folder."""


class LogWithoutJournal(JournalError):
    """{folder} holds {file} without journal.sqlite, and it may hold entries: move it away, or choose another folder."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored, the backup of what stood before, and where a damaged journal was set aside."""

    backup: Backup
    earlier: Backup | None
    aside: Path | None


def restore_backup(source: Path, folder: Path, now: datetime, save: Callable[[], Backup] | None) -> Restored:
    """Put a backup in place; `save` makes a backup of what stands, without it nothing may stand there."""
    made = read_manifest(source)
    found = verify(source)
    if not found.good:
        raise DamagedBackup(folder=source, detail=found.problems[0].rstrip("."))
    if made.schema > HEAD:
        raise NewerJournal(path=source / FILE, found=made.schema, known=HEAD)
    earlier: list[Backup] = []
    aside = None

    def save_and_bring() -> None:
        _not_on_a_server(folder)  # nor moved there meanwhile
        if stands and save is not None:
            earlier.append(save())
        _bring_all(made, folder, now)

    try:
        _not_on_a_server(folder)
        stands = _stands(folder)
        if stands and save is None:
            raise JournalStands(folder=folder)
        if not stands and not (folder / FILE).exists():
            if logs := [name for name in LOGS if (folder / name).exists()]:
                raise LogWithoutJournal(folder=folder, file=logs[0])
            _bring_all(made, folder, now)
            _put(made, folder)
        else:
            try:
                overwrite(folder / FILE, made.folder / FILE, save_and_bring)
            except (DamagedJournal, NotAJournal):
                aside = _set_aside(folder, now)
                _bring_all(made, folder, now)
                _put(made, folder)
    except OSError as error:
        raise disk_error(error, folder) from error
    _check(made, folder)
    return Restored(made, earlier[0] if earlier else None, aside)


def _not_on_a_server(folder: Path) -> None:
    """Leave a journal alone whose records are in a database: they are others' too, and stay when a file is replaced."""
    if (folder / POINTER).exists():
        raise OnAServer(folder=folder, path=shown(where(folder)))


def _stands(folder: Path) -> bool:
    """Whether there is a journal, be it damaged; a file without tables is what a creation that was cut off leaves."""
    path = folder / FILE
    try:
        return path.exists() and revision(path) is not None
    except (DamagedJournal, NotAJournal):
        return True


def _put(made: Backup, folder: Path) -> None:
    path = folder / FILE
    folder.mkdir(parents=True, exist_ok=True)
    (folder / PHOTOS).mkdir(exist_ok=True)
    for left in folder.glob(f".{FILE}.*.part"):  # by a restoring that was cut off
        left.unlink(missing_ok=True)
    part = part_of(path)
    try:
        shutil.copyfile(made.folder / FILE, part)
        if sha256_of(part) != made.database_sha256:
            raise DiskFailed(folder=folder, detail="the database reads back otherwise than it was written")
        keep_log(part)
        with part.open("rb+") as copy:
            os.fsync(copy.fileno())
        _name(part, path, folder)
        sync_folder(folder)
        sync_folder(folder.absolute().parent)
    finally:
        part.unlink(missing_ok=True)


def _name(part: Path, path: Path, folder: Path) -> None:
    """Give a file its name, unless a journal was made under that name meanwhile."""
    _not_on_a_server(folder)
    try:
        os.link(part, path)
    except FileExistsError as error:
        raise JournalExists(folder=folder) from error
    except OSError:  # some file systems know no second name
        part.replace(path)


def _bring_all(made: Backup, folder: Path, now: datetime) -> None:
    for picture in made.pictures:
        _bring(made.store / picture.kept_as, folder / PHOTOS / picture.file, picture.sha256, now)


def _bring(kept: Path, path: Path, sha256: str, now: datetime) -> None:
    """Copy a picture; another file under its name is set aside, for it is no one's to remove."""
    if holds(path, sha256):
        return
    if path.exists():
        path.rename(path.with_name(f"{path.name}.{_stamp(now)}.aside"))
    write_whole(path, kept.read_bytes())
    if not holds(path, sha256):
        raise DiskFailed(folder=path.parent, detail=f"{path.name} reads back otherwise than it was written")


def _set_aside(folder: Path, now: datetime) -> Path:
    """Move a damaged database away with its logs: somebody may yet read something from them."""
    aside = folder / f"damaged-{_stamp(now)}"
    number = 1
    while aside.exists():
        number += 1
        aside = folder / f"damaged-{_stamp(now)}-{number}"
    aside.mkdir()
    for name in (*LOGS, FILE):  # the database last: until then a journal stands here
        if (folder / name).exists():
            (folder / name).rename(aside / name)
    sync_folder(aside)
    sync_folder(folder)
    return aside


def _check(made: Backup, folder: Path) -> None:
    path = folder / FILE
    look(path, still=False)
    rows = lacking(path, made.folder / FILE, still=False)
    if rows:
        raise DamagedJournal(path=path, detail=f"{rows} rows of the backup are not in it")


def _stamp(now: datetime) -> str:
    return f"{now.astimezone(UTC):%Y-%m-%dT%H%M%SZ}"
