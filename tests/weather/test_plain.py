from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from underlid.weather import Weather, WeatherFileError, gaps, parton_logan, read_weather, sun_times

from .samples import newark, package_file, write_newark

HOURS = "time,air_c\n2024-01-01 00:00,1.5\n2024-01-01 01:00,1.7\n"


def read(tmp_path: Path, content: str, **how: object) -> Weather:
    path = tmp_path / "w.csv"
    path.write_text(content, encoding="utf-8")
    return read_weather(path, **how)  # type: ignore[arg-type]


def local(tmp_path: Path, content: str, **how: object) -> list[str]:
    return [str(time)[5:16] for time in read(tmp_path, content, **how).local_time]


def test_a_loggers_hours(tmp_path: Path) -> None:
    weather = read(tmp_path, HOURS, utc_offset_h=1.0)
    assert weather.air_c.tolist() == [1.5, 1.7]
    assert weather.time_utc[0] == np.datetime64("2023-12-31T23:00").astype("datetime64[s]").astype(int)
    assert weather.utc_offset_h == 1.0
    assert not weather.typical
    assert weather.notes == ()
    assert weather.wind_m_s is None


@pytest.mark.parametrize(
    "content",
    [
        "Time;Air Temp. (°C);Wind [km/h]\n2024-01-31 13:00;-1,5;36\n2024-01-31 14:00;-2,0;18\n",
        "time\ttemp_f\twind_mph\n2024-01-31T13:00:00\t29.3\t22.3694\n2024-01-31T14:00:00\t28.4\t11.1847\n",
        "date,time,air_c,wind_m_s\n31.1.2024,13:00,-1.5,10\n31.1.2024,14:00,-2,5\n",
        "date,hour,air_c,wind_m_s\n31/01/2024,13,-1.5,10\n31/01/2024,14,-2,5\n",
        "date,time,air_c,wind_m_s\n1/31/2024,1:00 PM,-1.5,10\n1/31/2024,2:00 pm,-2,5\n",
        "\ufeff# my logger\n\ntime|air_c|wind_m_s|battery\n2024/01/31 13:00|-1.5|10|ok\n2024/01/31 14:00|-2.0|5|ok\n\n",
        'time,air_c,wind_m_s\n2024-01-31 13:00,"-1,5",10\n2024-01-31 14:00,"-2,0",5\n',
    ],
)
def test_the_same_weather_in_many_hands(tmp_path: Path, content: str) -> None:
    weather = read(tmp_path, content, utc_offset_h=0)
    assert [str(t) for t in weather.local_time] == ["2024-01-31T13:00:00", "2024-01-31T14:00:00"]
    assert weather.air_c == pytest.approx([-1.5, -2.0])
    assert weather.wind_m_s == pytest.approx([10.0, 5.0], rel=1e-5)


def test_missing_hours_and_empty_cells_are_gaps(tmp_path: Path) -> None:
    weather = read(tmp_path, HOURS + "2024-01-01 03:00,\n2024-01-01 04:00,NA\n2024-01-01 05:00,2\n", utc_offset_h=0)
    assert [gap.hours for gap in gaps(weather)] == [3]
    assert len(weather.air_c) == 6


def test_a_heading_without_a_unit_is_noted(tmp_path: Path) -> None:
    weather = read(tmp_path, HOURS.replace("air_c", "temp"), utc_offset_h=0)
    assert weather.notes == ("The heading 'temp' names no unit; it was read as °C.",)
    with pytest.raises(
        WeatherFileError, match=r"line 2, column temp: found 71\.5, no air temperature in °C; if it is in °F"
    ):
        read(tmp_path, HOURS.replace("air_c", "temp").replace("1.5", "71.5"), utc_offset_h=0)


def test_headings_can_be_told(tmp_path: Path) -> None:
    odd = "when,shed,porch\n2024-01-01 00:00,50,1.5\n"
    weather = read(tmp_path, odd, columns={"when": "time", "shed": "air_f"}, utc_offset_h=0)
    assert weather.air_c == pytest.approx([10.0])
    with pytest.raises(
        WeatherFileError, match="line 1: there is no heading 'barn'; the file has 'when', 'shed', 'porch'"
    ):
        read(tmp_path, odd, columns={"barn": "air_f"}, utc_offset_h=0)
    with pytest.raises(ValueError, match="'kelvin' is no heading underlid knows"):
        read(tmp_path, odd, columns={"shed": "kelvin"}, utc_offset_h=0)


@pytest.mark.parametrize(
    ("times", "offset"),
    [
        (("2024-07-01T00:00:00Z", "2024-07-01 01:00 UTC"), 0.0),
        (("2024-07-01T00:00+00:00", "2024-07-01T01:00+0000"), 0.0),
        (("2024-06-30T20:00-04:00", "2024-06-30T21:00-04"), -4.0),
    ],
)
def test_times_that_name_their_offset(tmp_path: Path, times: tuple[str, str], offset: float) -> None:
    weather = read(tmp_path, f"time,air_c\n{times[0]},1\n{times[1]},2\n")
    assert [str(t) for t in weather.time_utc.astype("datetime64[s]")] == ["2024-07-01T00:00:00", "2024-07-01T01:00:00"]
    assert weather.utc_offset_h == offset
    assert bool(weather.notes) == (offset == 0.0)  # UTC tells no local time, and that is noted


