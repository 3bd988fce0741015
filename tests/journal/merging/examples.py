"""What the tests of merging bring together, and how."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta
from typing import Any

from tests.journal.conftest import dump
from tests.journal.examples import (
    NOW,
    amount,
    day,
    hand,
    make_change,
    make_claims,
    make_keeper,
    make_plan,
    mark,
    one_of_each,
    reading,
)
from underlid.journal.merging import (
    BinNameTaken,
    Conflict,
    Merge,
    merge,
    read_incoming,
)
from underlid.journal.store import PHOTOS, Journal
from underlid.records import AnyEntry, Photo

LATER = NOW + timedelta(days=1)
SOUTH = "south, by the wall"
PICTURE = b"\xff\xd8\xff brown, with worms"
SHA256 = hashlib.sha256(PICTURE).hexdigest()
FILE = f"{SHA256}.jpg"


def entries_there() -> tuple[AnyEntry, ...]:
    """An entry of each kind, and a correction whose id sorts before that of what it corrects."""
    whole = [replace(one, file=FILE, sha256=SHA256) if isinstance(one, Photo) else one for one in one_of_each()]
    return (*whole, reading("b", words="8", corrects="r1"), reading("a", words="7.5", corrects="b"))


def fill(there: Journal) -> None:
    """Put a record of every kind into a journal without any, and the picture beside it."""
    there.add(entries_there())
    (there.folder / PHOTOS / FILE).write_bytes(PICTURE)
    there.register(make_plan())
    there.change_plan(make_change())
    there.keep_claims(make_claims())
    there.set_container("mug", amount(0.2, 0.3, "L"))
    there.keep_keeper(make_keeper())
    there.hand_bin(hand())
    there.show_photo(mark())


def bring(into: Journal, there: Journal, rename: dict[str, str] | None = None, **more: Any) -> Merge:
    return merge(into, read_incoming(there.folder), rename, **{"dry_run": False} | more)


def contents(journal: Journal) -> tuple[object, ...]:
    return (
        journal.bins(), journal.entries(superseded=True), journal.entries(), journal.containers(), journal.plans(),
        journal.own_claims(), journal.keepers(), journal.bin_keepers(), journal.photos_shown(),
    )  # fmt: skip


def kinds(told: Merge) -> list[type[Conflict]]:
    return [type(one) for one in told.conflicts]


def refuses(into: Journal, there: Journal, kind: type[Conflict], *parts: str, **more: Any) -> Merge:
    """Nothing is stored for one conflict, whose sentence has these parts; return what is told if it is skipped."""
    before, beside = dump(into), sorted(path.name for path in (into.folder / PHOTOS).iterdir())
    told = bring(into, there, **more)
    assert kinds(told) == [kind]
    for part in (*parts, "--skip-conflicts" if kind is not BinNameTaken else "--rename"):
        assert part in told.conflicts[0].sentence
    assert not told.stored
    assert dump(into) == before
    assert sorted(path.name for path in (into.folder / PHOTOS).iterdir()) == beside
    return bring(into, there, **more, skip_conflicts=True)


def photo(id: str = "p", file: str = FILE, sha256: str = SHA256) -> Photo:
    return Photo(id=id, bin="north", when=day(1, 10), words="", file=file, sha256=sha256)


def other_photo(id: str) -> Photo:
    """A photo whose picture is that of no other."""
    digest = hashlib.sha256(PICTURE + id.encode()).hexdigest()
    return photo(id, f"{digest}.jpg", digest)


def with_pictures(journal: Journal, ids: str) -> None:
    for id in ids:
        (journal.folder / PHOTOS / other_photo(id).file).write_bytes(PICTURE + id.encode())
    (journal.folder / PHOTOS / FILE).write_bytes(PICTURE)
