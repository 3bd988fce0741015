"""A journal's SQLite file copied, looked through and compared with another, past the store: as it lies there."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from underlid.journal.database import PATIENCE_S, speaking
from underlid.journal.errors import DamagedJournal, JournalBusy

#: Faults that lie with what is read; any other is one of the place that is written.
_OF_THE_SOURCE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_OURS = "alembic_version"  # the one table that is not the keeper's


@dataclass(frozen=True, slots=True)
class Content:
    """What a database holds: its layout, rows by table, ids of bins, and the file and hash of each photo entry."""

    schema: str
    rows: dict[str, int]
    bins: frozenset[str]
    photos: tuple[tuple[str, str], ...]


def copy_database(source: Path, target: Path) -> None:
    """Copy a database as it stands at one moment, whoever is writing in it, into one file without a log beside it."""
    deadline = time.monotonic() + PATIENCE_S

    def busy(status: int, _remaining: int, _total: int) -> None:
        # Asked after each try: otherwise it would be tried for ever.
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > deadline:
            raise JournalBusy(path=source)

    try:
        with closing(_writer(target, 0)) as copy:
            with closing(reader(source, still=False)) as file:
                file.backup(copy, progress=busy)
            copy.execute("PRAGMA journal_mode = DELETE").close()
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
        with speaking(source if code in _OF_THE_SOURCE else target):
            raise


def overwrite(target: Path, source: Path, before: Callable[[], None]) -> None:
    """Put what a copy holds in place of what a database holds, in one transaction: others see the one or the other.

    `before` is called when nobody else can write any more, so that it can save what stands; if it raises, that stays.
    """
    with speaking(target), closing(_writer(target, PATIENCE_S)) as live:
        live.execute("ATTACH ? AS source", [_uri(source, still=True)])
        live.execute("BEGIN IMMEDIATE")
        before()
        for table in _tables(live, ours=True):
            live.execute(f'DROP TABLE main."{table}"')  # with its indexes and triggers
        schema = live.execute("SELECT type, name, sql FROM source.sqlite_schema WHERE sql IS NOT NULL ORDER BY rowid")
        made = [row for row in schema.fetchall() if not row[1].startswith("sqlite_")]
        for kind, name, sql in sorted(made, key=lambda row: row[0] != "table"):  # triggers would refuse nothing yet
            live.execute(sql)
            if kind == "table":
                live.execute(f'INSERT INTO main."{name}" SELECT * FROM source."{name}" ORDER BY rowid')
        live.execute("COMMIT")


def keep_log(path: Path) -> None:
    """Have a copy keep a log beside it, as a journal does. A sudden end while a journal that is in use is changed to
    this leaves what one who may only read cannot take back."""
    with speaking(path), closing(_writer(path, 0)) as file:
        file.execute("PRAGMA journal_mode = WAL").close()


def _writer(path: Path, patience_s: float) -> sqlite3.Connection:
    with speaking(path):
        file = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rwc", timeout=patience_s, uri=True)
        file.isolation_level = None
        file.execute("PRAGMA synchronous = FULL").close()
        return file


def reader(path: Path, *, still: bool) -> sqlite3.Connection:
    """Open a database for reading; `still` says that nobody writes in it, so that nothing is put beside it."""
    return sqlite3.connect(_uri(path, still=still), uri=True)


def look(path: Path, *, still: bool = True) -> Content:
    """Read a whole database; raise DamagedJournal if anything in it is not as SQLite wrote it."""
    with speaking(path), closing(reader(path, still=still)) as file:
        file.execute("BEGIN")  # one moment for all that follows
        problems = [str(row[0]) for row in file.execute("PRAGMA integrity_check")]
        problems += [f"loose row in {row[0]}" for row in file.execute("PRAGMA foreign_key_check")]
        if problems != ["ok"]:
            raise DamagedJournal(path=path, detail="; ".join(problems[:3]))
        version = file.execute(f"SELECT version_num FROM {_OURS}").fetchone()
        if version is None:
            raise DamagedJournal(path=path, detail="it does not say its layout")
        rows = {name: int(file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in _tables(file)}
        bins = frozenset(str(row[0]) for row in file.execute("SELECT id FROM bins"))
        photos = tuple(
            (str(row[0]), str(row[1])) for row in file.execute("SELECT file, sha256 FROM photos ORDER BY id")
        )
    return Content(str(version[0]), rows, bins, photos)


def lacking(newer: Path, older: Path, *, still: bool = True) -> int:
    """Return how many rows of the older database the newer one does not have word for word."""
    with speaking(newer), closing(reader(newer, still=still)) as file:
        file.execute("ATTACH ? AS older", [_uri(older, still=True)])
        there = set(_tables(file))
        missing = 0
        for table in _tables(file, "older"):
            rows = f'SELECT {_columns(file, table)} FROM older."{table}"'
            if table in there:
                rows += f' EXCEPT SELECT {_columns(file, table)} FROM main."{table}"'
            missing += int(file.execute(f"SELECT count(*) FROM ({rows})").fetchone()[0])
    return missing


def _uri(path: Path, *, still: bool) -> str:
    return f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' if still else ''}"


def _tables(file: sqlite3.Connection, schema: str = "main", *, ours: bool = False) -> list[str]:
    found = file.execute(
        f"SELECT name FROM {schema}.sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    )
    return [str(row[0]) for row in found if ours or row[0] != _OURS]


def _columns(file: sqlite3.Connection, table: str) -> str:
    """The columns that the older table has; a later layout may have more."""
    return ", ".join(f'"{row[1]}"' for row in file.execute(f'PRAGMA older.table_info("{table}")'))
