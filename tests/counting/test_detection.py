"""What sorting overlooks: published mark-recapture numbers, and what a trial teaches."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.counting import CannotTell
from underlid.counting.detection import JUDGED, WORTH, Recovery, chances, judged, two_observers
from underlid.records import STAGES


@pytest.mark.parametrize(
    ("first", "second", "both", "number", "se"),
    [
        (948, 421, 167, 2382.80, 129.06),  # Krebs (1989), box 2.1: 2383
        (109, 177, 57, 336.59, 24.81),  # Ricker (1975): 337
        (421, 332, 88, 1577.94, 126.56),  # Pine (2013), box 11.2: 1578
        (500, 149, 7, 9392.75, 3022),  # Seber (1982), table 3.7: 9393, 3022
        (1000, 243, 21, 11101, 2184),  # Seber (1982), table 3.8: 11101, 2184
        (20, 15, 12, 24.846, 1.846),  # calculated
    ],
)
def test_chapman(first, second, both, number, se):
    found = two_observers(first, second, both)
    assert found.number == pytest.approx(number, abs=5e-3)
    assert found.se == pytest.approx(se, rel=5e-4)
    assert found.low < found.number < found.high


def test_pines_interval_is_much_the_same():
    found = two_observers(421, 332, 88)  # Pine (2013), box 11.2, has a 95 % interval of 1330 to 1826
    assert 1330 < found.low < found.high < 1826


def test_how_much_each_sorter_finds():
    first, second = two_observers(20, 15, 12).chances
    assert first.mean == pytest.approx(12 / 15, abs=0.03)
    assert second.mean == pytest.approx(12 / 20, abs=0.01)
    assert first.range[0] < 0.8 < first.range[2]


@pytest.mark.parametrize(
    ("found", "why"), [((20, 15, 0), "35 at least"), ((20, 15, 16), "cannot be"), ((-1, 3, 0), "cannot be")]
)
def test_finds_that_set_no_number(found, why):
    with pytest.raises(CannotTell, match=why):
        two_observers(*found)


@given(st.integers(1, 300), st.integers(1, 300), st.data())
def test_never_fewer_than_were_seen_and_either_sorter_may_be_first(first, second, data):
    both = data.draw(st.integers(1, min(first, second)))
    found = two_observers(first, second, both)
    assert found.seen <= found.low * (1 + 1e-9)
    assert found.low <= found.number * (1 + 1e-9)
    assert found.number <= found.high * (1 + 1e-9)
    assert two_observers(second, first, both).number == pytest.approx(found.number)


def test_one_who_found_all_that_the_other_did_leaves_an_upper_end_above_what_was_seen():
    found = two_observers(12, 15, 12)
    assert found.seen == found.low == found.number == 15
    assert found.high > 16


def test_before_a_trial_the_chance_is_the_judgement():
    for stage in STAGES:
        chance = judged(stage)
        assert chance.mean == pytest.approx(JUDGED[stage])
        assert chance.found + chance.missed == pytest.approx(WORTH)
        low, middle, high = chance.range
        assert 0 < low < middle < high <= 1


def test_a_trial_moves_and_narrows_its_stage_alone():
    known = chances([Recovery("juvenile", 14, 20)])
    before, after = judged("juvenile"), known["juvenile"]
    assert (after.found, after.missed, after.tried) == pytest.approx((7 + 14, 3 + 6, 20))
    assert after.range[2] - after.range[0] < before.range[2] - before.range[0]
    assert known["adult"] == judged("adult")


def test_two_trials_are_one_larger_trial():
    twice = chances([Recovery("adult", 9, 10), Recovery("adult", 8, 10)])
    assert twice == chances([Recovery("adult", 17, 20)])


@pytest.mark.parametrize(("found", "put_in"), [(21, 20), (0, 0), (-1, 5)])
def test_a_trial_that_cannot_be(found, put_in):
    with pytest.raises(CannotTell, match="put in"):
        Recovery("adult", found, put_in)
