"""Several keepers of one journal: who holds what now, what is refused, and journals from before there were keepers."""

from __future__ import annotations

import sqlite3
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import permutations
from pathlib import Path
from threading import Barrier

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import insert, text
from sqlalchemy.exc import IntegrityError

from tests.journal.conftest import BOTH, Stores, dump, harm
from tests.journal.examples import NOW, day, hand, make_bin, make_keeper, mark, moments, one_of_each, texts
from tests.journal.postgres import Server
from underlid.journal import database
from underlid.journal.errors import (
    DamagedJournal,
    FirstSteward,
    JournalError,
    KeeperExists,
    LastSteward,
    TakenId,
    UnknownBin,
    UnknownKeeper,
    UnknownPhoto,
    Unstorable,
)
from underlid.journal.store import Journal
from underlid.journal.tables import HEAD, keepers
from underlid.records import PHOTOS_SHOWN, PLACES_SHOWN, Keeper, Photo

sys.path.insert(0, str(Path(__file__).parents[2] / "tools"))

from old_journals import ROWS, lay_down

STORES = BOTH
LATER = NOW + timedelta(days=1)


@pytest.fixture
def shared(journal: Journal) -> Journal:
    """A journal of Ada, a steward, and Ben, with an entry of each kind in the bin north."""
    journal.add(one_of_each())
    journal.keep_keeper(make_keeper())
    journal.keep_keeper(make_keeper("Ben", role="keeper"))
    return journal


# --- keepers ----------------------------------------------------------------------------------------


def test_a_journal_without_keepers_asks_nothing_of_them(journal: Journal) -> None:
    journal.add(one_of_each())
    assert (journal.keepers(), journal.bin_keepers(), journal.photos_shown()) == ({}, {}, {})
    assert journal.just_after(NOW) == NOW
    journal.check()


def test_the_newest_of_a_name_holds_and_the_earlier_ones_stay(shared: Journal) -> None:
    before = dump(shared)
    changed = make_keeper(
        "Ben", "2", LATER, role="steward", shown_as="B.", latitude=-33, longitude=18.25, place="1 degree"
    )
    shared.keep_keeper(changed)
    assert shared.keepers() == {"Ada": make_keeper(), "Ben": changed}
    assert list(shared.keepers()) == ["Ada", "Ben"]
    after = dump(shared)
    assert [line for line in before if line not in after] == []
    assert len(after) == len(before) + 1


def test_what_was_noted_earlier_is_history_whenever_it_arrives(shared: Journal) -> None:
    newest, older = make_keeper("Ben", "2", LATER), make_keeper("Ben", "3", LATER - timedelta(hours=1), photos="shared")
    shared.keep_keeper(newest)
    shared.keep_keeper(replace(older, noted_at=older.noted_at.astimezone(UTC)))
    assert shared.keepers()["Ben"] == newest


def test_of_one_moment_two_journals_tell_the_same_in_whatever_order_it_arrived(
    stores: Stores, one_bin: Path, tmp_path: Path
) -> None:
    told = []
    for order in permutations([make_keeper(id="a"), make_keeper(id="b", shown_as="A."), make_keeper(id="c")]):
        with Journal.open(stores.copy(one_bin, tmp_path / "any")) as journal:
            for one in order:
                journal.keep_keeper(one)
            told.append(journal.keepers()["Ada"].id)
    assert told == ["c"] * 6


def test_the_same_again_is_harmless_and_another_under_its_id_refused(shared: Journal) -> None:
    shared.hand_bin(hand())
    shared.show_photo(mark())
    shared.keep_keeper(make_keeper("Cleo", noted_at=LATER))
    shared.keep_keeper(make_keeper(id="x", role="reader", noted_at=LATER))  # so that a first steward is none any more
    before = dump(shared)
    shared.keep_keeper(make_keeper())
    shared.keep_keeper(make_keeper(noted_at=LATER))
    shared.hand_bin(hand(noted_at=LATER))
    shared.show_photo(mark(noted_at=LATER))
    with pytest.raises(TakenId, match=r"id of keeper 'Ada' .* give this one a new id"):
        shared.keep_keeper(make_keeper(shown_as="A."))
    with pytest.raises(TakenId, match="id of keeper of bin 'north'"):
        shared.hand_bin(hand(keeper="Ben"))
    with pytest.raises(TakenId, match="id of mark of photo 'p1'"):
        shared.show_photo(mark("private"))
    assert dump(shared) == before


