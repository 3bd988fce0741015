"""Where a journal's records are: in `journal.sqlite` in its folder, or in the database that `journal.toml` names.

The folder is the journal either way: pictures and kept results stay in it. `journal.toml` holds one line,

    url = "postgresql://keeper@db.example/worms"

and never a password: PostgreSQL's own client looks for it in ~/.pgpass, PGPASSWORD or a service file. Where both
files are there, `journal.toml` holds, and `journal.sqlite` is what a move left.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from underlid.files import write_whole
from underlid.journal.errors import BadPointer, BadUrl, PasswordInUrl

FILE = "journal.sqlite"
POINTER = "journal.toml"

#: What holds the records: a SQLite file, or a PostgreSQL database.
Where = Path | URL

_HEAD = "# The records of this journal are in this database. Its password belongs into ~/.pgpass, never in here.\n"


def where(folder: Path) -> Where:
    """Return what holds, or is to hold, the records of the journal in `folder`; raise BadPointer if it is not told."""
    pointer = folder / POINTER
    try:
        told = tomllib.loads(pointer.read_text("utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        return folder / FILE
    except (OSError, ValueError) as error:  # bad TOML and bad UTF-8 are both ValueErrors
        raise BadPointer(path=pointer, detail=" ".join(str(error).split())) from error
    if list(told) != ["url"] or not isinstance(told["url"], str):
        raise BadPointer(path=pointer, detail="it must hold one url and nothing else")
    return address(told["url"])


def holds_journal(folder: Path) -> bool:
    """Whether a journal is in `folder`, wherever its records are. What is in them is not looked at."""
    return (folder / POINTER).is_file() or (folder / FILE).is_file()


def address(url: str) -> URL:
    """Return the address of a database; raise BadUrl or PasswordInUrl."""
    try:
        found = make_url(url)
    except (ArgumentError, ValueError) as error:
        raise BadUrl(url="What was given", detail="it cannot be read") from error  # nor shown: it may hold a password
    if found.password is not None or {"password", "sslpassword"} & set(found.query):
        raise PasswordInUrl(path=shown(found))
    if found.drivername not in ("postgresql", "postgres"):
        raise BadUrl(url=shown(found), detail=f"it begins with '{found.drivername}'")
    if not (found.database or "dbname" in found.query or "service" in found.query):
        raise BadUrl(url=shown(found), detail="it names no database")
    return found.set(drivername="postgresql")


def shown(where: Where) -> str:
    """Return how sentences name a store; a password is never shown."""
    if isinstance(where, Path):
        return str(where)
    hidden = [name for name in where.query if "password" in name]
    return where.difference_update_query(hidden).render_as_string(hide_password=True)


def point(folder: Path, database: URL) -> None:
    """Write `journal.toml` whole or not at all; once it is there, the journal's records are in `database`."""
    line = f"url = {json.dumps(shown(database), ensure_ascii=False)}\n"
    write_whole(folder / POINTER, (_HEAD + line).encode())
