"""What the worker computes for a bin's page: the fit, the colony, the outlook and the drawings, as plain JSON types.

Times are wall-clock times of the bin in milliseconds as if they were UTC, as in the charts, so that a script needs no
time zones. Ranges are the 5, 50 and 95 % points.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid import __version__
from underlid.answer import SEED, answer, case_of, census_of, rules_of, trials_with, weather_from
from underlid.entry.describe import describe
from underlid.fit.census import Census
from underlid.fit.cut import cut
from underlid.fit.reckoning import Reckoning, careful, reckoning
from underlid.fit.study import Study
from underlid.journal.store import Journal
from underlid.quantity.points import points, three
from underlid.records import STAGES, AnyEntry, Bin, Feeding, Note, Photo, Reading, SampleCount, Sighting
from underlid.trials.refuge import shrinking
from underlid.trials.telling import sentence
from underlid.trials.watch import alarms
from underlid.update.drawn.charts import as_utc_ms
from underlid.update.drawn.timeline import DESK, PHONE, Colony, Courses, Done, Timeline, panels
from underlid.update.facts import Provenance, Range, ReadingFact
from underlid.update.lifestory import counted, seen
from underlid.update.noted import reading_facts
from underlid.update.prose import colony as colony_words
from underlid.update.prose import phrases
from underlid.web.kept import View, form, keep, stamps, weather_files
from underlid.web.settings import Settings
from underlid.web.work import Progress

EVERY_H = 3  # between the points of the series and of the drawings
LATELY_DAYS, AHEAD_DAYS = 30, 10  # what is drawn first
TABLE_DAYS = 10
LONG, LONG_EVERY = timedelta(days=90), 2  # a longer time is drawn with every second point
ICE_SHARE = 0.01  # of the bedding's water, from which a day is told as one with frost in the bedding
MONTH_DAYS = 30
NO_WEATHER = (
    "No weather was given to the server, so nothing is estimated or predicted here: only what you noted is shown. "
    "Start it with --weather FILE, hourly temperatures near the bin since it was started; “underlid weather fetch” "
    "makes such a file."
)
LANE_OF: tuple[tuple[type, str], ...] = (
    (Feeding, "fed"), (SampleCount, "counted"), (Sighting, "seen"), (Photo, "photo"), (Note, "noted"),
)  # fmt: skip


def made(settings: Settings, progress: Progress, bin: str) -> dict[str, str]:
    """Make the view of a bin and keep it: the worker's answer to a page."""
    view = view_of(settings, bin, progress)
    keep(settings.journal, bin, view)
    return {"bin": bin, "made_at": view["made_at"]}


def view_of(settings: Settings, bin: str, progress: Progress = lambda done: None) -> View:
    """Everything that the page of a bin shows and that takes long to compute."""
    with Journal.open(settings.journal) as book:
        record = book.bin(bin)
        zone = ZoneInfo(record.timezone)
        now = settings.now().astimezone(zone)
        every = book.entries(bin, superseded=True)
        entries = tuple(entry for entry in book.entries(bin) if entry.when.start <= now)
        rules = rules_of(book, bin)
        found: View = {
            "bin": bin, "made_at": now.isoformat(), "form": form(), "made_by": __version__, "entries": len(every),
            "timezone": record.timezone, "now": as_utc_ms(now), "unit": "degC", "seed": SEED,
            "weather": {"source": None, "stamps": stamps(weather_files(settings))},
            "missing": None, "items": [_item(entry, zone) for entry in entries],
            "shrinking": [],
            "alarms": [{"sure": one.sure, "sentence": one.sentence} for one in alarms(rules, record, entries, now)],
            "trials": [
                {"name": one.plan.name, "arm": one.plan.arms[bin], "sentence": sentence(one)}
                for one in trials_with(book, bin, now)
            ],
        }  # fmt: skip
        progress(0.02)
        if settings.weather is None:
            return found | _unfitted(record, entries, now, zone, NO_WEATHER)
        air, *years = (
            weather_from(path, record.timezone, 0, settings.place) for path in (settings.weather, *settings.past)
        )
        study = answer(book, case_of(book, bin, air, now, past=years), progress=lambda done: progress(0.5 * done))
        progress(0.5)
        prior, counted, census = census_of(book, study, progress=lambda done: progress(0.5 + 0.3 * done))
        told = reckoning(prior, census)
        progress(0.85)
        doubts = careful(study, counted, census)
        basis = colony_words.rests_on(counted, record.founders.words, study.posterior.readings)
    found["weather"]["source"] = study.case.weather_source
    found["shrinking"] = [one.sentence for one in shrinking(rules, study)]
    worms = _colony(study, census, told, entries, zone)
    timeline = _timeline(study, worms, entries, now, zone)
    view = found | {
        "readings_used": study.posterior.readings, "settled": study.posterior.trusted, "careful": list(doubts),
        "band_c": list(study.outlook.band_c), "typical": study.case.typical,
        "figures": _figures(study, census, told), "series": _series(study, zone), "days": _days(study, zone),
        "cut": _cut(study, zone), "population": _population(census, told, worms, basis, zone),
        "notes": list(dict.fromkeys((*study.notes, *census.notes))),
    }  # fmt: skip
    progress(0.92)
    return view | {"charts": _charts(timeline, now)}


