"""Air for a place from one open forecast source: Open-Meteo (https://open-meteo.com, data under CC BY 4.0).

The only module of underlid that touches a network, and only when `fetch` is called. What leaves the machine is the
place rounded to 0.1 degree (about 11 km north to south), how many days are wanted, the height if it is given, and the
program's name and version.

    fetched = fetch(52.1, -1.3, past_days=92, forecast_days=7, cache=cache_folder(os.environ), now=datetime.now(UTC))

A reply is kept in the cache as it came. One younger than an hour is used again, as forecasts are renewed hourly at
best; an older one stands in, with a note, when the source fails.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode, urlsplit

from underlid.weather.cache import keep, recall
from underlid.weather.fetched import Fetched, place_words
from underlid.weather.reply import VARIABLES, ReplyUnusable, SourceRefused, WeatherSourceError, read_reply, reason_in

if TYPE_CHECKING:
    import requests

OPEN_METEO = "https://api.open-meteo.com/v1/forecast"

#: What the source's documentation allows.
MAX_PAST_DAYS, MAX_FORECAST_DAYS = 92, 16

#: A reply younger than this is not asked for again.
FRESH = timedelta(hours=1)

#: 108 days of four columns make about 100 kB.
MAX_BYTES = 2_000_000

_PASSING = frozenset({408, 425, 429, 500, 502, 503, 504})


class SourceUnreachable(WeatherSourceError):
    """The source could not be reached, or is out of order: worth trying again."""

    def __init__(self, sentence: str, wait_s: float | None = None) -> None:
        super().__init__(sentence)
        self.wait_s = wait_s  # how long the source asked us to wait


class NotAnAddress(ValueError):
    """The source's address is not one that can be asked."""


class NotADayCount(ValueError):
    """The source does not reach so many days back or ahead."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait for the source, in seconds, and how often to ask."""

    connect_s: float = 5.0
    read_s: float = 15.0  # from one piece of the reply to the next
    whole_s: float = 60.0  # all tries and pauses together; the piece being waited for may add `read_s`
    tries: int = 4
    pause_s: float = 1.0  # before the second try; doubled each time, unless the source says how long


@dataclass(frozen=True, slots=True)
class _Question:
    base_url: str
    host: str
    address: str  # without any name, password or key in it
    asked: tuple[tuple[str, str], ...]

    @property
    def url(self) -> str:
        # By hand, as commas between variables stay readable this way.
        return f"{self.base_url}{'&' if '?' in self.base_url else '?'}{urlencode(self.asked, safe=',')}"


def fetch(
    latitude: float,
    longitude: float,
    *,
    past_days: int = MAX_PAST_DAYS,
    forecast_days: int = 7,
    elevation_m: float | None = None,
    base_url: str = OPEN_METEO,
    cache: Path | None = None,
    now: datetime,
    patience: Patience = Patience(),
) -> Fetched:
    """Fetch the hours around `now`, or take them from the cache.

    Parameters
    ----------
    latitude, longitude : degrees, north and east positive; rounded to 0.1 before anything is sent
    past_days, forecast_days : 0 to 92 days before today, and 1 to 16 days from today on, in UTC
    elevation_m : height of the bin above the sea [m], sent to 10 m; if None, the source takes the
        ground's height at the rounded place, which in hills may be another
    base_url : another server that speaks the same language
    cache : folder of replies, or None to keep none

    Raises
    ------
    SourceUnreachable, SourceRefused, ReplyUnusable : one sentence; only if no earlier reply is in the cache
    """
    if now.tzinfo is None:
        raise ValueError("now has no time zone; give one, such as UTC.")
    now = now.astimezone(UTC).replace(microsecond=0)
    place = tuple(float(part) for part in place_words(latitude, longitude).split(","))
    question = _question(base_url, place_words(latitude, longitude), past_days, forecast_days, elevation_m)

    def read(data: bytes, at: datetime) -> Fetched:
        return read_reply(
            data, latitude=place[0], longitude=place[1], at=at, host=question.host, address=question.address
        )

    kept = None
    if cache is not None and (found := recall(cache, question.url)) is not None and found[0] <= now:
        try:
            kept = read(found[1], found[0])
        except WeatherSourceError:
            kept = None  # damaged, or kept by another version
    if kept is not None and now - kept.at < FRESH:
        return kept
    try:
        data = _ask(question, patience)
        fetched = read(data, now)
    except WeatherSourceError as fault:
        if kept is None:
            raise
        return _noted(kept, f"Fetched {_ago(now - kept.at)} ago; now the source could not be used. {fault}")
    if cache is not None:
        try:
            keep(cache, question.url, now, data)
        except OSError as problem:
            return _noted(fetched, f"The reply could not be kept in {cache} ({problem.strerror or problem}).")
    return fetched


