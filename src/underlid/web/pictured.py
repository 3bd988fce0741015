"""Where a stored picture lies: found by its hash alone, so that no name that is sent ever becomes part of a path."""

from __future__ import annotations

import re
from pathlib import Path

from underlid.journal.store import PHOTOS, Journal
from underlid.records import Photo

SUFFIXES = (".jpg", ".png", ".webp", ".heic")


class NoSuchPicture(ValueError):
    """There is no picture of that hash."""


def picture_of(folder: Path, sha256: str) -> Path:
    """The stored file of a hash. Raises NoSuchPicture."""
    if re.fullmatch("[0-9a-f]{64}", sha256, re.ASCII):
        for suffix in SUFFIXES:
            path = folder / PHOTOS / f"{sha256}{suffix}"
            if path.is_file():
                return path
    raise NoSuchPicture("There is no picture of that hash in the journal.")


def entry_of(journal: Journal, sha256: str) -> Photo:
    """The journal's entry of a picture, the first if it was kept in several bins. Raises NoSuchPicture."""
    picture_of(journal.folder, sha256)
    for entry in journal.entries(kind=Photo):
        if entry.sha256 == sha256:
            return entry
    raise NoSuchPicture("There is no picture of that hash in the journal.")
