from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from underlid.weather.cache import cache_folder, keep, recall

AT = datetime(2026, 1, 23, 21, 4, 31, tzinfo=UTC)


def test_what_is_kept_is_recalled_byte_for_byte(tmp_path: Path) -> None:
    reply = b'{"a":\n1}\r\n\x00\xff'
    keep(tmp_path / "new" / "folder", "question", AT, reply)
    assert recall(tmp_path / "new" / "folder", "question") == (AT, reply)
    assert recall(tmp_path / "new" / "folder", "another") is None


def test_the_newest_takes_the_place_of_the_older(tmp_path: Path) -> None:
    keep(tmp_path, "question", AT, b"old")
    keep(tmp_path, "question", (AT + timedelta(hours=2)).astimezone(timezone(timedelta(hours=5))), b"new")
    assert recall(tmp_path, "question") == (AT + timedelta(hours=2), b"new")
    assert len(list(tmp_path.iterdir())) == 1


def test_a_write_that_fails_leaves_what_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(tmp_path, "question", AT, b"old")

    def full(*paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        keep(tmp_path, "question", AT, b"new")
    assert recall(tmp_path, "question") == (AT, b"old")
    assert len(list(tmp_path.iterdir())) == 1


def test_where_the_cache_is() -> None:
    assert cache_folder({"UNDERLID_CACHE": "/mine", "XDG_CACHE_HOME": "/x"}) == Path("/mine")
    assert cache_folder({"XDG_CACHE_HOME": "/x"}) == Path("/x/underlid/weather")
    # A relative XDG_CACHE_HOME is to be passed over (XDG Base Directory Specification 0.8).
    for environ in ({}, {"XDG_CACHE_HOME": "x"}, {"XDG_CACHE_HOME": "", "UNDERLID_CACHE": ""}):
        assert cache_folder(environ) == Path.home() / ".cache" / "underlid" / "weather"
