"""Pages of claims and trials: what people repeat, how to test it, plans frozen before the first count, and verdicts."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from hashlib import blake2b
from threading import Lock
from typing import Annotated, Any, Literal
from urllib.parse import quote
from uuid import uuid4
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import ValidationError

from underlid import answer
from underlid.journal.store import Journal
from underlid.quantity import parse_amount
from underlid.quantity.when import parse_when
from underlid.records import Bin, RegisteredPlan
from underlid.trials import telling
from underlid.trials.claims import Claim
from underlid.trials.claims import claim as find_claim
from underlid.trials.design import plan_of
from underlid.trials.plan import ARMS, TAKEN, Plan, PlanProblem, canonical, digest, plan_from
from underlid.trials.plan import as_json as plan_json
from underlid.trials.shown import margin_words
from underlid.trials.taken import due_day, last_day
from underlid.trials.verdict import Verdict
from underlid.trials.watch import Alarm
from underlid.update.drawn import charts, trialcharts
from underlid.update.drawn.drawing import svg
from underlid.web.asked import (
    BAD,
    MISSING,
    AskedAgain,
    ChangeAsked,
    ChangeForm,
    ChangeKept,
    ClaimTold,
    PlanAsked,
    PlanForm,
    PlanMade,
    PlanText,
    Registered,
    RegisterForm,
    TrialListed,
    VerdictTold,
    words_of,
)
from underlid.web.keepers import NotYours, own_among
from underlid.web.parts import JournalPart, SettingsPart, now_in, page
from underlid.web.settings import Settings

router = APIRouter()

FORETELLS = "underlid.web.trying:foretold"
KEPT_DRAWINGS = 64
_drawings: dict[str, str] = {}
_drawing = Lock()


class UnknownPlan(ValueError):
    """A plan that nobody asked for, or that is no longer remembered."""


# --- claims -------------------------------------------------------------------------------------------------


@router.get("/claims", include_in_schema=False)
def claims_page(request: Request, journal: JournalPart) -> Response:
    """What people repeat, by topic."""
    known = answer.known_claims(journal)
    topics: dict[str, list[Claim]] = {}
    for one in known.values():
        topics.setdefault(one.about, []).append(one)
    return page(request, "claims.html", topics=topics, many=len(known))


@router.get("/claims/{name}", include_in_schema=False)
def claim_page(request: Request, journal: JournalPart, name: str) -> Response:
    """One claim: what is published, and how to test it."""
    return page(request, "claim.html", claim=find_claim(name, answer.known_claims(journal)))


@router.get("/api/claims", summary="What people repeat about keeping worms", tags=["trials"])
def list_claims(journal: JournalPart) -> list[ClaimTold]:
    """Every claim, ours and the journal's own, with what is published of it and how to test it."""
    return [ClaimTold.of(one) for one in answer.known_claims(journal).values()]


@router.get("/api/claims/{name}", summary="One claim", tags=["trials"], responses=MISSING)
def one_claim(journal: JournalPart, name: str) -> ClaimTold:
    """The claim of that name or sentence."""
    return ClaimTold.of(find_claim(name, answer.known_claims(journal)))


# --- planning -----------------------------------------------------------------------------------------------


@router.get("/trials/new", include_in_schema=False)
def new_trial(
    request: Request, journal: JournalPart, settings: SettingsPart, claim: Annotated[str, Query(max_length=200)] = ""
) -> Response:
    """The plan of a trial, to be filled in."""
    return _wizard(request, journal, settings, PlanForm.model_validate({"claim": claim}))


@router.post("/trials/new", include_in_schema=False)
def tell_plan(
    request: Request, journal: JournalPart, settings: SettingsPart, given: Annotated[PlanForm, Form()]
) -> Response:
    """First post: what can it tell? Whatever is wrong with it is said above the form, which keeps what was typed."""
    try:
        job, _ = _begin(request, journal, settings, given.asked())
    except ValidationError as error:
        return _wizard(request, journal, settings, given, words_of(error))
    except ValueError as error:
        if not type(error).__module__.startswith("underlid."):
            raise
        return _wizard(request, journal, settings, given, str(error))
    return RedirectResponse(f"/trials/new/{job}", 303)


