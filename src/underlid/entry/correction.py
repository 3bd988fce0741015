"""A line that mends an earlier entry."""

from __future__ import annotations

from dataclasses import replace

from underlid.entry.feedings import nothing_fed
from underlid.entry.line import Understood
from underlid.quantity import parse_amount
from underlid.records import AnyEntry, Feeding, Note


def corrected(understood: Understood, earlier: AnyEntry) -> tuple[AnyEntry, tuple[str, ...]]:
    """The line's one record as a correction of an earlier one, and sentences on what was assumed.

    A correction without a date keeps the date it had. "Feeding not noted" or "fed nothing" withdraws a feeding:
    what was given then is nothing.
    """
    (record,) = understood.records
    notes = understood.notes_on if understood.dated else ("no date written: the earlier date stays",)
    when = record.when if understood.dated else earlier.when
    if isinstance(record, Note) and isinstance(earlier, Feeding) and nothing_fed(record.words):
        notes += ("the earlier feeding is withdrawn",)
        unit = "kg" if earlier.amount.unit == "1" else earlier.amount.unit
        none = replace(parse_amount("none", expect=unit), words=record.words)
        record = replace(earlier, id=record.id, words=record.words, noted_at=record.noted_at, amount=none)
    return replace(record, when=when, corrects=earlier.id), notes
