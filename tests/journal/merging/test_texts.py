"""Plans, own claims and containers: what stands here stays, and no plan comes to be about another bin."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.journal.conftest import BOTH
from tests.journal.examples import (
    amount,
    make_bin,
    make_change,
    make_claims,
    make_plan,
)
from tests.journal.merging.examples import (
    LATER,
    SOUTH,
    bring,
    kinds,
    refuses,
)
from underlid.journal.merging import (
    BinNameTaken,
    OtherContent,
    PlanNameTaken,
    PlanOfOtherBins,
)
from underlid.journal.store import Journal

STORES = BOTH


@pytest.mark.parametrize("name", ["coffee", "Coffee"])
def test_a_plan_of_one_name_with_another_text_is_told_with_its_changes(
    ours: Journal, theirs: Journal, name: str
) -> None:
    ours.register(make_plan())
    theirs.register(make_plan(name, '{"other":1}', registered_at=LATER))
    theirs.change_plan(make_change(plan=name))
    skipped = refuses(ours, theirs, PlanNameTaken, f"Plan '{name}'", "'coffee', which was registered here on 2026-03")
    assert skipped.left_out == (f"Plan change 'a fox had it' of plan '{name}', since that plan does not come in.",)
    assert ours.plans() == (make_plan(),)


def test_a_plan_that_names_a_renamed_bin_is_told(ours: Journal, theirs: Journal) -> None:
    told = make_plan(text=json.dumps({"arms": {SOUTH: "control", "north": "changed"}}))
    theirs.register(told)
    theirs.change_plan(make_change())
    renamed = {"rename": {SOUTH: "anna-south"}}
    skipped = refuses(ours, theirs, PlanOfOtherBins, f"names bin '{SOUTH}', which is 'anna-south' here", **renamed)
    assert len(skipped.left_out) == 1
    assert ours.plans() == ()
    ours.register(told)  # and where its text stands here, its changes are still of other bins
    theirs.change_plan(make_change("d2"))
    refuses(ours, theirs, PlanOfOtherBins, "which is 'anna-south' here", **renamed)
    assert ours.plan_changes("coffee") == ()


def test_a_plan_that_stands_here_is_in_nobodys_way(ours: Journal, theirs: Journal) -> None:
    for each in (ours, theirs):
        each.register(make_plan(text=json.dumps({"arms": {SOUTH: "control"}})))
    told = bring(ours, theirs, {SOUTH: "anna-south"})
    assert told.conflicts == ()
    assert told.here.plans == [make_plan(text=json.dumps({"arms": {SOUTH: "control"}}))]


def test_a_change_of_a_bin_that_stays_out_stays_out(ours: Journal, theirs: Journal) -> None:
    ours.add_bin(make_bin(SOUTH, 7))
    theirs.register(make_plan())
    theirs.change_plan(replace(make_change(), bin=SOUTH))
    told = bring(ours, theirs, skip_conflicts=True)
    assert kinds(told) == [BinNameTaken]
    assert told.left_out == (f"Plan change 'a fox had it' of plan 'coffee', since bin '{SOUTH}' does not come in.",)
    assert ours.plan_changes("coffee") == ()


def test_a_plan_of_a_bin_that_stays_out_stays_out(ours: Journal, theirs: Journal) -> None:
    ours.add_bin(make_bin(SOUTH, 7))
    theirs.register(make_plan(text=json.dumps({"arms": {SOUTH: "control"}})))
    told = bring(ours, theirs, skip_conflicts=True)
    assert kinds(told) == [BinNameTaken, PlanOfOtherBins]
    assert "which does not come in" in told.conflicts[1].sentence
    assert ours.plans() == ()


def test_a_plan_that_is_no_json_names_what_occurs_in_it(ours: Journal, theirs: Journal) -> None:
    theirs.register(make_plan(text=f"coffee on {SOUTH}"))
    assert bring(ours, theirs, dry_run=True).conflicts == ()
    refuses(ours, theirs, PlanOfOtherBins, SOUTH, rename={SOUTH: "anna-south"})


def test_changes_of_a_renamed_bin_are_renamed(ours: Journal, theirs: Journal) -> None:
    theirs.register(make_plan())
    theirs.change_plan(replace(make_change(), bin=SOUTH))
    assert bring(ours, theirs, {SOUTH: "anna-south"}).conflicts == ()
    assert [one.bin for one in ours.plan_changes("coffee")] == ["anna-south"]
    assert not bring(ours, theirs).comes


def test_a_change_and_claims_with_an_id_that_is_taken_are_told(ours: Journal, theirs: Journal) -> None:
    for each, words in ((ours, "a fox"), (theirs, "a dog")):
        each.register(make_plan())
        each.change_plan(make_change(words=words))
    refuses(ours, theirs, OtherContent, "Plan change 'a dog' of plan 'coffee'", "differs in its words")
    ours.keep_claims(make_claims(text="a = 1"))
    theirs.keep_claims(make_claims(text="a = 2"))
    assert kinds(bring(ours, theirs)) == [OtherContent, OtherContent]
    theirs.keep_claims(make_claims("o2"))
    told = bring(ours, theirs, skip_conflicts=True)
    assert any("given later holds" in note for note in told.notes)
    assert [one.id for one in ours.own_claims()] == ["o1", "o2"]


def test_a_text_that_a_caller_cannot_read_is_told(ours: Journal, theirs: Journal) -> None:
    theirs.register(make_plan())
    theirs.keep_claims(make_claims())
    told = bring(ours, theirs, examine=lambda record: f"{type(record).__name__} makes no sense.")
    assert [one.sentence.partition(".")[2].strip().partition(".")[0] for one in told.conflicts] == [
        "RegisteredPlan makes no sense", "OwnClaims makes no sense",
    ]  # fmt: skip
    bring(ours, theirs, examine=lambda record: "no.", skip_conflicts=True)
    assert (ours.plans(), ours.own_claims()) == ((), ())


def test_what_a_container_holds_here_stays(journal: Journal, there: Journal) -> None:
    journal.set_container("mug", amount(0.2, 0.3, "L", "a small one"))
    there.set_container("mug", amount(0.4, 0.5, "L", "a big one"))
    there.set_container("pail", amount(9, 10, "L"))
    told = bring(journal, there)
    assert told.conflicts == ()
    said = "Container 'mug' holds “a small one” here and “a big one” there: what is said here stays."
    assert told.notes == (said,)
    assert journal.containers() == {"mug": amount(0.2, 0.3, "L", "a small one"), "pail": amount(9, 10, "L")}
    assert not bring(journal, there).comes
