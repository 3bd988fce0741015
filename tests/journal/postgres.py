"""A PostgreSQL server of the tests' own: on a socket in a folder of its own, gone with the session."""

from __future__ import annotations

import ctypes
import importlib.util
import os
import pwd
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, Row, create_engine, insert, select, text
from sqlalchemy.pool import NullPool

from underlid.journal.place import address
from underlid.journal.tables import metadata

#: Needs a password, which the others do not.
LOCKED, PASSWORD = "locked", "worms & leaves"
ADMIN = "underlid"

#: Triggers and foreign keys are silent for the rest of a transaction that begins so.
PAST_THE_GUARDS = "SET LOCAL session_replication_role = replica"

Rows = dict[str, list[dict[str, Any]]]

#: The first that can sort a whole server's databases by a language.
OLDEST = 15

PR_SET_PDEATHSIG = 1  # of <linux/prctl.h>

#: Bytes that the databases of all workers fit in with ease: in memory they are made and removed far sooner.
ROOM = 4_000_000_000

_ACCESS = f"local all {LOCKED} scram-sha-256\nlocal all all trust\n"
_SETTINGS = {  # nothing here has to survive a power cut
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "autovacuum": "off",
    "listen_addresses": "",
    "shared_buffers": "32MB",
    "max_connections": "40",
    "log_min_messages": "panic",
}


@dataclass
class Server:
    """A running server. Its databases sort in American English, so that an order left to it would show."""

    home: Path
    idle: list[str] = field(default_factory=list)  # databases at the newest layout that no test uses
    _process: subprocess.Popen[bytes] | None = None
    _numbers: Iterator[int] = field(default_factory=count)

    def url(self, database: str, user: str = ADMIN) -> str:
        return f"postgresql://{user}@/{database}?host={self.home}"

    def engine(self, url: str) -> Engine:
        """A way in past the store, for one who may do all."""
        return create_engine(url.replace("postgresql:", "postgresql+psycopg:"), poolclass=NullPool)

    def run(self, *statements: str, database: str = "postgres") -> list[Row[Any]]:
        """Run statements, each at once; return the rows of the last."""
        with self.engine(self.url(database)).connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            for statement in statements:
                found = connection.execute(text(statement))
            return list(found) if found.returns_rows else []

    def database(self, template: str = "template1", extra: str = "") -> str:
        """Make a database; return its url."""
        name = f"worms_{next(self._numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {template} {extra}")
        return self.url(name)

    def drop(self, url: str) -> None:
        self.run(f"DROP DATABASE {address(url).database} WITH (FORCE)")

    def rows(self, url: str) -> Rows:
        with self.engine(url).connect() as connection:
            return {
                table.name: [row._asdict() for row in connection.execute(select(table))]
                for table in metadata.sorted_tables
            }

    def fill(self, url: str, rows: Rows) -> None:
        """Let a database hold these rows and no others: ten times faster than making another one."""
        with self.engine(url).begin() as connection:
            connection.exec_driver_sql(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
            connection.exec_driver_sql(PAST_THE_GUARDS)
            connection.exec_driver_sql("; ".join(f"DELETE FROM {name}" for name in metadata.tables))
            connection.exec_driver_sql("SELECT setval('containers_id_seq', 1, false)")
            for name, each in rows.items():
                if each:
                    connection.execute(insert(metadata.tables[name]), each)

    def start(self) -> None:
        command = [_program("postgres"), "-D", str(self.home / "data"), "-k", str(self.home)]
        options = [word for name, value in _SETTINGS.items() for word in ("-c", f"{name}={value}")]
        with (self.home / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [*command, *options], stdout=log, stderr=log, preexec_fn=_end_with_us, **_as_whom()
            )
        for _ in range(600):
            ready = subprocess.run([_program("pg_isready"), "-q", "-h", str(self.home)], check=False)
            if ready.returncode == 0:
                return
            time.sleep(0.05)
        raise RuntimeError((self.home / "log").read_text())

    def stop(self) -> None:
        """At once, as a fall of the machine would."""
        if self._process is not None:
            self._process.send_signal(signal.SIGQUIT)
            self._process.wait(30)
            self._process = None


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """The server, begun for the first test that asks; where there is none its tests are skipped with the reason."""
    if missing := why_not():
        if os.environ.get("UNDERLID_NEED_POSTGRESQL"):
            pytest.fail(missing)
        pytest.skip(missing)
    memory = Path("/dev/shm")
    roomy = memory.is_dir() and os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > ROOM
    home = Path(tempfile.mkdtemp(prefix="underlid-postgres-", dir=memory if roomy else None))
    one = Server(home)
    try:
        if "user" in _as_whom():
            shutil.chown(home, *SERVANT)
        with (home / "log").open("wb") as log:
            words = (
                f"--auth=trust --username={ADMIN} --encoding=UTF8 --no-sync --locale-provider=icu --icu-locale=en-US"
            )
            made = [_program("initdb"), "-D", str(home / "data"), "--locale=C.UTF-8", *words.split()]
            subprocess.run(made, check=True, stdout=log, stderr=log, cwd=home, **_as_whom())
        (home / "data" / "pg_hba.conf").write_text(_ACCESS)
        one.start()
        one.run(f"CREATE ROLE {LOCKED} LOGIN PASSWORD '{PASSWORD}'", "CREATE ROLE guest LOGIN")
        yield one
    finally:
        one.stop()
        shutil.rmtree(home, ignore_errors=True)


SERVANT = ("postgres", "postgres")


def why_not() -> str:
    """Why there is no server to test with, in words; empty if there is one."""
    if importlib.util.find_spec("psycopg") is None:
        return "PostgreSQL is not tested: the package psycopg is not installed"
    if not _programs():
        return "PostgreSQL is not tested: no server is installed (Debian: apt-get install postgresql)"
    version = subprocess.run([_program("postgres"), "--version"], check=True, capture_output=True, text=True).stdout
    if int(re.findall(r"\d+", version)[0]) < OLDEST:
        return f"PostgreSQL is not tested: {version.strip()} is older than {OLDEST}"
    if os.geteuid() == 0 and not _has_servant():
        return "PostgreSQL is not tested: its server does not run as root, and there is no user postgres"
    return ""


def _has_servant() -> bool:
    return any(each.pw_name == SERVANT[0] for each in pwd.getpwall())


def _as_whom() -> dict[str, Any]:
    return {"user": SERVANT[0], "group": SERVANT[1], "extra_groups": []} if os.geteuid() == 0 else {}


def _end_with_us() -> None:
    """So that a killed test run leaves no server behind."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGQUIT)


def _programs() -> Path | None:
    """The folder of the newest server: Debian keeps each version apart, and off the path."""
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda each: int(each.parent.name.split(".")[0]))
    found = shutil.which("postgres")
    return places[-1] if places else Path(found).resolve().parent if found else None


def _program(name: str) -> str:
    folder = _programs()
    assert folder is not None
    return str(folder / name)
