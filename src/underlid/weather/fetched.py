"""Hours fetched from a forecast source: joined to those fetched before, and kept as a plain CSV.

The file is one that `underlid.weather.read_weather` reads. Its column `when_fetched` says of each hour whether it lay
behind (`past`) or ahead (`forecast`) when its source was asked; its remarks say where it is from.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from underlid.weather.files import read_weather
from underlid.weather.remarks import MARK, head, place_in, remarks_of
from underlid.weather.rows import read_rows, read_text
from underlid.weather.series import HOUR_S, Floats, Weather

#: Credit, licence, and that nothing but the joining is ours, as CC BY 4.0 asks.
CREDIT = (
    "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0 "
    "(https://creativecommons.org/licenses/by/4.0/); hours joined, values unchanged"
)

#: Air cools by about 0.65 degC in 100 m of height (standard atmosphere): beyond this, heights do not mix [m].
SAME_HEIGHT_M = 30.0

_COLUMNS = ("air_c", "wind_m_s", "humidity_pct", "radiation_w_m2")
_HEADINGS = ("time_utc", *_COLUMNS, "when_fetched")


class NotOurFile(ValueError):
    """The file was not made by fetching weather, so it is not written over."""


class AnotherPlace(ValueError):
    """The file holds the weather of another place or height, and the two do not mix."""


@dataclass(frozen=True, slots=True, eq=False)
class Fetched:
    """Fetched hours.

    Attributes
    ----------
    weather : the hours, with the place that was asked for
    forecast : (n,) True where the hour lay ahead when it was fetched
    at : when the newest of it was fetched
    address : whom we asked
    elevation_m : height above the sea that the air temperature stands for [m]
    """

    weather: Weather
    forecast: NDArray[np.bool_]
    at: datetime
    address: str
    elevation_m: float | None

    @property
    def known(self) -> NDArray[np.bool_]:
        """(n,) True where the hour has an air temperature."""
        return ~np.isnan(self.weather.air_c)

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know of these hours, in sentences."""
        height = "" if self.elevation_m is None else f" at {self.elevation_m:.0f} m above the sea"
        found = [
            "The air is that of weather models for a place to 0.1 degree"
            f"{height}, not of a thermometer at the bin; hours after {self.at:%Y-%m-%d %H:%M} UTC are a forecast."
        ]
        left = self.weather.time_utc[self.forecast & self.known & (self.weather.time_utc < self.at.timestamp())]
        if len(left):
            found.append(
                f"{len(left)} past hours, the last {_iso(left[-1])}, hold forecasts that no later fetch replaced."
            )
        return (*found, *self.weather.notes)


def source_of(at: datetime, place: str) -> str:
    """Where fetched weather is from, in words; the credit that its licence asks for is part of them."""
    return f"{CREDIT}; for {place}, fetched {at:%Y-%m-%d %H:%M} UTC"


def place_words(latitude: float, longitude: float) -> str:
    """A place to 0.1 degree, as it is asked for and as a file's remarks name it."""
    return f"{round(latitude, 1) + 0.0:.1f},{round(longitude, 1) + 0.0:.1f}"  # + 0.0 makes -0.0 plain


def join(earlier: Fetched, later: Fetched) -> Fetched:
    """The hours of both; where they overlap the newer fetch holds, save where it knows nothing.

    Raises AnotherPlace if they are not of one place and height.
    """
    if earlier.at > later.at:
        earlier, later = later, earlier
    before, after = (place_words(*_place(each)) for each in (earlier, later))
    if before != after:
        raise AnotherPlace(f"The file holds the weather of {before}, not of {after}; name another file with --out.")
    heights = earlier.elevation_m, later.elevation_m
    if heights[0] is not None and heights[1] is not None and abs(heights[0] - heights[1]) > SAME_HEIGHT_M:
        raise AnotherPlace(
            f"The file holds the air at {heights[0]:.0f} m above the sea and this is at {heights[1]:.0f} m; "
            "name another file with --out."
        )
    ends = [time for each in (earlier, later) for time in each.weather.time_utc[[0, -1]]]
    grid = np.arange(min(ends), max(ends) + HOUR_S, HOUR_S, dtype=np.int64)

    def laid(each: Fetched, name: str) -> Floats:
        out = np.full(len(grid), np.nan)
        column = getattr(each.weather, name)
        if column is not None:
            out[_within(grid, each)] = column
        return out

    def joined(name: str) -> Floats:
        new = laid(later, name)
        return np.where(np.isnan(new), laid(earlier, name), new)

    forecast = np.zeros(len(grid), dtype=np.bool_)
    for each in (earlier, later):
        forecast[_within(grid, each)[each.known]] = each.forecast[each.known]
    weather = replace(
        later.weather,
        time_utc=grid,
        filled=np.zeros(len(grid), dtype=np.bool_),
        air_c=joined("air_c"),
        wind_m_s=joined("wind_m_s"),
        humidity_pct=joined("humidity_pct"),
        radiation_w_m2=joined("radiation_w_m2"),
        notes=(*earlier.weather.notes, *later.weather.notes),
    )
    return replace(later, weather=weather, forecast=forecast)


