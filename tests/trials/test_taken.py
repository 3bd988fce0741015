"""What one bin gives at a look: of words in a journal, as an interval with the chance of its own sampling."""

import math
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trials.bins import END, START, a_bin, a_plan, arms, said
from underlid.counting.density import FISTFUL_L, USUAL_CLUMPING
from underlid.counting.parts import bedding_litres
from underlid.fit.evidence import situation
from underlid.quantity.amount import NINETY
from underlid.trials.taken import NONE_FOUND, NotTaken, Taken, due_day, last_day, taken

BIN = a_bin("x0")
BEDDING = bedding_litres(BIN, situation(BIN).vessel)
ONE = arms(1, 1)


def take(*lines: tuple[int, str], look: int = 0, now: Any = END, **changes: Any) -> Taken | NotTaken:
    entries = [entry for day, words in lines for entry in said(BIN, day, words)]
    return taken(a_plan(ONE, **changes), look, BIN, entries, now)


def given_by(*lines: tuple[int, str], **changes: Any) -> Taken:
    found = take(*lines, **changes)
    assert isinstance(found, Taken), found
    return found


def refused(*lines: tuple[int, str], **changes: Any) -> str:
    found = take(*lines, **changes)
    assert isinstance(found, NotTaken), found
    return found.because


# --- when --------------------------------------------------------------------------------------------------


def test_a_look_is_taken_up_to_three_weeks_from_its_day():
    for day in (339, 360, 381):
        assert given_by((day, "full sort: 50 adults")).day == START + timedelta(days=day)
    for day in (338, 382):
        assert "near 27 Mar 2026" in refused((day, "full sort: 50 adults"))


@settings(max_examples=60, deadline=None)
@given(looks=st.sets(st.integers(1, 900), min_size=1, max_size=6))
def test_no_day_belongs_to_two_looks(looks):
    plan = a_plan(ONE, looks=tuple(sorted(looks)))
    for look in range(len(plan.looks)):
        reach = last_day(plan, look) - due_day(plan, look)
        assert reach >= timedelta(0)
        assert due_day(plan, look) - reach > START or not reach  # nor is the start a look
        if look + 1 < len(plan.looks):
            other = last_day(plan, look + 1) - due_day(plan, look + 1)
            assert last_day(plan, look) < due_day(plan, look + 1) - other


def test_the_nearest_day_counts_and_of_two_as_near_the_earlier():
    lines = (350, "full sort: 20 adults"), (362, "full sort: 50 adults"), (375, "full sort: 90 adults")
    assert given_by(*lines).low == pytest.approx(math.log(50))
    assert given_by((355, "full sort: 20 adults"), (365, "full sort: 90 adults")).low == pytest.approx(math.log(20))


def test_what_lies_after_the_present_is_not_known_yet():
    lines = (350, "full sort: 20 adults"), (360, "full sort: 50 adults")
    during = END.replace(year=2026, month=3, day=20)
    assert given_by(*lines, now=during).low == pytest.approx(math.log(20))
    assert given_by(*lines).low == pytest.approx(math.log(50))


# --- counts ------------------------------------------------------------------------------------------------


def test_a_full_sort_is_its_logarithm_without_noise():
    found = given_by((360, "full sort: 40 adults, 25 juveniles, 10 cocoons"))
    assert (found.low, found.high, found.noise) == (math.log(65), math.log(65), 0.0)
    assert found.words == ("full sort: 40 adults, 25 juveniles, 10 cocoons",)
    assert "all of the bedding sorted" in found.alike


@pytest.mark.parametrize(("outcome", "many"), [("worms", 82), ("adults", 40), ("young", 37), ("cocoons", 10)])
def test_each_outcome_sums_its_own_stages(outcome, many):
    line = "full sort: 40 adults, 5 sub-adults, 25 juveniles, 12 hatchlings, 10 cocoons"
    assert given_by((360, line), outcome=outcome).low == pytest.approx(math.log(many))


