"""A stored picture: where it lies, found by its hash alone, so that no name that is sent ever becomes part of a path;
and the form by which its keeper says whether others may see it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from underlid.journal.store import PHOTOS, Journal
from underlid.records import Photo, PhotoShown, PhotosShown
from underlid.web.asked import BinName
from underlid.web.keepers import NotYours, own_among
from underlid.web.parts import TURN, JournalPart, SettingsPart

router = APIRouter()

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


def entry_of(journal: Journal, sha256: str, bin: str | None = None) -> Photo:
    """The journal's entry of a picture in a bin, or the first in any. Raises NoSuchPicture."""
    for entry in entries_of(journal, sha256):
        if bin in (None, entry.bin):
            return entry
    raise NoSuchPicture(f"There is no picture of that hash in the journal{'' if bin is None else f' of “{bin}”'}.")


def entries_of(journal: Journal, sha256: str) -> list[Photo]:
    """All entries of a picture: it may have been kept in several bins. Raises NoSuchPicture if it is not stored."""
    picture_of(journal.folder, sha256)
    return [entry for entry in journal.entries(kind=Photo) if entry.sha256 == sha256]


@router.post("/photos/{sha256}/shown", include_in_schema=False)
def show_or_hide(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    sha256: str,
    bin: Annotated[BinName, Form()],
    shown: Annotated[PhotosShown, Form()],
) -> Response:
    """Share a picture of a bin, or keep it private: that holds before what its keeper says of all photos."""
    if not own_among(request, journal, [bin]):
        raise NotYours(f"“{bin}” is not yours. Only its keeper or a steward says who may see its pictures.")
    entry_of(journal, sha256, bin)
    with TURN:
        for entry in journal.entries(bin, superseded=True, kind=Photo):
            if entry.sha256 == sha256:
                moment = journal.just_after(settings.now())
                journal.show_photo(PhotoShown(id=str(uuid4()), photo=entry.id, shown=shown, noted_at=moment))
    return RedirectResponse(f"/photos/{sha256}/tally", 303)
