"""Whatever is wrong: one sentence, exit code 2, and the journal as it was."""

import os
from pathlib import Path

import pytest

from tests.cli.conftest import NOW, dump

NEW = ("new", "south", "--timezone", "Europe/London", "--now", NOW)
SIZE = ("--size", "40 x 30 x 30 cm")


def refused(result, *parts):
    assert result.code == 2, result.out + result.err
    assert result.err.startswith("underlid: ") or "No such option" in result.err or "Invalid value" in result.err
    assert "Traceback" not in result.err
    for part in parts:
        assert part in result.err, result.err


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("parse", "6x C"), ["^"]),
        (("parse", "-300 C"), ["273.15"]),
        (("parse", "31 Feb"), ["31"]),
        ((*NEW, "--size", "40 x 30 cm"), []),
        ((*NEW, "--size", "-40 x 30 x 30 cm"), []),
        ((*NEW, "--size", "40 x 30 x 30 m"), ["between 2 cm and 5 m"]),
        ((*NEW, *SIZE, "--bedding", "leaves 50 cm"), ["smaller bedding depth"]),
        ((*NEW, *SIZE, "--bedding", "gravel 5 cm"), ["gravel"]),
        ((*NEW, *SIZE, "--bedding", "leaves 5 kg"), ["kg"]),
        ((*NEW, *SIZE, "--siting", "balcony"), ["open shelter"]),
        ((*NEW, *SIZE, "--bedding", "5 in leaves"), ["begin with a material"]),
        ((*NEW, *SIZE, "--bedding", "leaves, 10 cm"), ["begin with a material"]),
        ((*NEW, *SIZE, "--moisture", "70 %"), ["--bedding"]),
        ((*NEW, *SIZE, "--wall-thickness", "3 m"), ["300 cm"]),
        (("outlook", "north", "--weather", "x.csv", "--seed", "-1"), ["--seed"]),
        ((*NEW, *SIZE, "--base", "moon"), ["slab"]),
        ((*NEW, *SIZE, "--wall", "gold"), ["polypropylene"]),
        ((*NEW, *SIZE, "--started", "18 Oct 2027"), ["future"]),
        ((*NEW, *SIZE, "--moisture", "170 %"), []),
        (("new", "south", *SIZE, "--timezone", "Mars/Olympus"), ["Mars/Olympus"]),
        (("new", "north", *SIZE, "--timezone", "Europe/London", "--now", NOW), ["north"]),
        (("new", " ", *SIZE, "--timezone", "Europe/London", "--now", NOW), []),
        (("log", "nroth", "middle 3 C", "--yes"), ["north"]),
        (("log", "north", "1 Jan 2024: middle 3 C", "--yes", "--now", NOW), []),
        (("log", "north", "23 Jan: middle 6x C", "--yes", "--now", NOW), []),
        (("log", "north", "5 Jan 2027: middle 3 C", "--yes", "--now", NOW), ["future"]),
        (("log", "north", "middle 3 C", "--yes", "--corrects", "no-such-id", "--now", NOW), ["no-such-id"]),
        (("log", "north", "middle 3 C, edge 2 C", "--yes", "--corrects", "x", "--now", NOW), ["one entry"]),
        (("container", "bucket", "10 C"), []),
        (("container", "kg", "2 L"), ["unit"]),
        (("import", "no-such.csv", "--bin", "north"), ["no-such.csv"]),
        (("import", "journal", "--bin", "north"), []),
        (("check", "nroth"), ["north"]),
        (("check", "--journal", "nowhere"), ["nowhere"]),
        (("outlook", "north", "--weather", "no-such.csv"), ["no-such.csv"]),
        (("outlook", "nroth", "--weather", "no-such.csv"), ["north"]),
        (("update", "north", "--weather", "no-such.csv", "--month", "January"), ["2026-01"]),
        (("parse", "6 C", "--now", "the day the music died"), []),
        (("export", "--out", "/proc/no/such.csv"), ["/proc"]),
        (("export", "--out", "."), ["folder"]),
        (("outlook", "north", "--weather", "."), ["cannot be read"]),
        (("outlook", "north", "--weather", "x.csv", "--fill-gaps", "-3"), ["--fill-gaps"]),
        (("check", "--weather", "x.csv", "--place", "here"), ["two numbers"]),
        (("check", "--weather", "x.csv", "--place", "91,0"), ["no place on Earth"]),
        (("new", "south", *SIZE, "--timezone", "Europe/London", "--journal", "/proc/nothing"), ["/proc"]),
    ],
)
def test_one_sentence_and_nothing_changed(with_bin, words, parts):
    before = dump()
    refused(with_bin(*words), *parts)
    assert dump() == before


def test_an_outlook_without_matching_weather_says_what_is_missing(with_bin, winter, tmp_path):
    rows = winter.read_text().splitlines()
    before = dump()
    late = tmp_path / "late.csv"
    late.write_text("\n".join([rows[0], *rows[-40:]]) + "\n")
    refused(with_bin("outlook", "north", "--weather", late, "--now", NOW), "starts earlier")
    early = tmp_path / "early.csv"
    early.write_text("\n".join(rows[:40]) + "\n")
    refused(with_bin("outlook", "north", "--weather", early, "--now", NOW), "north")
    holed = tmp_path / "holed.csv"
    holed.write_text("\n".join([*rows[:1500], *rows[1503:]]) + "\n")
    refused(with_bin("outlook", "north", "--weather", holed, "--now", NOW), "3 hours", "--fill-gaps")
    broken = tmp_path / "broken.csv"
    broken.write_text("\n".join([*rows[:1500], "2025-12-2", *rows[1501:]]) + "\n")
    refused(with_bin("outlook", "north", "--weather", broken, "--now", NOW), "broken.csv", "1501")
    back = tmp_path / "back.csv"
    back.write_text("\n".join([*rows[:1500], rows[500], *rows[1500:]]) + "\n")
    refused(with_bin("outlook", "north", "--weather", back, "--now", NOW), "back.csv")
    assert dump() == before


def test_nothing_ahead_without_weather_ahead(with_bin, winter):
    late = with_bin("outlook", "north", "--weather", winter, "--now", "2026-05-01")
    refused(late, "11 Feb 2026", "--past")
    past = with_bin("outlook", "north", "--weather", winter, "--until", "5 Jan 2026", "--now", NOW)
    refused(past, "before the present")


def test_a_month_that_the_weather_does_not_hold(with_bin, winter):
    result = with_bin("update", "north", "--weather", winter, "--month", "2025-03", "--now", NOW)
    refused(result, "2025")
    assert not list(Path().glob("*.html"))


@pytest.mark.parametrize("content", [b"", b"not a database", b"SQLite format 3\0" + os.urandom(4096)])
def test_a_damaged_journal_is_named_and_left_alone(underlid, tmp_path, content):
    (tmp_path / "journal").mkdir()
    path = tmp_path / "journal" / "journal.sqlite"
    path.write_bytes(content)
    refused(underlid("check"), "journal")
    assert path.read_bytes() == content


def test_a_fault_of_ours_is_not_dressed_up_as_the_keepers(underlid, monkeypatch):
    def broken(*args, **kwargs):
        raise ValueError("a bug")

    monkeypatch.setattr("underlid.quantity.parse_any", broken)
    with pytest.raises(ValueError, match="a bug"):
        underlid("parse", "6 C")