def test_a_vague_count_keeps_its_interval():
    found = given_by((360, "full sort: 30 to 40 adults, 10 to 15 juveniles"))
    assert (found.low, found.high, found.noise) == pytest.approx((math.log(40), math.log(55), 0.0))
    open_ended = given_by((360, "full sort: at least 30 adults"))
    assert open_ended.low == pytest.approx(math.log(30))
    assert math.isinf(open_ended.high)


def test_an_about_is_a_middle_with_a_spread():
    count = said(BIN, 360, "full sort: about 40 adults")[0].counts[0][1]  # type: ignore[union-attr]
    found = given_by((360, "full sort: about 40 adults"))
    middle = (count.low + count.high) / 2
    assert found.low == found.high == pytest.approx(math.log(middle))
    assert found.noise == pytest.approx((count.high - count.low) / 2 / NINETY / middle)
    # Two of them err independently: squares add up.
    both = given_by((360, "full sort: about 40 adults, about 40 juveniles"))
    assert both.noise == pytest.approx(found.noise / math.sqrt(2))


def test_none_found_says_that_there_are_few_and_not_how_few():
    found = given_by((360, "full sort: no adults"))
    assert (found.low, found.high) == pytest.approx((math.log(NONE_FOUND[0]), math.log(NONE_FOUND[1])))
    assert given_by((360, "full sort: at most 5 adults")).high == pytest.approx(math.log(5))


def test_a_sample_is_scaled_to_the_bedding_and_carries_the_chance_of_clumps():
    whole = given_by((360, "full sort: 20 adults"))
    part = given_by((360, "sample 2 L middle: 20 adults"))
    middle = math.sqrt(BEDDING.low * BEDDING.high)
    assert (part.low + part.high) / 2 == pytest.approx(math.log(20 / 2 * middle), abs=0.05)
    assert whole.noise == 0.0
    # What is found in v litres is negative binomial of aggregation k v / fistful: relative variance 1/found + 1/that.
    expected = math.sqrt(1 / 20 + FISTFUL_L / (USUAL_CLUMPING * 2))
    assert 0.85 * expected < part.noise < expected  # less by the share that was sampled
    rng = np.random.default_rng(1)
    k = USUAL_CLUMPING * 2 / FISTFUL_L
    drawn = rng.poisson(20 * rng.gamma(k, 1 / k, 40_000))
    assert expected == pytest.approx(drawn.std() / drawn.mean(), rel=0.03)
    assert any("samples from: middle" in each for each in part.alike)


def test_samples_of_one_day_are_one_value_and_more_of_them_know_more():
    one = given_by((360, "sample 1 L middle: 10 adults"))
    four = given_by(*[(360, "sample 1 L middle: 10 adults")] * 4)
    assert four.low == pytest.approx(one.low, abs=0.05)
    assert four.noise < 0.55 * one.noise
    assert len(four.words) == 4


def test_beside_a_stated_number_the_unknown_volume_of_the_bedding_stays_in_the_interval():
    lines = ((360, "sample 2 L middle: 20 adults"),)
    entries = [entry for day, words in lines for entry in said(BIN, day, words)]
    stated = taken(a_plan(arms(0, 1), stated=(60.0, 90.0)), 0, BIN, entries, END)
    assert isinstance(stated, Taken)
    compared = given_by(*lines)
    sunk = math.log(BEDDING.high / BEDDING.low)
    assert stated.high - stated.low == pytest.approx(compared.high - compared.low + sunk)


def test_a_sample_that_may_be_two_thirds_of_the_bedding_is_no_full_sort():
    part = 0.97 * BEDDING.low
    found = given_by((360, f"sample {part:.1f} L middle: 50 adults"))
    assert "all of the bedding sorted" not in found.alike
    assert found.noise > 0


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("full sort: 12 cocoons", "no sample with worms out of a known volume"),
        ("saw a dozen worms", "no sample with worms"),
        ("middle pH 7", "no sample with worms"),
    ],
)
def test_what_is_no_count_of_worms_gives_nothing_and_says_so(line, says):
    assert says in refused((360, line))


