"""Taking an entry back: a correction that says nothing any more, or what stood before. The earlier words stay."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from underlid.entry.split import EntryError
from underlid.quantity import VagueAmount, parse_amount
from underlid.records import AnyEntry, Feeding, Note, Reading, SampleCount, Sighting


def withdrawn(entry: AnyEntry, before: AnyEntry | None, id: str, now: datetime) -> AnyEntry:
    """The correction that takes `entry` back.

    before : what `entry` itself corrects, which then stands again; None where it corrects nothing
    """
    return replace(_silent(entry) if before is None else before, id=id, corrects=entry.id, noted_at=now)


def _silent(entry: AnyEntry) -> AnyEntry:
    """The entry without what it says."""
    match entry:
        case Reading(quantity=quantity):
            return replace(entry, words=f"{quantity} not noted", amount=_not_noted(entry.amount.unit))
        case Feeding(amount=amount):
            none = replace(parse_amount("none", expect="kg" if amount.unit == "1" else amount.unit), words="none")
            return replace(entry, words="feeding not noted", amount=none)
        case Sighting():
            return replace(entry, words="sighting not noted", amount=_not_noted("1"))
        case SampleCount(counts=counts):
            return replace(
                entry, words="count not noted", counts=tuple((stage, _not_noted("1")) for stage, _ in counts)
            )
        case Note():
            return replace(entry, words="note withdrawn")
        case _:
            raise EntryError("that is not taken back here", entry.words, 0, "Correct it where it was made.")


def _not_noted(unit: str) -> VagueAmount:
    return replace(parse_amount("not noted", expect=unit), words="not noted")
