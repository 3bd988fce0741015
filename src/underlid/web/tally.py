"""Animals marked on a picture, by stage and by who counted; two people's marks say how many both overlooked.

A picture shows the surface at one moment. What is counted on it is a sighting: a lower bound, never a count of the bin.
The marks are kept as JSON beside the picture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import Response
from numpy.typing import NDArray
from PIL import Image
from pydantic import Field, StringConstraints, ValidationError

from underlid.counting import CannotTell
from underlid.counting.detection import two_observers
from underlid.files import write_whole
from underlid.journal.store import PHOTOS, Journal
from underlid.quantity import parse_amount
from underlid.records import STAGES, Photo, Sighting, Stage
from underlid.web import pictured
from underlid.web.asked import BAD, MISSING, BinName, Strict
from underlid.web.keepers import NotYours, own_among, shown_to_others
from underlid.web.parts import TURN, JournalPart, SettingsPart, page
from underlid.web.pictured import entries_of, entry_of, picture_of

router = APIRouter()
router.include_router(pictured.router)

MOST_MARKS, MOST_COUNTERS = 500, 6
#: How far apart two people's marks of one animal may lie, as a share of the picture's longer side: our judgement, about
#: what a finger on a phone misses by.
RADIUS = 0.025
CAVEATS = (
    "A picture shows the surface at one moment: this is a sighting, a lower bound, and never a count of the bin.",
    f"Marks of the same stage that lie within {RADIUS:.1%} of the picture's longer side are taken for one animal. "
    "Animals that lie close together may be mistaken for each other, and one that two people gave different stages "
    "counts twice.",
    "The estimate (Chapman 1951) takes every animal to have the same chance of being marked, and neither person to "
    "have seen the other's marks. What is hard to see for both is missed by both: then it is too low.",
)
_writing = Lock()

Who = Annotated[
    str, StringConstraints(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f]*$", strip_whitespace=True)
]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class TooManyCounters(ValueError):
    """More people counted on one picture than are kept."""


class DamagedTally(ValueError):
    """The file of marks beside a picture is none."""


class Mark(Strict):
    """One animal: x from the left and y from the top as shares of the picture's width and height, and its stage."""

    x: Share
    y: Share
    stage: Stage


class Tally(Strict):
    """All that one person marked on a picture; a new one takes the place of the same person's earlier one."""

    by: Who
    marks: list[Mark] = Field(max_length=MOST_MARKS)


class KeptTally(Tally):
    """A tally as it is kept."""

    at: datetime


class TallyFile(Strict):
    """The file beside a picture."""

    tallies: list[KeptTally] = Field(max_length=MOST_COUNTERS)


class Compared(Strict):
    """Two people's marks of one stage: how many each, how many in common, and what is estimated of those in sight."""

    stage: Stage
    first: str
    second: str
    found: tuple[int, int]
    both: int
    number: float | None
    low: float | None
    high: float | None
    sentence: str


class TalliesTold(Strict):
    """Everybody's tallies of a picture, what each pair of them says, and what to heed."""

    sha256: str
    tallies: list[KeptTally]
    counts: dict[str, dict[str, int]]
    compared: list[Compared]
    provenance: str
    caveats: list[str]


class SightingAsked(Strict):
    """Whose tally to store as a sighting, and in which of the bins that hold the picture."""

    by: Who
    bin: BinName


class SightingsKept(Strict):
    """The sightings that stand in the journal for a picture, in words."""

    bin: str
    said: list[str]


# --- routes -------------------------------------------------------------------------------------------------


@router.get("/photos/{sha256}/tally", include_in_schema=False)
def tally_page(request: Request, journal: JournalPart, sha256: str) -> Response:
    """A picture on which animals can be marked, and what the marks say."""
    entry = entry_of(journal, sha256)
    told = _told(journal, sha256)
    width, height = size_of(journal.folder, sha256)
    entries = entries_of(journal, sha256)
    bins = own_among(request, journal, dict.fromkeys(each.bin for each in entries))
    shown = {bin: shown for bin, shown in shown_to_others(journal, entries).items() if bin in bins}
    return page(
        request, "tally.html", entry=entry, told=told, stages=STAGES, width=width, height=height,
        most=MOST_MARKS, bins=bins, shown=shown,
    )  # fmt: skip


