"""Bins and their entries compared. A bin is known again by its id, whatever it is called here."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from underlid.journal.errors import AlreadyCorrected, JournalError, TakenId
from underlid.journal.merging.conflicts import (
    BinNameTaken,
    NothingToRename,
    NotTaken,
    PictureWanting,
    TwoCorrections,
)
from underlid.journal.merging.progress import Progress, capital
from underlid.journal.rows import named
from underlid.journal.rules import is_new, is_new_bin, originals_first, unknown_bin
from underlid.quantity.show import many
from underlid.records import Photo


def compare_bins(so_far: Progress) -> None:
    """Compare the bins; raise NothingToRename if one that is to be renamed is not there."""
    for name in so_far.rename:
        if name not in so_far.their_bins:
            raise NothingToRename(detail=unknown_bin(name, so_far.their_bins))
    by_id = {one.id: one for one in so_far.ours.bins}
    layers = {layer.id for one in so_far.ours.bins for layer in one.layers}
    for there in sorted(so_far.theirs.bins, key=lambda one: one.name):
        known = by_id.get(there.id)
        name = so_far.rename.get(there.name, there.name) if known is None else known.name
        if known is not None and so_far.rename.get(there.name, name) != name:
            so_far.notes.append(f"Bin '{there.name}' is here already, and keeps the name '{name}'.")
        new = replace(there, name=name)
        try:
            if known is not None:
                if so_far.stands(new, known):
                    so_far.here.bins.append(known)
                    so_far.called[there.name] = name
                continue
            taken = {each.casefold(): each for each in so_far.standing.bins}.get(name.casefold())
            if taken is not None:
                so_far.conflicts.append(BinNameTaken(there.name, name, taken))
                continue
            is_new_bin(new, so_far.standing.bins)
            if layers & {layer.id for layer in new.layers}:
                raise TakenId(what=f"a bedding layer of {named(new)}")
        except JournalError as error:
            so_far.conflicts.append(NotTaken(capital(named(there)), str(error)))
            continue
        layers |= {layer.id for layer in new.layers}
        so_far.comes.bins.append(new)
        so_far.standing.bins[name] = new
        so_far.called[there.name] = name


def compare_entries(so_far: Progress) -> None:
    """Compare the entries of the bins that come in or are here; what corrects one that stays out stays out too."""
    standing, lost, skipped = so_far.standing, Counter[str](), set[str]()
    before = set(standing.entries)
    for position in originals_first(so_far.theirs.entries):
        there = so_far.theirs.entries[position]
        if there.bin not in so_far.called:
            lost[there.bin] += 1
            skipped.add(there.id)
            continue
        new = replace(there, bin=so_far.called[there.bin])
        known = standing.entries.get(new.id)
        what = f"{capital(named(new))} of {new.when.start:%Y-%m-%d} in bin '{new.bin}'"
        try:
            if known is not None:
                if so_far.stands(new, known, what):
                    so_far.here.entries.append(known)
                else:
                    skipped.add(new.id)
                continue
            if new.corrects in skipped:
                so_far.left_out.append(f"{what} (id {new.id}), since it corrects '{new.corrects}'.")
            elif (detail := so_far.wrong.get((Photo, new.id))) is not None:
                so_far.conflicts.append(PictureWanting(what, new.id, detail))
            elif is_new(new, standing):
                standing.take(new)
                so_far.comes.entries.append(new)
                continue
        except AlreadyCorrected as error:
            corrects, by = str(error.facts["id"]), str(error.facts["by"])
            so_far.conflicts.append(TwoCorrections(what, new.id, corrects, by))
        except JournalError as error:
            so_far.conflicts.append(NotTaken(what, str(error)))
        skipped.add(new.id)
    for name, count in sorted(lost.items()):
        so_far.left_out.append(f"{many(count, 'entry', 'entries')} of bin '{name}', which does not come in.")
    if count := sum(one.corrects in before for one in so_far.comes.entries):
        what = many(count, "entry that comes in corrects one", "entries that come in correct some")
        so_far.notes.append(f"{what} that stood here; the words of both stay.")
