"""From claims to plans, and what is foreseen of them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.trials.bins import a_bin, a_plan, arms
from underlid.counting.parts import bedding_litres
from underlid.fit.evidence import situation
from underlid.quantity import parse_amount
from underlid.trials import telling
from underlid.trials.claims import Stated, every_claim
from underlid.trials.design import fed_weekly, foresee, plan_of, steady_scene
from underlid.trials.plan import TAKEN, PlanProblem, canonical, plan_from
from underlid.trials.sizes import tost_power
from underlid.worms.habitat import DRY_SHARE
from underlid.worms.species import species

CLAIMS = every_claim()
EIGHT = tuple("abcdefgh")
FEW = 100  # trials
BIN = a_bin("a")


def planned(name: str, bins=EIGHT, founders=30, **changes):
    return plan_of(CLAIMS[name], "trial", bins, "2025-05-01", founders, 1, **changes)


def place(days: int, warm=(15.0, 19.0)):
    seen = situation(BIN)
    litres = bedding_litres(BIN, seen.vessel)
    founders = parse_amount("30", expect="1")
    bare = steady_scene(species(BIN.species), seen, (litres.low + litres.high) / 2, warm, days + 1, founders)
    return fed_weekly(bare, 0.2)


@pytest.mark.parametrize("name", CLAIMS)
def test_every_claim_gives_a_plan_or_says_why_not(name):
    claim = CLAIMS[name]
    if claim.design is None or claim.design.outcome not in TAKEN:
        says = "not to be tested on animals" if claim.design is None else f"does not hold “{claim.design.outcome}”"
        with pytest.raises(PlanProblem, match=rf"{says}[^\n]*\.$"):
            planned(name)
        return
    plan = planned(name)
    assert plan_from(canonical(plan)) == plan
    assert plan.stop == claim.design.stop
    assert plan.looks == tuple(day for day in claim.design.counts if day)
    if isinstance(claim.design.against, Stated):
        assert plan.bins("changed") == EIGHT
    else:
        assert len(plan.bins("control")) == len(plan.bins("changed")) == 4
        assert (plan.margin, plan.because) == (claim.design.against.margin, claim.design.against.margin_because)


def test_a_claim_that_the_journal_cannot_answer_may_be_tested_by_another_outcome():
    name = next(
        name for name, one in CLAIMS.items()
        if one.design is not None and one.design.outcome not in TAKEN and not isinstance(one.design.against, Stated)
    )  # fmt: skip
    with pytest.raises(PlanProblem, match="choose another with --outcome: worms, adults"):
        planned(name)
    with pytest.raises(PlanProblem, match="for worms give your own with --margin"):
        planned(name, outcome="worms")
    assert planned(name, outcome="worms", margin=2.0, because="half as many matter").outcome == "worms"


def test_a_stated_number_that_cannot_be_told_here_is_not_promised_by_another_outcome():
    with pytest.raises(PlanProblem, match="so it cannot be tested here"):
        planned("half-body-weight")
    with pytest.raises(PlanProblem, match="cannot be told from worms"):
        planned("half-body-weight", outcome="worms")


def test_a_margin_of_ones_own_needs_its_reason():
    with pytest.raises(PlanProblem, match="needs its reason, with --because"):
        planned("citrus-scraps", margin=2.0)
    plan = planned("citrus-scraps", margin=2.0, because="four bins can show no less")
    assert (plan.margin, plan.because) == (2.0, "four bins can show no less")


def test_a_bin_named_twice_is_refused_in_every_kind_of_trial():
    for name, alone in (("citrus-scraps", False), ("citrus-scraps", True), ("doubling-time", False)):
        with pytest.raises(PlanProblem, match="“a” is named twice"):
            planned(name, bins=("a", "b", "a"), alone=alone)


def test_a_time_to_double_is_turned_into_numbers_at_the_end():
    plan = planned("doubling-time", looks=(150,))
    assert plan.stated == pytest.approx((30 * 2 ** (150 / 90), 30 * 2 ** (150 / 60)))
    assert plan.control == ""
    assert "60 to 90 days" in plan.because
    with pytest.raises(PlanProblem, match="leave --margin out"):
        planned("doubling-time", margin=2.0, because="why not")


def test_looks_are_sorted_and_named_once():
    assert planned("citrus-scraps", looks=(180, 90, 180)).looks == (90, 180)


def test_one_bin_is_changed_and_none_is_control():
    assert dict(planned("citrus-scraps", bins=("a",)).arms) == {"a": "changed"}
    assert set(planned("citrus-scraps", alone=True).arms.values()) == {"changed"}


# --- scenes ------------------------------------------------------------------------------------------------


def test_a_steady_scene_spans_the_range_and_is_fed_once_a_week():
    scene = place(30)
    assert (scene.habitat.worms_c.min(), scene.habitat.worms_c.max()) == pytest.approx((15.0, 19.0))
    assert scene.days == 31
    food = np.asarray(scene.habitat.food_kg)
    assert food.sum() == pytest.approx(DRY_SHARE * 0.2 * math.ceil(31 / 7))
    assert fed_weekly(scene, 0.1).habitat.food_kg.sum() == pytest.approx(food.sum() / 2)


# --- what is foreseen --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def four_bins():
    plan = planned("citrus-scraps", margin=2.0, because="half as many matter", looks=(90,))
    return plan, foresee(plan, place(90), trials=FEW)


def test_simulated_trials_of_a_plan_are_registered_with_it_as_chances(four_bins):
    plan, told = four_bins
    assert set(told.expected) >= {
        "holds if nothing", "fails if nothing", "holds at margin", "fails at twice the margin", "trials",
        "interval reaches times",
    }  # fmt: skip
    assert told.expected["trials"] == FEW
    for name, value in told.expected.items():
        if name not in ("trials", "interval reaches times"):
            assert 0 <= value <= 1
    # With one look, wrong "holds" at the margin are bounded by alpha, but for chance and counts not quite log-normal.
    assert told.expected["holds at margin"] <= plan.alpha + 3 * math.sqrt(0.05 * 0.95 / FEW)
    assert told.expected["fails if nothing"] <= plan.alpha + 3 * math.sqrt(0.05 * 0.95 / FEW)
    assert told.power is not None
    assert told.expected["holds if nothing"] == pytest.approx(told.power.idle.holds, abs=1e-4)
    kept = replace(plan, expected=told.expected)
    assert plan_from(canonical(kept)).expected == told.expected
    said = telling.expected(kept)
    assert f"{100 * told.expected['holds if nothing']:.0f} %" in said


def test_the_same_seed_foresees_the_same(four_bins):
    plan, told = four_bins
    assert foresee(plan, place(90), trials=FEW) == told


def test_a_hopeless_trial_is_told_so_with_what_could_answer():
    plan = planned("citrus-scraps", bins=("a", "b", "c", "d"), margin=1.1, because="every worm counts", looks=(60,))
    told = foresee(plan, place(60), trials=FEW)
    assert told.power is not None
    assert not told.power.can_answer
    assert told.said[0].startswith("This trial cannot answer the question")
    assert "in each arm could, for a margin of" in told.said[0] or "Nor could" in told.said[0]


def test_one_bin_gets_a_forecast_for_each_look():
    plan = planned("citrus-scraps", bins=("a",), looks=(30, 60))
    told = foresee(plan, place(60), trials=FEW)
    assert set(told.expected) == {f"day {day} {part}" for day in (30, 60) for part in ("p5", "p50", "p95")}
    for day in (30, 60):
        low, middle, high = (told.expected[f"day {day} {part}"] for part in ("p5", "p50", "p95"))
        assert 0 <= low <= middle <= high
    assert "90 %, predicted" in told.said[0]
    assert "No bin is there to compare with" in told.said[0]
    stated = foresee(planned("doubling-time", bins=("a", "b"), looks=(60,)), place(60), trials=FEW)
    assert "compared with the stated range" in stated.said[0]


def test_one_bin_in_an_arm_cannot_answer():
    plan = planned("citrus-scraps", bins=("a", "b"), looks=(60,))
    assert foresee(plan, place(60), trials=FEW).said[0].startswith("This trial cannot answer the question")
    assert foresee(plan, None).said[0].startswith("This trial cannot answer the question")


def test_without_a_scene_the_spread_of_like_bins_decides():
    plan = a_plan(arms(4, 4), outcome="live mass", margin=2.0)
    told = foresee(plan, None)
    assert told.expected == {"holds if nothing": pytest.approx(tost_power(4, 2.0, 0.3), abs=1e-4)}
    assert told.expected["holds if nothing"] == pytest.approx(0.804, abs=0.001)  # the table of TOST power, CV 0.3
    assert len(told.said) == 1
    narrow = foresee(replace(plan, margin=1.5), None)
    assert narrow.expected["holds if nothing"] == pytest.approx(0.197, abs=0.001)
    assert narrow.said[-1] == "This trial cannot answer the question."


def test_of_ph_no_chance_is_made_up():
    told = foresee(a_plan(arms(3, 3), outcome="pH", scale="difference", unit="pH units", margin=0.5), None)
    assert dict(told.expected) == {}
    assert "is not known, so the chance of an answer is not reckoned" in told.said[0]