def _unfitted(record: Bin, entries: Sequence[AnyEntry], now: datetime, zone: ZoneInfo, missing: str) -> View:
    facts = tuple(_unmodelled(entry, zone) for entry in entries if isinstance(entry, Reading))
    begun = min([record.started.start, *(entry.when.start for entry in entries)]).astimezone(zone)
    timeline = Timeline(
        begun, max(now, begun + timedelta(days=1)), record.timezone, None, facts, _done(entries, zone), None
    )
    return {
        "missing": missing, "readings_used": 0, "settled": True, "careful": [], "band_c": None, "typical": False,
        "figures": [], "series": None, "days": [], "cut": None, "population": None, "notes": [],
        "charts": _charts(timeline, now),
    }  # fmt: skip


# --- facts ---------------------------------------------------------------------------------------------------


def _item(entry: AnyEntry, zone: ZoneInfo) -> dict[str, Any]:
    """An entry on the time axis: amounts keep both ends, null for an open one."""
    found: dict[str, Any] = {
        "id": entry.id, "kind": type(entry).__name__.lower(), "says": describe(entry), "words": entry.words,
        "start": as_utc_ms(entry.when.start.astimezone(zone)), "end": as_utc_ms(entry.when.end.astimezone(zone)),
    }  # fmt: skip
    if isinstance(entry, Reading | Feeding | Sighting):
        amount = entry.amount
        found |= {
            "place": entry.place, "vague": amount.kind, "unit": amount.unit,
            "low": _finite(amount.low), "high": _finite(amount.high),
        }  # fmt: skip
    if isinstance(entry, Reading):
        found["quantity"] = entry.quantity
    if isinstance(entry, Photo):
        found["photo"] = entry.sha256
    return found


def _figures(study: Study, census: Census, told: Reckoning) -> list[dict[str, Any]]:
    """What is told first, each with its range and whether it is estimated or predicted."""
    out, case = study.outlook, study.case
    now, hours = out.now_index, len(out.time_utc)
    soon = min(now + 1 + 24 * 7, hours)
    litres = 1000 * case.situation.vessel.bedding_m3
    cold = Range(*out.coldest(0, now + 1).temperature_c, "degC", "estimated")
    middle = _range(out.bedding_c["middle"][now], "degC", "estimated")
    room = _range(litres * out.refuge[now], "L", "estimated")
    wet = _range(100 * out.moisture[now], "%", "estimated")
    found = [
        _figure("Middle of the bedding now", phrases.temperature(middle), phrases.temperature_range(middle), middle),
        _figure("Coldest hour so far, middle", phrases.temperature(cold), phrases.temperature_range(cold), cold),
    ]
    if soon > now + 1:
        ahead = Range(*out.coldest(now + 1, soon).temperature_c, "degC", "predicted")
        days = round((soon - now - 1) / 24)
        label = f"Lowest of the next {phrases.count(days, 'day')}, middle"
        found.append(_figure(label, phrases.temperature(ahead), phrases.temperature_range(ahead), ahead))
    found += [
        _figure(f"Refuge now, of about {litres:.0f} litres", phrases.litres(room), phrases.litres_range(room), room),
        _figure("Water in the bedding now", f"{wet.middle:.0f} %", phrases.percent_range(wet), wet),
    ]
    worms = Range(*census.on(told.now)["worms"], "1", "estimated")
    span = f"{worms.low:.0f} to {worms.high:.0f}"
    return [*found, _figure("Worms living there now", f"about {worms.middle:.0f}", span, worms)]


def _figure(label: str, shown: str, span: str, found: Range) -> dict[str, Any]:
    return {
        "label": label, "shown": shown, "range": span, "provenance": found.provenance, "unit": found.unit,
        "points": [round(value, 3) for value in (found.low, found.middle, found.high)],
    }  # fmt: skip


