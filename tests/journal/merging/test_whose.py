"""Keepers, bins and photos: a journal from elsewhere gives nobody a right to what stands here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.journal.conftest import BOTH
from tests.journal.examples import (
    NOW,
    hand,
    make_keeper,
    mark,
    reading,
)
from tests.journal.merging.examples import (
    LATER,
    SOUTH,
    bring,
    other_photo,
    photo,
    refuses,
    with_pictures,
)
from underlid.journal.errors import (
    UnknownKeeper,
)
from underlid.journal.merging import (
    KeeperNameTaken,
    NoStewardHere,
)
from underlid.journal.store import Journal

STORES = BOTH


# --- keepers ----------------------------------------------------------------------------------------


def test_keepers_come_as_keepers_and_settings_here_stay(journal: Journal, there: Journal) -> None:
    journal.keep_keeper(make_keeper("Cleo"))
    journal.keep_keeper(make_keeper("Ben", role="reader"))
    there.keep_keeper(make_keeper("Ada", "newer", LATER, photos="private"))
    there.keep_keeper(make_keeper("Ada", photos="shared"))
    there.keep_keeper(make_keeper("Ben", "other", role="keeper", photos="shared"))
    there.hand_bin(hand("north", "Ben"))
    there.hand_bin(hand(SOUTH, "Ada", "b2"))
    journal.hand_bin(hand("north", "Cleo", "c"))
    told = bring(journal, there)
    assert told.conflicts == ()
    assert set(told.notes) == {
        "Keeper 'Ada' is a steward there, and a keeper here.",
        "Keeper 'Ben' has other settings there: what is said here stays.",
        "Bin 'north' is kept by 'Cleo' here, and that stays.",
    }
    assert journal.keepers()["Ada"] == make_keeper("Ada", "newer", LATER, role="keeper")
    assert journal.keepers()["Ben"] == make_keeper("Ben", role="reader")
    assert journal.bin_keepers() == {"north": "Cleo", SOUTH: "Ada"}
    journal.check()
    again = bring(journal, there)
    assert not again.comes
    assert not any("steward" in note for note in again.notes)


def test_a_renamed_bin_stays_its_keepers(ours: Journal, theirs: Journal) -> None:
    ours.keep_keeper(make_keeper("Cleo"))
    theirs.keep_keeper(make_keeper())
    theirs.hand_bin(hand(SOUTH))
    assert bring(ours, theirs, {SOUTH: "anna-south"}).conflicts == ()
    assert ours.bin_keepers() == {"anna-south": "Ada"}


def test_keepers_need_a_steward_here(ours: Journal, theirs: Journal) -> None:
    theirs.keep_keeper(make_keeper())
    theirs.hand_bin(hand())
    theirs.add([reading("n")])
    skipped = refuses(ours, theirs, NoStewardHere, "(Ada)", "--role steward")
    assert skipped.left_out == ("Whose bin 'north' is, since keeper 'Ada' does not come in.",)
    assert (ours.keepers(), ours.bin_keepers()) == ({}, {})
    assert ours.entries() == (reading("n"),)


def test_a_keeper_in_other_capitals_is_told(ours: Journal, theirs: Journal) -> None:
    ours.keep_keeper(make_keeper("ada"))
    theirs.keep_keeper(make_keeper("Ada"))
    theirs.hand_bin(hand())
    skipped = refuses(ours, theirs, KeeperNameTaken, "'Ada'", "named 'ada'", "--keeper")
    assert len(skipped.left_out) == 1
    assert list(ours.keepers()) == ["ada"]


def test_bins_are_handed_to_one_who_is_here(ours: Journal, theirs: Journal) -> None:
    theirs.keep_keeper(make_keeper("Ben"))
    theirs.hand_bin(hand(SOUTH, "Ben"))
    with pytest.raises(UnknownKeeper, match="'Ada'"):
        bring(ours, theirs, hand_to=("Ada", NOW))
    ours.keep_keeper(make_keeper("Ada"))
    ours.keep_keeper(make_keeper("Cleo"))
    ours.hand_bin(hand("north", "Cleo", "c"))
    told = bring(ours, theirs, {SOUTH: "anna-south"}, hand_to=("Ada", NOW))
    assert told.conflicts == ()
    assert ours.bin_keepers() == {"anna-south": "Ada", "north": "Cleo"}
    assert list(ours.keepers()) == ["Ada", "Cleo"]
    assert "Keepers there (Ben) stay out" in told.notes[0]
    assert told.notes[1] == "Bin 'north' is kept by 'Cleo' here, and that stays."
    assert not bring(ours, theirs, hand_to=("Ada", LATER)).comes


def test_bins_of_nobody_are_told_where_there_are_keepers(ours: Journal, theirs: Journal) -> None:
    assert bring(ours, theirs, dry_run=True).notes == ()
    ours.keep_keeper(make_keeper("Ada"))
    told = bring(ours, theirs)
    assert told.notes == (
        f"Nobody's in particular: 'north', '{SOUTH}'; `underlid keeper NAME --bins` hands bins over.",
    )


@pytest.mark.parametrize("hand_to", [None, ("Ada", LATER)])
def test_a_bin_that_is_here_and_nobodys_stays_nobodys(ours: Journal, theirs: Journal, hand_to: Any) -> None:
    """Handed to one who shows photos, its photos would be shown, and that keeper could enter in it."""
    ours.keep_keeper(make_keeper("Ada", photos="shared"))
    ours.add([photo()])
    theirs.keep_keeper(make_keeper("Mallory", photos="shared"))
    theirs.hand_bin(hand("north", "Mallory"))
    told = bring(ours, theirs, hand_to=hand_to)
    assert "north" not in ours.bin_keepers()
    assert any("Nobody's in particular: 'north'" in note for note in told.notes)


# --- shown ------------------------------------------------------------------------------------------


def test_what_is_private_here_is_not_shared_by_a_merge_and_the_other_way_round(ours: Journal, theirs: Journal) -> None:
    for each in (ours, theirs):
        each.add([photo(id) if id in "p" else other_photo(id) for id in "pqst"])
    with_pictures(theirs, "pqstx")
    theirs.add([other_photo("x")])
    ours.show_photo(mark("private", "p", "m1"))
    ours.show_photo(mark("shared", "q", "m2"))
    theirs.show_photo(mark("shared", "p", "y1", LATER))
    theirs.show_photo(mark("private", "q", "y2", LATER))
    theirs.show_photo(mark("shared", "s", "y3", LATER))
    theirs.show_photo(mark("shared", "x", "y5", LATER))
    ours.show_photo(mark("shared", "t", "m4", LATER))
    theirs.show_photo(mark("private", "t", "y4"))
    told = bring(ours, theirs)
    assert ours.photos_shown() == {"p": "private", "q": "private", "t": "shared", "x": "shared"}
    assert set(told.notes) == {
        "Photo 'p' is shared there and private here, and that stays.",
        "Photo 's' is shared there and private here, and that stays.",
        "Photo 'q' was made private there since: it is so here too.",
    }
    assert not bring(ours, theirs).comes


def test_a_picture_that_is_private_here_is_not_shared_under_another_entry(ours: Journal, theirs: Journal) -> None:
    """Whether a picture is shown goes by its bytes, so one shared entry would show them."""
    ours.add([photo("mine")])
    theirs.add([photo("p"), replace(other_photo("c"), corrects="p")])
    with_pictures(theirs, "c")
    theirs.show_photo(mark("shared", "p", "y1"))
    told = bring(ours, theirs)
    assert ours.photos_shown() == {}
    assert told.notes == ("Photo 'p' is shared there and private here, and that stays.",)


@pytest.mark.parametrize("hand_to", [None, ("Ben", LATER)])
def test_a_photo_that_is_private_there_is_so_here_whatever_its_keeper_shows(
    ours: Journal, theirs: Journal, hand_to: Any
) -> None:
    ours.keep_keeper(make_keeper("Cleo"))
    ours.keep_keeper(make_keeper("Ben", role="keeper", photos="shared"))
    theirs.keep_keeper(make_keeper("Ben", "other"))
    theirs.hand_bin(hand(SOUTH, "Ben"))
    theirs.add([replace(other_photo(id), bin=SOUTH) for id in "xy"])
    with_pictures(theirs, "xy")
    theirs.show_photo(mark("shared", "x", "y1"))
    told = bring(ours, theirs, hand_to=hand_to)
    assert ours.bin_keepers() == {SOUTH: "Ben"}
    assert ours.photos_shown() == {"x": "shared", "y": "private"}
    assert "1 photo that comes in is private and stays so" in told.notes[-1], told.notes
    assert not bring(ours, theirs, hand_to=hand_to).comes
    ours.show_photo(mark("shared", "y", "m", ours.just_after(NOW)))  # by whoever may, afterwards
    assert ours.photos_shown()["y"] == "shared"
    assert not bring(ours, theirs, hand_to=hand_to).comes


def test_where_nobody_was_named_the_keeper_here_says_what_is_shown(ours: Journal, theirs: Journal) -> None:
    ours.keep_keeper(make_keeper("Ada", photos="shared"))
    ours.add([other_photo("w")])  # of a bin of nobody, so private
    theirs.add([replace(other_photo(id), bin=SOUTH) for id in "xv"])
    theirs.add([replace(other_photo("w"), id="w2", bin=SOUTH)])
    with_pictures(theirs, "xvw")
    theirs.show_photo(mark("private", "v", "y1"))
    bring(ours, theirs, hand_to=("Ada", LATER))
    assert ours.photos_shown() == {"v": "private", "w2": "private"}
