"""Tests that keep a journal are run twice: with its records in SQLite, then with its records in PostgreSQL.

In the second run every journal that a test or the program makes or opens has its records in a database of its own, on a
server of the session's own. Run once are tests of the SQLite file itself (`file_only`), files about what lies beside a
journal (`BESIDE_IT`), tests that take long over an answer of which a like one is tested (`computes`), and packages that
never see a journal: what they work out cannot depend on where records are kept. Those of tests/journal choose their
store themselves.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, select

from tests.journal.postgres import Rows, Server
from underlid.journal import database
from underlid.journal.errors import JournalError
from underlid.journal.place import FILE, POINTER, address, holds_journal, point, where
from underlid.journal.store import Journal
from underlid.journal.tables import HEAD, metadata

SQLITE, POSTGRESQL = "sqlite", "postgresql"
KEEP_A_JOURNAL = ("cli", "web", "test_demo.py", "test_fleet.py")
#: Of what lies before a journal, or beside it: sockets and headers, scripts, the process that works; weather and facts;
#: answers that take long to work out of a bin and its entries, which cli/test_commands.py has read for others.
BESIDE_IT = (
    "web/test_security.py", "web/test_guard.py", "web/test_serve.py", "web/test_at_bin.py", "web/test_work.py",
    "cli/test_recipe.py", "cli/test_species.py", "cli/test_weather.py", "cli/test_ph.py", "cli/test_feedcheck.py",
    "cli/test_whatif.py", "cli/test_count.py", "cli/test_castings.py", "cli/test_population.py",
)  # fmt: skip


def parametrize(metafunc: pytest.Metafunc, inside: Path) -> None:
    """Run a test of a file, from tests/ on, on each store that it is for; a test that keeps no journal as it is."""
    if inside.parts[0] not in KEEP_A_JOURNAL or inside.as_posix() in BESIDE_IT:
        return
    once = any(metafunc.definition.get_closest_marker(name) for name in ("file_only", "computes"))
    stores = (SQLITE,) if once else (SQLITE, POSTGRESQL)
    metafunc.parametrize("kept_in", stores, indirect=True, scope="session")


class Databases:
    """Gives each journal's folder a database of its own, and takes those back that a test is done with."""

    def __init__(self, server: Server) -> None:
        self.server = server
        self.used: dict[str, Path] = {}  # whose each database is

    def create(self, folder: Path, url: str | None) -> str | None:
        """Where a journal that is made in a folder has its records."""
        if url is not None or (folder / POINTER).exists() or (folder / FILE).exists():
            return url
        return self._take(folder, {})

    def settle(self, folder: Path) -> None:
        """See to it that the journal in a folder is in a database that no other folder shares."""
        if (folder / POINTER).exists():
            try:
                url = where(folder)
            except JournalError:
                return  # which the test is about
            if isinstance(url, Path) or url.query.get("host") != str(self.server.home):
                return  # a place that the test made up
            if self.used.get(str(url.database)) != folder:
                point(folder, address(self._take(folder, self.server.rows(url.render_as_string()))))
        elif (folder / FILE).is_file() and (rows := _rows_of(folder / FILE)) is not None:
            point(folder, address(self._take(folder, rows)))

    def take_back(self, inside: Path) -> None:
        """What lies in a folder is done with."""
        for name, folder in list(self.used.items()):
            if folder.is_relative_to(inside):
                self.server.idle.append(self.server.url(name))
                del self.used[name]

    def _take(self, folder: Path, rows: Rows) -> str:
        if not self.server.idle:
            self.server.idle.append(self._made())
        url = self.server.idle.pop()
        self.server.fill(url, rows)
        self.used[str(address(url).database)] = folder
        return url

    def _made(self) -> str:
        url = self.server.database()
        engine = database.connect(address(url))
        database.migrate(engine, address(url))
        engine.dispose()
        return url


def _rows_of(file: Path) -> Rows | None:
    """The rows of a SQLite file at the newest layout; None of any other, or of one that is damaged."""
    engine = create_engine(f"sqlite:///{file}")
    try:
        if database.revision(file) != HEAD:
            return None
        with engine.connect() as connection:
            return {
                table.name: [row._asdict() for row in connection.execute(select(table))]
                for table in metadata.sorted_tables
            }
    except Exception:  # damaged in any way: the test's own affair
        return None
    finally:
        engine.dispose()


@pytest.fixture(scope="session")
def kept_in(request: pytest.FixtureRequest) -> str:
    """Where a test's journals have their records."""
    return str(getattr(request, "param", SQLITE))


@pytest.fixture(scope="session")
def databases(request: pytest.FixtureRequest) -> Databases:
    return Databases(request.getfixturevalue("server"))


@pytest.fixture(scope="session", autouse=True)
def _on_postgresql(kept_in: str, request: pytest.FixtureRequest) -> Iterator[None]:
    """Let every journal of the tests that follow have its records in PostgreSQL, if that is where they are kept."""
    if kept_in == SQLITE:
        yield
        return
    found: Databases = request.getfixturevalue("databases")
    create, open_, copytree = Journal.create, Journal.open, shutil.copytree

    def in_database(cls: Any, folder: Path | str, url: str | None = None) -> Journal:
        return create(folder, found.create(Path(folder).absolute(), url))

    def from_database(cls: Any, folder: Path | str) -> Journal:
        found.settle(Path(folder).absolute())
        return open_(folder)

    def copied(source: Any, target: Any, *rest: Any, **more: Any) -> Any:
        assert not holds_journal(Path(target)), "two journals in one folder: which holds is not told"
        made = copytree(source, target, *rest, **more)
        found.settle(Path(target).absolute())  # now: the database of the one copied may be another's later
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shutil, "copytree", copied)
        patch.setattr(Journal, "create", classmethod(in_database))
        patch.setattr(Journal, "open", classmethod(from_database))
        yield


@pytest.fixture(autouse=True)
def _taken_back(kept_in: str, request: pytest.FixtureRequest) -> Iterator[None]:
    """What a test's journals were kept in may be used by the next."""
    if kept_in == SQLITE or "tmp_path" not in request.fixturenames:
        yield
        return
    found, inside = request.getfixturevalue("databases"), request.getfixturevalue("tmp_path")
    yield
    found.take_back(inside)
