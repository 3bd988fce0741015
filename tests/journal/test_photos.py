from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from underlid.journal import photos
from underlid.journal.errors import (
    DiskFull,
    JournalError,
    NoJournal,
    NoPhoto,
    NotAPhoto,
    PhotoTooLarge,
    UnwritableFolder,
)
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal

# First bytes by the formats' own documents: ISO/IEC 10918-1 (JPEG), W3C PNG, RFC 9649 (WebP), ISO/IEC 23008-12 (HEIF).
# Recalled.
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + b"picture" * 100
PNG = b"\x89PNG\r\n\x1a\n" + b"picture" * 100
WEBP = b"RIFF\x10\x00\x00\x00WEBPVP8 " + b"picture" * 100
HEIC = b"\x00\x00\x00\x18ftypheic" + b"picture" * 100


def _kept(journal: Journal) -> list[str]:
    return sorted(path.name for path in (journal.folder / "photos").iterdir())


def _picture(tmp_path: Path, name: str, data: bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("name", "data", "suffix"),
    [
        ("bin.jpg", JPEG, ".jpg"),
        ("BIN.JPEG", JPEG, ".jpg"),
        ("bin.png", PNG, ".png"),
        ("bin.webp", WEBP, ".webp"),
        ("IMG_1.HEIC", HEIC, ".heic"),
        ("IMG_2.heic", JPEG, ".jpg"),  # so do some phones
    ],
)
def test_a_picture_is_kept_under_the_hash_of_its_bytes(
    journal: Journal, tmp_path: Path, name: str, data: bytes, suffix: str
) -> None:
    stored = add_photo(journal.folder, _picture(tmp_path, name, data))
    assert stored.sha256 == hashlib.sha256(data).hexdigest()
    assert stored.file == stored.sha256 + suffix
    assert (journal.folder / "photos" / stored.file).read_bytes() == data
    assert _kept(journal) == [stored.file]


def test_the_same_picture_twice_is_kept_once(journal: Journal, tmp_path: Path) -> None:
    first = add_photo(journal.folder, _picture(tmp_path, "a.jpg", JPEG))
    assert add_photo(journal.folder, _picture(tmp_path, "b.jpeg", JPEG)) == first
    assert _kept(journal) == [first.file]


def test_the_photos_folder_comes_back_if_it_was_lost(journal: Journal, tmp_path: Path) -> None:
    (journal.folder / "photos").rmdir()
    stored = add_photo(journal.folder, _picture(tmp_path, "a.jpg", JPEG))
    assert _kept(journal) == [stored.file]


@pytest.mark.parametrize(
    ("name", "data", "error", "sentence"),
    [
        ("notes.txt", JPEG, NotAPhoto, r"its name ends in '\.txt'.*give a \.jpg"),
        ("fake.jpg", b"#!/bin/sh\n", NotAPhoto, "its bytes are no such picture"),
        ("empty.jpg", b"", NotAPhoto, "it is empty"),
        ("sound.webp", b"RIFF\x10\x00\x00\x00WAVE", NotAPhoto, "its bytes"),
        ("film.heic", b"\x00\x00\x00\x18ftypisom", NotAPhoto, "its bytes"),
    ],
)
def test_what_is_no_picture_is_refused(
    journal: Journal, tmp_path: Path, name: str, data: bytes, error: type[JournalError], sentence: str
) -> None:
    with pytest.raises(error, match=sentence):
        add_photo(journal.folder, _picture(tmp_path, name, data))
    assert _kept(journal) == []


def test_a_picture_that_is_not_there_or_is_a_folder_or_a_pipe(journal: Journal, tmp_path: Path) -> None:
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
    for name in ("missing.jpg", "folder.jpg", "pipe.jpg"):
        with pytest.raises(NoPhoto, match="no such file"):
            add_photo(journal.folder, tmp_path / name)


def test_a_picture_may_be_as_large_as_the_limit_and_no_larger(journal: Journal, tmp_path: Path) -> None:
    path = _picture(tmp_path, "large.jpg", JPEG)
    os.truncate(path, photos.MAX_BYTES + 1)
    with pytest.raises(PhotoTooLarge, match="larger than 50 MB"):
        add_photo(journal.folder, path)
    assert _kept(journal) == []
    os.truncate(path, photos.MAX_BYTES)
    assert len(_kept(journal)) == 0
    add_photo(journal.folder, path)
    assert len(_kept(journal)) == 1


def test_a_picture_needs_a_journal(tmp_path: Path) -> None:
    with pytest.raises(NoJournal):
        add_photo(tmp_path, _picture(tmp_path, "a.jpg", JPEG))


def test_a_full_disk_leaves_nothing_behind(journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DiskFull, match="free some space"):
        add_photo(journal.folder, _picture(tmp_path, "a.jpg", JPEG))
    assert _kept(journal) == []


def test_a_photos_folder_that_cannot_be_written(journal: Journal, tmp_path: Path) -> None:
    (journal.folder / "photos").rmdir()
    (journal.folder / "photos").write_text("not a folder")
    with pytest.raises(UnwritableFolder):
        add_photo(journal.folder, _picture(tmp_path, "a.jpg", JPEG))
