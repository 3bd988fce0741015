from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from string import Formatter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.journal.conftest import dump
from tests.journal.examples import NOW, make_bin, one_of_each, reading, with_photo
from underlid.journal import backup as backups
from underlid.journal import copied, manifest
from underlid.journal.backup import automatic, backup, newest_good, rotate, verify, verify_journal
from underlid.journal.errors import (
    DamagedJournal,
    JournalBusy,
    JournalError,
    JournalExists,
    NewerJournal,
    NoJournal,
    UnwritableFolder,
)
from underlid.journal.manifest import (
    MANIFEST,
    Backup,
    BackupBusy,
    BackupsOfAnother,
    DamagedBackup,
    NoBackup,
    OnAServer,
    WithinEachOther,
    folders,
    read_manifest,
)
from underlid.journal.photos import add_photo
from underlid.journal.restore import LogWithoutJournal
from underlid.journal.rotation import Keep, chosen
from underlid.journal.store import Journal
from underlid.records import Photo

DAY = timedelta(days=1)


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "backups"


def spoil(path: Path) -> None:
    """Change one byte in the middle of a file."""
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def said(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as file:
        return list(file.iterdump())


# --- making -----------------------------------------------------------------------------------------


def test_a_backup_holds_what_the_journal_holds(journal: Journal, target: Path) -> None:
    journal.add([entry for entry in one_of_each() if not isinstance(entry, Photo)])
    photo = with_photo(journal)
    made = backup(journal.folder, target, NOW)
    assert said(made.folder / "journal.sqlite") == dump(journal)
    assert made.rows["readings"] == 1
    assert made.rows["sample_stages"] == 2
    assert [picture.file for picture in made.pictures] == [photo.file]
    assert (target / "photos" / photo.file).read_bytes() == (journal.folder / "photos" / photo.file).read_bytes()
    assert read_manifest(made.folder) == made
    assert verify(made.folder).good


def test_the_copy_is_one_file(journal: Journal, target: Path) -> None:
    made = backup(journal.folder, target, NOW)
    assert sorted(each.name for each in made.folder.iterdir()) == ["journal.sqlite", MANIFEST]
    assert verify(made.folder).good  # which leaves nothing beside it either
    assert sorted(each.name for each in made.folder.iterdir()) == ["journal.sqlite", MANIFEST]


def test_a_backup_in_the_middle_of_a_write_has_the_moment_before(journal: Journal, target: Path) -> None:
    journal.add([reading("r0")])
    with closing(sqlite3.connect(journal.path, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("INSERT INTO plans VALUES ('half', 'written', 'no', 'yet')")
        made = backup(journal.folder, target, NOW)
        writer.execute("ROLLBACK")
    assert made.rows["plans"] == 0
    assert made.rows["readings"] == 1


def test_a_picture_is_kept_once_for_all_backups(journal: Journal, target: Path) -> None:
    photo = with_photo(journal)
    backup(journal.folder, target, NOW)
    kept = (target / "photos" / photo.file).stat()
    backup(journal.folder, target, NOW + DAY)
    assert [each.name for each in (target / "photos").iterdir()] == [photo.file]
    assert (target / "photos" / photo.file).stat().st_mtime_ns == kept.st_mtime_ns


def test_a_kept_picture_that_came_to_harm_is_mended_from_the_journal(journal: Journal, target: Path) -> None:
    photo = with_photo(journal)
    made = backup(journal.folder, target, NOW)
    spoil(target / "photos" / photo.file)
    assert "is not as it was kept" in verify(made.folder).problems[0]
    backup(journal.folder, target, NOW + DAY)
    assert verify(made.folder).good


@pytest.mark.parametrize("harm", [spoil, Path.unlink])
def test_a_picture_that_the_journal_lost_is_still_in_the_backups(journal: Journal, target: Path, harm) -> None:
    photo = with_photo(journal)
    backup(journal.folder, target, NOW)
    harm(journal.folder / "photos" / photo.file)
    made = backup(journal.folder, target, NOW + DAY)
    assert made.wanting == ()
    backups.restore(made.folder, journal.folder, NOW, replace=True)
    assert verify_journal(journal.folder).good


def test_a_picture_that_nobody_has_is_said(journal: Journal, target: Path) -> None:
    photo = with_photo(journal)
    (journal.folder / "photos" / photo.file).unlink()
    made = backup(journal.folder, target, NOW)
    assert [file for file, _ in made.wanting] == [photo.file]
    found = verify(made.folder)
    assert found.good  # it is as it was made
    assert "is missing" in found.notes[0]


def test_an_entry_cannot_name_a_file_elsewhere(journal: Journal, target: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("kept private")
    entry = one_of_each()[5]
    assert isinstance(entry, Photo)
    journal.add([replace(entry, file="../../secret", sha256="0" * 64)])
    made = backup(journal.folder, target, NOW)
    assert made.pictures == ()
    assert "can be none of the journal's" in made.wanting[0][1]
    assert list((target / "photos").iterdir()) == []


def test_what_a_sudden_end_left_is_cleaned_up(journal: Journal, target: Path) -> None:
    with_photo(journal)
    (target / "photos").mkdir(parents=True)
    (target / ".000001-2026-01-01T000000Z.part").mkdir()
    (target / ".000001-2026-01-01T000000Z.part" / "journal.sqlite").write_bytes(b"half")
    (target / "photos" / ".x.jpg.1.part").write_bytes(b"half")
    made = backup(journal.folder, target, NOW)
    assert made.number == 1
    assert list(target.glob("**/*.part")) == []


def test_a_backup_that_fails_leaves_nothing(journal: Journal, target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_photo(journal)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups, "write_whole", fail)
    with pytest.raises(JournalError, match="is full"):
        backup(journal.folder, target, NOW)
    assert folders(target) == []
    assert list(target.glob("**/*.part")) == []


def test_a_damaged_journal_gives_no_backup_and_harms_none(journal: Journal, target: Path) -> None:
    journal.add([reading(f"r{number}") for number in range(200)])
    made = backup(journal.folder, target, NOW)
    journal.close()
    data = bytearray(journal.path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 4000] = bytes(4000)
    journal.path.write_bytes(data)
    with pytest.raises(DamagedJournal, match=r"trial/journal\.sqlite is damaged"):
        backup(journal.folder, target, NOW + DAY)
    assert folders(target) == [made.folder]
    assert verify(made.folder).good


def test_no_journal_no_backup(tmp_path: Path, target: Path) -> None:
    with pytest.raises(NoJournal):
        backup(tmp_path, target, NOW)
    assert not target.exists()


@pytest.mark.parametrize("place", [".", "backups", ".."])
def test_backups_lie_apart_from_the_journal(journal: Journal, place: str) -> None:
    with pytest.raises(WithinEachOther):
        backup(journal.folder, journal.folder / place, NOW)


def test_two_journals_do_not_share_a_folder(journal: Journal, target: Path, tmp_path: Path) -> None:
    backup(journal.folder, target, NOW)
    with Journal.create(tmp_path / "other") as other:
        other.add_bin(make_bin("south", 2))
    with pytest.raises(BackupsOfAnother):
        backup(tmp_path / "other", target, NOW)


def test_two_backups_at_once_wait_for_each_other(
    journal: Journal, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(manifest, "PATIENCE_S", 0)
    target.mkdir()
    with manifest.alone(target), pytest.raises(BackupBusy):
        backup(journal.folder, target, NOW)
    backup(journal.folder, target, NOW)


# --- verifying --------------------------------------------------------------------------------------


def test_each_harm_to_a_backup_is_said(journal: Journal, target: Path) -> None:
    photo = with_photo(journal)
    made = backup(journal.folder, target, NOW).folder
    whole = target.parent / "whole"
    shutil.copytree(target, whole)

    def after(harm: str) -> str:
        shutil.rmtree(target)
        shutil.copytree(whole, target)
        told = json.loads((made / MANIFEST).read_text())
        match harm:
            case "no manifest":
                (made / MANIFEST).unlink()
            case "manifest":
                (made / MANIFEST).write_text("{")
            case "rows":
                told["rows"]["photos"] = 7
            case "layout":
                told["schema"] = "0000"
            case "untold picture":
                told["photos"] = []
            case "path":
                told["photos"][0]["file"] = "../x.jpg"
            case "number":
                told["number"] = 9
            case "database":
                spoil(made / "journal.sqlite")
            case "no database":
                (made / "journal.sqlite").unlink()
            case "picture":
                (target / "photos" / photo.file).unlink()
        if (made / MANIFEST).exists() and harm != "manifest":
            (made / MANIFEST).write_text(json.dumps(told))
        return " ".join(verify(made).problems)

    assert after("nothing") == ""
    assert "has no manifest.json" in after("no manifest")
    assert "cannot be read" in after("manifest")
    assert "There are 1 rows of photos, and the manifest says 7." in after("rows")
    assert "the manifest says 0000" in after("layout")
    assert "of which the backup does not tell" in after("untold picture")
    assert "cannot be read" in after("path")
    assert "is that of backup 9" in after("number")
    assert "its bytes are others" in after("database")
    assert "is missing" in after("no database")
    assert "is missing" in after("picture")


def test_a_journal_is_verified_with_its_pictures(journal: Journal) -> None:
    photo, lost = with_photo(journal), with_photo(journal, "two")
    assert verify_journal(journal.folder).good
    photos = journal.folder / "photos"
    (photos / f"{photo.sha256}.w200.jpg").write_bytes(b"made smaller by the pages")
    (photos / f".{photo.file}.77.part").write_bytes(b"half")
    (photos / "holiday.jpg").write_bytes(b"someone put it there")
    found = verify_journal(journal.folder)
    assert found.good
    assert found.pictures == 2
    assert [note.split(" ")[0] for note in found.notes] == [f".{photo.file}.77.part", "holiday.jpg"]
    spoil(photos / photo.file)
    (photos / lost.file).unlink()
    problems = verify_journal(journal.folder).problems
    assert len(problems) == 2
    assert "its bytes are others" in problems[0] + problems[1]
    assert "is missing" in problems[0] + problems[1]


# --- restoring --------------------------------------------------------------------------------------


def test_a_restored_journal_is_the_one_that_was(journal: Journal, target: Path, tmp_path: Path) -> None:
    photo = with_photo(journal)
    made = backup(journal.folder, target, NOW)
    done = backups.restore(made.folder, tmp_path / "again", NOW)
    assert (done.backup, done.earlier, done.aside) == (made, None, None)
    with closing(sqlite3.connect(tmp_path / "again" / "journal.sqlite")) as file:  # before anyone opened it
        assert file.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    with Journal.open(tmp_path / "again") as again:
        assert dump(again) == dump(journal)
        assert again.entries() == (photo,)
    assert verify_journal(tmp_path / "again").good


def test_a_journal_that_stands_is_not_replaced_unasked(journal: Journal, target: Path) -> None:
    made = backup(journal.folder, target, NOW)
    journal.add([reading()])
    before = dump(journal)
    with pytest.raises(JournalExists):
        backups.restore(made.folder, journal.folder, NOW)
    assert dump(journal) == before


def test_what_is_replaced_is_first_made_a_backup_of(journal: Journal, target: Path) -> None:
    made = backup(journal.folder, target, NOW)
    journal.add([reading()])
    done = backups.restore(made.folder, journal.folder, NOW + DAY, replace=True)
    assert done.earlier is not None
    assert done.earlier.rows["readings"] == 1
    assert journal.entries() == ()  # in a journal that was open all the while
    backups.restore(done.earlier.folder, journal.folder, NOW + 2 * DAY, replace=True)
    assert journal.entries() == (reading(),)
    journal.add([reading("r2")])
    journal.check()


def test_nothing_is_stored_between_the_last_backup_and_the_replacing(
    journal: Journal, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = backup(journal.folder, target, NOW)
    real, tried = backups.backup, []

    def busy_meanwhile(*args: object) -> Backup:
        saved = real(*args)  # type: ignore[arg-type]
        with closing(sqlite3.connect(journal.path, timeout=0, isolation_level=None)) as other:
            try:
                other.execute("INSERT INTO plans VALUES ('late', 'entry', 'h', '2026-01-01T00:00:00+00:00')")
            except sqlite3.OperationalError as error:
                tried.append(str(error))
        return saved

    monkeypatch.setattr(backups, "backup", busy_meanwhile)
    backups.restore(made.folder, journal.folder, NOW + DAY, replace=True)
    assert tried == ["database is locked"]


def test_a_journal_made_meanwhile_is_not_replaced(
    journal: Journal, target: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = backup(journal.folder, target, NOW)
    real = manifest.sha256_of

    def meanwhile(path: Path) -> str:
        Journal.create(tmp_path / "again").close()
        return real(path)

    monkeypatch.setattr("underlid.journal.restore.sha256_of", meanwhile)
    with pytest.raises(JournalExists):
        backups.restore(made.folder, tmp_path / "again", NOW)
    with Journal.open(tmp_path / "again") as again:
        assert again.bins() == ()


def test_a_creation_that_was_cut_off_is_no_journal(journal: Journal, target: Path, tmp_path: Path) -> None:
    made = backup(journal.folder, target, NOW)
    (tmp_path / "again").mkdir()
    with closing(sqlite3.connect(tmp_path / "again" / "journal.sqlite")) as file:
        file.execute("PRAGMA journal_mode = WAL").close()
    backups.restore(made.folder, tmp_path / "again", NOW)
    assert said(tmp_path / "again" / "journal.sqlite") == dump(journal)


def test_a_damaged_journal_is_set_aside_as_it_was(journal: Journal, target: Path) -> None:
    journal.add([reading()])
    made = backup(journal.folder, target, NOW)
    journal.close()
    journal.path.write_bytes(b"no database at all")
    with pytest.raises(JournalExists):
        backups.restore(made.folder, journal.folder, NOW)
    done = backups.restore(made.folder, journal.folder, NOW, replace=True)
    assert done.earlier is None
    assert done.aside is not None
    assert (done.aside / "journal.sqlite").read_bytes() == b"no database at all"
    with Journal.open(journal.folder) as again:
        assert again.entries() == (reading(),)


def test_a_damaged_backup_is_not_restored(journal: Journal, target: Path, tmp_path: Path) -> None:
    made = backup(journal.folder, target, NOW)
    spoil(made.folder / "journal.sqlite")
    with pytest.raises(DamagedBackup):
        backups.restore(made.folder, tmp_path / "again", NOW)
    assert not (tmp_path / "again").exists()
    before = dump(journal)
    with pytest.raises(DamagedBackup):
        backups.restore(made.folder, journal.folder, NOW, replace=True)
    assert dump(journal) == before


def test_a_log_that_lost_its_journal_is_not_mixed_into_another(journal: Journal, target: Path, tmp_path: Path) -> None:
    made = backup(journal.folder, target, NOW)
    (tmp_path / "again").mkdir()
    (tmp_path / "again" / "journal.sqlite-wal").write_bytes(b"entries, perhaps")
    with pytest.raises(LogWithoutJournal):
        backups.restore(made.folder, tmp_path / "again", NOW)


def test_another_file_under_a_pictures_name_is_set_aside(journal: Journal, target: Path, tmp_path: Path) -> None:
    photo = with_photo(journal)
    made = backup(journal.folder, target, NOW)
    place = tmp_path / "again" / "photos" / photo.file
    place.parent.mkdir(parents=True)
    place.write_bytes(b"something else")
    backups.restore(made.folder, tmp_path / "again", NOW)
    assert verify_journal(tmp_path / "again").good
    assert [each.read_bytes() for each in place.parent.glob("*.aside")] == [b"something else"]


def test_a_backup_by_a_newer_underlid_is_told(journal: Journal, target: Path, tmp_path: Path) -> None:
    journal.close()
    with closing(sqlite3.connect(journal.path)) as file, file:
        file.execute("UPDATE alembic_version SET version_num = '9999'")
    made = backup(journal.folder, target, NOW)
    with pytest.raises(NewerJournal):
        backups.restore(made.folder, tmp_path / "again", NOW)


def test_a_journal_that_is_written_all_the_time_is_not_waited_for_for_ever(
    journal: Journal, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = backup(journal.folder, target, NOW)
    monkeypatch.setattr(copied, "PATIENCE_S", 0)
    with closing(sqlite3.connect(journal.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalBusy):
            backups.restore(made.folder, journal.folder, NOW, replace=True)
    journal.check()


@pytest.mark.parametrize("place", ["", "one"])
def test_a_backup_is_not_restored_into_the_backups(journal: Journal, target: Path, place: str) -> None:
    made = backup(journal.folder, target, NOW)
    with pytest.raises(WithinEachOther):
        backups.restore(made.folder, made.folder if place else target, NOW)


# --- rotation ---------------------------------------------------------------------------------------


def at(number: int, day: datetime) -> Backup:
    return Backup(Path(f"{number:06}"), number, day, "0002", {}, "", 0, ())


def test_seven_days_four_weeks_and_twelve_months_are_kept() -> None:
    start = datetime(2024, 1, 1, 20, tzinfo=NOW.tzinfo)  # a Monday
    kept = chosen([at(number, start + number * DAY) for number in range(731)], Keep())
    days = sorted({(start + number * DAY).date().isoformat() for number in kept}, reverse=True)
    assert days == [
        *(f"2025-12-{day}" for day in (31, 30, 29, 28, 27, 26, 25)), "2025-12-21", "2025-12-14", "2025-11-30",
        "2025-10-31", "2025-09-30", "2025-08-31", "2025-07-31", "2025-06-30", "2025-05-31", "2025-04-30",
        "2025-03-31", "2025-02-28", "2025-01-31",
    ]  # fmt: skip


@given(st.lists(st.integers(0, 400), min_size=1, max_size=60), st.integers(1, 7), st.integers(0, 4), st.integers(0, 12))
@settings(max_examples=50, deadline=None)
def test_the_last_made_is_kept_and_no_more_than_asked(
    days: list[int], daily: int, weekly: int, monthly: int
) -> None:  # fmt: skip
    made = [at(number, NOW + day * DAY) for number, day in enumerate(days)]
    kept = chosen(made, Keep(daily, weekly, monthly))
    assert len(days) - 1 in kept
    assert len(kept) <= daily + weekly + monthly
    assert len({days[number] for number in kept}) >= min(daily, len(set(days)))


def test_rotation_removes_what_newer_ones_hold(journal: Journal, target: Path) -> None:
    for day in range(4):
        journal.add([reading(f"r{day}")])
        backup(journal.folder, target, NOW + day * DAY)
    done = rotate(target, Keep(2, 0, 0))
    assert [read_manifest(each).rows["readings"] for each in folders(target)] == [3, 4]
    assert len(done.removed) == 2
    assert done.notes == ()
    assert all(verify(each).good for each in folders(target))


def test_a_clock_set_back_removes_nothing_that_is_dated_later(journal: Journal, target: Path) -> None:
    later = [backup(journal.folder, target, NOW + day * DAY).folder for day in range(3)]
    backup(journal.folder, target, NOW - 400 * DAY)
    for day in range(9):
        last = backup(journal.folder, target, NOW - (399 - day) * DAY)
        notes = rotate(target, Keep(1, 0, 0)).notes
    assert folders(target) == [*later, last.folder]
    assert "3 backups are dated after the newest one" in notes[0]


def test_a_backup_that_holds_more_than_the_newest_stays(journal: Journal, target: Path) -> None:
    empty = backup(journal.folder, target, NOW)
    journal.add([reading()])
    richer = backup(journal.folder, target, NOW + DAY)
    backups.restore(empty.folder, journal.folder, NOW + 2 * DAY, replace=True)
    for day in range(3, 6):
        backup(journal.folder, target, NOW + day * DAY)
        done = rotate(target, Keep(1, 0, 0))
    assert richer.folder in folders(target)
    assert any("1 of its rows are not in the newest backup" in note for note in done.notes)
    assert empty.folder not in folders(target)


def test_the_newest_good_one_stays_when_newer_ones_are_bad(journal: Journal, target: Path) -> None:
    made = [backup(journal.folder, target, NOW + day * DAY) for day in range(4)]
    for bad in made[2:]:
        spoil(bad.folder / "journal.sqlite")
    done = rotate(target, Keep(1, 0, 0))
    assert folders(target) == [each.folder for each in made[1:]]
    assert sum("could not be verified" in note for note in done.notes) == 2
    folder, passed = newest_good(target)
    assert folder == made[1].folder
    assert len(passed) == 2


def test_a_picture_that_only_an_old_backup_has_keeps_it(journal: Journal, target: Path) -> None:
    picture = target.parent / "loose.jpg"
    picture.write_bytes(b"\xff\xd8\xffno entry yet")
    kept = add_photo(journal.folder, picture)
    old = backup(journal.folder, target, NOW)
    (journal.folder / "photos" / kept.file).unlink()
    backup(journal.folder, target, NOW + DAY)
    done = rotate(target, Keep(1, 0, 0))
    assert old.folder in folders(target)
    assert "1 of its pictures" in done.notes[0]


def test_automatic_backups_are_made_once_a_day(journal: Journal, target: Path) -> None:
    made = [automatic(journal.folder, target, NOW.replace(hour=hour)) for hour in (1, 9, 23)]
    assert [each is not None for each in made] == [True, False, False]
    assert automatic(journal.folder, target, NOW + DAY) is not None
    assert automatic(journal.folder, target, NOW - 30 * DAY) is not None  # a clock set back stops nothing
    assert automatic(journal.folder, target, NOW - 30 * DAY) is None
    assert len(folders(target)) == 3


def test_an_empty_folder_has_no_backup(tmp_path: Path) -> None:
    with pytest.raises(NoBackup):
        newest_good(tmp_path)
    assert rotate(tmp_path).removed == ()


# --- sentences --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "error",
    [NoBackup, DamagedBackup, BackupsOfAnother, OnAServer, WithinEachOther, BackupBusy, LogWithoutJournal],
    ids=lambda error: error.__name__,
)
def test_each_error_is_one_sentence_from_its_docstring(error: type[JournalError]) -> None:
    assert error.__doc__
    names = {name for _, name, _, _ in Formatter().parse(error.__doc__) if name}
    sentence = str(error(**dict.fromkeys(names, "x")))
    assert "\n" not in sentence
    assert "  " not in sentence


def test_a_place_that_cannot_be_written_is_said(journal: Journal, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(UnwritableFolder):
        backup(journal.folder, tmp_path / "file", NOW)
