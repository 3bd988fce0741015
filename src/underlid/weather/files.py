"""Weather files: TMY3, EPW and plain CSV, recognised by their first lines.

TMY3 (Wilcox & Marion 2008, NREL/TP-581-43156) and EPW (EnergyPlus Auxiliary Programs, "EnergyPlus
Weather File (EPW) Data Dictionary") write local standard time, never summer time, and number hours
01:00 to 24:00. The number names the end of the hour: temperature, wind and humidity are read at that
moment, radiation is what fell in the hour before it. So 24:00 is midnight at the start of the next day.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from underlid.weather.plain import read_plain
from underlid.weather.rows import AIR_LIMITS_C, YEARS, Row, WeatherFileError, as_weather, read_rows, read_text
from underlid.weather.series import HOUR_S, TYPICAL_YEAR, Weather

_TMY3_COLUMNS = {
    "air_c": ("Dry-bulb (C)", *AIR_LIMITS_C),
    "wind_m_s": ("Wspd (m/s)", 0.0, 120.0),
    "humidity_pct": ("RHum (%)", 0.0, 110.0),
    "radiation_w_m2": ("GHI (W/m^2)", 0.0, 2000.0),
}

#: name: (column counted from 0, heading, low, high, missing from)
_EPW_COLUMNS = {
    "air_c": (6, "dry bulb temperature", *AIR_LIMITS_C, 99.9),
    "humidity_pct": (8, "relative humidity", 0.0, 110.0, 999.0),
    "radiation_w_m2": (13, "global horizontal radiation", 0.0, 2000.0, 9999.0),
    "wind_m_s": (21, "wind speed", 0.0, 120.0, 999.0),
}
#: Older files end before albedo and liquid precipitation, the last three of the 35 columns.
_EPW_WIDTHS = range(32, 36)
#: Words in an EPW's source field that mean a typical year (recalled).
_EPW_TYPICAL = ("TMY", "TRY", "RMY", "IWEC", "CWEC", "WYEC")


def demo_weather() -> Path:
    """The weather that ships with underlid: a typical year at Sand Point, Alaska (see data/README.md)."""
    return Path(str(resources.files("underlid.weather") / "data" / "sand_point.csv"))


def read_weather(
    path: str | Path,
    *,
    utc_offset_h: float | None = None,
    timezone: str | None = None,
    latitude: float | None = None,
    longitude: float | None = None,
    columns: Mapping[str, str] | None = None,
    typical: bool | None = None,
) -> Weather:
    """Read a weather file.

    Parameters
    ----------
    utc_offset_h, timezone : for a plain CSV whose times name no zone, how to take them: hours from UTC
        (a logger left on standard time) or an IANA name (a logger that changes with the clocks)
    latitude, longitude : degrees, north and east positive; a CSV of daily minima and maxima needs the
        latitude, as its hours hang on sunrise
    columns : for a plain CSV, heading in the file: heading that `underlid.weather.headings` knows
    typical : overrules what the file says of itself. A TMY3 or EPW file counts as a typical year when
        the months of its one year come from different years, or its source says so

    Raises
    ------
    WeatherFileError : one sentence on which file, line and column, what was found, and how to mend it
    """
    path = Path(path)
    text = read_text(path)
    lines = text.split("\n", 2)
    if lines[0].upper().startswith("LOCATION,"):
        return _read_epw(path, text, typical)
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        return _read_tmy3(path, text, typical)
    if typical:
        raise WeatherFileError(path, "only a TMY3 or EPW file can be read as a typical year; leave “typical” out.")
    return read_plain(
        path,
        text,
        utc_offset_h=utc_offset_h,
        timezone=timezone,
        latitude=latitude,
        longitude=longitude,
        columns=columns or {},
    )


def _read_tmy3(path: Path, text: str, typical: bool | None) -> Weather:
    rows = read_rows(path, text)
    place, headings = next(rows), next(rows, None)
    if len(place.cells) != 7:
        raise place.error(f"found {len(place.cells)} fields where TMY3 names the station in 7; fetch the file again.")
    if headings is None or headings.cells[1:2] != ("Time (HH:MM)",) or "Dry-bulb (C)" not in headings.cells:
        raise (headings or place).error(
            "“Time (HH:MM)” or “Dry-bulb (C)” is not among the headings; fetch the file again."
        )
    index = {}
    for name, (heading, low, high) in _TMY3_COLUMNS.items():
        if heading in headings.cells:
            index[name] = (headings.cells.index(heading), heading, low, high)
    stamps = []
    columns: dict[str, list[float]] = {name: [] for name in index}
    for row in rows:
        _check_width(row, len(headings.cells))
        stamps.append((row, *_tmy3_stamp(row)))
        for name, (at, heading, low, high) in index.items():
            columns[name].append(row.number(at, heading, low=low, high=high))
    return _of_year(
        path,
        stamps,
        columns,
        typical=typical,
        source=f"TMY3 file {path.name}, {place.cells[1].title()} {place.cells[2]}",
        utc_offset_h=_offset(place, 3),
        latitude=place.number(4, "latitude", low=-90.0, high=90.0),
        longitude=place.number(5, "longitude", low=-180.0, high=180.0),
    )


def _tmy3_stamp(row: Row) -> tuple[int, int, int, int]:
    date, time = row.cells[0].split("/"), row.cells[1].split(":")
    if len(date) != 3 or len(time) != 2 or not all(p.isdecimal() and p.isascii() for p in date + time):
        raise row.error(
            f"found {row.cells[0][:20]!r} {row.cells[1][:20]!r} where a date as 01/31/1997 and a time as 13:00 belong."
        )
    month, day, year, hour, minute = (int(part[:6]) for part in date + time)
    if minute:
        raise row.error(f"found the time {row.cells[1]}; a TMY3 file has whole hours only.", "Time (HH:MM)")
    return year, month, day, hour


def _read_epw(path: Path, text: str, typical: bool | None) -> Weather:
    rows = read_rows(path, text)
    place = next(rows)
    if len(place.cells) < 10:
        raise place.error(f"found {len(place.cells)} fields where LOCATION has 10; fetch the file again.")
    _pass_epw_header(path, rows)
    stamps = []
    columns: dict[str, list[float]] = {name: [] for name in _EPW_COLUMNS}
    width = 0
    for row in rows:
        width = width or len(row.cells)
        if width not in _EPW_WIDTHS:
            raise row.error(f"found {width} columns where an EPW row has 35; fetch the file again.")
        _check_width(row, width)
        parts = zip(("year", "month", "day", "hour"), (1, 1, 1, 1), (9999, 12, 31, 24), strict=True)
        year, month, day, hour = (row.whole(i, name, low, high) for i, (name, low, high) in enumerate(parts))
        stamps.append((row, year, month, day, hour))
        for name, (at, heading, low, high, missing) in _EPW_COLUMNS.items():
            columns[name].append(row.number(at, heading, low=low, high=high, missing_from=missing))
    if typical is None and any(word in place.cells[4].upper() for word in _EPW_TYPICAL):
        typical = True
    return _of_year(
        path,
        stamps,
        columns,
        typical=typical,
        source=f"EPW file {path.name}, {place.cells[1]} {place.cells[3]}",
        utc_offset_h=_offset(place, 8),
        latitude=place.number(6, "latitude", low=-90.0, high=90.0),
        longitude=place.number(7, "longitude", low=-180.0, high=180.0),
    )


def _pass_epw_header(path: Path, rows: Iterator[Row]) -> None:
    """Read up to and including the DATA PERIODS line, which ends an EPW's header."""
    for row in rows:
        if row.cells[0].upper() == "DATA PERIODS":
            if len(row.cells) > 2 and row.whole(2, "records per hour", 1, 60) != 1:
                raise row.error(f"the file has {row.cells[2]} records an hour; export it with one.")
            return
        if row.line > 50:
            break
    raise WeatherFileError(path, "the header has no DATA PERIODS line; fetch the file again.")