def _question(base_url: str, place: str, past_days: int, forecast_days: int, elevation_m: float | None) -> _Question:
    for count, low, high, what in (
        (past_days, 0, MAX_PAST_DAYS, "past"),
        (forecast_days, 1, MAX_FORECAST_DAYS, "forecast"),
    ):
        if not low <= count <= high:
            raise NotADayCount(f"{count} {what} days are not to be had; the source gives {low} to {high}.")
    try:
        parts = urlsplit(base_url)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if host is None or parts.scheme not in ("http", "https") or parts.fragment:
        raise NotAnAddress(f"The source {base_url[:80]!r} is no web address; write it as {OPEN_METEO}.")
    named = f"[{host}]" if ":" in host else host
    address = f"{parts.scheme}://{named}{'' if port is None else f':{port}'}{parts.path}"
    latitude, longitude = place.split(",")
    asked = [
        ("latitude", latitude),
        ("longitude", longitude),
        ("hourly", ",".join(VARIABLES)),
        ("past_days", str(past_days)),
        ("forecast_days", str(forecast_days)),
        ("timeformat", "unixtime"),
        ("timezone", "GMT"),
        ("temperature_unit", "celsius"),
        ("wind_speed_unit", "ms"),
    ]
    if elevation_m is not None:
        asked.append(("elevation", f"{round(elevation_m, -1):.0f}"))
    return _Question(base_url, host, address, tuple(asked))


def _ask(question: _Question, patience: Patience) -> bytes:
    """The reply, after as many tries as patience allows.

    Written out rather than left to urllib3's Retry, which ends before the body is read, has no bound on the whole, and
    sleeps as long as a Retry-After says where a keeper is better told to come back later.
    """
    import requests

    ends = time.monotonic() + patience.whole_s
    with requests.Session() as session:
        session.auth = lambda request: request  # no login out of a file of the keeper's is sent along
        session.headers["User-Agent"] = f"underlid/{version('underlid')}"
        for attempt in range(1, patience.tries + 1):
            try:
                return _ask_once(session, question, patience, ends)
            except SourceUnreachable as fault:
                pause = patience.pause_s * 2 ** (attempt - 1) if fault.wait_s is None else fault.wait_s
                if attempt == patience.tries or time.monotonic() + pause > ends:
                    raise
            time.sleep(pause)
    raise AssertionError("patience has no tries")  # pragma: no cover


def _ask_once(session: requests.Session, question: _Question, patience: Patience, ends: float) -> bytes:
    import requests
    import urllib3.exceptions as below

    host = question.host
    left = max(ends - time.monotonic(), 0.01)
    limits = min(patience.connect_s, left), min(patience.read_s, left)
    late = f"{host} did not answer in time; try again later."
    try:
        # A redirect is not followed: the place goes to nobody but the address the keeper knows of.
        with session.get(question.url, timeout=limits, stream=True, allow_redirects=False) as response:
            data = bytearray()
            # read1 gives what has come; iter_content would wait for a whole piece, however slowly it drips.
            while piece := response.raw.read1(65536, decode_content=True):
                data += piece
                if len(data) > MAX_BYTES:
                    raise ReplyUnusable(f"The reply of {host} is over {MAX_BYTES} bytes, so it is no such forecast.")
                if time.monotonic() > ends:
                    raise SourceUnreachable(late)
            _refuse_status(response, bytes(data), host)
            return bytes(data)
    except requests.exceptions.SSLError as problem:
        raise SourceRefused(
            f"{host} cannot prove that it is {host}; check the address and this computer's clock."
        ) from problem
    except (requests.exceptions.Timeout, below.ReadTimeoutError) as problem:
        raise SourceUnreachable(late) from problem
    except requests.exceptions.ConnectionError as problem:
        raise SourceUnreachable(f"{host} cannot be reached; check that this computer is online.") from problem
    except (requests.exceptions.RequestException, below.DecodeError) as problem:
        raise ReplyUnusable(f"{host} does not answer as a web server should ({type(problem).__name__}).") from problem
    except (below.HTTPError, OSError) as problem:
        raise SourceUnreachable(f"The reply of {host} broke off; try again later.") from problem


def _refuse_status(response: requests.Response, data: bytes, host: str) -> None:
    status = response.status_code
    if status == 200:
        return
    reason = reason_in(data)
    said = f"{host} answered {status}" + (f": {reason}" if reason else "")
    if status not in _PASSING:
        if 300 <= status < 400:
            said += " (it has moved)"
        raise SourceRefused(f"{said}. Check --place, the days and --source.")
    wait_s = _wait_s(response.headers.get("Retry-After", ""))
    later = "later" if wait_s is None or wait_s > 86400 else f"in {math.ceil(wait_s / 60)} min"
    raise SourceUnreachable(f"{said}. Try again {later}.", wait_s)


def _wait_s(text: str) -> float | None:
    """What a Retry-After header asks for: seconds, or a date (RFC 9110, 10.2.3)."""
    if text.isascii() and text.isdecimal():
        return float(text[:9])
    try:
        moment = parsedate_to_datetime(text)
    except ValueError:
        return None
    return max((moment.replace(tzinfo=moment.tzinfo or UTC) - datetime.now(UTC)).total_seconds(), 0.0)


def _noted(fetched: Fetched, note: str) -> Fetched:
    return replace(fetched, weather=replace(fetched.weather, notes=(*fetched.weather.notes, note)))


def _ago(age: timedelta) -> str:
    hours = round(age.total_seconds() / 3600)
    return f"{hours} hour{'s' if hours != 1 else ''}" if hours < 72 else f"{age.days} days"
