"""`underlid publish`: what a keeper sees of it, and what lies in the folder afterwards."""

import csv
import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.conftest import NOW, dump

AT = ("--now", NOW)
ARCHIVE = "darwin-core-archive.zip"


@pytest.fixture
def club(with_bin):
    """Two bins, with a reading, a count and a note in the first."""
    made = with_bin("new", "south, by the wall", "--size", "40 x 30 x 30 cm", "--timezone", "Europe/London", *AT)
    assert made.code == 0, made.err
    for line in ("5 Dec 20:00: middle 7-8 C", "16 Dec: sample 1 L: 3 adults, 2 cocoons", "20 Dec: Edith came by"):
        assert with_bin("log", "north", line, "--yes", *AT).code == 0
    return with_bin


@pytest.fixture
def keepers(club):
    """Ada is shown as A. of the hill and her bin's place to a tenth of a degree; Ben says nothing."""
    for name, more in (
        (
            "Ada",
            (
                "--role",
                "steward",
                "--shown-as",
                "A. of the hill",
                "--place",
                "52.123456,-1.345678",
                "--place-shown",
                "0.1 degree",
            ),
        ),
        ("Ben", ("--role", "keeper", "--bins", "south, by the wall")),
    ):
        assert club("keeper", name, *more, *AT).code == 0
    assert club("keeper", "Ada", "--bins", "north", *AT).code == 0
    return club