def _series(study: Study, zone: ZoneInfo) -> dict[str, Any]:
    """Every few hours, the present hour among them."""
    out = study.outlook
    at = slice(out.now_index % EVERY_H, None, EVERY_H)
    courses: dict[str, tuple[NDArray[np.float64], int]] = {
        **{place: (values, 1) for place, values in out.bedding_c.items()}, "air": (out.air_c, 1),
        "moisture": (100 * out.moisture, 0), "refuge": (100 * out.refuge, 0), "ice": (100 * out.frozen, 0),
    }  # fmt: skip
    return {
        "at": _wall(out.time_utc[at], zone),
        "predicted_from": out.now_index // EVERY_H + 1,
        "units": {name: "degC" if digits else "%" for name, (_, digits) in courses.items()},
        **{name: [_rounded(values[at, i], digits) for i in range(3)] for name, (values, digits) in courses.items()},
    }


def _days(study: Study, zone: ZoneInfo) -> list[dict[str, Any]]:
    """The whole days to come, one by one."""
    out = study.outlook
    rows: dict[Any, list[int]] = {}
    for hour in range(out.now_index + 1, min(len(out.time_utc), out.now_index + 1 + 24 * (TABLE_DAYS + 1))):
        rows.setdefault(datetime.fromtimestamp(int(out.time_utc[hour]), zone).date(), []).append(hour)
    found = []
    for day, hours in list(rows.items())[: TABLE_DAYS + 1]:
        if len(hours) < 6:  # what is left of today, late
            continue
        span = slice(hours[0], hours[-1] + 1)
        lowest = {place: Range(*out.coldest(span.start, span.stop, place).temperature_c, "degC", "predicted")
                  for place in ("middle", "edge")}  # fmt: skip
        air = Range(float(out.air_c[span, 0].min()), 0.0, float(out.air_c[span, 2].max()), "degC", "predicted")
        least = out.least_refuge(span.start, span.stop)
        frost = float((out.frozen_draws[:, span].max(axis=1) > ICE_SHARE).mean())
        found.append({
            "day": f"{day:%a} {day.day} {day:%b}", "date": day.isoformat(), "forecast": span.stop <= out.forecast_until,
            "air": phrases.temperature_range(air), "middle": phrases.temperature_range(lowest["middle"]),
            "edge": phrases.temperature_range(lowest["edge"]),
            "refuge": phrases.percent_range(Range(100 * least[0], 100 * least[1], 100 * least[2], "%", "predicted")),
            "frost": phrases.chance(frost), "frost_share": round(frost, 4), "provenance": "predicted",
            "middle_c": [round(value, 2) for value in out.coldest(span.start, span.stop).temperature_c],
        })  # fmt: skip
    return found[:TABLE_DAYS]


def _cut(study: Study, zone: ZoneInfo) -> dict[str, Any]:
    """The cut through the middle, in tenths of a degree: for every step the rows from the surface down.

    Of each row the cells from the left wall to the middle; those at its right mirror them.
    """
    found, out = cut(study), study.outlook
    steps = len(found.hour)
    half = (len(found.wall_m) + 1) // 2
    tenths = np.round(10 * found.bedding_c[:, :, :half]).astype(int).reshape(steps, -1, 3)
    return {
        "at": _wall(out.time_utc[found.hour], zone), "now": int(np.searchsorted(found.hour, out.now_index)),
        "rows": len(found.depth_m), "columns": len(found.wall_m), "band_c": list(out.band_c),
        "width_m": found.width_m, "height_m": found.height_m,
        "depth_m": found.depth_m.round(3).tolist(), "wall_m": found.wall_m.round(3).tolist(),
        "tenths": {name: tenths[:, :, i].tolist() for i, name in enumerate(("p5", "p50", "p95"))},
        "refuge_pct": [_rounded(100 * out.refuge[found.hour, i], 0) for i in range(3)],
        "species": study.case.species.name,
    }  # fmt: skip


