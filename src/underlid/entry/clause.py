"""What one clause of a line says: a reading, a feeding, a sample count, a sighting, or else a note.

A clause is read by blanking out the words that are understood (a place, a depth, a noun) and handing what is
left, every character in its old place, to the grammar of amounts. So an error points into the keeper's line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from underlid.entry.animals import ANIMAL, is_sample, sample, sighting
from underlid.entry.feedings import feeding, feeding_verb, nothing_fed, surely_fed
from underlid.entry.hints import Hint, hints
from underlid.entry.readings import reading
from underlid.entry.said import Known, Said
from underlid.entry.split import (
    AMOUNT_BEGINS,
    KEPT,
    Clause,
    EntryError,
    clause_of,
    clauses,
    day_and_rest,
    sentences,
    without_opinion,
)
from underlid.records import Feeding, Note


def each_said(rest: Clause, known: Known) -> Iterator[tuple[Clause, Said]]:
    """What each clause says, with what the one before it in its sentence lends: a verb or a unit."""
    for sentence in sentences(rest):
        previous: Said | None = None
        told: list[tuple[Clause, Said]] = []
        for clause in (sentence,) if is_sample(sentence) else clauses(sentence):
            day, undated = day_and_rest(clause)
            try:
                previous = replace(said(undated, previous, known), day=day)
            except EntryError as error:  # shown in the line as it was written
                raise EntryError(error.what, clause.line, error.position, error.mend) from None
            told.append((clause, previous))
        yield from _days_lent(told)


def _days_lent(told: list[tuple[Clause, Said]]) -> list[tuple[Clause, Said]]:
    """In "middle 3 C, edge 1 C last night" the day holds for both; a record of another kind lends none."""
    lent: list[tuple[Clause, Said]] = []
    for clause, one in reversed(told):
        after = lent[-1][1] if lent else None
        lends = one.day is None and after is not None and after.kind is one.kind
        lent.append((clause, replace(one, day=after.day) if lends and after else one))
    return lent[::-1]


def said(clause: Clause, previous: Said | None, known: Known) -> Said:
    """What one clause says."""
    found = _recorded(clause, previous, known)
    if found is not None:
        return found
    hint = looks_like(clause.text, known)
    doubt = "" if hint is None else f" although it looks like {hint.what}; write it as '{hint.example}' if it is one"
    return Said(Note, {}, (f"kept as a note{doubt}",))


def looks_like(text: str, known: Known | None = None) -> Hint | None:
    """What the words of a note may have been meant for, with an example that is understood; None if for nothing."""
    if KEPT.match(text) or nothing_fed(text):
        return None
    known = known or Known({})
    return next((hint for hint in hints(text, known) if _understood(hint, known)), None)


def _understood(hint: Hint, known: Known) -> bool:
    try:
        found = _recorded(clause_of(hint.example, 0, len(hint.example)), None, known)
    except EntryError:
        return False
    return found is not None and found.kind is hint.kind


def _recorded(clause: Clause, previous: Said | None, known: Known) -> Said | None:
    """The reading, feeding, count or sighting that a clause tells, or None where it tells of none."""
    surely = without_opinion(clause)
    if is_sample(surely):
        return sample(surely, known)
    if nothing_fed(surely.text):
        return Said(Note, {}, ("no feeding: kept as a note",))
    verb = None if ANIMAL.search(surely.text) else feeding_verb(surely)
    if verb and surely_fed(surely, known):
        return feeding(surely, verb, known)
    found = reading(surely, previous, known) or sighting(surely)
    if found is not None:
        return found
    if previous is not None and previous.kind is Feeding and AMOUNT_BEGINS.match(surely.text):
        return feeding(surely, None, known)
    return None
