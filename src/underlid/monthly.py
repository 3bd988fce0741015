"""From a studied bin of a journal to the story of a month or a year: the one path that every door takes to them."""

from __future__ import annotations

import calendar
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from underlid.answer import SEED, census_of, trials_with
from underlid.fit.balance_sheet import balance_sheet
from underlid.fit.cut import cut
from underlid.fit.reckoning import doubtful, reckoning
from underlid.fit.study import Study
from underlid.journal.store import PHOTOS, Journal
from underlid.records import AnyEntry, Photo
from underlid.trials.due import of_bin, of_plan
from underlid.trials.plan import plan_from
from underlid.update.lifefacts import Own, Picture, Step
from underlid.update.lifestory import Colony
from underlid.update.pictures import picture
from underlid.update.story import Story, Truth, span_of_month, tell
from underlid.update.year import Span, Year, tell_year

FILM_EVERY_H = 3  # between the steps of the cut that is shown moving
MOST_PICTURES = 12  # in one account


def last_full_month(now: datetime) -> tuple[int, int]:
    """Year and number of the month before that of a moment."""
    last = now.replace(day=1) - timedelta(days=1)
    return last.year, last.month


def story_of(
    journal: Journal,
    study: Study,
    month: tuple[int, int] | None = None,
    *,
    own: Own | None = None,
    truth: Truth | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] = lambda done: None,
) -> Story:
    """Everything that one month of a studied bin has to tell, with its animals; the last full month if none is named.

    progress : of the colony's fit, which is taken from the journal's memory if it was made before
    """
    bin, now = study.case.bin, study.case.now
    colony = colony_of(journal, study, seed, progress)
    return tell(
        study,
        month or last_full_month(now),
        own=own,
        truth=truth,
        superseded=_superseded(journal, bin.name),
        trials=trials_with(journal, bin.name, now),
        colony=colony,
        sheet=balance_sheet(study, seed, colony.census),
        cut=cut(study, every_h=FILM_EVERY_H),
        due=tuple(_due(journal, study, journal.entries(bin.name))),
    )


def year_of(
    journal: Journal,
    study: Study,
    until: tuple[int, int] | None = None,
    span: Span = "twelve months",
    *,
    own: Own | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] = lambda done: None,
) -> Year:
    """A studied bin's year up to a month, the present one if none is named."""
    bin, now = study.case.bin, study.case.now
    colony = colony_of(journal, study, seed, progress)
    return tell_year(
        study,
        until or (now.year, now.month),
        span=span,
        own=own,
        superseded=_superseded(journal, bin.name),
        trials=trials_with(journal, bin.name, now),
        colony=colony,
        sheet=balance_sheet(study, seed, colony.census),
    )


def colony_of(
    journal: Journal, study: Study, seed: int = SEED, progress: Callable[[float], None] = lambda done: None
) -> Colony:
    """The fitted colony of a studied bin with what it comes to."""
    prior, counted, found = census_of(journal, study, seed, progress)
    return Colony(counted, found, reckoning(prior, found), doubtful(counted, found))


def photos_of(journal: Journal, bin: str, month: tuple[int, int]) -> tuple[Photo, ...]:
    """The photos of a bin that may be of a month, earliest first."""
    start, end = span_of_month(date(*month, 1), ZoneInfo(journal.bin(bin).timezone))
    return tuple(
        entry for entry in journal.entries(bin, kind=Photo) if entry.when.start < end and entry.when.end >= start
    )


def pictures_of(
    journal: Journal, photos: Sequence[Photo], focus: Mapping[str, tuple[float, float]] | None = None
) -> tuple[Picture, ...]:
    """Photos made fit to be shown; `focus` is the point to keep in sight, by the id of the entry."""
    return tuple(_pictures(journal, photos[:MOST_PICTURES], focus or {}))


# --- inside ----------------------------------------------------------------------------------------------


def _pictures(journal: Journal, photos: Sequence[Photo], focus: Mapping[str, tuple[float, float]]) -> Iterator[Picture]:
    for entry in photos:
        path = journal.folder / PHOTOS / Path(entry.file).name  # a journal from elsewhere may name any file there is
        zone = ZoneInfo(journal.bin(entry.bin).timezone)
        taken = (entry.when.start + (entry.when.end - entry.when.start) / 2).astimezone(zone)
        caption = "" if entry.words == "photo" else entry.words
        yield picture(path.read_bytes(), entry.sha256[:12], caption, taken, focus.get(entry.id, (0.5, 0.5)))


def _superseded(journal: Journal, bin: str) -> list[AnyEntry]:
    """The entries of a bin that others correct."""
    every = journal.entries(bin, superseded=True)
    corrected = {entry.corrects for entry in every}
    return [entry for entry in every if entry.id in corrected]


def _due(journal: Journal, study: Study, entries: Sequence[AnyEntry]) -> Iterator[Step]:
    """What is due in the bin, and in its trials, as far as it lies within a month."""
    bin, now = study.case.bin, study.case.now
    today = now.astimezone(ZoneInfo(bin.timezone)).date()
    plans = [plan for plan in (plan_from(kept.text) for kept in journal.plans()) if bin.name in plan.arms]
    due = [*of_bin(bin, entries, now), *(one for plan in plans for one in of_plan(plan, today))]
    until = today + timedelta(days=calendar.monthrange(today.year, today.month)[1])
    for one in due:
        if one.first <= until:
            yield Step(one.kind, one.first, one.last, one.says)