@router.get(
    "/api/photos/{sha256}/tallies", summary="Animals marked on a picture", tags=["photos"], responses=MISSING
)  # fmt: skip
def show_tallies(journal: JournalPart, sha256: str) -> TalliesTold:
    """Everybody's marks, and what each pair of people says of how many are in sight."""
    entry_of(journal, sha256)
    return _told(journal, sha256)


@router.post(
    "/api/photos/{sha256}/tallies", summary="Keep a tally", tags=["photos"], responses={**MISSING, **BAD}
)  # fmt: skip
def keep_tally(journal: JournalPart, settings: SettingsPart, sha256: str, asked: Tally) -> TalliesTold:
    """Keep all that one person marked, in place of the same person's earlier marks."""
    entry_of(journal, sha256)
    with _writing:
        kept = [one for one in tallies(journal.folder, sha256) if _who(one.by) != _who(asked.by)]
        if len(kept) >= MOST_COUNTERS:
            raise TooManyCounters(f"{MOST_COUNTERS} people have counted on this picture, which is all that are kept.")
        new = TallyFile(tallies=[*kept, KeptTally(by=asked.by, marks=asked.marks, at=settings.now())])
        write_whole(_file(journal.folder, sha256), new.model_dump_json(indent=1).encode())
    return _told(journal, sha256)


@router.post(
    "/api/photos/{sha256}/sightings", summary="Store a tally as a sighting", status_code=201, tags=["photos"],
    responses={**MISSING, **BAD},
)  # fmt: skip
def keep_sightings(
    request: Request, journal: JournalPart, settings: SettingsPart, sha256: str, asked: SightingAsked
) -> SightingsKept:
    """Write what one person marked into the journal: at least so many of each stage, seen at the surface.

    In a bin a picture gives one sighting a stage: that of a later tally corrects the earlier one, which stays in the
    file.
    """
    if not own_among(request, journal, [asked.bin]):
        raise NotYours(f"“{asked.bin}” is not yours. Only its keeper or a steward enters in a bin.")
    entry = entry_of(journal, sha256, asked.bin)
    found = next((one for one in tallies(journal.folder, sha256) if _who(one.by) == _who(asked.by)), None)
    if found is None:
        raise CannotTell(f"{asked.by} has no marks on this picture; save them first.")
    new = sightings(journal, entry, found, settings.now())
    with TURN:
        journal.add(new)
    said = [one.words for one in journal.entries(entry.bin, kind=Sighting) if one.id.startswith(_stem(sha256))]
    return SightingsKept(bin=entry.bin, said=said)


# --- what marks say -----------------------------------------------------------------------------------------


def tallies(folder: Path, sha256: str) -> tuple[KeptTally, ...]:
    """Everybody's tallies of a picture, the earliest first."""
    try:
        text = _file(folder, sha256).read_bytes()
    except FileNotFoundError:
        return ()
    try:
        return tuple(sorted(TallyFile.model_validate_json(text).tallies, key=lambda one: one.at))
    except ValidationError:
        raise DamagedTally(
            f"The marks beside the picture cannot be read; move {sha256}.tally.json out of the journal's photos."
        ) from None


def size_of(folder: Path, sha256: str) -> tuple[int, int]:
    """Width and height of a stored picture in pixels, by its head."""
    with Image.open(picture_of(folder, sha256)) as image:
        turned = image.getexif().get(0x0112, 1) >= 5
        return image.size[::-1] if turned else image.size


def matched(first: Sequence[Mark], second: Sequence[Mark], size: tuple[int, int], radius: float = RADIUS) -> int:
    """How many marks two people have in common: nearest pairs of the same stage first, each mark once.

    size : width and height of the picture; radius : as a share of its longer side
    """
    at, other = (_places(marks, size) for marks in (first, second))
    stages = [np.array([STAGES.index(mark.stage) for mark in marks], int) for marks in (first, second)]
    apart = np.hypot(*(at[:, None] - other[None]).transpose(2, 0, 1))
    near = np.argwhere((apart <= radius) & (stages[0][:, None] == stages[1][None]))
    order = np.argsort(apart[near[:, 0], near[:, 1]], kind="stable")
    mine: set[int] = set()
    theirs: set[int] = set()
    for i, j in near[order].tolist():
        if i not in mine and j not in theirs:
            mine.add(i)
            theirs.add(j)
    return len(mine)


