"""What the faults are put to: a made-up journal, the work done on it, and what must hold afterwards."""

from __future__ import annotations

import io
import os
import signal
import sqlite3
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from underlid.entry import parse_line
from underlid.journal.backup import verify_journal
from underlid.journal.errors import JournalExists
from underlid.journal.exchange import import_entries
from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.amount import VagueAmount, parse_amount
from underlid.quantity.when import parse_when
from underlid.records import BeddingLayer, Bin, Photo

NOW = datetime(2026, 3, 1, 20, tzinfo=UTC)
LINE = "23 Jan around midnight: middle {low}-{high} C, edge 1 C; about a dozen near the top; fed 150 g pear cores"
IN_A_GROUP = 4  # entries that the line above makes
IMPORTED = 120  # rows of a file

Tell = Callable[[str], None]
Work = Callable[[Tell], None]


@dataclass
class Row:
    """One row of the page: what was done so often, what came of it, and what was wrong."""

    what: str
    times: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)


class Wrong(Exception):
    """Something that must hold does not."""


# --- the journal and the work -----------------------------------------------------------------------


def make_journal(folder: Path, names: Sequence[str] = ("north", "south")) -> None:
    side = parse_amount("40 cm", expect="m")
    try:
        journal = Journal.create(folder)
    except JournalExists:  # a disk was full before its bins were stored
        journal = Journal.open(folder)
    with journal:
        for number, name in enumerate(names):
            layer = BeddingLayer(f"layer-{number}", 0, "leaves", parse_amount("20 cm"), parse_amount("70 %"))
            journal.add_bin(
                Bin(
                    id=f"bin-{number}", name=name, timezone="Europe/London", length=side, width=side, height=side,
                    started=parse_when("1 Dec 2025", now=NOW, tz=ZoneInfo("Europe/London")), siting="open shelter",
                    base="slab", wall="polypropylene", wall_thickness=parse_amount("3 mm"), layers=(layer,),
                    founders=VagueAmount(20.0, 30.0, "1", "about", "two dozen"), species="Eisenia fetida", words="",
                )
            )  # fmt: skip


def log_group(journal: Journal, name: str, now: datetime = NOW) -> None:
    """Log one line of words, which makes several entries: all or none must be there ever after."""
    number = sum(map(ord, name))
    line = LINE.format(low=2 + number % 3, high=6 + number % 4)
    ids = count()
    record = journal.bin("north")
    understood = parse_line(line, bin=record, now=now, new_id=lambda: f"{name}:{next(ids)}")
    journal.add(understood.records)


def log_photo(journal: Journal, name: str, scratch: Path, size: int = 3000) -> None:
    """Keep a picture and its entry, a group of one."""
    picture = scratch / f"{name}.jpg"
    picture.write_bytes(b"\xff\xd8\xff" + Random(name).randbytes(size))
    kept = add_photo(journal.folder, picture)
    when = parse_when("now", now=NOW, tz=ZoneInfo("Europe/London"))
    entry = Photo(
        id=f"{name}:0", bin="south", when=when, words="a picture", file=kept.file, sha256=kept.sha256
    )  # fmt: skip
    journal.add([entry])
    picture.unlink()


def csv_file(name: str, rows: int = IMPORTED) -> bytes:
    lines = [f"{name}:{row},north,2026-01-{1 + row % 28:02} 08:00,{row % 20} C" for row in range(rows)]
    return "\n".join(["id,bin,when,amount", *lines, ""]).encode()


def import_file(journal: Journal, name: str, rows: int = IMPORTED) -> None:
    fixed = {"quantity": "temperature", "place": "middle"}
    report = import_entries(journal, io.BytesIO(csv_file(name, rows)), now=NOW, fixed=fixed)
    if not report.stored or report.accepted != rows:
        raise Wrong(f"{name} was not imported: {report.refused[:1]}")


