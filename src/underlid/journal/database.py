"""The store under a journal: how it is opened, migrated, written, and what its errors mean to a keeper.

What is SQLite's own is here; what is PostgreSQL's own is in `server`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from functools import wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

from sqlalchemy import URL, Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DBAPIError

from underlid.journal import server
from underlid.journal.errors import (
    Collided,
    DamagedDatabase,
    DamagedJournal,
    DiskFailed,
    DiskFull,
    JournalBusy,
    JournalError,
    Misfit,
    NewerJournal,
    NotAJournal,
    StoringUnsure,
    UnreadableRow,
    UnwritableFolder,
)
from underlid.journal.place import Where, shown
from underlid.journal.tables import HEAD

#: How long one writer waits for another, in seconds.
PATIENCE_S = 30

#: How often a change is tried that another program's came in between.
TRIES = 3

Given = ParamSpec("Given")
Result = TypeVar("Result")


def connect(where: Where) -> Engine:
    """Return an engine on a SQLite file, which is made if it is missing, or on a PostgreSQL database.

    What a commit acknowledged survives a power cut: WAL with synchronous=FULL syncs each commit.
    """
    if isinstance(where, URL):
        return server.connect(where, PATIENCE_S)
    engine = create_engine(URL.create("sqlite", database=str(where)), connect_args={"timeout": PATIENCE_S})

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # BEGIN is ours (below), so that DDL is in the transaction too
        for pragma in (
            f"busy_timeout = {PATIENCE_S * 1000}",
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
            "trusted_schema = OFF",  # a journal from elsewhere may hold any
            "recursive_triggers = ON",  # or INSERT OR REPLACE would remove a row unseen by the triggers
        ):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer locks at once: one that reads first and writes later could be refused half way.
        connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get('begin', 'DEFERRED')}")

    return engine


def for_writing(engine: Engine) -> Engine:
    """Return the same engine, with transactions that hold the one writers' lock from their start."""
    if engine.dialect.name == "postgresql":
        # Each statement sees what is committed: under the lock nothing is, so that is one moment too.
        return engine.execution_options(begin="IMMEDIATE", isolation_level="READ COMMITTED")
    return engine.execution_options(begin="IMMEDIATE")


def for_reading(engine: Engine) -> Engine:
    """Return the same engine, with transactions that see one moment while others write."""
    if engine.dialect.name == "postgresql":
        return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return engine


def revision(where: Where, engine: Engine | None = None) -> str | None:
    """Return the layout that a store stands at, None if it is empty; change nothing.

    Raises NotAJournal on another program's database.
    """
    with speaking(where):
        if isinstance(where, Path):
            _take_back(where)
            with closing(sqlite3.connect(f"{where.absolute().as_uri()}?mode=ro", uri=True)) as file:
                names = {name for (name,) in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
                return _layout(where, names, lambda query: file.execute(query).fetchone())
        ours = engine or connect(where)
        try:
            with for_reading(ours).connect() as connection:
                names = server.tables_in(connection)
                return _layout(where, names, lambda query: connection.execute(text(query)).one_or_none())
        finally:
            if engine is None:
                ours.dispose()


def _take_back(path: Path) -> None:
    """Undo what a creation that was cut off left half done: only one who may write can."""
    if path.with_name(f"{path.name}-journal").exists():
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)) as file:
            file.execute("SELECT count(*) FROM sqlite_schema").fetchone()


def _layout(where: Where, tables: set[str], ask: Callable[[str], Sequence[object] | None]) -> str | None:
    if not tables:
        return None
    if not {"alembic_version", "bins", "readings"} <= tables:
        raise NotAJournal(path=shown(where), detail="it holds another program's tables")
    row = ask("SELECT version_num FROM alembic_version")
    if row is None or not row[0]:
        raise damaged(where, "it does not say its layout")
    return str(row[0])


def damaged(where: Where, detail: object) -> DamagedJournal:
    """Return what to raise of records that are damaged: what to do about it depends on where they are."""
    kind = DamagedJournal if isinstance(where, Path) else DamagedDatabase
    return kind(path=shown(where), detail=detail)


def migrate(engine: Engine, where: Where) -> None:
    """Bring a store to the newest layout in one transaction; raise NewerJournal if it is beyond that."""
    # Alembic takes a quarter of a second to import, and a journal that is up to date never needs it.
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", "underlid.journal:migrations")
    config.set_main_option("path_separator", "os")
    found = None if isinstance(where, Path) and not where.exists() else revision(where, engine)
    if found is not None:
        try:
            ScriptDirectory.from_config(config).get_revision(found)
        except CommandError as error:
            raise NewerJournal(path=shown(where), found=found, known=HEAD) from error
    with speaking(where), for_writing(engine).connect() as connection:
        if isinstance(where, URL):
            server.check_encoding(connection, where)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        commit(connection)


def commit(connection: Connection) -> None:
    """Commit; where it cannot be known whether that was done, `speaking` says so."""
    try:
        connection.commit()
    except DBAPIError as error:
        if connection.dialect.name == "postgresql" and server.lost(error):
            raise _Unsure from error
        raise


class _Unsure(Exception):
    """The connection was lost between asking for a commit and being told of it."""


def trying_again(change: Callable[Given, Result]) -> Callable[Given, Result]:
    """Do a change anew where another program's came in between; it stores all or nothing each time."""

    @wraps(change)
    def persistent(*args: Given.args, **kwargs: Given.kwargs) -> Result:
        for _ in range(TRIES - 1):
            try:
                return change(*args, **kwargs)
            except Collided:
                continue
        return change(*args, **kwargs)

    return persistent


def problems(connection: Connection) -> list[str]:
    """Return what is wrong with a store as such: pages that do not fit together, rows without the one they need."""
    if connection.dialect.name == "postgresql":
        return [f"loose row in {table}" for table in server.loose_rows(connection)]
    found = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
    found += [f"loose row in {row[0]}" for row in connection.execute(text("PRAGMA foreign_key_check"))]
    return [each for each in found if each != "ok"]


@contextmanager
def speaking(where: Where) -> Iterator[None]:
    """Turn what a store says into a sentence for the keeper."""
    try:
        yield
    except _Unsure as error:
        raise StoringUnsure(path=shown(where)) from error
    except DBAPIError as error:
        # During a move there are two stores: each says its own.
        if isinstance(where, URL) and not isinstance(error.orig, sqlite3.Error):
            raise server.meaning(error, where) from error
        if isinstance(where, Path) and isinstance(error.orig, sqlite3.Error):
            raise _meaning(error.orig, where) from error
        raise
    except sqlite3.Error as error:
        raise _meaning(error, Path(shown(where))) from error
    except UnicodeDecodeError as error:
        raise damaged(where, "its layout is no text") from error
    except UnreadableRow as error:
        raise damaged(where, error) from error


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
