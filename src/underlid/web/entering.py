"""At the bin: the list of bins, starting one, and writing down what is seen with wet hands.

Every tap composes words for the same grammar that reads a typed line, so there is one path into the journal.
"""

from __future__ import annotations

import json
from collections import defaultdict
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Annotated, Any
from urllib.parse import quote
from uuid import UUID, uuid4

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import ValidationError

from underlid.entry import describe
from underlid.journal.errors import NoJournal
from underlid.journal.store import Journal
from underlid.quantity import show_amount
from underlid.quantity.show import show_when
from underlid.records import BASES, SITINGS, STAGES, AnyEntry, Bin, Reading
from underlid.web import writing
from underlid.web.keepers import started_by
from underlid.web.parts import (
    FIND_FROM,
    STATIC,
    Find,
    JournalPart,
    LeafNumber,
    SettingsPart,
    now_in,
    page,
    sentence_of,
    static_path,
    status_of,
    turned_to,
)
from underlid.web.sent import KeyTaken, Stored, alarms_of, read_words, store, stored_under, withdraw
from underlid.web.starting import BinWords, start
from underlid.web.writing import LATEST, BinName, status_of_new

router = APIRouter()
router.include_router(writing.router)

SHELL = ("style.css", "icon.svg", "queue.js", "at_bin.js", "bin.js")


# --- pages -----------------------------------------------------------------------------------------------


@router.get("/", include_in_schema=False)
def bins_page(request: Request, settings: SettingsPart, leaf: LeafNumber = 1, find: Find = "") -> Response:
    """Every bin, those that ask for care first; a journal without bins goes straight to starting one."""
    entries: dict[str, list[AnyEntry]] = defaultdict(list)
    alarms: dict[str, tuple[str, ...]] = {}
    records: tuple[Bin, ...] = ()
    with suppress(NoJournal), Journal.open(settings.journal) as journal:
        records = journal.bins()
        for entry in journal.entries():  # all at once: to ask for those of each of many bins takes far longer
            entries[entry.bin].append(entry)
        for record in records:
            alarms[record.name] = alarms_of(journal, record, entries[record.name], now_in(settings, record))
    if not records:
        return RedirectResponse("/new", 303)
    find = find.strip()
    found = [record for record in records if find.casefold() in record.name.casefold()]
    found.sort(key=lambda record: not alarms[record.name])  # in their order otherwise
    leafed, leaf, leaves = turned_to(found, leaf)
    shown = [
        {
            "name": record.name,
            "age": _age(record, now_in(settings, record)),
            "latest": [describe(one) for one in entries[record.name][:-4:-1]],
            "alarms": alarms[record.name],
        }
        for record in leafed
    ]
    return page(
        request, "bins.html", bins=shown, leaf=leaf, leaves=leaves, find=find, count=len(found),
        findable=len(records) >= FIND_FROM,
    )  # fmt: skip


@router.get("/new", include_in_schema=False)
def new_page(request: Request, settings: SettingsPart) -> Response:
    """The form that starts a bin."""
    return _new(request, {"key": str(uuid4())})


