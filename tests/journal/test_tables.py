from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from tests.journal.conftest import BOTH, dump
from tests.journal.examples import (
    hand,
    make_change,
    make_claims,
    make_keeper,
    make_plan,
    mark,
    one_of_each,
    reading,
)
from underlid.journal.store import Journal
from underlid.journal.tables import ENTRY_TABLES, metadata

STORES = BOTH
GROWING = sorted(metadata.tables)


def filled(journal: Journal) -> Journal:
    """A journal with a row in every table."""
    journal.add(one_of_each())
    journal.register(make_plan())
    journal.change_plan(make_change())
    journal.keep_claims(make_claims())
    journal.keep_keeper(make_keeper(latitude=48.1, longitude=-1.6))
    journal.hand_bin(hand())
    journal.show_photo(mark())
    journal.set_container("mug", one_of_each()[1].amount)  # type: ignore[union-attr]
    return journal


@pytest.fixture
def full(journal: Journal) -> Journal:
    return filled(journal)


@pytest.fixture
def in_file_full(in_file: Journal) -> Journal:
    return filled(in_file)


@pytest.mark.parametrize("table", GROWING)
@pytest.mark.parametrize("change", ["UPDATE {table} SET {column} = {column}", "DELETE FROM {table}"])
def test_no_row_is_changed_or_removed(full: Journal, table: str, change: str) -> None:
    column = next(iter(metadata.tables[table].columns)).name
    before = dump(full)
    with full._engine.connect() as connection:
        assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar() != 0
        with pytest.raises(IntegrityError, match="a journal is never changed: add a correction instead"):
            connection.execute(text(change.format(table=table, column=column)))
    assert dump(full) == before


def test_replacing_a_row_is_refused_too(in_file_full: Journal) -> None:
    with in_file_full._engine.connect() as connection, pytest.raises(IntegrityError, match="never changed"):
        connection.execute(text("INSERT OR REPLACE INTO notes SELECT * FROM notes"))


@pytest.mark.parametrize("table", GROWING)
def test_every_table_is_strict(in_file_full: Journal, table: str) -> None:
    with closing(sqlite3.connect(in_file_full.path)) as file:
        strict = file.execute("SELECT strict FROM pragma_table_list WHERE name = ?", [table]).fetchone()
    assert strict == (1,)


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("readings", "amount_low", "'about six'"),
        ("readings", "amount_high", "x'00'"),
        ("readings", "words", "x'00'"),
        ("sample_stages", "position", "'first'"),
    ],
)
def test_a_value_of_the_wrong_type_is_refused(in_file_full: Journal, table: str, column: str, value: str) -> None:
    names = [each.name for each in metadata.tables[table].columns if not each.primary_key or each.name == column]
    keys = [each.name for each in metadata.tables[table].columns if each.primary_key and each.name != column]
    columns = ", ".join([*keys, *names])
    values = ", ".join([f"{key} || '-2'" for key in keys] + [value if name == column else name for name in names])
    with (
        closing(sqlite3.connect(in_file_full.path)) as file,
        pytest.raises(sqlite3.IntegrityError, match="cannot store"),
    ):
        file.execute(f"INSERT INTO {table} ({columns}) SELECT {values} FROM {table}")


@pytest.mark.parametrize("table", [table.name for table in ENTRY_TABLES.values()])
def test_the_tables_themselves_guard_bins_and_corrections(full: Journal, table: str) -> None:
    columns = [column.name for column in metadata.tables[table].columns]

    def copy(**changes: str) -> str:
        values = ", ".join(changes.get(name, name) for name in columns)
        return f"INSERT INTO {table} SELECT {values} FROM {table} LIMIT 1"

    with full._engine.connect() as connection:
        for statement, refusal in (
            (copy(id="'x'", bin="'nowhere'"), "FOREIGN KEY"),
            (copy(id="'x'", corrects="'nothing'"), "FOREIGN KEY"),
            (copy(), "UNIQUE"),
        ):
            with pytest.raises(IntegrityError, match=f"(?i){refusal}"), connection.begin_nested():
                connection.execute(text(statement))
        connection.execute(text(copy(id="'x'", corrects="id")))
        with pytest.raises(IntegrityError, match=r"(?i)UNIQUE"):
            connection.execute(text(copy(id="'y'", corrects="id")))


def test_bounds_out_of_order_are_refused_by_the_table(full: Journal) -> None:
    full.add([reading("r2")])
    columns = [column.name for column in metadata.tables["readings"].columns]
    values = ", ".join({"id": "'x'", "amount_low": "99.0"}.get(name, name) for name in columns)
    with full._engine.connect() as connection, pytest.raises(IntegrityError, match="ck_readings_amount_in_order"):
        connection.execute(text(f"INSERT INTO readings SELECT {values} FROM readings LIMIT 1"))
