"""Backups of a journal: made while others write, whole or not at all, and verified before they count.

    made = backup(journal_folder, target_folder, now)
    rotate(target_folder)
    restore(made.folder, another_folder, now)

A backup holds all records of the journal in a SQLite file, wherever the journal has them, and its pictures. What can be
computed again (`fits`) and what lets devices in (`web`) stays behind. How a folder of backups is laid out stands in
`manifest`, what is removed in `rotation`.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from underlid.files import sync_folder, write_whole
from underlid.journal.copied import Content, copy_database, look
from underlid.journal.database import revision
from underlid.journal.errors import DamagedJournal, DiskFailed, JournalError, NoJournal, NotTheSame, disk_error
from underlid.journal.manifest import (
    MANIFEST,
    PART,
    Backup,
    BackupsOfAnother,
    DamagedBackup,
    NoBackup,
    Picture,
    WithinEachOther,
    alone,
    folders,
    holds,
    is_picture,
    kept_as,
    name_of,
    number_of,
    read_manifest,
    sha256_of,
)
from underlid.journal.moving import copy_to_file
from underlid.journal.place import shown, where
from underlid.journal.restore import Restored, restore_backup
from underlid.journal.rotation import Keep, Rotated, rotate
from underlid.journal.store import FILE, PHOTOS, Journal
from underlid.journal.verify import Verified, verify, verify_journal, wrong_with

__all__ = [
    "Backup", "Keep", "Restored", "Rotated", "Verified", "automatic", "backup", "newest_good", "restore", "rotate",
    "verify", "verify_journal",
]  # fmt: skip


def backup(journal_folder: Path | str, target_folder: Path | str, now: datetime) -> Backup:
    """Make a backup of a journal in `target_folder`, which is made too if it is missing.

    When this returns, the backup is on the disk and was read back; when it raises a JournalError, there is none.
    A picture that an entry names and the journal has lost is said in the backup's `wanting`, unless an earlier
    backup kept it. Where the records are in a database of an older layout, it is brought up to date first, as by
    anything else that opens the journal.
    """
    folder, target = Path(journal_folder), Path(target_folder)
    with _opened(folder) as (copy, records_in):
        _apart(folder, target)
        try:
            (target / PHOTOS).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise disk_error(error, target) from error
        with alone(target):
            _tidy(target)
            earlier = folders(target)
            number = 1 + max((number_of(each) or 0 for each in earlier), default=0)
            part = target / f".{name_of(number, now)}{PART}"
            try:
                part.mkdir()
                content = copy(part / FILE)
                made = _described(folder, part, content, number, now, records_in)
                write_whole(part / MANIFEST, made.text().encode())
                part.rename(made.folder)
                sync_folder(target)
                return made
            except OSError as error:
                raise disk_error(error, target) from error
            finally:
                shutil.rmtree(part, ignore_errors=True)


def automatic(
    journal_folder: Path | str, target_folder: Path | str, now: datetime, keep: Keep | None = None
) -> Backup | None:
    """Make a backup and remove needless ones, unless the last one was made on the same day as `now`."""
    for folder in reversed(folders(Path(target_folder))):
        try:
            last = read_manifest(folder)
        except DamagedBackup:
            continue
        if last.made_at.astimezone(now.tzinfo).date() == now.date():
            return None
        break
    made = backup(journal_folder, target_folder, now)
    rotate(target_folder, keep)
    return made


def restore(backup_folder: Path | str, folder: Path | str, now: datetime, *, replace: bool = False) -> Restored:
    """Put a backup in place as a journal in `folder`, where none may stand unless `replace`.

    What stands is then first made a backup of, beside the one that is restored. A journal so damaged that none can
    be made is set aside in its own folder as it is. The records are in a SQLite file then, wherever they were; raises
    OnAServer where the journal that stands has its own on a server.
    """
    source, folder = Path(backup_folder), Path(folder)
    if folder.resolve() in (source.resolve(), source.resolve().parent):
        raise WithinEachOther(target=source.parent, folder=folder)

    def save() -> Backup:
        return backup(folder, source.parent, now)

    return restore_backup(source, folder, now, save if replace else None)


def newest_good(target: Path | str) -> tuple[Path, tuple[str, ...]]:
    """Return the backup made last that is good, or the one named itself, and a sentence for each bad one passed over.

    Raises NoBackup.
    """
    target = Path(target)
    if number_of(target) is not None or (target / MANIFEST).is_file():
        return target, ()
    passed: list[str] = []
    for folder in reversed(folders(target)):
        found = verify(folder)
        if found.good:
            return folder, tuple(passed)
        passed.append(f"{folder.name} is passed over: {found.problems[0]}")
    raise NoBackup(folder=target)


#: Copies all records as of one moment into a new SQLite file, and looks through it.
_Copy = Callable[[Path], Content]


@contextmanager
def _opened(folder: Path) -> Iterator[tuple[_Copy, str]]:
    """Yield what copies the records of a journal, and in which database they are, empty if they are in a file."""
    if not isinstance(store := where(folder), Path):
        with Journal.open(folder) as journal:
            yield lambda file: _copied_from_server(journal, file), shown(store)
    elif store.is_file() and revision(store) is not None:
        yield lambda file: _copied_from_file(store, file), ""
    else:
        raise NoJournal(folder=folder)


def _copied_from_file(source: Path, file: Path) -> Content:
    copy_database(source, file)
    try:
        return look(file)
    except DamagedJournal as error:  # page by page, so what is wrong in the copy is wrong in the source
        raise DamagedJournal(path=source, detail=error.facts["detail"]) from error


def _copied_from_server(journal: Journal, file: Path) -> Content:
    try:
        copy_to_file(journal, file)
    except NotTheSame as error:
        raise DiskFailed(folder=file.parent.parent, detail=f"of the records came {error.facts['detail']}") from error
    try:
        return look(file)
    except DamagedJournal as error:  # row by row and compared, so the source is sound
        raise DiskFailed(folder=file.parent.parent, detail=error.facts["detail"]) from error


def _described(folder: Path, part: Path, content: Content, number: int, now: datetime, records_in: str) -> Backup:
    """Keep the pictures too, and return what the manifest is to say."""
    target = part.parent
    _same_journal(folder, target, content)
    # The records first, the pictures after: a picture is on the disk before the entry that names it.
    pictures, wanting = _pictures(folder, target / PHOTOS, content)
    return Backup(
        folder=target / name_of(number, now),
        number=number,
        made_at=now,
        schema=content.schema,
        rows=content.rows,
        database_sha256=sha256_of(part / FILE),
        database_bytes=(part / FILE).stat().st_size,
        pictures=tuple(pictures),
        wanting=tuple(wanting),
        records_in=records_in,
    )


def _pictures(folder: Path, store: Path, content: Content) -> tuple[list[Picture], list[tuple[str, str]]]:
    """Keep every picture of the journal once, each read back; also return those that are not to be had."""
    loose = sorted(
        (path.name, path.stem)
        for path in (folder / PHOTOS).glob("*")
        if is_picture(path.name, path.stem) and holds(path, path.stem)
    )
    named = dict.fromkeys(content.photos)
    kept, wanting = [], []
    for file, sha256 in {**named, **dict.fromkeys(loose)}:
        path = store / kept_as(file, sha256)
        # A picture that was kept whole earlier may have been lost in the journal since: it is not lost here.
        wrong = None if is_picture(file, sha256) and holds(path, sha256) else wrong_with(folder, file, sha256)
        if wrong is not None:
            wanting.append((file, wrong))
            continue
        if not path.is_file() or not holds(path, sha256):
            write_whole(path, (folder / PHOTOS / file).read_bytes())
            if not holds(path, sha256):
                raise DiskFailed(folder=store, detail=f"{path.name} reads back otherwise than it was written")
        kept.append(Picture(file, sha256, path.stat().st_size))
    return kept, wanting


def _same_journal(folder: Path, target: Path, content: Content) -> None:
    """Refuse to mix two journals: none of their backups could ever be told to be needless."""
    for earlier in reversed(folders(target)):
        try:
            read_manifest(earlier)
            bins = look(earlier / FILE).bins
        except JournalError:
            continue
        if bins and not bins & content.bins:
            raise BackupsOfAnother(target=target, folder=folder)
        return


def _apart(folder: Path, target: Path) -> None:
    one, other = folder.resolve(), target.resolve()
    if one == other or one in other.parents or other in one.parents:
        raise WithinEachOther(target=target, folder=folder)


def _tidy(target: Path) -> None:
    """Remove what sudden ends left: no one else is at work here."""
    for left in target.glob(f".*{PART}"):
        shutil.rmtree(left, ignore_errors=True)
    for left in (target / PHOTOS).glob(f".*{PART}"):
        left.unlink(missing_ok=True)
