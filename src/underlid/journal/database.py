"""The SQLite file under a journal: how it is opened, migrated, and what its errors mean to a keeper."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError

from underlid.journal.errors import (
    DamagedJournal,
    DiskFailed,
    DiskFull,
    JournalBusy,
    JournalError,
    Misfit,
    NewerJournal,
    NotAJournal,
    UnreadableRow,
    UnwritableFolder,
)
from underlid.journal.tables import HEAD

#: How long one writer waits for another, in seconds.
PATIENCE_S = 30


def connect(path: Path) -> Engine:
    """Return an engine on the file at `path`, which SQLite makes if it is missing.

    What a commit acknowledged survives a power cut: WAL with synchronous=FULL syncs each commit.
    """
    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": PATIENCE_S})

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # BEGIN is ours (below), so that DDL is in the transaction too
        for pragma in (
            f"busy_timeout = {PATIENCE_S * 1000}",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
            "recursive_triggers = ON",  # or INSERT OR REPLACE would remove a row unseen by the triggers
        ):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer locks at once: one that reads first and writes later could be refused half way.
        connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get('begin', 'DEFERRED')}")

    return engine


def for_writing(engine: Engine) -> Engine:
    """Return the same engine, with transactions that lock the file for writing from their start."""
    return engine.execution_options(begin="IMMEDIATE")


def revision(path: Path) -> str | None:
    """Return the layout that the file at `path` stands at, None if the file is empty; change nothing.

    Raises NotAJournal on another program's database.
    """
    with speaking(path), closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file:
        tables = {name for (name,) in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        if not tables:
            return None
        if not {"alembic_version", "bins", "readings"} <= tables:
            raise NotAJournal(path=path, detail="it holds another program's tables")
        row = file.execute("SELECT version_num FROM alembic_version").fetchone()
    if row is None:
        raise DamagedJournal(path=path, detail="it does not say its layout")
    return str(row[0])


def migrate(engine: Engine, path: Path) -> None:
    """Bring the file to the newest layout in one transaction; raise NewerJournal if it is beyond that."""
    # Alembic takes a quarter of a second to import, and a journal that is up to date never needs it.
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", "underlid.journal:migrations")
    config.set_main_option("path_separator", "os")
    found = revision(path) if path.exists() else None
    if found is not None:
        try:
            ScriptDirectory.from_config(config).get_revision(found)
        except CommandError as error:
            raise NewerJournal(path=path, found=found, known=HEAD) from error
    with speaking(path), for_writing(engine).connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        connection.commit()


@contextmanager
def speaking(path: Path) -> Iterator[None]:
    """Turn what SQLite says about the file at `path` into a sentence for the keeper."""
    try:
        yield
    except DBAPIError as error:
        if not isinstance(error.orig, sqlite3.Error):
            raise
        raise _meaning(error.orig, path) from error
    except sqlite3.Error as error:
        raise _meaning(error, path) from error
    except UnreadableRow as error:
        raise DamagedJournal(path=path, detail=error) from error


def _meaning(error: sqlite3.Error, path: Path) -> JournalError:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF  # the low byte is the family
    folder, detail = path.parent, str(error)
    match code:
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return JournalBusy(path=path)
        case sqlite3.SQLITE_FULL:
            return DiskFull(folder=folder)
        case sqlite3.SQLITE_IOERR:
            return DiskFailed(folder=folder, detail=detail)
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_PERM | sqlite3.SQLITE_AUTH:
            return UnwritableFolder(folder=folder, detail=detail)
        case sqlite3.SQLITE_NOTADB:
            return NotAJournal(path=path, detail=detail)
        case sqlite3.SQLITE_CONSTRAINT | sqlite3.SQLITE_MISMATCH:
            return Misfit(detail=detail)
        case _:
            return DamagedJournal(path=path, detail=detail)
