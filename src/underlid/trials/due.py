"""What a keeper's plans ask for next: a reading, a count, the looks of trials, each on the days it may be done."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from underlid.records import AnyEntry, Bin, Reading, SampleCount
from underlid.trials.plan import Plan
from underlid.trials.taken import due_day, last_day

READ_EVERY, COUNT_EVERY = timedelta(days=7), timedelta(days=90)  # our judgement: counting disturbs the animals


@dataclass(frozen=True, slots=True)
class Due:
    """Something to do on whole days from `first` to `last`.

    about : what it is, the same as long as it is the same; of : name of the bin or the trial
    """

    kind: Literal["reading", "count", "look", "frost"]
    about: str
    of: str
    first: date
    last: date
    title: str
    says: str


def of_bin(record: Bin, entries: Sequence[AnyEntry], now: datetime) -> Iterator[Due]:
    """The reading and the count that are due in a bin, never in the past."""
    today = today_in(record, now)
    yield _reading(record, entries, today)
    yield _count(record, entries, today)


def of_plan(plan: Plan, today: date) -> Iterator[Due]:
    """The looks of a trial that are still to come."""
    for look, day in enumerate(plan.looks):
        on, last = due_day(plan, look), last_day(plan, look)
        if last < today:
            continue
        end = "the last look" if look == len(plan.looks) - 1 else f"look {look + 1} of {len(plan.looks)}"
        yield Due(
            "look", f"look/{plan.name}/{day}", plan.name, on - (last - on), last,
            f"Trial {plan.name}: {plan.outcome}, day {day}",
            f"Due on {on:%-d %b %Y} ({end}); it may be taken on any of these days. All bins of the trial in the same "
            f"way and if possible on the same day: {', '.join(plan.arms)}.",
        )  # fmt: skip


def today_in(record: Bin, now: datetime) -> date:
    """The day it is where a bin stands."""
    return now.astimezone(ZoneInfo(record.timezone)).date()


# --- inside ----------------------------------------------------------------------------------------------


def _reading(record: Bin, entries: Sequence[AnyEntry], today: date) -> Due:
    last = max((_day(record, one) for one in entries if isinstance(one, Reading)), default=None)
    day = max(today, last + READ_EVERY if last else today)
    since = f"The last reading is of {last:%-d %b %Y}." if last else "No reading is noted yet."
    return Due(
        "reading", f"reading/{record.id}", record.name, day, day, f"Reading: {record.name}",
        f"Take the temperature in the middle and at the edge of the bedding, and note it in your own words. {since} "
        "One a week keeps what is estimated narrow.",
    )  # fmt: skip


def _count(record: Bin, entries: Sequence[AnyEntry], today: date) -> Due:
    last = max((_day(record, one) for one in entries if isinstance(one, SampleCount)), default=None)
    started = record.started.start.astimezone(ZoneInfo(record.timezone)).date()
    day = max(today, (last or started) + COUNT_EVERY)
    since = f"The last count is of {last:%-d %b %Y}." if last else "Nothing was counted yet."
    return Due(
        "count", f"count/{record.id}", record.name, day, day, f"Count: {record.name}",
        f"Sort a known volume of bedding, and note the animals by stage: “sample of 1 litre: 3 adults, 12 juveniles”. "
        f"{since} Not on a freezing day, and put them back soon.",
    )  # fmt: skip


def _day(record: Bin, entry: AnyEntry) -> date:
    end = max(entry.when.start, entry.when.end - timedelta(seconds=1))  # a day alone ends where the next begins
    return end.astimezone(ZoneInfo(record.timezone)).date()
