"""Trouble that can be staged: full disks, places that cannot be written, clocks set back, many writers at once."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from random import Random

from faults_work import (
    NOW,
    Child,
    Row,
    Tell,
    Wrong,
    dump,
    hold_together,
    import_file,
    log_group,
    log_photo,
    make_journal,
    run,
    start,
    telling,
)

from underlid.journal.backup import automatic, backup, restore, rotate, verify, verify_journal
from underlid.journal.copied import lacking
from underlid.journal.errors import JournalError
from underlid.journal.manifest import folders, read_manifest
from underlid.journal.rotation import Keep
from underlid.journal.store import Journal

MOST_FREE = 700_000  # bytes left on a disk that is to run full
DISK = "24m"
NOBODY = 65534
DAY = timedelta(days=1)
_FILLER = "filler"


def full_disk(times: int, seed: int, place: Path) -> Row:
    """A disk with little room, on which everything is done until it is full, then room is made again."""
    row, random = Row("a full disk"), Random(seed)
    with small_disk(place / "disk") as disk:
        if disk is None:
            row.outcomes["not staged: a disk of its own needs root"] = 1
            return row
        outside = place / "outside"
        make_journal(outside)
        with Journal.open(outside) as journal:
            for number in range(5):
                log_photo(journal, f"photo-{number}", place, size=40_000)
            import_file(journal, "import-0")
        kept = backup(outside, place / "backups", NOW).folder
        works: dict[str, Callable[[Path, Tell], None]] = {
            "logging": _log_on,
            "importing": _import_on,
            "pictures": lambda folder, tell: _photos_on(folder, tell, place),
            "backup": lambda folder, tell: tell(backup(outside, folder.parent / "backups", NOW).folder.name),
            "restore": lambda folder, tell: tell(str(restore(kept, folder.parent / "again", NOW).earlier)),
            "new journal": lambda folder, tell: make_journal(folder.parent / "new"),
        }
        for number in range(times):
            name = list(works)[number % len(works)]
            with telling(row, f"{seed}, disk {number} ({name})"):
                row.outcomes[f"{name}: {_on_full_disk(disk, works[name], random.randrange(MOST_FREE))}"] += 1
                row.times += 1
    return row


def unwritable(place: Path) -> Row:
    """A folder or file of somebody else, and a disk that can only be read."""
    row = Row("places that cannot be written")
    theirs = place / "theirs"
    make_journal(theirs)
    with Journal.open(theirs) as journal:
        log_photo(journal, "photo-0", place)
    kept = backup(theirs, place / "backups", NOW).folder
    before = dump(theirs / "journal.sqlite")
    own = place / "own"
    own.mkdir()
    attempts: dict[str, Callable[[], object]] = {
        "opening": lambda: Journal.open(theirs).close(),
        "logging": lambda: _log_once(theirs),
        "a new journal": lambda: Journal.create(place / "backups" / "inner").close(),
        "backup": lambda: backup(own / "journal", place / "backups", NOW),
        "restore": lambda: restore(kept, place / "backups" / "again", NOW),
        "restore in place": lambda: restore(kept, theirs, NOW, replace=True),
    }
    restore(kept, own / "journal", NOW)
    for path in (own, *own.rglob("*")):
        os.chown(path, NOBODY, NOBODY) if os.geteuid() == 0 else None
    for path in (theirs, theirs / "photos", place / "backups", place / "backups" / "photos"):
        path.chmod(0o555)
    (theirs / "journal.sqlite").chmod(0o444)
    place.chmod(0o755)
    for name, attempt in attempts.items():
        with telling(row, name):
            came = run(lambda tell, attempt=attempt: _as_nobody(tell, attempt))[-1]  # type: ignore[misc]
            row.outcomes[f"{name}: {came}"] += 1
            row.times += 1
    with telling(row, "verifying a backup that can only be read"):
        if run(lambda tell: _as_nobody(tell, lambda: _good(kept)))[-1] != "done":
            raise Wrong("the backup cannot be verified")
        row.times += 1
        row.outcomes["verifying a backup: done"] += 1
    if dump(theirs / "journal.sqlite") != before:
        row.faults.append("the journal that cannot be written was changed")
    for path in (theirs, theirs / "photos", place / "backups", place / "backups" / "photos"):
        path.chmod(0o755)
    return row


def wandering_clock(times: int, seed: int, place: Path) -> Row:
    """Backups by a clock that jumps to and fro by up to a year: none dated later may go, and nothing may be lost."""
    row, random = Row("backups by a clock that is set back and forward"), Random(seed)
    make_journal(place / "journal")
    target, now = place / "backups", NOW
    for number in range(times):
        with telling(row, f"{seed}, step {number}"):
            now += random.choice([DAY, DAY, DAY, timedelta(hours=2), -30 * DAY, 300 * DAY, -400 * DAY])
            with Journal.open(place / "journal") as journal:
                log_group(journal, f"line-{number}", max(now, NOW))
            before = {each: read_manifest(each) for each in folders(target)}
            made = automatic(place / "journal", target, now, Keep(3, 2, 2))
            row.outcomes["made" if made else "not again on the same day"] += 1
            after = folders(target)
            newest = read_manifest(after[-1])
            gone = [each for folder, each in before.items() if folder not in after]
            row.outcomes["removed"] += len(gone)
            if made and newest.number != made.number:
                raise Wrong("the backup just made is not there")
            if any(each.made_at > newest.made_at for each in gone):
                raise Wrong("a backup dated later than the newest was removed")
            if problems := verify(after[-1]).problems:
                raise Wrong(problems[0])
            row.times += 1
    row.outcomes["kept at the end"] = len(folders(target))
    return row


def clock_back_while_logging(times: int, seed: int, place: Path) -> Row:
    """Lines written by a clock that jumps: each is stored as it is dated, or refused as before the bin."""
    row, random = Row("logging by a clock that is set back and forward"), Random(seed)
    make_journal(place)
    with Journal.open(place) as journal:
        acknowledged = []
        for number in range(times):
            with telling(row, f"{seed}, line {number}"):
                row.times += 1
                try:
                    log_group(journal, f"line-{number}", NOW + random.randrange(-900, 900) * DAY)
                    acknowledged.append(f"line-{number}")
                    row.outcomes["stored"] += 1
                except ValueError as error:
                    if not type(error).__module__.startswith("underlid."):
                        raise
                    row.outcomes[f"refused: {type(error).__name__}"] += 1
    with telling(row, seed):
        hold_together(place, acknowledged, at_work=0)
    return row


def many_writers(writers: int, each: int, place: Path) -> Row:
    """Processes that log, keep pictures and import at once, while backups are made."""
    row = Row(f"{writers} writers at once, with pictures and imports, and backups meanwhile")
    folder, target = place / "journal", place / "backups"
    make_journal(folder)

    def write(name: str) -> Callable[[Tell], None]:
        def work(tell: Tell) -> None:
            with Journal.open(folder) as journal:
                for number in range(each):
                    kind = ("line", "line", "photo", "import")[number % 4]
                    group = f"{kind}-{name}-{number}"
                    if kind == "photo":
                        log_photo(journal, group, place)
                        log_photo(journal, f"photo-all-{number}", place / name)  # the same by all writers
                    elif kind == "import":
                        import_file(journal, group)
                    else:
                        log_group(journal, group)
                    tell(group)

        return work

    def keep(tell: Tell) -> None:
        for number in range(max(2, each // 3)):
            made = backup(folder, target, NOW + number * DAY)
            tell(made.folder.name)
            rotate(target, Keep(2, 1, 1))

    for number in range(writers):
        (place / str(number)).mkdir()
    with telling(row, f"{writers} writers"):
        children: list[Child] = [*(start(write(str(number))) for number in range(writers)), start(keep)]
        ended = [child.end() for child in children]
        if bad := [(lines[-1:], code) for lines, code in ended if code]:
            raise Wrong(str(bad[0]))
        told = [line for lines, _ in ended[:-1] for line in lines]
        alike = [f"photo-all-{number}" for number in range(each) if number % 4 == 2]
        found = hold_together(folder, [*told, *alike], at_work=0)
        row.times = len(told)
        row.outcomes["entries there, each once"] = sum(found.values())
        row.outcomes["backups made meanwhile"] = len(ended[-1][0])
        for made in folders(target):
            if problems := verify(made).problems:
                raise Wrong(problems[0])
            if lacking(folder / "journal.sqlite", made / "journal.sqlite", still=False):
                raise Wrong("a backup holds what the journal does not")
            restore(made, place / f"from-{made.name}", NOW)
            hold_together(place / f"from-{made.name}", [], at_work=10**6)
            row.outcomes["of these restored and found whole"] += 1
    return row


# --- a small disk -----------------------------------------------------------------------------------


@contextmanager
def small_disk(at: Path) -> Iterator[Path | None]:
    """A file system in memory with a few megabytes, where this may be mounted."""
    at.mkdir(parents=True)
    if os.name != "posix" or os.geteuid() != 0 or shutil.which("mount") is None:
        yield None
        return
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK}", "none", str(at)], capture_output=True)
    if mounted.returncode != 0:
        yield None
        return
    try:
        yield at
    finally:
        subprocess.run(["umount", str(at)], check=True)


def _on_full_disk(disk: Path, work: Callable[[Path, Tell], None], free: int) -> str:
    for each in disk.iterdir():
        shutil.rmtree(each) if each.is_dir() else each.unlink()
    folder = disk / "journal"
    make_journal(folder)
    room = os.statvfs(disk)
    (disk / _FILLER).write_bytes(bytes(max(0, room.f_bavail * room.f_frsize - free)))
    told = run(lambda tell: _until_refused(folder, work, tell))
    came, acknowledged = told[-1], told[:-1]
    groups = [each for each in acknowledged if each.startswith(("line", "photo", "import"))]
    (disk / _FILLER).unlink()
    hold_together(folder, groups, at_work=0)
    for made in folders(disk / "backups"):
        if problems := verify(made).problems:
            raise Wrong(problems[0])
    if left := [each for each in disk.rglob("*.part")]:
        raise Wrong(f"{left[0].name} is left over")
    if (disk / "again" / "journal.sqlite").exists() != (came == "done" and (disk / "again").exists()):
        raise Wrong("a journal was restored although that was refused")
    # With room again, the same goes.
    if came != "done":
        run(lambda tell: _until_refused(folder, work, tell, once=True))
    verify_journal(folder)
    return came


def _until_refused(folder: Path, work: Callable[[Path, Tell], None], tell: Tell, *, once: bool = False) -> None:
    try:
        work(folder, tell)
        tell("done")
    except JournalError as error:
        if once:
            raise Wrong(f"refused although there is room: {error}") from error
        tell(type(error).__name__)


def _log_on(folder: Path, tell: Tell) -> None:
    with Journal.open(folder) as journal:
        for number in range(150):
            log_group(journal, f"line-{number}")
            tell(f"line-{number}")


def _import_on(folder: Path, tell: Tell) -> None:
    with Journal.open(folder) as journal:
        for number in range(6):
            import_file(journal, f"import-{number}")
            tell(f"import-{number}")


def _photos_on(folder: Path, tell: Tell, scratch: Path) -> None:
    with Journal.open(folder) as journal:
        for number in range(12):
            log_photo(journal, f"photo-{number}", scratch, size=60_000)
            tell(f"photo-{number}")


# --- somebody else's --------------------------------------------------------------------------------


def _as_nobody(tell: Tell, attempt: Callable[[], object]) -> None:
    """Try something without root's rights, to which nothing is forbidden."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    try:
        attempt()
        tell("done")
    except JournalError as error:
        tell(type(error).__name__)


def _log_once(folder: Path) -> None:
    with Journal.open(folder) as journal:
        log_group(journal, "line-x")


def _good(folder: Path) -> None:
    if problems := verify(folder).problems:
        raise Wrong(problems[0])
