"""What is new in a journal from elsewhere stored in this one: pictures first, then all records in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from underlid.files import write_whole
from underlid.journal.database import commit, trying_again
from underlid.journal.errors import DiskFailed, disk_error
from underlid.journal.keepers import add_keeper
from underlid.journal.manifest import holds
from underlid.journal.merging.comparison import compare
from underlid.journal.merging.conflicts import Merge
from underlid.journal.merging.held import Held
from underlid.journal.merging.reading import Incoming
from underlid.journal.photos import MAX_BYTES, SUFFIXES
from underlid.journal.plans import add_change, add_claims, add_plan
from underlid.journal.queries import insert_entries, insert_rows
from underlid.journal.rows import as_row, container_row
from underlid.journal.store import PHOTOS, Journal
from underlid.journal.tables import bedding_layers, bin_keepers, bins, containers, photos_shown
from underlid.journal.verify import wrong_with
from underlid.records import OwnClaims, Photo, RegisteredPlan

#: What a caller finds wrong with a text that is none of the journal's to read, None if nothing.
Examine = Callable[[RegisteredPlan | OwnClaims], str | None]


def merge(
    into: Journal, incoming: Incoming, rename: Mapping[str, str] | None = None, *,
    hand_to: tuple[str, datetime] | None = None, examine: Examine | None = None, skip_conflicts: bool = False,
    dry_run: bool = True,
) -> Merge:  # fmt: skip
    """Bring a journal from elsewhere into an open one, all that is new in one transaction, and say what that is.

    With a conflict nothing is stored, unless `skip_conflicts`: what is in the way is then left out, with all that
    depends on it. Pictures come before the entries that name them: a merge that is cut off leaves at most pictures
    that nothing names. `rename` and `hand_to` are as `compare` takes them; `examine` looks through plans and own
    claims.
    """
    with into._reading() as connection:
        ours = Held.of(connection)
    wrong = _wrong(into, incoming, ours, examine or (lambda record: None))
    told = compare(ours, incoming.held, rename, hand_to=hand_to, wrong=wrong)
    if dry_run or not told.comes or (told.conflicts and not skip_conflicts):
        return told
    _bring_pictures(told, incoming, into)

    @trying_again
    def store() -> Merge:
        with into._writing() as connection:
            # Anew under the lock: what others stored meanwhile is here now. Mostly less is new; what was in the way of
            # a picture may be gone too.
            told = compare(Held.of(connection), incoming.held, rename, hand_to=hand_to, wrong=wrong)
            if not told.comes or (told.conflicts and not skip_conflicts):
                return told
            _bring_pictures(told, incoming, into)
            _insert(connection, told.comes)
            commit(connection)
        return replace(told, stored=True)

    return store()


def _insert(connection: Connection, new: Held) -> None:
    insert_rows(connection, bins, [as_row(one) for one in new.bins])
    layers = [as_row(layer) | {"bin": one.name} for one in new.bins for layer in one.layers]
    insert_rows(connection, bedding_layers, layers)
    insert_entries(connection, new.entries)
    for plan in new.plans:
        add_plan(connection, plan)
    for change in new.changes:
        add_change(connection, change)
    for own in new.own_claims:
        add_claims(connection, own)
    insert_rows(connection, containers, [container_row(*each) for each in new.containers.items()])
    for keeper in new.keepers:
        add_keeper(connection, keeper)
    insert_rows(connection, bin_keepers, [as_row(one) for one in new.handed])
    insert_rows(connection, photos_shown, [as_row(one) for one in new.shown])


def _wrong(into: Journal, incoming: Incoming, ours: Held, examine: Examine) -> dict[tuple[type, str], str]:
    known = {one.id for one in ours.entries}
    found: dict[tuple[type, str], str | None] = {}
    for entry in incoming.held.entries:
        if isinstance(entry, Photo) and entry.id not in known:
            found[Photo, entry.id] = _wrong_picture(entry, incoming.folder, into.folder)
    for plan in incoming.held.plans:
        found[RegisteredPlan, plan.name] = examine(plan)
    for own in incoming.held.own_claims:
        found[OwnClaims, own.id] = examine(own)
    return {key: detail for key, detail in found.items() if detail is not None}


def _wrong_picture(photo: Photo, there: Path, here: Path) -> str | None:
    """What is wrong with a picture that is to come in.

    It has to be there even if it is here: or whoever knows the hash of a picture that is private here could have it by
    naming it.
    """
    name = Path(photo.file)
    if name.name != photo.file or name.stem != photo.sha256 or name.suffix not in SUFFIXES:
        return f"Its picture has the name {photo.file!r}, which is not that of its own bytes."
    path = there / PHOTOS / photo.file
    if path.is_symlink():
        return f"{path} is a link and no picture."
    if path.is_file() and path.stat().st_size > MAX_BYTES:
        return f"The picture {photo.file} is larger than {MAX_BYTES // 1_000_000} MB."
    if (wrong := wrong_with(there, photo.file, photo.sha256)) is not None:
        return wrong
    standing = here / PHOTOS / photo.file
    if standing.exists() and not holds(standing, photo.sha256):
        return f"{standing} is there with other bytes."
    return None


def _bring_pictures(told: Merge, incoming: Incoming, into: Journal) -> None:
    for entry in told.comes.entries:
        if isinstance(entry, Photo):
            _bring(entry, incoming.folder / PHOTOS, into.folder / PHOTOS)


def _bring(photo: Photo, there: Path, here: Path) -> None:
    path = here / photo.file
    if path.exists():
        return
    try:
        write_whole(path, (there / photo.file).read_bytes())
    except OSError as error:
        if not holds(path, photo.sha256):  # another merge may have brought it at the same moment
            raise disk_error(error, here) from error
    if not holds(path, photo.sha256):
        path.unlink(missing_ok=True)
        raise DiskFailed(folder=here, detail=f"{photo.file} reads back otherwise than it was when it was looked at")
