"""From a study to the facts of one month: no sentence and no drawing here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.fit.balance_sheet import Sheet
from underlid.fit.cut import Cut
from underlid.fit.posterior import PARAMETERS
from underlid.fit.study import METHOD, Case, Study
from underlid.quantity.points import PERCENT, points, three
from underlid.records import AnyEntry, Reading
from underlid.trials import telling
from underlid.trials.verdict import Verdict
from underlid.update import lifestory, noted
from underlid.update.facts import (
    LATER,
    Ahead,
    Array,
    ColdestHour,
    Days,
    Hours,
    Parameter,
    Provenance,
    Range,
    RefugeFact,
    Story,
    TimeRange,
    TrialFact,
    Truth,
    TruthCheck,
    Water,
)
from underlid.update.lifefacts import Own, Step
from underlid.update.lifestory import Colony
from underlid.weather.series import HOUR_S

__all__ = ["Story", "Truth", "UpdateError", "tell"]

SOON_H = 7 * 24  # "the next days"
NEAR_H = 3  # a reading this near the coldest hour counts as taken then
PRIOR_DRAWS = 4096
PARAMETER_UNITS = {
    "loss": "1", "lid": "1", "base": "W/m2K", "moisture": "%", "heat": "1", "drying": "1", "bias": "K", "lag": "%",
    "scatter": "K",
}  # fmt: skip


class UpdateError(ValueError):
    """The month cannot be told from this study; the sentence says why and what would mend it."""


def tell(
    study: Study,
    month: date | tuple[int, int],
    *,
    own: Own | None = None,
    truth: Truth | None = None,
    superseded: Sequence[AnyEntry] = (),
    trials: Sequence[Verdict] = (),
    colony: Colony | None = None,
    sheet: Sheet | None = None,
    cut: Cut | None = None,
    due: Sequence[Step] = (),
) -> Story:
    """The facts of one month of a study's bin.

    month : any date within it, or (year, month)
    superseded : entries that were corrected, to be shown beside what replaced them
    trials : those that the bin is in, as they stand now
    colony : what was fitted of its animals; sheet : what has become of all that was laid and fed; cut : the bedding cut
    through, of the same study; due : what the keeper's plans ask for next
    Raises UpdateError if the study holds no hours of the month, or the truth does not fit its grid.
    """
    case = study.case
    zone = ZoneInfo(case.bin.timezone)
    first_day = date(*month, 1) if isinstance(month, tuple) else month.replace(day=1)
    start, end = span_of_month(first_day, zone)
    first, after = hours_of_month(case, first_day)
    entries = noted.standing((*superseded, *case.entries))
    in_month = noted.in_month(entries, start, end)
    told = (first, min(after, case.now_index + 1)) if first <= case.now_index else (first, after)
    ahead = case.now_index + 1
    soon_end = min(ahead + SOON_H, len(case.time_utc))
    afterwards = case.now - end > LATER  # what comes next is then no part of this month
    return Story(
        bin=case.bin,
        month=first_day,
        month_ends=end,
        timezone=case.bin.timezone,
        now=case.now.astimezone(zone),
        told_from=_local(case.time_utc[told[0]], zone),
        told_to=_local(case.time_utc[told[1] - 1], zone),
        coldest=_coldest(study, *told, entries, zone),
        refuge=_refuge(study, *told, zone),
        water=_water(study, told[1] - 1, zone, outlook=not afterwards),
        soon=None if afterwards else _ahead(study, ahead, soon_end, entries, zone),
        rest=None if afterwards else _ahead(study, soon_end, len(case.time_utc), entries, zone),
        hours=_hours(study, first, after, truth),
        days=None if afterwards else _days(study, ahead, zone),
        readings=noted.reading_facts(study, in_month),
        feedings=noted.feedings(in_month, zone),
        sightings=noted.sightings(in_month, zone),
        samples=noted.samples(in_month, zone),
        notes=noted.notes(in_month, zone),
        corrections=noted.corrections(in_month, superseded or case.entries, zone),
        trials=tuple(
            TrialFact(one.plan.name, one.plan.arms[case.bin.name], one.plan.statement, telling.sentence(one))
            for one in trials
        ),
        parameters=parameters_of(study),
        readings_used=study.posterior.readings,
        draws=len(study.posterior.draws["loss"]),
        trusted=study.posterior.trusted,
        misfit=study.posterior.misfit,
        unknown=(*_edges(study, start, end, first, after, zone), *dict.fromkeys((*study.careful, *study.notes))),
        weather_source=case.weather_source,
        typical=case.typical,
        past_years=case.members_c.shape[0],
        method=METHOD,
        seed=study.posterior.seed,
        truth=None if truth is None else _check(study, truth, (first, after), told, zone),
        animals=None if colony is None else lifestory.animals(study, colony, told, entries, zone),
        eaten=lifestory.eaten(study, in_month, colony, sheet, zone, late=afterwards),
        acid=lifestory.acid(study, in_month, end),
        steps=() if afterwards else lifestory.steps(study, due, zone),
        own=own or Own(),
        cut=cut,
    )


def hours_of_month(case: Case, month: date) -> tuple[int, int]:
    """The hours of a case that are of a month, first and after. Raises UpdateError if they are less than a day."""
    zone = ZoneInfo(case.bin.timezone)
    start, end = span_of_month(month, zone)
    first, after = (int(np.searchsorted(case.time_utc, moment.timestamp())) for moment in (start, end))
    if after - first < 24:
        raise UpdateError(
            f"{month:%B %Y} cannot be told: what is worked out for {case.bin.name!r} runs from "
            f"{_local(case.time_utc[0], zone):%Y-%m-%d} to {_local(case.time_utc[-1], zone):%Y-%m-%d}. "
            "Choose a month within it, or give weather that covers this one."
        )
    return first, after


def span_of_month(month: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The first moment of the month that a day is in, and that of the next month."""
    first = month.replace(day=1)
    return _midnight(first, zone), _midnight((first + timedelta(days=32)).replace(day=1), zone)


