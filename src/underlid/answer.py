"""From a journal and a weather file to a study of one bin: the one path that every door takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

from underlid.fit.census import Census, census, census_key, particles_for
from underlid.fit.colony import Prior, prior
from underlid.fit.posterior import Posterior
from underlid.fit.study import FORECAST_DAYS, Case, Study, fit_case, lay_out, study
from underlid.fit.tally import Tally, tally
from underlid.journal.memory import recall, remember
from underlid.journal.store import Journal
from underlid.trials.plan import plan_from
from underlid.trials.stopping import StopRule
from underlid.trials.verdict import Verdict, verdict
from underlid.trials.watch import Alarm, alarms, rules_for
from underlid.weather.files import read_weather
from underlid.weather.series import Weather, fill_gaps

SEED = 1


def weather_from(
    path: Path, timezone: str, fill_gaps_h: int = 0, place: tuple[float | None, float | None] = (None, None)
) -> Weather:
    """Weather from a file; times without a zone are taken in `timezone`; gaps are filled only if asked.

    `place` is latitude and longitude, for files that do not say where they are from.
    """
    made = path.stat() if path.is_file() else None
    return _read_once(path, made and (made.st_mtime_ns, made.st_size), timezone, fill_gaps_h, place)


@lru_cache(maxsize=8)
def _read_once(
    path: Path, made: tuple[int, int] | None, timezone: str, fill_gaps_h: int, place: tuple[float | None, float | None]
) -> Weather:
    """The same file is read once as long as it has not changed (`made`)."""
    latitude, longitude = place
    weather = read_weather(path, timezone=timezone, latitude=latitude, longitude=longitude)
    return fill_gaps(weather, max_hours=fill_gaps_h) if fill_gaps_h > 0 else weather


def end_of_winter(now: datetime, latitude: float | None) -> datetime:
    """The end of the winter that `now` is in or that comes next: 30 April, south of the equator 31 October.

    Where that is less than a forecast away, the end of the forecast.
    """
    month = 11 if latitude is not None and latitude < 0 else 5
    ends = now.replace(month=month, day=1, hour=0, minute=0, second=0, microsecond=0)
    if ends <= now:
        ends = ends.replace(year=now.year + 1)
    return max(ends - timedelta(hours=1), now + timedelta(days=FORECAST_DAYS))


def case_of(
    journal: Journal,
    bin_name: str,
    weather: Weather,
    now: datetime,
    until: datetime | None = None,
    past: Sequence[Weather] = (),
) -> Case:
    """Lay out a bin of the journal; without `until`, to the end of winter if past years reach there."""
    if until is None:
        far = bool(past) or weather.typical
        until = end_of_winter(now, weather.latitude) if far else now + timedelta(days=FORECAST_DAYS)
    return lay_out(journal.bin(bin_name), journal.entries(bin_name), weather, now, until, past)


def answer(
    journal: Journal, case: Case, seed: int = SEED, progress: Callable[[float], None] = lambda done: None
) -> Study:
    """Study a case, taking the fit from the journal's memory if it was made before."""
    known = last_answer(journal, case, seed)
    if known is not None:
        return known
    posterior = fit_case(case, seed, progress)
    values = asdict(posterior)
    remember(journal.folder, case.key(seed), values.pop("draws"), values)
    return study(case, posterior)


def last_answer(journal: Journal, case: Case, seed: int = SEED) -> Study | None:
    """The study of a case if its fit is remembered; nothing is fitted."""
    kept = recall(journal.folder, case.key(seed))
    posterior = None if kept is None else _restored(*kept)
    return None if posterior is None else study(case, posterior)


def census_of(
    journal: Journal, of: Study, seed: int = SEED, progress: Callable[[float], None] = lambda done: None
) -> tuple[Prior, Tally, Census]:
    """The colony of a studied bin, taken from the journal's memory if it was fitted before."""
    thought = prior(of)
    counted = tally(of.case.entries, of.case.time_utc, thought.bedding.litres.high)
    key = census_key(thought, counted, seed)
    kept = recall(journal.folder, key)
    found = None if kept is None else Census.kept(*kept)
    if found is None:
        found = census(thought, counted, seed, particles=particles_for(thought, counted), progress=progress)
        remember(journal.folder, key, *found.to_keep())
    return thought, counted, found


def trial_of(journal: Journal, name: str, now: datetime) -> tuple[Verdict, tuple[Alarm, ...]]:
    """The verdict on a registered trial by all that is known at `now`, and the stop rules that its bins break."""
    kept = journal.plan(name)
    plan = plan_from(kept.text)
    bins = {record.name: record for record in journal.bins() if record.name in plan.arms}
    entries = {each: journal.entries(each) for each in bins}
    told = verdict(plan, kept.registered_at, bins, entries, journal.plan_changes(name), now)
    return told, tuple(alarm for each in bins for alarm in alarms(plan.stop, bins[each], entries[each], now))


def rules_of(journal: Journal, bin_name: str) -> tuple[StopRule, ...]:
    """The stop rules that are watched in a bin: those for every bin, and those of its trials."""
    return rules_for(bin_name, [plan_from(kept.text) for kept in journal.plans()])


def trials_with(journal: Journal, bin_name: str, now: datetime) -> tuple[Verdict, ...]:
    """The verdicts on all trials that a bin is in and that were registered by then."""
    names = [
        kept.name for kept in journal.plans() if kept.registered_at <= now and bin_name in plan_from(kept.text).arms
    ]
    return tuple(trial_of(journal, name, now)[0] for name in names)


def _restored(draws: dict, values: dict) -> Posterior | None:  # type: ignore[type-arg]
    try:
        return Posterior(draws, **{**values, "notes": tuple(values["notes"])})
    except (KeyError, TypeError):
        return None