def test_a_utc_column_and_a_longitude(tmp_path: Path) -> None:
    weather = read(tmp_path, HOURS.replace("time", "time_utc"), longitude=-160.5)
    assert weather.utc_offset_h == -11.0
    assert "taken as UTC-11 h" in weather.notes[0]


def test_times_without_a_zone_are_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="line 2, column time: the time names no zone; give the place's zone"):
        read(tmp_path, HOURS)
    with pytest.raises(ValueError, match="no time zone 'Mars/Olympus'"):
        read(tmp_path, HOURS, timezone="Mars/Olympus")
    with pytest.raises(ValueError, match="not both"):
        read(tmp_path, HOURS, timezone="Europe/Berlin", utc_offset_h=1)
    with pytest.raises(ValueError, match="UTC offset of 99 h is none"):
        read(tmp_path, HOURS, utc_offset_h=99)


def test_summer_time_ends_and_the_hour_stands_twice(tmp_path: Path) -> None:
    clock = ["01:00", "02:00", "02:00", "03:00"]
    content = "time,air_c\n" + "".join(f"2024-10-27 {time},{i}\n" for i, time in enumerate(clock))
    weather = read(tmp_path, content, timezone="Europe/Berlin")
    assert weather.air_c.tolist() == [0, 1, 2, 3]
    assert weather.utc_offset_h == 1.0
    with pytest.raises(WeatherFileError, match=r"line 4.* stands twice; .*if the clocks went back here, give the zone"):
        read(tmp_path, content, utc_offset_h=1)


def test_summer_time_ends_with_half_hours(tmp_path: Path) -> None:
    clock = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    content = "time,air_c\n" + "".join(f"2024-10-27 {time},{i}\n" for i, time in enumerate(clock))
    assert read(tmp_path, content, timezone="Europe/Berlin").air_c.tolist() == [1, 3, 5]


def test_summer_time_begins(tmp_path: Path) -> None:
    good = "time,air_c\n2024-03-31 01:00,0\n2024-03-31 03:00,1\n"
    assert local(tmp_path, good, timezone="Europe/Berlin") == ["03-31T01:00", "03-31T02:00"]
    with pytest.raises(WeatherFileError, match="2024-03-31 02:00 was skipped when the clocks went forward in Europe"):
        read(tmp_path, good.replace("03:00", "02:00"), timezone="Europe/Berlin")


def test_readings_off_the_hour_are_read_at_the_hour(tmp_path: Path) -> None:
    content = "time,air_c\n2024-01-01 00:51,1\n2024-01-01 01:51,7\n2024-01-01 04:51,9\n2024-01-01 05:03,10\n"
    weather = read(tmp_path, content, utc_offset_h=0)
    assert weather.air_c == pytest.approx([1.9, np.nan, np.nan, np.nan, 9.75], nan_ok=True)
    assert "joined by straight lines" in weather.notes[0]
    with pytest.raises(WeatherFileError, match="do not reach over one whole hour"):
        read(tmp_path, "time,air_c\n2024-01-01 00:10,1\n2024-01-01 00:50,7\n", utc_offset_h=0)


def test_zones_off_the_hour(tmp_path: Path) -> None:
    assert local(tmp_path, HOURS, timezone="Asia/Kolkata") == ["01-01T00:00", "01-01T01:00"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (HOURS + "2024-01-01 01:00,2\n", "line 4, column time: the time 2024-01-01 01:00 stands twice; put"),
        (HOURS + "2023-01-01 01:00,2\n", "line 4, column time: the time 2023-01-01 01:00 is earlier than the row"),
        (HOURS + "2024-01-01 02:00\n", "line 4: found 1 columns where the heading has 2"),
        (HOURS + "2024-01-01 02:00,warm\n", "line 4, column air_c: found 'warm' where a number belongs"),
        (HOURS + "2024-01-01 02:00,-99\n", "line 4, column air_c: found -99, outside -90 to 60"),
        (HOURS + "yesterday,2\n", "line 4, column time: found 'yesterday' where a date belongs"),
        (HOURS + "2024-02-30 01:00,2\n", "found the date '2024-02-30 01:00', which is not in the calendar"),
        (HOURS + "9999-12-31 24:00,2\n", "found the year 9999"),
        (HOURS + "2024-01-01 noon,2\n", "found 'noon' where a time of day belongs"),
        (HOURS + "2024-01-01 25:00,2\n", "found '25:00', which is no time of day"),
        (HOURS + "2024-01-01 13:00 pm,2\n", "hours run from 1 to 12"),
        (HOURS + "2024-01-01 13:00+19:00,2\n", "offsets reach 14 hours"),
        (HOURS.replace("2024-01-01 00", "1805-01-01 00"), "the rows span 219 years"),
        (HOURS.replace("2024-01-01 00:00", "1805-01-01 00:30"), "the rows span more than 200 years"),
        ("time,air_c\n", "headings but no rows of data"),
        ("# nothing\n", "nothing but remarks"),
        ("time,wind\n2024-01-01 00:00,2\n", "no column is an air temperature; head it air_c or temp_f"),
        ("air_c,wind\n1,2\n", "no column is a time; head it time, or date. The file has 'air_c', 'wind'"),
        ("time,air_c,temp_f\n2024-01-01 00:00,1,2\n", "the headings 'air_c' and 'temp_f' mean the same"),
        ("time,air_c\n01/02/2024 00:00,1\n01/02/2024 01:00,1\n", "no row shows which number is the day"),
        ("time,air_c\n2024-01-01 00:00,\n", "not one row holds an air temperature"),
        ("date,hour,air_c\n2024-01-01,1.5,2\n", "column hour: found '1.5' where a whole number belongs"),
        ("gibberish", "no column is an air temperature"),
    ],
)
def test_bad_rows_are_refused_in_one_sentence(tmp_path: Path, content: str, said: str) -> None:
    with pytest.raises(WeatherFileError) as caught:
        read(tmp_path, content, utc_offset_h=0)
    assert said in str(caught.value)
    assert str(caught.value).startswith("w.csv")


