from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from underlid.weather import ClimateError, Weather, climate, demo_weather, fill_gaps, hour_range, members, read_weather
from underlid.weather.climate import SHIFTS_D

from .samples import newark


def real(start: datetime, end: datetime) -> Weather:
    """Weather whose temperature tells its date: year - 2000 + day of the year / 1000."""
    times = np.arange(int(start.timestamp()), int(end.timestamp()), 3600, dtype=np.int64)
    moments = [datetime.fromtimestamp(int(time), UTC) for time in times]
    air = np.array([moment.year - 2000 + moment.timetuple().tm_yday / 1000 for moment in moments])
    return Weather(times, air, np.zeros(len(air), dtype=np.bool_), f"real weather from {start.year}")


def day(year: int, month: int = 1, number: int = 1, hour: int = 0) -> datetime:
    return datetime(year, month, number, hour, tzinfo=UTC)


def test_one_typical_year() -> None:
    year = read_weather(demo_weather())
    gathered = climate([year])
    assert gathered.air_c.shape == (1, 8760)
    assert gathered.years == (None,)
    assert gathered.notes == ("The range comes from one typical year: real winters differ more.",)
    # Row 0 starts at local midnight of 1 January, which the file has as 24:00 of 31 December.
    assert gathered.air_c[0, 0] == year.air_c[-1]
    assert gathered.air_c[0, 1] == year.air_c[0]


def test_hour_range_against_numpy() -> None:
    gathered = climate([newark(), replace(newark(), time_utc=newark().time_utc + 365 * 86400)])
    found = hour_range(gathered)
    assert found.shape == (8760, 3)
    table = gathered.air_c.reshape(2, 365, 24)
    for at_day, hour in ((0, 0), (15, 7), (200, 13), (364, 23)):
        near = [(at_day + shift) % 365 for shift in range(-15, 16)]
        expected = np.nanpercentile(table[:, near, hour], [5, 50, 95])
        assert found[at_day * 24 + hour] == pytest.approx(expected)


def test_hour_range_knows_what_it_does_not_know() -> None:
    gathered = climate([real(day(2020), day(2020, 2, 1))])
    found = hour_range(gathered)
    assert not np.isnan(found[0]).any()
    assert np.isnan(found[24 * 180]).all()
    assert np.all(np.diff(found[:24], axis=1) >= 0)


def test_members_keep_whole_years_over_new_year() -> None:
    gathered = climate([real(day(2020), day(2023))])
    found = members(gathered, day(2025, 12, 31), 48)
    assert found.shape == (3 * len(SHIFTS_D), 48)
    # Unshifted: 31 December of a year, then 1 January of the next; the last year turns back to its own.
    assert found[:3, 0] == pytest.approx([20.366, 21.365, 22.365])
    assert found[:3, 24] == pytest.approx([21.001, 22.001, 22.001])
    # Shifted by -15 days: 16 December.
    assert found[3:6, 0] == pytest.approx([20.351, 21.350, 22.350])
    # Shifted by 5 days, 31 December is 5 January of the next year.
    at = 3 * SHIFTS_D.index(5)
    assert found[at : at + 3, 0] == pytest.approx([21.005, 22.005, 22.005])


def test_members_of_january_reach_back_to_december() -> None:
    gathered = climate([real(day(2020), day(2022))])
    found = members(gathered, day(2030), 24)
    at = 2 * SHIFTS_D.index(-5)
    assert found[at : at + 2, 0] == pytest.approx([20.362, 20.362])  # 27 December 2020, a leap year's day 362


def test_the_leap_day_repeats_the_28th() -> None:
    gathered = climate([real(day(2021), day(2022))])
    found = members(gathered, day(2024, 2, 28), 72)
    assert found[0, [0, 24, 48]] == pytest.approx([21.059, 21.059, 21.060])


def test_members_start_at_the_first_local_hour() -> None:
    year = read_weather(demo_weather())
    found = members(climate([year]), datetime(2025, 1, 1, 9, 30, tzinfo=UTC), 3)  # 00:30 in Sand Point
    assert found[0].tolist() == year.air_c[:3].tolist()


def test_members_across_gaps_are_left_out() -> None:
    gathered = climate([newark()])
    assert "2013 lacks" in gathered.notes[-1]
    with pytest.raises(ClimateError, match="No past year covers these dates without a gap"):
        members(gathered, day(2024, 1, 2), 24 * 363)
    assert not np.isnan(members(gathered, day(2024, 7, 1), 24)).any()
    filled = climate([fill_gaps(newark(), max_hours=72)])
    assert np.isnan(filled.air_c).sum() < np.isnan(gathered.air_c).sum()


def test_years_in_separate_files_that_end_at_midnight() -> None:
    # As EPW files of real years: 01:00 on 1 January to 24:00 on 31 December.
    files = [real(day(year, hour=1), day(year + 1, hour=1)) for year in (2021, 2022)]
    gathered = climate(files)
    assert gathered.years == (2021, 2022)
    assert np.isnan(gathered.air_c).sum() == 0
    assert len(members(gathered, day(2025, 12, 20), 24 * 30)) == 14
    assert gathered.notes == ("The range comes from 2 past years: the next winter may well lie outside it.",)


def test_winters_alone_are_enough_for_winter() -> None:
    gathered = climate([real(day(2020, 11), day(2021, 4)), real(day(2021, 11), day(2022, 4))])
    found = members(gathered, day(2025, 12, 1), 24 * 60)
    assert found[0, 0] == pytest.approx(20.336)
    assert found[0, -1] == pytest.approx(21.029)
    assert len(found) == 2 * len(SHIFTS_D)


def test_typical_and_real_years_together() -> None:
    typical = replace(real(day(2001), day(2002)), typical=True)
    gathered = climate([typical, real(day(2019), day(2020))])
    assert gathered.years == (2019, None)
    assert "A typical year stands among the real years" in gathered.notes[0]
    assert members(gathered, day(2025, 12, 31), 48)[:2, 24] == pytest.approx([19.001, 1.001])


def test_what_is_no_climate_is_refused() -> None:
    year = real(day(2021), day(2022))
    with pytest.raises(ClimateError, match="at least one year"):
        climate([])
    with pytest.raises(ClimateError, match="The year 2021 is given twice"):
        climate([year, year])
    with pytest.raises(ClimateError, match="different local times"):
        climate([year, replace(year, utc_offset_h=1.0)])
    with pytest.raises(ClimateError, match="less than a day"):
        climate([real(day(2021), day(2021, hour=5))])
    with pytest.raises(ValueError, match="no time zone"):
        members(climate([year]), datetime(2024, 1, 1), 24)
    with pytest.raises(ValueError, match="ask for 1 or more"):
        members(climate([year]), day(2024), 0)
