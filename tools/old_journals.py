"""Journals as each earlier layout left them, as SQL text in tests/journal/old/: what a migration has to bring along.

    python tools/old_journals.py

For each layout it runs the migrations up to it and fills every table that the layout has, past the store, since the
store knows only the newest layout. A dump that is there already is not made anew: it stands for journals out there.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from underlid.files import write_whole
from underlid.journal.database import connect, for_writing

OLD = Path(__file__).parents[1] / "tests" / "journal" / "old"
ROWS = 12  # of each table
_TIMES = {"kind": "between", "flags": '["which year?"]', "words": "5/1"}


def main() -> None:
    config = Config()
    config.set_main_option("script_location", "underlid.journal:migrations")
    config.set_main_option("path_separator", "os")
    for script in reversed(list(ScriptDirectory.from_config(config).walk_revisions())):
        path = OLD / f"{script.revision}.sql"
        if not path.exists():
            with TemporaryDirectory() as folder:
                write_whole(path, _dump(Path(folder) / "journal.sqlite", config, script.revision).encode())
            print(f"{path.name} made")


def layouts() -> list[str]:
    """The layouts of which there is a dump, the oldest first."""
    return sorted(path.stem for path in OLD.glob("*.sql"))


def lay_down(layout: str, folder: Path) -> None:
    """Make the journal of a layout in a folder."""
    (folder / "photos").mkdir(parents=True)
    with closing(sqlite3.connect(folder / "journal.sqlite")) as file:
        file.executescript((OLD / f"{layout}.sql").read_text("utf-8"))
        file.execute("PRAGMA journal_mode = WAL").close()


def _dump(path: Path, config: Config, layout: str) -> str:
    engine = connect(path)
    with for_writing(engine).connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, layout)
        connection.commit()
    engine.dispose()
    with closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA foreign_keys = OFF")
        names = [row[0] for row in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        with file:
            for name in sorted(set(names) - {"alembic_version"}):
                _fill(file, name)
        loose = file.execute("PRAGMA foreign_key_check").fetchall()
        if loose:
            raise RuntimeError(f"{layout}: loose rows {loose[:3]}")
        return "\n".join(file.iterdump()) + "\n"


def _fill(file: sqlite3.Connection, table: str) -> None:
    columns = file.execute(f'PRAGMA table_info("{table}")').fetchall()
    for number in range(ROWS):
        row = {name: _value(table, name, kind, number) for _, name, kind, *_ in columns}
        marks = ", ".join("?" * len(row))
        names = ", ".join(f'"{name}"' for name in row)
        file.execute(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', list(row.values()))


def _value(table: str, name: str, kind: str, number: int) -> str | float | int | None:
    """A value that the store takes: it reads every row of a journal that is brought up to date."""
    first, _, part = name.rpartition("_")
    bin_name = f"bin {number}"
    named: dict[str, str | float | None] = {
        "bin": bin_name, "name": bin_name if table == "bins" else f"{table} {number}", "corrects": None,
        "position": 0, "sample": f"sample_counts-{number}", "plan": f"plans {number}", "timezone": "Europe/Paris",
        "siting": "unheated shed", "base": "feet", "wall": "wood", "species": "Eisenia fetida", "material": "leaves",
        "quantity": "temperature", "place": "0.1 degree" if table == "keepers" else "middle", "instrument": "",
        "stage": "adult", "what": "bin dropped",
        "noted_at": "2026-01-05T21:30:00+01:00", "registered_at": "2026-01-05T21:30:00+01:00",
        "file": f"{number:064x}.jpg", "sha256": f"{number:064x}", "sentence": "Coffee warms a bin.",
        "role": "steward", "shown_as": "", "photos": "private", "keeper": f"keepers {number}",
        "photo": f"photos-{number}", "shown": "shared", "latitude": number + 0.5, "longitude": -number - 0.25,
        "text": f"plan {number} ☘", "words": f"said {number}: '½', “☘”\nand more",
    }  # fmt: skip
    if table == "plans" and name == "sha256":
        return hashlib.sha256(f"plan {number} ☘".encode()).hexdigest()
    if name == "id":
        return number if kind == "INTEGER" else f"{table}-{number}"
    if name in named:
        return named[name]
    times = first in ("when", "started")
    if times and part in ("start", "end"):
        return f"2026-01-{number + 5:02}T{'08' if part == 'start' else '09'}:30:00+01:00"
    if part in ("low", "high"):
        return number + (0.5 if part == "low" else 0.75)
    if part == "unit":
        return {"founders": "1", "amount": "degC", "volume": "L", "count": "1", "moisture": "%", "holds": "L"}.get(
            first, "m"
        )
    return _TIMES[part]


if __name__ == "__main__":
    main()
