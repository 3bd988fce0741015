"""Fetching weather through the command line, and that nothing else asks anybody."""

import json
import socket
from datetime import UTC, datetime, timedelta

import pytest

from tests.cli.conftest import NOW
from tests.weather.forecast_server import REFUSED, reply, sample, serving
from underlid.weather import read_weather


@pytest.fixture
def server(tmp_path, monkeypatch):
    """A source on this machine, and a cache of our own."""
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("UNDERLID_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("UNDERLID_PLACE", raising=False)
    with serving() as made:
        yield made


@pytest.fixture
def fetch(underlid, server):
    """Run `underlid weather fetch`."""

    def call(*words, place="52.14159,-1.26535"):
        return underlid("weather", "fetch", "--place", place, "--source", server.url, "--out", "winter.csv", *words)

    return call


def good(**how):
    return reply(sample(datetime.now(UTC), past_days=92, forecast_days=7, **how))


def test_a_file_that_the_other_commands_read(fetch, server, tmp_path):
    server.answers = [good()]
    told = fetch()
    assert told.code == 0, told.err
    assert "winter.csv holds 2376 hours of air for 52.1,-1.3" in told.out
    assert "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0" in told.out
    asked = server.asked[0]
    assert [asked[name] for name in ("latitude", "longitude", "past_days", "forecast_days")] == [
        "52.1",
        "-1.3",
        "92",
        "7",
    ]
    weather = read_weather(tmp_path / "winter.csv", timezone="Europe/London")
    assert len(weather.air_c) == 2376
    assert weather.latitude == 52.1


def test_as_json(fetch, server, tmp_path):
    server.answers = [good()]
    told = fetch("--json").json
    assert told["place"] == "52.1,-1.3"
    assert told["hours"] == 2376
    assert told["missing_hours"] == 0
    assert 6 * 24 <= told["forecast_hours"] < 7 * 24
    assert told["elevation_m"] == 95.0
    assert told["credit"] in (tmp_path / "winter.csv").read_text("utf-8")


def test_fetched_again_the_file_keeps_its_older_hours(fetch, server, tmp_path):
    server.answers = [good()]
    fetch()
    before = (tmp_path / "winter.csv").read_text("utf-8")
    server.answers = [reply(sample(datetime.now(UTC), past_days=1, forecast_days=2))]
    told = fetch("--past-days", "1", "--forecast-days", "2", "--json").json
    assert told["hours"] == 2376
    after = (tmp_path / "winter.csv").read_text("utf-8")
    assert after.splitlines()[8:100] == before.splitlines()[8:100]


def test_a_file_of_ones_own_is_not_written_over_and_nobody_is_asked(fetch, server, tmp_path):
    server.answers = [good()]
    (tmp_path / "winter.csv").write_text("time,temp_c\n2025-10-18 00:00,7.4\n")
    told = fetch()
    assert told.code == 2
    assert "winter.csv is there already" in told.err
    assert (tmp_path / "winter.csv").read_text() == "time,temp_c\n2025-10-18 00:00,7.4\n"
    assert server.asked == []


@pytest.mark.parametrize(
    ("words", "place", "sentence"),
    [
        ((), "here", "is not two numbers"),
        ((), "", "is not two numbers"),
        ((), "91,0", "is no place on Earth"),
        ((), "nan,0", "is no place on Earth"),
        (("--source", "open-meteo"), "52.1,-1.3", "is no web address"),
        (("--past-days", "93"), "52.1,-1.3", "--past-days"),
        (("--forecast-days", "0"), "52.1,-1.3", "--forecast-days"),
    ],
)
def test_what_cannot_be_asked(fetch, server, tmp_path, words, place, sentence):
    server.answers = [good()]
    told = fetch(*words, place=place)
    assert told.code == 2
    assert sentence in told.err
    assert "Traceback" not in told.err
    assert not (tmp_path / "winter.csv").exists()
    assert server.asked == []


def test_a_fault_is_one_sentence_and_leaves_the_file_as_it_was(fetch, server, tmp_path):
    server.answers = [reply(REFUSED, 400)]
    told = fetch()
    assert told.code == 2
    assert told.err.startswith("underlid: 127.0.0.1 answered 400: Cannot initialize TemperatureUnit")
    assert not (tmp_path / "winter.csv").exists()
    server.answers = [good()]
    fetch()
    before = (tmp_path / "winter.csv").read_bytes()
    server.answers = [reply(b"{}")]
    assert fetch("--past-days", "3").code == 2
    assert (tmp_path / "winter.csv").read_bytes() == before


def test_an_older_reply_stands_in(fetch, server, tmp_path):
    server.answers = [good()]
    fetch()
    (kept,) = (tmp_path / "cache").iterdir()
    first, _, body = kept.read_bytes().partition(b"\n")
    earlier = datetime.fromisoformat(json.loads(first)["fetched"]) - timedelta(hours=5)
    kept.write_bytes(json.dumps({"fetched": earlier.isoformat()}).encode() + b"\n" + body)
    server.answers = [reply(REFUSED, 400)]
    told = fetch()
    assert told.code == 0, told.err
    assert "Fetched 5 hours ago; now the source could not be used. 127.0.0.1 answered 400" in told.out


@pytest.mark.computes
def test_nothing_else_touches_the_network(logged, winter, monkeypatch):
    def refuse(*args, **how):
        raise AssertionError(f"the network was touched: {args}")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    for name in ("getaddrinfo", "create_connection", "gethostbyname"):
        monkeypatch.setattr(socket, name, refuse)
    for words in (
        ("outlook", "north", "--weather", winter, "--now", NOW),
        ("update", "north", "--weather", winter, "--month", "2026-01", "--now", NOW),
        ("check", "north", "--weather", winter, "--now", NOW),
        ("export",),
        ("entries", "north"),
        ("log", "north", "23 Jan: middle 2-3 C", "--yes", "--now", NOW),
    ):
        told = logged(*words)
        assert told.code == 0, told.err
