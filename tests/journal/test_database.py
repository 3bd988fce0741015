from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from tests.journal.conftest import dump
from tests.journal.examples import make_bin, one_of_each, reading
from underlid.journal import database
from underlid.journal.errors import DamagedJournal, DiskFull, JournalBusy, NewerJournal, UnwritableFolder
from underlid.journal.store import FILE, Journal
from underlid.journal.tables import HEAD, metadata
from underlid.records import SampleCount


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),  # FULL, by https://sqlite.org/pragma.html#pragma_synchronous
        ("foreign_keys", 1),
        ("recursive_triggers", 1),
        ("busy_timeout", 30_000),
    ],
)
def test_every_connection_keeps_what_was_acknowledged(journal: Journal, pragma: str, value: object) -> None:
    with journal._engine.connect() as one, journal._engine.connect() as other:
        for connection in (one, other):
            assert connection.execute(text(f"PRAGMA {pragma}")).scalar() == value


# --- migrations -------------------------------------------------------------------------------------


def test_the_migrations_lead_to_the_tables(journal: Journal) -> None:
    with journal._engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "render_as_batch": True})
        assert compare_metadata(context, metadata) == []


def test_the_migrations_make_the_same_constraints_as_the_tables(journal: Journal, tmp_path: Path) -> None:
    engine = database.connect(tmp_path / "straight.sqlite")
    metadata.create_all(engine)
    engine.dispose()

    def tables(path: Path) -> dict[str, set[str]]:
        with closing(sqlite3.connect(path)) as file:
            found = file.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND type != 'trigger'")
            return {name: {line.strip(" ,\t") for line in sql.splitlines()} for name, sql in found}

    made = tables(journal.path)
    del made["alembic_version"]
    assert made == tables(tmp_path / "straight.sqlite")


def test_head_names_the_newest_migration() -> None:
    config = Config()
    config.set_main_option("script_location", "underlid.journal:migrations")
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_a_journal_that_is_up_to_date_is_opened_without_alembic(journal: Journal) -> None:
    journal.close()
    program = (
        "import sys; from underlid.journal.store import Journal; "
        f"Journal.open({str(journal.folder)!r}).bins(); print('alembic' in sys.modules)"
    )
    assert _run(program).stdout == "False\n"


def test_a_journal_of_a_newer_underlid_is_told_and_stays_as_it_is(journal: Journal) -> None:
    journal.close()
    with closing(sqlite3.connect(journal.path)) as file, file:
        file.execute("UPDATE alembic_version SET version_num = '9999'")
    before = dump(journal)
    with pytest.raises(NewerJournal, match=f"its layout is 9999, this one knows up to {HEAD}.*update underlid"):
        Journal.open(journal.folder)
    assert dump(journal) == before


def test_a_journal_that_forgot_its_layout_is_damaged(journal: Journal) -> None:
    journal.close()
    with closing(sqlite3.connect(journal.path)) as file, file:
        file.execute("DELETE FROM alembic_version")
    with pytest.raises(DamagedJournal, match="does not say its layout"):
        Journal.open(journal.folder)


def test_a_migration_that_fails_half_way_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from alembic import op

    def fail(*_: object) -> None:
        raise RuntimeError("power cut")

    with monkeypatch.context() as patch:
        patch.setattr(op, "execute", fail)  # the tables are made by then, the triggers are not
        with pytest.raises(RuntimeError, match="power cut"):
            Journal.create(tmp_path)
    assert database.revision(tmp_path / "journal.sqlite") is None
    Journal.create(tmp_path).close()


# --- trouble ----------------------------------------------------------------------------------------


def test_a_full_disk_is_told_and_nothing_is_stored(journal: Journal) -> None:
    before = dump(journal)
    with journal._engine.connect() as connection:  # the pool hands this connection out again
        connection.execute(text("PRAGMA max_page_count = 1"))
    with pytest.raises(DiskFull, match="free some space"):
        journal.add([reading(f"r{number}") for number in range(1000)])
    journal.close()
    assert dump(journal) == before
    journal.add([reading()])
    assert journal.entries() == (reading(),)


def test_a_file_that_cannot_be_written_is_told(journal: Journal) -> None:
    with journal._engine.connect() as connection:
        connection.execute(text("PRAGMA query_only = ON"))
    before = dump(journal)
    with pytest.raises(UnwritableFolder, match="Nothing can be written"):
        journal.add([reading()])
    assert dump(journal) == before


