"""Composing a month's update: the keeper's words, colour and photos, a preview, and files to take away."""

from __future__ import annotations

import mimetypes
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import FileResponse, JSONResponse, Response
from pydantic import Field, StringConstraints

from underlid.journal.store import Journal
from underlid.monthly import MOST_PICTURES, last_full_month, photos_of
from underlid.records import Bin, Photo
from underlid.update.forms.formats import FORMATS
from underlid.update.lifefacts import ACCENT
from underlid.update.own import accent_from, words_from
from underlid.update.prose.said import SECTIONS
from underlid.web.asked import MISSING, Problem, Strict
from underlid.web.beforehand import NO_FIT, NeedsWeather
from underlid.web.binpage import ASKED, BinName, ask
from underlid.web.bintold import JobTold
from underlid.web.composed import Made, file_of, made_of, text_of, zip_of
from underlid.web.keepers import NotYours, photos_for
from underlid.web.kept import ago
from underlid.web.parts import JournalPart, SettingsPart, now_in, page
from underlid.web.settings import Settings
from underlid.web.work import Job

router = APIRouter()

MAKE = "underlid.web.composed:make"
MOST_MONTHS = 60  # that are offered

#: What a made page may do in a browser: show itself, and nothing that reaches the journal.
SHOWN_ALONE = (
    "sandbox allow-scripts; default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; "
    "font-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
)

_SEEN = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f]*$"
Month = Annotated[str, StringConstraints(pattern=r"^[12]\d{3}-(0[1-9]|1[0-2])$")]
MonthPath = Annotated[str, Path(pattern=r"^[12]\d{3}-(0[1-9]|1[0-2])$", description="Year and month, “2026-01”.")]
Line = Annotated[str, StringConstraints(max_length=120, pattern=r"^[^\x00-\x1f\x7f]*$", strip_whitespace=True)]
Text = Annotated[str, StringConstraints(max_length=6000, pattern=_SEEN)]
FormatName = Literal["html", "pdf", "poster", "cards", "overlays", "film", "notes", "data"]
SectionName = Literal[
    "", "month", "done", "temperatures", "animals", "chemistry", "tests", "surprises", "unknown", "next", "care"
]


class PhotoAsked(Strict):
    """A photo to show, and the point of it that stays in sight however it is cropped."""

    id: Annotated[str, StringConstraints(min_length=1, max_length=64)]
    x: float = Field(default=0.5, ge=0, le=1, allow_inf_nan=False)
    y: float = Field(default=0.5, ge=0, le=1, allow_inf_nan=False)


class UpdateAsked(Strict):
    """An update to make. `words` are the keeper's own, by section; "" is the opening."""

    month: Month
    title: Line = ""
    keeper: Line = ""
    accent: Annotated[str, StringConstraints(max_length=32)] = ACCENT
    words: dict[SectionName, Text] = Field(default_factory=dict)
    photos: list[PhotoAsked] = Field(default_factory=list, max_length=MOST_PICTURES)
    formats: list[FormatName] = Field(default=["html"], min_length=1, max_length=len(FORMATS))


class Misfit(Problem):
    """What cannot be made, and where in what was asked that is: "accent", "words.animals", "words." (the opening)."""

    at: str | None = None


class Unfit(ValueError):
    """Part of what was asked cannot be shown; `at` is which."""

    def __init__(self, sentence: str, at: str | None) -> None:
        super().__init__(sentence)
        self.at = at


UNFIT: dict[int | str, dict[str, Any]] = {
    **ASKED,
    422: {"model": Misfit, "description": "It cannot be made; the sentence says why, and `at` which part of it."},
}