@pytest.mark.parametrize("name", ["ben", "BEN", "bEn"])
def test_a_name_is_one_keepers_in_whatever_capitals(shared: Journal, name: str) -> None:
    before = dump(shared)
    with pytest.raises(KeeperExists, match="already a keeper named 'Ben': write the name with the same capitals"):
        shared.keep_keeper(make_keeper(name, id="other", role="keeper"))
    assert dump(shared) == before


@pytest.mark.parametrize("role", ["keeper", "reader"])
def test_the_first_keeper_is_a_steward_and_somebody_stays_one(journal: Journal, role: str) -> None:
    before = dump(journal)
    with pytest.raises(FirstSteward, match=r"'Ben' would be the first keeper.*make the first one a steward"):
        journal.keep_keeper(make_keeper("Ben", role=role))
    assert dump(journal) == before
    journal.keep_keeper(make_keeper())
    journal.keep_keeper(make_keeper("Ben", role=role))
    before = dump(journal)
    less = make_keeper(id="less", role=role, noted_at=LATER)
    with pytest.raises(LastSteward, match=r"'Ada' is the last steward.*make another keeper a steward first"):
        journal.keep_keeper(less)
    assert dump(journal) == before
    journal.keep_keeper(make_keeper("Ben", id="more", noted_at=LATER))
    journal.keep_keeper(less)
    assert {name: one.role for name, one in journal.keepers().items()} == {"Ada": role, "Ben": "steward"}


def test_two_stewards_who_leave_at_one_moment_leave_one(shared: Journal) -> None:
    shared.keep_keeper(make_keeper("Ben", id="more", noted_at=LATER))
    together, later = Barrier(2), LATER + timedelta(seconds=1)

    def leave(name: str) -> str:
        with Journal.open(shared.folder) as journal:
            together.wait(30)
            try:
                journal.keep_keeper(make_keeper(name, id=f"less-{name}", role="reader", noted_at=later))
            except LastSteward:
                return "stays"
            return "left"

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(leave, ["Ada", "Ben"])) == ["left", "stays"]
    assert sorted(one.role for one in shared.keepers().values()) == ["reader", "steward"]


@pytest.mark.parametrize(
    ("bad", "sentence"),
    [
        ({"latitude": 1.0}, "place of keeper 'Ada'.*latitude and longitude belong together, give both or neither"),
        ({"longitude": 1.0}, "latitude and longitude belong together"),
        ({"latitude": 90.01, "longitude": 0.0}, "latitude of keeper 'Ada'.*90.01 degrees, and -90 to 90 is possible"),
        ({"latitude": 0.0, "longitude": -180.5}, "longitude.*-180.5 degrees, and -180 to 180"),
        ({"latitude": float("nan"), "longitude": 0.0}, "latitude.*nan is not a number"),
        ({"latitude": 0.0, "longitude": float("inf")}, "longitude.*inf is not a number"),
        ({"latitude": "52", "longitude": 0.0}, "latitude.*'52' is not a number"),
        ({"latitude": True, "longitude": 0.0}, "latitude.*True is not a number"),
        ({"role": "king"}, "role.*'king' is not one of steward, keeper, reader"),
        ({"place": "2 degrees"}, "place.*'2 degrees' is not one of as noted, 0.01 degree"),
        ({"photos": "public"}, "photos.*'public' is not one of private, shared"),
        ({"shown_as": "\0"}, "shown as.*not text"),
        ({"name": ""}, "name.*empty"),
        ({"name": "Ada "}, "space at an end"),
        ({"name": "A" * 301}, "name.*301 characters"),
        ({"id": "i" * 301}, "id.*301 characters"),
        ({"noted_at": datetime(2026, 3, 1)}, "noted at.*no time zone"),
    ],
)
def test_a_keeper_that_could_not_come_back_as_it_is_is_refused(
    journal: Journal, bad: dict[str, object], sentence: str
) -> None:
    before = dump(journal)
    with pytest.raises(Unstorable, match=sentence):
        journal.keep_keeper(replace(make_keeper(), **bad))  # type: ignore[arg-type]
    assert dump(journal) == before


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    name=texts.map(str.strip).filter(bool), shown_as=texts, at=moments, shown=st.sampled_from(PLACES_SHOWN),
    photos=st.sampled_from(PHOTOS_SHOWN), place=st.none() | st.tuples(st.floats(-90, 90), st.floats(-180, 180)),
)  # fmt: skip
def test_any_keeper_comes_back(
    stores: Stores, one_bin: Path, tmp_path: Path, name: str, shown_as: str, at: datetime, shown: object,
    photos: object, place: tuple[float, float] | None,
) -> None:  # fmt: skip
    latitude, longitude = (None, None) if place is None else place
    kept = make_keeper(
        name, "k", at, shown_as=shown_as, place=shown, photos=photos, latitude=latitude, longitude=longitude
    )
    with Journal.open(stores.copy(one_bin, tmp_path / "any")) as journal:
        journal.keep_keeper(kept)
        journal.check()
        assert journal.keepers() == {name: kept}
        journal.keep_keeper(kept)


