"""What every page and route shares: the journal, the clock, templates, static files and how errors are told."""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from importlib.resources import files
from threading import Lock
from typing import Annotated, Any, TypeVar
from zoneinfo import ZoneInfo

from fastapi import Depends, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined

from underlid.journal.errors import (
    AlreadyCorrected,
    BadPointer,
    BadUrl,
    DamagedJournal,
    DiskFailed,
    DiskFull,
    DuplicateBin,
    JournalBusy,
    JournalError,
    NewerJournal,
    NoDriver,
    NotAJournal,
    NotUtf8,
    PasswordInUrl,
    PlanExists,
    TakenId,
    UnwritableFolder,
)
from underlid.journal.store import Journal
from underlid.quantity import Mistake
from underlid.records import Bin
from underlid.web.settings import Settings

LEAF = 50  # bins that are shown at once
FIND_FROM = 12  # bins from which one is looked for by name: our judgement
LeafNumber = Annotated[int, Query(ge=1, le=100_000)]
Find = Annotated[str, Query(max_length=200)]
Listed = TypeVar("Listed")

PASSING = (JournalBusy, DiskFull, DiskFailed, UnwritableFolder)  # to be sent again later
BROKEN = (NotAJournal, NewerJournal, DamagedJournal, NoDriver, BadPointer, BadUrl, PasswordInUrl, NotUtf8)
STANDING = (AlreadyCorrected, DuplicateBin, PlanExists, TakenId)

#: Writers of this process take turns: the lock of the file itself is not first come, first served.
TURN = Lock()
STATIC = files("underlid.web").joinpath("static")


def settings_of(request: Request) -> Settings:
    """The settings of the app."""
    return request.app.state.settings  # type: ignore[no-any-return]


def journal_of(request: Request) -> Iterator[Journal]:
    """The journal, open for as long as the request lasts."""
    with Journal.open(settings_of(request).journal) as book:
        yield book


SettingsPart = Annotated[Settings, Depends(settings_of)]
JournalPart = Annotated[Journal, Depends(journal_of)]


def now_in(settings: Settings, record: Bin) -> datetime:
    """The clock in the bin's own zone."""
    return settings.now().astimezone(ZoneInfo(record.timezone))


def turned_to(found: list[Listed], leaf: int, most: int = LEAF) -> tuple[list[Listed], int, int]:
    """What stands on a leaf of a long list, which leaf that is (the last, if it asks for one beyond), and how many."""
    leaves = max(1, -(-len(found) // most))
    leaf = min(leaf, leaves)
    return found[(leaf - 1) * most : leaf * most], leaf, leaves


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("underlid.web", "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.globals["static"] = static_path
    return made


def page(request: Request, template: str, *, status: int = 200, **shown: Any) -> HTMLResponse:
    """A page from its template; `csrf` is the token that its forms and scripts send back."""
    shown.setdefault("csrf", getattr(request.state, "csrf", ""))
    shown.setdefault("settings", settings_of(request))
    shown.setdefault("several", _several(request))
    return HTMLResponse(_environment().get_template(template).render(request=request, **shown), status)


def _several(request: Request) -> bool:
    """Whether there are bins to be put in an order, for those who may read; a journal never gets fewer."""
    state = request.app.state
    if not (getattr(request.state, "here", False) or getattr(request.state, "device", None)):
        return False
    if not getattr(state, "several", False):
        try:
            with Journal.open(state.settings.journal) as book:
                state.several = len(book.entry_counts()) > 1
        except (JournalError, OSError):  # the page itself says so, if it is about the journal
            return False
    return bool(state.several)


@cache
def _static(name: str) -> tuple[bytes, str, str]:
    """Bytes, media type and digest of a static file. Raises FileNotFoundError."""
    found = STATIC.joinpath(name)
    if name not in {path.name for path in STATIC.iterdir()}:
        raise FileNotFoundError(name)
    data = found.read_bytes()
    kind = "text/javascript" if name.endswith(".js") else mimetypes.guess_type(name)[0] or "application/octet-stream"
    return data, kind, hashlib.blake2b(data, digest_size=6).hexdigest()


def static_path(name: str) -> str:
    """Address of a static file that changes with its bytes, so that it may be kept for ever."""
    return f"/static/{name}?v={_static(name)[2]}"


def static_response(name: str) -> Response:
    """A static file."""
    try:
        data, kind, _ = _static(name)
    except FileNotFoundError:
        return JSONResponse({"error": f"There is no file {name}."}, 404)
    return Response(data, media_type=kind, headers={"Cache-Control": "public, max-age=31536000, immutable"})


def told(request: Request, sentence: str, status: int) -> Response:
    """An error as the one who asked reads it: JSON for the interface, a page for people."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": sentence}, status)
    return page(request, "error.html", status=status, sentence=sentence)


def refused(request: Request, error: ValueError) -> Response:
    """An error of ours as an answer; any other is a fault of ours and goes on."""
    response = told(request, sentence_of(error), status_of(error))
    if isinstance(error, PASSING):
        response.headers["Retry-After"] = "5"
    return response


def sentence_of(error: ValueError) -> str:
    """What went wrong as plain sentences; the caret of a mistake in words is for a terminal."""
    if isinstance(error, Mistake):
        return f"{error.what[:1].upper()}{error.what[1:]}. {error.mend}"
    return str(error)


def status_of(error: ValueError) -> int:
    """4xx for what who asks can mend, 5xx for what nothing sent could: a phone keeps its words and tries again later.

    An error that is none of ours is a fault of ours, and raised.
    """
    if not type(error).__module__.startswith("underlid."):
        raise error
    if isinstance(error, PASSING):
        return 503
    if isinstance(error, BROKEN):
        return 500
    name = type(error).__name__
    if name == "NotYours":
        return 403
    if name.startswith("Unknown") or name in {"NoJournal", "NoHistory", "NoSuchPicture"}:
        return 404
    return 409 if isinstance(error, STANDING) else 422