def _population(census: Census, told: Reckoning, drawn: Colony, basis: str, zone: ZoneInfo) -> dict[str, Any]:
    stages = census.lives.stages
    last = len(census.time_utc) - 1
    states: dict[int, str] = {told.now: "now", min(told.now + MONTH_DAYS, last): "in a month", last: "at the end"}
    named: dict[str, str] = {"worms in all": "worms", **{f"{stage}s": stage for stage in STAGES}}
    by_stage: dict[str, NDArray[Any]] = {stage: stages[:, :, i] for i, stage in enumerate(STAGES)}
    by_stage["worms"] = stages[:, :, 1:].sum(axis=2)
    return {
        "at": _wall(census.time_utc, zone), "predicted_from": told.now + 1, "rests_on": basis,
        "stages": {name: [_rounded(row, 0) for row in points(values)] for name, values in by_stage.items()},
        "counted": [
            {
                "at": as_utc_ms(when), "day": f"{when.day} {when:%b %Y}", "shown": colony_words.animals(found),
                "points": [round(value, 1) for value in found],
            }
            for when, found in drawn.counted
        ],
        "seen": [{"at": as_utc_ms(when), "at_least": least} for when, least in drawn.seen],
        "heads": [
            f"{label}, {_day(int(census.time_utc[state]), zone)} ({'estimated' if state <= told.now else 'predicted'})"
            for state, label in states.items()
        ],
        "table": [
            [name, *(colony_words.animals(three(by_stage[key][:, state])) for state in states)]
            for name, key in named.items()
        ],
        "answers": [list(pair) for pair in colony_words.sentences(told, zone, int(census.time_utc[-1]))],
    }  # fmt: skip


# --- what is drawn -------------------------------------------------------------------------------------------


def _timeline(
    study: Study, worms: Colony, entries: Sequence[AnyEntry], now: datetime, zone: ZoneInfo
) -> Timeline:  # fmt: skip
    out = study.outlook
    at = slice(out.now_index % EVERY_H, None, EVERY_H)
    courses = Courses(
        out.time_utc[at], out.air_c[at], out.bedding_c["middle"][at], out.bedding_c["edge"][at], 100 * out.refuge[at],
        100 * out.frozen[at], 100 * out.moisture[at], out.now_index // EVERY_H + 1,
    )  # fmt: skip
    first, last = (datetime.fromtimestamp(int(out.time_utc[hour]), zone) for hour in (0, -1))
    return Timeline(
        first, max(last, now), zone.key, courses, reading_facts(study, entries), _done(entries, zone), worms
    )  # fmt: skip


def _colony(study: Study, census: Census, told: Reckoning, entries: Sequence[AnyEntry], zone: ZoneInfo) -> Colony:
    stages = census.lives.stages
    return Colony(
        census.time_utc, points(stages[:, :, 1:].sum(axis=2)).T, points(stages[:, :, STAGES.index("adult")]).T,
        told.now + 1,
        tuple((when, (found.low, found.middle, found.high)) for when, found in counted(study, entries, zone)),
        seen(entries, zone),
    )  # fmt: skip


def _charts(told: Timeline, now: datetime) -> dict[str, Any]:
    """The panels of the whole time and of what is near, for desk and phone."""
    near = told.between(now - timedelta(days=LATELY_DAYS), now + timedelta(days=AHEAD_DAYS))
    long = told.thinned(LONG_EVERY) if told.last - told.first > LONG else told
    spans = {"lately": near} if (near.first, near.last) == (told.first, told.last) else {"lately": near, "whole": long}
    return {
        name: {
            "first": as_utc_ms(span.first), "last": as_utc_ms(span.last),
            **{
                target: [
                    {"name": one.name, "svg": one.svg, "frame": list(one.frame), "whole": list(one.whole)}
                    for one in panels(span, size, f"{name}-{target}")
                ]
                for target, size in (("desk", DESK), ("phone", PHONE))
            },
        }
        for name, span in spans.items()
    }  # fmt: skip


def _unmodelled(entry: Reading, zone: ZoneInfo) -> ReadingFact:
    return ReadingFact(
        entry.id, entry.when.words, entry.when.start.astimezone(zone), entry.when.end.astimezone(zone), entry.quantity,
        entry.place, entry.depth.words if entry.depth else "", entry.words, entry.amount, None, 0.0, (),
    )  # fmt: skip


def _done(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Done, ...]:
    return tuple(
        Done(lane, entry.when.start.astimezone(zone), entry.when.end.astimezone(zone))
        for entry in entries
        for kind, lane in LANE_OF
        if isinstance(entry, kind)
    )


def _range(values: NDArray[np.float64], unit: str, provenance: Provenance) -> Range:
    low, middle, high = (float(value) for value in values)
    return Range(low, middle, high, unit, provenance)


def _wall(time_utc: NDArray[np.int64], zone: ZoneInfo) -> list[int]:
    return [as_utc_ms(datetime.fromtimestamp(int(second), zone)) for second in time_utc]


def _rounded(values: NDArray[np.float64], digits: int) -> list[float]:
    return [round(float(value), digits) + 0.0 for value in values] if digits else [round(float(v)) for v in values]


def _day(second: int, zone: ZoneInfo) -> str:
    moment = datetime.fromtimestamp(second, zone)
    return f"{moment.day} {moment:%b %Y}"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
