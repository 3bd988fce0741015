from dataclasses import replace

import numpy as np
import pytest

from tests.update.sample import sample
from underlid.bedding.vessel import Insulation
from underlid.fit.change import insulate
from underlid.fit.fate import fate_of, gathered, of_sets, run
from underlid.fit.outlook import PLACES

CHAINING_K = 0.05  # what handing the field on may cost on average: its time steps are chosen anew


@pytest.fixture(scope="module")
def study():
    return sample()


@pytest.fixture(scope="module")
def course(study):
    """The whole course of the bin as it is, and the same in two runs."""
    case, now = study.case, study.index(study.case.now)
    lots, thermal = fate_of(case, study.posterior), case.prior.thermal(study.posterior.draws)
    whole = run(case, thermal, lots, slice(0, len(case.time_utc)))
    before = run(case, thermal, lots, slice(0, now + 1))
    after = run(case, thermal, lots, slice(now, len(case.time_utc)), before.end)
    return lots, thermal, now, whole, before, after


def test_the_bin_as_it_is_meets_the_fate_of_its_outlook(study, course):
    lots, _, _, whole, *_ = course
    for i, place in enumerate(PLACES):
        np.testing.assert_allclose(whole.probes_c[:, :, i] + lots.spots[place], study.outlook.draws_c[place])
    np.testing.assert_allclose(whole.refuge[:, :, 0], study.outlook.refuge_draws[:, :, 0])


def test_a_run_goes_on_from_where_another_ended(course):
    _, _, now, whole, before, after = course
    assert whole.frozen[:, now:].max() > 0.05  # ice too is handed on
    np.testing.assert_allclose(before.probes_c, whole.probes_c[:, : now + 1], atol=1e-9)
    np.testing.assert_allclose(after.probes_c[:, 0], whole.probes_c[:, now], atol=CHAINING_K)
    assert np.sqrt(((after.probes_c - whole.probes_c[:, now:]) ** 2).mean()) < CHAINING_K
    np.testing.assert_allclose(after.frozen, whole.frozen[:, now:], atol=0.05)


def test_a_changed_bin_begins_where_the_old_one_was_and_goes_its_own_way(study, course):
    lots, thermal, now, _, before, after = course
    wrapped = insulate(study.case, Insulation("expanded polystyrene", 0.05)).case
    other = run(wrapped, thermal, lots, slice(now, len(study.case.time_utc)), before.end)
    np.testing.assert_allclose(other.probes_c[:, 0], after.probes_c[:, 0], atol=CHAINING_K)
    apart = np.abs(other.probes_c[:, :, 1] - after.probes_c[:, :, 1]).mean(axis=0)
    assert apart[1] < apart[6] < apart[48:].max()


def test_some_sets_of_parameters_run_as_they_do_among_all(study, course):
    lots, thermal, now, _, before, after = course
    mine = np.array([3, 11, 7])
    few = replace(lots, air_c=lots.air_c[mine], whole=lots.whole[mine])
    span = slice(now, len(study.case.time_utc))
    alone = run(study.case, of_sets(thermal, mine), few, span, of_sets(before.end, mine))
    np.testing.assert_allclose(alone.probes_c, after.probes_c[mine], atol=1e-9)


def test_every_hourly_series_is_cut_to_the_span(study):
    hours = len(study.case.time_utc)
    by_place = np.zeros((hours, 4))
    by_place[10, 2] = 0.4
    drive = replace(study.case.drive, food_kg=by_place, wind_m_s=np.arange(hours, dtype=float))
    cut = drive.during(slice(5, 30))
    assert cut.food_kg.shape == (25, 4)
    assert cut.food_kg[5, 2] == 0.4
    assert np.atleast_1d(cut.wind_m_s)[0] == 5
    assert len(cut.air_c) == 25


def test_as_many_sets_as_hours_are_not_taken_for_hours(study):
    square = replace(study.case.drive.during(slice(0, 24)), air_c=np.arange(24.0 * 24).reshape(24, 24))
    cut = square.during(slice(5, 8))
    assert cut.air_c.shape == (24, 3)
    assert cut.air_c[2].tolist() == [53.0, 54.0, 55.0]
    assert cut.air_c.tobytes() == replace(square, air_c=square.air_c[:, :8]).during(slice(5, 8)).air_c.tobytes()


def test_what_was_dealt_out_is_gathered_in_order_to_the_last_state(course):
    *_, after = course
    sets = [np.arange(level, len(after.frozen), 3) for level in range(3)]
    parts = [replace(of_sets(replace(after, end=after.frozen), mine), end=of_sets(after.end, mine)) for mine in sets]
    whole = gathered(parts, sets)
    for name in ("probes_c", "frozen", "moisture", "refuge", "outside_k", "full_field"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(after, name))
    for name in ("field_c", "ground_c", "moisture", "food_j", "could_be"):
        np.testing.assert_array_equal(getattr(whole.end, name), getattr(after.end, name))
