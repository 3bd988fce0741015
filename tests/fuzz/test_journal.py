"""Journals and tables from elsewhere: an import is tried and nothing stored, a damaged journal says so."""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.scribble import CHANGES, FUZZ, SCRAPS, encoded, overwritten, read_or_refuse, scribbled
from tests.journal.conftest import dump
from tests.journal.examples import (
    NOW,
    hand,
    make_bin,
    make_change,
    make_claims,
    make_keeper,
    make_plan,
    mark,
    one_of_each,
)
from underlid.journal.cells import Exchanged
from underlid.journal.exchange import export_entries, import_entries
from underlid.journal.store import FILE, Journal
from underlid.records import Reading

LOGGER = "\r\n".join([
    "Date;Temp (F);note", "5 Jan 2026 08:30;43,5;by the wall", "6 Jan 2026;about 6 C;", "2026-01-07T09:00+01:00;-0.5;x",
])  # fmt: skip
COLUMNS = {"Date": "when", "Temp (F)": "amount", "note": "words"}
FIXED = {"quantity": "temperature", "place": "middle"}
ODD_CELLS = (
    "exact", "at least", "degC", "degF", "2026-01-05T08:30:00+01:00", "2026-01-05T08:30:00", '["unit assumed"]',
    '"[""a""]"', "[[1]]", '"', "north", "Date", "id", "amount_low", "when_start", "corrects", "23 Jan around midnight",
    "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00",
)  # fmt: skip


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed journal with some of everything."""
    folder = tmp_path_factory.mktemp("full") / "trial"
    with Journal.create(folder) as journal:
        journal.add_bin(make_bin())
        journal.add(one_of_each())
        journal.register(make_plan())
        journal.change_plan(make_change())
        journal.keep_claims(make_claims())
        journal.keep_keeper(make_keeper(latitude=48.1, longitude=-1.6))
        journal.hand_bin(hand())
        journal.show_photo(mark())
    return folder


@pytest.fixture(scope="module")
def tables(full: Path) -> list[tuple[type[Any], str]]:
    """Each kind of entry that fits one row, and its export."""
    found: list[tuple[type[Any], str]] = []
    with Journal.open(full) as journal:
        for kind in get_args(Exchanged):
            out = io.BytesIO()
            export_entries(journal, out, kind=kind)
            found.append((kind, out.getvalue().decode()))
    return found


@pytest.fixture(scope="module")
def book(full: Path) -> Iterator[Journal]:
    with Journal.open(full) as journal:
        yield journal


@FUZZ
@given(data=st.data())
def test_an_export_comes_in_again_or_is_refused(book: Journal, tables: Any, data: st.DataObject) -> None:
    kind, table = data.draw(st.sampled_from(tables))
    text = data.draw(scribbled([table], ODD_CELLS))
    before = dump(book)
    read_or_refuse(lambda: import_entries(book, io.BytesIO(encoded(text)), now=NOW, kind=kind, dry_run=True))
    assert dump(book) == before


@FUZZ
@given(text=scribbled([LOGGER], ODD_CELLS), comma=st.booleans(), skip=st.booleans())
def test_a_loggers_table(book: Journal, text: str, comma: bool, skip: bool) -> None:
    before = dump(book)
    read_or_refuse(
        lambda: import_entries(
            book, io.BytesIO(encoded(text)), now=NOW, kind=Reading, columns=COLUMNS, fixed=FIXED, bin="north",
            dry_run=True, decimal_comma=comma, skip_bad=skip,
        )
    )  # fmt: skip
    assert dump(book) == before


# --- a journal from somebody else ---------------------------------------------------------------------------


TABLES = ["bins", "bedding_layers", "containers", "readings", "feedings", "sample_counts", "sample_stages", "sightings",
          "notes", "photos", "claims", "plans", "plan_changes", "own_claims", "keepers", "bin_keepers",
          "photos_shown"]  # fmt: skip


@pytest.fixture(scope="module")
def bare(full: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a journal without the triggers that keep it from being changed."""
    path = alone(tmp_path_factory.mktemp("bare"), (full / FILE).read_bytes())
    with closing(sqlite3.connect(path)) as file:
        for (trigger,) in file.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{trigger}"')
        file.commit()
    return path.read_bytes()