TOLD: dict[int | str, dict[str, Any]] = {
    **MISSING,
    422: {"model": Problem, "description": "That is no month; the sentence says why."},
}


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo as it is offered: whether it is to be shown, and the point to keep in sight, in per cent."""

    id: str
    sha256: str
    words: str
    picked: bool
    x: int
    y: int


class UpdateTold(Strict):
    """What was made last of a month: when, its files with their sizes in bytes, and what could not be shown."""

    bin: str
    month: str
    made_at: str | None
    files: dict[str, int]
    notes: list[str]


@router.get("/bins/{bin}/update", include_in_schema=False)
def compose(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    month: Annotated[str | None, Query(pattern=r"^[12]\d{3}-(0[1-9]|1[0-2])$")] = None,
) -> Response:
    """The page where an update is composed, with what was made last."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    shown = month or "{}-{:02d}".format(*last_full_month(now))
    year, number = (int(part) for part in shown.split("-"))
    made, job = made_of(settings.journal, record.name, shown), _job(request, record.name, shown)
    asked = _asked(made, job)
    return page(
        request, "update.html", bin=record, month=shown, months=_months(record, settings), made=made, job=job,
        age=None if made is None else ago(max(now - made.made_at, timedelta())), asked=asked,
        newer=0 if made is None else max(0, _count(journal, record) - made.entries),
        sections={"": "Opening", **SECTIONS}, formats=FORMATS, most=MOST_PICTURES, pictures=_pictures(made),
        photos=_photo_rows(
            photos_for(request, journal, photos_of(journal, record.name, (year, number))), asked["photos"]
        ),
    )  # fmt: skip


@router.post(
    "/api/bins/{bin}/update", summary="Make a month's update", status_code=202, tags=["updates"],
    response_model=JobTold, responses=UNFIT,
)  # fmt: skip
def make(
    request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName, asked: UpdateAsked
) -> JobTold | Response:  # fmt: skip
    """Begin to make it; `/api/jobs/{id}` tells how far it is. What cannot be understood is refused at once."""
    record = journal.bin(bin)
    chosen = {one.id for one in asked.photos}
    year, number = (int(part) for part in asked.month.split("-"))
    photos = [one for one in photos_of(journal, record.name, (year, number)) if one.id in chosen]
    if len(photos_for(request, journal, photos)) < len(photos):
        raise NotYours("One of these pictures is from when the bin was another keeper’s, who did not share it.")
    try:
        _check(settings, asked)
    except Unfit as unfit:
        return JSONResponse({"error": str(unfit), "at": unfit.at}, 422)
    own = asked.model_dump(include={"title", "keeper", "accent", "words", "photos"})
    told = ask(request, MAKE, bin=record.name, month=asked.month, own=own, formats=sorted(set(asked.formats)))
    _asked_for(request)[record.name, asked.month] = told.id
    return told


@router.get("/api/bins/{bin}/update/{month}", summary="What was made of a month", tags=["updates"], responses=TOLD)
def told(journal: JournalPart, settings: SettingsPart, bin: BinName, month: MonthPath) -> UpdateTold:
    """The update made last of a month: its files, to be had under `/bins/{bin}/update/{month}/`."""
    record = journal.bin(bin)
    made = made_of(settings.journal, record.name, month)
    if made is None:
        return UpdateTold(bin=bin, month=month, made_at=None, files={}, notes=[])
    return UpdateTold(
        bin=bin, month=month, made_at=made.made_at.isoformat(), files=dict(made.files), notes=list(made.notes)
    )


@router.get("/bins/{bin}/update/{month}.zip", include_in_schema=False)
def archive(journal: JournalPart, settings: SettingsPart, bin: BinName, month: MonthPath) -> Response:
    """All files of an update in one."""
    data = zip_of(settings.journal, journal.bin(bin).name, month)
    return Response(data, media_type="application/zip", headers={
        "Content-Disposition": f'attachment; filename="update-{month}.zip"',
    })  # fmt: skip


