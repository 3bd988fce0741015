"""Whether a backup, or the journal itself, is still as it was written: what is wrong is said in sentences."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from underlid.journal.copied import Content, look
from underlid.journal.errors import JournalError
from underlid.journal.manifest import Backup, holds, is_picture, read_manifest
from underlid.journal.store import FILE, PHOTOS, Journal
from underlid.journal.tables import ENTRY_TABLES
from underlid.records import Photo

#: The smaller copies that the pages make of a picture; they can be made again.
_DERIVED = re.compile(r"([0-9a-f]{64})\.(?:w\d+|whole)\.jpg")


@dataclass(frozen=True, slots=True)
class Verified:
    """What was found: problems are faults of what was looked at, notes are not."""

    rows: dict[str, int]
    pictures: int  # that were read and are whole
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def good(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems


def verify(folder: Path, known: dict[Path, bool] | None = None) -> Verified:
    """Read one backup whole: its database, its rows, and each of its pictures.

    `known` carries over which pictures are whole from one backup to the next in the same folder.
    """
    known = {} if known is None else known
    try:
        backup = read_manifest(folder)
    except JournalError as error:
        return Verified({}, 0, (str(error),), ())
    problems = list(_database(backup))
    try:
        content = look(folder / FILE)
    except JournalError as error:
        return Verified({}, 0, (*problems, str(error)), ())
    problems += _rows(backup, content)
    whole = 0
    for picture in backup.pictures:
        path = backup.store / picture.kept_as
        if path not in known:
            known[path] = holds(path, picture.sha256)
        whole += known[path]
        if not known[path]:
            wrong = "is not as it was kept" if path.is_file() else "is missing"
            problems.append(f"The picture {picture.file} {wrong} in {backup.store}.")
    listed = {picture.file for picture in backup.pictures} | {file for file, _ in backup.wanting}
    problems += [
        f"An entry names the picture {file}, of which the backup does not tell."
        for file in sorted({file for file, _ in content.photos} - listed)
    ]
    return Verified(content.rows, whole, tuple(problems), tuple(detail for _, detail in backup.wanting))


def verify_journal(folder: Path | str) -> Verified:
    """Read a journal whole: its database, every entry, and every picture that an entry names."""
    folder = Path(folder)
    with Journal.open(folder) as journal:
        journal.check()
        every = journal.entries(superseded=True)
        rows = {"bins": len(journal.bins())}
    entries = [entry for entry in every if isinstance(entry, Photo)]
    rows |= {table.name: sum(type(entry) is kind for entry in every) for kind, table in ENTRY_TABLES.items()}
    problems, whole, named = [], set(), {entry.file for entry in entries}
    for entry in entries:
        wrong = wrong_with(folder, entry.file, entry.sha256)
        if wrong is None:
            whole.add(entry.file)
        else:
            problems.append(wrong)
    return Verified(rows, len(whole), tuple(dict.fromkeys(problems)), tuple(_loose(folder / PHOTOS, named)))


def wrong_with(folder: Path, file: str, sha256: str) -> str | None:
    """Return what is wrong with a picture of the journal that an entry names, None if nothing is."""
    if not is_picture(file, sha256):
        return f"An entry names the picture {file!r} with the hash {sha256!r}, which can be none of the journal's."
    path = folder / PHOTOS / file
    if not path.is_file():
        return f"The picture {file}, which an entry names, is missing in {path.parent}."
    if not holds(path, sha256):
        return f"The picture {file}, which an entry names, is not as it was kept: its bytes are others."
    return None


def _database(backup: Backup) -> list[str]:
    path = backup.folder / FILE
    if not path.is_file():
        return [f"{path} is missing."]
    if holds(path, backup.database_sha256):
        return []
    return [f"{path} is not as it was made: its bytes are others."]


def _rows(backup: Backup, content: Content) -> list[str]:
    problems = []
    if content.schema != backup.schema:
        problems.append(f"The layout is {content.schema}, and the manifest says {backup.schema}.")
    for table in sorted({*content.rows, *backup.rows}):
        found, told = content.rows.get(table, 0), backup.rows.get(table, 0)
        if found != told:
            problems.append(f"There are {found} rows of {table.replace('_', ' ')}, and the manifest says {told}.")
    return problems


def _loose(photos: Path, named: set[str]) -> list[str]:
    """What lies among the pictures without an entry: left by a sudden end, or put there by hand. No harm."""
    if not photos.is_dir():
        return [f"There is no folder {photos}; it is made with the next picture."]
    known = {Path(file).stem for file in named}
    notes = []
    for path in sorted(photos.iterdir()):
        derived = _DERIVED.fullmatch(path.name)
        if path.name in named or (derived and derived[1] in known):
            continue
        what = "what an interrupted copy left" if path.name.endswith(".part") else "named by no entry"
        notes.append(f"{path.name} in {photos} is {what}; it does no harm.")
    return notes
