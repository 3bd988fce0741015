"""What the keeper noted in a month, told beside what the model expects."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from underlid.fit.evidence import hours_of
from underlid.fit.leftout import Mixture
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.study import Study
from underlid.quantity.amount import VagueAmount
from underlid.quantity.points import PERCENT
from underlid.quantity.show import show_amount
from underlid.records import AnyEntry, Claim, Feeding, Note, Photo, Reading, SampleCount, Sighting
from underlid.update.facts import Noted, Provenance, Range, ReadingFact


def in_month(entries: Sequence[AnyEntry], start: datetime, end: datetime) -> tuple[AnyEntry, ...]:
    """The entries that may belong between two moments, earliest first."""
    mine = [entry for entry in entries if entry.when.start < end and entry.when.end >= start]
    return tuple(sorted(mine, key=lambda entry: (entry.when.start, entry.when.end, entry.id)))


def standing(entries: Sequence[AnyEntry]) -> tuple[AnyEntry, ...]:
    """The entries that no other entry corrects."""
    replaced = {entry.corrects for entry in entries if entry.corrects}
    return tuple(entry for entry in entries if entry.id not in replaced)


def reading_facts(study: Study, entries: Sequence[AnyEntry]) -> tuple[ReadingFact, ...]:
    """The readings among the entries, each beside the model's range for it."""
    zone = ZoneInfo(study.case.bin.timezone)
    facts = []
    for entry in entries:
        if not isinstance(entry, Reading):
            continue
        expected = _expected(study, entry)
        amount = entry.amount
        facts.append(
            ReadingFact(
                id=entry.id,
                when_words=entry.when.words,
                start=entry.when.start.astimezone(zone),
                end=entry.when.end.astimezone(zone),
                quantity=entry.quantity,
                place=entry.place,
                depth_words=entry.depth.words if entry.depth else "",
                words=entry.words,
                amount=amount,
                expected=expected,
                gap_k=_gap(amount, expected),
                flags=(*amount.flags, *entry.when.flags),
                taken=entry,
            )
        )
    return tuple(facts)


def _expected(study: Study, reading: Reading) -> Range | None:
    """The range in which the model expects the thermometer; bias and the hand-held reading's own error included."""
    case = study.case
    hours = hours_of(reading.when.start, reading.when.end, case.time_utc)
    if isinstance(hours, str) or reading.amount.kind == "not noted":
        return None
    provenance: Provenance = "estimated" if hours[-1] <= case.now_index else "predicted"
    if reading.quantity == "air temperature":
        low, middle, high = np.percentile(study.outlook.air_c[hours], PERCENT)
        return Range(float(low), float(middle), float(high), "degC", provenance)
    if reading.quantity != "temperature":
        return None
    places = ("middle", "edge") if reading.place == "not noted" else (reading.place,)
    thermometer = case.prior.thermometer(study.posterior.draws)
    air = study.outlook.air_c[hours, 1]
    shown = np.concatenate([thermometer.shown(study.outlook.draws_c[place][:, hours], air) for place in places], axis=1)
    low, middle, high = Mixture(shown, np.array(INSTRUMENT_K), np.array(1 / shown.size)).points()
    return Range(float(low), float(middle), float(high), "degC", provenance)


def _gap(amount: VagueAmount, expected: Range | None) -> float:
    if expected is None:
        return 0.0
    return max(0.0, amount.low - expected.high, expected.low - amount.high)


def feedings(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Noted, ...]:
    """What was given."""
    return tuple(
        _noted(entry, zone, f"{entry.material}, {_given(entry.amount)}")
        for entry in entries
        if isinstance(entry, Feeding)
    )


def sightings(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Noted, ...]:
    """What was seen, as lower bounds."""
    found = []
    for entry in entries:
        if not isinstance(entry, Sighting):
            continue
        what = "animals" if entry.stage == "not noted" else f"{entry.stage}s"
        place = "" if entry.place == "not noted" else f", {entry.place}"
        fewest = least(entry.amount)
        if fewest >= 1:
            meaning = f"at least {fewest} {what if fewest > 1 else what.removesuffix('s')}{place}"
        else:
            meaning = f"{what} looked for{place}: none need have been there, and some may have been missed"
        found.append(_noted(entry, zone, meaning))
    return tuple(found)


def least(amount: VagueAmount) -> int:
    """The fewest whole animals that an amount allows; 0 where it says nothing of that."""
    return max(0, math.ceil(round(amount.low, 6))) if math.isfinite(amount.low) else 0


def plural(amount: VagueAmount) -> str:
    """What the noun after an amount ends in."""
    return "" if amount.low == amount.high == 1 else "s"


def samples(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Noted, ...]:
    """Animals sorted out of a known volume."""
    found = []
    for entry in entries:
        if not isinstance(entry, SampleCount):
            continue
        counts = ", ".join(f"{amount.words} {stage}{plural(amount)}" for stage, amount in entry.counts)
        place = "place not noted" if entry.place == "not noted" else entry.place
        found.append(_noted(entry, zone, f"in {entry.volume.words} ({place}): {counts or 'nothing found'}"))
    return tuple(found)


def notes(entries: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Noted, ...]:
    """Notes, photos and claims under watch, in the keeper's words."""
    found = []
    for entry in entries:
        if isinstance(entry, Note):
            found.append(_noted(entry, zone, ""))
        elif isinstance(entry, Photo):
            found.append(_noted(entry, zone, "photo" if entry.words != "photo" else ""))
        elif isinstance(entry, Claim):
            found.append(_noted(entry, zone, f"claim under watch: {entry.sentence}"))
    return tuple(found)


def corrections(entries: Sequence[AnyEntry], superseded: Sequence[AnyEntry], zone: ZoneInfo) -> tuple[Noted, ...]:
    """Each entry that corrects another, beside the words it replaces where those are at hand."""
    known = {entry.id: entry for entry in (*entries, *superseded)}
    found = []
    for entry in known.values():
        if not entry.corrects:
            continue
        earlier = known.get(entry.corrects)
        meaning = f"replaces “{earlier.words}”" if earlier else "replaces an earlier entry, which the journal keeps"
        found.append(_noted(entry, zone, meaning))
    return tuple(found)


def _given(amount: VagueAmount) -> str:
    if amount.kind == "not noted":
        return "amount not noted"
    shown = show_amount(amount)
    return shown if amount.words == shown else f"{amount.words} ({shown})"


def _noted(entry: AnyEntry, zone: ZoneInfo, meaning: str) -> Noted:
    return Noted(entry.when.start.astimezone(zone), entry.when.end.astimezone(zone), entry.words, meaning)
