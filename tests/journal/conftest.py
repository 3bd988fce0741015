"""Journals to test with. A module that says STORES = BOTH is run over with records in SQLite and in PostgreSQL."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from tests.journal.examples import make_bin
from tests.journal.postgres import PAST_THE_GUARDS, Rows, Server
from underlid.journal.place import POINTER, address, point, where
from underlid.journal.store import Journal
from underlid.journal.tables import metadata

BOTH = ("sqlite", "postgresql")


class Stores:
    """Makes and copies journals: each has its records in its own file, or in its own database."""

    def __init__(self, server: Server | None = None) -> None:
        self.server = server
        self._rows: dict[Path, Rows] = {}
        self._used: dict[Path, str] = {}

    def create(self, folder: Path) -> Journal:
        return Journal.create(folder, None if self.server is None else self.server.database())

    def copy(self, begun: Path, folder: Path) -> Path:
        """Copy a closed journal that `create` made, in place of what was there."""
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(begun, folder)
        source = where(begun)
        if self.server is not None and not isinstance(source, Path):
            url = source.render_as_string()
            if begun not in self._rows:
                self._rows[begun] = self.server.rows(url)
            if folder not in self._used:
                self._used[folder] = (
                    self.server.idle.pop() if self.server.idle else self.server.database(str(source.database))
                )
            self.server.fill(self._used[folder], self._rows[begun])
            point(folder, address(self._used[folder]))
        return folder

    def put_back(self) -> None:
        """What the test used may be used again."""
        if self.server is not None:
            self.server.idle += self._used.values()
        self._used.clear()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "store" in metafunc.fixturenames and hasattr(metafunc.module, "STORES"):
        metafunc.parametrize("store", metafunc.module.STORES, indirect=True, scope="session")


@pytest.fixture(scope="session")
def store(request: pytest.FixtureRequest) -> str:
    return str(getattr(request, "param", "sqlite"))


@pytest.fixture(scope="session")
def all_stores(request: pytest.FixtureRequest, store: str) -> Stores:
    return Stores(request.getfixturevalue("server") if store == "postgresql" else None)


@pytest.fixture
def stores(all_stores: Stores) -> Iterator[Stores]:
    yield all_stores
    all_stores.put_back()


@pytest.fixture(scope="session")
def one_bin(tmp_path_factory: pytest.TempPathFactory, all_stores: Stores) -> Path:
    """A closed journal with the bin north, to be copied: faster than making one."""
    folder = tmp_path_factory.mktemp("one") / "trial"
    with all_stores.create(folder) as journal:
        journal.add_bin(make_bin())
    return folder


@pytest.fixture
def journal(tmp_path: Path, one_bin: Path, stores: Stores) -> Iterator[Journal]:
    """A new journal with one bin, north."""
    with Journal.open(stores.copy(one_bin, tmp_path / "trial")) as journal:
        yield journal


@pytest.fixture
def in_file(tmp_path: Path) -> Iterator[Journal]:
    """A new journal with the bin north in SQLite, whatever else is tested."""
    with Journal.create(tmp_path / "trial") as journal:
        journal.add_bin(make_bin())
        yield journal


@pytest.fixture(scope="session")
def two_bins(tmp_path_factory: pytest.TempPathFactory, all_stores: Stores) -> Path:
    """A closed journal with the bins that made-up readings are from, to be copied: faster than making one."""
    folder = tmp_path_factory.mktemp("two") / "bins"
    with all_stores.create(folder) as journal:
        journal.add_bin(make_bin())
        journal.add_bin(make_bin("south, by the wall", 2))
    return folder


def dump(journal: Journal) -> list[str]:
    """All that the store says, read past the journal."""
    if not (journal.folder / POINTER).exists():
        with closing(sqlite3.connect(journal.path)) as file:
            return list(file.iterdump())
    with journal._engine.connect() as connection:
        return sorted(
            f"{table.name} {tuple(row)}"
            for table in metadata.sorted_tables
            for row in connection.execute(select(table))
        )


def harm(journal: Journal, statement: str) -> None:
    """Change rows past the guards of their table, as nobody should: its triggers and its foreign keys."""
    if not (journal.folder / POINTER).exists():
        verb, *rest = statement.split()
        with closing(sqlite3.connect(journal.path)) as file, file:  # foreign keys are off here
            file.execute(f"DROP TRIGGER {rest[0] if verb == 'UPDATE' else rest[1]}_refuse_{verb.lower()}")
            assert file.execute(statement).rowcount == 1
        return
    with journal._engine.begin() as connection:
        connection.exec_driver_sql(PAST_THE_GUARDS)
        assert connection.exec_driver_sql(statement).rowcount == 1
