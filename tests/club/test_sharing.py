"""What may leave a journal: by what its keepers say of themselves, and nothing where nobody said anything."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.club.sample import BINS, ENTRIES, HILL, KEEPERS, LATER, QUIET, WHOSE, exactly, photo, sample, shared
from tests.journal.examples import NOW, hand, make_bin, make_keeper, reading
from underlid.club.events import events
from underlid.club.measurements import measurements
from underlid.club.metadata import eml
from underlid.club.names import public_id
from underlid.club.occurrences import occurrences
from underlid.club.package import photos
from underlid.club.telling import About
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import Note, Photo, Reading


def label_of(found, number):
    return next(each.keeper for each in found.bins if each.number == number)


def items(account):
    return {(item.what, item.why): item.count for item in account}


def test_a_keeper_is_called_by_the_name_they_chose_or_by_the_number_of_their_first_bin():
    found = shared()
    assert [(each.number, each.keeper, each.named) for each in found.bins] == [
        (1, HILL.shown_as, True), (2, "keeper 2", False), (3, "", False),
    ]  # fmt: skip


def test_a_number_stays_whoever_else_comes_is_named_or_is_left_out():
    assert label_of(shared(keepers=KEEPERS | {"Ada": replace(HILL, shown_as="")}), 2) == "keeper 2"
    assert label_of(shared(chosen={"south"}), 2) == "keeper 2"
    earlier = replace(make_bin("attic", 0), started=make_bin().started, noted_at=LATER)
    grown = shared((earlier, *BINS), whose=WHOSE | {"attic": "Cy"}, keepers=KEEPERS | {"Cy": make_keeper("Cy")})
    assert label_of(grown, 2) == "keeper 2"
    assert label_of(grown, 4) == "keeper 4"


def test_what_was_noted_when_the_bin_was_anothers_is_signed_by_nobody():
    """Darwin Core (TDWG) asks in recordedBy for whoever made the record, not for whose the bin is by now."""
    bins = (replace(make_bin("north", 1), noted_at=NOW), replace(make_bin("south", 2), noted_at=NOW))
    entries = (
        sample("old", ("adult", exactly(3)), noted_at=NOW),
        sample("new", ("adult", exactly(4)), noted_at=LATER),
        sample("undated", ("adult", exactly(5))),
    )
    found = shared(bins, entries, taken_over={"south": LATER})
    by = {row["organismQuantity"]: row["recordedBy"] for row in occurrences(found).rows}
    assert by == {"3": "", "4": "keeper 2", "5": "keeper 2"}
    told = [(row["eventID"], row["measurementDeterminedBy"]) for row in measurements(found).rows]
    assert {who for id, who in told if id == found.bins[0].id} == {HILL.shown_as}
    assert {who for id, who in told if id == found.bins[1].id} == {""}
    assert {who for id, who in told if id == public_id("old")} == {""}
    assert {who for id, who in told if id == public_id("new")} == {"keeper 2"}
    withheld = items(found.account.withheld)
    assert withheld["names of who noted bins and entries", "noted when the bin was another keeper's"] == 2


def test_what_was_noted_when_the_bin_was_anothers_has_no_place_and_no_offset_and_says_so():
    bins = (replace(make_bin("north", 1), noted_at=NOW), replace(make_bin("south", 2), noted_at=NOW))
    at = VagueTime(NOW, NOW + timedelta(minutes=5), "about", "")
    old = replace(reading("old"), when=at, noted_at=NOW)
    new = replace(reading("new"), when=at, noted_at=LATER)
    marked = replace(photo("p9", "north", "cafe"), when=at, noted_at=NOW)
    found = shared(bins, (old, new, marked), photos={"p9": "shared"}, taken_over={"north": LATER})
    rows = {row["eventID"]: row for row in events(found, "").rows}
    before = [rows[found.bins[0].id], rows[public_id("old")]]
    since = rows[public_id("new")]
    assert [row.get("decimalLatitude", "") for row in before] == ["", ""]
    assert since["decimalLatitude"] == "52.1"
    assert all("coordinateUncertaintyInMeters" not in row for row in before)
    assert {row["informationWithheld"] for row in before} == {
        "Withheld: place, keeper's name, words written freely."
    }  # fmt: skip
    assert since["informationWithheld"] == "Withheld: exact place, words written freely."
    offset = at.start.astimezone(found.bins[0].zone).isoformat()[-6:]
    assert offset in since["eventDate"]
    assert offset not in rows[public_id("old")]["eventDate"]
    (taken,) = photos(found).rows
    assert offset not in taken["taken"]
    assert items(found.account.withheld)["places of bins and entries", "noted when the bin was another keeper's"] == 2
    early = shared(bins, (old,), taken_over={"north": LATER})
    assert all("decimalLatitude" not in row for row in events(early, "").rows)
    assert b"geographicCoverage" not in eml(early, About(), "id"), "not one of its rows was at that place"
    assert b"geographicCoverage" in eml(found, About(), "id")


def test_a_photo_from_before_the_bin_was_its_keepers_is_private_unless_it_is_marked():
    old, new = photo("p8", "north", "aaaa"), photo("p9", "north", "bbbb")
    undated = photo("p7", "north", "cccc")
    again = replace(old, id="p10", corrects="p8", words="my kitchen", noted_at=LATER)
    entries = (replace(old, noted_at=NOW), replace(new, noted_at=LATER), undated, again)

    def told(**more):
        return {each.sha256 for each in shared(entries=entries, **more).photos}

    assert told() == {"aaaa", "bbbb", "cccc"}  # where no bin changed hands
    assert told(taken_over={"north": LATER}) == {"bbbb"}
    marks = {"p10": "shared", "p7": "shared", "p9": "private"}
    assert told(taken_over={"north": LATER}, photos=marks) == {"aaaa", "cccc"}


@pytest.mark.parametrize(
    ("id", "kept"),
    [("0b0f2f0c-5f5e-4d5b-9d39-6b7b0d7c2c11", True), ("c2a8e7f0-ea6c-11f1-87f7-02fc00000001", False), ("ada-1", False)],
)
def test_only_a_random_id_is_told_as_it_is(id, kept):
    """The second is of the first kind: its end is the number of a machine."""
    told = public_id(id)
    assert (id in told) is kept
    assert "02fc00000001" not in told
    assert told == public_id(id) != public_id(id, 0) != public_id(id, 1)


def test_places_are_told_as_their_keepers_say():
    first, second, third = shared().bins
    assert first.place is not None
    assert first.place.step == "0.1 degree"
    assert second.place is None
    assert third.place is None


def test_a_journal_without_keepers_tells_no_place_no_name_and_no_photo():
    found = shared(keepers={}, whose={})
    assert {(each.place, each.keeper) for each in found.bins} == {(None, "")}
    assert found.photos == ()
    withheld = items(found.account.withheld)
    told = "the journal names no keepers, so nobody has said that it may be told"
    assert withheld["places of bins", told] == withheld["bins whose keeper is not named", told] == 3


@pytest.mark.parametrize(
    ("marks", "ids"),
    [({}, ["p1"]), ({"p1": "private"}, []), ({"p2": "shared"}, ["p1", "p2"]), ({"p3": "shared"}, ["p1"])],
)
def test_photos_are_listed_by_their_keepers_setting_and_then_by_their_own_mark(marks, ids):
    """p1 is of a keeper who shares, p2 of one who does not, p3 of nobody's bin."""
    prints = {each.id: each.sha256 for each in ENTRIES if isinstance(each, Photo)}
    found = shared(photos=marks)
    assert [each.sha256 for each in found.photos] == [prints[id] for id in ids]
    assert {each.file for each in found.photos} <= {""}
    assert items(found.account.withheld)["photos", "private"] == 3 - len(ids)