def rows(name, out="club"):
    text = Path(out, "data-package", f"{name}.csv").read_text("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def all_bytes(out="club"):
    return b"\n".join(path.read_bytes() for path in sorted(Path(out).rglob("*")) if path.is_file())


def flat(text):
    return " ".join(text.split())


def refused(result, *parts):
    assert result.code == 2, result.out + result.err
    assert result.out == ""
    assert "Traceback" not in result.err
    for part in parts:
        assert part in flat(result.err), result.err


def test_a_place_is_not_told_until_somebody_says_so(club):
    assert (
        club("keeper", "Ada", "--role", "steward", "--place", "52.123456,-1.345678", "--bins", "north", *AT).code == 0
    )
    told = flat(club("publish").out)
    assert "places of bins: 1 (as the keeper's settings say)" in told.partition("Withheld:")[2]
    assert b"52.1" not in all_bytes()


def test_it_writes_both_formats_and_says_what_is_shared_and_what_is_withheld(keepers):
    before = dump()
    made = keepers("publish", "--licence", "cc-by-4.0", "--title", "Bins of the hill")
    assert made.code == 0, made.err
    said = flat(made.out)
    assert "Shared:" in said
    assert "bins: 2" in said
    assert "places of bins: 1 (to a cell of 0.1 degree, as the keeper's settings say)" in said
    assert "bins whose keeper is not named: 1 (the keeper gave none to be shown)" in said
    assert "notes: 1 (words may name people and places)" in said
    assert "none is a wild occurrence" in said
    assert "have the word of each of them" in said
    assert {path.name for path in Path("club").iterdir()} == {ARCHIVE, "data-package", "README.txt"}
    assert {row["recordedBy"] for row in rows("occurrences")} == {"A. of the hill"}
    told = all_bytes().replace(b"northBoundingCoordinate", b"")  # a word of the standard, and no bin
    for private in (b"52.1234", b"1.3456", b"Edith", b"Ada", b"north", b"by the wall", b"Europe/London"):
        assert private not in told, private
    assert dump() == before


def test_a_new_keeper_does_not_sign_what_the_earlier_one_noted(keepers):
    assert keepers("keeper", "Ben", "--shown-as", "B.", "--bins", "north", "--now", "2026-02-05 20:00").code == 0
    said = flat(keepers("publish").out)
    assert "names of who noted bins and entries" in said.partition("Withheld:")[2]
    assert {row["recordedBy"] for row in rows("occurrences")} == {""}


def test_a_journal_without_keepers_tells_neither_place_nor_name_and_says_so(club):
    made = club("publish")
    assert made.code == 0, made.err
    assert "This journal names no keepers: no place, no name and no photo is told." in flat(made.out)
    assert "ask the keepers" in made.out
    assert {row["recordedBy"] for row in rows("occurrences")} == {""}
    assert {row["decimalLatitude"] for row in rows("events")} == {""}
    assert [row["eventDate"] for row in rows("events") if row["eventType"] == "Sample"] == ["2025-12-16"]


def test_the_same_journal_gives_the_same_bytes(keepers):
    assert keepers("publish").code == 0
    first = all_bytes()
    assert keepers("publish", "--out", "again").code == 0
    assert all_bytes("again") == first


def test_photos_are_listed_only_once_they_are_shared(keepers):
    Image.new("RGB", (40, 30), "brown").save("worms.jpg")
    assert keepers("photo", "north", "worms.jpg", *AT).code == 0
    told = keepers("publish", "--json").json
    assert {"what": "photos", "count": 1, "why": "private"} in told["withheld"]
    assert rows("photos") == []
    assert keepers("keeper", "Ada", "--photos", "shared", *AT).code == 0
    told = keepers("publish", "--json").json
    assert "photos" in {item["what"] for item in told["shared"]}
    assert len(rows("photos")) == 1


def test_bins_with_a_comma_in_their_name_can_be_chosen(keepers):
    assert keepers("publish", "--bins", "south, by the wall").code == 0
    assert [row["eventType"] for row in rows("events")] == ["Bin"]
    assert keepers("publish", "--bins", "north,south, by the wall").code == 2
    refused(keepers("publish", "--bins", "attic"), "attic", "north")
    refused(keepers("publish", "--bins", " , "), "--bins names no bin")


def test_words_are_told_when_they_are_asked_for_with_a_warning(keepers):
    made = keepers("publish", "--words")
    assert "read them before you pass it on" in flat(made.out)
    assert "Edith came by" in {row["fieldNotes"] for row in rows("events")}
    assert b"52.1234" not in all_bytes()


def test_one_format_can_be_chosen_and_what_lies_there_from_before_is_told_of(keepers):
    assert keepers("publish", "--format", "frictionless").code == 0
    assert not Path("club", ARCHIVE).exists()
    made = keepers("publish", "--format", "darwin-core")
    assert "data-package is from an earlier time" in flat(made.out)
    with zipfile.ZipFile(Path("club", ARCHIVE)) as packed:
        assert set(packed.namelist()) == {
            "meta.xml", "eml.xml", "event.txt", "occurrence.txt", "measurementorfact.txt",
        }  # fmt: skip
    assert "earlier time" not in keepers("publish", "--format", "frictionless,darwin-core").out


def test_as_of_leaves_out_what_came_later(keepers):
    later = keepers("log", "north", "1 Feb: sample 1 L: 9 adults", "--yes", "--now", "2026-02-10 12:00")
    assert later.code == 0, later.err
    keepers("publish")
    assert len([row for row in rows("events") if row["eventType"] == "Sample"]) == 2
    keepers("publish", "--as-of", "2026-02-05")
    assert len([row for row in rows("events") if row["eventType"] == "Sample"]) == 1
    refused(keepers("publish", "--as-of", "2020-01-01"), "had been entered in this journal by", "give a later --as-of")


@pytest.mark.parametrize(
    ("options", "parts"),
    [(("--licence", "mine"), ("no licence 'mine'", "CC0-1.0")), (("--format", "xlsx"), ("'xlsx'", "darwin-core")),
     (("--journal", "elsewhere"), ("elsewhere",))],
)  # fmt: skip
def test_what_cannot_be_done_is_said_and_nothing_is_written(club, options, parts):
    refused(club("publish", *options), *parts)
    assert not Path("club").exists()


def test_an_empty_journal_has_nothing_to_publish(underlid):
    from underlid.journal.store import Journal

    Journal.create("journal").close()
    refused(underlid("publish"), "no bin in this journal yet")
