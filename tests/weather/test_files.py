from __future__ import annotations

import csv
import os
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from underlid.weather import WeatherFileError, demo_weather, read_weather

from .samples import EPW_HEADER, GREENSBORO, SAND_POINT, epw_row, package_file, pvlib_year

DEMO = demo_weather().read_text(encoding="ascii")
DEMO_LINES = DEMO.splitlines()
YEAR = [datetime(2001, 1, 1) + timedelta(days=day) for day in range(365)]


def refusal(path: Path, content: str | bytes, **how: object) -> str:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(WeatherFileError) as caught:
        read_weather(path, **how)  # type: ignore[arg-type]
    said = str(caught.value)
    assert said.startswith(path.name)
    assert "\n" not in said
    return said


def changed(line: int, text: str) -> str:
    """The demo file with one line, counted from 1, in other words."""
    lines = list(DEMO_LINES)
    lines[line - 1] = text
    return "\n".join(lines) + "\n"


# TMY3


def test_the_demo_file_is_pvlibs_file_on_the_columns_it_kept() -> None:
    with package_file("pvlib", "data", SAND_POINT).open(newline="") as file:
        theirs = list(csv.reader(file))
    ours = list(csv.reader(DEMO.splitlines()))
    assert ours[0] == theirs[0]
    keep = [theirs[1].index(heading) for heading in ours[1]]
    assert [[row[i] for i in keep] for row in theirs[1:]] == ours[1:]


def test_known_facts_of_sand_point() -> None:
    weather = read_weather(demo_weather())
    assert len(weather.air_c) == 8760
    assert weather.typical
    assert weather.air_c.min() == -10.6
    assert str(weather.local_time[weather.air_c.argmin()])[4:10] == "-02-21"
    assert (weather.air_c < 0).sum() == 1640
    assert weather.air_c.mean() == pytest.approx(4.42, abs=0.005)
    assert (weather.latitude, weather.longitude, weather.utc_offset_h) == (55.317, -160.517, -9.0)
    assert "Sand Point AK" in weather.source
    assert not weather.filled.any()


def test_known_facts_of_greensboro() -> None:
    weather = pvlib_year(GREENSBORO)
    assert weather.air_c.min() == -16.7
    assert str(weather.local_time[weather.air_c.argmin()])[4:10] == "-02-05"
    assert (weather.air_c < 0).sum() == 792
    assert weather.air_c.mean() == pytest.approx(14.42, abs=0.005)


def test_the_hour_named_in_tmy3_is_its_end() -> None:
    weather = read_weather(demo_weather())
    assert str(weather.local_time[0]) == "2001-01-01T01:00:00"
    assert str(weather.local_time[-1]) == "2002-01-01T00:00:00"  # written 12/31, 24:00
    assert datetime.fromtimestamp(int(weather.time_utc[0]), UTC) == datetime(2001, 1, 1, 10, tzinfo=UTC)


def test_tmy3_columns_agree_with_pvlibs_reader() -> None:
    pytest.importorskip("pvlib")
    from pvlib.iotools import read_tmy3

    theirs, _ = read_tmy3(package_file("pvlib", "data", GREENSBORO), coerce_year=2001, map_variables=True)
    ours = pvlib_year(GREENSBORO)
    seconds = (theirs.index.tz_convert("UTC").tz_localize(None) - np.datetime64("1970-01-01")).total_seconds()
    assert np.array_equal(ours.time_utc[:-1], seconds.to_numpy()[:-1])  # pvlib puts the last hour in 2001
    for name, column in (
        ("temp_air", ours.air_c),
        ("wind_speed", ours.wind_m_s),
        ("relative_humidity", ours.humidity_pct),
        ("ghi", ours.radiation_w_m2),
    ):
        assert column is not None, name
        assert np.array_equal(theirs[name].to_numpy(), column), name


