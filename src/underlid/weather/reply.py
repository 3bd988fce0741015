"""What Open-Meteo answers: JSON, read field by field, and refused as a whole if anything is not as asked.

Fields, units and the form of an error are those of Open-Meteo's published OpenAPI description of `/v1/forecast`.
Temperature, wind (at 10 m) and humidity stand at the hour; radiation is the mean of the hour before (its
documentation), which is our convention too.
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from typing import TypeGuard

import numpy as np
from numpy.typing import NDArray

from underlid.weather.fetched import Fetched, place_words, source_of
from underlid.weather.headings import KNOWN
from underlid.weather.series import HOUR_S, Floats, Weather

#: Open-Meteo's name for an hourly value: (ours, the unit we ask for).
VARIABLES = {
    "temperature_2m": ("air_c", "°C"),
    "wind_speed_10m": ("wind_m_s", "m/s"),
    "relative_humidity_2m": ("humidity_pct", "%"),
    "shortwave_radiation": ("radiation_w_m2", "W/m²"),
}

#: The centre of a model's grid cell lies nearer than this to the place [degrees of arc]: our judgement, as the
#: coarsest global models have cells of about a quarter to half a degree.
NEAR_DEGREES = 1.0


class WeatherSourceError(ValueError):
    """The weather source gave nothing that can be used: who, why, and what to do."""


class SourceRefused(WeatherSourceError):
    """The source answered that it will not serve this, with its own reason."""


class ReplyUnusable(WeatherSourceError):
    """The source answered, but not with the hours that were asked for."""


def read_reply(data: bytes, *, latitude: float, longitude: float, at: datetime, host: str, address: str) -> Fetched:
    """The hours in a reply of `/v1/forecast`; a null stays a gap.

    Parameters
    ----------
    latitude, longitude : the place asked for, in degrees
    at : when the reply was fetched; its hours must hold this moment
    host, address : whom we asked, for sentences and for the record

    Raises
    ------
    SourceRefused, ReplyUnusable : one sentence, and nothing of the reply is used
    """
    reader = _Reader(host)
    reply = reader.parse(data)
    if reply.get("error"):
        raise SourceRefused(f"{host} refused: {reason_in(data) or 'it gave no reason'}.")
    _check_place(reader, reply, latitude, longitude)
    hourly, units = reader.object_in(reply, "hourly"), reader.object_in(reply, "hourly_units")
    times = _times(reader, hourly, units, at)
    columns: dict[str, Floats] = {}
    for name, (ours, unit) in VARIABLES.items():
        if units.get(name) != unit:
            raise reader.refusal(f"{name} comes in {_shown(units.get(name))} where {unit} was asked for")
        columns[ours] = _column(reader, hourly, name, ours, len(times))
    if np.isnan(columns["air_c"]).all():
        raise reader.refusal("not one hour holds an air temperature")
    kept = {ours: values for ours, values in columns.items() if not np.isnan(values).all()}
    elevation = reader.number_in(reply, "elevation") if reply.get("elevation") is not None else None
    weather = Weather(
        time_utc=times,
        air_c=kept.pop("air_c"),
        filled=np.zeros(len(times), dtype=np.bool_),
        source=source_of(at, place_words(latitude, longitude)),
        latitude=latitude,
        longitude=longitude,
        wind_m_s=kept.get("wind_m_s"),
        humidity_pct=kept.get("humidity_pct"),
        radiation_w_m2=kept.get("radiation_w_m2"),
    )
    return Fetched(weather, times > at.timestamp(), at, address, elevation)


def reason_in(data: bytes) -> str:
    """The reason that an error reply `{"error": true, "reason": ...}` gives, fit to be shown, or nothing."""
    try:
        reply = json.loads(data)
    except (ValueError, RecursionError):
        return ""
    reason = reply.get("reason") if isinstance(reply, dict) else None
    return _shown(reason, 200).strip("'").rstrip(".") if isinstance(reason, str) else ""


class _Reader:
    """Takes fields from a reply, and words the refusal if one is not what it should be."""

    def __init__(self, host: str) -> None:
        self.host = host

    def refusal(self, found: str) -> ReplyUnusable:
        return ReplyUnusable(f"The reply of {self.host} cannot be used: {found}; try again later, or bring a file.")

    def parse(self, data: bytes) -> dict[str, object]:
        try:
            reply = json.loads(data, parse_constant=_no_number)
        except (ValueError, RecursionError):
            raise self.refusal(f"it is not JSON, or was cut short after {len(data)} bytes") from None
        if not isinstance(reply, dict):
            raise self.refusal("it is not a JSON object")
        return reply

    def object_in(self, holder: dict[str, object], name: str) -> dict[str, object]:
        found = holder.get(name)
        if not isinstance(found, dict):
            raise self.refusal(f"the object {name!r} is missing")
        return found

    def list_in(self, holder: dict[str, object], name: str) -> list[object]:
        found = holder.get(name)
        if not isinstance(found, list):
            raise self.refusal(f"the list {name!r} is missing")
        return found

    def number_in(self, holder: dict[str, object], name: str) -> float:
        found = holder.get(name)
        if not _is_number(found):
            raise self.refusal(f"{name!r} is {_shown(found)} where a number belongs")
        return float(found)


def _times(reader: _Reader, hourly: dict[str, object], units: dict[str, object], at: datetime) -> NDArray[np.int64]:
    if units.get("time") != "unixtime":
        raise reader.refusal(f"its times come as {_shown(units.get('time'))} where unixtime was asked for")
    found = reader.list_in(hourly, "time")
    if not found:
        raise reader.refusal("it holds no hours")
    if not all(isinstance(time, int) and not isinstance(time, bool) and abs(time) < 2**40 for time in found):
        raise reader.refusal("its times are not whole seconds since 1970")
    times = np.array(found, dtype=np.int64)
    if times[0] % HOUR_S or np.any(np.diff(times) != HOUR_S):
        raise reader.refusal("its times are not one hour apart, on the hour")
    if not times[0] <= at.timestamp() < times[-1] + HOUR_S:
        first, last = (datetime.fromtimestamp(int(time), UTC) for time in times[[0, -1]])
        raise reader.refusal(
            f"its hours, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC, do not hold the present, "
            f"{at:%Y-%m-%d %H:%M} UTC (is this computer's clock right?)"
        )
    return times


def _column(reader: _Reader, hourly: dict[str, object], name: str, ours: str, hours: int) -> Floats:
    found = reader.list_in(hourly, name)
    if len(found) != hours:
        raise reader.refusal(f"{name} has {len(found)} values for {hours} hours")
    low, high = KNOWN[ours].low, KNOWN[ours].high
    values = np.full(hours, np.nan)
    for hour, value in enumerate(found):
        if value is None:
            continue
        if not _is_number(value):
            raise reader.refusal(f"{name} holds {_shown(value)} where a number belongs")
        if not low <= value <= high:
            raise reader.refusal(f"{name} holds {_shown(value)}, outside {low:g} to {high:g}")
        values[hour] = value
    return values


def _check_place(reader: _Reader, reply: dict[str, object], latitude: float, longitude: float) -> None:
    there = reader.number_in(reply, "latitude"), reader.number_in(reply, "longitude")
    around = abs((there[1] - longitude + 180.0) % 360.0 - 180.0) * math.cos(math.radians(latitude))
    if abs(there[0] - latitude) > NEAR_DEGREES or around > NEAR_DEGREES:
        raise reader.refusal(f"it is for {there[0]:.1f},{there[1]:.1f} and not for {place_words(latitude, longitude)}")


def _is_number(value: object) -> TypeGuard[int | float]:
    # An integer of JSON may be too long for a float.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _no_number(name: str) -> None:
    raise ValueError(name)  # NaN and Infinity are no JSON, though Python reads them


def _shown(value: object, limit: int = 40) -> str:
    """A value of the reply, short and without characters that would steer a terminal."""
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else json.dumps(value)[:limit]
    return repr("".join(letter if letter.isprintable() else " " for letter in text[:limit]))
