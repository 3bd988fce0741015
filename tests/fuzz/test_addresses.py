"""Addresses and headers that no browser sends: answered or refused, never a fault, and nothing changes by looking."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.scribble import FUZZ, scribbled, watched
from tests.journal.conftest import dump
from tests.web.conftest import clock
from tests.web.raw import ask
from tests.web.test_security import routes
from underlid.journal.store import Journal
from underlid.web.app import create_app
from underlid.web.settings import Settings
from underlid.web.work import Worker

HOST = ("host", "127.0.0.1:8765")
ODD = (
    "?limit=0", "?limit=" + "9" * 50, "?w=-1", "?w=400", "?at=", "&month=2026-13", "?month=2026-01", "north",
    "%2e%2e", "..%2f", "%c0%af", "//evil.example", "\\", ";a=b", "?code=1234", "[]", "?a[]=1", "*", "?%", "&&&",
    "🪱", "0" * 64,
)  # fmt: skip
HEADERS = st.lists(
    st.tuples(
        st.sampled_from([
            "accept", "accept-encoding", "content-length", "content-type", "cookie", "if-none-match",
            "if-modified-since", "last-event-id", "origin", "range", "referer", "sec-fetch-mode",
            "sec-fetch-site", "transfer-encoding",
            "x-csrf-token", "x-forwarded-for", "connection", "te", "expect", "host",
        ]),
        st.sampled_from([
            "", "*", "text/html", "bytes=0-", "bytes=-1,5-2,99999999999999999999-", "gzip;q=nan", "chunked", "-1",
            "1e3", "application/json; charset=no-such", "multipart/form-data", "a=b; __Host-underlid=" + "x" * 200,
            "null", "Thu, 99 Foo 0000 25:61:61 GMT", 'W/"x"', "same-origin", "navigate", "\xff\xfe", "x" * 9000,
        ])
        | st.text(st.characters(max_codepoint=255), max_size=20),
    ),
    max_size=3,
)  # fmt: skip


@pytest.fixture(scope="module")
def app(begun: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = shutil.copytree(begun, tmp_path_factory.mktemp("app") / "journal")
    settings = Settings(folder, now=clock)
    made = create_app(settings)
    made.state.worker = Worker(settings)  # idle: who has no token of a page asks for no work
    yield made
    made.state.worker.stop()


@pytest.fixture(scope="module")
def seeds(app: Any) -> list[str]:
    return sorted({path for _, path in routes(app)} | {"/static/style.css", "/bins/north/enter?words=middle 6 C"})


_asked = itertools.count()


@FUZZ
@given(
    data=st.data(), headers=HEADERS, method=st.sampled_from(["GET", "GET", "HEAD", "OPTIONS", "POST", "PUT", "BREW"])
)
def test_any_address_is_answered(app: Any, seeds: list[str], data: Any, headers: Any, method: str) -> None:
    path = data.draw(scribbled(seeds, ODD)).encode("utf-8", "replace").decode()
    number = next(_asked)
    asker = f"127.1.{number // 250 % 250}.{number % 250}"  # each its own, so that none asks too often
    with Journal.open(app.state.settings.journal) as journal:
        before = dump(journal)
        with watched():
            answer = ask(app, path, method, headers=[HOST, *headers], client=asker)
        assert answer.status < 500 or answer.status in (501, 503), path
        assert answer.status != 429
        assert dump(journal) == before
    if answer.status >= 400 and method != "HEAD":
        assert answer.body.strip()