def test_the_missing_code_of_tmy3_is_a_gap(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text(changed(3, "01/01/1997,01:00,0,-9900,-9900,2.1"))
    weather = read_weather(path)
    assert np.isnan(weather.air_c[0])
    assert not np.isnan(weather.air_c[1])


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (changed(100, "01/05/1997,02:00,0,wet,93,2.1"), "line 100, column Dry-bulb (C): found 'wet' where a number"),
        (changed(100, "01/05/1997,02:00,0,-95.0,93,2.1"), "found -95.0, outside -90 to 60"),
        (changed(100, "01/05/1997,02:00,0,4.0"), "line 100: found 4 columns where 6 belong"),
        (changed(100, DEMO_LINES[98]), "line 100: the hour 1997-01-05 01:00 stands twice"),
        (changed(100, DEMO_LINES[50]), "line 100: the hour 1997-01-03 01:00 comes after a later one"),
        (changed(100, "02/30/1997,02:00,0,4.0,93,2.1"), "1997-02-30, which is not in the calendar"),
        (changed(100, "01/05/1997,25:00,0,4.0,93,2.1"), "found hour 25"),
        (changed(100, "01/05/1997,02:30,0,4.0,93,2.1"), "whole hours only"),
        (changed(100, "5 Jan,02:00,0,4.0,93,2.1"), "where a date as 01/31/1997"),
        (changed(1, "703165,SAND POINT"), "line 1: found 2 fields where TMY3 names the station in 7"),
        (changed(1, '703165,"SAND POINT",AK,west,55.3,-160.5,7'), "column time zone: found 'west'"),
        (changed(1, '703165,"SAND POINT",AK,,55.3,-160.5,7'), "time zone is empty"),
        (changed(2, DEMO_LINES[1].replace("Dry-bulb", "Wet-bulb")), "“Dry-bulb (C)” is not among the headings"),
        (DEMO[:200_000], "where 6 belong; the file may have been cut short"),
        ("\n".join(DEMO_LINES[:5000]), "found 4998 hours where a typical year has 8760"),
        ("\n".join(DEMO_LINES[:2]), "found 0 hours"),
        (DEMO.replace("4.0", "\xff").encode("latin-1"), "found byte 0xff, which is not UTF-8"),
        (DEMO.encode("utf-16"), "UTF-16"),
        (b"PK\x03\x04" + bytes(50), "not a text file"),
        (b"\n\n  \n", "the file is empty"),
        (b"", "the file is empty"),
        (changed(100, '"01/05/1997,02:00,0,4.0,93,2.1'), "the row cannot be split"),
    ],
)  # fmt: skip
def test_a_bad_tmy3_file_is_refused_in_one_sentence(tmp_path: Path, content: str | bytes, said: str) -> None:
    heard = refusal(tmp_path / "bad.csv", content)
    if said == "found 0 hours":
        assert "no rows of data" in heard
    else:
        assert said in heard


def test_files_that_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match=r"none.csv: the file cannot be read \(No such file"):
        read_weather(tmp_path / "none.csv")
    with pytest.raises(WeatherFileError, match="cannot be read"):
        read_weather(tmp_path)
    if hasattr(os, "geteuid") and os.geteuid() != 0:
        locked = tmp_path / "locked.csv"
        locked.write_text(DEMO)
        locked.chmod(0)
        with pytest.raises(WeatherFileError, match="check its name and permissions"):
            read_weather(locked)


# EPW, written from the data dictionary in the EnergyPlus Auxiliary Programs documentation


def epw(source: str = "test", years: tuple[int, int] = (2020, 2021), days: int = 365) -> list[str]:
    rows = [
        epw_row(years[day.month > 6], day.month, day.day, hour, air=f"{day.month + hour / 100:.2f}")
        for day in YEAR[:days]
        for hour in range(1, 25)
    ]
    return EPW_HEADER.format(source=source).splitlines() + rows


def test_an_epw_of_two_years_is_typical(tmp_path: Path) -> None:
    path = tmp_path / "w.epw"
    lines = epw()
    lines[8] = epw_row(2020, 1, 1, 1, air="99.9", rh="999", ghi="9999", wind="999")
    path.write_text("\r\n".join(lines))
    weather = read_weather(path)
    assert weather.typical
    assert len(weather.air_c) == 8760
    assert (weather.latitude, weather.longitude, weather.utc_offset_h) == (52.5, 13.4, 1.0)
    for column in (weather.air_c, weather.humidity_pct, weather.radiation_w_m2, weather.wind_m_s):
        assert column is not None
        assert np.isnan(column[0])
        assert not np.isnan(column[1:]).any()
    assert weather.air_c[1] == 1.02
    assert weather.humidity_pct is not None
    assert weather.humidity_pct[1] == 80
    assert str(weather.local_time[0]) == "2001-01-01T01:00:00"


def test_an_epw_of_one_year_keeps_its_year_unless_its_source_is_typical(tmp_path: Path) -> None:
    path = tmp_path / "w.epw"
    path.write_text("\n".join(epw(years=(2020, 2020), days=40)))
    weather = read_weather(path)
    assert not weather.typical
    assert str(weather.local_time[0]) == "2020-01-01T01:00:00"
    assert len(weather.air_c) == 40 * 24
    path.write_text("\n".join(epw("IWEC Data", years=(2020, 2020))))
    assert read_weather(path).typical
    assert not read_weather(path, typical=False).typical


def test_a_winter_over_new_year_is_not_a_typical_year(tmp_path: Path) -> None:
    path = tmp_path / "w.epw"
    rows = [
        epw_row(year, month, day, hour) for year, month, day in ((2020, 12, 31), (2021, 1, 1)) for hour in range(1, 25)
    ]
    path.write_text(EPW_HEADER.format(source="x") + "\n".join(rows))
    weather = read_weather(path)
    assert not weather.typical
    assert len(weather.air_c) == 48


