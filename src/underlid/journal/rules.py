"""Which bins and entries a journal takes. Pure: it sees what stands already and what is offered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Self
from zoneinfo import ZoneInfo

from underlid.journal.errors import (
    AlreadyCorrected,
    DuplicateBin,
    DuplicateEntry,
    EntryBeforeBin,
    OtherBin,
    OtherKind,
    UnknownBin,
    UnknownEntry,
    UnknownKeeper,
    UnknownPlan,
    UnknownTimezone,
    Unstorable,
)
from underlid.journal.rows import as_row, check_name, kind_name, named, same_content, stage_rows
from underlid.records import AnyEntry, Bin, SampleCount


@dataclass(slots=True)
class Standing:
    """What the journal holds already, as far as it matters for the entries offered."""

    bins: dict[str, Bin]
    entries: dict[str, AnyEntry]  # by id
    corrected_by: dict[str, str]  # earlier id -> later id

    @classmethod
    def of(cls, bins: dict[str, Bin], entries: dict[str, AnyEntry]) -> Self:
        """Return what stands when the journal holds `bins` and `entries`."""
        return cls(bins, entries, {e.corrects: e.id for e in entries.values() if e.corrects is not None})

    def take(self, entry: AnyEntry) -> None:
        """Count `entry` as standing."""
        self.entries[entry.id] = entry
        if entry.corrects is not None:
            self.corrected_by[entry.corrects] = entry.id


def is_new_bin(new: Bin, standing: Mapping[str, Bin]) -> bool:
    """Whether `new` is to be stored; False if it stands already and says the same.

    Raises a JournalError if the journal must not take it.
    """
    as_row(new)
    for layer in new.layers:
        as_row(layer)
    if not new.name.strip() or new.name != new.name.strip():
        raise Unstorable(field="name", what=named(new), detail="it is empty or has a space at an end")
    if [layer.position for layer in new.layers] != list(range(len(new.layers))):
        raise Unstorable(field="layers", what=named(new), detail="positions must be 0, 1, 2 from the bottom up")
    try:
        ZoneInfo(new.timezone)
    except (ValueError, OSError, LookupError) as error:
        raise UnknownTimezone(name=new.name, timezone=new.timezone) from error
    if new.name in standing and same_content(new, standing[new.name]):
        return False
    if new.name.casefold() in {name.casefold() for name in standing}:
        raise DuplicateBin(name=new.name)
    for field in ("id", "name"):
        check_name(field, new)
    for layer in new.layers:
        check_name("id", layer)
    return True


def is_new(entry: AnyEntry, standing: Standing) -> bool:
    """Whether `entry` is to be stored; False if it stands already and says the same.

    Raises a JournalError if the journal must not take it.
    """
    as_row(entry)
    if isinstance(entry, SampleCount):
        stage_rows(entry)
    if entry.id in standing.entries:
        if same_content(entry, standing.entries[entry.id]):
            return False
        raise DuplicateEntry(what=_capital(named(entry)))
    check_name("id", entry)
    home = standing.bins.get(entry.bin)
    if home is None:
        raise unknown_bin(entry.bin, standing.bins)
    if entry.when.start < home.started.start and entry.when.end <= home.started.start:
        raise EntryBeforeBin(
            what=_capital(named(entry)),
            when=f"{entry.when.start:%Y-%m-%d %H:%M}",
            bin=home.name,
            started=f"{home.started.start:%Y-%m-%d %H:%M}",
        )
    if entry.corrects is not None:
        _check_correction(entry, entry.corrects, standing)
    return True


def _check_correction(entry: AnyEntry, earlier_id: str, standing: Standing) -> None:
    earlier = standing.entries.get(earlier_id)
    if earlier is None:
        raise UnknownEntry(id=earlier_id)
    if type(earlier) is not type(entry):
        raise OtherKind(id=earlier_id, kind=kind_name(type(entry)), other=kind_name(type(earlier)))
    if earlier.bin != entry.bin:
        raise OtherBin(id=earlier_id, bin=entry.bin, other=earlier.bin)
    if earlier_id in standing.corrected_by:
        raise AlreadyCorrected(id=earlier_id, by=standing.corrected_by[earlier_id])


def originals_first(entries: Sequence[AnyEntry]) -> list[int]:
    """Return the positions of `entries` in an order where a corrected entry comes before its correction."""
    by_id = {entry.id: entry for entry in entries}

    def depth(position: int) -> int:
        entry, steps = entries[position], 0
        while entry.corrects in by_id and steps <= len(by_id):  # the second guards against a circle
            entry, steps = by_id[entry.corrects], steps + 1
        return steps

    return sorted(range(len(entries)), key=depth)


def unknown_bin(name: str, known: Iterable[str]) -> UnknownBin:
    """Return the error for a bin that is not there: it lists those that are, and the one perhaps meant."""
    names = sorted(known)
    suggestion = _nearest(name, names)
    if not names:
        advice = "The journal has no bins yet: add one first."
    else:
        advice = f"{_perhaps(suggestion)}Bins here: {', '.join(names)}."
    return UnknownBin(name=name, known=advice, suggestion=suggestion)


def unknown_plan(name: str, known: Iterable[str]) -> UnknownPlan:
    """Return the error for a plan that is not there: it lists those that are, and the one perhaps meant."""
    names = sorted(known)
    if not names:
        return UnknownPlan(name=name, known="The journal has no plans yet: register one first.")
    return UnknownPlan(name=name, known=f"{_perhaps(_nearest(name, names))}Plans here: {', '.join(names)}.")


def unknown_keeper(name: str, known: Iterable[str]) -> UnknownKeeper:
    """Return the error for a keeper who is not there: it lists those who are, and the one perhaps meant."""
    names = sorted(known)
    if not names:
        return UnknownKeeper(name=name, known="The journal has no keepers yet: make a first one, a steward.")
    return UnknownKeeper(name=name, known=f"{_perhaps(_nearest(name, names))}Keepers here: {', '.join(names)}.")


def _nearest(name: str, names: Sequence[str]) -> str | None:
    folded = {each.casefold(): each for each in names}
    close = get_close_matches(name.casefold(), folded, n=1)
    return folded[close[0]] if close else None


def _perhaps(suggestion: str | None) -> str:
    return f"Did you mean '{suggestion}'? " if suggestion else ""


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
