"""Fetching over real HTTP, from a server on this machine that behaves well or badly."""

from __future__ import annotations

import ast
import gzip
import json
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import underlid
from underlid.weather.fetched import Fetched
from underlid.weather.reply import ReplyUnusable, SourceRefused, WeatherSourceError
from underlid.weather.source import MAX_BYTES, NotADayCount, NotAnAddress, Patience, SourceUnreachable, fetch

from .forecast_server import REFUSED, TOO_MANY, ForecastServer, in_chunks, reply, sample, serving

NOW = datetime(2026, 1, 23, 21, 4, 31, tzinfo=UTC)
GOOD = reply(sample(NOW))
QUICK = Patience(connect_s=2.0, read_s=2.0, whole_s=5.0, tries=3, pause_s=0.001)
HASTY = Patience(connect_s=0.1, read_s=0.05, whole_s=0.2, tries=2, pause_s=0.001)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[ForecastServer]:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with serving() as made:
        yield made


def ask(server: ForecastServer, *, now: datetime = NOW, patience: Patience = QUICK, **how: Any) -> Fetched:
    asked: dict[str, Any] = {"past_days": 2, "forecast_days": 2, "base_url": server.url} | how
    return fetch(52.1, -1.3, now=now, patience=patience, **asked)


def test_hours_as_they_came(server: ForecastServer) -> None:
    server.answers = [GOOD]
    fetched = ask(server)
    came = sample(NOW)["hourly"]
    assert fetched.weather.time_utc.tolist() == came["time"]
    assert fetched.weather.air_c.tolist() == came["temperature_2m"]
    assert fetched.weather.wind_m_s is not None
    assert fetched.weather.humidity_pct is not None
    assert fetched.weather.radiation_w_m2 is not None
    assert fetched.weather.wind_m_s.tolist() == came["wind_speed_10m"]
    assert fetched.weather.humidity_pct.tolist() == came["relative_humidity_2m"]
    assert fetched.weather.radiation_w_m2.tolist() == came["shortwave_radiation"]
    assert (fetched.weather.latitude, fetched.weather.longitude, fetched.elevation_m) == (52.1, -1.3, 95.0)
    assert "Open-Meteo.com" in fetched.weather.source
    assert "CC BY 4.0" in fetched.weather.source
    # 22:00 of the 23rd is the first hour ahead; the day after follows whole.
    assert fetched.forecast.sum() == 2 + 24
    assert not fetched.forecast[:-26].any()


def test_only_the_rounded_place_and_the_question_leave_the_machine(server: ForecastServer) -> None:
    server.answers = [reply(sample(NOW, -36.8, -0.0))]
    fetch(-36.8484597, -0.0331, past_days=2, forecast_days=2, elevation_m=123.4, base_url=server.url, now=NOW)
    assert server.asked == [
        {
            "latitude": "-36.8",
            "longitude": "0.0",
            "hourly": "temperature_2m,wind_speed_10m,relative_humidity_2m,shortwave_radiation",
            "past_days": "2",
            "forecast_days": "2",
            "timeformat": "unixtime",
            "timezone": "GMT",
            "temperature_unit": "celsius",
            "wind_speed_unit": "ms",
            "elevation": "120",
        }
    ]
    assert server.agents[0].startswith("underlid/")


def test_across_the_date_line(server: ForecastServer) -> None:
    server.answers = [reply(sample(NOW, -16.5, 179.9) | {"longitude": -179.95})]
    fetched = fetch(-16.5, 179.9, past_days=2, forecast_days=2, base_url=server.url, now=NOW)
    assert fetched.weather.longitude == 179.9


def test_nulls_stay_gaps(server: ForecastServer) -> None:
    body = sample(NOW)
    body["hourly"]["temperature_2m"][3:6] = [None] * 3
    body["hourly"]["wind_speed_10m"] = [None] * 96
    body["hourly"]["shortwave_radiation"][-1] = None
    server.answers = [reply(body)]
    weather = ask(server).weather
    assert np.flatnonzero(np.isnan(weather.air_c)).tolist() == [3, 4, 5]
    assert weather.wind_m_s is None
    assert weather.radiation_w_m2 is not None
    assert np.flatnonzero(np.isnan(weather.radiation_w_m2)).tolist() == [95]


