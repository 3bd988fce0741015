"""How far a comparison has come: what is compared, and what was found so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import MAXYEAR, datetime

from underlid.journal.errors import Unstorable
from underlid.journal.merging.conflicts import Conflict, NotTaken, OtherContent
from underlid.journal.merging.held import Held
from underlid.journal.rows import as_row, check_name, named, same_content
from underlid.journal.rules import Standing
from underlid.records import (
    AnyEntry,
    Bin,
    BinKeeper,
    Keeper,
    OwnClaims,
    PhotoShown,
    PlanChange,
    RegisteredPlan,
)

Loose = RegisteredPlan | PlanChange | OwnClaims | Keeper | BinKeeper | PhotoShown
Identified = AnyEntry | Bin | PlanChange | OwnClaims | Keeper | BinKeeper | PhotoShown

#: What is wrong with a photo, a plan or own claims, by the type of the record and its id or name.
Wrong = Mapping[tuple[type, str], str]


class Progress:
    """What is compared, and what comes, stands already and is in the way so far."""

    def __init__(
        self, ours: Held, theirs: Held, rename: Mapping[str, str], hand_to: tuple[str, datetime] | None, wrong: Wrong
    ) -> None:
        self.ours, self.theirs, self.rename, self.hand_to, self.wrong = ours, theirs, rename, hand_to, wrong
        self.comes, self.here = Held(), Held()
        self.standing = Standing.of({one.name: one for one in ours.bins}, {one.id: one for one in ours.entries})
        self.their_bins = {one.name for one in theirs.bins}
        self.called: dict[str, str] = {}  # of bins that come in or are here
        self.conflicts: list[Conflict] = []
        self.left_out: list[str] = []
        self.notes: list[str] = []

    def stands(self, new: Identified, known: Identified, what: str = "") -> bool:
        """Whether both say the same; otherwise that is a conflict."""
        if same_content(new, known):
            return True
        how = "is another kind of record"
        if type(new) is type(known):
            names = [one.name for one in fields(new) if one.name != "noted_at"]
            differ = [name.replace("_", " ") for name in names if getattr(new, name) != getattr(known, name)]
            how = f"differs in its {' and '.join(differ)}"
        self.conflicts.append(OtherContent(what or capital(named(new)), new.id, how))
        return False

    def storable(self, new: Loose) -> bool:
        """Whether the journal takes such a record; otherwise that is a conflict.

        No program of ours writes another, but who wrote a journal from elsewhere is not known.
        """
        try:
            _check(new)
        except Unstorable as error:
            self.conflicts.append(NotTaken(capital(named(new)), str(error)))
            return False
        return True


def _check(new: Loose) -> None:
    as_row(new)
    for field in ("id", "name"):
        if hasattr(new, field):
            check_name(field, new)
    if isinstance(new, Keeper | RegisteredPlan) and (not new.name.strip() or new.name != new.name.strip()):
        raise Unstorable(field="name", what=named(new), detail="it is empty or has a space at an end")
    if isinstance(new, RegisteredPlan) and not new.text.strip():
        raise Unstorable(field="text", what=named(new), detail="it is empty")
    if isinstance(new, PlanChange) and (not new.words.strip() or (new.what == "bin dropped" and not new.bin)):
        raise Unstorable(field="words", what=named(new), detail="they do not say what changed, or in which bin")
    if isinstance(new, Keeper | BinKeeper | PhotoShown) and new.noted_at.year == MAXYEAR:
        raise Unstorable(field="moment", what=named(new), detail="nothing could ever be said after it")


def capital(words: str) -> str:
    """Return words as a sentence begins."""
    return words[:1].upper() + words[1:]