@router.get("/trials/new/{job}", include_in_schema=False)
def told_plan(request: Request, journal: JournalPart, job: str) -> Response:
    """The plan while it is simulated, and what it can tell when that is done."""
    found = request.app.state.worker.job(job)
    if found is None or found.kind != FORETELLS:
        raise UnknownPlan("This plan is no longer remembered; make it anew from its claim.")
    made = None if found.result is None else plan_from(str(found.result["plan"]))
    return page(
        request, "plan.html", step="told", job=job, found=found, plan=made,
        said=[] if found.result is None else found.result["said"],
        claim=None if made is None else answer.known_claims(journal).get(made.claim), text=made and canonical(made),
        arms=ARMS, margin=made and margin_words(made), expected=made and telling.expected(made),
        missing=() if made is None else _missing(journal, made), sha256=made and digest(made),
        wrong=found.error or "",
    )  # fmt: skip


@router.post("/trials", include_in_schema=False)
def register_page(
    request: Request, journal: JournalPart, settings: SettingsPart, given: Annotated[RegisterForm, Form()]
) -> Response:
    """Second post: freeze it."""
    kept, _ = _register(request, journal, settings, given.plan)
    return RedirectResponse(f"/trials/{quote(kept.name)}?registered=1", 303)


@router.post("/api/plans", summary="Plan a trial", status_code=202, tags=["trials"], responses={**BAD, **MISSING})
def make_plan(request: Request, journal: JournalPart, settings: SettingsPart, asked: PlanAsked) -> PlanMade:
    """Draw the arms by lot and begin to simulate whole trials; `/api/jobs/{job}` tells what the plan can tell."""
    job, plan = _begin(request, journal, settings, asked)
    return PlanMade(job=job, plan=plan_json(plan))


@router.post("/api/trials", summary="Register a plan", status_code=201, tags=["trials"], responses=BAD)
def register_plan(request: Request, journal: JournalPart, settings: SettingsPart, asked: PlanText) -> Registered:
    """Freeze a plan under its hash, before the first count; the same text again is harmless."""
    kept, remarks = _register(request, journal, settings, asked.plan)
    return Registered(name=kept.name, sha256=kept.sha256, registered_at=kept.registered_at, remarks=list(remarks))


# --- trials -------------------------------------------------------------------------------------------------


@router.get("/trials", include_in_schema=False)
def trials_page(request: Request, journal: JournalPart, settings: SettingsPart) -> Response:
    """Every registered trial with its verdict so far."""
    return page(request, "trials.html", trials=_listed(journal, settings))


@router.get("/trials/{name:path}", include_in_schema=False)
def trial_page(
    request: Request, journal: JournalPart, settings: SettingsPart, name: str, registered: bool = False
) -> Response:
    """The verdict on one trial, and all that it rests on."""
    told, alarms = _judged(journal, settings, name)
    looked = told.decided_by
    return page(
        request, "trial.html", told=told, plan=told.plan, claim=answer.known_claims(journal).get(told.plan.claim),
        sentence=telling.sentence(told), sha256=digest(told.plan), rows=telling.rows(told), looks=telling.looks(told),
        margin=margin_words(told.plan), settles=telling.settles(told), rivals=telling.rivals(told),
        expected=telling.expected(told.plan), alarms=alarms, registered=registered, key=uuid4().hex,
        effect=trialcharts.has_effect(told), arms=ARMS, ahead=_ahead(told.plan, settings.now()),
        bins=looked is not None and any(math.isfinite(one.low) for one in looked.values),
        missing=_missing(journal, told.plan),
    )  # fmt: skip


@router.get("/drawings/{which}-{size}/{name:path}", include_in_schema=False)
def drawing(
    journal: JournalPart, settings: SettingsPart, which: Literal["effect", "bins"], size: Literal["desk", "phone"],
    name: str,
) -> Response:  # fmt: skip
    """One chart of a trial as a picture."""
    told, _ = _judged(journal, settings, name)
    chart = trialcharts.effect_chart if which == "effect" else trialcharts.bins_chart
    shown = trialcharts.has_effect(told) if which == "effect" else told.decided_by is not None
    if not shown:
        raise AskedAgain(f"Trial “{name}” has nothing to draw yet.")
    key = blake2b(repr((which, size, told.plan, told.looks, told.word, told.caps)).encode()).hexdigest()
    with _drawing:
        if key not in _drawings:
            drawn = svg(chart(told, charts.DESK if size == "desk" else charts.PHONE), which, telling.sentence(told))
            _drawings[key] = drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
            while len(_drawings) > KEPT_DRAWINGS:
                del _drawings[next(iter(_drawings))]
        return Response(_drawings[key], media_type="image/svg+xml", headers={"Cache-Control": "private, no-cache"})


