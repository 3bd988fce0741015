"""Several keepers of one journal, whose each bin is, and which photos are shown: what a journal takes and gives back.

A newer record of the same keeper, bin or photo succeeds the earlier one, which stays. The newest is the one that was
noted last, and of two noted at one moment the one whose id sorts last: two journals with the same rows say the same.

A journal without keepers is one keeper's, and nothing here is asked of it. Once there are keepers, one of them at least
is a steward. All this says what is published and shown; whoever can read the journal's folder reads everything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import TypeVar

from sqlalchemy import ColumnElement, Connection, Table

from underlid.journal.errors import (
    FirstSteward,
    KeeperExists,
    LastSteward,
    TakenId,
    UnknownPhoto,
    UnreadableRow,
    Unstorable,
)
from underlid.journal.queries import insert_rows, load_bins, load_entries, load_linked, load_records
from underlid.journal.rows import Row, as_row, check_name, named, same_content
from underlid.journal.rules import unknown_bin, unknown_keeper
from underlid.journal.tables import bin_keepers, keepers, photos_shown
from underlid.records import BinKeeper, Keeper, Photo, PhotoShown, PhotosShown

One = TypeVar("One", Keeper, BinKeeper, PhotoShown)


def just_after(connection: Connection, now: datetime) -> datetime:
    """Return `now`, or the moment after all that was said here if that is later: what is said then is the newest."""
    said: list[Keeper | BinKeeper | PhotoShown] = [
        *_load(connection, Keeper, keepers),
        *_load(connection, BinKeeper, bin_keepers),
        *_load(connection, PhotoShown, photos_shown),
    ]
    return max([now, *((one.noted_at + timedelta(microseconds=1)).astimezone(now.tzinfo) for one in said)])


def add_keeper(connection: Connection, new: Keeper) -> None:
    """Store a keeper, or what is different about one; the same record again is harmless."""
    row = _keeper_row(new)
    if not new.name.strip() or new.name != new.name.strip():
        raise Unstorable(field="name", what=named(new), detail="it is empty or has a space at an end")
    if _stands(connection, keepers, new):
        return
    standing = _load(connection, Keeper, keepers)
    for name in {one.name for one in standing}:
        if name != new.name and name.casefold() == new.name.casefold():
            raise KeeperExists(name=name)
    if not standing and new.role != "steward":
        raise FirstSteward(name=new.name)
    if not any(one.role == "steward" for one in _newest([*standing, new], _name).values()):
        raise LastSteward(name=new.name)
    for field in ("id", "name"):
        check_name(field, new)
    insert_rows(connection, keepers, [row])


def load_keepers(connection: Connection) -> dict[str, Keeper]:
    """Return what holds of every keeper, by name."""
    return _newest(_load(connection, Keeper, keepers), _name)


def hand_bin(connection: Connection, new: BinKeeper) -> None:
    """Store whose a bin is from now on; the same record again is harmless."""
    row = as_row(new)
    if _stands(connection, bin_keepers, new):
        return
    if new.bin not in (bins := load_bins(connection)):
        raise unknown_bin(new.bin, bins)
    if new.keeper not in (known := load_keepers(connection)):
        raise unknown_keeper(new.keeper, known)
    check_name("id", new)
    insert_rows(connection, bin_keepers, [row])


def load_bin_keepers(connection: Connection) -> dict[str, str]:
    """Return whose each bin is: the name of a bin to that of its keeper; a bin that was never handed over is not in."""
    newest = _newest(_load(connection, BinKeeper, bin_keepers), lambda one: one.bin)
    return {bin_name: one.keeper for bin_name, one in newest.items()}


def load_taken_over(connection: Connection) -> dict[str, datetime]:
    """Return since when each bin is its keeper's, by its name; one that was nobody else's before is not in."""
    found: dict[str, datetime] = {}
    whose: dict[str, str] = {}
    for one in _in_order(_load(connection, BinKeeper, bin_keepers)):
        if whose.setdefault(one.bin, one.keeper) != one.keeper:
            whose[one.bin], found[one.bin] = one.keeper, one.noted_at
    return found


def show_photo(connection: Connection, new: PhotoShown) -> None:
    """Store that one photo is shared or kept private; the same record again is harmless."""
    row = as_row(new)
    if _stands(connection, photos_shown, new):
        return
    if not isinstance(load_linked(connection, [new.photo]).get(new.photo), Photo):
        raise UnknownPhoto(id=new.photo)
    check_name("id", new)
    insert_rows(connection, photos_shown, [row])


def load_photos_shown(connection: Connection) -> dict[str, PhotosShown]:
    """Return the photos that are marked on their own, by id; for any other its keeper's `photos` holds.

    A correction of a photo and the photo itself have one mark, the newest: of another picture only if it is private.
    """
    marks = _load(connection, PhotoShown, photos_shown)
    photos = {one.id: one for one in load_entries(connection, kind=Photo) if isinstance(one, Photo)} if marks else {}
    for mark in marks:
        if mark.photo not in photos:
            raise UnreadableRow(f"photo '{mark.photo}', which is marked, is not in the journal")
    newest = _newest(marks, lambda mark: _first(mark.photo, photos))
    found: dict[str, PhotosShown] = {}
    for id, photo in photos.items():
        holds = newest.get(_first(id, photos))
        if holds and (holds.shown == "private" or photo.sha256 == photos[holds.photo].sha256):
            found[id] = holds.shown
    return found


def check_keepers(connection: Connection) -> None:
    """Read all of it; raise UnreadableRow if a bin is of a keeper whom the journal does not know."""
    known = load_keepers(connection)
    for one in _load(connection, BinKeeper, bin_keepers):
        if one.keeper not in known:
            raise UnreadableRow(f"bin '{one.bin}' is of keeper '{one.keeper}', whom the journal does not know")
    load_photos_shown(connection)


def _keeper_row(new: Keeper) -> Row:
    row = as_row(new)
    for field, most in (("latitude", 90), ("longitude", 180)):
        degrees = getattr(new, field)
        if degrees is not None and not -most <= degrees <= most:
            detail = f"it is {degrees:g} degrees, and -{most} to {most} is possible"
            raise Unstorable(field=field, what=named(new), detail=detail)
    if (new.latitude is None) != (new.longitude is None):
        detail = "latitude and longitude belong together, give both or neither"
        raise Unstorable(field="place", what=named(new), detail=detail)
    return row


def _first(id: str, photos: Mapping[str, Photo]) -> str:
    """The id of the photo that this one corrects, through all that lies between."""
    seen = {id}
    while (earlier := photos[id].corrects) is not None and earlier not in seen:
        seen.add(id := earlier)
    return id


def _name(one: Keeper) -> str:
    return one.name


def _newest(found: Iterable[One], key: Callable[[One], str]) -> dict[str, One]:
    return dict(sorted({key(one): one for one in _in_order(found)}.items()))


def _in_order(found: Iterable[One]) -> list[One]:
    """As they succeed each other."""
    return sorted(found, key=lambda one: (one.noted_at, one.id))


def _load(connection: Connection, kind: type[One], table: Table, *where: ColumnElement[bool]) -> list[One]:
    """Every record of a table. One with a word that is not known is not read: it might mean that this is private."""
    found = load_records(connection, kind, table, *where)
    for one in found:
        try:
            _keeper_row(one) if isinstance(one, Keeper) else as_row(one)
        except Unstorable as error:
            raise UnreadableRow(f"a row of {table.name} cannot be read") from error
    return found


def _stands(connection: Connection, table: Table, new: Keeper | BinKeeper | PhotoShown) -> bool:
    """Whether this record is there already; raise TakenId if another one has its id."""
    earlier = load_records(connection, type(new), table, table.c.id == new.id)
    if earlier and not same_content(new, earlier[0]):
        raise TakenId(what=named(new))
    return bool(earlier)
