"""Who may reach the journal from elsewhere: devices that were paired, and the code that pairs one.

A device holds 256 random bits in a cookie. Only their SHA-256 is kept: a hash of so many random bits cannot be turned
back, so it needs neither salt nor stretching. They are kept in an SQLite file of their own, beside the journal and not
in it, since two servers may write at once and since a copy of the journal should let nobody in.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path

FOLDER = "web"  # within the journal's folder, for its owner alone
FILE = "devices.sqlite"
MOST_DEVICES = 50
CODE_DIGITS = 8
CODE_LASTS = timedelta(minutes=10)
CODE_TRIES = 5
SEEN_EVERY = timedelta(minutes=1)  # how fine "last seen" is

_TABLES = (
    "CREATE TABLE IF NOT EXISTS devices (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, "
    "token_hash BLOB NOT NULL UNIQUE, paired TEXT NOT NULL, seen TEXT NOT NULL, keeper TEXT NOT NULL DEFAULT '')",
    "CREATE TABLE IF NOT EXISTS secret (one INTEGER PRIMARY KEY CHECK (one = 1), value BLOB NOT NULL)",
)


#: Files of before there were several keepers lack it.
_KEEPER = "ALTER TABLE devices ADD COLUMN keeper TEXT NOT NULL DEFAULT ''"


class UnknownDevice(ValueError):
    """No device has that number."""


class TooManyDevices(ValueError):
    """So many devices were paired that something is wrong."""


class DamagedDevices(ValueError):
    """The file of the devices cannot be read."""


class WrongCode(ValueError):
    """The pairing code is not right, or no longer."""


@dataclass(frozen=True, slots=True)
class Device:
    """A paired device; `key` tells it apart and lets nobody in. `keeper` is whose it is, empty where nobody said."""

    id: int
    name: str
    key: bytes
    paired: datetime
    seen: datetime
    keeper: str = ""


def hash_of(token: str) -> bytes:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).digest()


class Devices:
    """The paired devices of a journal. The file is made when it is first needed."""

    def __init__(self, journal: Path) -> None:
        self.path = journal / FOLDER / FILE

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            own_folder(self.path.parent)
            os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))  # before SQLite would make it for all to read
            with closing(sqlite3.connect(self.path, timeout=10)) as connection, connection:
                for table in _TABLES:
                    connection.execute(table)
                if "keeper" not in {row[1] for row in connection.execute("PRAGMA table_info(devices)")}:
                    connection.execute(_KEEPER)
                yield connection
        except (OSError, sqlite3.DatabaseError) as error:
            raise DamagedDevices(
                f"{self.path} cannot be used ({error}): make its folder writable, or delete that file and pair anew."
            ) from error

    @cached_property
    def secret(self) -> bytes:
        """256 bits known to the servers of this journal only; the first to ask makes them."""
        with self._open() as connection:
            connection.execute("INSERT OR IGNORE INTO secret VALUES (1, ?)", (secrets.token_bytes(32),))
            return bytes(connection.execute("SELECT value FROM secret").fetchone()[0])

    def add(self, name: str, now: datetime, keeper: str = "") -> str:
        """Pair a device for a keeper, if there are several; its token, which nobody can ask for again."""
        token = secrets.token_urlsafe(32)
        with self._open() as connection:
            if connection.execute("SELECT count(*) FROM devices").fetchone()[0] >= MOST_DEVICES:
                raise TooManyDevices(f"{MOST_DEVICES} devices are paired already; revoke some first.")
            connection.execute(
                "INSERT INTO devices (name, token_hash, paired, seen, keeper) VALUES (?, ?, ?, ?, ?)",
                (name, hash_of(token), now.isoformat(), now.isoformat(), keeper),
            )
        return token

    def of(self, token: str) -> Device | None:
        """The device that holds this token; None if there is none, or no longer."""
        with self._open() as connection:
            row = connection.execute("SELECT * FROM devices WHERE token_hash = ?", (hash_of(token),)).fetchone()
        return None if row is None else _device(row)

    def all(self) -> list[Device]:
        """Every paired device, the one seen last first."""
        with self._open() as connection:
            return [_device(row) for row in connection.execute("SELECT * FROM devices ORDER BY seen DESC, id")]

    def saw(self, device: Device, now: datetime) -> bool:
        """Note that a device was here; whether that was noted, which it is once a minute."""
        if now - device.seen < SEEN_EVERY:
            return False
        with self._open() as connection:
            connection.execute("UPDATE devices SET seen = ? WHERE id = ?", (now.isoformat(), device.id))
        return True

    def revoke(self, number: int) -> None:
        """Let a device in no longer, from its next request on."""
        with self._open() as connection:
            if connection.execute("DELETE FROM devices WHERE id = ?", (number,)).rowcount == 0:
                raise UnknownDevice("There is no such device; it may have been revoked already.")


def _device(row: tuple[int, str, bytes, str, str, str]) -> Device:
    number, name, key, paired, seen, keeper = row
    return Device(number, name, key, datetime.fromisoformat(paired), datetime.fromisoformat(seen), keeper)


def own_folder(folder: Path) -> None:
    """Make a folder that only its owner may enter."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.chmod(0o700)


@dataclass(slots=True)
class Code:
    """A pairing code, until when it holds, how many wrong tries it still bears, and for whose device it is."""

    digits: str
    until: datetime
    tries: int
    keeper: str = ""

    @property
    def shown(self) -> str:
        """In two groups, as people read it out."""
        return f"{self.digits[:4]} {self.digits[4:]}"


class Pairing:
    """The one pairing code that holds at a time. It lives in memory: a server that starts again starts without one.

    tell : called with a code that replaces one that was tried wrongly too often
    """

    def __init__(self, now: Callable[[], datetime]) -> None:
        self._now = now
        self._code: Code | None = None
        self._lock = threading.Lock()
        self.tell: Callable[[Code], object] = lambda code: None

    @property
    def code(self) -> Code | None:
        """The code that holds now, if any."""
        held = self._code
        return None if held is None or self._now() >= held.until else held

    def renew(self, keeper: str = "") -> Code:
        """A new code in place of any other, for a device of that keeper."""
        with self._lock:
            self._code = Code(_digits(), self._now() + CODE_LASTS, CODE_TRIES, keeper)
            return self._code

    def spend(self, words: str) -> str:
        """Use the code up, and say for whose device it was. Raises WrongCode.

        A code that replaces a guessed-at one ends when the first would have: guessing wins no time.
        """
        given = "".join(words.split()).replace("-", "")
        with self._lock:
            held = self.code
            if held is None:
                raise WrongCode(
                    "No pairing code holds now; ask for a new one on the journal's computer, under Devices."
                )
            if hmac.compare_digest(given.encode(errors="replace"), held.digits.encode()):
                self._code = None
                return held.keeper
            held.tries -= 1
            if held.tries > 0:
                raise WrongCode("That is not the pairing code; look at the journal's computer and try again.")
            self._code = fresh = Code(_digits(), held.until, CODE_TRIES, held.keeper)
        self.tell(fresh)
        raise WrongCode("That was wrong too often; the journal's computer shows a new code.")


def _digits() -> str:
    return f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
