"""A journal from elsewhere brought in: nothing that stands is changed, twice is once, what is in the way is told.

What is compared knows no store, so what may be in the way is tried in SQLite; all that stores is tried in both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.journal.conftest import BOTH, Stores, dump
from tests.journal.examples import (
    hand,
    journals_of_readings,
    make_bin,
    make_change,
    make_keeper,
    reading,
)
from tests.journal.merging.examples import (
    FILE,
    PICTURE,
    SOUTH,
    bring,
    contents,
    entries_there,
    fill,
    kinds,
    other_photo,
    with_pictures,
)
from underlid.journal.merging import (
    Held,
    OtherContent,
    TwoCorrections,
    compare,
    storing,
)
from underlid.journal.store import PHOTOS, Journal
from underlid.records import Reading

STORES = BOTH


def test_all_comes_in_once_and_stays_in_the_other(stores: Stores, there: Journal, tmp_path: Path) -> None:
    fill(there)
    there.keep_keeper(make_keeper("Ben", role="keeper"))
    there.hand_bin(hand(SOUTH, "Ben", "b2"))
    before = dump(there)
    with stores.create(tmp_path / "empty") as into:
        into.keep_keeper(make_keeper("Cleo"))
        told = bring(into, there)
        assert told.stored
        assert (told.conflicts, told.left_out, bool(told.here)) == ((), (), False)
        assert "Keeper 'Ada' is a steward there, and a keeper here." in told.notes
        into.check()
        as_there = list(contents(there))
        as_there[6] = {"Ada": make_keeper(role="keeper"), "Ben": make_keeper("Ben", role="keeper"),
                       "Cleo": make_keeper("Cleo")}  # fmt: skip
        assert list(contents(into)) == as_there
        assert into.plan_changes("coffee") == (make_change(),)
        assert (into.folder / PHOTOS / FILE).read_bytes() == PICTURE
        once = dump(into)
        again = bring(into, there)
        assert not again.comes
        assert (again.stored, again.conflicts, again.left_out) == (False, (), ())
        assert len(again.here.entries) == len(entries_there())
        assert dump(into) == once
    assert dump(there) == before


def test_a_dry_run_tells_the_same_and_stores_nothing(journal: Journal, there: Journal) -> None:
    fill(there)
    journal.keep_keeper(make_keeper("Cleo"))
    before = dump(journal)
    dry = bring(journal, there, dry_run=True)
    assert dump(journal) == before
    assert not (journal.folder / PHOTOS / FILE).exists()
    assert replace(bring(journal, there), stored=False) == dry
    assert [one.name for one in dry.here.bins] == ["north"]
    assert [one.name for one in dry.comes.bins] == [SOUTH]


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(both=journals_of_readings(), mine=journals_of_readings(), yours=journals_of_readings(), ids_alike=st.booleans())
def test_what_stands_stays_and_twice_is_once(
    stores: Stores, two_bins: Path, tmp_path: Path, both: list[Reading], mine: list[Reading], yours: list[Reading],
    ids_alike: bool,
) -> None:  # fmt: skip
    """Two copies of one journal that both grew, so that one entry may be corrected twice, or an id be used twice."""
    with (
        Journal.open(stores.copy(two_bins, tmp_path / "ours")) as ours,
        Journal.open(stores.copy(two_bins, tmp_path / "theirs")) as theirs,
    ):
        for journal, own in ((ours, _after(both, mine, "m")), (theirs, _after(both, yours, "m" if ids_alike else "y"))):
            journal.add(both)
            journal.add(own)
        before, elsewhere, rows = ours.entries(superseded=True), dump(theirs), dump(ours)
        refused = bring(ours, theirs)
        if refused.conflicts:
            assert dump(ours) == rows
        told = bring(ours, theirs, skip_conflicts=True)
        after = {entry.id: entry for entry in ours.entries(superseded=True)}
        assert [after[entry.id] for entry in before] == list(before)
        arrived = {entry.id: entry for entry in theirs.entries(superseded=True)}
        assert set(after) <= {entry.id for entry in before} | set(arrived)
        lost = set(arrived) - set(after)
        assert bool(lost) <= bool(told.conflicts)
        assert len(lost) == len([one for one in told.conflicts if isinstance(one, TwoCorrections)]) + len(told.left_out)
        assert all(after[entry.id] == entry for entry in told.comes.entries)
        ours.check()
        once = dump(ours)
        again = bring(ours, theirs, skip_conflicts=True)
        assert not again.comes
        assert (kinds(again), len(again.left_out)) == (kinds(told), len(told.left_out))
        assert dump(ours) == once
        assert dump(theirs) == elsewhere


def _after(both: Sequence[Reading], own: Sequence[Reading], prefix: str) -> list[Reading]:
    """Readings of one journal alone; the first corrects the newest that both have, if nothing else does."""
    new = [
        replace(one, id=f"{prefix}{one.id}", corrects=one.corrects and f"{prefix}{one.corrects}") for one in own
    ]  # fmt: skip
    if new and both and both[-1].bin == new[0].bin:
        new[0] = replace(new[0], corrects=both[-1].id)
    return new


@settings(max_examples=25, deadline=None)
@given(
    mine=st.dictionaries(st.integers(0, 9), st.sampled_from(["6", "7"]), max_size=6),
    yours=st.dictionaries(st.integers(0, 9), st.sampled_from(["6", "7"]), max_size=6),
)
def test_comparing_finds_each_entry_new_the_same_or_in_the_way(mine: dict[int, str], yours: dict[int, str]) -> None:
    ours, theirs = (
        Held(bins=[make_bin()], entries=[reading(str(id), words=words) for id, words in each.items()])
        for each in (mine, yours)
    )
    told = compare(ours, theirs)
    assert {int(one.id) for one in told.comes.entries} == set(yours) - set(mine)
    assert {int(one.id) for one in told.here.entries} == {id for id in yours if mine.get(id) == yours[id]}
    assert {int(one.id) for one in told.conflicts if isinstance(one, OtherContent)} == {
        id for id in yours if id in mine and mine[id] != yours[id]
    }


def test_what_another_stored_meanwhile_is_not_said_to_be_stored_again(
    ours: Journal, theirs: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs.add([replace(other_photo("x"), bin=SOUTH)])
    with_pictures(theirs, "x")
    really = storing._bring

    def bring_and_be_overtaken(*given: Any) -> None:
        really(*given)
        monkeypatch.setattr(storing, "_bring", really)
        assert bring(ours, theirs).stored

    monkeypatch.setattr(storing, "_bring", bring_and_be_overtaken)
    told = bring(ours, theirs)
    assert (told.stored, bool(told.comes), told.conflicts) == (False, False, ())