@router.post("/trials/{name:path}/changes", include_in_schema=False)
def change_page(
    request: Request, journal: JournalPart, settings: SettingsPart, name: str, given: Annotated[ChangeForm, Form()]
) -> Response:
    """Record a change from the form, and show it beside the verdict."""
    _refuse_others(request, journal, name, given.bin)
    answer.change_trial(journal, name, given.words, settings.now(), given.bin or None, str(given.key))
    return RedirectResponse(f"/trials/{quote(name)}#changes", 303)


@router.get("/api/trials", summary="Registered trials", tags=["trials"])
def list_trials(journal: JournalPart, settings: SettingsPart) -> list[TrialListed]:
    """Every registered trial with its verdict so far."""
    return [TrialListed(**one) for one in _listed(journal, settings)]


@router.get(
    "/api/trials/{name:path}/verdict", summary="The verdict on a trial", tags=["trials"], responses={**MISSING, **BAD}
)
def verdict_of(journal: JournalPart, settings: SettingsPart, name: str) -> VerdictTold:
    """Whether it holds within the margin, fails, or cannot be told yet, with what would settle it."""
    return VerdictTold.model_validate(answer.verdict_json(*_judged(journal, settings, name)))


@router.post(
    "/api/trials/{name:path}/changes", summary="Record a change", status_code=201, tags=["trials"],
    responses={**MISSING, **BAD},
)  # fmt: skip
def change_trial(
    request: Request, journal: JournalPart, settings: SettingsPart, name: str, asked: ChangeAsked
) -> ChangeKept:
    """What became different in a registered trial; it stays visible beside the verdict."""
    _refuse_others(request, journal, name, asked.bin or "")
    kept = answer.change_trial(journal, name, asked.words, settings.now(), asked.bin, str(asked.key))
    return ChangeKept(key=kept.id, plan=kept.plan, what=kept.what, bin=kept.bin, words=kept.words)


def foretold(
    settings: Settings, progress: Callable[[float], None], *, text: str, like: str, at: str, feed: str
) -> dict[str, object]:
    """What a plan can tell, by whole trials of it simulated in the process beside the server."""
    with Journal.open(settings.journal) as journal:
        return answer.foretell(journal, text, like, at, feed, progress)


# --- inside -------------------------------------------------------------------------------------------------


def _begin(request: Request, journal: Journal, settings: Settings, asked: PlanAsked) -> tuple[str, Plan]:
    """A plan of what was asked, and the job that simulates it."""
    claim = find_claim(asked.claim, answer.known_claims(journal))
    if asked.name.casefold() == "new" or (asked.name and not asked.name.strip(".")):
        raise answer.TrialProblem(f"“{asked.name}” is the address of another page; give the trial another name.")
    record = _like(journal, asked)
    moment, tz = now_in(settings, record), ZoneInfo(record.timezone)
    day = parse_when(asked.starts, now=moment, tz=tz, allow_future=True).start if asked.starts else moment
    seed = int(settings.now().timestamp()) if asked.seed is None else asked.seed
    warm, food = parse_amount(asked.at, expect="degC"), parse_amount(asked.feed, expect="kg")
    try:
        plan = plan_of(
            claim, asked.name or claim.name, asked.bins, day.date().isoformat(), asked.founders, seed,
            outcome=asked.outcome, margin=asked.margin, because=asked.because or None, looks=asked.looks,
            alone=asked.alone, same_sort=not asked.unlike, blind=asked.blind,
        )  # fmt: skip
        answer.trial_scene(plan, record, warm, food)  # so that what is wrong is said at once, and not by the worker
    except (PlanProblem, answer.TrialProblem) as error:
        raise answer.TrialProblem(_as_fields(str(error))) from None
    worker = request.app.state.worker
    return worker.ask(FORETELLS, text=canonical(plan), like=record.name, at=asked.at, feed=asked.feed), plan


