"""A journal from elsewhere brought in from the command line: shown first, stored when that is wanted."""

import json
import shutil

import pytest
from PIL import Image

from tests.cli.conftest import NOW, dump
from tests.cli.test_keeper import flat
from tests.journal.examples import make_claims, make_plan
from underlid.journal.store import Journal

AT = ("--now", NOW)
ANNA = ("--journal", "anna")


@pytest.fixture
def anna(with_bin):
    """Beside the journal with the bin north, Anna's: a copy of it that grew, with the bin east and a photo there."""
    shutil.copytree("journal", "anna")
    assert with_bin("log", "north", "10 Jan: middle 6 C, edge 5 C; fed 300 g of scraps", "--yes", *ANNA, *AT).code == 0
    made = with_bin("new", "east", "--size", "40 x 30 x 30 cm", "--timezone", "Europe/London", *ANNA, *AT)
    assert made.code == 0, made.err
    Image.new("RGB", (40, 30), "brown").save("worms.jpg")
    assert with_bin("photo", "east", "worms.jpg", *ANNA, *AT).code == 0
    return with_bin


def answer(monkeypatch, words):
    monkeypatch.setattr("builtins.input", lambda _: words)


def test_what_comes_in_is_shown_and_stored_when_it_is_wanted(anna, monkeypatch):
    before, elsewhere = dump(), dump("anna")
    answer(monkeypatch, "n")
    told = anna("merge", "anna")
    assert told.code == 0, told.err
    assert "north, here already. New: 1 feeding, 2 readings." in told.out
    assert "east, a new bin. New: 1 photo." in told.out
    assert told.out.endswith("Nothing was stored.\n")
    assert dump() == before
    answer(monkeypatch, "y")
    assert anna("merge", "anna").out.endswith("Stored in journal.\n")
    with Journal.open("journal") as ours, Journal.open("anna") as theirs:
        assert ours.bins() == theirs.bins()
        assert ours.entries() == theirs.entries()
    assert anna("verify").code == 0  # the picture too
    assert dump("anna") == elsewhere
    stored = dump()
    again = anna("merge", "anna", "--yes")
    assert again.out.endswith("Nothing is new, so nothing was stored.\n")
    assert "here already: 1 feeding, 2 readings" in again.out
    assert dump() == stored


def test_as_json_nothing_is_asked_and_only_yes_stores(anna, monkeypatch):
    monkeypatch.setattr("builtins.input", lambda _: pytest.fail("asked"))
    before = dump()
    told = anna("merge", "anna", "--json").json
    assert dump() == before
    assert told["stored"] is False
    assert told["new"]["bins"] == ["east"]
    assert told["new"]["entries"] == {"east": {"photo": 1}, "north": {"feeding": 1, "reading": 2}}
    assert (told["here_already"]["bins"], told["here_already"]["entries"]) == (["north"], {})
    assert anna("merge", "anna", "--json", "--yes").json == {**told, "stored": True}
    assert dump() != before


def test_a_name_that_is_taken_is_refused_and_mended_by_another(anna):
    other = anna("new", "East", "--size", "30 x 30 x 30 cm", "--timezone", "Europe/London", *AT)
    assert other.code == 0, other.err
    before = dump()
    told = anna("merge", "anna", "--yes")
    assert told.code == 2
    assert "In the way: Bin 'east' cannot come in as 'east', since another bin is named 'East'" in flat(told.out)
    assert '--rename "east=another-east"' in flat(told.out)
    assert "Left out with it: 1 entry of bin 'east', which does not come in." in flat(told.out)
    assert told.out.endswith("Nothing was stored. Mend what is in the way, or leave it out.\n")
    refused = anna("merge", "anna", "--json", "--yes")
    assert refused.code == 2
    assert [(one["kind"], one["taken"]) for one in refused.json["conflicts"]] == [("BinNameTaken", "East")]
    assert dump() == before
    mended = anna("merge", "anna", "--yes", "--rename", "east=anna-east")
    assert mended.code == 0, mended.err
    assert "anna-east (“east” there), a new bin. New: 1 photo." in mended.out
    assert [each["kind"] for each in anna("entries", "anna-east", "--json").json] == ["Photo"]


def test_the_rest_comes_in_when_the_conflict_is_skipped(anna):
    assert anna("new", "East", "--size", "30 x 30 x 30 cm", "--timezone", "Europe/London", *AT).code == 0
    told = anna("merge", "anna", "--yes", "--skip-conflicts")
    assert told.code == 0
    assert told.out.endswith("Stored in journal.\n")
    assert len(anna("entries", "north", "--json").json) == 3
    assert anna("entries", "East", "--json").json == []


def test_a_keeper_who_is_here_gets_the_bins(anna):
    unknown = anna("merge", "anna", "--yes", "--keeper", "Anna")
    assert unknown.code == 2
    assert unknown.err.startswith("underlid: There is no keeper named 'Anna'.")
    for name, role in (("Ada", "steward"), ("Anna", "keeper")):
        assert anna("keeper", name, "--role", role, *AT).code == 0
    assert anna("keeper", "Ada", "--bins", "north", *AT).code == 0
    told = anna("merge", "anna", "--yes", "--keeper", "Anna", *AT)
    assert told.code == 0, told.err
    assert "Also new: 1 bin handed to its keeper." in told.out
    assert "Bin 'north' is kept by 'Ada' here, and that stays." in told.out
    with Journal.open("journal") as journal:
        assert journal.bin_keepers() == {"north": "Ada", "east": "Anna"}


def test_a_plan_or_claims_that_no_command_could_read_stay_out(anna):
    with Journal.open("anna") as theirs:
        theirs.register(make_plan(text=json.dumps({"arms": 1})))
        theirs.keep_claims(make_claims(text="[[["))
    told = anna("merge", "anna", "--yes", "--json")
    assert told.code == 2
    assert [one["what"] for one in told.json["conflicts"]] == ["Plan 'coffee'", "The own claims given on 2026-03-01"]
    assert anna("merge", "anna", "--yes", "--skip-conflicts").code == 0
    with Journal.open("journal") as journal:
        assert (journal.plans(), journal.own_claims()) == ((), ())
    assert anna("claim").code == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("nowhere",), "There is no journal in nowhere"),
        (("./journal",), "journal is this journal itself"),
        (("anna", "--rename", "east"), "'east' is not of the form OLD=NEW"),
        (("anna", "--rename", "=x"), "'=x' is not of the form OLD=NEW"),
        (("anna", "--rename", "east=a", "--rename", "east=b"), "“east” two names, “a” and “b”; give it one"),
        (("anna", "--rename", "aest=x"), "no bin named 'aest'. Did you mean 'east'?"),
        (("anna", "--journal", "elsewhere"), "There is no journal in elsewhere"),
    ],
)
def test_what_cannot_be_meant_is_refused(anna, words, sentence):
    before = dump()
    told = anna("merge", *words, "--yes")
    assert told.code == 2
    assert told.out == ""
    assert sentence in flat(told.err)
    assert "Traceback" not in told.err
    assert dump() == before


def test_words_from_elsewhere_do_not_move_the_cursor(anna):
    with Journal.open("anna") as theirs:
        theirs.register(make_plan("\x1b[2Jcoffee", text=json.dumps({"arms": 1})))
    told = anna("merge", "anna", "--yes")
    assert "coffee" in told.out
    assert "\x1b" not in told.out
