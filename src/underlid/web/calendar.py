"""A calendar file of what is due: readings, counts, the looks of trials and cold nights (RFC 5545).

A calendar program fetches it again and again. An event keeps its UID, so it moves when what is due moves.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from hashlib import blake2b
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response
from icalendar import Calendar, Event

from underlid import __version__
from underlid.journal.store import Journal
from underlid.records import Bin
from underlid.trials.due import Due, of_bin, of_plan, today_in
from underlid.trials.plan import plan_from
from underlid.web.kept import kept
from underlid.web.parts import JournalPart, SettingsPart

router = APIRouter()

FROST_CHANCE = 0.1  # of frost in the bedding, from which a night is told: our judgement
DAY = timedelta(days=1)


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
        yield from of_bin(record, journal.entries(record.name), now)
    for plan in (plan_from(each.text) for each in journal.plans()):
        zone = next((bins[name] for name in plan.arms if name in bins), None)
        yield from of_plan(plan, now.date() if zone is None else today_in(zone, now))


def cold_nights(journal: Journal, now: datetime) -> Iterator[Due]:
    """Nights on which the bin's view, as it was made last, sees frost in the bedding; days in a row are one event."""
    for record in journal.bins():
        view = kept(journal.folder, record.name)
        if view is None:
            continue
        today = today_in(record, now)
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
        event.add("description", _plain(f"{one.says}\n{address}{_path(one)}"))
        event.add("url", f"{address}{_path(one)}")
        event.add("transp", "TRANSPARENT")
        made.add_component(event)
    return bytes(made.to_ical())


# --- inside -------------------------------------------------------------------------------------------------


def _cold(record: Bin, spell: Sequence[dict[str, Any]], made_at: str) -> Due:
    first, last = (date.fromisoformat(str(day["date"])) for day in (spell[0], spell[-1]))
    nights = "; ".join(f"{day['day']}: middle down to {day['middle']}, frost {day['frost']}" for day in spell)
    return Due(
        "frost", f"cold/{record.id}/{first}", record.name, first, last, f"Frost may reach the bedding: {record.name}",
        f"Predicted, 90 % ranges, as reckoned on {made_at}. {nights}. What wrapping or moving it would change: ask "
        "on its page.",
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


def _path(one: Due) -> str:
    """The page where it is done or looked at."""
    if one.kind == "look":
        return f"/trials/{quote(one.of)}"
    return f"/bins/{quote(one.of)}" + ("" if one.kind == "frost" else "/enter")


def _plain(words: str) -> str:
    """Without control characters, which a calendar may not hold."""
    return "".join(letter for letter in words if letter == "\n" or unicodedata.category(letter) != "Cc")
