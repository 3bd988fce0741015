"""Several feedings in turn, against one feeding, and the sums that must come out even."""

import doctest
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.chemistry.test_pocket import BIN, DRAWN, MANURE, PEEL, STIRRED
from underlid.chemistry import succession as module
from underlid.chemistry.pocket import Bedding, Feed, ImpossibleFeeding, course, hours_to
from underlid.chemistry.souring import CALCITE, CALCIUM
from underlid.chemistry.succession import Meal, Succession, steps_for, succession

SOUR = replace(PEEL, citrate_mol=0.06)


def sums(told: Succession):
    before = told.start + told.own + told.fed.sum(axis=1) + told.made.sum(axis=1)
    after = told.state.held + told.left.sum(axis=1) + told.gone
    for one in (before, after):
        one[:, CALCIUM] += one[:, CALCITE]
    return before[:, :CALCITE], after[:, :CALCITE]


def test_one_feeding_at_the_start_is_a_course():
    one = course(BIN, SOUR, DRAWN, 15.0, days=30)
    same = succession(BIN, [Meal(SOUR, 0.0)], DRAWN, 15.0, hours_to(30))
    for name in ("pocket_ph", "bulk_ph"):
        np.testing.assert_allclose(getattr(same, name), getattr(one, name), atol=1e-9)
    after = same.after_last()
    np.testing.assert_allclose(after.ledger.made, one.ledger.made, atol=1e-12)
    assert (after.start_ph == 7.2).all()


def test_coarse_steps_stay_near_a_course_with_fine_ones():
    fine = course(BIN, SOUR, DRAWN, 15.0, time_h=np.arange(1.0, 30 * 24 + 1))
    coarse = succession(BIN, [Meal(SOUR, 0.0)], DRAWN, 15.0, steps_for([0.0], 30 * 24))
    at = coarse.time_h.astype(int) - 1
    assert np.abs(coarse.bulk_ph - fine.bulk_ph[:, at]).max() < 0.01
    assert np.abs(coarse.pocket_ph - fine.pocket_ph[:, at]).max() < 0.2


@settings(max_examples=8, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 700), st.sampled_from([PEEL, SOUR, MANURE])), max_size=4),
    st.floats(-3, 25),
    st.floats(-0.001, 0.001),
)
def test_what_was_there_fed_and_made_is_somewhere_or_gone(fed, bedding_c, own):
    meals = [Meal(feed, at) for at, feed in fed]
    ends = steps_for([at for at, _ in fed], 600.0)
    told = succession(replace(BIN, calcite_mol=0.05), meals, DRAWN, bedding_c, ends, own_base_mol_kg_day=own)
    before, after = sums(told)
    np.testing.assert_allclose(after, before, rtol=1e-9, atol=1e-12)
    assert (told.state.held[:, 1:] >= 0).all()
    assert (told.fed[:, [i for i, (at, _) in enumerate(fed) if at >= 600]] == 0).all()


def test_a_run_goes_on_from_where_another_ended():
    times = [0.0, 150.0]
    first = succession(BIN, [Meal(SOUR, at) for at in times], DRAWN, 12.0, steps_for(times, 240.0))
    rest = hours_to(10)
    meals = [*(Meal(SOUR, at) for at in times), Meal(PEEL, 240.0)]
    whole = succession(BIN, meals, DRAWN, 12.0, np.concatenate([first.time_h, 240.0 + rest]))
    then = succession(BIN, [*meals[:2], Meal(PEEL, 0.0)], DRAWN, 12.0, rest, after=first.state)
    later = len(first.time_h)
    np.testing.assert_allclose(then.bulk_ph, whole.bulk_ph[:, later:], atol=1e-3)
    np.testing.assert_allclose(then.pocket_ph, whole.pocket_ph[:, later:], atol=5e-3)
    before, after = sums(then)
    np.testing.assert_allclose(after, before, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(then.after_last().start_ph, whole.after_last().start_ph, atol=1e-9)


def test_bedding_that_is_not_fed_moves_by_its_own_base_over_its_buffer():
    quiet = replace(DRAWN, nitrify_per_day=0.0, escape_per_day=0.0)
    ends = steps_for([], 30 * 24)
    still = succession(BIN, [], quiet, 15.0, ends)
    assert np.abs(still.bulk_ph - 7.2).max() < 1e-6
    assert (still.pocket_share == 0).all()
    moved = succession(BIN, [], replace(quiet, salt=1e-4, calcium=0.0, co2_atm=4e-4), 15.0, ends,
                       own_base_mol_kg_day=-0.31 * 0.2 / 30)  # fmt: skip
    assert np.abs(moved.bulk_ph[:, -1] - 7.0).max() < 0.02


def test_acid_moves_the_whole_by_its_protons_over_the_buffer():
    # 62.5 mmol H+ on 3 kg at 310 mmol/kg/pH, here in two feedings: 0.067 pH down
    half = Feed(kg=0.1, litres=0.2, acetate_mol=0.03125)
    ends = steps_for([0.0, 48.0], 120.0)
    told = succession(BIN, [Meal(half, 0.0), Meal(half, 48.0)], STIRRED, 20.0, ends).whole_ph[0]
    assert told[-1] - 7.2 == pytest.approx(-0.0625 / (3 * 0.31), rel=0.02)
    assert told[-1] - 7.2 == pytest.approx(-0.067, abs=0.002)
    assert told[ends == 48.0][0] - 7.2 == pytest.approx(-0.0625 / (3 * 0.31) / 2, rel=0.02)


def test_draws_may_be_fed_at_their_own_hours_and_live_at_their_own_temperature():
    ends = steps_for([24.0, 96.0], 240.0)
    at = np.where(np.arange(30) < 15, 24.0, 96.0)
    warm = np.full((30, len(ends)), 12.0)
    told = succession(BIN, [Meal(SOUR, at)], DRAWN, warm, ends)
    early, late = (told.pocket_share[which][:, ends == 48.0] for which in (at == 24.0, at == 96.0))
    assert (early > 0).all()
    assert (late == 0).all()
    with pytest.raises(ImpossibleFeeding, match="latest"):
        told.after_last()


def test_an_earlier_feeding_is_still_there_at_the_next():
    small = Bedding(dry_kg=1.0, water_kg=2.5, litres=8.0, ph=7.0, buffer_mol_kg_ph=0.06)
    once = course(small, SOUR, DRAWN, 10.0, days=10)
    ends = np.concatenate([[24.0], 24.0 + hours_to(10)])
    twice = succession(small, [Meal(SOUR, 0.0), Meal(SOUR, 24.0)], DRAWN, 10.0, ends).after_last()
    assert np.median(twice.bulk_ph.min(axis=1)) < np.median(once.bulk_ph.min(axis=1))


@pytest.mark.parametrize("at", [-1.0, np.nan])
def test_a_feeding_before_the_start_is_refused(at):
    with pytest.raises(ImpossibleFeeding, match="before the start"):
        succession(BIN, [Meal(PEEL, at)], DRAWN, 15.0, hours_to(2))


def test_times_and_temperatures_that_cannot_be_are_refused():
    with pytest.raises(ImpossibleFeeding, match="rise"):
        succession(BIN, [], DRAWN, 15.0, np.array([2.0, 1.0]))
    with pytest.raises(ImpossibleFeeding, match="temperature"):
        succession(BIN, [], DRAWN, 99.0, hours_to(2))
    with pytest.raises(ImpossibleFeeding, match="days"):
        steps_for([], 0.0)


def test_the_example_runs():
    assert doctest.testmod(module).failed == 0