def test_what_is_said_next_comes_after_all_that_was_said(shared: Journal) -> None:
    shared.hand_bin(hand(noted_at=LATER))
    shared.show_photo(mark(noted_at=LATER + timedelta(hours=2)))
    after = shared.just_after(NOW.astimezone(UTC))
    assert after == LATER + timedelta(hours=2, microseconds=1)
    assert after.tzinfo is UTC
    assert shared.just_after(LATER + timedelta(days=1)) == LATER + timedelta(days=1)


# --- bins -------------------------------------------------------------------------------------------


def test_a_bin_is_whose_it_was_handed_to_last(shared: Journal) -> None:
    shared.add_bin(make_bin("south, by the wall", 2))
    shared.hand_bin(hand(id="3", keeper="Ada", noted_at=LATER))
    shared.hand_bin(hand(id="1", keeper="Ben"))
    assert shared.bin_keepers() == {"north": "Ada"}
    shared.hand_bin(hand(id="2", keeper="Ben", noted_at=LATER + timedelta(seconds=1)))
    shared.hand_bin(hand("south, by the wall", id="4"))
    assert shared.bin_keepers() == {"north": "Ben", "south, by the wall": "Ada"}


def test_since_when_a_bin_is_its_keepers_is_told_if_it_was_anothers(shared: Journal) -> None:
    at = [NOW + timedelta(hours=hours) for hours in range(5)]
    shared.add_bin(make_bin("south, by the wall", 2))
    shared.hand_bin(hand("south, by the wall", id="0"))
    for id, keeper, when in (("4", "Ada", at[4]), ("1", "Ada", at[1]), ("3", "Ada", at[3]), ("2", "Ben", at[2])):
        shared.hand_bin(hand(id=id, keeper=keeper, noted_at=when))
    assert shared.taken_over() == {"north": at[3]}


def test_who_or_what_is_not_there_is_told_with_those_there_are(journal: Journal) -> None:
    with pytest.raises(UnknownKeeper, match="no keepers yet: make a first one, a steward"):
        journal.hand_bin(hand())
    journal.keep_keeper(make_keeper())
    journal.keep_keeper(make_keeper("Ben"))
    journal.add(one_of_each())
    before = dump(journal)
    with pytest.raises(UnknownKeeper, match=r"'Aba'. Did you mean 'Ada'\? Keepers here: Ada, Ben\."):
        journal.hand_bin(hand(keeper="Aba"))
    with pytest.raises(UnknownBin, match=r"'nroth'. Did you mean 'north'\?"):
        journal.hand_bin(hand("nroth"))
    for id in ("nothing", "n1", "\0"):  # the second is a note
        with pytest.raises(JournalError) as told:
            journal.show_photo(mark(photo=id))
        assert isinstance(told.value, UnknownPhoto if id != "\0" else Unstorable)
    with pytest.raises(UnknownPhoto, match="no photo with the id 'n1'"):
        journal.show_photo(mark(photo="n1"))
    assert dump(journal) == before


