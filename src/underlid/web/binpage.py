"""One bin looked at: its time, a cut through it, its worms, the days to come, and what may be asked beforehand.

Nothing is fitted here. The page shows the view that the worker made last, with its age, and asks for a new one where
the journal or the weather has changed since.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Path, Query, Request
from fastapi.responses import Response
from markupsafe import Markup

from underlid.answer import rules_of
from underlid.entry.describe import describe
from underlid.fit.change import litres_of
from underlid.fit.evidence import situation
from underlid.quantity import parse_amount
from underlid.records import SITINGS, AnyEntry, Bin, Photo
from underlid.trials.watch import alarms
from underlid.web import beforehand
from underlid.web.asked import MISSING, Problem
from underlid.web.bintold import ChangeAsked, FeedAsked, JobTold, ViewTold
from underlid.web.kept import Age, View, age_of, kept, weather_files
from underlid.web.parts import JournalPart, SettingsPart, now_in, page, turned_to
from underlid.web.settings import Settings
from underlid.web.work import Job, TooMuchAsked, Worker

router = APIRouter()

MADE, FEED, CHANGE = (
    "underlid.web.views:made",
    "underlid.web.beforehand:feedcheck",
    "underlid.web.beforehand:whatif",
)
PAGE_ENTRIES = 20
#: A view that could not be made is not tried again before that, or before something changes.
PATIENCE = timedelta(minutes=10)
#: Titles of the panels, what their marks are, and whether they stand in the timeline.
PANELS = {
    "temperature": "Temperature",
    "share": "Refuge: bedding that worms tolerate and can reach, and ice in it",
    "moisture": "Water in the bedding, by weight",
    "ph": "pH as read",
    "done": "Fed, counted, seen, noted",
    "colony": "Worms in the bin",
}

BinName = Annotated[str, Path(max_length=200, description="Name of the bin.")]
JobId = Annotated[str, Path(max_length=64, description="Id of the job.")]
ASKED: dict[int | str, dict[str, Any]] = {
    **MISSING,
    403: {"model": Problem, "description": "The token is missing or wrong."},
    422: {"model": Problem, "description": "It cannot be asked; the sentence says why."},
    429: {"model": Problem, "description": "Too much waits already."},
}


# --- the page ------------------------------------------------------------------------------------------------


@router.get("/bins/{bin}", include_in_schema=False)
def look(
    request: Request,
    journal: JournalPart,
    settings: SettingsPart,
    bin: BinName,
    span: Literal["lately", "whole"] = "lately",
    leaf: Annotated[int, Query(ge=1, le=10_000)] = 1,
) -> Response:
    """The bin's page: the view made last, and every entry, newest first."""
    record = journal.bin(bin)
    now = now_in(settings, record)
    every = journal.entries(bin, superseded=True)
    found, age = _kept(settings, record, every)
    job = _renewed(request.app.state.worker, settings, record, age)
    standing = _standing(every)
    leafed, leaf, leaves = turned_to(standing, leaf, PAGE_ENTRIES)
    return page(
        request, "bin.html", bin=record, view=found, age=age, job=job, span=span,
        charts=_charts(found, span), cut=_cut_now(found), titles=PANELS,
        alarms=[one.sentence for one in alarms(rules_of(journal, bin), record, _known(standing), now)],
        entries=_rows(leafed, every, now), count=len(standing), leaf=leaf, leaves=leaves,
        litres=round(litres_of(situation(record).vessel)),
        sitings=[one for one in SITINGS if one != record.siting],
    )  # fmt: skip


@router.get(
    "/api/bins/{bin}/view", summary="What is known of a bin", tags=["bins"], response_model=ViewTold, responses=MISSING
)
def view(request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName) -> Response:
    """The view made last with its age. Where it is stale or missing, a new one is begun; its job is told."""
    record = journal.bin(bin)
    found, age = _kept(settings, record, journal.entries(bin, superseded=True))
    job = _renewed(request.app.state.worker, settings, record, age)
    told = {
        "bin": record.name, "state": "none" if age is None else "stale" if age.stale else "fresh",
        "sentence": "Nothing is made yet." if age is None else age.sentence,
        "newer": 0 if age is None else max(0, age.newer),
        "job": None if job is None or job.over else job.id,
        "view": None if found is None else {name: part for name, part in found.items() if name not in _INSIDE},
    }  # fmt: skip
    # As written: half a megabyte of numbers need not be looked through again.
    return Response(json.dumps(told, separators=(",", ":")), media_type="application/json")


@router.post("/api/bins/{bin}/view", summary="Make a bin's view anew", status_code=202, tags=["bins"], responses=ASKED)
def renew(request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName) -> JobTold:
    """Begin to fit and draw; `/api/jobs/{id}` tells how far it is. Without weather no fuller view is replaced."""
    record = journal.bin(bin)
    _, age = _kept(settings, record, journal.entries(bin, superseded=True))
    if age is not None and age.no_weather:
        raise HTTPException(422, age.sentence)
    return ask(request, MADE, bin=record.name)


@router.post(
    "/api/bins/{bin}/feedcheck", summary="Judge a feeding before it is given", status_code=202, tags=["bins"],
    responses=ASKED,
)  # fmt: skip
def feedcheck(
    request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName, asked: FeedAsked
) -> JobTold:
    """Fine, smaller or not now, and why. Words that cannot be understood are refused at once."""
    record = journal.bin(bin)
    words = f"{asked.amount} {asked.food}"
    with askable():
        beforehand.fed(record, words, now_in(settings, record), journal.containers())
        if asked.ph is not None:
            parse_amount(asked.ph, expect="pH")
    return ask(request, FEED, bin=record.name, words=words, heaps=asked.heaps, ph=asked.ph)