def size_of(name: str) -> int:
    """How many entries a group has, by its name."""
    return {"photo": 1, "import": IMPORTED}.get(name.split("-")[0], IN_A_GROUP)


def groups(folder: Path) -> Counter[str]:
    """The entries of each group in a journal, which is read whole and must be sound, pictures too."""
    found = verify_journal(folder)
    if found.problems:
        raise Wrong(found.problems[0])
    with Journal.open(folder) as journal:
        return Counter(entry.id.rpartition(":")[0] for entry in journal.entries(superseded=True))


def hold_together(folder: Path, acknowledged: Sequence[str], at_work: int = 1) -> Counter[str]:
    """Everything acknowledged is there, every group is whole, and at most `at_work` were stored unacknowledged."""
    found = groups(folder)
    for name, entries in found.items():
        if entries != size_of(name):
            raise Wrong(f"{entries} of {size_of(name)} entries of {name} are there")
    if lost := set(acknowledged) - set(found):
        raise Wrong(f"{len(lost)} acknowledged groups are lost, such as {min(lost)}")
    if len(more := set(found) - set(acknowledged)) > at_work:
        raise Wrong(f"{len(more)} groups are there that nobody acknowledged")
    return found


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as file:
        return list(file.iterdump())


def counted(path: Path) -> int:
    """How many rows a journal has, in all its tables."""
    with closing(sqlite3.connect(path)) as file:
        names = [row[0] for row in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return sum(int(file.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in names)


# --- children ---------------------------------------------------------------------------------------


@dataclass
class Child:
    """Work in a process of its own, forked so that nothing is imported anew; it tells line by line."""

    pid: int
    told: io.BufferedReader

    def end(self) -> tuple[list[str], int]:
        """What it told and how it ended: 0, or minus the signal."""
        lines = self.told.read().decode().split("\n")[:-1]
        self.told.close()
        return lines, os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def start(work: Work) -> Child:
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            os.close(read)

            def tell(line: str) -> None:
                os.write(write, f"{line}\n".encode())

            work(tell)
            code = 0
        except BaseException:
            os.write(write, f"! {traceback.format_exc()[-400:].replace(chr(10), ' | ')}\n".encode())
        finally:
            os._exit(code)
    os.close(write)
    return Child(pid, os.fdopen(read, "rb"))


def run(work: Work) -> list[str]:
    """Do work in a child to its end; raise Wrong if it fails."""
    lines, code = start(work).end()
    if code != 0:
        raise Wrong(lines[-1] if lines and lines[-1].startswith("!") else f"the child ended with {code}")
    return lines


def killed(work: Work, after_s: float) -> tuple[list[str], bool]:
    """Do work in a child, and kill it so long after it began: what it told, and whether the kill came in time."""

    def begun(tell: Tell) -> None:
        tell("begun")
        work(tell)

    child = start(begun)
    child.told.read1(6)  # what comes after stays in the pipe
    time.sleep(after_s)
    os.kill(child.pid, signal.SIGKILL)
    lines, code = child.end()
    if failed := [line for line in lines if line.startswith("!")]:
        raise Wrong(failed[0])
    return [line for line in lines if line and line != "begun"], code == -signal.SIGKILL


def seconds_to(work: Work, told: int) -> float:
    """How long work in a child takes to tell so many lines."""
    began = time.monotonic()
    child = start(work)
    for _ in range(told):
        child.told.readline()
    took = time.monotonic() - began
    os.kill(child.pid, signal.SIGKILL)
    child.end()
    return took


def seconds(work: Work) -> float:
    """How long work takes in a child, so that kills fall all over it."""
    began = time.monotonic()
    run(work)
    return time.monotonic() - began


@contextmanager
def telling(row: Row, seed: object) -> Iterator[None]:
    """Note what is wrong with its seed, and go on."""
    try:
        yield
    except Exception as error:
        row.faults.append(f"seed {seed}: {type(error).__name__}: {error}")