def _check_width(row: Row, width: int) -> None:
    if len(row.cells) != width:
        raise row.error(
            f"found {len(row.cells)} columns where {width} belong; the file may have been cut short, fetch it again."
        )


def _offset(place: Row, at: int) -> float:
    offset = place.number(at, "time zone", low=-14.0, high=14.0)
    if offset != offset:
        raise place.error("the station's time zone is empty; fetch the file again.", "time zone")
    return round(offset * 4) / 4  # no zone is finer than a quarter of an hour


def _of_year(
    path: Path,
    stamps: list[tuple[Row, int, int, int, int]],
    columns: dict[str, list[float]],
    *,
    typical: bool | None,
    source: str,
    utc_offset_h: float,
    latitude: float,
    longitude: float,
) -> Weather:
    """Place hours 1 to 24 of local standard time: a typical year in `TYPICAL_YEAR`, others in their own."""
    if typical is None:
        # A season that runs over New Year has two years as well, but does not start in January.
        years = {year for _, year, *_ in stamps}
        typical = len(years) > 1 and stamps[0][2] == 1 and len(stamps) <= 366 * 24
    times: list[int] = []
    for row, year, month, day, hour in stamps:
        in_year = TYPICAL_YEAR if typical else year
        if not (1 <= month <= 12 and in_year in YEARS and 1 <= day <= calendar.monthrange(in_year, month)[1]):
            raise row.error(f"found the date {year}-{month:02d}-{day:02d}, which is not in the calendar of the year.")
        if not 1 <= hour <= 24:
            raise row.error(f"found hour {hour}; hours run from 1 to 24.")
        midnight = int(datetime(in_year, month, day, tzinfo=UTC).timestamp())
        time = midnight + hour * HOUR_S - round(utc_offset_h * HOUR_S)
        if times and time <= times[-1]:
            what = "stands twice" if time == times[-1] else "comes after a later one"
            raise row.error(
                f"the hour {year}-{month:02d}-{day:02d} {hour:02d}:00 {what}; put the rows in order, once each."
            )
        times.append(time)
    if typical and times and len(times) != 365 * 24:
        raise WeatherFileError(
            path,
            f"found {len(times)} hours where a typical year has 8760; if the file was cut short, fetch it again.",
        )
    return as_weather(
        path,
        times,
        columns,
        source=source,
        utc_offset_h=utc_offset_h,
        typical=typical,
        latitude=None if latitude != latitude else latitude,
        longitude=None if longitude != longitude else longitude,
    )
