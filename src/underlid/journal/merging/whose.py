"""Keepers, whose each bin is, and who sees a photo: a journal from elsewhere gives nobody a right to what stands here.

Nobody becomes a steward, a bin that stands here stays whose it is (and nobody's stays nobody's), and a picture that is
private here or there is private afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TypeVar
from uuid import NAMESPACE_OID, uuid5

from underlid.journal.merging.conflicts import KeeperNameTaken, NoStewardHere
from underlid.journal.merging.held import Held
from underlid.journal.merging.progress import Progress
from underlid.journal.rules import unknown_keeper
from underlid.quantity.show import many
from underlid.records import BinKeeper, Keeper, Photo, PhotoShown, PhotosShown

Dated = TypeVar("Dated", Keeper, BinKeeper, PhotoShown)


def compare_keepers(so_far: Progress) -> set[str]:
    """Compare the keepers, by what holds of them; return the names of those who will be here.

    Raises UnknownKeeper if the one who is to get the bins is not here.
    """
    ours, theirs = (_holding(held.keepers, lambda one: one.name) for held in (so_far.ours, so_far.theirs))
    if so_far.hand_to is not None:
        name = so_far.hand_to[0]
        if name not in ours:
            raise unknown_keeper(name, ours)
        if theirs:
            so_far.notes.append(
                f"Keepers there ({', '.join(theirs)}) stay out: their bins are handed to '{name}', and of their photos "
                "none is shown that they did not share."
            )
        return set(ours)
    if theirs and not ours:
        so_far.conflicts.append(NoStewardHere(", ".join(theirs)))
        return set()
    folded, ids = {name.casefold(): name for name in ours}, {one.id: one for one in so_far.ours.keepers}
    for name, there in theirs.items():
        new = replace(there, role="keeper") if there.role == "steward" else there
        if name in ours:
            so_far.here.keepers.append(ours[name])
            as_here = {"id": ours[name].id, "noted_at": ours[name].noted_at}
            if ours[name] not in (replace(there, **as_here), replace(new, **as_here)):  # type: ignore[arg-type]
                so_far.notes.append(f"Keeper '{name}' has other settings there: what is said here stays.")
        elif name.casefold() in folded:
            so_far.conflicts.append(KeeperNameTaken(name, folded[name.casefold()]))
        elif new.id in ids:
            so_far.stands(new, ids[new.id])
        elif so_far.storable(new):
            so_far.comes.keepers.append(new)
            folded[name.casefold()] = name
            if new is not there:
                so_far.notes.append(f"Keeper '{name}' is a steward there, and a keeper here.")
    return {*ours, *(one.name for one in so_far.comes.keepers)}


def hand_over(so_far: Progress, known: set[str]) -> None:
    """Say whose the bins are that come in; `known` are the keepers who will be here."""
    ours, theirs = (_holding(held.handed, lambda one: one.bin) for held in (so_far.ours, so_far.theirs))
    ids = {one.id: one for one in so_far.ours.handed}
    come = {one.name for one in so_far.comes.bins}
    nobodys = []
    for there, bin_name in so_far.called.items():
        new, mine = _to_hand(so_far.hand_to, bin_name, theirs.get(there)), ours.get(bin_name)
        if new is None:
            nobodys += [bin_name] if mine is None else []
        elif mine is not None:
            so_far.here.handed.append(mine)
            if mine.keeper != new.keeper:
                so_far.notes.append(f"Bin '{bin_name}' is kept by '{mine.keeper}' here, and that stays.")
        elif new.keeper not in known:
            so_far.left_out.append(f"Whose bin '{bin_name}' is, since keeper '{new.keeper}' does not come in.")
        elif bin_name not in come:  # else its keeper's settings would show what nobody shared
            nobodys.append(bin_name)
        elif new.id in ids:
            so_far.stands(new, ids[new.id])
        elif so_far.storable(new):
            so_far.comes.handed.append(new)
    if so_far.hand_to is not None and so_far.comes.handed:
        which = ", ".join(f"'{one.bin}'" for one in so_far.comes.handed)
        so_far.notes.append(
            f"Where something is published, {which} will be told as '{so_far.hand_to[0]}' says, under that name and "
            "place, also what others noted there before."
        )
    if known and nobodys:
        who = ", ".join(f"'{name}'" for name in nobodys)
        so_far.notes.append(f"Nobody's in particular: {who}; `underlid keeper NAME --bins` hands bins over.")


def _to_hand(to: tuple[str, datetime] | None, bin_name: str, said: BinKeeper | None) -> BinKeeper | None:
    if to is None:
        return None if said is None else replace(said, bin=bin_name)
    keeper, now = to
    id = uuid5(NAMESPACE_OID, f"{bin_name} {keeper} {now.isoformat()}")
    return BinKeeper(id=str(id), bin=bin_name, keeper=keeper, noted_at=now)


# --- photos -----------------------------------------------------------------------------------------


def compare_marks(so_far: Progress) -> None:
    """Compare the marks of photos: each that keeps one private comes in, and of those that share one, only those of
    pictures that did not stand here."""
    known = {one.id: one for one in so_far.ours.shown}
    ours = _holding(so_far.ours.shown, lambda mark: _first(so_far, mark.photo))
    before = {one.id for one in so_far.ours.entries}
    pictures, shown_here = _pictures(so_far.ours), _shared(so_far, so_far.ours, "private")
    lost = 0
    for mark in so_far.theirs.shown:
        first, photo = _first(so_far, mark.photo), so_far.standing.entries.get(mark.photo)
        if mark.id in known:
            if so_far.stands(mark, known[mark.id]):
                so_far.here.shown.append(mark)
        elif not isinstance(photo, Photo):
            lost += 1
        elif mark.shown == "shared" and (first in before or photo.sha256 in pictures):
            if photo.sha256 not in shown_here:
                so_far.notes.append(f"Photo '{mark.photo}' is shared there and private here, and that stays.")
        elif so_far.storable(mark):
            so_far.comes.shown.append(mark)
            if first in ours and ours[first].shown == "shared" and mark.noted_at > ours[first].noted_at:
                so_far.notes.append(f"Photo '{mark.photo}' was made private there since: it is so here too.")
    if lost:
        so_far.left_out.append(f"{many(lost, 'mark', 'marks')} of photos that do not come in.")


def keep_private(so_far: Progress) -> None:
    """Mark as private what comes in and would be shared here by what its keeper says here of all photos.

    Where nobody was named there, nobody was asked what may be shown: then the keeper here says.
    """
    usual: PhotosShown = "private" if so_far.theirs.keepers else "shared"
    pictures, shown_here = _pictures(so_far.ours), _shared(so_far, so_far.ours, "private")
    may = shown_here | (_shared(so_far, so_far.theirs, usual) - pictures)
    all_held = [(held.keepers, held.handed, held.shown) for held in (so_far.ours, so_far.comes)]
    keepers, handed, shown = ([*mine, *new] for mine, new in zip(*all_held, strict=True))
    after = Held(entries=list(so_far.standing.entries.values()), keepers=keepers, handed=handed, shown=shown)
    exposed = _shared(so_far, after, "private") - may
    newest = [one.noted_at for one in (*keepers, *handed, *shown)]
    count = 0
    for photo in so_far.comes.entries:
        if isinstance(photo, Photo) and photo.sha256 in exposed:
            id = uuid5(NAMESPACE_OID, f"private {photo.id}")
            then = max(newest) + timedelta(microseconds=1)
            so_far.comes.shown.append(PhotoShown(id=str(id), photo=photo.id, shown="private", noted_at=then))
            count += 1
    if count:
        photos = many(count, "photo that comes in is private and stays", "photos that come in are private and stay")
        so_far.notes.append(f"{photos} so, whatever its bin's keeper here says of photos.")


def _pictures(held: Held) -> set[str]:
    return {one.sha256 for one in held.entries if isinstance(one, Photo)}


def _shared(so_far: Progress, held: Held, usual: PhotosShown) -> set[str]:
    """The hashes of the pictures that all may see; `usual` holds where a bin's keeper says nothing."""
    photos = {one.id: one for one in held.entries if isinstance(one, Photo)}
    marks = _holding(held.shown, lambda mark: _first(so_far, mark.photo))
    whose, settings = _holding(held.handed, lambda one: one.bin), _holding(held.keepers, lambda one: one.name)
    found = set()
    for photo in photos.values():
        kept_by = whose.get(photo.bin)
        shown = usual if kept_by is None or kept_by.keeper not in settings else settings[kept_by.keeper].photos
        mark = marks.get(_first(so_far, photo.id))
        if mark and (mark.shown == "private" or (of := photos.get(mark.photo)) is None or of.sha256 == photo.sha256):
            shown = mark.shown
        if shown == "shared":
            found.add(photo.sha256)
    return found


def _first(so_far: Progress, id: str) -> str:
    """The id of the entry that this one corrects, through all that lies between."""
    seen = {id}
    while (entry := so_far.standing.entries.get(id)) and entry.corrects and entry.corrects not in seen:
        seen.add(id := entry.corrects)
    return id


def _holding(found: Iterable[Dated], key: Callable[[Dated], str]) -> dict[str, Dated]:
    """The newest of each key, as `underlid.journal.keepers` says which that is."""
    in_order = sorted(found, key=lambda one: (one.noted_at, one.id))
    return dict(sorted({key(one): one for one in in_order}.items()))