def _coldest(study: Study, first: int, after: int, entries: Sequence[AnyEntry], zone: ZoneInfo) -> ColdestHour:
    found, hours = study.outlook.coldest(first, after), study.outlook.bedding_c["middle"]
    at = first + int(hours[first:after, 1].argmin())
    low, middle, high = (float(side) for side in hours[at])
    moment, near = _local(study.case.time_utc[at], zone), timedelta(hours=NEAR_H)
    provenance = _provenance(study, first)
    return ColdestHour(
        temperature=Range(*found.temperature_c, "degC", provenance),
        when=_times(found.time_utc, zone),
        estimate_at=moment,
        estimate=Range(low, middle, high, "degC", provenance),
        read_near=any(
            isinstance(entry, Reading)
            and entry.quantity == "temperature"
            and entry.when.start <= moment + near
            and entry.when.end >= moment - near
            for entry in entries
        ),
    )


def _refuge(study: Study, first: int, after: int, zone: ZoneInfo) -> RefugeFact:
    case, result = study.case, study.outlook
    litres = case.situation.vessel.bedding_m3 * 1000
    spans = result.refuge_draws[:, first:after, 0]
    widest = _range_of(100 * result.refuge_draws[:, first:after, 1].min(axis=1), "%", _provenance(study, first))
    share = _range_of(100 * spans.min(axis=1), "%", _provenance(study, first))
    when = case.time_utc[first + spans.argmin(axis=1)]
    ice = result.frozen[first + int(result.frozen[first:after, 2].argmax())] * 100
    kind = case.species
    without_h, degree_hours = result.without_refuge(first, after)
    return RefugeFact(
        share=share,
        litres=_part(share, litres),
        bedding_litres=litres,
        when=_times(np.percentile(when, PERCENT, method="nearest"), zone),
        ice=Range(float(ice[0]), float(ice[1]), float(ice[2]), "%", share.provenance),
        species=kind.name,
        common_name=kind.common_name,
        band_c=kind.band_c,
        widest=_part(widest, litres),
        widest_band_c=kind.widest_band_c,
        band_sources=(kind.tolerated_low_c.source, kind.tolerated_high_c.source),
        without_h=Range(*without_h, "h", share.provenance),
        degree_hours=Range(*degree_hours, "K h", share.provenance),
    )


def _water(study: Study, last: int, zone: ZoneInfo, *, outlook: bool) -> Water:
    """The moisture at hour `last`, and the chances ahead of now if they are to be told."""
    result, time_utc = study.outlook, study.case.time_utc
    ahead, tolerated = study.case.now_index + 1, study.case.species.moisture
    dry = wet = None
    if outlook and ahead < len(time_utc):
        dry, wet = result.chance_of_moisture(ahead, len(time_utc), *tolerated)
    return Water(
        now=_range_of(100 * result.moisture_draws[:, last], "%", _provenance(study, last)),
        tolerated_pct=(100 * tolerated[0], 100 * tolerated[1]),
        too_dry=dry,
        too_wet=wet,
        until=_local(time_utc[-1], zone).date(),
    )


def _ahead(study: Study, first: int, after: int, entries: Sequence[AnyEntry], zone: ZoneInfo) -> Ahead | None:
    if after - first < 24:
        return None
    time_utc = study.case.time_utc
    lowest = study.outlook.draws_c["middle"][:, first:after].min(axis=1)
    return Ahead(
        first=_local(time_utc[first], zone).date(),
        last=_local(time_utc[after - 1], zone).date(),
        coldest=_coldest(study, first, after, entries, zone),
        below_band=float(np.mean(lowest < study.case.species.band_c[0])),
        forecast=study.case.forecast_until > first,
    )


