"""Plain CSV weather: a logger's hours, or a station's daily minimum and maximum.

`underlid.weather.headings` says which headings are understood. Commas, semicolons, tabs and bars
separate; a decimal comma is understood; blank lines and lines that start with # are passed over, save in a
file that underlid fetched, whose remarks give its place, its credit and its notes (`underlid.weather.remarks`).
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from underlid.weather.headings import Meaning, meaning
from underlid.weather.hourly import DEFAULT_METHOD, sun_times
from underlid.weather.remarks import place_in, remarks_of
from underlid.weather.rows import MAX_YEARS, Row, WeatherFileError, as_weather, read_rows
from underlid.weather.series import DAY_S, HOUR_S, Weather
from underlid.weather.stamps import Clock, day_first, read_clock, read_date, standard_offset_h

#: Readings off the hour are joined by a straight line if they stand no further apart than this [s].
MAX_STEP_S = 5400

_DELIMITERS = ",;\t|"


@dataclass(frozen=True, slots=True)
class _Table:
    path: Path
    headings: tuple[str, ...]
    rows: list[Row]
    columns: dict[str, tuple[int, Meaning]]  # by quantity

    def heading(self, quantity: str) -> str:
        return self.headings[self.columns[quantity][0]]

    def value(self, row: Row, quantity: str) -> float:
        at, means = self.columns[quantity]
        try:
            return means.convert(row.number(at, self.headings[at], low=means.low, high=means.high))
        except WeatherFileError as refusal:
            if means.assumed == "°C" and "outside" in str(refusal):
                found = f"found {row.cells[at][:20]}, no air temperature in °C; if it is in °F, end the heading in _f."
                raise row.error(found, self.headings[at]) from None
            raise


def read_plain(
    path: Path,
    text: str,
    *,
    utc_offset_h: float | None,
    timezone: str | None,
    latitude: float | None,
    longitude: float | None,
    columns: Mapping[str, str],
) -> Weather:
    """Read delimited text. Arguments are those of `underlid.weather.read_weather`."""
    if utc_offset_h is not None and not (-14.0 <= utc_offset_h <= 14.0 and (utc_offset_h * 4) % 1 == 0):
        raise ValueError(f"A UTC offset of {utc_offset_h:g} h is none; give hours from -14 to 14, in quarters.")
    table = _table(path, text, columns)
    zone = _zone(timezone, utc_offset_h)
    remarks = remarks_of(text)
    if latitude is None and longitude is None:
        latitude, longitude = place_in(remarks)
    if "air_c" not in table.columns and {"tmin_c", "tmax_c"} <= table.columns.keys():
        return _daily(table, zone, latitude, longitude)
    weather = _hourly(table, zone, latitude, longitude)
    credit = "".join(f", {said}" for word, said in remarks if word == "credit")
    notes = tuple(said for word, said in remarks if word == "note")
    return replace(weather, source=weather.source + credit, notes=(*notes, *weather.notes))


def _table(path: Path, text: str, renamed: Mapping[str, str]) -> _Table:
    delimiter = _delimiter(text)
    rows = list(read_rows(path, text, delimiter))
    if not rows:
        raise WeatherFileError(path, "the file holds nothing but remarks; fetch or export it again.")
    top = rows.pop(0)
    for heading, known in renamed.items():
        if heading not in top.cells:
            raise top.error(f"there is no heading {heading!r}; the file has {_listed(top.cells)}.")
        if meaning(known) is None:
            raise ValueError(
                f"{known!r} is no heading underlid knows; say for example time, air_c, temp_f or wind_m_s."
            )
    found: dict[str, tuple[int, Meaning]] = {}
    for at, heading in enumerate(top.cells):
        means = meaning(renamed.get(heading, heading))
        if means is None or (renamed and heading not in renamed and means.quantity in _targets(renamed)):
            continue
        if means.quantity in found:
            other = top.cells[found[means.quantity][0]]
            raise top.error(f"the headings {other!r} and {heading!r} mean the same; keep one, or say which to read.")
        found[means.quantity] = (at, means)
    for row in rows:
        if len(row.cells) != len(top.cells):
            found_text = f"found {len(row.cells)} columns where the heading has {len(top.cells)}"
            raise row.error(f"{found_text}; mend the row, or fetch the file again if it was cut short.")
    if "air_c" not in found and not {"tmin_c", "tmax_c"} <= found.keys():
        raise top.error(
            "no column is an air temperature; head it air_c or temp_f, or tmin and tmax for days. "
            f"The file has {_listed(top.cells)}."
        )
    if not found.keys() & {"time", "time_utc", "date"}:
        raise top.error(f"no column is a time; head it time, or date. The file has {_listed(top.cells)}.")
    if not rows:
        raise WeatherFileError(path, "there are headings but no rows of data; fetch or export the file again.")
    return _Table(path, top.cells, rows, found)


def _targets(renamed: Mapping[str, str]) -> set[str]:
    return {means.quantity for means in map(meaning, renamed.values()) if means}


def _listed(headings: tuple[str, ...]) -> str:
    return ", ".join(repr(heading[:30]) for heading in headings[:8]) + (" ..." if len(headings) > 8 else "")


def _delimiter(text: str) -> str:
    """The separator that parts the heading line most; a comma if none does."""
    top = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    return max(_DELIMITERS, key=lambda mark: len(next(csv.reader([top], delimiter=mark), [])))


def _zone(timezone: str | None, utc_offset_h: float | None) -> ZoneInfo | float | None:
    if timezone is None:
        return utc_offset_h
    if utc_offset_h is not None:
        raise ValueError("Give either the zone's name or the hours from UTC, not both.")
    try:
        return ZoneInfo(timezone)
    except (KeyError, ValueError, OSError):
        raise ValueError(f"There is no time zone {timezone!r}; use a name such as Europe/Berlin.") from None


def _standard(zone: ZoneInfo | float | None, year: int) -> float | None:
    if isinstance(zone, ZoneInfo):
        return round(standard_offset_h(zone, max(year, 1972)) * 4) / 4
    return zone


def _assumed(table: _Table) -> tuple[str, ...]:
    return tuple(
        f"The heading {table.headings[at]!r} names no unit; it was read as {means.assumed}."
        for at, means in table.columns.values()
        if means.assumed
    )


def _hourly(table: _Table, zone: ZoneInfo | float | None, latitude: float | None, longitude: float | None) -> Weather:
    names = [name for name in ("air_c", "wind_m_s", "humidity_pct", "radiation_w_m2") if name in table.columns]
    columns: dict[str, list[float]] = {name: [] for name in names}
    times, written = _times(table, zone)
    for row in table.rows:
        for name in names:
            columns[name].append(table.value(row, name))
    notes = _assumed(table)
    offset = _standard(zone, datetime.fromtimestamp(times[0], UTC).year)
    if offset is None and written - {0}:
        offset = min(written) / HOUR_S
    if offset is None:
        offset = 0.0 if longitude is None else float(round(longitude / 15.0))
        notes += (f"The file gives no local time; local standard time was taken as UTC{offset:+g} h.",)
    if any((time + offset * HOUR_S) % HOUR_S for time in times):
        times, columns = _onto_hours(table, times, columns, round(offset * HOUR_S))
        notes += ("Readings off the hour were joined by straight lines and read at the hour.",)
    return as_weather(
        table.path,
        times,
        columns,
        source=f"CSV file {table.path.name}",
        utc_offset_h=offset,
        latitude=latitude,
        longitude=longitude,
        notes=notes,
    )


def _times(table: _Table, zone: ZoneInfo | float | None) -> tuple[list[int], set[int]]:
    """The rows' instants, and the offsets from UTC written in them [s]."""
    quantity = next(name for name in ("time_utc", "date", "time") if name in table.columns)
    at, heading = table.columns[quantity][0], table.heading(quantity)
    # A date that stands alone carries its time in the same cell.
    time_at = next((table.columns[q][0] for q in ("time", "hour") if q in table.columns and quantity == "date"), None)
    clock = Clock(0.0 if quantity == "time_utc" else zone)
    first = day_first(table.rows, at, heading)
    times, written = [], set()
    for row in table.rows:
        day, rest = read_date(row, row.cells[at], heading, day_comes_first=first)
        if time_at is not None:
            heading, rest = table.headings[time_at], row.cells[time_at]
            if "hour" in table.columns and "time" not in table.columns:
                rest = f"{row.whole(time_at, heading, 0, 24):02d}:00"
        stamp = read_clock(row, day, rest, heading)
        times.append(clock.instant(row, stamp, heading))
        if stamp.offset_s is not None:
            written.add(stamp.offset_s)
    return times, written


