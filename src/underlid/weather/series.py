"""Weather as an hourly series: what was read, where the gaps are, and how they may be filled.

Every value stands at an instant on the hour. Temperature, wind and humidity are the values at that
instant; radiation is the mean over the hour that ends there (the convention of TMY3 and EPW files).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOUR_S = 3600
DAY_S = 86400

#: A typical year belongs to no real year; its hours are dated in this one, which has no 29 February.
TYPICAL_YEAR = 2001

#: Up to this length a gap is bridged by a straight line; beyond, the daily course does better (docs/weather.md) [h].
LINEAR_HOURS = 6

_COLUMNS = ("air_c", "wind_m_s", "humidity_pct", "radiation_w_m2")


class NotATypicalYear(ValueError):
    """Only a typical year can be laid over other dates; real weather stays on its own."""


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """An hourly series. Arrays are (n,) and read-only; NaN marks an hour that is missing.

    Attributes
    ----------
    time_utc : whole hours of local standard time, in seconds since 1970-01-01 UTC, without a break
    air_c : air temperature [degC]
    filled : True where `air_c` was filled by us rather than read
    source : where it came from, in words
    typical : a typical year, whose months come from different years: real years differ more
    utc_offset_h : local standard time minus UTC [h]
    latitude, longitude : degrees, north and east positive
    wind_m_s, humidity_pct, radiation_w_m2 : wind speed, relative humidity, global horizontal radiation
    notes : sentences on what was assumed while reading
    """

    time_utc: NDArray[np.int64]
    air_c: Floats
    filled: NDArray[np.bool_]
    source: str
    typical: bool = False
    utc_offset_h: float = 0.0
    latitude: float | None = None
    longitude: float | None = None
    wind_m_s: Floats | None = None
    humidity_pct: Floats | None = None
    radiation_w_m2: Floats | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.time_utc)
        if n == 0:
            raise ValueError("Weather needs at least one hour.")
        if np.any((self.time_utc + self.utc_offset_s) % HOUR_S) or np.any(np.diff(self.time_utc) != HOUR_S):
            raise ValueError("Weather times must be whole hours of local standard time, without a break.")
        for name in ("time_utc", "filled", *_COLUMNS):
            column = getattr(self, name)
            if column is None:
                continue
            if column.shape != (n,):
                raise ValueError(f"Weather has {n} times but {name} has shape {column.shape}.")
            frozen = column.copy()
            frozen.flags.writeable = False
            object.__setattr__(self, name, frozen)

    @property
    def utc_offset_s(self) -> int:
        """Local standard time minus UTC, in seconds."""
        return round(self.utc_offset_h * HOUR_S)

    @property
    def local_time(self) -> NDArray[np.datetime64]:
        """Local standard time of each hour, (n,), to the second."""
        return (self.time_utc + self.utc_offset_s).astype("datetime64[s]")


@dataclass(frozen=True, slots=True)
class Gap:
    """A run of hours with no air temperature: the first and the last missing hour, and how many."""

    start: datetime
    end: datetime
    hours: int


def gaps(weather: Weather) -> tuple[Gap, ...]:
    """The gaps in the air temperature, earliest first."""
    times = [(int(weather.time_utc[a]), int(weather.time_utc[b - 1]), b - a) for a, b in _runs(weather.air_c)]
    return tuple(Gap(datetime.fromtimestamp(a, UTC), datetime.fromtimestamp(b, UTC), n) for a, b, n in times)


def fill_gaps(weather: Weather, *, max_hours: int, linear_hours: int = LINEAR_HOURS) -> Weather:
    """Fill the air temperature's gaps of up to `max_hours`; longer ones stay gaps.

    Up to `linear_hours` a straight line joins the hours either side. A longer gap takes the daily
    course of the nearest whole days before and after, mixed by nearness, and tilted to meet the
    hours either side. A gap with nothing on one side, or with no such days, is left as it is.
    Wind, humidity and radiation stay as read.
    """
    air = weather.air_c.copy()
    filled = weather.filled.copy()
    for first, after in _runs(weather.air_c):
        hours = after - first
        if hours > max_hours or first == 0 or after == len(air):
            continue
        bridge = np.interp(np.arange(first, after), [first - 1, after], weather.air_c[[first - 1, after]])
        values = bridge if hours <= linear_hours else _daily_course(weather.air_c, first, after)
        if values is not None:
            air[first:after] = values
            filled[first:after] = True
    return replace(weather, air_c=air, filled=filled)


def lay_over(weather: Weather, start_utc: datetime, end_utc: datetime) -> Weather:
    """A typical year laid over real dates, hour by hour from `start_utc` up to `end_utc` (excluded).

    Each hour takes the value of the same month, day and hour in local standard time; 29 February
    repeats the 28th. The result is still a typical year: nobody measured these hours.
    """
    if not weather.typical:
        raise NotATypicalYear(f"{weather.source} is real weather, not a typical year; use its own dates.")
    for name, moment in (("start_utc", start_utc), ("end_utc", end_utc)):
        if moment.tzinfo is None:
            raise ValueError(f"{name} has no time zone; give one, such as UTC.")
    first, last = (first_hour(moment, weather.utc_offset_h) for moment in (start_utc, end_utc))
    if first >= last:
        raise ValueError(f"The dates {start_utc} to {end_utc} hold no whole hour; the end must be later.")
    times = np.arange(first, last, HOUR_S, dtype=np.int64)
    where = calendar_hour(times, weather.utc_offset_h)
    of_year = np.full(365 * 24, -1)
    of_year[calendar_hour(weather.time_utc, weather.utc_offset_h)] = np.arange(len(weather.air_c))
    take = of_year[where]

    def laid(column: Floats | None) -> Floats | None:
        return None if column is None else np.where(take < 0, np.nan, column[take])

    air = laid(weather.air_c)
    assert air is not None
    return replace(
        weather,
        time_utc=times,
        air_c=air,
        filled=np.where(take < 0, False, weather.filled[take]),
        source=f"{weather.source}, laid over {start_utc:%Y-%m-%d} to {end_utc:%Y-%m-%d}",
        wind_m_s=laid(weather.wind_m_s),
        humidity_pct=laid(weather.humidity_pct),
        radiation_w_m2=laid(weather.radiation_w_m2),
    )


def first_hour(moment: datetime, utc_offset_h: float) -> int:
    """The first whole hour of local standard time at or after a moment, in seconds since 1970 UTC."""
    offset_s = round(utc_offset_h * HOUR_S)
    return math.ceil((moment.timestamp() + offset_s) / HOUR_S) * HOUR_S - offset_s


def calendar_hour(time_utc: NDArray[np.int64], utc_offset_h: float) -> NDArray[np.int64]:
    """Hour of the calendar year in local standard time, 0 to 8759; 29 February counts as the 28th."""
    local = (time_utc + round(utc_offset_h * HOUR_S)).astype("datetime64[s]")
    year = local.astype("datetime64[Y]")
    day = (local.astype("datetime64[D]") - year.astype("datetime64[D]")).astype(np.int64)
    number = year.astype(np.int64) + 1970
    leap = (number % 4 == 0) & ((number % 100 != 0) | (number % 400 == 0))
    day = day - (leap & (day >= 59))  # day 59 of a leap year, counted from 0, is 29 February
    hour = (local - local.astype("datetime64[D]")).astype(np.int64) // HOUR_S
    return np.asarray(day * 24 + hour, dtype=np.int64)


def _runs(values: Floats) -> list[tuple[int, int]]:
    """Runs of NaN as (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], np.isnan(values), [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _daily_course(air: Floats, first: int, after: int) -> Floats | None:
    """The gap [first, after) from the days either side, or None where those days are not whole."""
    span = np.arange(first - 1, after + 1)  # with the known hour either side
    days = -(-(after - first + 1) // 24)
    before, later = span - 24 * days, span + 24 * days
    if before[0] < 0 or later[-1] >= len(air):
        return None
    weight = np.linspace(1.0, 0.0, len(span))
    course = weight * air[before] + (1.0 - weight) * air[later]
    if np.isnan(course).any():
        return None
    miss = np.interp(span, span[[0, -1]], air[span[[0, -1]]] - course[[0, -1]])
    return np.asarray((course + miss)[1:-1], dtype=np.float64)
