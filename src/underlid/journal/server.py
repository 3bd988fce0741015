"""The PostgreSQL database under a journal: how it is reached, and what its errors mean to a keeper.

What SQLite does by pragmas and by locking its file is done here by settings of each session and by one lock that
writers take in turn. They see what the one before has committed, so that none of them is ever refused half way.
"""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import URL, Connection, Engine, and_, create_engine, event, exists, literal, select, text, union_all
from sqlalchemy.exc import DataError, DBAPIError

from underlid.journal.errors import (
    Collided,
    DamagedDatabase,
    DiskFailed,
    DiskFull,
    JournalBusy,
    JournalError,
    Misfit,
    NoDatabase,
    NoDriver,
    NotAllowed,
    NotUtf8,
    ServerAway,
    ServerTrouble,
    WrongPassword,
)
from underlid.journal.place import shown
from underlid.journal.tables import metadata

#: Seconds. A session that hangs while it holds the writers' lock is ended, so that the others can go on.
CONNECT_S, STATEMENT_S, IDLE_S = 10, 300, 300

#: Held by a writer until its transaction ends; one lock a schema, which is one a journal.
WRITERS_LOCK = "SELECT pg_advisory_xact_lock(hashtextextended('underlid ' || current_schema(), 0))"


def connect(url: URL, patience_s: int) -> Engine:
    """Return an engine on a database; nothing is asked of the server before the engine is used."""
    ours = {"connect_timeout": CONNECT_S, "application_name": "underlid", "client_encoding": "utf8"}
    try:
        engine = create_engine(
            url.set(drivername="postgresql+psycopg"),
            pool_pre_ping=True,  # a server that was started anew meanwhile is not noticed
            connect_args={name: value for name, value in ours.items() if name not in url.query},
        )
    except ModuleNotFoundError as error:
        raise NoDriver(path=shown(url)) from error

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: object) -> None:
        with connection.cursor() as cursor:
            for name, seconds in (
                ("lock_timeout", patience_s),
                ("statement_timeout", STATEMENT_S),
                ("idle_in_transaction_session_timeout", IDLE_S),
            ):
                cursor.execute(f"SET {name} = '{seconds}s'")
        connection.commit()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get("begin") == "IMMEDIATE":
            connection.exec_driver_sql(WRITERS_LOCK)

    return engine


def tables_in(connection: Connection) -> set[str]:
    """Return the names of all tables in the schema that the address leads to."""
    return set(connection.scalars(text("SELECT tablename::text FROM pg_tables WHERE schemaname = current_schema()")))


def check_encoding(connection: Connection, url: URL) -> None:
    """Raise NotUtf8 if the database could not hold every letter."""
    encoding = connection.scalar(text("SHOW server_encoding"))
    if encoding != "UTF8":
        raise NotUtf8(path=shown(url), encoding=encoding)


def loose_rows(connection: Connection) -> list[str]:
    """Return the tables that hold a row whose parent is missing, which the constraints do not let happen."""
    asked = []
    for child in metadata.sorted_tables:
        for key in child.foreign_key_constraints:
            parent = key.referred_table.alias()
            pairs = [(child.c[each.parent.name], parent.c[each.column.name]) for each in key.elements]
            there = exists().where(and_(*(mine == theirs for mine, theirs in pairs))).select_from(parent)
            loose = exists().where(*(mine.is_not(None) for mine, _ in pairs), ~there)
            asked.append(select(literal(child.name)).where(loose))
    return sorted(set(connection.scalars(union_all(*asked))))


def lost(error: DBAPIError) -> bool:
    """Whether an error says that the connection is gone, rather than that the server refused something."""
    state = _state(error)
    return not isinstance(error, DataError) and (not state or state.startswith(("08", "57P")))


def meaning(error: DBAPIError, url: URL) -> JournalError:
    """Return what an error of the server says to a keeper."""
    state = _state(error)
    detail = _detail(error)
    path = shown(url)
    if isinstance(error, DataError) or state.startswith(("23", "54")):
        return Misfit(detail=detail)
    match state[:2], state:
        case "", _:
            return _not_let_in(error, path, detail)
        case _, "28P01" | "28000":
            return WrongPassword(path=path, detail=detail)
        case _, "3D000":
            return NoDatabase(path=path, detail=detail)
        case _, "40001" | "40P01":
            return Collided(path=path)
        case _, "55P03" | "57014":
            return JournalBusy(path=path)
        case _, "53100":
            return DiskFull(folder=path)
        case "58", _:
            return DiskFailed(folder=path, detail=detail)
        case ("08" | "57", _) | (_, "53300" | "25P03"):
            return ServerAway(path=path, detail=detail)
        case _, "42501" | "25006" | "3F000":
            return NotAllowed(path=path, detail=detail)
        case ("XX", _) | (_, "42P01" | "42703"):
            return DamagedDatabase(path=path, detail=detail)
    return ServerTrouble(path=path, detail=detail)


def _not_let_in(error: DBAPIError, path: str, detail: str) -> JournalError:
    """Errors before a session is there bear no code: the words are looked at, and shown in any case."""
    asked = getattr(getattr(error.orig, "pgconn", None), "needs_password", False)
    if asked or re.search(r"password|authentication failed|role .* does not exist", detail):
        return WrongPassword(path=path, detail=detail)
    if re.search(r"database .* does not exist", detail):
        return NoDatabase(path=path, detail=detail)
    if re.search(r"permission denied for database|no pg_hba\.conf entry|not permitted to log in", detail):
        return NotAllowed(path=path, detail=detail)
    return ServerAway(path=path, detail=detail)


def _state(error: DBAPIError) -> str:
    return getattr(error.orig, "sqlstate", None) or ""


def _detail(error: DBAPIError) -> str:
    said = getattr(getattr(error.orig, "diag", None), "message_primary", None) or str(error.orig)
    return " ".join(said.split())
