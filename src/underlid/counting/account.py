"""All that a bin's records, and what the keeper says beside them, tell about how many animals live in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo
from typing import Any

import numpy as np

from underlid.bedding.vessel import Vessel
from underlid.counting import CannotTell
from underlid.counting.detection import Chance, Observed, Recovery, chances, two_observers
from underlid.counting.found import samples_of
from underlid.counting.narrowing import Narrowing, narrowing, needed
from underlid.counting.parts import Bedding, bedding_litres, shares
from underlid.counting.removal import Removed, leslie, zippin
from underlid.counting.samples import Estimate, estimate
from underlid.quantity.amount import VagueAmount
from underlid.quantity.show import show_amount, show_when
from underlid.records import AnyEntry, Bin, SampleCount, Sighting, Stage


@dataclass(frozen=True, slots=True)
class Span:
    """The entries of a span of time: samples, and sightings of the same days. `start` to `end`, both with a zone."""

    start: datetime
    end: datetime
    samples: tuple[SampleCount, ...]
    sightings: tuple[Sighting, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """What the keeper says beside the journal.

    litres : the bedding as it is today [L], None for as it was laid
    passes, effort : catches of the same bedding sorted again, and the effort of each pass where it was unequal
    observers : finds of a first and a second sorter, and those common to both
    precision : wanted standard error of the mean find, as a share of it
    """

    litres: VagueAmount | None = None
    passes: tuple[int, ...] = ()
    effort: tuple[float, ...] = ()
    recoveries: tuple[Recovery, ...] = ()
    observers: tuple[int, int, int] | None = None
    precision: float | None = None


@dataclass(frozen=True, slots=True)
class Account:
    """The answer; whatever could not be told is None and has its sentence in `refused`."""

    span: Span | None
    estimate: Estimate | None
    narrowing: Narrowing | None
    needed: float | None
    removed: Removed | None
    observed: Observed | None
    question: Question
    bedding: Bedding
    chances: Mapping[Stage, Chance]
    notes: tuple[str, ...] = ()
    refused: tuple[str, ...] = field(default=())


def span_of(
    entries: Sequence[AnyEntry], now: datetime, tz: tzinfo, since: datetime | None = None, until: datetime | None = None
) -> Span | None:
    """The samples and sightings asked about: those of the span, or of the latest day with samples; None if none."""
    known = [e for e in entries if isinstance(e, SampleCount | Sighting) and e.when.start <= now]
    if since is None and until is None:
        days = [e.when.start.astimezone(tz) for e in known if isinstance(e, SampleCount)]
        if not days:
            return None
        since = max(days).replace(hour=0, minute=0, second=0, microsecond=0)
        until = (since + timedelta(days=1)).replace(hour=0)
        samples = [e for e in known if isinstance(e, SampleCount) and since <= e.when.start < until]
    else:
        since = since or min((e.when.start for e in known), default=now)
        until = until or now
        samples = [e for e in known if isinstance(e, SampleCount) and _overlaps(e, since, until)]
    seen = [e for e in known if isinstance(e, Sighting) and _overlaps(e, since, until)]
    return Span(since, until, tuple(samples), tuple(seen)) if samples or seen else None


def seen_at_least(sightings: Sequence[Sighting]) -> dict[str, int]:
    """One-sided evidence: stage, or "worm" where it is not noted -> the most that were seen at once."""
    least: dict[str, int] = {}
    for sighting in sightings:
        low = sighting.amount.low
        if sighting.amount.kind != "not noted" and math.isfinite(low) and low > 0:
            who = "worm" if sighting.stage == "not noted" else sighting.stage
            least[who] = max(least.get(who, 0), math.ceil(low))
    return least


def account(bin: Bin, vessel: Vessel, span: Span | None, question: Question, seed: int) -> Account:
    """Everything that can be told, and a sentence for what cannot.

    Raises CannotTell where nothing can be told at all.
    """
    refused: list[str] = []
    samples, notes = samples_of(span.samples if span else ())
    litres = question.litres or bedding_litres(bin, vessel)
    bedding = Bedding(litres, shares(vessel, {sample.place for sample in samples}))
    known = chances(question.recoveries)
    rng = np.random.default_rng(seed)
    seen = seen_at_least(span.sightings if span else ())
    found: Estimate | None = None
    narrower, many = None, None
    if samples:
        found = _or_refuse(lambda: estimate(samples, bedding, known, rng, seen=seen), refused)
        if found is not None:
            narrower = narrowing(samples, bedding, known, found, np.random.default_rng([seed, 1]))
            if question.precision is not None:
                many = needed(found, narrower.volume, question.precision)
    removed = None
    if question.passes:
        if question.effort:
            removed = _or_refuse(lambda: leslie(question.passes, question.effort), refused)
        else:
            removed = _or_refuse(lambda: zippin(question.passes), refused)
    observed = None
    if question.observers is not None:
        first, second, both = question.observers
        observed = _or_refuse(lambda: two_observers(first, second, both), refused)
    told = (found, removed, observed)
    if all(each is None for each in told) and not question.recoveries:
        raise CannotTell(" ".join([*notes, *refused]) if notes or refused else _nothing(bin.name, span))
    return Account(
        span, found, narrower, many, removed, observed, question, bedding, known, (*notes, *_gaps(span)), tuple(refused)
    )


# --- inside ----------------------------------------------------------------------------------------------


def _or_refuse(tell: Callable[[], Any], refused: list[str]) -> Any:
    try:
        return tell()
    except CannotTell as error:
        refused.append(str(error))
        return None


def _overlaps(entry: SampleCount | Sighting, since: datetime, until: datetime) -> bool:
    starts, ends = entry.when.start, entry.when.end  # a day ends where the next begins
    return starts < until and (ends > since or starts >= since)


def _nothing(bin: str, span: Span | None) -> str:
    seen = [s for s in span.sightings if seen_at_least([s])] if span else []
    only = "".join(
        f" “{s.words}” ({show_when(s.when)}) says that there were {show_amount(_least(s))} at least, and no more than "
        "that: a sighting is no count."
        for s in seen[:3]
    )
    return (
        f"No sample of bin {bin} is noted for that time, and a total needs animals counted out of a known "
        f"volume.{only} "
        f"Log one, as “sample 0.5 L middle: 3 adults, 5 juveniles, 2 cocoons”."
    )


def _least(sighting: Sighting) -> VagueAmount:
    least = float(math.ceil(sighting.amount.low))
    return replace(sighting.amount, low=least, high=least, kind="exact")


def _gaps(span: Span | None) -> list[str]:
    """What the samples' own words leave open."""
    if span is None or not span.samples:
        return []
    said = []
    counted = [dict(entry.counts) for entry in span.samples]
    for stage in dict.fromkeys(stage for counts in counted for stage in counts):
        times = sum(stage in counts for counts in counted)
        if times < len(counted):
            said.append(
                f"{stage.capitalize()}s are counted in {times} of {len(counted)} samples. Where they are not written "
                f"they are taken as not looked for, and not as none; if you looked, correct it with “0 {stage}s”."
            )
    days = (max(e.when.end for e in span.samples) - min(e.when.start for e in span.samples)).days
    if days > 14:
        said.append(
            f"The samples lie up to {days} days apart and are taken as one count: births and deaths are ignored."
        )
    return said
