"""A calendar file of what is due: readings, counts, the looks of trials and cold nights (RFC 5545).

A calendar program fetches it again and again. An event keeps its UID, so it moves when what is due moves.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from hashlib import blake2b
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import Response
from icalendar import Calendar, Event

from underlid import __version__
from underlid.journal.store import Journal
from underlid.records import AnyEntry, Bin, Reading, SampleCount
from underlid.trials.plan import Plan, plan_from
from underlid.trials.taken import due_day, last_day
from underlid.web.kept import kept
from underlid.web.parts import JournalPart, SettingsPart

router = APIRouter()

READ_EVERY, COUNT_EVERY = timedelta(days=7), timedelta(days=90)  # our judgement: counting disturbs the animals
FROST_CHANCE = 0.1  # of frost in the bedding, from which a night is told: our judgement
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Due:
    """Something to do or to heed, on whole days from `first` to `last`; `about` makes its UID, `path` is its page."""

    about: str
    first: date
    last: date
    title: str
    says: str
    path: str


@router.get(
    "/calendar.ics", summary="What is due, as a calendar", tags=["calendar"], response_class=Response,
    responses={200: {"content": {"text/calendar": {}}, "description": "iCalendar (RFC 5545)"}},
)  # fmt: skip
def calendar(request: Request, journal: JournalPart, settings: SettingsPart) -> Response:
    """Due readings and counts, the looks of trials with the days they may be taken on, and cold nights."""
    now = settings.now()
    data = calendar_of([*due(journal, now), *cold_nights(journal, now)], now, str(request.base_url).rstrip("/"))
    return Response(data, media_type="text/calendar; charset=utf-8", headers={
        "Content-Disposition": 'inline; filename="underlid.ics"', "Cache-Control": "private, max-age=900",
    })  # fmt: skip


def due(journal: Journal, now: datetime) -> Iterator[Due]:
    """Readings and counts that are due in each bin, and the looks of trials that are still to come."""
    bins = {record.name: record for record in journal.bins()}
    for record in bins.values():
        entries, today = journal.entries(record.name), _today(record, now)
        yield _reading(record, entries, today)
        yield _count(record, entries, today)
    for plan in (plan_from(each.text) for each in journal.plans()):
        zone = next((bins[name] for name in plan.arms if name in bins), None)
        yield from _looks(plan, now.date() if zone is None else _today(zone, now))


def cold_nights(journal: Journal, now: datetime) -> Iterator[Due]:
    """Nights on which the bin's view, as it was made last, sees frost in the bedding; days in a row are one event."""
    for record in journal.bins():
        view = kept(journal.folder, record.name)
        if view is None:
            continue
        today = _today(record, now)
        days = [day for day in view.get("days") or () if _frosty(day, today)]
        for spell in _in_a_row(days):
            yield _cold(record, spell, str(view["made_at"])[:16].replace("T", " "))


def calendar_of(events: Sequence[Due], now: datetime, address: str) -> bytes:
    """The events as iCalendar text; `address` is that of the server, for the links."""
    made = Calendar()
    made.add("prodid", f"-//underlid//underlid {__version__}//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", "Worm bins")
    for one in events:
        event = Event()
        event.add("uid", f"{blake2b(one.about.encode(), digest_size=16).hexdigest()}@underlid")
        event.add("dtstamp", now.astimezone(UTC))
        event.add("dtstart", one.first)
        event.add("dtend", one.last + DAY)  # the day after the last
        event.add("summary", _plain(one.title))
        event.add("description", _plain(f"{one.says}\n{address}{one.path}"))
        event.add("url", f"{address}{one.path}")
        event.add("transp", "TRANSPARENT")
        made.add_component(event)
    return bytes(made.to_ical())


# --- inside -------------------------------------------------------------------------------------------------


def _reading(record: Bin, entries: Sequence[AnyEntry], today: date) -> Due:
    last = max((_day(record, one) for one in entries if isinstance(one, Reading)), default=None)
    day = max(today, (last or today) + READ_EVERY if last else today)
    since = f"The last reading is of {last:%-d %b %Y}." if last else "No reading is noted yet."
    return Due(
        f"reading/{record.id}", day, day, f"Reading: {record.name}",
        f"Take the temperature in the middle and at the edge of the bedding, and note it in your own words. {since} "
        "One a week keeps what is estimated narrow.", f"/bins/{quote(record.name)}/enter",
    )  # fmt: skip


def _count(record: Bin, entries: Sequence[AnyEntry], today: date) -> Due:
    last = max((_day(record, one) for one in entries if isinstance(one, SampleCount)), default=None)
    started = record.started.start.astimezone(ZoneInfo(record.timezone)).date()
    day = max(today, (last or started) + COUNT_EVERY)
    since = f"The last count is of {last:%-d %b %Y}." if last else "Nothing was counted yet."
    return Due(
        f"count/{record.id}", day, day, f"Count: {record.name}",
        f"Sort a known volume of bedding, and note the animals by stage: “sample of 1 litre: 3 adults, 12 juveniles”. "
        f"{since} Not on a freezing day, and put them back soon.", f"/bins/{quote(record.name)}/enter",
    )  # fmt: skip


def _looks(plan: Plan, today: date) -> Iterator[Due]:
    for look, day in enumerate(plan.looks):
        on, last = due_day(plan, look), last_day(plan, look)
        if last < today:
            continue
        end = "the last look" if look == len(plan.looks) - 1 else f"look {look + 1} of {len(plan.looks)}"
        yield Due(
            f"look/{plan.name}/{day}", on - (last - on), last, f"Trial {plan.name}: {plan.outcome}, day {day}",
            f"Due on {on:%-d %b %Y} ({end}); it may be taken on any of these days. All bins of the trial in the same "
            f"way and if possible on the same day: {', '.join(plan.arms)}.", f"/trials/{quote(plan.name)}",
        )  # fmt: skip


def _cold(record: Bin, spell: Sequence[dict[str, Any]], made_at: str) -> Due:
    first, last = (date.fromisoformat(str(day["date"])) for day in (spell[0], spell[-1]))
    nights = "; ".join(f"{day['day']}: middle down to {day['middle']}, frost {day['frost']}" for day in spell)
    return Due(
        f"cold/{record.id}/{first}", first, last, f"Frost may reach the bedding: {record.name}",
        f"Predicted, 90 % ranges, as reckoned on {made_at}. {nights}. What wrapping or moving it would change: ask "
        "on its page.", f"/bins/{quote(record.name)}",
    )  # fmt: skip


def _frosty(day: dict[str, Any], today: date) -> bool:
    return float(day["frost_share"]) >= FROST_CHANCE and date.fromisoformat(str(day["date"])) >= today


def _in_a_row(days: Sequence[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    spells: list[list[dict[str, Any]]] = []
    for day in days:
        if spells and date.fromisoformat(day["date"]) - date.fromisoformat(spells[-1][-1]["date"]) == DAY:
            spells[-1].append(day)
        else:
            spells.append([day])
    return spells


def _today(record: Bin, now: datetime) -> date:
    return now.astimezone(ZoneInfo(record.timezone)).date()


def _day(record: Bin, entry: AnyEntry) -> date:
    end = max(entry.when.start, entry.when.end - timedelta(seconds=1))  # a day alone ends where the next begins
    return end.astimezone(ZoneInfo(record.timezone)).date()


def _plain(words: str) -> str:
    """Without control characters, which a calendar may not hold."""
    return "".join(letter for letter in words if letter == "\n" or unicodedata.category(letter) != "Cc")
