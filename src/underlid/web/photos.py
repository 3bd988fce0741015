"""Pictures: taken in without what they tell of the keeper, given out by their hash and in no other way.

A picture is decoded and written anew as JPEG, upright. Only its pixels stay: place, camera and everything else that a
phone writes into it is gone; the time it was taken becomes the time of the entry if the keeper gives none.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from fastapi.responses import FileResponse, RedirectResponse, Response
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from underlid.files import write_whole
from underlid.journal.errors import DuplicateEntry
from underlid.journal.photos import add_photo
from underlid.journal.store import PHOTOS, Journal
from underlid.quantity.when import VagueTime, parse_when
from underlid.records import Bin, Photo
from underlid.update.pictures import MOST_SIDE, UnfitPicture, jpeg_of, upright
from underlid.web import tally
from underlid.web.asked import BAD, MISSING, Line, Problem, Strict
from underlid.web.parts import TURN, JournalPart, SettingsPart, now_in
from underlid.web.pictured import picture_of
from underlid.web.sent import KeyTaken, entry_id, stored_under

router = APIRouter()
router.include_router(tally.router)

MOST_BYTES = 30_000_000
WIDTHS = (200, 400, 800, 1600)  # px; other widths are given the next larger
QUALITY = 90
ENDS = b"\xff\xd9"  # a JPEG (ITU T.81, 1992)
JFIF = ("APP0", 14)  # without a small picture in it (ITU T.871, 2011)
TAKEN, TAKEN_ZONE, WRITTEN, DETAILS = 0x9003, 0x9011, 0x0132, 0x8769  # EXIF tags


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A picture as JPEG that holds nothing but pixels; `taken` is when it says it was taken, without a zone if that
    is not told."""

    jpeg: bytes
    taken: datetime | None


class PhotoKept(Strict):
    """A stored picture: its entry, hash, time and the remarks on how it was taken in."""

    entry: str
    bin: str
    sha256: str
    words: str
    when: str
    repeated: bool
    notes: list[str]


# --- routes -------------------------------------------------------------------------------------------------


@router.post(
    "/api/bins/{bin}/photos", summary="Keep a picture", status_code=201, tags=["photos"], response_model=PhotoKept,
    responses={**MISSING, **BAD, 413: {"model": Problem, "description": "It is larger than 30 MB."}},
)  # fmt: skip
def keep_photo(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: str,
    picture: Annotated[UploadFile, File(description="JPEG, PNG, WebP or HEIC, by what it holds.")],
    key: Annotated[UUID, Form(description="Made by the one who sends; the same again is kept once.")],
    words: Annotated[Line, Form(description="What it shows.")] = "",
    when: Annotated[Line, Form(description="When it was taken; as the picture says if left out, else now.")] = "",
    csrf: Annotated[str, Form(include_in_schema=False)] = "",
) -> Response | PhotoKept:
    """Keep a picture of a bin, upright and without what it tells besides its pixels, under its own hash."""
    record = journal.bin(bin)
    data = picture.file.read(MOST_BYTES + 1)
    kept = keep(journal, record, data, key, words, when, now_in(settings, record))
    if "text/html" in request.headers.get("accept", ""):  # a form without script
        return RedirectResponse(f"/photos/{kept.sha256}/tally", 303)
    return kept


@router.get("/photos/{sha256}", include_in_schema=False)
def show_photo(
    settings: SettingsPart, sha256: str, w: Annotated[int | None, Query(ge=1, le=4000)] = None
) -> Response:  # fmt: skip
    """A picture by its hash, whole or at about a width; never more than its pixels, whoever put it in."""
    path = _given_out(settings.journal, picture_of(settings.journal, sha256), sha256, w)
    return FileResponse(
        path, media_type="image/jpeg",
        headers={"X-Content-Type-Options": "nosniff", "Cache-Control": "private, max-age=31536000, immutable",
                 "Content-Disposition": "inline"},
    )  # fmt: skip


# --- keeping ------------------------------------------------------------------------------------------------


