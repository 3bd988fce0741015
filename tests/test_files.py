"""Files written whole or not at all."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from underlid.files import NotAFile, write_whole


def test_two_threads_that_write_one_file_at_once_both_succeed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "kept.json"
    both, sync, seen = threading.Barrier(2, timeout=20), os.fsync, threading.local()
    failed: list[BaseException] = []

    def wait_for_the_other(handle: int) -> None:
        sync(handle)
        if not hasattr(seen, "once"):  # the copy is written and has not got its name yet
            seen.once = True
            both.wait()

    def write(data: bytes) -> None:
        try:
            write_whole(target, data)
        except BaseException as error:
            failed.append(error)

    monkeypatch.setattr(os, "fsync", wait_for_the_other)
    threads = [threading.Thread(target=write, args=[data]) for data in (b"one" * 1000, b"the other" * 1000)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert failed == []
    assert target.read_bytes() in (b"one" * 1000, b"the other" * 1000)
    assert list(tmp_path.iterdir()) == [target]


def test_what_a_killed_writer_leaves_is_hidden_and_ends_as_unfinished_files_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target, left = tmp_path / "kept.json", []

    def look(part: Path, to: Path) -> Path:
        left.append(part.name)
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "replace", look)
    for _ in range(2):
        with pytest.raises(OSError, match=r"kept\.json"):
            write_whole(target, b"data")
    assert all(name.startswith(".kept.json.") and name.endswith(".part") for name in left)
    assert len(set(left)) == 2  # also of one thread
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(NotAFile):
        write_whole(tmp_path, b"data")