@router.post(
    "/api/bins/{bin}/whatif", summary="What a change made now would do", status_code=202, tags=["bins"], responses=ASKED
)
def whatif(request: Request, journal: JournalPart, settings: SettingsPart, bin: BinName, asked: ChangeAsked) -> JobTold:
    """The difference that wrapping, another size or another place would make, with its range."""
    record = journal.bin(bin)
    with askable():
        beforehand.changes(**asked.model_dump())
        if settings.weather is None:
            raise beforehand.NeedsWeather(beforehand.NO_FIT)
    return ask(request, CHANGE, bin=record.name, **asked.model_dump())


@router.get("/api/jobs/{id}", summary="How far a piece of work is", tags=["jobs"], responses=MISSING)
def job(request: Request, id: JobId) -> JobTold:
    """State, progress, and the result once it is done. Jobs are forgotten when the server ends."""
    found: Job | None = request.app.state.worker.job(id)
    if found is None:
        raise HTTPException(404, "There is no such job, or not any more; ask again.")
    return JobTold.of(found)


@contextmanager
def askable() -> Iterator[None]:
    """What cannot be asked is unprocessable, by whatever name it is refused: the bin itself is there."""
    try:
        yield
    except ValueError as error:
        if not type(error).__module__.startswith("underlid."):
            raise
        raise HTTPException(422, str(error)) from None


def ask(request: Request, kind: str, **args: Any) -> JobTold:
    """Put a question to the worker; what its page waits for comes before views that are made anew."""
    worker: Worker = request.app.state.worker
    try:
        found = worker.job(worker.ask(kind, first=kind != MADE, **args))
    except TooMuchAsked as error:
        raise HTTPException(429, str(error)) from None
    assert found is not None
    return JobTold.of(found)


# --- inside ----------------------------------------------------------------------------------------------

_INSIDE = ("charts", "weather", "form")  # parts of a view that are no one else's business


@dataclass(frozen=True, slots=True)
class Row:
    """An entry as it is listed: what is understood, the words, and those that it replaces, latest first."""

    id: str
    says: str
    words: str
    photo: str | None
    replaced: tuple[str, ...]
    later: bool


def _kept(settings: Settings, record: Bin, every: tuple[AnyEntry, ...]) -> tuple[View | None, Age | None]:
    found = kept(settings.journal, record.name)
    if found is None:
        return None, None
    return found, age_of(found, len(every), weather_files(settings), now_in(settings, record))


def _renewed(worker: Worker, settings: Settings, record: Bin, age: Age | None) -> Job | None:
    """The job that makes a view anew, asked for where it is stale; where it went wrong lately, that one as it ended."""
    last = worker.last(MADE, bin=record.name)
    if last is not None and not last.over:
        return last
    if age is not None and not age.stale:
        return None
    vain = last is not None and (last.state != "done" or age is None)  # done, and yet there is nothing to be shown
    if last is not None and vain and last.made_at and settings.now() - last.made_at < PATIENCE:
        return last
    try:
        return worker.job(worker.ask(MADE, bin=record.name))
    except TooMuchAsked:
        return None


def _known(standing: list[AnyEntry]) -> list[AnyEntry]:
    return sorted(standing, key=lambda entry: (entry.when.start, entry.when.end, entry.id))


def _standing(every: tuple[AnyEntry, ...]) -> list[AnyEntry]:
    """Entries that nothing corrects, newest first."""
    corrected = {entry.corrects for entry in every}
    return [entry for entry in reversed(every) if entry.id not in corrected]


def _rows(standing: list[AnyEntry], every: tuple[AnyEntry, ...], now: datetime) -> list[Row]:
    known = {entry.id: entry for entry in every}
    rows = []
    for entry in standing:
        replaced, before = [], entry.corrects
        while before is not None and before in known:
            replaced.append(known[before].words)
            before = known[before].corrects
        photo = entry.sha256 if isinstance(entry, Photo) else None
        rows.append(
            Row(entry.id, describe(entry), entry.words, photo, tuple(replaced), entry.when.start > now)
        )  # fmt: skip
    return rows


def _charts(found: View | None, span: str) -> dict[str, Any] | None:
    """The panels of a span by name, for desk and phone; of the worker's own drawing, numbers and dates only."""
    if found is None:
        return None
    charts = found["charts"].get(span) or found["charts"]["lately"]
    by_name = {
        target: {one["name"]: {**one, "svg": Markup(one["svg"])} for one in charts[target]}
        for target in ("desk", "phone")
    }
    return {"first": charts["first"], "last": charts["last"], "spans": list(found["charts"]), **by_name}


def _cut_now(found: View | None) -> dict[str, Any] | None:
    """The cells of the cut at the hour that the view was made: for a page without script."""
    cut = None if found is None else found["cut"]
    if cut is None:
        return None
    low, high = cut["band_c"]
    half = (cut["columns"] + 1) // 2
    points = [cut["tenths"][name][cut["now"]] for name in ("p5", "p50", "p95")]
    cells = []
    for row in range(cut["rows"]):
        for column in range(cut["columns"]):
            at = row * half + min(column, cut["columns"] - 1 - column)
            low_c, middle_c, high_c = (points[i][at] / 10 for i in range(3))
            cells.append({
                "row": row, "column": column, "low": low_c, "middle": middle_c, "high": high_c,
                "outside": not low <= middle_c <= high,
            })  # fmt: skip
    return {**cut, "cells": cells}
