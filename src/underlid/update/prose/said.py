"""Sentences that know which facts they tell: the one form in which an account's words reach every page and picture.

A sentence is written once. Its full form, its short form for a child and what is read aloud are made from the same
facts by the same phrases, so that no two places give one fact different numbers; `underlid.update.prose.numbers` checks
that every number in a text is one of the facts it names.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from underlid.update.facts import Provenance


@dataclass(frozen=True, slots=True)
class Said:
    """One sentence or two that belong together.

    full : plain English for a grown-up; short : the same fact so that a child of ten can follow it, "" if it is left
    out there
    facts : what it tells of: dataclasses of facts, ranges, numbers, dates or texts; every number said is one of theirs
    provenance : of the figures in it, None where there are none
    evidence : names of what it rests on: "reading-ID", "weather", "fit", "counts", "feedings", "trial-NAME", "species"
    """

    full: str
    short: str = ""
    facts: tuple[object, ...] = ()
    provenance: Provenance | None = None
    evidence: tuple[str, ...] = ()

    @property
    def unsaid(self) -> Provenance | None:
        """What a chip beside its full form has to say: nothing where the sentence says it itself."""
        return unsaid(self.full, self.provenance)


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One of the large figures at the head of an account."""

    label: str
    figure: str
    beside: str
    range: tuple[str, str]
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the account. `name` is its short name, by which keepers put their own words beside it."""

    name: str
    title: str
    said: tuple[Said, ...]

    @property
    def short(self) -> tuple[str, ...]:
        """What of it a child is told."""
        return tuple(one.short for one in self.said if one.short)


#: The parts of an account, in order: short name -> heading.
SECTIONS: dict[str, str] = {
    "month": "The month in three sentences",
    "done": "What was done and eaten",
    "temperatures": "Air, bedding and refuge",
    "animals": "The animals",
    "chemistry": "Water and acid",
    "tests": "Under test",
    "surprises": "What did not fit",
    "unknown": "What is not known",
    "next": "What comes next",
    "care": "Take care",
}


def unsaid(text: str, provenance: Provenance | None) -> Provenance | None:
    """Where figures come from, unless the text says so itself: it is told once, in words or by a chip beside them."""
    return provenance if provenance and not re.search(rf"\b{provenance}\b", text) else None