def test_a_file_in_use_for_too_long_is_told(journal: Journal) -> None:
    with journal._engine.connect() as connection:
        connection.execute(text("PRAGMA busy_timeout = 0"))
    with closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalBusy, match="try again in a moment"):
            journal.add([reading()])
        assert journal.entries() == ()  # reading goes on meanwhile
    journal.add([reading()])
    assert journal.entries() == (reading(),)


# --- sudden ends ------------------------------------------------------------------------------------

WRITER = """
import sys
from dataclasses import replace
from tests.journal.examples import one_of_each
from underlid.journal.store import Journal

folder, name, many = sys.argv[1], sys.argv[2], int(sys.argv[3])
with Journal.open(folder) as journal:
    for number in range(many):
        entry = one_of_each()[number % 7]
        id = f"{name}-{number}"
        journal.add([replace(entry, id=id)])
        print(id, flush=True)
"""

ROOT = Path(__file__).parents[2]


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "src"), str(ROOT)])}


def _run(program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", program, *arguments]
    return subprocess.run(command, env=_environment(), capture_output=True, text=True, check=True, timeout=120)


def _start(folder: Path, name: str, many: int, output: Path) -> subprocess.Popen[bytes]:
    with output.open("wb") as told:
        command = [sys.executable, "-c", WRITER, str(folder), name, str(many)]
        return subprocess.Popen(command, env=_environment(), stdout=told)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_was_acknowledged_survives_a_kill(journal: Journal, tmp_path: Path, seed: int) -> None:
    told = tmp_path / "told"
    writer = _start(journal.folder, "w", 1_000_000, told)
    try:
        deadline = time.monotonic() + 60
        while told.read_bytes().count(b"\n") < 5 and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(random.Random(seed).uniform(0, 0.3))
        writer.send_signal(signal.SIGKILL)
    finally:
        writer.kill()
        writer.wait()
    acknowledged = {line for line in told.read_text().split("\n")[:-1]}
    assert len(acknowledged) >= 5
    with Journal.open(journal.folder) as again:
        stored = {entry.id: entry for entry in again.entries()}
        again.check()
    assert acknowledged <= stored.keys()
    assert len(stored) - len(acknowledged) <= 1  # the one whose acknowledgement was cut off
    assert all(len(entry.counts) == 2 for entry in stored.values() if isinstance(entry, SampleCount))


def test_a_copy_without_the_shared_memory_file_holds_everything(journal: Journal, tmp_path: Path) -> None:
    journal.add(one_of_each())
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("journal.sqlite", "journal.sqlite-wal"):  # as a power cut leaves them
        shutil.copy(journal.folder / name, copy / name)
    with Journal.open(copy) as again:
        assert again.entries() == one_of_each()


def test_two_writers_at_once_lose_nothing(journal: Journal, tmp_path: Path) -> None:
    names, many = ("one", "two"), 60
    writers = [_start(journal.folder, name, many, tmp_path / name) for name in names]
    try:
        assert [writer.wait(timeout=120) for writer in writers] == [0, 0]
    finally:
        for writer in writers:
            writer.kill()
            writer.wait()
    journal.check()
    assert {entry.id for entry in journal.entries()} == {f"{name}-{n}" for name in names for n in range(many)}


def test_one_who_reads_sees_one_moment_while_another_writes(journal: Journal) -> None:
    with journal._reading() as connection:
        count = text("SELECT count(*) FROM notes")
        assert connection.execute(count).scalar() == 0
        with Journal.open(journal.folder) as other:
            other.add(one_of_each())
            other.add_bin(make_bin("south", 2))
        assert connection.execute(count).scalar() == 0
    assert len(journal.entries()) == 7


def test_a_creation_cut_off_in_its_first_change_can_go_on(tmp_path):
    cut, left = tmp_path / "cut", tmp_path / "left"
    cut.mkdir()
    left.mkdir()
    with closing(sqlite3.connect(cut / FILE, isolation_level=None)) as file:
        file.execute("PRAGMA user_version = 1")
        file.execute("BEGIN IMMEDIATE")
        file.execute("PRAGMA cache_size = 1")
        file.execute("CREATE TABLE t (x)")
        file.execute("INSERT INTO t SELECT zeroblob(200000)")
        for each in cut.iterdir():
            shutil.copy(each, left / each.name)  # as a kill leaves it
    assert (left / f"{FILE}-journal").exists()
    Journal.create(left).close()
