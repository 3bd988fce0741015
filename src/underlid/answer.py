"""From a journal and a weather file to a study of one bin: the one path that every door takes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from uuid import uuid4
from zoneinfo import ZoneInfo

from underlid.counting.parts import bedding_litres
from underlid.fit.census import Census, census, census_key, particles_for
from underlid.fit.colony import Prior, prior
from underlid.fit.evidence import situation
from underlid.fit.posterior import Posterior
from underlid.fit.study import FORECAST_DAYS, Case, Study, fit_case, lay_out, study
from underlid.fit.tally import Tally, tally
from underlid.journal.memory import recall, remember
from underlid.journal.store import Journal
from underlid.quantity.amount import VagueAmount, parse_amount
from underlid.records import Bin, PlanChange, RegisteredPlan
from underlid.trials import telling
from underlid.trials.claims import Claim, claims_from, every_claim
from underlid.trials.design import fed_weekly, foresee, steady_scene
from underlid.trials.plan import Plan, canonical, digest, plan_from
from underlid.trials.scene import Scene, scene_of
from underlid.trials.stopping import StopRule
from underlid.trials.verdict import Verdict, verdict
from underlid.trials.watch import Alarm, alarms, rules_for
from underlid.weather.files import read_weather
from underlid.weather.series import Weather, fill_gaps
from underlid.worms.species import species

SEED = 1


class TrialProblem(ValueError):
    """What a trial was asked with cannot be."""


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
    every = [one for each in bins for one in journal.entries(each, superseded=True)]
    told = verdict(plan, kept.registered_at, bins, entries, journal.plan_changes(name), now, every)
    return told, tuple(alarm for each in bins for alarm in alarms(plan.stop, bins[each], entries[each], now))


def known_claims(journal: Journal) -> dict[str, Claim]:
    """Our claims and those that the journal keeps; of two of a name the later holds."""
    known = dict(every_claim())
    for own in journal.own_claims():
        known |= claims_from(own.text, f"claims kept on {own.noted_at:%Y-%m-%d}")
    return known


def trial_scene(
    plan: Plan, record: Bin, bedding_c: VagueAmount, food: VagueAmount, of: Study | None = None
) -> Scene:  # fmt: skip
    """Where a planned trial is simulated: in bins like `record`, in the bedding of its study if there is one.

    bedding_c : its temperature where there is no study; food : kg a week
    """
    if not 0 <= food.low <= food.high < 100:
        raise TrialProblem(f"--feed “{food.words}” must be a mass a week with both ends, as “300 g”.")
    founders = parse_amount(str(plan.founders), expect="1")
    if of is not None:
        scene = scene_of(of, founders=founders)
        if scene.days < plan.days:
            raise TrialProblem(
                f"The weather reaches {scene.days} days from the start of {record.name}, the trial {plan.days}; give a "
                f"file that reaches {plan.days + 1} days after {record.started.words}, or a typical year."
            )
    else:
        if not -5 <= bedding_c.low <= bedding_c.high <= 45:
            raise TrialProblem(f"--at “{bedding_c.words}” must be a bedding temperature with both ends, as “12-18 C”.")
        seen, warm = situation(record), (bedding_c.low, bedding_c.high)
        litres = bedding_litres(record, seen.vessel)
        middle = (litres.low + litres.high) / 2
        scene = steady_scene(species(record.species), seen, middle, warm, plan.days + 1, founders)
    return fed_weekly(scene, (food.low + food.high) / 2)


def foretell(
    journal: Journal, text: str, like: str, at: str, feed: str, progress: Callable[[float], None] = lambda done: None
) -> dict[str, object]:
    """What a plan, given as its text, can tell in bins like `like`, as plain JSON types.

    Of the result, `plan` is the text with what is expected in it, and `said` are the sentences, the answer first.
    """
    plan = plan_from(text)
    scene = trial_scene(plan, journal.bin(like), parse_amount(at, expect="degC"), parse_amount(feed, expect="kg"))
    told = foresee(plan, scene, progress=progress)
    return {"plan": canonical(replace(plan, expected=told.expected)), "said": list(told.said)}


def register(journal: Journal, plan: Plan, now: datetime) -> tuple[RegisteredPlan, tuple[str, ...]]:
    """Freeze a plan under its hash; and what would make the trial exploratory, or leave it without a bin.

    Raises TrialProblem for a name that could not be the address of a page.
    """
    parts = plan.name.split("/")
    unseen = "\\" in plan.name or any(ord(sign) < 32 or ord(sign) == 127 for sign in plan.name)
    if unseen or {"", ".", ".."} & set(parts) or parts[0] == "new" or parts[-1] in ("changes", "verdict"):
        raise TrialProblem(f"“{plan.name}” cannot be the name of a trial, as no page could have it; choose another.")
    new = RegisteredPlan(name=plan.name, text=canonical(plan), sha256=digest(plan), registered_at=now)
    journal.register(new)
    kept = journal.plan(plan.name)
    standing = {record.name for record in journal.bins()}
    said = []
    if missing := [name for name in plan.arms if name not in standing]:
        said.append(f"Not in the journal yet: {', '.join(missing)}. Start each before the first count.")
    days = [
        kept.registered_at.astimezone(ZoneInfo(one.timezone)).date() for one in journal.bins() if one.name in plan.arms
    ]
    if plan.starts < min(days, default=kept.registered_at.date()).isoformat():
        said.append(
            f"It started on {plan.starts}: what was counted before now makes it exploratory, and decides nothing."
        )
    return kept, tuple(said)


def change_trial(
    journal: Journal, name: str, words: str, now: datetime, dropped: str | None = None, key: str | None = None
) -> PlanChange:
    """Record what became different in a registered trial, or that a bin no longer counts; `key` is its id."""
    plan = plan_from(journal.plan(name).text)
    if not words.strip():
        raise TrialProblem("Say what changed and why with --because; it will stand beside the verdict.")
    if dropped is not None and dropped not in plan.arms:
        raise TrialProblem(f"“{dropped}” is no bin of that trial; its bins are {', '.join(plan.arms)}.")
    change = PlanChange(
        id=key or uuid4().hex, plan=name, what="other" if dropped is None else "bin dropped", bin=dropped, words=words,
        noted_at=now,
    )  # fmt: skip
    journal.change_plan(change)
    return change


def verdict_json(told: Verdict, alarms: Sequence[Alarm]) -> dict[str, object]:
    """The verdict as plain JSON types; effects as ratios, or in the outcome's unit."""

    def ends(interval: tuple[float, float] | None) -> list[float | None] | None:
        if interval is None:
            return None
        plain = [math.exp(end) if told.plan.scale == "ratio" else end for end in interval]
        return [round(end, 5) if math.isfinite(end) else None for end in plain]

    return {
        "trial": told.plan.name, "sha256": digest(told.plan), "registered_at": told.registered_at.isoformat(),
        "verdict": told.word, "sentence": telling.sentence(told), "exploratory": told.exploratory,
        "provenance": "estimated", "margin": told.plan.margin, "stated": told.plan.stated,
        "looks": [
            {
                "day": told.plan.looks[look.number], "due": look.due.isoformat(), "alpha": look.alpha,
                "complete": look.complete, "verdict": look.word, "finding": look.finding,
                "interval": ends(look.narrow), "level": round(look.level, 6), "interval_95": ends(look.wide),
                "method": None if look.effect is None else look.effect.method, "cannot": look.cannot or None,
            }
            for look in told.looks
        ],
        "bins": [
            {"bin": row.bin, "arm": row.arm, "outcome": row.outcome, "day": row.day, "words": row.words}
            for row in telling.rows(told)
        ],
        "caps": list(told.caps), "settles": list(telling.settles(told)), "rivals": list(telling.rivals(told)),
        "corrected": list(told.corrected),
        "changes": [
            {"what": one.what, "bin": one.bin, "words": one.words, "noted_at": one.noted_at.isoformat()}
            for one in told.changes
        ],
        "alarms": [{"rule": one.rule.name, "bin": one.entry.bin, "sure": one.sure, "sentence": one.sentence}
                   for one in alarms],
    }  # fmt: skip


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