# --- photos -----------------------------------------------------------------------------------------


def _photo(id: str, corrects: str | None = None, sha256: str = "ab") -> Photo:
    return Photo(id=id, bin="north", when=day(1, 10), words=id, corrects=corrects, file=f"{sha256}.jpg", sha256=sha256)


def test_a_photo_is_shown_as_its_newest_mark_says(shared: Journal) -> None:
    shared.add([_photo("p2")])
    assert shared.photos_shown() == {}
    shared.show_photo(mark())
    assert shared.photos_shown() == {"p1": "shared"}
    shared.show_photo(mark("private", id="m2", noted_at=LATER))
    shared.show_photo(mark("shared", id="m3", noted_at=LATER - timedelta(hours=1)))
    assert shared.photos_shown() == {"p1": "private"}


def test_a_mark_goes_along_with_a_correction_of_the_photo(shared: Journal) -> None:
    shared.add([_photo("a", "p1"), _photo("b", "a"), _photo("alone")])
    shared.show_photo(mark("private"))
    assert shared.photos_shown() == dict.fromkeys(["p1", "a", "b"], "private")
    shared.show_photo(mark("shared", "b", "m2", LATER))
    assert shared.photos_shown() == dict.fromkeys(["p1", "a", "b"], "shared")


def test_a_picture_that_took_the_place_of_a_shared_one_is_not_shared_with_it(shared: Journal) -> None:
    shared.add([_photo("other", "p1", "cd")])
    shared.show_photo(mark("shared"))
    assert shared.photos_shown() == {"p1": "shared"}
    shared.show_photo(mark("private", id="m2", noted_at=LATER))
    assert shared.photos_shown() == {"p1": "private", "other": "private"}


# --- the tables and damage --------------------------------------------------------------------------


@pytest.mark.parametrize("place", [(1.0, None), (None, 1.0), (90.5, 0.0), (-91.0, 0.0), (0.0, 181.0), (0.0, -180.5)])
def test_the_table_itself_guards_the_place(journal: Journal, place: tuple[float | None, float | None]) -> None:
    row = {
        "id": "k", "name": "Ada", "role": "steward", "shown_as": "", "place": "not told", "photos": "private",
        "noted_at": NOW.isoformat(), "latitude": place[0], "longitude": place[1],
    }  # fmt: skip
    with journal._engine.connect() as connection:
        with pytest.raises(IntegrityError, match=r"(?i)check"), connection.begin_nested():
            connection.execute(insert(keepers).values(row))
        connection.execute(insert(keepers).values(row | {"latitude": -90.0, "longitude": 180.0}))


@pytest.mark.parametrize(
    ("table", "row"), [("bin_keepers", "'x', 'nowhere', 'Ada'"), ("photos_shown", "'x', 'n1', 'shared'")]
)
def test_the_tables_guard_bins_and_photos(shared: Journal, table: str, row: str) -> None:
    with shared._engine.connect() as connection, pytest.raises(IntegrityError, match=r"(?i)foreign key"):
        connection.execute(text(f"INSERT INTO {table} VALUES ({row}, '{NOW.isoformat()}')"))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE keepers SET photos = 'public' WHERE name = 'Ada'",
        "UPDATE keepers SET place = 'everywhere' WHERE name = 'Ada'",
        "UPDATE keepers SET role = 'king' WHERE name = 'Ada'",
        "UPDATE keepers SET noted_at = 'yesterday' WHERE name = 'Ada'",
        "UPDATE bin_keepers SET noted_at = '2026-03-01T21:30:00'",
        "UPDATE photos_shown SET shown = 'Private'",
        "UPDATE photos_shown SET noted_at = ''",
    ],
)
def test_a_row_that_no_keeper_could_have_made_is_never_handed_out(shared: Journal, statement: str) -> None:
    shared.hand_bin(hand())
    shared.show_photo(mark())
    shared.check()
    harm(shared, statement)
    table = statement.split()[1]
    ask = {"keepers": shared.keepers, "bin_keepers": shared.bin_keepers, "photos_shown": shared.photos_shown}[table]
    for each in (shared.check, ask):
        with pytest.raises(DamagedJournal, match=f"a row of {table} cannot be read"):
            each()


