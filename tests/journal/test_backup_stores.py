"""Backups of a journal wherever its records are: read with nothing but SQLite, put back, and never half there."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from tests.journal.conftest import BOTH, dump, harm
from tests.journal.examples import (
    NOW,
    amount,
    hand,
    make_bin,
    make_change,
    make_claims,
    make_keeper,
    make_plan,
    one_of_each,
    reading,
    with_photo,
)
from tests.journal.killing import Point, killed
from tests.journal.postgres import LOCKED, PASSWORD, Server
from underlid.journal import backup as backups
from underlid.journal import moving
from underlid.journal.backup import Keep, automatic, backup, newest_good, restore, rotate, verify, verify_journal
from underlid.journal.errors import DamagedJournal, DiskFailed, JournalExists, NotAJournal, OtherJournal, ServerAway
from underlid.journal.manifest import MANIFEST, OnAServer, folders, read_manifest
from underlid.journal.moving import move
from underlid.journal.place import FILE, POINTER
from underlid.journal.store import Journal
from underlid.records import Photo

STORES = BOTH

DAY = timedelta(days=1)
ELSEWHERE = "postgresql://keeper@db.example/worms"


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "backups"


@pytest.fixture
def on_server(tmp_path: Path, server: Server) -> Iterator[Journal]:
    """A journal in a database of its own, which the test may do anything to."""
    with Journal.create(tmp_path / "club", server.database()) as journal:
        journal.add_bin(make_bin())
        yield journal


def fill(journal: Journal) -> None:
    """Put a row into every table but one, with corrections whose ids sort before those of what they correct."""
    journal.add_bin(make_bin("south, “☘”", 2))
    journal.add([entry for entry in one_of_each() if not isinstance(entry, Photo)])
    journal.add([reading("b", words="8", corrects="r1"), reading("a", words="7.5", corrects="b")])
    with_photo(journal)
    journal.register(make_plan())
    journal.change_plan(make_change())
    journal.keep_claims(make_claims())
    journal.keep_keeper(make_keeper(latitude=48.1, longitude=-1.6))
    journal.hand_bin(hand())
    for litres in (0.2, 0.1 + 0.2):
        journal.set_container("mug", amount(0.1, litres, "L"))


def contents(folder: Path) -> tuple[object, ...]:
    """All that a journal says, wherever it is, after it was checked."""
    with Journal.open(folder) as journal:
        journal.check()
        return (
            journal.bins(), journal.entries(superseded=True), journal.entries(), journal.containers(), journal.plans(),
            journal.plan_changes("coffee"), journal.own_claims(), journal.keepers(), journal.bin_keepers(),
        )  # fmt: skip


def names(folder: Path) -> list[str]:
    return sorted(str(each.relative_to(folder)) for each in folder.rglob("*"))


# --- making and restoring ---------------------------------------------------------------------------


def test_a_backup_is_a_whole_sqlite_journal_wherever_the_records_are(journal: Journal, target: Path) -> None:
    fill(journal)
    made = backup(journal.folder, target, NOW)
    assert names(made.folder) == [FILE, MANIFEST]  # no log beside it, and no journal.toml
    with closing(sqlite3.connect(f"file:{made.folder / FILE}?mode=ro&immutable=1", uri=True)) as file:
        told = dict(file.execute("SELECT id, words FROM readings").fetchall())
        assert (
            file.execute("SELECT amount_low, typeof(amount_low) FROM readings WHERE id = 'a'").fetchone()[1] == "real"
        )
        with pytest.raises(sqlite3.Error):
            file.execute("DELETE FROM readings")
    assert told == {entry.id: entry.words for entry in journal.entries(superseded=True) if entry.id in told}
    assert set(told) == {"r1", "a", "b"}
    assert made.rows | {"readings": 3, "containers": 2, "sample_stages": 2, "bins": 2, "photos": 1} == made.rows
    assert verify(made.folder).good
    assert made.records_in == (journal.url or "")
    assert read_manifest(made.folder) == made
    assert ("records_in" in json.loads((made.folder / MANIFEST).read_text())) == (journal.url is not None)


def test_restored_it_is_a_journal_in_a_file_with_all_that_was(journal: Journal, target: Path, tmp_path: Path) -> None:
    fill(journal)
    made, before = backup(journal.folder, target, NOW), contents(journal.folder)
    done = restore(made.folder, tmp_path / "again", NOW)
    assert (done.earlier, done.aside) == (None, None)
    assert not (tmp_path / "again" / POINTER).exists()
    assert contents(tmp_path / "again") == before
    assert verify_journal(tmp_path / "again").good
    with Journal.open(tmp_path / "again") as again:
        again.add([reading("goes on")])


def test_a_restored_journal_moves_into_an_empty_database_or_back_into_its_own(
    journal: Journal, store: str, target: Path, tmp_path: Path, server: Server
) -> None:
    fill(journal)
    made, before = backup(journal.folder, target, NOW), contents(journal.folder)
    restore(made.folder, tmp_path / "again", NOW)
    move(Journal.open(tmp_path / "again"), server.database())
    assert contents(tmp_path / "again") == before
    if store == "postgresql":
        restore(made.folder, tmp_path / "home", NOW)
        journal.add([reading("later")])
        with pytest.raises(OtherJournal):  # the database has grown since, and nothing of it is undone
            move(Journal.open(tmp_path / "home"), made.records_in)
        restore(made.folder, tmp_path / "other", NOW)
        with Journal.open(tmp_path / "other") as other:
            other.add([reading("later"), reading("more")])
            move(other, made.records_in)
        assert {"later", "more"} <= {entry.id for entry in journal.entries()}


@pytest.mark.parametrize("replacing", [False, True])
def test_a_journal_with_its_records_on_a_server_is_never_replaced(
    on_server: Journal, target: Path, replacing: bool
) -> None:
    made = backup(on_server.folder, target, NOW)
    with_photo(on_server)
    before = (names(on_server.folder), names(target), dump(on_server))
    with pytest.raises(OnAServer, match=r"are in postgresql://.*another folder.*underlid move"):
        restore(made.folder, on_server.folder, NOW + DAY, replace=replacing)
    assert (names(on_server.folder), names(target), dump(on_server)) == before


def test_a_journal_that_moves_to_a_server_while_a_backup_is_brought_is_not_replaced(
    in_file: Journal, target: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = backup(in_file.folder, target, NOW)

    def moved(path: Path) -> bool:
        (path if path.is_dir() else path.parent).joinpath(POINTER).write_text(f'url = "{ELSEWHERE}"\n')
        return True

    monkeypatch.setattr("underlid.journal.restore.keep_log", moved)
    with pytest.raises(OnAServer):
        restore(made.folder, tmp_path / "again", NOW)
    assert names(tmp_path / "again") == [POINTER, "photos"]

    monkeypatch.setattr("underlid.journal.restore._stands", moved)
    before = dump_file(in_file)
    with pytest.raises(OnAServer):
        restore(made.folder, in_file.folder, NOW, replace=True)
    assert dump_file(in_file) == before
    assert folders(target) == [made.folder]


def dump_file(journal: Journal) -> list[str]:
    with closing(sqlite3.connect(journal.path)) as file:
        return list(file.iterdump())


def test_a_file_journal_that_stands_is_refused_as_ever(journal: Journal, target: Path, tmp_path: Path) -> None:
    made = backup(journal.folder, target, NOW)
    restore(made.folder, tmp_path / "again", NOW)
    with pytest.raises(JournalExists):
        restore(made.folder, tmp_path / "again", NOW)


def test_no_password_is_in_a_backup(
    target: Path, tmp_path: Path, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PGPASSWORD", PASSWORD)
    url = server.database(extra=f"OWNER {LOCKED}").replace("underlid@", f"{LOCKED}@")
    with Journal.create(tmp_path / "club", url) as journal:
        journal.add_bin(make_bin())
    made = backup(tmp_path / "club", target, NOW)
    assert f"//{LOCKED}@" in made.records_in
    held = [each.read_bytes() for each in target.rglob("*") if each.is_file()]
    assert len(held) > 1
    assert not any(PASSWORD.encode() in each for each in held)


def test_who_may_only_read_on_the_server_can_make_a_backup(on_server: Journal, target: Path, server: Server) -> None:
    with server.engine(str(on_server.url)).begin() as connection:
        connection.exec_driver_sql("GRANT SELECT ON ALL TABLES IN SCHEMA public TO guest")
    guest = str(on_server.url).replace("underlid@", "guest@")
    (on_server.folder / POINTER).write_text(f'url = "{guest}"\n')
    assert backup(on_server.folder, target, NOW).rows["bins"] == 1
    assert verify_journal(on_server.folder).good


# --- one moment -------------------------------------------------------------------------------------


def test_what_others_write_to_the_server_meanwhile_is_not_half_in_it(
    on_server: Journal, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_server.add([reading()])
    before, insert = contents_of_tables(on_server), moving._insert
    calls = []

    def busy(there: Connection, *rest: Any) -> None:
        insert(there, *rest)
        calls.append(1)
        with Journal.open(on_server.folder) as other:  # into a table that was copied, and into one that was not yet
            other.add_bin(make_bin(f"late {len(calls)}", 10 + len(calls)))
            other.add([reading(f"late {len(calls)}", bin=f"late {len(calls)}")])

    monkeypatch.setattr(moving, "_insert", busy)
    made = backup(on_server.folder, target, NOW)
    assert len(calls) > 5
    assert (made.rows["bins"], made.rows["readings"]) == before == (1, 1)
    assert verify(made.folder).good
    assert contents_of_tables(on_server) == (1 + len(calls), 1 + len(calls))


def contents_of_tables(journal: Journal) -> tuple[int, int]:
    return len(journal.bins()), len(journal.entries())


def test_a_writer_does_not_wait_for_a_backup(on_server: Journal, target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    proof = moving._proof

    def impatient(*args: Any) -> Any:
        with on_server._engine.connect() as connection:  # the pool hands this connection out again
            connection.exec_driver_sql("SET lock_timeout = '1s'")
            connection.commit()
        on_server.add([reading("meanwhile")])
        return proof(*args)

    monkeypatch.setattr(moving, "_proof", impatient)
    assert backup(on_server.folder, target, NOW).rows["readings"] == 0
    assert [entry.id for entry in on_server.entries()] == ["meanwhile"]


# --- what goes wrong --------------------------------------------------------------------------------


def test_a_server_that_is_away_gives_a_sentence_and_not_even_a_folder(target: Path, tmp_path: Path) -> None:
    (tmp_path / "club").mkdir()
    (tmp_path / "club" / POINTER).write_text('url = "postgresql://keeper@127.0.0.1:9/worms"\n')
    with pytest.raises(ServerAway):
        backup(tmp_path / "club", target, NOW)
    with pytest.raises(ServerAway):
        verify_journal(tmp_path / "club")
    assert not target.exists()


def test_a_database_that_is_empty_is_no_journal(on_server: Journal, target: Path, server: Server) -> None:
    (on_server.folder / POINTER).write_text(f'url = "{server.database()}"\n')
    with pytest.raises(NotAJournal, match="it is empty"):
        backup(on_server.folder, target, NOW)
    assert not target.exists()


@pytest.mark.filterwarnings(
    "ignore:.*ServerCursor.*was deleted while still open:ResourceWarning"
)  # with its connection
def test_a_connection_that_is_lost_in_the_middle_leaves_no_backup(
    on_server: Journal, target: Path, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = backup(on_server.folder, target, NOW)
    on_server.add([reading(f"r{number}") for number in range(3)])
    insert = moving._insert

    def cut(*args: Any) -> None:
        insert(*args)
        with server.engine(str(on_server.url)).begin() as connection:
            connection.exec_driver_sql(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )

    with monkeypatch.context() as patch:
        patch.setattr(moving, "_insert", cut)
        with pytest.raises(ServerAway):
            backup(on_server.folder, target, NOW + DAY)
    assert folders(target) == [first.folder]
    assert list(target.glob("**/*.part")) == []
    assert backup(on_server.folder, target, NOW + DAY).number == 2


def test_rows_that_do_not_fit_together_give_no_backup_and_are_found(journal: Journal, target: Path) -> None:
    journal.add([reading()])
    made = backup(journal.folder, target, NOW)
    harm(journal, "DELETE FROM bins")
    with pytest.raises(DamagedJournal, match="loose row in"):
        verify_journal(journal.folder)
    with pytest.raises(DamagedJournal, match="loose row in") as told:
        backup(journal.folder, target, NOW + DAY)
    assert str(journal.url or journal.path) in str(told.value)
    assert folders(target) == [made.folder]
    assert list(target.glob("**/*.part")) == []


def test_a_row_that_no_record_could_have_put_there_is_found(journal: Journal) -> None:
    journal.add([reading()])
    harm(journal, "UPDATE readings SET when_start = 'some day'")
    with pytest.raises(DamagedJournal):
        verify_journal(journal.folder)


def test_a_row_that_a_lost_constraint_let_in_gives_no_backup(on_server: Journal, target: Path, server: Server) -> None:
    on_server.add([reading()])
    with server.engine(str(on_server.url)).begin() as connection:
        connection.exec_driver_sql("ALTER TABLE readings DROP CONSTRAINT ck_readings_amount_in_order")
        connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        connection.exec_driver_sql("UPDATE readings SET amount_low = amount_high + 1")
    with pytest.raises(DamagedJournal, match=r"postgresql://.* is damaged .*CHECK constraint.*underlid move --to"):
        backup(on_server.folder, target, NOW)
    assert folders(target) == []


def test_a_layout_that_lost_a_table_is_found(on_server: Journal, target: Path, server: Server) -> None:
    with server.engine(str(on_server.url)).begin() as connection:
        connection.exec_driver_sql("DROP TABLE own_claims")
    with pytest.raises(DamagedJournal, match="own_claims"):
        verify_journal(on_server.folder)
    with pytest.raises(DamagedJournal, match="own_claims"):
        backup(on_server.folder, target, NOW)
    assert folders(target) == []


@pytest.mark.parametrize("what", ["otherwise", "spoilt"])
def test_a_disk_that_keeps_something_else_is_told_and_gives_no_backup(
    on_server: Journal, target: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    on_server.add([reading(f"r{number}") for number in range(100)])
    if what == "otherwise":
        digest = moving._digest
        calls = iter(range(10**6))
        monkeypatch.setattr(moving, "_digest", lambda row: digest(row) + (b"x" if next(calls) > 150 else b""))
    else:
        copy = moving.copy_to_file

        def spoiling(journal: Journal, file: Path) -> None:
            copy(journal, file)
            data = bytearray(file.read_bytes())
            data[len(data) // 2 : len(data) // 2 + 4000] = bytes(4000)
            file.write_bytes(data)

        monkeypatch.setattr(backups, "copy_to_file", spoiling)
    with pytest.raises(DiskFailed) as told:
        backup(on_server.folder, target, NOW)
    assert f"The disk that holds {target} did not take the writing" in str(told.value)
    assert folders(target) == []
    assert list(target.glob("**/*.part")) == []


def test_a_journal_is_verified_with_its_pictures_wherever_its_records_are(journal: Journal) -> None:
    fill(journal)
    photo = journal.entries(kind=Photo)[0]
    found = verify_journal(journal.folder)
    assert found.good
    assert (found.rows["readings"], found.rows["bins"], found.pictures) == (3, 2, 1)
    kept = journal.folder / "photos" / photo.file
    kept.write_bytes(b"another one")
    assert "its bytes are others" in verify_journal(journal.folder).problems[0]
    kept.unlink()
    assert "is missing" in verify_journal(journal.folder).problems[0]


# --- rotation ---------------------------------------------------------------------------------------


def test_backups_go_on_in_one_folder_and_rotate_when_the_journal_moves(
    in_file: Journal, target: Path, server: Server
) -> None:
    folder = in_file.folder
    fill(in_file)
    for day in range(2):
        backup(folder, target, NOW + day * DAY)
    move(in_file, server.database())
    with Journal.open(folder) as journal:
        journal.add([reading("on the server")])
    there = [backup(folder, target, NOW + day * DAY) for day in range(2, 4)]
    done = rotate(target, Keep(1, 0, 0))
    assert (len(done.removed), done.notes) == (3, ())  # word for word the newer one holds the older ones
    assert folders(target) == [there[-1].folder]
    move(Journal.open(folder), None)
    last = backup(folder, target, NOW + 4 * DAY)
    assert last.records_in == ""
    done = rotate(target, Keep(1, 0, 0))
    assert (done.removed, done.notes) == ((there[-1].folder,), ())
    assert verify(last.folder).good


def test_automatic_backups_are_made_once_a_day_and_rotated(journal: Journal, target: Path) -> None:
    keep = Keep(2, 0, 0)
    made = [automatic(journal.folder, target, NOW.replace(hour=hour), keep) for hour in (1, 9, 23)]
    assert [each is not None for each in made] == [True, False, False]
    for day in range(1, 4):
        journal.add([reading(f"r{day}")])
        assert automatic(journal.folder, target, NOW + day * DAY, keep) is not None
    assert [read_manifest(each).rows["readings"] for each in folders(target)] == [2, 3]


# --- sudden ends ------------------------------------------------------------------------------------

MAKE = """
def begin(folder, target, now):
    return lambda: backups.backup(folder, target, datetime.fromisoformat(now))
