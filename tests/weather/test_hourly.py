from __future__ import annotations

import doctest
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from underlid.weather import cesaraccio, hourly, parton_logan, sun_times
from underlid.weather.hourly import DEFAULT_METHOD, Method
from underlid.weather.series import Floats

from .reconstruction import DOCS, METHODS, STATIONS, score, with_tables

BOTH = pytest.mark.parametrize("method", [cesaraccio, parton_logan])


def test_the_published_example_of_cesaraccio() -> None:
    assert doctest.testmod(hourly).failed == 0


def test_parton_logan_by_hand() -> None:
    # Sunrise 6, sunset 18, 10 to 30 degC. At 12 h, m = 12 - (6 - 0.17), Y + 2a = 12 + 3.72; at 18 h,
    # m = 12.17; at 22 h, four hours into a night that ends at 5.83 (Parton & Logan 1981, equations 1 and 2).
    hours = parton_logan(*(np.array([value]) for value in (10.0, 30.0, 6.0, 18.0)))
    noon = 10 + 20 * np.sin(np.pi * 6.17 / 15.72)
    sunset = 10 + 20 * np.sin(np.pi * 12.17 / 15.72)
    assert hours[12] == pytest.approx(noon)
    assert hours[18] == pytest.approx(sunset)
    assert hours[22] == pytest.approx(10 + (sunset - 10) * np.exp(-2.20 * 4 / 11.83))


@BOTH
def test_noon_is_warmer_than_night(method: Method) -> None:
    hours = method(np.full(3, -5.0), np.full(3, 5.0), np.full(3, 8.0), np.full(3, 16.0)).reshape(3, 24)
    assert hours[1].argmax() in (12, 13, 14)
    assert hours[1].argmin() in (7, 8)


@given(
    pairs=arrays.arrays(np.float64, st.tuples(st.integers(1, 8), st.just(2)), elements=st.floats(-60, 50)),
    rise=st.floats(-2, 12),
    length=st.floats(0, 24),
    missing=st.integers(0, 7),
    method=st.sampled_from([cesaraccio, parton_logan]),
)
def test_hours_stay_within_the_days_around(
    pairs: Floats, rise: float, length: float, missing: int, method: Method
) -> None:
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    days = len(low)
    if days > 1 and missing < days:
        low[missing] = np.nan
    hours = method(low, high, np.full(days, rise), np.full(days, rise + length)).reshape(days, 24)
    for day in range(days):
        around = slice(max(day - 1, 0), day + 2)
        if np.isnan(low[day]):
            assert np.isnan(hours[day]).all()
        else:
            known = ~np.isnan(low[around])
            assert hours[day].min() >= low[around][known].min() - 1e-9
            assert hours[day].max() <= high[around][known].max() + 1e-9


@given(
    low=st.floats(-40, 20), swing=st.floats(0, 30), rise=st.floats(3, 9), length=st.floats(6, 18),
    method=st.sampled_from([cesaraccio, parton_logan]),
)  # fmt: skip
def test_minimum_and_maximum_come_back(low: float, swing: float, rise: float, length: float, method: Method) -> None:
    days = np.ones(3)
    hours = method(low * days, (low + swing) * days, rise * days, (rise + length) * days)
    # The extremes fall between whole hours, at most half an hour from one; on the shortest day the
    # sine climbs its whole way in 3 h, and Parton & Logan's night ends exp(-2.2) of its fall above.
    assert hours.max() == pytest.approx(low + swing, abs=0.06 * swing + 1e-9)
    assert hours.min() == pytest.approx(low, abs=0.30 * swing + 1e-9)


def test_bad_days_are_refused() -> None:
    one = np.array([1.0])
    with pytest.raises(ValueError, match="Day 1 has a minimum above its maximum"):
        cesaraccio(one + 1, one, one * 6, one * 18)
    with pytest.raises(ValueError, match="same number of days"):
        cesaraccio(one, np.array([1.0, 2.0]), one, one)
    with pytest.raises(ValueError, match="no place on Earth"):
        sun_times(np.array([1]), 95.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("latitude", "longitude", "offset"), [(55.32, -160.52, -9.0), (36.1, -79.95, -5.0), (-33.9, 151.2, 10.0), (0, 0, 0)]
)
def test_sun_times_agree_with_pvlib(latitude: float, longitude: float, offset: float) -> None:
    # pvlib's NREL solar position algorithm (Reda & Andreas 2004), every tenth day of 2023.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pandas = pytest.importorskip("pandas")
        solarposition = pytest.importorskip("pvlib.solarposition")
    zone = f"Etc/GMT{-int(offset):+d}"
    dates = pandas.date_range("2023-01-01", periods=37, freq="10D", tz=zone)
    theirs = solarposition.sun_rise_set_transit_spa(dates, latitude, longitude)
    ours = sun_times(dates.day_of_year.to_numpy(), latitude, longitude, offset)
    for mine, name in zip(ours, ("sunrise", "sunset"), strict=True):
        hours = (theirs[name] - dates).dt.total_seconds().to_numpy() / 3600.0
        assert np.abs((mine - hours + 12) % 24 - 12).max() * 60 < 4.0


def test_polar_night_and_polar_day() -> None:
    (winter, summer), (dusk_w, dusk_s) = sun_times(np.array([355, 172]), 78.2, 15.6, 1.0)
    assert winter == pytest.approx(dusk_w)
    assert dusk_s - summer == pytest.approx(24.0)


def test_the_default_has_the_smallest_error_at_every_station() -> None:
    for weather in STATIONS.values():
        errors = {name: score(weather(), method).rmse for name, method in METHODS.items()}
        best = min(errors, key=errors.__getitem__)
        assert METHODS[best] is DEFAULT_METHOD


def test_errors_are_of_the_size_the_papers_report() -> None:
    # Parton & Logan report a mean absolute error of up to 2.64 K for air, Cesaraccio et al. an RMSE below 2 K
    # at most Californian stations; winter fronts may cost more, a wrong curve would cost far more.
    for weather in STATIONS.values():
        for method in METHODS.values():
            found = score(weather(), method)
            assert found.days > 340
            assert 0.8 < found.rmse < 2.1
            assert abs(found.bias) < 0.4


def test_the_documented_tables_are_current() -> None:
    text = DOCS.read_text(encoding="utf-8")
    assert with_tables(text) == text