def test_check_finds_bins_of_a_keeper_and_marks_of_a_photo_that_are_not_there(shared: Journal) -> None:
    shared.hand_bin(hand(keeper="Ben"))
    shared.show_photo(mark())
    shared.check()
    harm(shared, "DELETE FROM keepers WHERE name = 'Ben'")
    with pytest.raises(DamagedJournal, match="bin 'north' is of keeper 'Ben', whom the journal does not know"):
        shared.check()
    harm(shared, "DELETE FROM photos")
    with pytest.raises(DamagedJournal, match="loose row in photos_shown"):
        shared.check()
    with pytest.raises(DamagedJournal, match="photo 'p1', which is marked, is not in the journal"):
        shared.photos_shown()


# --- journals from before there were keepers --------------------------------------------------------


def _rows(folder: Path) -> list[str]:
    with closing(sqlite3.connect(folder / "journal.sqlite")) as file:
        return [line for line in file.iterdump() if "alembic_version" not in line]


@pytest.mark.parametrize("layout", ["0001", "0002"])
def test_an_older_journal_comes_forward_with_all_that_it_holds(tmp_path: Path, layout: str) -> None:
    folder = tmp_path / "old"
    lay_down(layout, folder)
    before = _rows(folder)
    with Journal.open(folder) as journal:
        assert database.revision(journal.path) == HEAD
        journal.check()
        assert len(journal.bins()) == ROWS
        assert (journal.keepers(), journal.bin_keepers(), journal.photos_shown()) == ({}, {}, {})
        brought = _rows(folder)
        journal.keep_keeper(make_keeper())
        journal.hand_bin(hand("bin 3"))
        journal.show_photo(mark("shared", "photos-3"))
        journal.check()
    after = _rows(folder)
    assert [line for line in before if line not in after] == []
    assert len(after) == len(brought) + 3


def test_the_newest_layout_is_kept_as_it_was_laid_down(tmp_path: Path) -> None:
    lay_down("0003", tmp_path / "new")
    with Journal.open(tmp_path / "new") as journal:
        journal.check()
        assert len(journal.keepers()) == len(journal.bin_keepers()) == len(journal.photos_shown()) == ROWS


def test_a_step_forward_that_fails_leaves_the_older_journal_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from alembic import op

    def fail(*_: object) -> None:
        raise RuntimeError("power cut")

    lay_down("0002", tmp_path / "old")
    before = _rows(tmp_path / "old")
    with monkeypatch.context() as patch:
        patch.setattr(op, "execute", fail)  # the tables are made by then, the triggers are not
        with pytest.raises(RuntimeError, match="power cut"):
            Journal.open(tmp_path / "old")
    assert _rows(tmp_path / "old") == before
    assert database.revision(tmp_path / "old" / "journal.sqlite") == "0002"
    Journal.open(tmp_path / "old").close()


def test_an_older_database_comes_forward_too(tmp_path: Path, server: Server) -> None:
    with Journal.create(tmp_path, server.database()) as journal:
        journal.add_bin(make_bin())
        journal.add(one_of_each())
        with journal._engine.begin() as connection:  # as the second layout was
            for table in ("keepers", "bin_keepers", "photos_shown"):
                connection.execute(text(f"DROP TABLE {table}"))
            connection.execute(text("UPDATE alembic_version SET version_num = '0002'"))
    with Journal.open(tmp_path) as journal:
        assert journal.entries() == one_of_each()
        kept: Keeper = make_keeper(latitude=52.1, longitude=-1.3)
        journal.keep_keeper(kept)
        journal.check()
        assert journal.keepers() == {"Ada": kept}
        with journal._engine.connect() as connection, pytest.raises(IntegrityError, match="never changed"):
            connection.execute(text("DELETE FROM keepers"))