def test_a_packed_reply(server: ForecastServer) -> None:
    server.answers = [reply(gzip.compress(json.dumps(sample(NOW)).encode()), headers={"Content-Encoding": "gzip"})]
    assert len(ask(server).weather.air_c) == 96


def test_a_reply_in_chunks(server: ForecastServer) -> None:
    server.answers = [in_chunks(sample(NOW), end=b""), in_chunks(sample(NOW))]
    assert len(ask(server).weather.air_c) == 96
    assert len(server.asked) == 2  # the first ended before its end


@pytest.mark.parametrize("bad", [reply(b"", 500), reply(b"busy", 503), reply(TOO_MANY, 429, {"Retry-After": "0"})])
def test_a_passing_fault_passes(server: ForecastServer, bad: Any) -> None:
    server.answers = [bad, bad, GOOD]
    assert len(ask(server).weather.air_c) == 96
    assert len(server.asked) == 3


def test_a_reply_that_breaks_off_is_asked_for_again(server: ForecastServer) -> None:
    server.answers = [reply(sample(NOW), cut=500), GOOD]
    assert len(ask(server).weather.air_c) == 96
    server.answers = [reply(sample(NOW), cut=500)]
    with pytest.raises(SourceUnreachable, match=r"The reply of 127\.0\.0\.1 broke off; try again later"):
        ask(server)


def test_a_lasting_fault_is_told_after_the_last_try(server: ForecastServer) -> None:
    server.answers = [reply(b"<html>oops</html>", 500)]
    with pytest.raises(SourceUnreachable, match=r"127\.0\.0\.1 answered 500\. Try again later\."):
        ask(server)
    assert len(server.asked) == QUICK.tries


@pytest.mark.parametrize(("wait", "when"), [("900", "in 15 min"), ("Fri, 01 Jan 2100 00:00:00 GMT", "later")])
def test_who_asks_to_wait_for_long_is_not_asked_again(server: ForecastServer, wait: str, when: str) -> None:
    server.answers = [reply(TOO_MANY, 429, {"Retry-After": wait})]
    with pytest.raises(SourceUnreachable, match=rf"429: Minutely API request limit exceeded.*\. Try again {when}\."):
        ask(server)
    assert len(server.asked) == 1


def test_a_retry_after_that_means_nothing_is_passed_over(server: ForecastServer) -> None:
    server.answers = [reply(TOO_MANY, 429, {"Retry-After": "soon"}), GOOD]
    assert len(ask(server).weather.air_c) == 96


def test_silence_has_an_end(server: ForecastServer) -> None:
    for silent in (server.hang, server.stall, server.drip):
        server.answers = [silent]
        with pytest.raises(SourceUnreachable, match=r"127\.0\.0\.1 did not answer in time; try again later"):
            ask(server, patience=HASTY)


def test_no_network() -> None:
    with socket.socket() as held:  # a port that is taken but where nobody listens
        held.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{held.getsockname()[1]}/v1/forecast"
        with pytest.raises(SourceUnreachable, match=r"127\.0\.0\.1 cannot be reached; check that this computer is onl"):
            fetch(52.1, -1.3, base_url=url, now=NOW, patience=QUICK)


