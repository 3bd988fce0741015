"""From a study to the facts of a year: each month and the whole, and the same months of two years.

Every estimated figure is made draw by draw: a sum, a least value or a difference is taken within each draw and told as
the range of those, never put together from the ends of other ranges. Only hours that have been are told of; what the
keeper noted counts for the month that holds the middle of its time, so that months add up to the year.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.fit.balance_sheet import Sheet
from underlid.fit.evidence import middle_of
from underlid.fit.study import METHOD, Study
from underlid.quantity.points import PERCENT, points, three
from underlid.records import AnyEntry, Feeding, Reading, SampleCount, Sighting
from underlid.trials import telling
from underlid.trials.verdict import Verdict
from underlid.update import noted
from underlid.update.facts import Array, Range, ReadingFact, TimeRange, TrialFact
from underlid.update.lifefacts import Own
from underlid.update.lifestory import Colony
from underlid.update.story import UpdateError
from underlid.update.yearfacts import Bedding, Course, Kept, Lived, Month, Pair, Span, Twice, Year
from underlid.worms.lifecycle import LEDGER

__all__ = ["Span", "Year", "YearError", "tell_year"]

LEAST_H = 24  # hours of a month that the study must hold for it to be told, as in a monthly account
LEAST_DAYS = 7  # whole days that a month must share with its like a year before: our judgement
WHOLE_DAY_H = 23  # a whole day in spring has 23 hours


class YearError(UpdateError):
    """The year cannot be told from this study; the sentence says why and what would mend it."""


def tell_year(
    study: Study,
    until: date | tuple[int, int],
    *,
    span: Span = "twelve months",
    own: Own | None = None,
    superseded: Sequence[AnyEntry] = (),
    trials: Sequence[Verdict] = (),
    colony: Colony | None = None,
    sheet: Sheet | None = None,
) -> Year:
    """The facts of a year of a study's bin.

    until : any date within its last month, or (year, month); months before the bin was started are left out
    superseded : entries that were corrected; trials : those that the bin is in; colony, sheet : of the same study
    Raises YearError if the study holds less than a day of it.
    """
    case = study.case
    zone = ZoneInfo(case.bin.timezone)
    last = date(*until, 1) if isinstance(until, tuple) else until.replace(day=1)
    started = case.bin.started.start.astimezone(zone).date().replace(day=1)
    asked = tuple(_months(last, span, started))
    held = {month: hours for month in asked if (hours := _hours(study, month, zone))}
    if not held:
        begins, ends = (_local(case.time_utc[at], zone) for at in (0, case.now_index))
        raise YearError(
            f"No month of the year up to {last:%B %Y} can be told: the hours worked out so far for bin "
            f"{case.bin.name!r} run from {begins:%Y-%m-%d} to {ends:%Y-%m-%d}. Choose a later or an earlier month, or "
            "give weather that covers this one."
        )
    entries = noted.standing((*superseded, *case.entries))
    mine = _by_month(entries, asked, zone)
    facts = noted.reading_facts(study, [entry for month in asked for entry in mine[month]])
    found = {fact.id: fact for fact in facts}
    told = (min(first for first, _ in held.values()), max(after for _, after in held.values()))
    moments = (told[0], *(after - 1 for _, after in held.values()))
    lived = {month: _lived(study, colony, moments[i], moments[i + 1], zone) for i, month in enumerate(held)}
    now = case.now.astimezone(zone)
    twice = tuple(_twice(study, held, zone))
    one_weather = bool(twice) and case.typical  # two years of one weather differ in nothing but the bedding's age
    twice = () if one_weather else twice
    before = (0, _hour_a_year_before(study, told[1] - 1, zone) + 1)
    return Year(
        bin=case.bin,
        span=span,
        timezone=case.bin.timezone,
        now=now,
        told_from=_local(case.time_utc[told[0]], zone),
        told_to=_local(case.time_utc[told[1] - 1], zone),
        months=tuple(
            _month(study, month, held.get(month), lived.get(month), _kept(mine[month], found), zone) for month in asked
        ),
        bedding=_bedding(study, *told, zone),
        lived=_lived(study, colony, moments[0], moments[-1], zone),
        kept=_kept([entry for month in asked for entry in mine[month]], found),
        course=_course(study, *told, zone),
        readings=facts,
        twice=twice,
        before=_course(study, *before, zone) if twice and before[1] > before[0] else None,
        one_weather=one_weather,
        left_out=(started, _before(asked[0])) if started < asked[0] else None,
        trials=tuple(
            TrialFact(one.plan.name, one.plan.arms[case.bin.name], one.plan.statement, telling.sentence(one))
            for one in trials
        ),
        lost_pct=None if sheet is None else _percent(sheet.whole.lost),
        castings_l=None if sheet is None else Range(*sheet.castings.litres, "L", "estimated"),
        counted=0 if colony is None else len(colony.counted.entries),
        careful=() if colony is None else (*colony.census.warnings, *colony.doubts),
        bedding_litres=1000 * case.situation.vessel.bedding_m3,
        species=case.species.name,
        band_c=case.species.band_c,
        readings_used=study.posterior.readings,
        trusted=study.posterior.trusted,
        misfit=study.posterior.misfit,
        unknown=tuple(dict.fromkeys((*study.careful, *study.notes))),
        weather_source=case.weather_source,
        typical=case.typical,
        method=METHOD,
        seed=study.posterior.seed,
        draws=len(study.posterior.draws["loss"]),
        own=own or Own(),
    )


# --- inside ----------------------------------------------------------------------------------------------


def _months(last: date, span: Span, started: date) -> Iterator[date]:
    if span == "calendar year":
        first, last = last.replace(month=1), last.replace(month=12)
    else:
        first = started if span == "since the start" else _next(last.replace(year=last.year - 1))
    month = max(first, started)
    while month <= last:
        yield month
        month = _next(month)


def _hours(study: Study, month: date, zone: ZoneInfo) -> tuple[int, int] | None:
    """The hours of a month that have been, first and after, None if they are less than a day."""
    seconds = study.case.time_utc[: study.case.now_index + 1]
    first, after = (int(np.searchsorted(seconds, _midnight(day, zone).timestamp())) for day in (month, _next(month)))
    return (first, after) if after - first >= LEAST_H else None


def _by_month(entries: Sequence[AnyEntry], asked: Sequence[date], zone: ZoneInfo) -> dict[date, list[AnyEntry]]:
    mine: dict[date, list[AnyEntry]] = {month: [] for month in asked}
    for entry in sorted(entries, key=lambda entry: (entry.when.start, entry.when.end, entry.id)):
        middle = (entry.when.start + (entry.when.end - entry.when.start) / 2).astimezone(zone)
        mine.get(middle.date().replace(day=1), []).append(entry)
    return mine


def _month(
    study: Study, month: date, held: tuple[int, int] | None, lived: Lived | None, kept: Kept, zone: ZoneInfo
) -> Month:
    start, end = _midnight(month, zone), _midnight(_next(month), zone)
    to_come = start > study.case.now
    if held is None:
        return Month(month, month, _next(month) - timedelta(days=1), False, to_come, None, None, kept)
    first, last = (_local(study.case.time_utc[at], zone) for at in (held[0], held[1] - 1))
    whole = (first - start).total_seconds() < 3600 and (end - last).total_seconds() <= 3600
    return Month(month, first.date(), last.date(), whole, to_come, _bedding(study, *held, zone), lived, kept)


def _bedding(study: Study, first: int, after: int, zone: ZoneInfo) -> Bedding:
    out, time_utc = study.outlook, study.case.time_utc
    middle, refuge = out.draws_c["middle"][:, first:after], out.refuge_draws[:, first:after, 0]
    litres = 1000 * study.case.situation.vessel.bedding_m3

    def when(hours: NDArray[np.intp]) -> TimeRange:
        early, usual, late = np.percentile(time_utc[first + hours], PERCENT, method="nearest")
        return TimeRange(_local(early, zone), _local(usual, zone), _local(late, zone))

    return Bedding(
        hours=after - first,
        coldest=_range(middle.min(axis=1), "degC"),
        coldest_when=when(middle.argmin(axis=1)),
        mean=_range(middle.mean(axis=1), "degC"),
        without_h=_range((out.outside_k[:, first:after, 0] > 0).sum(axis=1), "h"),
        refuge_l=_range(litres * refuge.min(axis=1), "L").of_bedding(litres),
        refuge_when=when(refuge.argmin(axis=1)),
    )


def _lived(study: Study, colony: Colony | None, first: int, last: int, zone: ZoneInfo) -> Lived | None:
    """From one hour of the study to another; the day told is that of the last, which a state beyond midnight may be
    nearest to."""
    if colony is None:
        return None
    census, begin, end = colony.census, colony.day(first), colony.day(last)
    worms = census.lives.stages[:, :, 1:].sum(axis=2)
    fresh = census.lives.ledger[:, end] - census.lives.ledger[:, begin]
    laid, hatched, died = (_range(fresh[:, LEDGER.index(name)], "1") for name in ("laid", "hatched", "died"))
    return Lived(
        at=_local(study.case.time_utc[last], zone).date(),
        worms=_range(worms[:, end], "1"),
        change=_range(worms[:, end] - worms[:, begin], "1"),
        laid=laid,
        hatched=hatched,
        died=died,
    )


def _kept(entries: Sequence[AnyEntry], facts: dict[str, ReadingFact]) -> Kept:
    fed = [entry for entry in entries if isinstance(entry, Feeding) and entry.material != "water"]
    weighed = [
        entry.amount for entry in fed
        if entry.amount.unit == "kg" and math.isfinite(entry.amount.low) and math.isfinite(entry.amount.high)
    ]  # fmt: skip
    given = None
    if weighed:
        # All at their least to all at their most: errors of words need not even out.
        parts = zip(*((one.low, middle_of(one), one.high) for one in weighed), strict=True)
        low, middle, high = (1000 * math.fsum(part) for part in parts)
        given = Range(low, middle, high, "g", "read")
    readings = [facts[entry.id] for entry in entries if isinstance(entry, Reading)]
    compared = [fact for fact in readings if fact.quantity == "temperature" and fact.expected is not None]
    return Kept(
        feedings=len(fed),
        unweighed=len(fed) - len(weighed),
        given_g=given,
        readings=len(readings),
        compared=len(compared),
        surprises=sum(fact.surprise for fact in compared),
        samples=sum(isinstance(entry, SampleCount) for entry in entries),
        sightings=sum(isinstance(entry, Sighting) for entry in entries),
        corrected=sum(bool(entry.corrects) for entry in entries),
    )


def _course(study: Study, first: int, after: int, zone: ZoneInfo) -> Course:
    """Whole local days, and the days at both ends as far as they are held."""
    days = [_local(second, zone).date() for second in study.case.time_utc[first:after]]
    names, starts = np.unique(np.array(days, dtype="datetime64[D]"), return_index=True)
    ends = [*starts[1:], after - first]
    air = study.outlook.air_c[first:after, 1]
    middle = study.outlook.draws_c["middle"][:, first:after]
    spans = [slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]
    return Course(
        days=tuple(names.tolist()),
        air_c=np.array([(air[span].min(), air[span].mean(), air[span].max()) for span in spans]),
        middle_c=np.array([points(middle[:, span].mean(axis=1)) for span in spans]),
    )


def _twice(study: Study, held: dict[date, tuple[int, int]], zone: ZoneInfo) -> Iterator[Twice]:
    """Months of the year told that the study also holds a year before, on the days that it holds of both."""
    for later, hours in held.items():
        earlier = later.replace(year=later.year - 1)
        before = _hours(study, earlier, zone)
        if before is None:
            continue
        (a, b), (c, d) = (_whole_days(study, *one, zone) for one in (before, hours))
        first, last = max(a, c), min(b, d)
        if last - first + 1 < LEAST_DAYS:
            continue
        spans = [_of_days(study, month, first, last, zone) for month in (earlier, later)]
        yield Twice(
            earlier, later, later.replace(day=first), later.replace(day=last),
            *_pairs(study, *spans), _air(study, *spans),
        )  # fmt: skip


def _hour_a_year_before(study: Study, hour: int, zone: ZoneInfo) -> int:
    day = _local(study.case.time_utc[hour], zone)
    return study.index(day.replace(year=day.year - 1, day=min(day.day, 28) if day.month == 2 else day.day))


def _pairs(study: Study, before: slice, after: slice) -> tuple[Pair, Pair, Pair, Pair]:
    out = study.outlook
    litres = 1000 * study.case.situation.vessel.bedding_m3
    middle, away, refuge = out.draws_c["middle"], out.outside_k[:, :, 0], litres * out.refuge_draws[:, :, 0]

    def pair(earlier: Array, later: Array, unit: str) -> Pair:
        apart = _range(later - earlier, "K" if unit == "degC" else unit)
        return Pair(_range(earlier, unit), _range(later, unit), apart)

    lowest = pair(refuge[:, before].min(axis=1), refuge[:, after].min(axis=1), "L")
    return (
        pair(middle[:, before].min(axis=1), middle[:, after].min(axis=1), "degC"),
        pair(middle[:, before].mean(axis=1), middle[:, after].mean(axis=1), "degC"),
        pair(1.0 * (away[:, before] > 0).sum(axis=1), 1.0 * (away[:, after] > 0).sum(axis=1), "h"),
        Pair(lowest.earlier.of_bedding(litres), lowest.later.of_bedding(litres), lowest.difference),
    )


def _air(study: Study, before: slice, after: slice) -> tuple[float, float]:
    air = study.outlook.air_c[:, 1]
    return float(air[before].mean()), float(air[after].mean())


def _whole_days(study: Study, first: int, after: int, zone: ZoneInfo) -> tuple[int, int]:
    """First and last day of the month that are held whole; the last before the first if none is."""
    days = np.array([_local(second, zone).day for second in study.case.time_utc[first:after]])
    names, counts = np.unique(days, return_counts=True)
    whole = names[counts >= WHOLE_DAY_H]
    return (int(whole[0]), int(whole[-1])) if len(whole) else (32, 0)


def _of_days(study: Study, month: date, first: int, last: int, zone: ZoneInfo) -> slice:
    ends = (month.replace(day=first), month.replace(day=last) + timedelta(days=1))
    begin, after = (int(np.searchsorted(study.case.time_utc, _midnight(day, zone).timestamp())) for day in ends)
    return slice(begin, after)


def _range(values: NDArray[np.generic], unit: str) -> Range:
    return Range(*three(values), unit, "estimated")


def _percent(share: tuple[float, float, float]) -> Range:
    low, middle, high = (100 * value for value in share)
    return Range(low, middle, high, "%", "estimated")


def _next(month: date) -> date:
    return (month + timedelta(days=32)).replace(day=1)


def _before(month: date) -> date:
    return (month - timedelta(days=1)).replace(day=1)


def _local(second: float, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(int(second), zone)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone)
