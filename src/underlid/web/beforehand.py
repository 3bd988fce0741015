"""What a keeper asks before doing it: may I feed that, and what if the bin were wrapped, bigger or elsewhere.

The worker calls `feedcheck` and `whatif`; the rest is quick enough to refuse a question before it is put to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from underlid.answer import SEED, answer, case_of, census_of, weather_from
from underlid.bedding.vessel import Face, Insulation
from underlid.entry import parse_line
from underlid.fit.change import Change, Changer, insulate, litres_of, move, resize
from underlid.fit.feedasked import question_of
from underlid.fit.feedbed import (
    AHEAD_DAYS,
    amount_of,
    food_of,
    one_feeding,
    shown,
    weighed,
)
from underlid.fit.feedcheck import RULE, Checked
from underlid.fit.feedcheck import feedcheck as check
from underlid.fit.feedtelling import row
from underlid.fit.reckoning import Points, careful, reckoning
from underlid.fit.study import Case, Study
from underlid.fit.whatif import whatif as compare
from underlid.journal.store import Journal
from underlid.quantity import VagueAmount, parse_amount
from underlid.records import Bin, Feeding, Siting
from underlid.update.prose import differences
from underlid.web.settings import Settings
from underlid.web.work import Progress

WRAP = "expanded polystyrene"  # what the slider wraps with, round sides and lid
FACES: tuple[Face, ...] = ("sides", "lid")
ROOM_K = 1.0  # how well anybody knows the air of a room: our judgement
NO_FIT = "That needs the fitted bin, and the server was given no weather: start it with --weather FILE."


class NothingAsked(ValueError):
    """No slider is moved, or one is missing, so there is nothing to compare."""


class NeedsWeather(ValueError):
    """The question needs the fitted bin, and the server was given no weather."""


def fed(record: Bin, words: str, now: datetime, containers: Mapping[str, VagueAmount]) -> Feeding:
    """The feeding that “300 g lemon peel” says, of known food and with an amount. Raises what is wrong with it."""
    line = f"fed {words}"
    said = parse_line(line, bin=record, now=now, new_id=lambda: "if", containers=containers).records
    feeding = one_feeding(said, words)
    amount_of(feeding, food_of(feeding))
    return feeding


def feedcheck(
    settings: Settings, progress: Progress, bin: str, words: str, heaps: int = 1, ph: str | None = None
) -> dict[str, Any]:
    """Whether a feeding is fine, should be smaller or should wait; by the fitted bin where there is weather."""
    with Journal.open(settings.journal) as book:
        record, entries, containers = book.bin(bin), book.entries(bin), book.containers()
        now = settings.now().astimezone(ZoneInfo(record.timezone))
        feeding = fed(record, words, now, containers)
        fitted: tuple[Study, Points] | None = None
        doubts: tuple[str, ...] = ()
        if settings.weather is not None:
            study = _study(settings, book, bin, now, progress, now + timedelta(days=AHEAD_DAYS))
            prior, counted, census = census_of(book, study, progress=lambda done: progress(0.4 + 0.3 * done))
            fitted, doubts = (study, reckoning(prior, census).live_kg), careful(study, counted, census)
    progress(0.7)
    asked, granted = question_of(
        record, entries, feeding, now, SEED, ph=None if ph is None else parse_amount(ph, expect="pH"), heaps=heaps,
        fitted=fitted, progress=lambda done: progress(0.7 + 0.2 * done),
    )  # fmt: skip
    told = check(asked, np.random.default_rng(SEED))
    return {
        "what": shown(feeding, asked.food), "verdict": told.verdict, "because": told.because, "rather": _rather(told),
        "fine_kg": told.fine_kg, "provenance": "predicted",
        "heads": ["way to harm", "beside the food", "limit", "chance beyond it", "whole bin", "so"],
        "rows": [list(row(item)) for item in told.items],
        "sentences": [item.sentence for item in told.items if item.sentence != told.because],
        "careful": list(doubts), "cautions": list(told.cautions), "notes": [*map(_plain, granted), RULE],
    }  # fmt: skip


def changes(
    insulate_cm: float = 0.0, litres: float | None = None, siting: Siting | None = None, room_c: float | None = None
) -> list[Changer]:
    """The changes that the sliders say, in the order in which they would be made. Raises NothingAsked."""
    if siting == "indoors" and room_c is None:
        raise NothingAsked("The weather does not tell how warm a room is; say it with the slider for the room's air.")
    room = None
    if siting == "indoors" and room_c is not None:
        room = VagueAmount(room_c - ROOM_K, room_c + ROOM_K, "degC", "about", f"about {room_c:g} C")
    found: list[Changer] = []
    if siting is not None:
        found.append(partial(move, siting=siting, room=room))
    if litres is not None:
        found.append(partial(_of_litres, litres=litres))
    if insulate_cm > 0:
        found.append(partial(insulate, layer=Insulation(WRAP, insulate_cm / 100, FACES)))
    if not found:
        raise NothingAsked("Nothing is changed yet: move a slider or name another place.")
    return found


def whatif(
    settings: Settings, progress: Progress, bin: str, insulate_cm: float = 0.0, litres: float | None = None,
    siting: Siting | None = None, room_c: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    """What changes made now would do to the bedding: a difference with its range."""
    asked = changes(insulate_cm, litres, siting, room_c)
    with Journal.open(settings.journal) as book:
        zone = ZoneInfo(book.bin(bin).timezone)
        study = _study(settings, book, bin, settings.now().astimezone(zone), progress)
    progress(0.6)
    found = compare(study, asked)
    return {
        "changes": list(found.sentences), "provenance": "predicted", "helps": round(found.helps, 3),
        "sentences": list(differences.answer(bin, found, zone)),
        "heads": ["predicted", "as it is", "changed", "difference", "so"],
        "rows": [list(row) for row in differences.rows(found)],
        "careful": list(study.careful), "cautions": list(found.cautions),
        "notes": [_plain(note) for note in found.notes],
    }  # fmt: skip


# --- inside ----------------------------------------------------------------------------------------------


def _study(
    settings: Settings, book: Journal, bin: str, now: datetime, progress: Progress, until: datetime | None = None
) -> Study:
    if settings.weather is None:
        raise NeedsWeather(NO_FIT)
    zone = now.tzinfo.key  # type: ignore[union-attr]
    air, *years = (weather_from(path, zone, 0, settings.place) for path in (settings.weather, *settings.past))
    case = case_of(book, bin, air, now, until, years)
    return answer(book, case, progress=lambda done: progress(0.4 * done))


def _of_litres(case: Case, litres: float) -> Change:
    """The bedding in a bin of that size and the same proportions."""
    vessel = case.situation.vessel
    scale = (litres / litres_of(vessel)) ** (1 / 3)
    return resize(case, scale * vessel.length_m, scale * vessel.width_m, scale * vessel.height_m)


def _rather(told: Checked) -> str:
    return "" if told.fine_kg is None else f"At most {weighed(told.fine_kg)}, {told.portion}, would be fine."


def _plain(note: str) -> str:
    """A note without the options of the command line."""
    return note.replace("No --ph is given: the", "No pH is given: the").replace("with --weather", "with weather")
