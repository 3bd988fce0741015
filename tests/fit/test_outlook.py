import numpy as np
import pytest

from tests.fit.cases import NOTHING, PRIOR, air, drive, time_utc
from underlid.fit.evidence import STRAY_MEMORY_H
from underlid.fit.outlook import FORECAST_MEMORY_H, FORECAST_SD_K, future_air, outlook, stray
from underlid.fit.posterior import fit
from underlid.quantity.points import three

HOURS, NOW, UNTIL = 24 * 20, 24 * 8, 24 * 15


@pytest.fixture(scope="module")
def told():
    course = air(20)
    posterior = fit(PRIOR, NOTHING, NOTHING, drive(course), 3, draws=200)
    members = np.array([air(20, seed) for seed in range(5)])
    return course, outlook(
        PRIOR, posterior, drive(course), time_utc(HOURS), NOW, UNTIL, members, (0.0, 35.0), (-1.0, 37.0)
    )


def test_the_past_is_as_observed_and_the_future_is_not(told):
    course, result = told
    np.testing.assert_allclose(result.air_c[: NOW + 1], np.repeat(course[: NOW + 1, None], 3, axis=1))
    width = result.air_c[:, 2] - result.air_c[:, 0]
    assert (width[NOW + 1 :] > 0).all()
    assert width[NOW + 5 * 24] > width[NOW + 3]


def test_forecast_error_has_the_size_it_says():
    draws = future_air(np.zeros(24 * 12), 0, 24 * 12, np.empty((0, 24 * 12)), 4000, np.random.default_rng(0))
    for day in (1, 5, 10):
        expected = FORECAST_SD_K * np.sqrt(1 - np.exp(-2 * 24 * day / FORECAST_MEMORY_H))
        assert draws[:, 24 * day].std() == pytest.approx(expected, rel=0.06)


def test_strays_have_the_size_and_memory_they_say():
    strays = stray(np.full(4000, 0.5), 250, np.random.default_rng(1))
    for hour in (0, 1, 249):
        assert strays[:, hour].std() == pytest.approx(0.5, rel=0.05)
    lagged = np.corrcoef(strays[:, 100], strays[:, 100 + round(STRAY_MEMORY_H)])[0, 1]
    assert lagged == pytest.approx(np.exp(-1), abs=0.05)


def test_beyond_the_forecast_each_draw_follows_one_past_year_whole():
    members = np.array([np.full(100, -7.0), np.full(100, 9.0)])
    observed = np.full(100, 2.0)
    observed[60:] = np.nan  # nothing is known there
    draws = future_air(observed, 10, 60, members, 50, np.random.default_rng(0))
    assert np.isfinite(draws).all()
    assert set(np.unique(draws[:, 60:])) == {-7.0, 9.0}
    assert (np.ptp(draws[:, 60:], axis=1) == 0).all()


def test_ranges_are_ordered_and_shares_are_shares(told):
    _, result = told
    for values in (*result.bedding_c.values(), result.air_c, result.refuge, result.widest_refuge, result.frozen):
        assert values.shape == (HOURS, 3)
        assert (np.diff(values, axis=1) >= 0).all()
    for shares in (result.refuge, result.widest_refuge, result.frozen):
        assert ((shares >= 0) & (shares <= 1)).all()
    assert (result.widest_refuge >= result.refuge).all()


def test_the_coldest_hour_is_the_minimum_of_each_draw(told):
    _, result = told
    cold = result.coldest(24, NOW)
    minima = result.draws_c["middle"][:, 24:NOW].min(axis=1)
    assert cold.temperature_c == pytest.approx(three(minima))
    assert cold.time_utc[0] >= result.time_utc[24]
    assert cold.time_utc[2] < result.time_utc[NOW]
    # No hour's median can be colder than the median coldest hour.
    assert cold.temperature_c[1] <= result.bedding_c["middle"][24:NOW, 1].min()


@pytest.mark.parametrize("span", [(5, 5), (-1, 5), (0, HOURS + 1)])
def test_an_empty_or_foreign_span_is_refused(told, span):
    with pytest.raises(ValueError, match="holds hours"):
        told[1].coldest(*span)


def test_the_edge_swings_more_than_the_middle(told):
    _, result = told
    settled = slice(72, NOW)
    assert np.ptp(result.bedding_c["edge"][settled, 1]) > np.ptp(result.bedding_c["middle"][settled, 1])
