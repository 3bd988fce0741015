"""A reply is used whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.weather.fetched import Fetched
from underlid.weather.reply import ReplyUnusable, WeatherSourceError, read_reply

from .forecast_server import sample

NOW = datetime(2026, 1, 23, 21, 4, tzinfo=UTC)


def read(body: object, at: datetime = NOW) -> Fetched:
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    return read_reply(data, latitude=52.1, longitude=-1.3, at=at, host="there", address="http://there/v1/forecast")


def _set(*path: str | int, to: object) -> Callable[[dict[str, Any]], None]:
    def change(body: Any) -> None:
        for step in path[:-1]:
            body = body[step]
        body[path[-1]] = to

    return change


def _without(*path: str) -> Callable[[dict[str, Any]], None]:
    def change(body: Any) -> None:
        for step in path[:-1]:
            body = body[step]
        del body[path[-1]]

    return change


def _half_hours(body: dict[str, Any]) -> None:
    body["hourly"]["time"] = [body["hourly"]["time"][0] + 1800 * i for i in range(96)]


def _half_past(body: dict[str, Any]) -> None:
    body["hourly"]["time"] = [time + 1800 for time in body["hourly"]["time"]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_set("hourly_units", "temperature_2m", to="°F"), "temperature_2m comes in '°F' where °C was asked for"),
        (_set("hourly_units", "wind_speed_10m", to="km/h"), "wind_speed_10m comes in 'km/h' where m/s was asked for"),
        (_set("hourly_units", "time", to="iso8601"), "its times come as 'iso8601' where unixtime was asked for"),
        (_without("hourly_units", "shortwave_radiation"), "shortwave_radiation comes in nothing"),
        (_without("hourly_units"), "the object 'hourly_units' is missing"),
        (_without("hourly"), "the object 'hourly' is missing"),
        (_set("hourly", to=[]), "the object 'hourly' is missing"),
        (_without("hourly", "time"), "the list 'time' is missing"),
        (_without("hourly", "temperature_2m"), "the list 'temperature_2m' is missing"),
        (_without("hourly", "wind_speed_10m"), "the list 'wind_speed_10m' is missing"),
        (_set("hourly", "temperature_2m", to=[1.0] * 95), "temperature_2m has 95 values for 96 hours"),
        (_set("hourly", "temperature_2m", to=[None] * 96), "not one hour holds an air temperature"),
        (_set("hourly", "temperature_2m", 5, to="cold"), "temperature_2m holds 'cold' where a number belongs"),
        (_set("hourly", "temperature_2m", 5, to=True), "temperature_2m holds 'true' where a number belongs"),
        (_set("hourly", "temperature_2m", 5, to=10**400), "where a number belongs"),
        (_set("hourly", "temperature_2m", 5, to=275.4), "temperature_2m holds '275.4', outside -90 to 60"),
        (_set("hourly", "relative_humidity_2m", 5, to=-1), "relative_humidity_2m holds '-1', outside 0 to 110"),
        (_set("hourly", "wind_speed_10m", 5, to=1048), "wind_speed_10m holds '1048', outside 0 to 120"),
        (_set("hourly", "shortwave_radiation", 5, to=9999), "shortwave_radiation holds '9999', outside 0 to 2000"),
        (_set("hourly", "time", to=[]), "it holds no hours"),
        (_set("hourly", "time", 5, to=None), "its times are not whole seconds since 1970"),
        (_set("hourly", "time", 5, to="2026-01-21T05:00"), "its times are not whole seconds since 1970"),
        (_set("hourly", "time", 5, to=1e9), "its times are not whole seconds since 1970"),
        (_set("hourly", "time", 5, to=1768968001), "its times are not one hour apart, on the hour"),
        (_half_hours, "its times are not one hour apart"),
        (_half_past, "its times are not one hour apart, on the hour"),
        (_set("latitude", to=None), "'latitude' is nothing where a number belongs"),
        (_set("latitude", to=-52.1), "it is for -52.1,-1.3 and not for 52.1,-1.3"),
        (_set("longitude", to=1.3), "it is for 52.1,1.3 and not for 52.1,-1.3"),
        (_set("elevation", to="high"), "'elevation' is 'high' where a number belongs"),
    ],
)
def test_a_reply_that_is_not_as_asked(change: Callable[[dict[str, Any]], None], words: str) -> None:
    body = sample(NOW)
    read(body)  # good before the change
    change(body)
    with pytest.raises(ReplyUnusable) as refusal:
        read(body)
    assert str(refusal.value).startswith("The reply of there cannot be used: ")
    assert words in str(refusal.value)
    assert str(refusal.value).endswith("; try again later, or bring a file.")


@pytest.mark.parametrize(
    "data", [b"", b"<html>", b'{"latitude": 52.1, "hou', b"\xff\xfe", b'{"latitude": NaN}', b"[" * 100_000, b"1" * 5000]
)
def test_what_is_no_json(data: bytes) -> None:
    with pytest.raises(ReplyUnusable, match="it is not JSON"):
        read(data)


def test_a_list_is_no_reply() -> None:
    with pytest.raises(ReplyUnusable, match="not a JSON object"):
        read([sample(NOW)])


@pytest.mark.parametrize("days", [-5, 5])
def test_the_hours_must_hold_the_present(days: int) -> None:
    with pytest.raises(
        ReplyUnusable, match=r"2026-01-21 00:00 to 2026-01-24 23:00 UTC, do not hold the present, 2026-"
    ):
        read(sample(NOW), at=NOW + timedelta(days=days))


def test_degrees_of_longitude_are_short_in_the_north() -> None:
    body = json.dumps(sample(NOW, 78.2, 15.6) | {"longitude": 17.6}).encode()
    assert read_reply(body, latitude=78.2, longitude=15.6, at=NOW, host="h", address="a").elevation_m == 95.0


def test_a_reply_without_a_height() -> None:
    body = sample(NOW)
    del body["elevation"]
    assert read(body).elevation_m is None


@given(st.binary(max_size=200) | st.recursive(st.none() | st.booleans() | st.floats() | st.text(), st.lists).map(
    lambda value: json.dumps(value).encode()
))  # fmt: skip
def test_nothing_else_is_ever_raised(data: bytes) -> None:
    with pytest.raises(WeatherSourceError):
        read(data)


_ODD: st.SearchStrategy[object] = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.just([]) | st.just({})
)


@given(st.sampled_from(["latitude", "longitude", "elevation", "hourly", "hourly_units", "error"]), _ODD)
def test_an_odd_field_is_refused_or_harmless(name: str, odd: object) -> None:
    try:
        fetched = read(sample(NOW) | {name: odd})
    except WeatherSourceError:
        return
    assert fetched.weather.air_c.tolist() == sample(NOW)["hourly"]["temperature_2m"]
