"""Fetched hours on file: read back exactly, and joined fetch by fetch."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.weather import Weather, WeatherFileError, read_weather
from underlid.weather.fetched import CREDIT, AnotherPlace, Fetched, NotOurFile, as_csv, join, read_fetched
from underlid.weather.reply import read_reply

from .forecast_server import sample

NOW = datetime(2026, 1, 23, 21, 4, 31, tzinfo=UTC)
COLUMNS = ("air_c", "wind_m_s", "humidity_pct", "radiation_w_m2")


def fetched(at: datetime = NOW, place: tuple[float, float] = (52.1, -1.3), **changes: Any) -> Fetched:
    body = sample(at, *place)
    for name, values in changes.items():
        body["hourly"][name] = values
    return read_reply(
        json.dumps(body).encode(), latitude=place[0], longitude=place[1], at=at, host="h", address="https://h/v1"
    )


def saved(tmp_path: Path, made: Fetched) -> Path:
    path = tmp_path / "winter.csv"
    path.write_text(as_csv(made), encoding="utf-8")
    return path


def column(made: Fetched, name: str) -> Any:
    values = getattr(made.weather, name)
    return np.full(len(made.forecast), np.nan) if values is None else values


def same(one: Fetched, other: Fetched) -> bool:
    return (
        one.weather.time_utc.tolist() == other.weather.time_utc.tolist()
        and all(np.array_equal(column(one, name), column(other, name), equal_nan=True) for name in COLUMNS)
        and one.forecast.tolist() == other.forecast.tolist()
        and (one.at, one.address, one.elevation_m) == (other.at, other.address, other.elevation_m)
        and (one.weather.latitude, one.weather.longitude) == (other.weather.latitude, other.weather.longitude)
    )


@pytest.mark.parametrize("place", [(52.1, -1.3), (-36.8, 174.8)])
@pytest.mark.parametrize("zone", [None, "Europe/London", "Pacific/Auckland", "America/Anchorage"])
def test_any_reader_of_weather_reads_the_file(tmp_path: Path, place: tuple[float, float], zone: str | None) -> None:
    made = fetched(place=place)
    weather = read_weather(saved(tmp_path, made), timezone=zone)
    assert weather.time_utc.tolist() == made.weather.time_utc.tolist()
    for name in COLUMNS:
        assert getattr(weather, name).tolist() == getattr(made.weather, name).tolist()
    assert (weather.latitude, weather.longitude) == place
    assert weather.source == f"CSV file winter.csv, {CREDIT}"
    assert weather.notes[0] == made.notes[0]


def test_hours_off_ours_are_joined_by_lines_as_in_any_file(tmp_path: Path) -> None:
    weather = read_weather(saved(tmp_path, fetched()), timezone="Asia/Kolkata")
    assert weather.utc_offset_h == 5.5
    assert "joined by straight lines" in weather.notes[-1]


def test_the_callers_place_holds(tmp_path: Path) -> None:
    weather = read_weather(saved(tmp_path, fetched()), latitude=10.0, longitude=20.0)
    assert (weather.latitude, weather.longitude) == (10.0, 20.0)


def test_the_file_says_where_it_is_from(tmp_path: Path) -> None:
    lines = as_csv(fetched()).splitlines()
    assert lines[:6] == [
        "# underlid weather fetch",
        "# place: 52.1,-1.3",
        "# elevation: 95 m",
        "# fetched: 2026-01-23T21:04:31+00:00",
        "# address: https://h/v1",
        f"# credit: {CREDIT}",
    ]
    assert lines[6].startswith("# note: The air is that of weather models")
    assert lines[7] == "time_utc,air_c,wind_m_s,humidity_pct,radiation_w_m2,when_fetched"
    assert lines[8].startswith("2026-01-21T00:00Z,")
    whens = {line.rsplit(",", 1)[0][:16]: line.rsplit(",", 1)[1] for line in lines[8:]}
    assert whens["2026-01-23T21:00"] == "past"
    assert whens["2026-01-23T22:00"] == "forecast"


def test_reading_back(tmp_path: Path) -> None:
    assert same(read_fetched(saved(tmp_path, fetched())), fetched())
    gappy = fetched(temperature_2m=[1.0, None, 2.0, *[None] * 92, 3.5], shortwave_radiation=[None] * 96)
    back = read_fetched(saved(tmp_path, gappy))
    assert same(back, gappy)
    assert np.isnan(back.weather.air_c).sum() == 93


HOUR = st.tuples(
    st.none() | st.floats(-60, 50), st.none() | st.floats(0, 60), st.none() | st.floats(0, 100),
    st.none() | st.floats(0, 1200), st.booleans(),
)  # fmt: skip


@given(st.lists(HOUR, min_size=1, max_size=8), st.integers(0, 10**6))
def test_any_hours_are_read_back_exactly(
    tmp_path_factory: pytest.TempPathFactory, hours: list[tuple[Any, ...]], start_h: int
) -> None:
    hours = [(1.25, None, None, None, True), *hours, (-0.5, 2.0, 80.0, 0.0, False)]
    values = np.array([hour[:4] for hour in hours], dtype=np.float64).T
    known = ~np.isnan(values).all(axis=0)
    made = replace(
        fetched(),
        weather=Weather(
            time_utc=3600 * (start_h + np.arange(len(hours))),
            air_c=values[0],
            filled=np.zeros(len(hours), dtype=np.bool_),
            source="made up",
            latitude=-36.8,
            longitude=174.8,
            wind_m_s=values[1],
            humidity_pct=values[2],
            radiation_w_m2=values[3],
        ),
        # An hour of which nothing is known has no row, and so no mark either.
        forecast=known & np.array([hour[4] for hour in hours]),
    )
    assert same(read_fetched(saved(tmp_path_factory.mktemp("fetched"), made)), made)


def test_older_hours_are_kept_and_forecasts_give_way(tmp_path: Path) -> None:
    later = NOW + timedelta(days=2)
    first = fetched()
    second = fetched(later, temperature_2m=[20.0 + i / 10 for i in range(96)])
    both = join(read_fetched(saved(tmp_path, first)), second)
    assert len(both.weather.air_c) == 96 + 48
    assert both.weather.air_c[:48].tolist() == first.weather.air_c[:48].tolist()
    assert both.weather.air_c[48:].tolist() == second.weather.air_c.tolist()
    assert both.forecast.tolist() == [False] * 48 + second.forecast.tolist()
    assert both.at == later
    assert len(both.notes) == 1
    assert same(read_fetched(saved(tmp_path, both)), both)


def test_an_older_reply_does_not_undo_a_newer_file(tmp_path: Path) -> None:
    file = fetched(NOW, temperature_2m=[20.0] * 96)
    stale = fetched(NOW - timedelta(days=1))
    stale = replace(stale, weather=replace(stale.weather, notes=("It is old.",)))
    both = join(file, stale)
    assert both.weather.air_c[:24].tolist() == stale.weather.air_c[:24].tolist()
    assert (both.weather.air_c[24:] == 20.0).all()
    assert both.at == NOW
    assert both.notes[-1] == "It is old."


def test_a_null_does_not_undo_what_was_known() -> None:
    later = fetched(NOW + timedelta(hours=1), temperature_2m=[None] * 71 + [9.0] * 25, wind_speed_10m=[None] * 96)
    both = join(fetched(), later)
    assert both.weather.air_c[:71].tolist() == fetched().weather.air_c[:71].tolist()
    assert both.weather.air_c[71:].tolist() == [9.0] * 25
    assert column(both, "wind_m_s").tolist() == column(fetched(), "wind_m_s").tolist()
    # 22:00 has passed by now, but what is known of it is what was forecast before.
    assert fetched().forecast[70]
    assert not later.forecast[70]
    assert both.forecast[70]


def test_a_long_pause_leaves_a_gap_and_old_forecasts_are_owned_up_to(tmp_path: Path) -> None:
    both = join(fetched(), fetched(NOW + timedelta(days=10)))
    assert np.isnan(both.weather.air_c).sum() == 6 * 24
    assert both.notes[1] == "26 past hours, the last 2026-01-24T23:00Z, hold forecasts that no later fetch replaced."
    again = read_fetched(saved(tmp_path, both))
    assert same(again, both)
    assert again.notes == both.notes
    assert both.notes[1] in read_weather(tmp_path / "winter.csv").notes


def test_places_and_heights_do_not_mix() -> None:
    with pytest.raises(AnotherPlace, match=r"holds the weather of 52\.1,-1\.3, not of 52\.1,-1\.4; name another file"):
        join(fetched(), fetched(NOW + timedelta(hours=1), place=(52.1, -1.4)))
    with pytest.raises(AnotherPlace, match="holds the air at 95 m above the sea and this is at 400 m"):
        join(fetched(), replace(fetched(NOW + timedelta(hours=1)), elevation_m=400.0))
    join(fetched(), replace(fetched(), elevation_m=None))


@pytest.mark.parametrize("text", ["time,air_c\n2024-01-01T00:00Z,1\n", "# place: 52.1,-1.3\n", "my notes on worms\n"])
def test_a_file_of_another_hand_is_not_ours(tmp_path: Path, text: str) -> None:
    path = tmp_path / "mine.csv"
    path.write_text(text)
    with pytest.raises(NotOurFile, match=r"mine\.csv is there already and does not begin with .* name another file"):
        read_fetched(path)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# fetched: 2026", "# fetched: long ago"),
        ("# fetched: ", "# was: "),
        ("when_fetched", "remarks"),
        ("time_utc", "timestamp_utc"),
        ("T03:00Z,", " 3:00 UTC,"),
        ("# elevation: 95 m", "# elevation: high"),
    ],
)
def test_a_file_changed_since_is_not_added_to(tmp_path: Path, old: str, new: str) -> None:
    path = tmp_path / "winter.csv"
    path.write_text(as_csv(fetched()).replace(old, new))
    read_weather(path)  # it still is a weather file
    with pytest.raises(NotOurFile, match="was changed since it was fetched and cannot be added to"):
        read_fetched(path)


def test_a_damaged_file_says_where(tmp_path: Path) -> None:
    path = tmp_path / "winter.csv"
    path.write_text(as_csv(fetched()).rsplit(",", 3)[0])
    with pytest.raises(WeatherFileError, match="line 104: found 3 columns where the heading has 6"):
        read_fetched(path)
