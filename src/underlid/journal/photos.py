"""Pictures beside a journal, each named after its own bytes so that none is ever overwritten."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from underlid.files import write_whole
from underlid.journal.errors import NoJournal, NoPhoto, NotAPhoto, PhotoTooLarge, disk_error
from underlid.journal.store import PHOTOS, Journal

MAX_BYTES = 50_000_000
SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")

_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"mif1")


@dataclass(frozen=True, slots=True)
class StoredPhoto:
    """What a Photo record says of its picture: `file` is its name in the journal's photos folder."""

    file: str
    sha256: str


def add_photo(folder: Path | str, picture: Path | str) -> StoredPhoto:
    """Copy a picture into the journal in `folder`; the same picture twice is kept once.

    When this returns, the copy is on the disk; when it raises a JournalError, nothing is left behind.
    """
    folder, picture = Path(folder), Path(picture)
    if not Journal.exists(folder):
        raise NoJournal(folder=folder)
    data = _read(picture)
    sha256 = hashlib.sha256(data).hexdigest()
    stored = StoredPhoto(file=f"{sha256}{_suffix(data, picture)}", sha256=sha256)
    try:
        write_whole(folder / PHOTOS / stored.file, data)
    except OSError as error:
        raise disk_error(error, folder / PHOTOS) from error
    return stored


def _read(picture: Path) -> bytes:
    if picture.suffix.lower() not in SUFFIXES:
        raise _not_a_photo(picture, f"its name ends in '{picture.suffix}'")
    if not picture.is_file():  # a pipe would never end
        raise NoPhoto(path=picture, detail="there is no such file")
    try:
        with picture.open("rb") as source:
            data = source.read(MAX_BYTES + 1)
    except OSError as error:
        raise NoPhoto(path=picture, detail=error.strerror) from error
    if len(data) > MAX_BYTES:
        raise PhotoTooLarge(path=picture, limit_mb=MAX_BYTES // 1_000_000)
    return data


def _suffix(data: bytes, picture: Path) -> str:
    """Return the suffix that the first bytes call for: phones send JPEG pictures named .heic."""
    if data.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return ".png"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return ".webp"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return ".heic"
    raise _not_a_photo(picture, "its bytes are no such picture" if data else "it is empty")


def _not_a_photo(picture: Path, detail: str) -> NotAPhoto:
    return NotAPhoto(path=picture, detail=detail, allowed=", ".join(SUFFIXES))