# --- readings ----------------------------------------------------------------------------------------------

PH = {"outcome": "pH", "scale": "difference", "unit": "pH units", "margin": 1.0}
WARMTH = {"outcome": "bedding temperature", "scale": "difference", "unit": "K", "margin": 1.0}
MASS = {"outcome": "live mass", "margin": 1.5}


def test_ph_is_the_mean_of_places_however_often_each_was_read():
    lines = *[(359, "middle pH 7 to 7.2")] * 3, (360, "edge pH 5 to 5.2")
    found = given_by(*lines, **PH)
    assert (found.low, found.high) == pytest.approx((6.0, 6.2))
    assert found.alike == ("read at: edge, middle",)
    assert found.day == START + timedelta(days=360)


def test_a_temperature_about_is_a_middle_with_noise_that_shrinks_with_readings():
    one = given_by((360, "middle about 12 C"), **WARMTH)
    four = given_by(*[(358 + i, "middle about 12 C") for i in range(4)], **WARMTH)
    assert one.low == one.high == four.low == pytest.approx(12.0)
    assert four.noise == pytest.approx(one.noise / 2)
    exact = given_by((360, "middle 11 to 13 C"), **WARMTH)
    assert (exact.low, exact.high, exact.noise) == (11.0, 13.0, 0.0)


def test_live_mass_is_compared_as_a_ratio():
    found = given_by((360, "live mass 400 to 500 g"), **MASS)
    assert (found.low, found.high) == pytest.approx((math.log(0.4), math.log(0.5)))


def test_a_reading_open_on_a_side_has_no_mean():
    assert "no pH with both ends" in refused((360, "middle pH at least 6"), **PH)
    assert "no temperature" in refused((360, "middle pH 6"), **WARMTH)


# --- the first hatchling -----------------------------------------------------------------------------------

FIRST = {"outcome": "days to first hatchling", "scale": "difference", "unit": "days", "margin": 14.0}


def test_the_first_hatchling_came_between_the_last_search_in_vain_and_the_find():
    lines = (20, "full sort: no hatchlings"), (33, "sample 1 L middle: 0 hatchlings"), (41, "full sort: 2 hatchlings")
    found = given_by(*lines, **FIRST)
    assert (found.low, found.high, found.noise) == (33.0, 41.0, 0.0)
    assert found.day == START + timedelta(days=41)
    # What was looked for afterwards tells no more of the first.
    assert given_by(*lines, (60, "full sort: no hatchlings"), **FIRST).low == 33.0


def test_never_found_is_open_above_and_found_at_once_reaches_to_the_start():
    never = given_by((90, "full sort: no hatchlings"), (200, "full sort: no hatchlings"), **FIRST)
    assert (never.low, never.high) == (200.0, math.inf)
    assert given_by((30, "full sort: 4 hatchlings"), **FIRST).low == 0.0
    assert "neither seen nor counted" in refused((90, "full sort: 40 adults"), **FIRST)


def test_a_sighting_is_a_find_but_no_search():
    seen = (40, "saw 3 hatchlings")
    assert given_by((20, "full sort: no hatchlings"), seen, **FIRST).high == 40.0


def test_what_may_or_may_not_have_been_found_is_neither():
    vague = (30, "full sort: at most 5 hatchlings")
    found = given_by((20, "full sort: no hatchlings"), vague, (41, "full sort: 2 hatchlings"), **FIRST)
    assert (found.low, found.high) == (20.0, 41.0)
    assert "neither seen nor counted" in refused(vague, **FIRST)


def test_litres_that_were_not_searched_for_a_stage_do_not_thin_it_out():
    both = (360, "sample 0.5 L middle: 4 adults, 6 juveniles")
    alone, beside = given_by(both), given_by(both, (360, "sample 0.5 L edge: 5 adults"))
    assert (beside.low, beside.high, beside.alike) == (alone.low, alone.high, alone.alike)
    assert "searched for all of" in refused((360, "sample 0.5 L: 5 adults"), (360, "sample 0.5 L: 6 juveniles"))