def _register(
    request: Request, journal: Journal, settings: Settings, text: str
) -> tuple[RegisteredPlan, tuple[str, ...]]:
    """Freeze a plan, whose bins must all be the asker's if they stand already."""
    plan = plan_from(text)
    missing = _missing(journal, plan)
    standing = [name for name in plan.arms if name not in missing]
    own = own_among(request, journal, standing)
    if others := [f"“{name}”" for name in standing if name not in own]:
        raise NotYours(f"Not yours: {', '.join(others)}. A steward registers a trial of the bins of several keepers.")
    return answer.register(journal, plan, settings.now())


def _refuse_others(request: Request, journal: Journal, name: str, dropped: str) -> None:
    """Raise NotYours unless who asks keeps the bin that is dropped, or any of the trial's if none is that stands."""
    plan = plan_from(journal.plan(name).text)
    one = bool(dropped) and dropped not in _missing(journal, plan)
    if own_among(request, journal, [dropped] if one else plan.arms):
        return
    if one:
        raise NotYours(f"“{dropped}” is not yours. Only its keeper or a steward says that it no longer counts.")
    raise NotYours(f"No bin of “{name}” is yours. Their keepers or a steward record what changed in it.")


def _like(journal: Journal, asked: PlanAsked) -> Bin:
    """The bin whose size and bedding the trial's bins are taken to have."""
    standing = {record.name: record for record in journal.bins()}
    if asked.like:
        return journal.bin(asked.like)
    for name in (*asked.bins, *standing):
        if name in standing:
            return standing[name]
    raise answer.TrialProblem("The journal holds no bin yet, so nothing is known of their size: start one, then plan.")


def _wizard(request: Request, journal: Journal, settings: Settings, given: PlanForm, wrong: str = "") -> Response:
    known = answer.known_claims(journal)
    try:
        chosen = find_claim(given.claim, known) if given.claim else None
    except ValueError as error:
        chosen, wrong = None, wrong or str(error)
    return page(
        request, "plan.html", status=422 if wrong else 200, step="asked", claim=chosen, given=given, wrong=wrong,
        claims=[one for one in known.values() if one.test], bins=journal.bins(), outcomes=TAKEN,
        today=settings.now().date().isoformat(),
    )  # fmt: skip


def _as_fields(sentence: str) -> str:
    """The sentence with the names of a command's options as those of the form's fields."""
    for option, field in {
        "--because": "“Why that much”", "--outcome": "“What is compared”", "--margin": "“Smallest effect”",
        "--at": "“Bedding temperature”", "--feed": "“Food a week”",
    }.items():  # fmt: skip
        sentence = sentence.replace(f"with {option}", f"under {field}").replace(option, field)
    return sentence


def _judged(journal: Journal, settings: Settings, name: str) -> tuple[Verdict, tuple[Alarm, ...]]:
    zones = {record.name: record.timezone for record in journal.bins()}
    arms = plan_from(journal.plan(name).text).arms
    zone = next((zones[each] for each in arms if each in zones), "UTC")
    return answer.trial_of(journal, name, settings.now().astimezone(ZoneInfo(zone)))


def _listed(journal: Journal, settings: Settings) -> list[dict[str, Any]]:
    found = []
    for kept in journal.plans():
        told, alarms = _judged(journal, settings, kept.name)
        ahead = _ahead(told.plan, settings.now())
        found.append({
            "name": kept.name, "statement": told.plan.statement, "registered_at": kept.registered_at,
            "verdict": told.word, "sentence": telling.sentence(told), "alarms": len(alarms),
            "next_look": ahead[0]["due"] if ahead else None,
        })  # fmt: skip
    return found


def _ahead(plan: Plan, now: datetime) -> list[Mapping[str, Any]]:
    """The looks still to come, each with the days on which it may be taken."""
    return [
        {"day": plan.looks[look], "due": due_day(plan, look), "first": _first(plan, look), "last": last_day(plan, look)}
        for look in range(len(plan.looks))
        if last_day(plan, look) >= now.date()
    ]


def _first(plan: Plan, look: int) -> Any:
    return due_day(plan, look) - timedelta(days=(last_day(plan, look) - due_day(plan, look)).days)


def _missing(journal: Journal, plan: Plan) -> tuple[str, ...]:
    standing = {record.name for record in journal.bins()}
    return tuple(name for name in plan.arms if name not in standing)
