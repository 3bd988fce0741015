"""Sudden ends: a child that works on a journal is killed (SIGKILL) at a random instant, and the journal looked at."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import timedelta
from itertools import count
from pathlib import Path
from random import Random

from faults_work import (
    NOW,
    Row,
    Tell,
    Work,
    Wrong,
    dump,
    groups,
    hold_together,
    import_file,
    killed,
    log_group,
    log_photo,
    make_journal,
    seconds,
    seconds_to,
    size_of,
    telling,
)
from old_journals import lay_down

from underlid.journal.backup import backup, restore, rotate, verify
from underlid.journal.copied import lacking
from underlid.journal.database import revision
from underlid.journal.errors import JournalExists
from underlid.journal.manifest import folders, read_manifest
from underlid.journal.rotation import Keep
from underlid.journal.store import Journal
from underlid.journal.tables import HEAD

FRESH_AFTER = 15  # kills on one journal, which grows meanwhile
DAY = timedelta(days=1)

#: A place for one kill: the work, and what must hold after it, given what was acknowledged.
Point = tuple[Work, Callable[[list[str]], str]]


def logging(times: int, seed: int, place: Path) -> Row:
    """Lines of words, each with several entries, and now and then a picture."""

    def one(folder: Path, name: str) -> Work:
        def work(tell: Tell) -> None:
            with Journal.open(folder) as journal:
                for number in range(200):
                    group = f"{'photo' if number % 3 == 2 else 'line'}-{name}-{number}"
                    (log_photo if number % 3 == 2 else _log)(journal, group, place)
                    tell(group)

        return work

    return _growing(Row("logging lines and pictures"), times, seed, place, one, 12)


def importing(times: int, seed: int, place: Path) -> Row:
    """CSV files, each stored whole or not at all."""

    def one(folder: Path, name: str) -> Work:
        def work(tell: Tell) -> None:
            with Journal.open(folder) as journal:
                for number in range(20):
                    import_file(journal, f"import-{name}-{number}")
                    tell(f"import-{name}-{number}")

        return work

    return _growing(Row("importing CSV"), times, seed, place, one, 4)


def creating(times: int, seed: int, place: Path) -> Row:
    """A new journal: afterwards it is there, or can be made."""

    def points() -> Iterator[Point]:
        for number in count():
            folder = place / f"new-{number}"

            def held(_: list[str], folder: Path = folder) -> str:
                path = folder / "journal.sqlite"
                came = "made" if path.exists() and revision(path) == HEAD else "not made"
                if came == "not made":
                    Journal.create(folder).close()
                hold_together(folder, [])
                shutil.rmtree(folder)
                return came

            yield lambda tell, folder=folder: Journal.create(folder).close(), held  # type: ignore[misc]

    return _at_points(Row("making a new journal"), times, seed, points(), place)


def migrating(layout: str, times: int, seed: int, place: Path) -> Row:
    """A journal of an earlier layout, brought up to date when it is opened."""
    source = place / "old"
    lay_down(layout, source)

    def points() -> Iterator[Point]:
        for number in count():
            folder = place / f"old-{number}"
            shutil.copytree(source, folder)

            def held(_: list[str], folder: Path = folder) -> str:
                path = folder / "journal.sqlite"
                came = revision(path)
                if came not in (layout, HEAD):
                    raise Wrong(f"the layout is {came}")
                with Journal.open(folder) as journal:
                    journal.check()
                if rows := lacking(path, source / "journal.sqlite", still=False):
                    raise Wrong(f"{rows} rows are lost or changed")
                shutil.rmtree(folder)
                return f"at {came}"

            yield lambda tell, folder=folder: Journal.open(folder).close(), held  # type: ignore[misc]

    return _at_points(Row(f"bringing layout {layout} up to date"), times, seed, points(), place)


def backing_up(times: int, seed: int, place: Path) -> Row:
    """Backups with their rotation, of a journal that grows meanwhile."""

    def points() -> Iterator[Point]:
        for number in count():
            folder, target = place / f"journal-{number // FRESH_AFTER}", place / f"backups-{number // FRESH_AFTER}"
            if number % FRESH_AFTER == 0:
                shutil.rmtree(place / f"journal-{number // FRESH_AFTER - 1}", ignore_errors=True)
                shutil.rmtree(place / f"backups-{number // FRESH_AFTER - 1}", ignore_errors=True)
                make_journal(folder)
                so_far: list[str] = []

            def work(tell: Tell, number: int = number, folder: Path = folder, target: Path = target) -> None:
                with Journal.open(folder) as journal:
                    for step in range(3):
                        log_group(journal, f"line-{number}-{step}")
                        log_photo(journal, f"photo-{number}-{step}", place)
                        made = backup(folder, target, NOW + (3 * number + step) * DAY)
                        tell(f"{made.folder.name} line-{number}-{step} photo-{number}-{step}")
                        rotate(target, Keep(2, 1, 1))

            def held(
                told: list[str], folder: Path = folder, target: Path = target, so_far: list[str] = so_far
            ) -> str:  # fmt: skip
                hold_together(folder, [], at_work=10**6)
                so_far += [word for line in told for word in line.split()[1:]]
                known: dict[Path, bool] = {}
                for each in folders(target):
                    if problems := verify(each, known).problems:
                        raise Wrong(problems[0])
                if told and target / told[-1].split()[0] not in folders(target):
                    newer = [each for each in folders(target) if each.name > told[-1].split()[0]]
                    if not newer:
                        raise Wrong(f"{told[-1].split()[0]} was acknowledged and is not there")
                if so_far:
                    made = read_manifest(folders(target)[-1])
                    rows = sum(made.rows[table] for table in ("readings", "feedings", "sightings", "photos"))
                    if rows < sum(map(size_of, so_far)) or len(made.pictures) < sum("photo" in g for g in so_far):
                        raise Wrong("the newest backup lacks what an acknowledged one held")
                left = any(target.glob("**/*.part"))
                return f"{len(told)} acknowledged{', one cut off' if left else ''}"

            yield work, held

    return _at_points(Row("making backups and removing needless ones"), times, seed, points(), place)


def restoring(times: int, seed: int, place: Path) -> Row:
    """A backup put in an empty folder: the journal is there whole, or is not there."""
    make_journal(place / "source")
    with Journal.open(place / "source") as journal:
        for number in range(8):
            log_photo(journal, f"photo-{number}", place, size=20_000)
        import_file(journal, "import-0")
    made = backup(place / "source", place / "backups", NOW)
    whole = dump(made.folder / "journal.sqlite")

    def points() -> Iterator[Point]:
        for number in count():
            folder = place / f"restored-{number}"

            def held(_: list[str], folder: Path = folder) -> str:
                came = "there" if (folder / "journal.sqlite").exists() else "not there"
                with suppress(JournalExists):
                    restore(made.folder, folder, NOW)
                hold_together(folder, ["import-0", *(f"photo-{number}" for number in range(8))], at_work=0)
                if dump(folder / "journal.sqlite") != whole:
                    raise Wrong("the restored journal is another one")
                shutil.rmtree(folder)
                return came

            yield lambda tell, folder=folder: _restore(made.folder, folder), held  # type: ignore[misc]

    return _at_points(Row("restoring into an empty folder"), times, seed, points(), place)


def replacing(times: int, seed: int, place: Path) -> Row:
    """A backup put in place of a journal: it is the one or the other, and the other is in a backup."""

    def points() -> Iterator[Point]:
        for number in count():
            folder, target = place / f"journal-{number // FRESH_AFTER}", place / f"backups-{number // FRESH_AFTER}"
            if number % FRESH_AFTER == 0:
                make_journal(folder)
                with Journal.open(folder) as journal:
                    import_file(journal, "import-0")
                first = backup(folder, target, NOW).folder
            with Journal.open(folder) as journal:
                log_group(journal, f"line-{number}")
                log_photo(journal, f"photo-{number}", place)
            stood, wanted = dump(folder / "journal.sqlite"), dump(first / "journal.sqlite")

            def held(
                _: list[str], folder: Path = folder, target: Path = target, stood: list[str] = stood,
                wanted: list[str] = wanted,
            ) -> str:  # fmt: skip
                groups(folder)
                now = dump(folder / "journal.sqlite")
                if now == stood:
                    return "as it stood"
                if now != wanted:
                    raise Wrong("the journal is neither what stood nor what was restored")
                if not any(dump(each / "journal.sqlite") == stood for each in folders(target)):
                    raise Wrong("what stood is in no backup")
                return "replaced"

            yield (lambda tell, folder=folder, first=first: _restore(first, folder, replace=True)), held  # type: ignore[misc]

    return _at_points(Row("restoring in place of a journal"), times, seed, points(), place)


# --- inside -----------------------------------------------------------------------------------------


def _log(journal: Journal, group: str, _: Path) -> None:
    log_group(journal, group)


def _restore(source: Path, folder: Path, *, replace: bool = False) -> None:
    restore(source, folder, NOW, replace=replace)


def _growing(
    row: Row, times: int, seed: int, place: Path, one: Callable[[Path, str], Work], steps: int
) -> Row:  # fmt: skip
    """Kill work that goes on and on, again and again on the same journal: nothing acknowledged may ever go.

    The kills fall within the time that so many steps take.
    """
    random = Random(seed)
    make_journal(place / "timed")
    span_s = seconds_to(one(place / "timed", "timed"), steps)
    acknowledged: list[str] = []
    for number in range(times):
        folder = place / f"{number // FRESH_AFTER}"
        if number % FRESH_AFTER == 0:
            shutil.rmtree(place / f"{number // FRESH_AFTER - 1}", ignore_errors=True)
            make_journal(folder)
            acknowledged = []
        with telling(row, f"{seed}, kill {number}"):
            new, cut = killed(one(folder, f"{number}"), random.uniform(0, span_s))
            found = hold_together(folder, [*acknowledged, *new])
            row.outcomes["stored but not acknowledged"] += len(found) - len(acknowledged) - len(new)
            acknowledged = list(found)
            row.outcomes["groups acknowledged"] += len(new)
            row.times += cut
    return row


def _at_points(row: Row, times: int, seed: int, points: Iterator[Point], place: Path) -> Row:
    """Kill work that has an end, at instants all over its length."""
    random = Random(seed)
    whole_s = math.inf
    for _ in range(2):  # unkilled, to know how long it takes; the first is slow
        with telling(row, f"{seed}, unkilled"):
            work, held = next(points)
            whole_s = min(whole_s, seconds(work))
            held([])
    tries = 0
    while row.times < times and tries < 3 * times:
        tries += 1
        with telling(row, f"{seed}, kill {tries}"):
            work, held = next(points)
            told, cut = killed(work, random.uniform(0, whole_s))
            came = held(told)
            row.outcomes[came if cut else "done before the kill came"] += 1
            row.times += cut
    return row