def _hours(study: Study, first: int, after: int, truth: Truth | None) -> Hours:
    """The month, and the next days where it ends near now."""
    case, result = study.case, study.outlook
    ahead = case.now_index + 1
    if first <= ahead <= after + SOON_H:
        after = min(max(after, ahead + SOON_H), len(case.time_utc))
    span = slice(first, after)
    return Hours(
        time_utc=case.time_utc[span],
        air_c=result.air_c[span],
        middle_c=result.bedding_c["middle"][span],
        refuge_pct=100 * result.refuge[span],
        ice_pct=100 * result.frozen[span],
        predicted_from=int(np.clip(ahead - first, 0, after - first)),
        truth_c=None if truth is None else np.asarray(truth.middle_c, float)[span],
    )


def _days(study: Study, first: int, zone: ZoneInfo) -> Days | None:
    """Lowest hour of each whole local day to come."""
    case = study.case
    stamps = [_local(second, zone).date() for second in case.time_utc[first:]]
    rows: dict[date, list[int]] = {}
    for offset, day in enumerate(stamps):
        rows.setdefault(day, []).append(first + offset)
    whole = {day: slice(at[0], at[-1] + 1) for day, at in rows.items() if len(at) >= 23}  # a day in spring has 23 hours
    if len(whole) < 2:
        return None
    middle = study.outlook.draws_c["middle"]
    air = None
    if case.members_c.shape[0]:
        air = _lowest(case.members_c, whole.values())
    return Days(
        days=tuple(whole),
        middle_c=_lowest(middle, whole.values()),
        air_c=air,
        forecast_days=sum(span.stop <= case.forecast_until for span in whole.values()),
    )


def _lowest(values: Array, spans: Iterable[slice]) -> Array:
    return np.array([points(values[:, span].min(axis=1)) for span in spans])


def parameters_of(study: Study) -> tuple[Parameter, ...]:
    """Each parameter's range before and after the readings; the prior is sampled with a fixed seed."""
    z = np.random.default_rng(0).standard_normal((PRIOR_DRAWS, len(PARAMETERS)))
    prior = study.case.prior.parameters(z)
    found = []
    for name, unit in PARAMETER_UNITS.items():
        scale = 100.0 if unit == "%" else 1.0
        before, after = (_range_of(scale * draws[name], unit, "estimated") for draws in (prior, study.posterior.draws))
        found.append(Parameter(name, before, after))
    return tuple(found)


def _check(study: Study, truth: Truth, month: tuple[int, int], told: tuple[int, int], zone: ZoneInfo) -> TruthCheck:
    time_utc = study.case.time_utc
    held = {}
    for place, bedding in study.outlook.bedding_c.items():
        values = np.asarray(getattr(truth, f"{place}_c"), float)
        if values.shape != time_utc.shape:
            raise UpdateError(
                f"The invented truth of the {place} has {values.size} hours, but the study has {len(time_utc)}; "
                "give one value for each hour of the case's time_utc."
            )
        inside = (bedding[:, 0] <= values) & (values <= bedding[:, 2])
        held[place] = float(100 * inside[slice(*month)].mean())
    middle = np.asarray(truth.middle_c, float)[slice(*told)]
    at = int(middle.argmin())
    return TruthCheck(truth.label, month[1] - month[0], held, float(middle[at]), _local(time_utc[told[0] + at], zone))


def _edges(study: Study, start: datetime, end: datetime, first: int, after: int, zone: ZoneInfo) -> tuple[str, ...]:
    """Sentences on days of the month that the study does not hold, and on an outlook that stops short."""
    time_utc, found = study.case.time_utc, []
    if time_utc[first] - start.timestamp() >= 24 * HOUR_S:
        found.append(f"The account begins on {_day(time_utc[first], zone)}: no earlier hours were worked out.")
    if end.timestamp() - time_utc[after - 1] > 24 * HOUR_S:
        found.append(f"The account ends on {_day(time_utc[after - 1], zone)}, before the month does.")
    return tuple(found)


def _day(second: float, zone: ZoneInfo) -> str:
    moment = _local(second, zone)
    return f"{moment.day} {moment:%B %Y}"


def _range_of(values: Array, unit: str, provenance: Provenance) -> Range:
    return Range(*three(values), unit, provenance)


def _part(share: Range, litres: float) -> Range:
    """A share of the bedding [%] in litres."""
    low, middle, high = (litres * part / 100 for part in (share.low, share.middle, share.high))
    return Range(low, middle, high, "L", share.provenance).of_bedding(litres)


def _provenance(study: Study, first: int) -> Provenance:
    return "estimated" if first <= study.case.now_index else "predicted"


def _times(seconds: Sequence[float] | NDArray[np.int64], zone: ZoneInfo) -> TimeRange:
    early, usual, late = (_local(second, zone) for second in seconds)
    return TimeRange(early, usual, late)


def _local(second: float, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(int(second), zone)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone)