def test_a_plain_file_is_no_typical_year(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="only a TMY3 or EPW file"):
        read(tmp_path, HOURS, utc_offset_h=0, typical=True)


def test_newark_has_its_known_cold_and_its_gaps(tmp_path: Path) -> None:
    weather = newark()
    assert weather.air_c[np.nanargmin(weather.air_c)] == pytest.approx(-11.7, abs=0.05)
    assert str(weather.local_time[np.nanargmin(weather.air_c)])[:10] == "2013-01-23"
    # 8703 rows, one of them without a temperature; the grid runs from the first to the last.
    assert sum(gap.hours for gap in gaps(weather)) == len(weather.air_c) - 8702
    with pytest.raises(WeatherFileError, match=r"line 1011, column wind_speed: found 1048\.36058, outside"):
        read_weather(write_newark(tmp_path / "n.csv"), columns={"temp": "temp_f", "time_hour": "time_utc"})


# Days


def test_seattles_days_become_hours() -> None:
    path = package_file("vega_datasets", "_data", "seattle-weather.csv")
    weather = read_weather(path, latitude=47.6, longitude=-122.3, timezone="America/Los_Angeles")
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(weather.air_c) == 24 * len(rows) == 24 * 1461
    low, high = (np.array([float(row[key]) for row in rows]) for key in ("temp_min", "temp_max"))
    assert low.min() == -7.1
    by_day = weather.air_c.reshape(-1, 24)
    assert np.median(np.abs(by_day.max(axis=1) - high)) < 0.5
    assert np.median(np.abs(by_day.min(axis=1) - low)) < 0.5
    assert str(weather.local_time[0]) == "2012-01-01T00:00:00"
    assert "Hours were made from each day's minimum and maximum" in weather.notes[-1]
    assert "'temp_min' names no unit" in " ".join(weather.notes)


def test_days_in_fahrenheit_with_a_gap(tmp_path: Path) -> None:
    content = "date,tmin_f,tmax_f\n2024-01-01,23,41\n2024-01-03,23,41\n2024-01-04,,41\n"
    weather = read(tmp_path, content, latitude=50.0, utc_offset_h=1)
    assert [gap.hours for gap in gaps(weather)] == [24, 24]
    rise, fall = sun_times(np.array([1]), 50.0, 15.0, 1.0)
    assert weather.air_c[:24] == pytest.approx(
        parton_logan(np.array([-5.0]), np.array([5.0]), rise, fall), abs=1e-3
    )  # tomorrow's sunrise moves


@pytest.mark.parametrize(
    ("content", "how", "said"),
    [
        ("date,tmin,tmax\n2024-01-01,3,1\n", {}, "line 2, column tmin: the minimum of 2024-01-01 is above its maximum"),
        ("date,tmin,tmax\n2024-01-01,1,3\n2024-01-01,1,3\n", {}, "line 3, column date: the day 2024-01-01 stands"),
        ("date,tmin,tmax\n2024-01-02,1,3\n2024-01-01,1,3\n", {}, "the day 2024-01-01 is earlier"),
        ("date,tmin,tmax\n2024-01-01,,3\n", {}, "not one day holds both"),
        ("date,tmin,tmax\n2024-01-01,1,3\n", {"latitude": None}, "give the place's latitude"),
        ("date,tmin,tmax\n2024-01-01,1,3\n", {"utc_offset_h": None}, "sunrise needs the clock"),
        ("date,tmin,tmax\n1820-01-01,1,3\n2024-01-01,1,3\n", {}, "span more than 200 years"),
        ("time,tmin,tmax\n2024-01-01 00:00,1,3\n", {}, "need a column of dates"),
    ],
)  # fmt: skip
def test_bad_days_are_refused(tmp_path: Path, content: str, how: dict[str, object], said: str) -> None:
    with pytest.raises(WeatherFileError) as caught:
        read(tmp_path, content, **({"latitude": 50.0, "utc_offset_h": 1} | how))
    assert said in str(caught.value)
