"""The interface for bins and entries: what the pages themselves use, and what any other program may."""

from __future__ import annotations

from typing import Annotated, Any
from uuid import uuid4

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import JSONResponse, Response

from underlid.journal.errors import NoJournal
from underlid.journal.store import Journal
from underlid.quantity import Mistake
from underlid.web.entries import (
    Answer,
    BinPage,
    BinStarted,
    BinTold,
    EntryTold,
    Offered,
    Read,
    ReadWords,
    Refused,
    Started,
    TakenBack,
    answer_of,
    bin_told,
    entry_told,
    spans,
)
from underlid.web.keepers import started_by
from underlid.web.parts import JournalPart, SettingsPart, now_in, refused, sentence_of, status_of, told
from underlid.web.sent import KeyTaken, alarms_of, moment_of, read_words, store, withdraw
from underlid.web.starting import BinWords, start

router = APIRouter()

BinName = Annotated[str, Path(max_length=200, description="Name of the bin.")]
LATEST = 5  # entries shown of a bin
REFUSED: dict[int | str, dict[str, Any]] = {
    code: {"model": Refused, "description": what}
    for code, what in (
        (400, "It is no JSON"), (401, "The device is not paired"),
        (403, "The token is missing or wrong"), (404, "No such bin or entry"), (409, "It stands already, otherwise"),
        (413, "It is too large"), (422, "It is not understood or cannot be"), (429, "Too often"),
        (503, "The journal cannot be written just now: send it again"),
    )
}  # fmt: skip


@router.get("/api/bins", tags=["bins"], summary="Every bin, the longest running first", responses=REFUSED)
def list_bins(settings: SettingsPart) -> list[BinTold]:
    """An empty list where there is no journal yet."""
    try:
        with Journal.open(settings.journal) as journal:
            return [bin_told(record) for record in journal.bins()]
    except NoJournal:
        return []


@router.post(
    "/api/bins", tags=["bins"], summary="Start a bin", status_code=201, response_model=BinStarted, responses=REFUSED
)
def add_bin(request: Request, settings: SettingsPart, said: Started) -> BinStarted | Response:
    """Makes the journal too if there is none. The same key and words again start no second bin."""
    words = BinWords.model_validate(said.model_dump(exclude={"key"}))
    try:
        record, notes = start(settings.journal, words, said.key or uuid4(), settings.now(), started_by(request))
    except ValueError as error:
        return told(request, sentence_of(error), status_of_new(error))
    return BinStarted(bin=bin_told(record), notes=list(notes))


@router.get("/api/bins/{bin}", tags=["bins"], summary="One bin, its latest entries and its alarms", responses=REFUSED)
def show_bin(journal: JournalPart, settings: SettingsPart, bin: BinName) -> BinPage:
    """With what stop rules say of the entries of the last two weeks."""
    record = journal.bin(bin)
    entries = journal.entries(record.name)
    warned = alarms_of(journal, record, entries, now_in(settings, record))
    return BinPage(
        bin=bin_told(record), entries=len(entries), latest=[entry_told(one) for one in entries[: -LATEST - 1 : -1]],
        alarms=list(warned),
    )  # fmt: skip


@router.post(
    "/api/bins/{bin}/parse", tags=["entries"], summary="What words mean; nothing is stored", response_model=Read,
    responses=REFUSED,
)  # fmt: skip
def parse(journal: JournalPart, settings: SettingsPart, bin: BinName, said: ReadWords) -> Read | Response:
    """Each entry says which part of the line it was read from, so that it can be mended or removed."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    try:
        entries, notes = read_words(journal, record, uuid4(), said.words, moment_of(record, said.at, now))
    except Mistake as error:
        told_where = {"error": sentence_of(error), "position": error.position, "mend": error.mend}
        return JSONResponse(told_where, 422)
    return Read(entries=spans(said.words, entries), notes=list(notes))


@router.get(
    "/api/bins/{bin}/entries", tags=["entries"], summary="The entries of a bin, latest first", responses=REFUSED
)
def list_entries(
    journal: JournalPart,
    bin: BinName,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
    superseded: Annotated[bool, Query(description="Show entries too that later ones correct.")] = False,
) -> list[EntryTold]:
    """Those that later ones correct are left out, unless asked for."""
    entries = journal.entries(bin, superseded=superseded)
    return [entry_told(one) for one in entries[: -limit - 1 : -1]]


@router.post(
    "/api/bins/{bin}/entries", tags=["entries"], summary="Store a line of words once", response_model=Answer,
    responses=REFUSED,
)  # fmt: skip
def add_entries(
    request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName, said: Offered
) -> Answer | Response:
    """The same key and words again are stored once and answered the same; a key with other words is refused (409)."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    try:
        kept = store(journal, record, said.key, said.words, said.at, now, said.corrects)
    except KeyTaken as error:
        return JSONResponse({"error": str(error), "stored": list(error.stored), "offered": error.offered}, 409)
    except ValueError as error:
        return refused(request, error)
    return answer_of(kept)


@router.post(
    "/api/bins/{bin}/withdrawals", tags=["entries"], summary="Take back what was sent under a key",
    response_model=Answer, responses=REFUSED,
)  # fmt: skip
def take_back(
    request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName, said: TakenBack
) -> Answer | Response:
    """The entries stay in the journal, each with a correction that says nothing, or what stood before."""
    record = journal.bin(bin)
    try:
        return answer_of(withdraw(journal, record, said.key, said.of, now_in(settings, record)))
    except KeyTaken as error:
        return JSONResponse({"error": str(error), "stored": list(error.stored), "offered": error.offered}, 409)
    except ValueError as error:
        return refused(request, error)


# --- how it is refused ------------------------------------------------------------------------------------


def status_of_new(error: ValueError) -> int:
    """The same for a bin that cannot be started: there nothing is looked for, so nothing is missing."""
    status = status_of(error)
    return 422 if status == 404 else status
