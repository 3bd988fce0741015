"""A journal's records from one store to another: from its SQLite file into a PostgreSQL database, and back.

Everything is copied and read again before the journal follows: `journal.toml` is written, replaced or renamed in
one step, and until that step the journal is where it was. The old store is never emptied nor deleted. A journal
only grows, so a move that was cut off can be done again: what has arrived already must be part of what is here.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Row, Table, func, insert, select, text

from underlid.files import sync_folder
from underlid.journal.database import commit, connect, damaged, for_writing, migrate, problems, speaking
from underlid.journal.errors import AlreadyThere, Misfit, NotTheSame, OtherJournal, disk_error
from underlid.journal.place import FILE, POINTER, Where, address, point, shown, where
from underlid.journal.store import Journal
from underlid.journal.tables import containers, metadata

#: Rows that are read and written at a time.
LOT = 1000

PART = f".{FILE}.moving"
KEPT = "journal.before-move-"
_BESIDE = ("-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Moved:
    """What a move did. `rows` are counts by table, `sha256` is of every row, and was the same on both sides."""

    source: str
    target: str
    rows: dict[str, int]
    sha256: str
    kept: Path  # what the folder keeps of the place before: the old file, or the old journal.toml


def move(journal: Journal, url: str | None) -> Moved:
    """Move the records of an open journal into the database at `url`, or into its own SQLite file if None.

    The journal is closed afterwards: open it again. Nobody else can write to it meanwhile, and whoever has it open
    is told JournalMoved. Raises OtherJournal if the target holds what this journal does not.
    """
    folder, source = journal.folder, where(journal.folder)
    target: Where = folder / FILE if url is None else address(url)
    if source == target:
        journal.close()
        put_aside(folder, source)  # which a move that was cut off at its very end left
        raise AlreadyThere(folder=folder, path=shown(target))
    try:
        with journal._writing() as here:
            if isinstance(source, URL):
                here.execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))  # hashing a long journal idles
            put_aside(folder, source)
            store = folder / PART if isinstance(target, Path) else target
            for name in ("", *_BESIDE):  # what a move that was cut off left
                (folder / (PART + name)).unlink(missing_ok=True)
            rows, sha256 = copy_records(here, store, folder)
            kept = _switch(folder, source, target)
    except OSError as error:
        raise disk_error(error, folder) from error
    finally:
        journal.close()
    if isinstance(source, Path):
        kept = put_aside(folder, target) or kept
    return Moved(shown(source), shown(target), rows, sha256, kept)


def copy_records(here: Connection, store: Where, folder: Path) -> tuple[dict[str, int], str]:
    """Copy all records into another store in one transaction; return the rows of each table and the hash of all.

    Where `store` holds some of the records already, the others are added. A SQLite file is complete in itself then.
    """
    engine = connect(store)
    try:
        migrate(engine, store)
        with speaking(store), for_writing(engine).connect() as there:
            if isinstance(store, URL):
                there.execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))
            standing = {table: _digests(there, table) for table in metadata.sorted_tables}
            for table, known in standing.items():
                if known and (extra := len(known - _digests(here, table))):
                    detail = f"{extra} of {len(known)} rows of {table.name}"
                    raise OtherJournal(path=shown(store), folder=folder, detail=detail)
                _insert(there, table, _missing(here, table, known))
            _go_on_counting(there)
            rows, sha256 = _proof(here, there, store, folder)
            commit(there)
    finally:
        engine.dispose()
    if isinstance(store, Path):
        _in_one_piece(store)
    return rows, sha256


def copy_to_file(journal: Journal, file: Path) -> tuple[dict[str, int], str]:
    """Copy all records of an open journal, as of one moment, into a new SQLite file: a backup of a database.

    Others may write meanwhile. Raises DamagedJournal, naming the source, where its rows do not fit together.
    """
    source = where(journal.folder)
    with journal._reading() as here:
        if here.dialect.name == "postgresql":
            here.execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))  # hashing a long journal idles
        if wrong := problems(here):
            raise damaged(source, "; ".join(wrong[:3]))
        try:
            return copy_records(here, file, journal.folder)
        except Misfit as error:  # the file has every constraint of a journal, so it is the source that lacks one
            raise damaged(source, error.facts["detail"]) from error


def put_aside(folder: Path, now: Where) -> Path | None:
    """Rename a SQLite file that the journal is no longer in; return its new name, None if there is no such file."""
    file = folder / FILE
    if isinstance(now, Path) or not file.exists():
        return None
    kept = _free_name(folder, ".sqlite")
    for name in (*_BESIDE, ""):  # the file last: cut off in between, the rest follows it under the same number
        beside = file.with_name(file.name + name)
        if beside.exists():
            beside.rename(kept.with_name(kept.name + name))
    sync_folder(folder)
    return kept


def _switch(folder: Path, source: Where, target: Where) -> Path:
    """From one line of this to the next, the journal is in the one store or in the other."""
    if isinstance(target, URL):
        kept = folder / FILE
        if isinstance(source, URL):
            kept = _free_name(folder, ".toml")
            kept.write_bytes((folder / POINTER).read_bytes())
        point(folder, target)
        return kept
    (folder / PART).rename(target)  # not yet: as long as journal.toml is there, it holds
    sync_folder(folder)
    kept = _free_name(folder, ".toml")
    (folder / POINTER).rename(kept)
    sync_folder(folder)
    return kept


def _free_name(folder: Path, ending: str) -> Path:
    number = 1
    while any((folder / f"{KEPT}{number}{each}").exists() for each in (".sqlite", ".toml")):
        number += 1
    return folder / f"{KEPT}{number}{ending}"


def _in_one_piece(path: Path) -> None:
    """Bring a SQLite file that nobody has open into one piece, with nothing beside it."""
    with speaking(path), closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA journal_mode = DELETE").close()


# --- rows -------------------------------------------------------------------------------------------


def _insert(there: Connection, table: Table, rows: Iterator[dict[str, Any]]) -> None:
    lot: list[dict[str, Any]] = []
    for row in rows:
        lot.append(row)
        if len(lot) == LOT:
            there.execute(insert(table), lot)
            lot = []
    if lot:
        there.execute(insert(table), lot)


def _missing(here: Connection, table: Table, known: set[bytes]) -> Iterator[dict[str, Any]]:
    """Yield the rows that are not known over there, a corrected one before its correction."""
    corrections: dict[str, Row[Any]] = {}
    for row in _rows(here, table):
        if _digest(row) in known:
            continue
        if "corrects" in table.c and row.corrects is not None:
            corrections[row.id] = row
        else:
            yield row._asdict()

    def steps(row: Row[Any]) -> int:
        count = 0
        while row.corrects in corrections:
            row, count = corrections[row.corrects], count + 1
        return count

    yield from (row._asdict() for row in sorted(corrections.values(), key=steps))


def _go_on_counting(there: Connection) -> None:
    """Let the numbers that the database gives go on after the highest that came along."""
    highest = there.scalar(select(func.max(containers.c.id)))
    if there.dialect.name == "postgresql" and highest is not None:
        there.execute(text("SELECT setval(pg_get_serial_sequence('containers', 'id'), :highest)"), {"highest": highest})


def _proof(here: Connection, there: Connection, store: Where, folder: Path) -> tuple[dict[str, int], str]:
    """Return the rows of each table and the hash of all; raise NotTheSame unless they are the same on both sides."""
    counts, whole = {}, hashlib.sha256()
    for table in metadata.sorted_tables:
        mine, theirs = (_digests(side, table) for side in (here, there))
        many = [side.scalar(select(func.count()).select_from(table)) or 0 for side in (here, there)]
        if mine != theirs or many[0] != many[1]:
            detail = f"{many[1]} of {many[0]} rows of {table.name}, {len(mine ^ theirs)} of them otherwise"
            raise NotTheSame(path=shown(store), folder=folder, detail=detail)
        counts[table.name] = many[0]
        whole.update(f"{table.name} {many[0]}\n".encode())
        for digest in sorted(mine):
            whole.update(digest)
    return counts, whole.hexdigest()


def _digests(connection: Connection, table: Table) -> set[bytes]:
    return {_digest(row) for row in _rows(connection, table)}


def _digest(row: Row[Any]) -> bytes:
    """The hash of one row: each value with its type, numbers to the last bit."""
    told = [[type(value).__name__, value.hex() if isinstance(value, float) else value] for value in row]
    return hashlib.sha256(json.dumps(told).encode()).digest()


def _rows(connection: Connection, table: Table) -> Iterator[Row[Any]]:
    yield from connection.execute(select(table), execution_options={"yield_per": LOT})
