"""A journal from elsewhere is read as it lies there, whoever wrote it, and stays as it is."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from tests.journal.conftest import BOTH, dump, harm
from tests.journal.examples import (
    NOW,
    hand,
    make_bin,
    make_change,
    make_claims,
    make_keeper,
    make_plan,
    mark,
    reading,
)
from tests.journal.merging.examples import (
    SOUTH,
    bring,
    entries_there,
    fill,
    photo,
)
from tests.journal.postgres import Server
from underlid.journal.errors import (
    DamagedJournal,
    JournalError,
    NewerJournal,
    NoJournal,
    NotAJournal,
)
from underlid.journal.merging import (
    Held,
    Merge,
    NotTaken,
    OlderDatabase,
    compare,
    merge,
    read_incoming,
)
from underlid.journal.store import Journal
from underlid.records import Reading

sys.path.insert(0, str(Path(__file__).parents[3] / "tools"))

from old_journals import ROWS, lay_down

STORES = BOTH


# --- reading the other ------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", ["0001", "0002", "0003"])
def test_an_older_layout_is_read_and_left_as_it_is(ours: Journal, tmp_path: Path, layout: str) -> None:
    old = tmp_path / "old"
    lay_down(layout, old)
    before = {path: path.read_bytes() for path in sorted(old.rglob("*")) if path.is_file()}
    told = merge(ours, read_incoming(old), skip_conflicts=True, dry_run=False)
    assert {path: path.read_bytes() for path in sorted(old.rglob("*")) if path.is_file()} == before
    assert told.stored
    assert len(ours.entries(superseded=True, kind=Reading)) == ROWS
    ours.check()


def test_a_journal_in_use_is_read_with_what_was_stored_last(in_file: Journal) -> None:
    in_file.add([reading("last")])
    assert (in_file.folder / "journal.sqlite-wal").stat().st_size > 0
    assert [entry.id for entry in read_incoming(in_file.folder).held.entries] == ["last"]


def test_a_journal_that_is_written_while_it_is_copied_is_copied_anew(
    theirs: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs.close()

    def copy_and_write(source: Path, target: Path, copy: Callable[..., object] = shutil.copyfile) -> None:
        copy(source, target)
        theirs.add([reading("meanwhile")])

    monkeypatch.setattr(shutil, "copyfile", copy_and_write)
    assert [entry.id for entry in read_incoming(theirs.folder).held.entries] == ["meanwhile"]


def test_a_journal_that_does_not_fit_together_is_refused_whole(theirs: Journal) -> None:
    theirs.keep_keeper(make_keeper())
    theirs.hand_bin(hand())
    harm(theirs, "UPDATE bin_keepers SET keeper = 'Zoe'")
    with pytest.raises(DamagedJournal, match="of keeper 'Zoe', whom the journal does not know"):
        read_incoming(theirs.folder)


def test_what_is_in_a_database_comes_into_a_file(ours: Journal, there: Journal) -> None:
    fill(there)
    ours.keep_keeper(make_keeper("Cleo"))
    assert bring(ours, there).stored
    assert len(ours.entries(superseded=True)) == len(entries_there())
    ours.check()


def test_an_older_database_is_not_brought_up_to_date(server: Server, tmp_path: Path) -> None:
    with Journal.create(tmp_path / "old", server.database()) as old:
        for layout, refusal in (("0002", OlderDatabase), ("9999", NewerJournal)):
            with old._engine.begin() as connection:
                connection.execute(text("UPDATE alembic_version SET version_num = :layout"), {"layout": layout})
            with pytest.raises(refusal, match=layout):
                read_incoming(old.folder)
            with old._engine.connect() as connection:
                assert connection.scalar(text("SELECT version_num FROM alembic_version")) == layout


def test_what_is_wrong_there_is_said_of_its_own_folder(tmp_path: Path, in_file: Journal) -> None:
    with pytest.raises(NoJournal, match=str(tmp_path / "nowhere")):
        read_incoming(tmp_path / "nowhere")
    in_file.close()
    path = in_file.path
    whole = path.read_bytes()
    path.write_bytes(b"no database" * 100)
    with pytest.raises(JournalError, match=str(path)) as told:
        read_incoming(in_file.folder)
    assert "underlid-" not in str(told.value)
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(DamagedJournal, match=str(path)):
        read_incoming(in_file.folder)


def test_a_journal_brought_into_itself_brings_nothing(theirs: Journal) -> None:
    fill(theirs)
    before = dump(theirs)
    told = bring(theirs, theirs)
    assert not told.comes
    assert told.conflicts == ()
    assert dump(theirs) == before


def test_two_who_bring_in_the_same_at_once_bring_it_once(journal: Journal, there: Journal) -> None:
    fill(there)
    journal.keep_keeper(make_keeper("Cleo"))
    incoming = read_incoming(there.folder)

    def go(_: int) -> Merge:
        with Journal.open(journal.folder) as into:
            return merge(into, incoming, dry_run=False)

    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(go, range(2)))
    assert all(one.conflicts == () for one in found)
    assert len(journal.entries(superseded=True)) == len(entries_there())
    journal.check()


# --- written by no program of ours ------------------------------------------------------------------

END = NOW.replace(year=9999)


@pytest.mark.parametrize(
    ("field", "records", "sentence"),
    [
        ("plans", [make_plan(" coffee")], "space at an end"),
        ("plans", [make_plan(text=" ")], "The text of plan 'coffee'"),
        ("plans", [make_plan("x" * 301)], "300 is the most"),
        ("own_claims", [make_claims("")], "it is empty, give it one"),
        ("own_claims", [make_claims(text="nul \0")], "not text"),
        ("keepers", [make_keeper("Eve ")], "space at an end"),
        ("keepers", [make_keeper("Eve", noted_at=END)], "nothing could ever be said after it"),
        ("keepers", [make_keeper("Eve"), make_keeper("EVE")], "one here is named 'EVE'"),
        ("plans", [make_plan(), make_plan("Coffee")], "'Coffee' is another than 'coffee'"),
    ],
)
def test_what_could_not_be_stored_is_told_before(field: str, records: list[Any], sentence: str) -> None:
    """Not when all was shown and wanted: then nothing at all would be stored."""
    theirs = Held()
    setattr(theirs, field, records)
    told = compare(Held(keepers=[make_keeper("Cleo")]), theirs)
    assert [sentence in one.sentence for one in told.conflicts] == [True]
    assert len(getattr(told.comes, field)) == len(records) - 1


def test_a_change_that_says_nothing_and_a_mark_at_the_end_of_time_are_told() -> None:
    plan, picture = make_plan(), photo()
    said = replace(make_change(words=" "), bin=None)
    theirs = Held(
        bins=[make_bin()], plans=[plan], entries=[picture], changes=[said], shown=[mark("private", "p", "m", END)]
    )
    told = compare(Held(bins=[make_bin()], plans=[plan]), theirs)
    assert [("nothing could ever be said after it" in one.sentence, type(one)) for one in told.conflicts] == [
        (False, NotTaken), (True, NotTaken),
    ]  # fmt: skip
    assert (told.comes.changes, told.comes.shown) == ([], [])


@pytest.mark.parametrize(
    "statements",
    [
        ("DROP TABLE own_claims", "CREATE VIEW own_claims AS SELECT 'o' AS id, 'a = 1' AS text, 'x' AS noted_at"),
        ("CREATE VIEW endless AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i FROM n) SELECT i FROM n",),
        ("DROP TABLE own_claims", "CREATE TABLE own_claims (id, text, noted_at)"),
    ],
)
def test_a_file_with_other_tables_than_ours_is_refused(theirs: Journal, statements: tuple[str, ...]) -> None:
    theirs.close()
    with closing(sqlite3.connect(theirs.path)) as file, file:
        for statement in statements:
            file.execute(statement)
    with pytest.raises(NotAJournal, match="is not a table as underlid makes them") as told:
        read_incoming(theirs.folder)
    assert str(theirs.path) in str(told.value)


def test_triggers_there_do_nothing_here_nor_there(ours: Journal, theirs: Journal) -> None:
    theirs.add([reading("s", bin=SOUTH)])
    theirs.close()
    with closing(sqlite3.connect(theirs.path)) as file, file:
        file.execute(
            "CREATE TRIGGER evil AFTER INSERT ON readings BEGIN INSERT INTO own_claims VALUES ('e','e','e'); END"
        )
    before = theirs.path.read_bytes()
    assert bring(ours, theirs).stored
    assert theirs.path.read_bytes() == before
    assert ours.own_claims() == ()
    assert not [line for line in dump(ours) if "evil" in line]