def look_through(folder: Path) -> None:
    with Journal.open(folder) as journal:
        journal.check()
        for kind in get_args(Exchanged):
            export_entries(journal, io.BytesIO(), kind=kind)


def alone(folder: Path, data: bytes) -> Path:
    """The file of a journal, without anything of the one before."""
    for old in folder.glob(f"{FILE}*"):
        old.unlink()
    (folder / FILE).write_bytes(data)
    return folder / FILE


@FUZZ
@given(changes=CHANGES, first=st.booleans())
def test_bytes_changed_in_a_journal(tmp_path: Path, full: Path, changes: Any, first: bool) -> None:
    alone(tmp_path, overwritten((full / FILE).read_bytes(), changes, 4096 if first else None))
    read_or_refuse(lambda: look_through(tmp_path))


@FUZZ
@given(data=st.data())
def test_a_journal_cut_or_shifted(tmp_path: Path, full: Path, data: st.DataObject) -> None:
    whole = (full / FILE).read_bytes()
    at, length = data.draw(st.integers(0, len(whole))), data.draw(st.integers(0, len(whole)))
    put = data.draw(st.binary(max_size=16))
    alone(tmp_path, whole[:at] + put + whole[at + length :])
    read_or_refuse(lambda: look_through(tmp_path))


#: What may stand in a cell of another's journal, besides the scraps: other types, and names that lead elsewhere.
CELLS: st.SearchStrategy[Any] = (
    st.sampled_from(SCRAPS)
    | st.sampled_from([None, 0, 1, -1, 2**62, 1e308, float("inf"), b"", b"\xff\xfe", "x.jpg", "../x.jpg", "[1]"])
    | st.sampled_from([datetime(1, 1, 1).isoformat(), datetime(9999, 12, 31, tzinfo=UTC).isoformat()])
    | st.text(max_size=8)
)


@FUZZ
@given(data=st.data())
def test_cells_changed_in_a_journal(tmp_path: Path, bare: bytes, data: st.DataObject) -> None:
    """Past the triggers, as whoever makes a journal to be passed on can."""
    with closing(sqlite3.connect(alone(tmp_path, bare))) as file:
        file.executescript(
            "PRAGMA ignore_check_constraints = ON; PRAGMA synchronous = OFF; PRAGMA journal_mode = MEMORY"
        )
        for _ in range(data.draw(st.integers(1, 3))):
            table = data.draw(st.sampled_from(TABLES))
            columns = [row[1] for row in file.execute(f'PRAGMA table_info("{table}")')]
            column, cell = data.draw(st.sampled_from(columns)), data.draw(CELLS)
            if isinstance(cell, str):
                cell = cell.encode("utf-8", "replace").decode()
            with suppress(sqlite3.IntegrityError):  # a row must have it, or it must be its own
                file.execute(f'UPDATE "{table}" SET "{column}" = ?', (cell,))
        file.commit()
    read_or_refuse(lambda: look_through(tmp_path))


# --- found by the above, to be mended in the journal ----------------------------------------------------------


def test_a_damaged_layout_is_told(tmp_path: Path, full: Path) -> None:
    alone(tmp_path, (full / FILE).read_bytes().replace(b"FOREIGN KEY", b"FOR\xffIGN KEY"))
    assert read_or_refuse(lambda: look_through(tmp_path))


def test_flags_without_end_are_told(tmp_path: Path, bare: bytes) -> None:
    changed(alone(tmp_path, bare), "UPDATE feedings SET amount_flags = ?", "[" * 50_000)
    assert read_or_refuse(lambda: look_through(tmp_path))


def test_a_layout_without_a_name_is_told(tmp_path: Path, bare: bytes) -> None:
    changed(alone(tmp_path, bare), "UPDATE alembic_version SET version_num = ?", "")
    read_or_refuse(lambda: look_through(tmp_path))


def changed(path: Path, statement: str, value: str) -> None:
    """Change a closed journal that has no triggers."""
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA ignore_check_constraints = ON")
        file.execute(statement, (value,))
        file.commit()