def compared(first: Tally, second: Tally, size: tuple[int, int]) -> list[Compared]:
    """What two people's tallies say of each stage that either of them marked."""
    found = []
    for stage in STAGES:
        mine, theirs = ([mark for mark in one.marks if mark.stage == stage] for one in (first, second))
        if mine or theirs:
            found.append(_compared(stage, first.by, second.by, len(mine), len(theirs), matched(mine, theirs, size)))
    return found


def sightings(journal: Journal, entry: Photo, found: Tally, now: datetime) -> list[Sighting]:
    """The sightings that a tally makes: new ones, and corrections of what an earlier tally of the picture made."""
    every = journal.entries(superseded=True, kind=Sighting)  # of all bins that hold the picture: ids are the journal's
    standing = [one for one in every if one.bin == entry.bin]
    corrected = {one.corrects for one in standing}
    new = []
    for stage, many in _counts(found).items():
        stem = f"{_stem(entry.sha256)}-{stage}-"
        earlier = [one for one in standing if one.id.startswith(stem)]
        number = sum(one.id.startswith(stem) for one in every)
        last = next((one for one in earlier if one.id not in corrected), None)
        amount = parse_amount(f"at least {many}", expect="1")
        if earlier and last is None:  # the keeper mended it by hand: that stands
            continue
        if (last is None and many == 0) or (last is not None and last.amount == amount):
            continue
        words = f"saw at least {many} {stage}{'' if many == 1 else 's'} on a photo, counted by {found.by}"
        new.append(
            Sighting(
                id=f"{stem}{number}", bin=entry.bin, when=entry.when, words=words, noted_at=now, amount=amount,
                stage=stage, place="surface", corrects=None if last is None else last.id,
            )
        )  # fmt: skip
    return new


# --- inside -------------------------------------------------------------------------------------------------


def _told(journal: Journal, sha256: str) -> TalliesTold:
    kept = tallies(journal.folder, sha256)
    size = size_of(journal.folder, sha256)
    pairs = [(one, other) for i, one in enumerate(kept) for other in kept[i + 1 :]]
    return TalliesTold(
        sha256=sha256, tallies=list(kept),
        counts={one.by: {stage: many for stage, many in _counts(one).items() if many} for one in kept},
        compared=[told for one, other in pairs for told in compared(one, other, size)], provenance="estimated",
        caveats=list(CAVEATS if pairs else CAVEATS[:1]),
    )  # fmt: skip


def _compared(stage: Stage, first: str, second: str, mine: int, theirs: int, both: int) -> Compared:
    number = low = high = None
    try:
        seen = two_observers(mine, theirs, both)
        number, low, high = round(seen.number, 2), round(seen.low, 2), round(seen.high, 2)
        sentence = (
            f"About {number:.0f} {stage}{'' if round(number) == 1 else 's'} in sight ({math.floor(low)} to "
            f"{math.ceil(high)}, 90 %, estimated): {first} marked {mine}, {second} {theirs}, {both} of them the same."
        )
    except CannotTell as error:
        sentence = f"{stage.capitalize()}s: {error}"
    return Compared(
        stage=stage, first=first, second=second, found=(mine, theirs), both=both, number=number, low=low, high=high,
        sentence=sentence,
    )  # fmt: skip


def _places(marks: Sequence[Mark], size: tuple[int, int]) -> NDArray[np.float64]:
    """Where marks are, in units of the picture's longer side."""
    shares = np.array([(mark.x, mark.y) for mark in marks], float).reshape(-1, 2)
    return shares * (np.array(size) / max(size))


def _counts(of: Tally) -> dict[Stage, int]:
    return {stage: sum(mark.stage == stage for mark in of.marks) for stage in STAGES}


def _file(folder: Path, sha256: str) -> Path:
    picture_of(folder, sha256)  # refuses what is no hash before it becomes part of a path
    return folder / PHOTOS / f"{sha256}.tally.json"


def _stem(sha256: str) -> str:
    return f"photo-{sha256[:32]}"


def _who(name: str) -> str:
    return " ".join(name.casefold().split())