def _onto_hours(
    table: _Table, times: list[int], columns: dict[str, list[float]], offset_s: int
) -> tuple[list[int], dict[str, list[float]]]:
    """Straight lines between readings, read at whole hours of local standard time; NaN across long steps."""
    if times[-1] - times[0] > MAX_YEARS * 366 * DAY_S:
        raise WeatherFileError(table.path, f"the rows span more than {MAX_YEARS} years; look for a mistyped year.")
    first, last = -(-(times[0] + offset_s) // HOUR_S), (times[-1] + offset_s) // HOUR_S
    if last < first:
        raise WeatherFileError(table.path, "the readings do not reach over one whole hour; export a longer stretch.")
    hours = np.arange(first, last + 1) * HOUR_S - offset_s
    out = {}
    for name, values in columns.items():
        known = ~np.isnan(values)
        at, read = np.asarray(times)[known], np.asarray(values)[known]
        if len(at) == 0:
            out[name] = [float("nan")] * len(hours)
            continue
        line = np.interp(hours, at, read, left=np.nan, right=np.nan)
        after = np.clip(np.searchsorted(at, hours), 0, len(at) - 1)
        step = at[after] - at[np.maximum(after - 1, 0)]
        line[(step > MAX_STEP_S) & (at[after] != hours)] = np.nan
        out[name] = line.tolist()
    return hours.tolist(), out


def _daily(table: _Table, zone: ZoneInfo | float | None, latitude: float | None, longitude: float | None) -> Weather:
    path = table.path
    if "date" not in table.columns:
        raise WeatherFileError(path, "daily minima and maxima need a column of dates; head it date.")
    if latitude is None:
        raise WeatherFileError(path, "days become hours by sunrise and sunset; give the place's latitude.")
    at, heading = table.columns["date"][0], table.heading("date")
    first = day_first(table.rows, at, heading)
    days: list[date] = []
    low: list[float] = []
    high: list[float] = []
    for row in table.rows:
        day, _ = read_date(row, row.cells[at], heading, day_comes_first=first)
        if days and day <= days[-1]:
            what = "stands twice" if day == days[-1] else "is earlier than the row before"
            raise row.error(f"the day {day} {what}; put the rows in order, once each.", heading)
        days.append(day)
        low.append(table.value(row, "tmin_c"))
        high.append(table.value(row, "tmax_c"))
        if low[-1] > high[-1]:
            raise row.error(f"the minimum of {day} is above its maximum; swap or mend them.", table.heading("tmin_c"))
    count = (days[-1] - days[0]).days + 1
    if count > MAX_YEARS * 366:
        raise WeatherFileError(path, f"the rows span more than {MAX_YEARS} years; look for a mistyped year.")
    offset = _standard(zone, days[0].year)
    if offset is None and longitude is not None:
        offset = float(round(longitude / 15.0))
    if offset is None:
        raise WeatherFileError(
            path, "sunrise needs the clock; give the place's longitude, its zone or its hours from UTC."
        )
    tmin, tmax = np.full((2, count), np.nan)
    where = [(day - days[0]).days for day in days]
    tmin[where], tmax[where] = low, high
    if np.isnan(tmin + tmax).all():
        raise WeatherFileError(path, "not one day holds both a minimum and a maximum; check those columns.")
    of_year = np.array([(days[0] + timedelta(days=i)).timetuple().tm_yday for i in range(count)])
    sunrise, sunset = sun_times(of_year, latitude, 15.0 * offset if longitude is None else longitude, offset)
    start = int(datetime(days[0].year, days[0].month, days[0].day, tzinfo=UTC).timestamp()) - round(offset * HOUR_S)
    return as_weather(
        path,
        [start + HOUR_S * hour for hour in range(count * 24)],
        {"air_c": DEFAULT_METHOD(tmin, tmax, sunrise, sunset).tolist()},
        source=f"daily CSV file {path.name}",
        utc_offset_h=offset,
        latitude=latitude,
        longitude=longitude,
        notes=(
            *_assumed(table),
            "Hours were made from each day's minimum and maximum; expect about 1 to 2 °C of error.",
        ),
    )