@router.get("/bins/{bin}/update/{month}/{name:path}", include_in_schema=False)
def file(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    month: MonthPath,
    name: str,
    take: Annotated[bool, Query(description="To be saved rather than shown.")] = False,
) -> Response:
    """One file of an update; a page is shown by itself, without any reach into the journal."""
    path = file_of(settings.journal, journal.bin(bin).name, month, name)
    if path.suffix == ".html":
        request.state.policy = SHOWN_ALONE
    kind = {".vtt": "text/vtt", ".md": "text/plain"}.get(path.suffix) or mimetypes.guess_type(path.name)[0]
    return FileResponse(
        path, media_type=kind or "application/octet-stream", filename=path.name,
        content_disposition_type="attachment" if take else "inline",
    )  # fmt: skip


# --- inside -------------------------------------------------------------------------------------------------


def _check(settings: Settings, asked: UpdateAsked) -> None:
    """Refuse what the worker would only refuse after a while. Raises Unfit."""
    with _unfit(None):
        if settings.weather is None:
            raise NeedsWeather(NO_FIT)
    with _unfit("accent"):
        accent_from(asked.accent)
    for name, text in asked.words.items():  # each by itself, so that its lines are counted as they are seen
        with _unfit(f"words.{name}"):
            words_from(text)
    with _unfit(None):
        words_from(text_of(dict[str, str](asked.words.items())))


@contextmanager
def _unfit(at: str | None) -> Iterator[None]:
    try:
        yield
    except ValueError as error:
        if not type(error).__module__.startswith("underlid."):
            raise
        raise Unfit(str(error), at) from None


def _asked_for(request: Request) -> dict[tuple[str, str], str]:
    """Ids of the jobs asked for last, by bin and month: who opens the page again is shown how far it is."""
    state = request.app.state
    if not hasattr(state, "updates"):
        state.updates = {}
    found: dict[tuple[str, str], str] = state.updates
    return found


def _job(request: Request, bin: str, month: str) -> Job | None:
    """The work on a month as long as it is not done: waiting, running, or ended in vain."""
    id = _asked_for(request).get((bin, month))
    found: Job | None = None if id is None else request.app.state.worker.job(id)
    return None if found is None or found.state == "done" else found


def _count(journal: Journal, record: Bin) -> int:
    return len(journal.entries(record.name, superseded=True))


def _months(record: Bin, settings: Settings) -> list[tuple[str, str]]:
    """The months of a bin up to now, latest first, as they are asked for and as they are read."""
    zone = ZoneInfo(record.timezone)
    first, last = (moment.astimezone(zone).date().replace(day=1) for moment in (record.started.start, settings.now()))
    found: list[date] = []
    while last >= first and len(found) < MOST_MONTHS:
        found.append(last)
        last = (last - timedelta(days=1)).replace(day=1)
    return [(f"{day:%Y-%m}", f"{day:%B %Y}") for day in found]


def _asked(made: Made | None, job: Job | None) -> dict[str, Any]:
    """What the form begins with: what was asked with last, whether or not anything came of it."""
    usual = UpdateAsked(month="2000-01").model_dump() | {"photos": None}
    if job is not None:
        return {**usual, **job.args["own"], "formats": job.args["formats"]}
    return usual if made is None else usual | dict(made.asked)


def _photo_rows(photos: tuple[Photo, ...], asked: list[Mapping[str, Any]] | None) -> list[PhotoRow]:
    """The photos of a month; where nothing was asked yet, the first of them are picked."""
    chosen = {one["id"]: one for one in asked or ()}
    rows = []
    for number, photo in enumerate(photos):
        focus = chosen.get(photo.id, {"x": 0.5, "y": 0.5})
        picked = number < MOST_PICTURES if asked is None else photo.id in chosen
        rows.append(PhotoRow(
            photo.id, photo.sha256, "Photo" if photo.words == "photo" else photo.words, picked,
            round(100 * focus["x"]), round(100 * focus["y"]),
        ))  # fmt: skip
    return rows


def _pictures(made: Made | None) -> list[tuple[str, str]]:
    """Pictures of an update: the file's name, and what it is in words."""
    names = [] if made is None else sorted(name for name in made.files if name.endswith(".png"))
    return [(name, name.removesuffix(".png").replace("/", ", ").replace("-", " ")) for name in names]
