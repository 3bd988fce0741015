"""A journal: one folder with one SQLite file `journal.sqlite` and the pictures in `photos/`.

For a school or a club the records may be in a PostgreSQL database instead: `Journal.create(folder, url)`. The folder
then holds `journal.toml`, which names the database, and is opened as any other; see `place`.

    with Journal.open(folder) as journal:
        journal.add([reading])
        journal.entries("north", kind=Reading)

The journal only grows. A correction is an entry of its own whose `corrects` names the earlier one;
both stay, and `entries` shows the earlier one only when asked. When `add` returns, the entries are
on the disk; when it raises, nothing was stored. Every error is a JournalError.

Times come back with the offset that they were stored with, as fixed offsets.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar, overload

from sqlalchemy import Connection, Engine

from underlid.files import sync_folder
from underlid.journal.database import (
    commit,
    connect,
    damaged,
    for_reading,
    for_writing,
    migrate,
    problems,
    revision,
    speaking,
    trying_again,
)
from underlid.journal.errors import (
    JournalError,
    JournalExists,
    JournalMoved,
    NoJournal,
    NotAJournal,
    UnknownEntry,
    disk_error,
)
from underlid.journal.keepers import (
    add_keeper,
    check_keepers,
    hand_bin,
    just_after,
    load_bin_keepers,
    load_keepers,
    load_photos_shown,
    load_taken_over,
    show_photo,
)
from underlid.journal.place import FILE as FILE
from underlid.journal.place import POINTER, Where, address, holds_journal, point, shown, where
from underlid.journal.plans import (
    add_change,
    add_claims,
    add_plan,
    load_changes,
    load_claims,
    load_plan,
    load_plans,
)
from underlid.journal.queries import (
    count_entries,
    insert_entries,
    insert_rows,
    load_bins,
    load_containers,
    load_entries,
    load_linked,
)
from underlid.journal.rows import as_row, container_row
from underlid.journal.rules import Standing, is_new, is_new_bin, originals_first, unknown_bin
from underlid.journal.tables import HEAD, bedding_layers, bins, containers
from underlid.quantity.amount import VagueAmount
from underlid.records import (
    AnyEntry,
    Bin,
    BinKeeper,
    Keeper,
    OwnClaims,
    PhotoShown,
    PhotosShown,
    PlanChange,
    RegisteredPlan,
)

PHOTOS = "photos"

Kept = TypeVar("Kept", bound=AnyEntry)


class Journal:
    """An open journal. Make one with `Journal.create` or `Journal.open`, and close it (or use `with`)."""

    def __init__(self, folder: Path, engine: Engine) -> None:
        self.folder = folder
        self._engine = engine
        self._where = where(folder)

    @classmethod
    def create(cls, folder: Path | str, url: str | None = None) -> Self:
        """Make a new journal in `folder`, which is made too if it is missing.

        With a `url` such as postgresql://keeper@db.example/worms its records go into that database, which must be
        there and empty.
        """
        folder = Path(folder)
        if url is not None:
            address(url)
        try:
            (folder / PHOTOS).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise disk_error(error, folder) from error
        # A file without tables is what a creation that was cut off leaves: go on with it.
        if (folder / POINTER).exists() or ((folder / FILE).exists() and revision(folder / FILE) is not None):
            raise JournalExists(folder=folder)
        store: Where = folder / FILE if url is None else address(url)
        engine = connect(store)
        with _closing_on_error(engine):
            if not isinstance(store, Path) and revision(store, engine) is not None and _holds_bins(store, engine):
                raise JournalExists(folder=shown(store))
            migrate(engine, store)
            try:
                if not isinstance(store, Path):
                    point(folder, store)
                sync_folder(folder)
                sync_folder(folder.absolute().parent)
            except OSError as error:
                raise disk_error(error, folder) from error
            return cls(folder, engine)

    @classmethod
    def open(cls, folder: Path | str) -> Self:
        """Open the journal in `folder`; one made by an older underlid is brought up to date first."""
        folder = Path(folder)
        store = where(folder)
        if isinstance(store, Path) and not store.is_file():
            raise NoJournal(folder=folder)
        engine = connect(store)
        with _closing_on_error(engine):
            found = revision(store, engine)
            if found is None and isinstance(store, Path):
                raise NoJournal(folder=folder)
            if found is None:
                raise NotAJournal(path=shown(store), detail="it is empty")
            if found != HEAD:
                migrate(engine, store)
            journal = cls(folder, engine)
            with journal._reading() as connection:  # so that a store that cannot be used fails here
                load_bins(connection)
        return journal

    @staticmethod
    def exists(folder: Path | str) -> bool:
        """Whether a journal is in `folder`, wherever its records are; whether it can be opened is not looked at."""
        return holds_journal(Path(folder))

    @property
    def path(self) -> Path:
        """The SQLite file, for a journal that has its records there."""
        return self.folder / FILE

    @property
    def url(self) -> str | None:
        """The database that the records are in, None if that is the SQLite file."""
        return None if isinstance(self._where, Path) else shown(self._where)

    def close(self) -> None:
        """Close the file, or the connections to the server."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self.close()

    def check(self) -> None:
        """Read the whole store; raise DamagedJournal if anything in it is not as it was written."""
        with self._reading() as connection:
            if wrong := problems(connection):
                raise damaged(self._where, "; ".join(wrong[:3]))
            load_bins(connection)
            load_entries(connection)
            load_containers(connection)
            load_plans(connection)  # each with its hash
            load_changes(connection)
            load_claims(connection)
            check_keepers(connection)

    # --- bins ---------------------------------------------------------------------------------------

    @trying_again
    def add_bin(self, new: Bin) -> None:
        """Store a bin and its bedding; the same bin again is harmless.

        Raises DuplicateBin if the name is taken, in capitals or not.
        """
        with self._writing() as connection:
            if is_new_bin(new, load_bins(connection)):
                insert_rows(connection, bins, [as_row(new)])
                insert_rows(connection, bedding_layers, [as_row(layer) | {"bin": new.name} for layer in new.layers])
                commit(connection)

    def bins(self) -> tuple[Bin, ...]:
        """Every bin, the longest running first."""
        with self._reading() as connection:
            found = load_bins(connection).values()
        return tuple(sorted(found, key=lambda each: (each.started.start, each.name)))

    def bin(self, name: str) -> Bin:
        """Return one bin; raise UnknownBin, which lists those there are."""
        with self._reading() as connection:
            return _one_bin(connection, name)

    # --- entries ------------------------------------------------------------------------------------

    def add(self, entries: Sequence[AnyEntry]) -> None:
        """Store `entries`, all or none. An entry that stands already with the same content is harmless.

        `noted_at` does not count as content, so a phone may send the same entry again.
        """
        for error in self.offer(entries).values():
            raise error

    @trying_again
    def offer(
        self, entries: Sequence[AnyEntry], *, skip_bad: bool = False, dry_run: bool = False
    ) -> dict[int, JournalError]:
        """Try each entry, and return what is wrong with it, by its position; nothing wrong, nothing returned.

        If any is refused nothing is stored, unless `skip_bad`; a dry run stores nothing ever.
        """
        refused: dict[int, JournalError] = {}
        new: list[AnyEntry] = []
        with self._writing() as connection:
            ids = {entry.id for entry in entries} | {entry.corrects for entry in entries if entry.corrects}
            standing = Standing.of(load_bins(connection), load_linked(connection, sorted(ids)))
            for position in originals_first(entries):
                try:
                    if is_new(entries[position], standing):
                        standing.take(entries[position])
                        new.append(entries[position])
                except JournalError as error:
                    refused[position] = error
            if not dry_run and (skip_bad or not refused):
                insert_entries(connection, new)
                commit(connection)
        return dict(sorted(refused.items()))

    @overload
    def entries(
        self, bin_name: str | None = None, *, superseded: bool = False, kind: None = None
    ) -> tuple[AnyEntry, ...]: ...

    @overload
    def entries(
        self, bin_name: str | None = None, *, superseded: bool = False, kind: type[Kept]
    ) -> tuple[Kept, ...]: ...

    def entries(
        self, bin_name: str | None = None, *, superseded: bool = False, kind: type[Any] | None = None
    ) -> tuple[Any, ...]:
        """Entries in order of time, of one bin and one kind or of all.

        An entry that a later one corrects is left out, unless `superseded`.
        """
        with self._reading() as connection:
            if bin_name is not None:
                _one_bin(connection, bin_name)
            found = load_entries(connection, kind=kind, bin_name=bin_name)
        if not superseded:
            corrected = {entry.corrects for entry in found}
            found = [entry for entry in found if entry.id not in corrected]
        return tuple(sorted(found, key=lambda entry: (entry.when.start, entry.when.end, entry.id)))

    def entry_counts(self) -> dict[str, int]:
        """How many entries each bin has, corrected ones counted; every bin is told, by name, at no great cost."""
        with self._reading() as connection:
            return count_entries(connection)

    def history(self, entry_id: str) -> tuple[AnyEntry, ...]:
        """Return an entry with all that it corrects and all that corrects it, the first words first."""
        with self._reading() as connection:
            near = load_linked(connection, [entry_id])
            if entry_id not in near:
                raise UnknownEntry(id=entry_id)
            chain = [near[entry_id]]
            while (earlier := chain[0].corrects) is not None:
                chain.insert(0, load_linked(connection, [earlier])[earlier])
            while later := [e for e in near.values() if e.corrects == chain[-1].id]:
                chain += later  # one at most: the table sees to it
                near = load_linked(connection, [later[0].id])
        return tuple(chain)

    # --- containers ---------------------------------------------------------------------------------

    @trying_again
    def set_container(self, name: str, holds: VagueAmount) -> None:
        """Say how much (L or kg) a container of the keeper's holds. What was said before stays in the file.

        Capitals in the name do not count: it is kept in lower case.
        """
        name = " ".join(name.lower().split())
        row = container_row(name, holds)
        with self._writing() as connection:
            if load_containers(connection).get(name) != holds:
                insert_rows(connection, containers, [row])
                commit(connection)

    def containers(self) -> dict[str, VagueAmount]:
        """Return what the keeper's own containers hold, by name."""
        with self._reading() as connection:
            return load_containers(connection)

    # --- trial plans --------------------------------------------------------------------------------

    @trying_again
    def register(self, plan: RegisteredPlan) -> None:
        """Store a trial plan for good; the same text again under the same name is harmless.

        Raises PlanExists if the name is taken, in capitals or not, and Unstorable if the hash is not of the text.
        """
        with self._writing() as connection:
            add_plan(connection, plan)
            commit(connection)

    def plans(self) -> tuple[RegisteredPlan, ...]:
        """Every registered plan, the first registered first."""
        with self._reading() as connection:
            return tuple(load_plans(connection).values())

    def plan(self, name: str) -> RegisteredPlan:
        """Return one plan; raise UnknownPlan, which lists those there are."""
        with self._reading() as connection:
            return load_plan(connection, name)

    @trying_again
    def change_plan(self, change: PlanChange) -> None:
        """Store a change to a registered plan, which itself stays; the same change again is harmless.

        Whether the plan has the bin that the change names is not looked at: a plan is text here.
        """
        with self._writing() as connection:
            add_change(connection, change)
            commit(connection)

    def plan_changes(self, name: str) -> tuple[PlanChange, ...]:
        """Return the changes to one plan, oldest first; raise UnknownPlan if it is not there."""
        with self._reading() as connection:
            load_plan(connection, name)
            return tuple(load_changes(connection, name))

    @trying_again
    def keep_claims(self, own: OwnClaims) -> None:
        """Store the keeper's own claims as they were given; the earlier ones stay, and the same again is harmless."""
        with self._writing() as connection:
            add_claims(connection, own)
            commit(connection)

    def own_claims(self) -> tuple[OwnClaims, ...]:
        """Return all that the keeper gave as own claims, oldest first."""
        with self._reading() as connection:
            return tuple(load_claims(connection))

    # --- keepers ------------------------------------------------------------------------------------

    @trying_again
    def keep_keeper(self, keeper: Keeper) -> None:
        """Store a keeper, or what is different about one, whose earlier records stay; the same again is harmless.

        Raises KeeperExists if the name is taken in other capitals, FirstSteward if the first keeper is none, and
        LastSteward if nobody would be one any more.
        """
        with self._writing() as connection:
            add_keeper(connection, keeper)
            commit(connection)

    def keepers(self) -> dict[str, Keeper]:
        """Return what holds of every keeper, by name; nobody is in it where one person keeps the journal."""
        with self._reading() as connection:
            return load_keepers(connection)

    def just_after(self, now: datetime) -> datetime:
        """Return `now`, or the moment after all that was said of keepers, their bins and photos, if that is later.

        What is noted at that moment holds, also where two things are said in one second or a clock was set back.
        """
        with self._reading() as connection:
            return just_after(connection, now)

    @trying_again
    def hand_bin(self, handed: BinKeeper) -> None:
        """Store whose a bin is from now on; the same again is harmless. Raises UnknownBin or UnknownKeeper."""
        with self._writing() as connection:
            hand_bin(connection, handed)
            commit(connection)

    def bin_keepers(self) -> dict[str, str]:
        """Return whose each bin is, by the bin's name; one that was never handed to anybody is not in it."""
        with self._reading() as connection:
            return load_bin_keepers(connection)

    def taken_over(self) -> dict[str, datetime]:
        """Return since when each bin is its keeper's, by its name; one that was nobody else's before is not in it."""
        with self._reading() as connection:
            return load_taken_over(connection)

    @trying_again
    def show_photo(self, mark: PhotoShown) -> None:
        """Store that one photo is shared, or kept private; the same again is harmless. Raises UnknownPhoto."""
        with self._writing() as connection:
            show_photo(connection, mark)
            commit(connection)

    def photos_shown(self) -> dict[str, PhotosShown]:
        """Return the photos that are marked on their own, by id; for any other its keeper's `photos` holds."""
        with self._reading() as connection:
            return load_photos_shown(connection)

    # --- inside -------------------------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with speaking(self._where), for_reading(self._engine).connect() as connection:
            self._stay()
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """Lock for writing; what is not committed when the block ends was never there."""
        with speaking(self._where), for_writing(self._engine).connect() as connection:
            connection.begin()
            self._stay()  # under the lock: a move holds it while it changes where the records are
            yield connection

    def _stay(self) -> None:
        if where(self.folder) != self._where:
            raise JournalMoved(folder=self.folder)


def _one_bin(connection: Connection, name: str) -> Bin:
    """The bin of that name, without reading the others; those are read where it is not there, to be named."""
    found = load_bins(connection, name)
    if name not in found:
        raise unknown_bin(name, load_bins(connection))
    return found[name]


def _holds_bins(store: Where, engine: Engine) -> bool:
    with speaking(store), for_reading(engine).connect() as connection:
        return bool(load_bins(connection))


@contextmanager
def _closing_on_error(engine: Engine) -> Iterator[None]:
    try:
        yield
    except BaseException:
        engine.dispose()
        raise
