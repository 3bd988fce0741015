"""A web server on this machine that answers as Open-Meteo's `/v1/forecast` is described to, or does not.

The shape of a reply follows Open-Meteo's published OpenAPI description (openapi/forecast.yml in its repository) and
recorded replies; the values are made up. The words of the refusals are recorded ones: HTTP 400 from the test
recordings of the R package `openmeteo` (CRAN), HTTP 429 from the source's issue tracker.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np

REFUSED = b'{"error":true,"reason":"Cannot initialize TemperatureUnit from invalid String value asdfsfd for key x"}'
TOO_MANY = b'{"error":true,"reason":"Minutely API request limit exceeded. Please try again in one minute."}'

Answer = Callable[[BaseHTTPRequestHandler], None]


def sample(
    now: datetime, latitude: float = 52.1, longitude: float = -1.3, past_days: int = 2, forecast_days: int = 2
) -> dict[str, Any]:
    """A reply as asked: whole UTC days, at the grid cell's own place, humidity in whole percent."""
    first = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=past_days)
    hours = np.arange(24 * (past_days + forecast_days))
    air = 2 - 4 * np.cos(hours * np.pi / 12) + 5 * np.sin(hours / 150)
    sun = np.maximum(np.sin((hours % 24 - 7) * np.pi / 10), 0.0)
    return {
        "latitude": latitude + 0.020002,
        "longitude": longitude - 0.019998,
        "generationtime_ms": 0.0731945,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 95.0,
        "hourly_units": {
            "time": "unixtime",
            "temperature_2m": "°C",
            "wind_speed_10m": "m/s",
            "relative_humidity_2m": "%",
            "shortwave_radiation": "W/m²",
        },
        "hourly": {
            "time": [int(first.timestamp()) + 3600 * int(hour) for hour in hours],
            "temperature_2m": [round(float(v), 1) for v in air],
            "wind_speed_10m": [round(float(v), 2) for v in 3 + np.sin(hours / 5)],
            "relative_humidity_2m": [int(v) for v in 85 + 10 * np.cos(hours * np.pi / 12)],
            "shortwave_radiation": [round(float(v), 1) for v in 250 * sun],
        },
    }


def reply(body: object, status: int = 200, headers: dict[str, str] | None = None, cut: int = 0) -> Answer:
    """An answer with this body (JSON unless bytes); `cut` bytes fewer than it promises."""
    data = body if isinstance(body, bytes) else json.dumps(body, ensure_ascii=False).encode()

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", "application/json; charset=utf-8")
        handler.send_header("Content-Length", str(len(data)))
        for name, value in (headers or {}).items():
            handler.send_header(name, value)
        handler.end_headers()
        handler.wfile.write(data[: len(data) - cut])

    return answer


def in_chunks(body: object, end: bytes = b"0\r\n\r\n") -> Answer:
    """An answer of a length not told beforehand, as a web server may send it (RFC 9112, 7.1)."""
    data = json.dumps(body).encode()

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.protocol_version = "HTTP/1.1"
        handler.send_response(200)
        handler.send_header("Transfer-Encoding", "chunked")
        handler.send_header("Connection", "close")
        handler.end_headers()
        for at in range(0, len(data), 1000):
            piece = data[at : at + 1000]
            handler.wfile.write(b"%x\r\n%s\r\n" % (len(piece), piece))
        handler.wfile.write(end)

    return answer


class ForecastServer(ThreadingHTTPServer):
    """Gives its answers in order, and the last one from then on; notes what it was asked."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.answers: list[Answer] = []
        self.asked: list[dict[str, str]] = []
        self.agents: list[str] = []
        self.closing = threading.Event()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/v1/forecast"

    def hang(self, handler: BaseHTTPRequestHandler) -> None:
        """Answer nothing until the test is over."""
        self.closing.wait(30)

    def stall(self, handler: BaseHTTPRequestHandler) -> None:
        """Begin an answer and go on no further."""
        handler.send_response(200)
        handler.send_header("Content-Length", "1000")
        handler.end_headers()
        handler.wfile.write(b'{"latitude":')
        handler.wfile.flush()
        self.closing.wait(30)

    def drip(self, handler: BaseHTTPRequestHandler) -> None:
        """Answer so slowly that the end would be long in coming, though never silent for long."""
        handler.send_response(200)
        handler.send_header("Content-Length", "1000000")
        handler.end_headers()
        while not self.closing.wait(0.01):
            handler.wfile.write(b" ")

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that hung up is part of these tests."""


class _Handler(BaseHTTPRequestHandler):
    server: ForecastServer

    def do_GET(self) -> None:
        self.server.asked.append({name: values[0] for name, values in parse_qs(urlsplit(self.path).query).items()})
        self.server.agents.append(self.headers["User-Agent"])
        answers = self.server.answers
        (answers.pop(0) if len(answers) > 1 else answers[0])(self)

    def log_message(self, format: str, *args: object) -> None:
        pass


@contextmanager
def serving() -> Iterator[ForecastServer]:
    with ForecastServer() as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield server
        finally:
            server.closing.set()
            server.shutdown()
            thread.join()