def test_words_are_left_out_unless_asked_for():
    bare, wordy = shared(), shared(words=True)
    assert {each.words for each in bare.entries} == {""}
    assert not any(isinstance(each, Note) for each in bare.entries)
    assert {each.name for each in bare.bins} == {""}
    assert "6 or 7 C" in {each.words for each in wordy.entries}
    assert any(isinstance(each, Note) for each in wordy.entries)
    assert [each.name for each in wordy.bins] == ["north", "south", "garage"]
    assert "notes" in {item.what for item in bare.account.withheld}
    assert "notes" in {item.what for item in wordy.account.told}


def test_an_instrument_is_told_unless_a_name_stands_in_it():
    entries = (reading(), replace(reading("r2"), instrument="ADA's old probe"))
    found = shared(entries=entries)
    assert [each.instrument for each in found.entries if isinstance(each, Reading)] == ["kitchen probe", ""]
    assert items(found.account.withheld)["instruments", "the name of a keeper or a bin stands in them"] == 1
    assert "ADA's old probe" in {
        getattr(each, "instrument", "") for each in shared(entries=entries, words=True).entries
    }


@pytest.mark.parametrize("species", ["worms from Ada", "red ones", "Ada worms"])
def test_a_species_that_is_no_scientific_name_is_not_told(species):
    found = shared((replace(BINS[0], species=species),), ())
    assert found.bins[0].species == ""
    assert items(found.account.withheld)["species of bins", "not noted as a scientific name of two words"] == 1


def test_what_was_corrected_is_not_told_and_what_was_taken_back_says_nothing():
    better = replace(reading("r9"), corrects="r1", noted_at=LATER, amount=VagueAmount(1, 2, "degC", "between", "1-2"))
    gone = replace(better, amount=VagueAmount(-273.15, float("inf"), "degC", "not noted", "not noted"))
    assert [each.amount.low for each in shared(entries=(reading(), better)).entries] == [1]
    found = shared(entries=(reading(), gone))
    assert found.entries == ()
    assert items(found.account.withheld)["entries", "they say nothing, or were taken back"] == 1


def test_as_of_an_earlier_day_the_correction_was_not_there_yet():
    better = replace(reading("r9"), corrects="r1", noted_at=LATER, amount=VagueAmount(1, 2, "degC", "between", "1-2"))
    late = replace(make_bin("late", 9), noted_at=LATER)
    found = shared((*BINS, late), entries=(reading(), better, sample("c9", bin="late")), as_of=NOW)
    assert [each.amount.low for each in found.entries] == [6]
    assert [each.number for each in found.bins] == [1, 2, 3]
    assert found.until == NOW


def test_only_the_bins_that_were_chosen_are_shared():
    found = shared(chosen={"south"})
    assert [each.number for each in found.bins] == [2]
    assert {each.bin for each in found.entries} == {found.bins[0].id}
    assert found.photos == ()


def test_what_is_told_and_what_is_not_is_all_there_is():
    """Every entry that stands is counted once, shared or withheld."""
    entries = (*ENTRIES, sample("c3", ("adult", exactly(4))), photo("p4", "north", "abcd"))
    account = shared(entries=entries).account
    kinds = ("readings", "sample counts", "sightings", "photos", "notes", "feedings", "claims under watch", "entries")
    assert sum(item.count for item in (*account.told, *account.withheld) if item.what in kinds) == len(entries)


def test_whose_a_bin_is_may_be_somebody_the_journal_does_not_know():
    found = shared(whose={"north": hand(keeper="Zoe").keeper})
    assert {each.keeper for each in found.bins} == {""}
    assert QUIET.name not in repr(found)