def test_a_name_that_leads_nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown(*asked: object, **how: object) -> None:
        raise socket.gaierror(-2, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    with pytest.raises(SourceUnreachable, match=r"api\.open-meteo\.com cannot be reached"):
        fetch(52.1, -1.3, now=NOW, patience=QUICK)


def test_a_server_that_does_not_speak_tls(server: ForecastServer) -> None:
    server.answers = [GOOD]
    with pytest.raises(WeatherSourceError, match=r"127\.0\.0\.1 can"):
        ask(server, base_url=server.url.replace("http:", "https:"), patience=HASTY)
    assert server.asked == []


@pytest.mark.parametrize("status", [200, 400])
def test_a_refusal_gives_the_sources_own_reason_at_once(server: ForecastServer, status: int) -> None:
    server.answers = [reply(REFUSED, status)]
    with pytest.raises(SourceRefused, match="Cannot initialize TemperatureUnit from invalid String value asdfsfd"):
        ask(server)
    assert len(server.asked) == 1


def test_a_reason_cannot_steer_the_terminal(server: ForecastServer) -> None:
    server.answers = [reply({"error": True, "reason": "\x1b[2J" + "x" * 9999}, 400)]
    with pytest.raises(SourceRefused) as refusal:
        ask(server)
    assert str(refusal.value).isprintable()
    assert len(str(refusal.value)) < 400


def test_a_redirect_is_not_followed(server: ForecastServer) -> None:
    server.answers = [reply(b"", 302, {"Location": server.url + "/elsewhere"}), GOOD]
    with pytest.raises(SourceRefused, match=r"answered 302 \(it has moved\)"):
        ask(server)
    assert len(server.asked) == 1


def test_a_huge_reply_is_not_read_to_its_end(server: ForecastServer) -> None:
    server.answers = [reply(gzip.compress(b" " * (10 * MAX_BYTES)), headers={"Content-Encoding": "gzip"})]
    with pytest.raises(ReplyUnusable, match="over 2000000 bytes"):
        ask(server)
    server.answers = [reply(b"nonsense", headers={"Content-Encoding": "gzip"})]
    with pytest.raises(ReplyUnusable, match="does not answer as a web server should"):
        ask(server)


def test_what_cannot_be_asked(server: ForecastServer) -> None:
    for url in ("open-meteo", "ftp://127.0.0.1/x", "http://[::1/x", "http://h:port/", "http:///v1", "file:///etc/x"):
        with pytest.raises(NotAnAddress, match="is no web address; write it as https://"):
            ask(server, base_url=url)
    for past, ahead in ((93, 7), (-1, 7), (2, 0), (2, 17)):
        with pytest.raises(NotADayCount, match="days are not to be had"):
            ask(server, past_days=past, forecast_days=ahead)
    with pytest.raises(ValueError, match="now has no time zone"):
        ask(server, now=NOW.replace(tzinfo=None))
    assert server.asked == []


def test_a_name_and_a_key_in_the_address_are_not_recorded(server: ForecastServer) -> None:
    server.answers = [GOOD]
    fetched = ask(server, base_url=server.url.replace("http://", "http://me:secret@") + "?apikey=hidden")
    assert server.asked[0]["apikey"] == "hidden"
    assert fetched.address == server.url


FETCHING = {"requests", "urllib3", "httpx", "aiohttp", "http", "ftplib", "smtplib"}
LISTENING = {"socket", "ssl", "asyncio"}  # of the pages, which are served and fetch nothing


def test_no_other_module_can_reach_a_network() -> None:
    package = Path(underlid.__file__).parent
    found: dict[str, set[str]] = {"fetches": set(), "listens": set(), "sends work": set()}
    for path in package.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            where = path.relative_to(package).as_posix()
            if any(name.partition(".")[0] in FETCHING or name == "urllib.request" for name in names):
                found["fetches"].add(where)
            if any(name.partition(".")[0] in LISTENING for name in names):
                found["listens"].add(where)
            if any(name.partition(".")[0] in {"distributed", "dask"} for name in names):
                found["sends work"].add(where)
    assert found["fetches"] == {"weather/source.py"}
    assert found["sends work"] == {"spread/cluster.py"}, "to the cluster that --cluster names, and to no other"
    listens = found["listens"] - {"spread/cluster.py"}
    assert all(where.startswith("web/") or where == "cli/serve.py" for where in listens)


def test_importing_everything_asks_nobody_and_loads_no_web_client() -> None:
    """In a Python of its own, with an audit hook that ends it at the first name looked up or address called."""
    script = """
import importlib, os, pkgutil, sys
def watch(event, args):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.sendto", "urllib.Request"):
        os._exit(9)
sys.addaudithook(watch)
import underlid
for module in pkgutil.walk_packages(underlid.__path__, "underlid."):
    if ".migrations" not in module.name and not module.name.endswith("__main__"):
        importlib.import_module(module.name)
assert "underlid.weather.source" in sys.modules
sys.exit(7 if "requests" in sys.modules else 0)
"""
    ended = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    assert ended.returncode == 0, ended.stderr


# The cache


def test_a_reply_is_used_again_for_an_hour(server: ForecastServer, tmp_path: Path) -> None:
    server.answers = [GOOD]
    first = ask(server, cache=tmp_path / "cache")
    again = ask(server, cache=tmp_path / "cache", now=NOW + timedelta(minutes=59))
    assert len(server.asked) == 1
    assert again.at == first.at
    assert again.weather.air_c.tolist() == first.weather.air_c.tolist()
    later = ask(server, cache=tmp_path / "cache", now=NOW + timedelta(minutes=60))
    assert len(server.asked) == 2
    assert later.at == NOW.replace(microsecond=0) + timedelta(hours=1)
    assert [path.suffix for path in (tmp_path / "cache").iterdir()] == [".reply"]


def test_another_question_is_asked(server: ForecastServer, tmp_path: Path) -> None:
    server.answers = [GOOD]
    ask(server, cache=tmp_path)
    ask(server, cache=tmp_path, elevation_m=300.0)
    assert len(server.asked) == 2


@pytest.mark.parametrize(
    "fault", [reply(b"", 500), reply(REFUSED, 400), reply(b"{", 200), reply(sample(NOW), cut=1)], ids=range(4)
)
def test_an_older_reply_stands_in_and_says_so(server: ForecastServer, tmp_path: Path, fault: Any) -> None:
    server.answers = [GOOD]
    first = ask(server, cache=tmp_path)
    server.answers = [fault]
    stale = ask(server, cache=tmp_path, now=NOW + timedelta(hours=5))
    assert stale.at == first.at
    assert stale.weather.air_c.tolist() == first.weather.air_c.tolist()
    assert "Fetched 5 hours ago; now the source could not be used. " in stale.notes[-1]
    server.answers = [reply(sample(NOW + timedelta(hours=6)))]
    assert ask(server, cache=tmp_path, now=NOW + timedelta(hours=6)).at > first.at


def test_a_useless_cache_is_no_cache(server: ForecastServer, tmp_path: Path) -> None:
    server.answers = [GOOD]
    ask(server, cache=tmp_path)
    (kept,) = tmp_path.iterdir()
    whole = kept.read_bytes()
    for damaged in (b"", whole[:60], whole[:-9], b"[]\n{}", whole.replace(b'"2026', b'"x', 1)):
        kept.write_bytes(damaged)
        before = len(server.asked)
        ask(server, cache=tmp_path)
        assert len(server.asked) == before + 1
    # A reply from the future says that a clock was wrong.
    ask(server, cache=tmp_path, now=NOW - timedelta(hours=3))
    assert len(server.asked) == before + 2


def test_a_cache_that_cannot_be_written_costs_nothing_but_a_note(server: ForecastServer, tmp_path: Path) -> None:
    server.answers = [GOOD]
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    fetched = ask(server, cache=blocked)
    assert len(fetched.weather.air_c) == 96
    assert "could not be kept in" in fetched.notes[-1]
    assert blocked.read_text() == "in the way"


def test_a_bad_reply_is_not_kept(server: ForecastServer, tmp_path: Path) -> None:
    server.answers = [reply(b"{}")]
    with pytest.raises(ReplyUnusable):
        ask(server, cache=tmp_path / "cache")
    assert not (tmp_path / "cache").exists()
