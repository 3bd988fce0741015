"""What a folder of backups holds, and what each backup says of itself.

    TARGET/
      photos/                               every picture once, named after its own bytes
      000007-2026-02-03T210000Z/            one backup; the number counts up whatever the clock says
        journal.sqlite                      all records as they stood at one moment
        manifest.json                       when, which layout, how many rows, the hash of everything

The records are in a SQLite file even where the journal has them in PostgreSQL: nothing else is needed to read them, and
they outlast the server. The manifest then says in which database they were, without a password; `journal.toml` itself
is not copied, so that a restored journal is never a second door to a database that is in use.

A backup that is being made is a folder `.….part`. It gets its name when all of it is on the disk, so a folder
with a name and no manifest is a damaged backup, not an unfinished one.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from underlid.journal.database import PATIENCE_S
from underlid.journal.errors import JournalError, UnwritableFolder
from underlid.journal.store import PHOTOS

MANIFEST = "manifest.json"
FORMAT = 1  # of the manifest
PART = ".part"  # how the name of something unfinished ends
LOCK = ".lock"

_NAME = re.compile(r"(\d{6,})-\d{4}-\d\d-\d\dT\d{6}Z")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_AT_ONCE = 1 << 20  # bytes read at a time


class NoBackup(JournalError):
    """There is no backup in {folder}: name the folder that `underlid backup --to` was given, or one backup in it."""


class DamagedBackup(JournalError):
    """The backup {folder} is not as it was made ({detail}): leave it as it is and take another one."""


class BackupsOfAnother(JournalError):
    """The backups in {target} are of another journal (it has none of the bins in {folder}): choose another folder for
    these backups; a journal that is to make way for a restored one is moved away by hand."""


class WithinEachOther(JournalError):
    """{target} and the journal in {folder} lie within each other, and what befalls one would befall both: choose a
    folder elsewhere, best on another disk."""


class OnAServer(JournalError):
    """The records of {folder} are in {path}, and a backup is not put in place of those on a server: restore it into
    another folder, and from there take it into an empty database with underlid move."""


class BackupBusy(JournalError):
    """Another backup into {target} is being made or tidied: try again when it is done."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture: `file` is its name in the journal's photos folder."""

    file: str
    sha256: str
    bytes: int

    @property
    def kept_as(self) -> str:
        """Its name among the pictures of the backups."""
        return kept_as(self.file, self.sha256)


@dataclass(frozen=True, slots=True)
class Backup:
    """One finished backup, as its manifest tells it.

    Attributes
    ----------
    number : counts up by one for each backup, whatever the clock says
    schema : layout of the database; rows : how many there are, by table
    wanting : pictures that entries name and the journal did not have whole when this was made: name, what is wrong
    records_in : the url of the database that the records were in, without a password; empty if in a SQLite file
    """

    folder: Path
    number: int
    made_at: datetime
    schema: str
    rows: dict[str, int]
    database_sha256: str
    database_bytes: int
    pictures: tuple[Picture, ...]
    wanting: tuple[tuple[str, str], ...] = ()
    records_in: str = ""

    @property
    def store(self) -> Path:
        """The folder with the pictures of all backups."""
        return self.folder.parent / PHOTOS

    def text(self) -> str:
        """The manifest."""
        told: dict[str, object] = {
            "format": FORMAT,
            "number": self.number,
            "made_at": self.made_at.isoformat(),
            "schema": self.schema,
            "rows": self.rows,
            "database": {"sha256": self.database_sha256, "bytes": self.database_bytes},
            "photos": [{"file": each.file, "sha256": each.sha256, "bytes": each.bytes} for each in self.pictures],
            "wanting": [{"file": file, "detail": detail} for file, detail in self.wanting],
        }
        if self.records_in:
            told["records_in"] = self.records_in
        return json.dumps(told, ensure_ascii=False, indent=1) + "\n"


def read_manifest(folder: Path) -> Backup:
    """Read what a backup says of itself; raise NoBackup or DamagedBackup."""
    if not folder.is_dir():
        raise NoBackup(folder=folder)
    try:
        told = json.loads((folder / MANIFEST).read_bytes())
        backup = _backup(folder, told)
    except FileNotFoundError as error:
        raise DamagedBackup(folder=folder, detail=f"it has no {MANIFEST}") from error
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise DamagedBackup(folder=folder, detail=f"its {MANIFEST} cannot be read") from error
    if number_of(folder) not in (None, backup.number):
        raise DamagedBackup(folder=folder, detail=f"its {MANIFEST} is that of backup {backup.number}")
    return backup


def _backup(folder: Path, told: Any) -> Backup:
    if told["format"] != FORMAT:
        raise ValueError("another format")
    made = Backup(
        folder=folder,
        number=int(told["number"]),
        made_at=datetime.fromisoformat(told["made_at"]),
        schema=str(told["schema"]),
        rows={str(table): int(rows) for table, rows in told["rows"].items()},
        database_sha256=str(told["database"]["sha256"]),
        database_bytes=int(told["database"]["bytes"]),
        pictures=tuple(Picture(str(p["file"]), str(p["sha256"]), int(p["bytes"])) for p in told["photos"]),
        wanting=tuple((str(each["file"]), str(each["detail"])) for each in told["wanting"]),
        records_in=str(told.get("records_in", "")),
    )
    # What a backup from elsewhere says is not believed so far as to write outside a folder.
    if made.made_at.tzinfo is None or not all(is_picture(each.file, each.sha256) for each in made.pictures):
        raise ValueError("impossible")
    return made


def folders(target: Path) -> list[Path]:
    """Every finished backup in a folder, in the order in which they were made."""
    if not target.is_dir():
        return []
    found = [each for each in target.iterdir() if number_of(each) is not None and each.is_dir()]
    return sorted(found, key=lambda each: (number_of(each), each.name))


def number_of(folder: Path) -> int | None:
    """The number in the name of a backup, None if it is no backup's name."""
    match = _NAME.fullmatch(folder.name)
    return int(match[1]) if match else None


def name_of(number: int, made_at: datetime) -> str:
    """The name of a backup's folder.

    >>> name_of(7, datetime(2026, 2, 3, 21, tzinfo=UTC))
    '000007-2026-02-03T210000Z'
    """
    return f"{number:06}-{made_at.astimezone(UTC):%Y-%m-%dT%H%M%SZ}"


def is_picture(file: str, sha256: str) -> bool:
    """Whether a name stays in its folder and the hash is one."""
    plain = bool(file) and file not in (".", "..") and not re.search(r"[/\\:\0]", file)
    return plain and bool(_SHA256.fullmatch(sha256))


def kept_as(file: str, sha256: str) -> str:
    """The name that a picture has among those of the backups."""
    return sha256 + Path(file).suffix.lower()


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file, read piece by piece."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_AT_ONCE):
            digest.update(piece)
    return digest.hexdigest()


def holds(path: Path, sha256: str) -> bool:
    """Whether a file is there with these bytes; one that cannot be read is not."""
    try:
        return path.is_file() and sha256_of(path) == sha256
    except OSError:
        return False


@contextmanager
def alone(target: Path) -> Iterator[None]:
    """Keep others from making or removing backups in a folder; whoever is killed lets go."""
    try:
        with closing(sqlite3.connect(target / LOCK, timeout=PATIENCE_S, isolation_level=None)) as lock:
            lock.execute("BEGIN EXCLUSIVE")
            yield
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
            raise BackupBusy(target=target) from error
        raise UnwritableFolder(folder=target, detail=str(error)) from error
