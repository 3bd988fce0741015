"""What the air may do: the range for each hour of the year, and whole past sequences laid on new dates.

Members keep real weather whole: a cold spell keeps its length and its order, which hour-by-hour
ranges lose. One or few years hold too few winters, so each is also shifted by up to 15 days either
way in steps of 5 days (our convention). Shifting repeats the same weather, it does not make new winters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from underlid.weather.series import HOUR_S, Floats, Weather, calendar_hour, first_hour

HOURS_A_YEAR = 365 * 24
SHIFTS_D = (0, -15, -10, -5, 5, 10, 15)


class ClimateError(ValueError):
    """These years cannot serve as a climate: none given, given twice, or too full of gaps."""


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """Past years by hour of the calendar year in local standard time; 29 February is left out.

    Attributes
    ----------
    air_c : (years, 8760) [degC], NaN where missing; read-only
    years : the calendar year of each row, rising; None for a typical year, and those stand last
    utc_offset_h : local standard time minus UTC [h]
    notes : sentences to tell beside any result
    """

    air_c: Floats
    years: tuple[int | None, ...]
    utc_offset_h: float
    notes: tuple[str, ...]


def climate(weathers: Sequence[Weather]) -> Climate:
    """Gather past years; one `Weather` may hold many years, and typical years may stand among them."""
    if not weathers:
        raise ClimateError("A climate needs at least one year of weather; give a file.")
    offset = weathers[0].utc_offset_h
    if any(weather.utc_offset_h != offset for weather in weathers):
        raise ClimateError("The files have different local times; give weather of one place.")
    real: dict[int, Floats] = {}
    typical: list[Floats] = []
    for weather in weathers:
        if weather.typical:
            row = np.full(HOURS_A_YEAR, np.nan)
            row[calendar_hour(weather.time_utc, offset)] = weather.air_c
            typical.append(row)
        else:
            _add_years(real, weather)
    _close_years(real)
    years = sorted(real)
    air = np.array([real[year] for year in years] + typical)
    if len(air) == 0 or np.isnan(air).all():
        raise ClimateError("The files hold less than a day of weather; give at least one winter.")
    air.flags.writeable = False
    notes = _notes(air, years, len(typical))
    return Climate(air, (*years, *(None for _ in typical)), offset, notes)


def hour_range(climate: Climate, probs: Sequence[float] = (5.0, 50.0, 95.0), *, window_days: int = 15) -> Floats:
    """Percentiles of the air for each hour of the year, (8760, len(probs)) [degC].

    Each is taken over all years and over the same hour of the days up to `window_days` before and after.
    NaN where no year has any. Row i is hour i of the calendar year in local standard time.
    """
    by_day = climate.air_c.reshape(len(climate.air_c), 365, 24)
    near = np.concatenate([np.roll(by_day, shift, axis=1) for shift in range(-window_days, window_days + 1)])
    near = np.sort(near.reshape(len(near), HOURS_A_YEAR), axis=0)  # NaN last
    count = np.sum(~np.isnan(near), axis=0)
    # Linear percentiles among the known values only (np.nanpercentile does the same, far more slowly).
    at = np.asarray(probs)[:, None] / 100.0 * np.maximum(count - 1, 0)
    low = np.floor(at).astype(np.int64)
    high = np.minimum(low + 1, np.maximum(count - 1, 0))
    below, above = (np.take_along_axis(near, index, axis=0) for index in (low, high))
    return np.ascontiguousarray((below + (at - low) * (above - below)).T)


def members(climate: Climate, start_utc: datetime, hours: int) -> Floats:
    """Air trajectories over `hours` hours from `start_utc`, (members, hours) [degC].

    Column 0 is the first whole hour of local standard time at or after `start_utc`. Each past year is
    laid on the dates, unshifted years first, then shifted by each of `SHIFTS_D` in turn. A trajectory
    runs on into the following year where there is one, else back into its own January. 29 February
    repeats the 28th. Trajectories that would cross a missing hour are left out.

    Raises
    ------
    ClimateError : if every trajectory crosses a gap
    """
    if start_utc.tzinfo is None:
        raise ValueError("start_utc has no time zone; give one, such as UTC.")
    if hours < 1:
        raise ValueError(f"A trajectory of {hours} hours is none; ask for 1 or more.")
    times = first_hour(start_utc, climate.utc_offset_h) + HOUR_S * np.arange(hours, dtype=np.int64)
    at = calendar_hour(times, climate.utc_offset_h)
    local = (times + round(climate.utc_offset_h * HOUR_S)).astype("datetime64[s]").astype("datetime64[Y]")
    turn = (local - local[0]).astype(np.int64)
    row_of = {year: row for row, year in enumerate(climate.years) if year is not None}
    out = []
    for shift in SHIFTS_D:
        carried, hour = np.divmod(at + 24 * shift, HOURS_A_YEAR)
        for row, year in enumerate(climate.years):
            trajectory = climate.air_c[row, hour]
            for ahead in np.unique(turn + carried):
                follower = None if year is None else row_of.get(year + int(ahead))
                if follower is not None and ahead:
                    there = turn + carried == ahead
                    next_year = climate.air_c[follower, hour[there]]
                    trajectory[there] = np.where(np.isnan(next_year), trajectory[there], next_year)
            if not np.isnan(trajectory).any():
                out.append(trajectory)
    if not out:
        raise ClimateError("No past year covers these dates without a gap; fill the gaps or give more years.")
    return np.array(out)


def _add_years(real: dict[int, Floats], weather: Weather) -> None:
    local = weather.local_time
    year = local.astype("datetime64[Y]").astype(np.int64) + 1970
    # A leap year's 29 February would write over the 28th.
    kept = ~((local.astype("datetime64[M]").astype(np.int64) % 12 == 1) & _is_day_29(local))
    at = calendar_hour(weather.time_utc, weather.utc_offset_h)
    for number in np.unique(year):
        mine = kept & (year == number)
        row = real.setdefault(int(number), np.full(HOURS_A_YEAR, np.nan))
        if np.any(~np.isnan(row[at[mine]]) & ~np.isnan(weather.air_c[mine])):
            raise ClimateError(f"The year {number} is given twice, the second time in {weather.source}; give it once.")
        row[at[mine]] = np.where(np.isnan(weather.air_c[mine]), row[at[mine]], weather.air_c[mine])


def _is_day_29(local: np.ndarray[tuple[int], np.dtype[np.datetime64]]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    day = local.astype("datetime64[D]") - local.astype("datetime64[M]").astype("datetime64[D]")
    return np.asarray(day.astype(np.int64) == 28)


def _close_years(real: dict[int, Floats]) -> None:
    """Files that end at 24:00 leave one hour in the next year and lack their own first; mend the seam."""
    for year in sorted(real):
        following = real.get(year + 1)
        if following is not None and np.isnan(real[year][0]):
            real[year][0] = following[0]
    for year in [year for year, row in real.items() if np.sum(~np.isnan(row)) < 24]:
        del real[year]


def _notes(air: Floats, years: list[int], typical: int) -> tuple[str, ...]:
    notes = []
    if typical and not years:
        what = "one typical year" if typical == 1 else f"{typical} typical years"
        notes.append(f"The range comes from {what}: real winters differ more.")
    elif typical:
        notes.append("A typical year stands among the real years: it is milder and steadier than real winters.")
    elif len(years) < 10:
        what = "one past year" if len(years) == 1 else f"{len(years)} past years"
        notes.append(f"The range comes from {what}: the next winter may well lie outside it.")
    for row, year in zip(air, [*years, *["a typical year"] * typical], strict=True):
        missing = int(np.isnan(row).sum())
        if missing:
            notes.append(f"{str(year).capitalize()} lacks {missing} of 8760 hours; sequences across them are left out.")
    return tuple(notes)
