"""From a keeper's words to an export, by command and by phone, with the records in either store."""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.journal.conftest import BOTH, dump
from tests.journal.postgres import Server
from underlid import cli
from underlid.journal.errors import ServerAway, StoringUnsure
from underlid.journal.place import POINTER
from underlid.journal.store import Journal
from underlid.web.app import create_app
from underlid.web.meant import csrf_token
from underlid.web.settings import Settings

with warnings.catch_warnings():  # it would rather have httpx2
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

STORES = BOTH
NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)
KEY = "0b2f7a52-7d8e-4c39-9d0f-0a6d6f1f6f01"

Call = Callable[..., str]


@pytest.fixture
def underlid(journal: Journal, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Call:
    """Run a command on the journal, and return what it prints."""
    monkeypatch.setenv("UNDERLID_JOURNAL", str(journal.folder))

    def call(*words: str) -> str:
        monkeypatch.setattr(sys, "argv", ["underlid", *words])
        capfd.readouterr()
        with pytest.raises(SystemExit) as end:
            cli.main()
        told = capfd.readouterr()
        assert not end.value.code, told.err
        return told.out

    return call


def test_what_is_logged_is_listed_exported_and_taken_in_again(underlid: Call, journal: Journal, tmp_path: Path) -> None:
    underlid("log", "north", "5 Dec 20:00: middle 7-8 C, edge 6 C", "--yes", "--now", "2026-02-03 21:00")
    underlid("container", "mug", "about 300 mL")
    assert "7 to 8 °C" in underlid("entries", "north")
    assert len(json.loads(underlid("entries", "north", "--json"))) == 2
    underlid("export", "--out", str(tmp_path / "out.csv"))
    exported = (tmp_path / "out.csv").read_bytes()
    assert exported.count(b"\r\n") == 3
    before = dump(journal)
    underlid("import", str(tmp_path / "out.csv"), "--now", "2026-02-03 21:00")
    assert dump(journal) == before  # each is known by its id


@pytest.fixture
def client(journal: Journal) -> Iterator[TestClient]:
    app = create_app(Settings(journal.folder, now=lambda: NOW))
    with TestClient(app, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 50000)) as made:
        made.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
        yield made


def test_what_a_phone_sends_twice_is_stored_once(client: TestClient, journal: Journal) -> None:
    sent = {"key": KEY, "words": "middle 6-7 C, edge 4 C; fed 150 g pear cores"}
    first, again = (client.post("/api/bins/north/entries", json=sent) for _ in range(2))
    assert (first.status_code, again.status_code) in [(201, 200), (201, 201), (200, 200)]
    assert len(journal.entries()) == 3
    assert [one["id"] for one in first.json()["entries"]] == [one["id"] for one in again.json()["entries"]]
    other = client.post("/api/bins/north/entries", json=sent | {"words": "middle 9 C"})
    assert other.status_code == 409
    assert len(journal.entries()) == 3


@pytest.mark.parametrize("error", [ServerAway, StoringUnsure])
def test_a_phone_is_asked_to_send_again_when_the_server_is_away(
    client: TestClient, journal: Journal, monkeypatch: pytest.MonkeyPatch, error: type[ServerAway]
) -> None:
    sent = {"key": KEY, "words": "middle 6-7 C"}
    add = Journal.add

    def lost(self: Journal, entries: object) -> None:
        add(self, entries)  # type: ignore[arg-type]
        raise error(path="the server", detail="no route")

    with monkeypatch.context() as patch:
        patch.setattr(Journal, "add", lost)
        assert client.post("/api/bins/north/entries", json=sent).status_code == 503
    assert client.post("/api/bins/north/entries", json=sent).status_code in (200, 201)
    assert len(journal.entries()) == 1


def test_the_command_moves_a_journal_there_and_back(
    journal: Journal, store: str, server: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    from underlid.cli.move import move

    url, bins = server.database(), journal.bins()
    journal.close()
    move(to=url if store == "sqlite" else "sqlite", journal=journal.folder)
    said = capsys.readouterr().out
    assert "read again on both sides and is the same: sha256 " in said
    assert "bins 1, bedding layers 2" in said
    assert (journal.folder / POINTER).exists() == (store == "sqlite")
    move(to=url if store == "postgresql" else "sqlite", journal=journal.folder, as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["rows"]["bins"] == 1
    assert told["sha256"] in said
    with Journal.open(journal.folder) as again:
        assert again.bins() == bins
