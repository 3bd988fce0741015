"""Nothing lost, through the command line."""

import re
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import NOW, dump
from underlid.journal.place import shown, where

JPEG = b"\xff\xd8\xff"


def keep(underlid, *more):
    return underlid("backup", "--to", "kept", "--now", NOW, *more)


def spoil(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def test_a_backup_is_made_verified_and_restored(with_bin):
    Path("bin.jpg").write_bytes(JPEG)
    assert with_bin("photo", "north", "bin.jpg", "--now", NOW).code == 0
    made = keep(with_bin)
    assert made.code == 0, made.err
    assert "1 bin, 1 entry, 1 picture, read back and found whole" in made.out
    assert "on the same disk" in made.out
    assert with_bin("verify", "kept").code == 0
    before = dump()
    shutil.rmtree("journal")
    done = with_bin("restore", "kept", "--now", NOW)
    assert done.code == 0, done.err
    assert "holds the backup of 2026-02-03 21:00 again" in done.out
    assert dump() == before
    looked = with_bin("verify", "--json").json
    assert looked[0]["good"]
    assert looked[0]["photos"] == 1


def test_as_json(with_bin):
    told = keep(with_bin, "--json").json
    assert told["rows"]["bins"] == 1
    assert told["removed"] == []
    done = with_bin("restore", told["backup"], "--journal", "again", "--json").json
    assert done["journal"] == "again"
    assert done["earlier"] is None
    assert dump("again") == dump()
    assert with_bin("verify", "kept", "--json").json[0]["looked_at"] == told["backup"]


@pytest.mark.file_only  # of records on a server nothing is replaced
def test_a_journal_that_stands_makes_way_only_when_asked(with_bin):
    keep(with_bin)
    with_bin("log", "north", "5 Dec: middle 7 C", "--yes", "--now", NOW)
    before = dump()
    refused = with_bin("restore", "kept")
    assert refused.code == 2
    assert "There is a journal in journal: with --replace" in refused.err
    assert dump() == before
    done = with_bin("restore", "kept", "--replace", "--now", NOW)
    assert re.search(r"What stood there before \(1 bin, \d+ entr.*, \d pictures?\) is kept as kept/000002-", done.out)
    assert dump() != before
    with_bin("restore", "kept/" + done.out.split("kept/")[1].split(".\n")[0], "--replace", "--now", NOW)
    assert dump() == before


def test_a_journal_with_its_records_on_a_server_is_not_replaced(with_bin):
    keep(with_bin)
    Path("club").mkdir()
    Path("club/journal.toml").write_text('url = "postgresql://keeper@db.example/worms"\n')
    for words in ((), ("--replace",)):
        refused = with_bin("restore", "kept", "--journal", "club", *words)
        assert refused.code == 2
        assert "The records of club are in postgresql://keeper@db.example/worms" in refused.err
        assert "restore it into another folder" in refused.err
    assert [each.name for each in Path("club").iterdir()] == ["journal.toml"]


def test_restored_from_a_server_it_is_a_file_and_the_way_back_is_told(with_bin):
    url = where(Path("journal"))
    made = keep(with_bin)
    assert with_bin("restore", "kept", "--journal", "again").code == 0
    assert Path("again/journal.sqlite").is_file()
    told = with_bin("restore", "kept", "--journal", "told")
    as_json = with_bin("restore", "kept", "--journal", "json", "--json").json
    if isinstance(url, Path):
        assert "same disk as the journal:" in made.out
        assert "underlid move" not in told.out
        assert as_json["records_in"] is None
        return
    assert "same disk as the pictures of the journal:" in made.out
    assert f"When the backup was made they were in {shown(url)};" in told.out
    assert "underlid move --to takes them into an empty database" in told.out
    assert as_json["records_in"] == shown(url)


def test_older_backups_go_when_newer_ones_hold_all_of_them(with_bin):
    for day in (1, 2, 3):
        last = with_bin(
            "backup", "--to", "kept", "--daily", 1, "--weekly", 0, "--monthly", 0, "--now", f"2026-02-0{day} 21:00"
        )
    assert "1 backup removed; newer ones hold all of it." in last.out
    assert len(list(Path("kept").glob("0*"))) == 1


def test_what_came_to_harm_is_said_with_exit_code_2(with_bin):
    Path("bin.jpg").write_bytes(JPEG)
    with_bin("photo", "north", "bin.jpg", "--now", NOW)
    keep(with_bin)
    for picture in Path("journal/photos").glob("*.jpg"):
        spoil(picture)
    looked = with_bin("verify")
    assert looked.code == 2
    assert "its bytes are others" in looked.out
    made = with_bin("backup", "--to", "kept", "--now", "2026-02-04 21:00")
    assert made.code == 0  # the first backup kept the picture whole
    spoil(next(Path("kept").glob("000002-*")) / "journal.sqlite")
    looked = with_bin("verify", "kept")
    assert looked.code == 2
    assert "all as written" in looked.out
    done = with_bin("restore", "kept", "--journal", "again", "--now", NOW)
    assert "000002-2026-02-04T210000Z is passed over" in done.out
    assert with_bin("verify", "--journal", "again").code == 0


def test_a_picture_that_nobody_has_is_said_when_the_backup_is_made(with_bin):
    Path("bin.jpg").write_bytes(JPEG)
    with_bin("photo", "north", "bin.jpg", "--now", NOW)
    for picture in Path("journal/photos").glob("*.jpg"):
        picture.unlink()
    made = keep(with_bin)
    assert made.code == 2
    assert "is missing" in made.out
    assert with_bin("verify", "kept").code == 0
    assert "When the backup was made: The picture" in with_bin("restore", "kept", "--journal", "again").out


def test_wrong_names_are_said(underlid):
    for words, sentence in (
        (("backup", "--to", "kept"), "There is no journal in journal"),
        (("restore", "kept"), "There is no backup in kept"),
        (("verify", "kept"), "There is no backup in kept"),
        (("verify",), "There is no journal in journal"),
    ):
        told = underlid(*words)
        assert told.code == 2
        assert sentence in told.err
    assert not Path("kept").exists()


def test_a_server_that_is_away_is_said(underlid):
    Path("journal").mkdir()
    Path("journal/journal.toml").write_text('url = "postgresql://keeper@127.0.0.1:9/worms"\n')
    for words in (("backup", "--to", "kept"), ("verify",)):
        told = underlid(*words)
        assert told.code == 2
        assert "postgresql://keeper@127.0.0.1:9/worms is not reached" in told.err
    assert not Path("kept").exists()
