"""A journal from elsewhere read as it lies there: nobody knows who wrote it, and nothing is written in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import text

from underlid.journal.copied import copy_database
from underlid.journal.database import revision
from underlid.journal.errors import JournalError, NewerJournal, NoJournal, NotAJournal
from underlid.journal.merging.held import Held
from underlid.journal.place import FILE, shown, where
from underlid.journal.store import Journal
from underlid.journal.tables import HEAD, metadata


class UnreadableIncoming(JournalError):
    """The journal in {folder} cannot be copied for reading ({detail}): see that its files can be read, and that there
    is room for a copy among the temporary files."""


class OlderDatabase(JournalError):
    """{path} has an older layout ({found}), and a merge changes nothing there: have whoever keeps it open it once with
    this underlid, which brings it up to date, then merge."""


@dataclass(frozen=True, slots=True)
class Incoming:
    """A journal from elsewhere as it was read at one moment; its pictures are still in its folder."""

    folder: Path
    held: Held


def read_incoming(folder: Path | str) -> Incoming:
    """Read a journal from elsewhere, whole and checked; in it nothing is written, not even a newer layout."""
    folder = Path(folder)
    with _opened(folder) as journal:
        journal.check()
        with journal._reading() as connection:
            return Incoming(folder, Held.of(connection))


@contextmanager
def _opened(folder: Path) -> Iterator[Journal]:
    store = where(folder)
    if not isinstance(store, Path):
        found = revision(store)
        if found is not None and found != HEAD:
            if found > HEAD:
                raise NewerJournal(path=shown(store), found=found, known=HEAD)
            raise OlderDatabase(path=shown(store), found=found)
        with Journal.open(folder) as journal:
            yield journal
        return
    if not store.is_file():
        raise NoJournal(folder=folder)
    try:
        with TemporaryDirectory(prefix="underlid-") as place:
            copy = Path(place)
            _copy(store, copy / FILE)
            try:
                with Journal.open(copy) as journal:
                    _plain(journal)
                    yield journal
            except JournalError as error:  # which would name the copy
                facts = {name: _renamed(fact, copy, folder) for name, fact in error.facts.items()}
                raise type(error)(**facts) from error
    except OSError as error:
        raise UnreadableIncoming(folder=folder, detail=error.strerror or error) from error


def _plain(journal: Journal) -> None:
    """Refuse a file whose tables are not kept as ours are: a view may say anything, and never end."""
    ask = "SELECT name, type, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite%'"
    with journal._reading() as connection:
        for name, kind, strict in connection.execute(text(ask)):
            if kind != "table" or (name in metadata.tables and not strict):
                raise NotAJournal(path=journal.path, detail=f"its {name} is not a table as underlid makes them")


def _renamed(fact: object, copy: Path, folder: Path) -> object:
    return str(fact).replace(str(copy), str(folder)) if isinstance(fact, str | Path) else fact


def _copy(store: Path, copy: Path) -> None:
    """Copy a SQLite file: byte for byte where nobody has it in use, so that not even a lock is put beside it."""

    def state() -> tuple[int, int, bool]:
        beside = [store.with_name(store.name + ending) for ending in ("-wal", "-journal")]
        found = store.stat()
        return found.st_size, found.st_mtime_ns, any(each.exists() and each.stat().st_size for each in beside)

    before = state()
    if not before[2]:
        shutil.copyfile(store, copy)
        if state() == before:
            return
        copy.unlink()
    copy_database(store, copy)
