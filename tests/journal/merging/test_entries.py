"""Bins and entries: known again by their ids, new ones taken, and what is in the way told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.journal.conftest import BOTH, Stores
from tests.journal.examples import (
    make_bin,
    one_of_each,
    reading,
)
from tests.journal.merging.examples import (
    LATER,
    SOUTH,
    bring,
    refuses,
)
from underlid.journal.merging import (
    BinNameTaken,
    Held,
    NothingToRename,
    NotTaken,
    OtherContent,
    TwoCorrections,
    compare,
)
from underlid.journal.store import Journal

STORES = BOTH


# --- bins -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["south, by the wall", "SOUTH, by the Wall"])
def test_a_bin_whose_name_is_taken_is_told_and_renamed(ours: Journal, theirs: Journal, name: str) -> None:
    ours.add_bin(make_bin(name, 7))
    theirs.add([reading("s", bin=SOUTH), reading("n")])
    skipped = refuses(ours, theirs, BinNameTaken, f"another bin is named '{name}'", f"{SOUTH}=another-{SOUTH}")
    assert skipped.left_out == (f"1 entry of bin '{SOUTH}', which does not come in.",)
    assert [entry.id for entry in ours.entries(superseded=True)] == ["n"]
    told = bring(ours, theirs, {SOUTH: "anna-south"})
    assert told.conflicts == ()
    assert ours.entries("anna-south") == (reading("s", bin="anna-south"),)
    assert replace(ours.bin("anna-south"), name=SOUTH) == make_bin(SOUTH, 2)


def test_a_renamed_bin_is_known_again_and_takes_what_it_has_grown(journal: Journal, there: Journal) -> None:
    journal.add_bin(make_bin(SOUTH, 7))
    there.add([reading("s", bin=SOUTH)])
    bring(journal, there, {SOUTH: "anna-south"})
    there.add([reading("s2", bin=SOUTH, corrects="s")])
    journal.add([reading("s3", bin="anna-south")])
    told = bring(journal, there)  # without saying its name again
    assert told.conflicts == ()
    assert told.called == {"north": "north", SOUTH: "anna-south"}
    assert {entry.id for entry in journal.entries("anna-south", superseded=True)} == {"s", "s2", "s3"}
    assert journal.entries(SOUTH) == ()
    other = bring(journal, there, {SOUTH: "yet another"})
    assert other.notes == (f"Bin '{SOUTH}' is here already, and keeps the name 'anna-south'.",)
    assert not other.comes


def test_a_new_name_that_is_taken_or_none_is_told(ours: Journal, theirs: Journal) -> None:
    refuses(ours, theirs, BinNameTaken, "cannot come in as 'North'", "named 'north'", rename={SOUTH: "North"})
    refuses(ours, theirs, NotTaken, "space at an end", rename={SOUTH: " x"})
    with pytest.raises(NothingToRename, match=r"no bin named 'sout'.*Bins here: north, south"):
        bring(ours, theirs, {"sout": "x"})


def test_two_bins_do_not_get_one_name(stores: Stores, theirs: Journal, tmp_path: Path) -> None:
    with stores.create(tmp_path / "empty") as into:
        skipped = refuses(into, theirs, BinNameTaken, "named 'north'", rename={SOUTH: "NORTH"})
        assert skipped.called == {"north": "north"}


def test_the_same_bin_described_otherwise_stays_as_it_is_here(stores: Stores, theirs: Journal, tmp_path: Path) -> None:
    with stores.create(tmp_path / "other") as into:
        into.add_bin(replace(make_bin(), siting="outdoors"))
        theirs.add([reading("s", bin=SOUTH), reading("n")])
        skipped = refuses(into, theirs, OtherContent, "Bin 'north' has the id bin-1", "differs in its siting")
        assert skipped.left_out == ("1 entry of bin 'north', which does not come in.",)
        assert into.bin("north").siting == "outdoors"
        assert [entry.id for entry in into.entries()] == ["s"]


def test_layers_with_an_id_that_is_taken_are_told(ours: Journal, theirs: Journal) -> None:
    ours.add_bin(replace(make_bin("third", 3), layers=make_bin(SOUTH, 2).layers))
    refuses(ours, theirs, NotTaken, f"a bedding layer of bin '{SOUTH}'")
    assert {one.name for one in ours.bins()} == {"north", "third"}


# --- entries ----------------------------------------------------------------------------------------


def test_one_id_with_two_contents_is_told_with_all_that_corrects_it(journal: Journal, there: Journal) -> None:
    journal.add([reading("r", words="7 C")])
    there.add([reading("r", words="8 C"), reading("r2", corrects="r"), reading("r3", corrects="r2"), reading("x")])
    skipped = refuses(journal, there, OtherContent, "Reading '8 C' of 2026-01-05 in bin 'north' has the id r", "words")
    assert [sentence.partition(" (id ")[2][:2] for sentence in skipped.left_out] == ["r2", "r3"]
    assert {entry.id for entry in journal.entries(superseded=True)} == {"r", "x"}


def test_an_id_of_another_kind_of_entry_is_told(ours: Journal, theirs: Journal) -> None:
    ours.add([reading("n1")])
    theirs.add([one for one in one_of_each() if one.id == "n1"])
    refuses(ours, theirs, OtherContent, "another kind of record")


def test_two_corrections_of_one_entry_are_told(ours: Journal, theirs: Journal) -> None:
    for each, own in ((ours, "mine"), (theirs, "yours")):
        each.add([reading("r"), reading(own, words=own, corrects="r")])
    theirs.add([reading("more", corrects="yours")])
    skipped = refuses(ours, theirs, TwoCorrections, "(id yours) corrects entry 'r'", "correct 'mine' here")
    assert len(skipped.left_out) == 1
    assert [entry.id for entry in ours.entries()] == ["mine"]


def test_a_moment_of_noting_is_no_difference(ours: Journal, theirs: Journal) -> None:
    ours.add([reading("r")])
    theirs.add([replace(reading("r"), noted_at=LATER)])
    assert bring(ours, theirs).conflicts == ()
    assert ours.entries() == (reading("r"),)


def test_two_bins_there_with_one_layer_are_told() -> None:
    east, west = make_bin("east", 5), replace(make_bin("west", 6), layers=make_bin("east", 5).layers)
    told = compare(Held(), Held(bins=[east, west]))
    assert told.comes.bins == [east]
    assert "a bedding layer of bin 'west'" in told.conflicts[0].sentence


def test_what_corrects_an_entry_that_stood_here_is_told(ours: Journal, theirs: Journal) -> None:
    for each in (ours, theirs):
        each.add([reading("r"), reading("q")])
    theirs.add([reading("r2", corrects="r"), reading("r3", corrects="r2")])
    told = bring(ours, theirs)
    assert told.notes == ("1 entry that comes in corrects one that stood here; the words of both stay.",)
    assert {entry.id for entry in ours.entries()} == {"q", "r3"}
