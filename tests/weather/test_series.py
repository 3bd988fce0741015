from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.weather import NotATypicalYear, Weather, demo_weather, fill_gaps, gaps, lay_over, read_weather
from underlid.weather.series import calendar_hour, first_hour

JAN_1 = int(datetime(2024, 1, 1, tzinfo=UTC).timestamp())


def hours(*air: float, offset: float = 0.0) -> Weather:
    n = len(air)
    times = JAN_1 + 3600 * np.arange(n, dtype=np.int64)
    return Weather(times, np.array(air), np.zeros(n, dtype=np.bool_), "a test", utc_offset_h=offset)


def test_weather_cannot_be_changed() -> None:
    weather = hours(1.0, 2.0)
    with pytest.raises(ValueError, match="read-only"):
        weather.air_c[0] = 3.0
    with pytest.raises(FrozenInstanceError):
        weather.source = "another"  # type: ignore[misc]


def test_weather_needs_an_unbroken_hourly_grid() -> None:
    weather = hours(1.0, 2.0, 3.0)
    with pytest.raises(ValueError, match="without a break"):
        replace(weather, time_utc=weather.time_utc * 2)
    with pytest.raises(ValueError, match="whole hours"):
        replace(weather, time_utc=weather.time_utc + 60)
    with pytest.raises(ValueError, match=r"wind_m_s has shape \(1,\)"):
        replace(weather, wind_m_s=np.array([1.0]))
    with pytest.raises(ValueError, match="at least one hour"):
        hours()


def test_gaps_are_found_at_both_ends_and_between() -> None:
    nan = np.nan
    found = gaps(hours(nan, 1.0, nan, nan, 2.0, nan))
    assert [(gap.start.hour, gap.end.hour, gap.hours) for gap in found] == [(0, 0, 1), (2, 3, 2), (5, 5, 1)]
    assert gaps(hours(1.0)) == ()


def test_a_short_gap_is_bridged_by_a_line_and_marked() -> None:
    weather = hours(0.0, np.nan, np.nan, 3.0)
    filled = fill_gaps(weather, max_hours=2)
    assert filled.air_c.tolist() == [0.0, 1.0, 2.0, 3.0]
    assert filled.filled.tolist() == [False, True, True, False]
    assert np.isnan(weather.air_c[1])  # the weather given is untouched


def test_gaps_that_may_not_be_filled_stay() -> None:
    nan = np.nan
    assert np.isnan(fill_gaps(hours(0.0, nan, nan, 3.0), max_hours=1).air_c[1])
    assert np.isnan(fill_gaps(hours(nan, 1.0, nan), max_hours=9).air_c[[0, 2]]).all()
    # Ten hours need a daily course, and there is no whole day either side.
    assert len(gaps(fill_gaps(hours(0.0, *[nan] * 10, 3.0), max_hours=10))) == 1


def test_a_long_gap_takes_the_daily_course() -> None:
    hour = np.arange(24 * 8)
    truth = 5.0 * np.sin(2 * np.pi * hour / 24) + 0.05 * hour
    cut = truth.copy()
    cut[80:101] = np.nan
    filled = fill_gaps(hours(*cut), max_hours=24)
    assert filled.air_c == pytest.approx(truth)
    assert filled.filled.sum() == 21


@given(st.lists(st.one_of(st.floats(-40, 40), st.just(np.nan)), min_size=1, max_size=80), st.integers(0, 30))
def test_filling_never_touches_what_was_read(air: list[float], longest: int) -> None:
    weather = hours(*air)
    filled = fill_gaps(weather, max_hours=longest)
    known = ~np.isnan(weather.air_c)
    assert np.array_equal(filled.air_c[known], weather.air_c[known])
    assert not filled.filled[known].any()
    assert not np.isnan(filled.air_c[filled.filled]).any()


def test_calendar_hours_over_a_leap_day() -> None:
    moments = [(2023, 2, 28, 5), (2024, 2, 28, 5), (2024, 2, 29, 5), (2024, 3, 1, 0), (2023, 3, 1, 0), (2100, 3, 1, 0)]
    times = np.array([int(datetime(*m, tzinfo=UTC).timestamp()) for m in moments])
    expected = 58 * 24 + 5
    assert calendar_hour(times, 0.0).tolist() == [expected, expected, expected, 59 * 24, 59 * 24, 59 * 24]
    assert calendar_hour(np.array([JAN_1]), -1.0).tolist() == [8759]


def test_the_first_hour_counts_in_local_time() -> None:
    assert first_hour(datetime(2024, 1, 1, tzinfo=UTC), 0.0) == JAN_1
    assert first_hour(datetime(2024, 1, 1, 0, 1, tzinfo=UTC), 1.0) == JAN_1 + 3600
    assert first_hour(datetime(2024, 1, 1, tzinfo=UTC), 5.5) == JAN_1 + 1800  # 06:00 in India


def test_a_typical_year_over_real_dates() -> None:
    year = read_weather(demo_weather())
    start, end = datetime(2023, 12, 31, 9, tzinfo=UTC), datetime(2024, 3, 2, 9, tzinfo=UTC)
    laid = lay_over(year, start, end)
    assert laid.typical
    assert "laid over 2023-12-31 to 2024-03-02" in laid.source
    assert len(laid.air_c) == (end - start).total_seconds() / 3600
    assert not np.isnan(laid.air_c).any()
    local = laid.local_time
    # UTC 09:00 is midnight in Sand Point, and 31 December 00:00 stands in the file as the 30th, 24:00.
    assert str(local[0]) == "2023-12-31T00:00:00"
    day = local.astype("datetime64[D]")
    assert np.array_equal(
        laid.air_c[day == np.datetime64("2024-02-29")], laid.air_c[day == np.datetime64("2024-02-28")]
    )
    coldest = laid.air_c == -10.6
    assert {str(d) for d in day[coldest]} >= {"2024-02-21"}
    assert laid.wind_m_s is not None
    assert len(laid.wind_m_s) == len(laid.air_c)


def test_a_laid_year_is_the_same_year() -> None:
    year = read_weather(demo_weather())
    start = datetime.fromtimestamp(int(year.time_utc[0]), UTC)
    end = datetime.fromtimestamp(int(year.time_utc[-1]) + 1, UTC)
    assert np.array_equal(lay_over(year, start, end).air_c, year.air_c)


def test_what_cannot_be_laid_over_dates_is_refused() -> None:
    year = read_weather(demo_weather())
    day = datetime(2024, 1, 1, tzinfo=UTC)
    with pytest.raises(NotATypicalYear, match="real weather, not a typical year"):
        lay_over(hours(1.0), day, day)
    with pytest.raises(ValueError, match="no whole hour"):
        lay_over(year, day, day)
    with pytest.raises(ValueError, match="no time zone"):
        lay_over(year, day.replace(tzinfo=None), day)


def test_weather_travels_between_processes() -> None:
    weather = replace(hours(1.0, np.nan), wind_m_s=np.array([2.0, 3.0]))
    back = pickle.loads(pickle.dumps(weather))
    assert np.array_equal(back.air_c, weather.air_c, equal_nan=True)
    assert back.source == weather.source
    assert back.wind_m_s.tolist() == [2.0, 3.0]