def test_columns_without_a_value_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "w.epw"
    lines = EPW_HEADER.format(source="x").splitlines()
    path.write_text("\n".join([*lines, *(epw_row(2020, 1, 1, h, wind="999") for h in range(1, 25))]))
    assert read_weather(path).wind_m_s is None


@pytest.mark.parametrize(
    ("line", "text", "said"),
    [
        (9, epw_row(2020, 1, 1, 1) + ",1", "found 36 columns where an EPW row has 35"),
        (10, epw_row(2020, 1, 1, 2)[:40], "columns where 35 belong"),
        (10, epw_row(2020, 1, 1, 2, air="x"), "line 10, column dry bulb temperature: found 'x'"),
        (10, epw_row(2020, 13, 1, 2), "column month: found 13, outside 1 to 12"),
        (10, epw_row(2020, 1, 1, 2).replace("2020", "2020.5"), "column year: found '2020.5' where a whole number"),
        (1, "LOCATION,Elsewhere", "line 1: found 2 fields where LOCATION has 10"),
        (8, "DATA PERIODS,1,4,Data", "line 8: the file has 4 records an hour"),
        (8, "COMMENTS 3", "no DATA PERIODS line"),
    ],
)
def test_a_bad_epw_is_refused(tmp_path: Path, line: int, text: str, said: str) -> None:
    lines = epw()
    lines[line - 1] = text
    assert said in refusal(tmp_path / "bad.epw", "\n".join(lines))


def test_an_epw_without_rows(tmp_path: Path) -> None:
    assert "no rows of data" in refusal(tmp_path / "w.epw", EPW_HEADER.format(source="TMY3"))
    one = EPW_HEADER.format(source="x") + epw_row(2020, 1, 1, 1, air="99.9")
    assert "not one row holds an air temperature" in refusal(tmp_path / "w.epw", one)


# Whatever the bytes are, the only refusal is ours.


def read_or_refuse(path: Path, content: bytes, **how: object) -> None:
    path.write_bytes(content)
    with suppress(WeatherFileError):
        read_weather(path, **how)  # type: ignore[arg-type]


PLAIN = b"time,air_c,wind\n2024-01-01 00:00,1.5,2\n2024-01-01 01:00,1.7,2\n2024-01-01 03:00,1.9,3\n"
DAILY = b"date;tmin;tmax\n1.1.2024;-1,5;3\n2.1.2024;-2;2,5\n4.1.2024;0;1\n"
SHORT_EPW = "\n".join([*epw(days=1)]).encode()
SHORT_TMY3 = "\n".join(DEMO_LINES[:30]).encode()
EVERY = st.sampled_from([PLAIN, DAILY, SHORT_EPW, SHORT_TMY3])
QUICK = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@QUICK
@given(content=st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda s: s.encode("utf-8", "replace"))))
def test_any_bytes(tmp_path: Path, content: bytes) -> None:
    read_or_refuse(tmp_path / "any", content)


@QUICK
@given(whole=EVERY, cut=st.floats(0, 1), length=st.integers(0, 30), put=st.binary(max_size=20), data=st.data())
def test_bytes_changed_in_a_good_file(
    tmp_path: Path, whole: bytes, cut: float, length: int, put: bytes, data: st.DataObject
) -> None:
    at = int(cut * len(whole))
    how = {"utc_offset_h": 1.0, "latitude": 52.0} if data.draw(st.booleans()) else {"timezone": "Europe/Berlin"}
    read_or_refuse(tmp_path / "changed", whole[:at] + put + whole[at + length :], **how)


TIMES = ["24:00", "29.2.2023", "2024-03-31 02:30", "0001-01-01", "9999-12-31 24:00", "2024-01-01T00:00Z"]
NUMBERS = ["", "NaN", "-9900", "99.9", "1e9", "-1e99", '"', "٣", "0x1F", "1_000"]
CELL = st.one_of(
    st.sampled_from(TIMES + NUMBERS),
    st.text(max_size=12),
    st.integers(-(10**12), 10**12).map(str),
    st.floats().map(str),
)


@QUICK
@given(whole=EVERY, row=st.integers(0, 40), column=st.integers(0, 40), cell=CELL, repeat=st.integers(0, 2))
def test_cells_changed_in_a_good_file(
    tmp_path: Path, whole: bytes, row: int, column: int, cell: str, repeat: int
) -> None:
    lines = whole.decode().splitlines()
    row %= len(lines)
    mark = ";" if whole is DAILY else ","
    cells = lines[row].split(mark)
    cells[column % len(cells)] = cell
    lines[row : row + 1] = [mark.join(cells)] * (repeat or 1)
    content = "\n".join(lines).encode("utf-8", "replace")
    read_or_refuse(tmp_path / "cells", content, timezone="America/New_York", latitude=40.0)
