"""Commands so that nothing is lost: backup, restore, verify."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    JournalOption,
    JsonOption,
    NowOption,
    clock,
    show_json,
    without_controls,
)
from underlid.quantity.zones import zone

if TYPE_CHECKING:
    from underlid.journal.backup import Backup, Verified

BAD = 2  # exit code: something is wrong


def backup(
    to: Annotated[
        Path, typer.Option("--to", envvar="UNDERLID_BACKUPS", help="Folder of the backups, best on another disk.")
    ],
    daily: Annotated[int, typer.Option(min=1, help="For how many days the last backup of each is kept.")] = 7,
    weekly: Annotated[int, typer.Option(min=0, help="For how many weeks the last backup of each is kept.")] = 4,
    monthly: Annotated[int, typer.Option(min=0, help="For how many months the last backup of each is kept.")] = 12,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a backup of the journal while it is in use, read it back, and remove backups that newer ones make needless.

    It holds the records in a SQLite file, also where the journal has them in PostgreSQL, and each picture once for all
    backups. A backup is only removed when it is good itself and a newer good one holds all of it.
    """
    from underlid.journal.backup import Keep, rotate
    from underlid.journal.backup import backup as make

    made = make(journal, to, clock(now, zone(None)))
    rotated = rotate(to, Keep(daily, weekly, monthly))
    notes = [*(detail for _, detail in made.wanting), *rotated.notes]
    if _on_one_disk(journal, to):
        what = "pictures of the journal" if made.records_in else "journal"
        notes.append(f"The backup lies on the same disk as the {what}: it does not help when that disk fails.")
    if as_json:
        removed = [each.name for each in rotated.removed]
        show_json({**_as_json(made), "removed": removed, "notes": notes})
    else:
        print(f"{made.folder}: {_sum(made.rows, len(made.pictures))}, read back and found whole.")
        if rotated.removed:
            count = len(rotated.removed)
            print(f"{'1 backup' if count == 1 else f'{count} backups'} removed; newer ones hold all of it.")
        for note in notes:
            print(f"  {note}")
    if made.wanting:
        sys.exit(BAD)


def restore(
    backup: Annotated[
        Path, typer.Argument(help="One backup, or the folder of the backups: the newest good one is then taken.")
    ],
    replace: Annotated[
        bool, typer.Option("--replace", help="Put it in place of the journal that stands, after a backup of that.")
    ] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a backup in place as the journal: verified before and after, whole or not at all.

    The records are in a SQLite file then, wherever they were; move takes them into a database. A journal that has its
    records in PostgreSQL is never replaced.
    """
    from underlid.journal.backup import newest_good
    from underlid.journal.backup import restore as put_in_place

    source, passed = newest_good(backup)
    done = put_in_place(source, journal, clock(now, zone(None)), replace=replace)
    if as_json:
        earlier, aside = done.earlier and str(done.earlier.folder), done.aside and str(done.aside)
        show_json({**_as_json(done.backup), "journal": str(journal), "earlier": earlier, "aside": aside,
                   "records_in": done.backup.records_in or None,
                   "notes": [*passed, *(detail for _, detail in done.backup.wanting)]})  # fmt: skip
        return
    for sentence in passed:
        print(sentence)
    held = _sum(done.backup.rows, len(done.backup.pictures))
    print(f"{journal} holds the backup of {done.backup.made_at:%Y-%m-%d %H:%M} again: {held}.")
    if done.earlier is not None:
        stood = _sum(done.earlier.rows, len(done.earlier.pictures))
        print(f"What stood there before ({stood}) is kept as {done.earlier.folder}.")
    if done.aside is not None:
        print(f"The damaged journal that stood there is kept as it was in {done.aside}.")
    if done.backup.records_in:
        url = without_controls(done.backup.records_in)  # a backup may come from elsewhere
        print(f"Its records are in a file now. When the backup was made they were in {url};")
        print("  underlid move --to takes them into an empty database, or into that one while it holds nothing else.")
    for _, detail in done.backup.wanting:
        print(f"  When the backup was made: {detail}")


def verify(
    backup: Annotated[
        Path | None, typer.Argument(help="One backup, or the folder of the backups; the journal itself if left out.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    as_json: JsonOption = False,
) -> None:
    """Read the journal, or backups, whole, with every picture, and say what is not as it was written."""
    from underlid.journal.backup import verify as verify_backup
    from underlid.journal.backup import verify_journal
    from underlid.journal.manifest import MANIFEST, NoBackup, folders

    if backup is None:
        found = {str(journal): verify_journal(journal)}
    else:
        these = folders(backup) if not (backup / MANIFEST).is_file() else [backup]
        if not these:
            raise NoBackup(folder=backup)
        known: dict[Path, bool] = {}
        found = {str(each): verify_backup(each, known) for each in these}
    if as_json:
        show_json([_verified(name, each) for name, each in found.items()])
    else:
        for name, each in found.items():
            judged = "all as written" if each.good else f"{len(each.problems)} found wrong"
            print(f"{name}: {_sum(each.rows, each.pictures)} read, {judged}.")
            for sentence in each.problems:
                print(f"  {sentence}")
            for sentence in each.notes:
                print(f"  ({sentence})")
    if not all(each.good for each in found.values()):
        sys.exit(BAD)


def _as_json(made: Backup) -> dict[str, object]:
    return {
        "backup": str(made.folder),
        "made_at": made.made_at.isoformat(),
        "schema": made.schema,
        "rows": made.rows,
        "photos": len(made.pictures),
        "wanting": [file for file, _ in made.wanting],
    }


def _verified(name: str, found: Verified) -> dict[str, object]:
    return {
        "looked_at": name,
        "good": found.good,
        "rows": found.rows,
        "photos": found.pictures,
        "problems": list(found.problems),
        "notes": list(found.notes),
    }


def _sum(rows: Mapping[str, int], pictures: int) -> str:
    from underlid.journal.tables import ENTRY_TABLES
    from underlid.quantity.show import many

    entries = sum(rows.get(table.name, 0) for table in ENTRY_TABLES.values())
    parts = (
        (rows.get("bins", 0), "bin", "bins"),
        (entries, "entry", "entries"),
        (pictures, "picture", "pictures"),
    )
    return ", ".join(many(*part) for part in parts)


def _on_one_disk(journal: Path, to: Path) -> bool:
    """Whether both lie on one file system, so surely on one disk; two of them may still share one."""
    return journal.stat().st_dev == to.stat().st_dev