def keep(
    journal: Journal, record: Bin, data: bytes, key: UUID, words: str, when: str, now: datetime
) -> PhotoKept:  # fmt: skip
    """Store a picture and its entry once under a key. Raises UnfitPicture, KeyTaken."""
    found = cleaned(data)
    standing = stored_under(journal, key)
    # Without a time of its own, one that arrives again is dated by the clock of the first time.
    clock = (standing[0].noted_at if standing else None) or now
    at, notes = _when(found.taken, when, record, clock.astimezone(now.tzinfo))
    with TemporaryDirectory() as folder:
        copy = Path(folder) / "picture.jpg"
        copy.write_bytes(found.jpeg)
        stored = add_photo(journal.folder, copy)
    entry = Photo(
        id=entry_id(key, 0), bin=record.name, when=at, words=words or "photo", noted_at=clock, file=stored.file,
        sha256=stored.sha256,
    )  # fmt: skip
    if not standing:
        try:
            with TURN:
                journal.add([entry])
        except DuplicateEntry:  # it arrived twice at the same moment, and the other came first
            standing = stored_under(journal, key)
    if standing:
        first = standing[0]
        if not isinstance(first, Photo) or (first.bin, first.sha256) != (entry.bin, entry.sha256):
            raise KeyTaken(standing, entry.words)
        entry = first
    return PhotoKept(
        entry=entry.id, bin=entry.bin, sha256=entry.sha256, words=entry.words, when=entry.when.start.isoformat(),
        repeated=bool(standing), notes=notes,
    )  # fmt: skip


def cleaned(data: bytes) -> Cleaned:
    """The pixels of a picture as upright JPEG, and its time. Raises UnfitPicture, of a large one before decoding it."""
    if len(data) > MOST_BYTES:
        raise UnfitPicture(f"The picture is larger than {MOST_BYTES // 1_000_000} MB; make it smaller.")
    return Cleaned(jpeg_of(upright(data), QUALITY), _taken(data))


# --- inside -------------------------------------------------------------------------------------------------


def _taken(data: bytes) -> datetime | None:
    """When a picture that can be read says it was taken."""
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG", "PNG", "WEBP", "HEIF"]) as image:
            exif = image.getexif()
        details = exif.get_ifd(DETAILS)
        said = str(details.get(TAKEN) or exif.get(WRITTEN) or "").strip("\x00 ")
        zone = str(details.get(TAKEN_ZONE) or "").strip("\x00 ") if details.get(TAKEN) else ""
        taken = datetime.strptime(said, "%Y:%m:%d %H:%M:%S")
        return datetime.strptime(f"{said} {zone}", "%Y:%m:%d %H:%M:%S %z") if zone else taken
    except Exception:  # a damaged or missing note of the time leaves the picture as it is
        return None


def _when(taken: datetime | None, words: str, record: Bin, now: datetime) -> tuple[VagueTime, list[str]]:
    """The time of the entry: the keeper's words, else what the picture says if that can be, else now."""
    tz, start = ZoneInfo(record.timezone), record.started.start
    if words:
        return parse_when(words, now=now, tz=tz, start=start), []
    if taken is None:
        return parse_when("now", now=now, tz=tz, start=start), []
    try:
        local = taken.replace(tzinfo=tz) if taken.tzinfo is None else taken.astimezone(tz)
        known = start <= local <= now + timedelta(minutes=10)
    except OverflowError:
        known = False
    if not known:
        note = f"The picture says {taken:%Y-%m-%d %H:%M}, which cannot be for this bin; it is kept as of now."
        return parse_when("now", now=now, tz=tz, start=start), [note]
    said = f"{min(local, now):%Y-%m-%d %H:%M}"
    return parse_when(said, now=now, tz=tz, start=start), [f"It was taken on {said}, as the picture says."]


def _given_out(folder: Path, stored: Path, sha256: str, width: int | None) -> Path:
    """The file to give out: the stored one if it is ours and whole, else a copy kept beside it."""
    if width is None and _only_pixels(stored):
        return stored
    size = None if width is None else next((each for each in WIDTHS if each >= width), WIDTHS[-1])
    made = folder / PHOTOS / f"{sha256}.{'whole' if size is None else f'w{size}'}.jpg"
    if not made.is_file():
        jpeg = cleaned(stored.read_bytes()).jpeg
        if size is not None:
            image = upright(jpeg)
            image.thumbnail((size, MOST_SIDE))
            jpeg = jpeg_of(image, QUALITY)
        write_whole(made, jpeg)
    return made


def _only_pixels(path: Path) -> bool:
    """Whether it is a JPEG of pixels alone, as ours are: one that was put in as it was may tell where it was taken.

    Nothing may follow its end, where phones put films, and no segment may be for a program but the plain first one.
    """
    data = path.read_bytes()
    if path.suffix != ".jpg" or data.find(ENDS) != len(data) - len(ENDS):
        return False
    with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
        assert isinstance(image, JpegImageFile)
        return [(name, len(held)) for name, held in image.applist] in ([], [JFIF])