"""

POINTS: dict[str, list[Point]] = {
    "sqlite": [
        ("backups", "copy_database", "before", 1), ("backups", "copy_database", "after", 1),
        ("backups", "look", "after", 1),
        ("Path", "replace", "before", 1), ("Path", "replace", "after", 1),  # a picture
        ("backups", "_pictures", "after", 1),
    ],
    "postgresql": [
        ("moving", "migrate", "after", 1), ("moving", "_insert", "after", 3), ("moving", "commit", "before", 1),
        ("moving", "commit", "after", 1), ("moving", "_in_one_piece", "after", 1),
    ],
}  # fmt: skip
LATER: list[Point] = [
    ("Path", "replace", "before", 2),  # the manifest
    ("Path", "rename", "before", 1),
    ("Path", "rename", "after", 1),  # the step that makes it a backup
]


def test_a_backup_that_is_killed_anywhere_is_whole_or_not_there_and_the_next_one_is_made(
    journal: Journal, store: str, target: Path, tmp_path: Path
) -> None:
    fill(journal)
    first = backup(journal.folder, target, NOW)
    journal.add([reading("new")])
    with_photo(journal, "two")
    points = [*POINTS[store], *LATER]
    targets = [tmp_path / f"cut {number}" for number in range(len(points))]
    for here in targets:
        shutil.copytree(target, here)
    later = (NOW + DAY).isoformat()
    spots = [((str(journal.folder), str(here), later), spot) for here, spot in zip(targets, points, strict=True)]
    assert killed(MAKE, spots) == ["-9"] * len(spots)
    made = []
    for here, spot in zip(targets, points, strict=True):
        assert bool(list(here.glob(".*.part"))) == (spot != LATER[-1]), spot  # it was in the middle
        assert all(verify(each).good for each in folders(here)), spot
        newest, passed = newest_good(here)
        assert passed == ()
        made.append(len(folders(here)) - 1)
        assert read_manifest(newest).rows["readings"] == first.rows["readings"] + made[-1], spot
        again = backup(journal.folder, here, NOW + 2 * DAY)
        assert again.number == 2 + made[-1]
        assert again.rows["readings"] == first.rows["readings"] + 1
        assert (len(again.pictures), again.wanting) == (2, ())
        assert verify(again.folder).good
        assert list(here.glob("**/.*.part")) == [], spot
    assert made == [0] * (len(points) - 1) + [1]