@router.post("/new", include_in_schema=False)
def start_bin(
    request: Request,
    settings: SettingsPart,
    key: Annotated[UUID, Form()],
    name: Annotated[str, Form(max_length=1000)] = "",
    size: Annotated[str, Form(max_length=1000)] = "",
    bedding: Annotated[str, Form(max_length=1000)] = "",
    moisture: Annotated[str, Form(max_length=1000)] = "",
    founders: Annotated[str, Form(max_length=1000)] = "",
    species: Annotated[str, Form(max_length=1000)] = "",
    started: Annotated[str, Form(max_length=1000)] = "",
    siting: Annotated[str, Form(max_length=1000)] = SITINGS[0],
    base: Annotated[str, Form(max_length=1000)] = BASES[0],
    timezone: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Start a bin and go to it; what cannot be read is said above the form, which keeps what was written."""
    said = {
        "name": name, "size": size, "bedding": bedding, "moisture": moisture, "founders": founders, "species": species,
        "started": started, "siting": siting, "base": base, "timezone": timezone,
    }  # fmt: skip
    try:
        record, _ = start(settings.journal, BinWords.model_validate(said), key, settings.now(), started_by(request))
    except ValidationError as error:
        first = error.errors()[0]
        return _new(request, said | {"key": str(key)}, f"{str(first['loc'][0]).capitalize()}: {first['msg']}.", 422)
    except ValueError as error:
        return _new(request, said | {"key": str(key)}, sentence_of(error), status_of_new(error))
    return RedirectResponse(f"/bins/{quote(record.name, safe='')}/enter", 303)


@router.get("/bins/{bin}/enter", include_in_schema=False)
def enter_page(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    stored: UUID | None = None,
    corrects: Annotated[str | None, Query(max_length=100)] = None,
) -> Response:
    """The page for a phone in one wet hand; without script it is a form for a line of words."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    words = next((one.words for one in journal.history(corrects) if one.id == corrects), "") if corrects else ""
    under = stored_under(journal, stored) if stored else ()
    kept = Stored(under, (), alarms_of(journal, record, under, now), repeated=True) if under else None
    return _enter(request, journal, record, now, words=words, corrects=corrects, kept=kept, kept_key=stored)


@router.post("/bins/{bin}/enter", include_in_schema=False)
def enter_form(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    key: Annotated[UUID, Form()],
    words: Annotated[str, Form(max_length=20_000)] = "",
    corrects: Annotated[str, Form(max_length=100)] = "",
    do: Annotated[str, Form(max_length=20)] = "store",
) -> Response:
    """What the form without script sends: say what is understood, or store it and show it."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    again: dict[str, Any] = {"words": words, "corrects": corrects or None, "key": key}
    try:
        if do == "check":
            entries, notes = read_words(journal, record, key, words, now, corrects or None)
            return _enter(request, journal, record, now, read=Stored(entries, notes, (), repeated=False), **again)
        store(journal, record, key, words, None, now, corrects or None)
    except KeyTaken as error:
        return _enter(request, journal, record, now, error=str(error), status=409, **again | {"key": uuid4()})
    except ValueError as error:
        return _enter(request, journal, record, now, error=sentence_of(error), status=status_of(error), **again)
    return RedirectResponse(f"/bins/{quote(record.name, safe='')}/enter?stored={key}", 303)


@router.post("/bins/{bin}/undo", include_in_schema=False)
def undo_form(
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    key: Annotated[UUID, Form()],
    of: Annotated[UUID, Form()],
) -> Response:
    """Take back what was just stored, without script."""
    record = journal.bin(bin)
    withdraw(journal, record, key, of, now_in(settings, record))
    return RedirectResponse(f"/bins/{quote(record.name, safe='')}/enter?stored={key}", 303)


@router.get("/sw.js", include_in_schema=False)
def service_worker() -> Response:
    """The worker that keeps the pages for when the bin's computer cannot be reached."""
    kept = ["/manifest.webmanifest", *(static_path(name) for name in SHELL)]
    script = f"const KEPT = {json.dumps(kept)};\n{STATIC.joinpath('sw.js').read_text('utf-8')}"
    return Response(script, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/manifest.webmanifest", include_in_schema=False)
def manifest() -> Response:
    """What a phone needs to put the pages on its home screen."""
    icon = {"src": static_path("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    told_phone = {
        "name": "underlid", "short_name": "underlid", "id": "/", "start_url": "/", "scope": "/",
        "display": "standalone", "background_color": "#fcfbf7", "theme_color": "#1f5673", "icons": [icon],
    }  # fmt: skip
    return Response(
        json.dumps(told_phone), media_type="application/manifest+json", headers={"Cache-Control": "no-cache"}
    )


# --- inside ----------------------------------------------------------------------------------------------


def _age(record: Bin, now: datetime) -> str:
    """How long the bin has run, as vaguely as its start is known."""
    started = record.started
    days = sorted({max(0, (now - started.end).days), max(0, (now - started.start).days)})
    one_day = started.end - started.start <= timedelta(days=1)
    when = f"{started.start:%-d %b %Y}" if one_day else show_when(started)
    if days[-1] == 0:
        return f"started {when}, less than a day ago"
    shown = " to ".join(str(day) for day in days)
    return f"started {when}, {shown} {'day' if shown == '1' else 'days'} ago"


def _new(request: Request, said: dict[str, str], error: str = "", status: int = 200) -> Response:
    fields = dict.fromkeys(BinWords.model_fields, "") | {"siting": SITINGS[0], "base": BASES[0]} | said
    return page(request, "new.html", status=status, said=fields, error=error, sitings=SITINGS, bases=BASES)


def _enter(
    request: Request,
    journal: Journal,
    record: Bin,
    now: datetime,
    *,
    status: int = 200,
    words: str = "",
    corrects: str | None = None,
    key: UUID | None = None,
    error: str = "",
    read: Stored | None = None,
    kept: Stored | None = None,
    kept_key: UUID | None = None,
) -> Response:
    entries = journal.entries(record.name)
    return page(
        request, "at_bin.html", status=status, bin=record, words=words, corrects=corrects, key=key or uuid4(),
        error=error, read=_shown(read), kept=_shown(kept), kept_key=kept_key, undo_key=uuid4(), stages=STAGES,
        latest=[(one.id, describe(one)) for one in entries[: -LATEST - 1 : -1]], last=_last(entries),
        alarms=alarms_of(journal, record, entries, now),
    )  # fmt: skip


def _shown(held: Stored | None) -> dict[str, object] | None:
    if held is None:
        return None
    return {"entries": [describe(one) for one in held.entries], "notes": held.notes, "alarms": held.alarms}


def _last(entries: tuple[AnyEntry, ...]) -> dict[str, str]:
    """The last temperature of each place as it is shown, with its day."""
    found: dict[str, str] = {}
    for one in entries:
        if isinstance(one, Reading) and one.quantity == "temperature" and one.amount.kind != "not noted":
            found[one.place] = f"{show_amount(one.amount)}, {one.when.start:%-d %b}"
    return found