def as_csv(fetched: Fetched) -> str:
    """The file's text; hours of which nothing is known are left out, and so read as gaps."""
    latitude, longitude = _place(fetched)
    known = replace(fetched, weather=replace(fetched.weather, notes=()))
    remarks = [
        ("place", place_words(latitude, longitude)),
        ("fetched", fetched.at.isoformat(timespec="seconds")),
        ("address", fetched.address),
        ("credit", CREDIT),
        *(("note", note) for note in known.notes),
    ]
    if fetched.elevation_m is not None:
        remarks.insert(1, ("elevation", f"{fetched.elevation_m:.0f} m"))
    out = io.StringIO()
    out.write(head(remarks))
    table = csv.writer(out, lineterminator="\n")
    table.writerow(_HEADINGS)
    empty = np.full(len(fetched.forecast), np.nan)
    held = [getattr(fetched.weather, name) for name in _COLUMNS]
    columns = np.column_stack([empty if column is None else column for column in held])
    for time, values, ahead in zip(fetched.weather.time_utc, columns, fetched.forecast, strict=True):
        if not np.isnan(values).all():
            table.writerow((_iso(time), *map(_cell, values), "forecast" if ahead else "past"))
    return out.getvalue()


def read_fetched(path: Path) -> Fetched:
    """The hours in a file that `as_csv` made.

    Raises NotOurFile for any other, and what `read_weather` raises for one that was damaged since.
    """
    text = read_text(path)
    remarks = remarks_of(text)
    said = dict(remarks)
    place = place_in(remarks)
    if place[0] is None:
        raise NotOurFile(
            f"{path} is there already and does not begin with “{MARK}” and a place, so it is not written over; "
            "name another file with --out."
        )
    weather = replace(read_weather(path, utc_offset_h=0.0), notes=())
    forecast = np.zeros(len(weather.time_utc), dtype=np.bool_)
    try:
        at = datetime.fromisoformat(said["fetched"].rstrip(",")).astimezone(UTC)
        top, *rows = read_rows(path, text)
        time_at, ahead_at = top.cells.index("time_utc"), top.cells.index("when_fetched")
        for row in rows:
            moment = datetime.fromisoformat(row.cells[time_at])
            hour = (round(moment.timestamp()) - int(weather.time_utc[0])) // HOUR_S
            forecast[hour] = row.cells[ahead_at] == "forecast"
        height = float(said["elevation"].split()[0]) if "elevation" in said else None
    except (KeyError, ValueError, IndexError, OverflowError):
        raise NotOurFile(
            f"{path} was changed since it was fetched and cannot be added to; name another file with --out."
        ) from None
    return Fetched(weather, forecast, at, said.get("address", ""), height)


def _within(grid: NDArray[np.int64], each: Fetched) -> NDArray[np.int64]:
    """Where an earlier or later fetch's hours stand on the common grid."""
    return np.asarray((each.weather.time_utc - grid[0]) // HOUR_S, dtype=np.int64)


def _place(fetched: Fetched) -> tuple[float, float]:
    latitude, longitude = fetched.weather.latitude, fetched.weather.longitude
    assert latitude is not None
    assert longitude is not None
    return latitude, longitude


def _iso(time: int) -> str:
    return f"{datetime.fromtimestamp(int(time), UTC):%Y-%m-%dT%H:%MZ}"


def _cell(value: float) -> str:
    # The shortest digits that give the value back, never with an exponent.
    return "" if np.isnan(value) else np.format_float_positional(value, trim="-")
