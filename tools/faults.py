"""What becomes of a journal when things go wrong: sudden ends, full disks, harmed files. Writes docs/reliability.md.

    python tools/faults.py [--seed 1] [--quick] [--out docs/reliability.md]

Everything is done on made-up journals in temporary folders. A fault that is found is written into the page with its
seed, and the exit code is then 1.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import platform
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import faults_kills as kills
import faults_mutated as mutations
import faults_staged as staged
from faults_work import Row
from old_journals import layouts

from underlid.files import write_whole
from underlid.journal.tables import HEAD

PAGE = Path(__file__).parents[1] / "docs" / "reliability.md"
ON_DISK = Path(__file__).parents[1] / ".build"  # kills are on a real disk where there is one
IN_MEMORY = Path("/dev/shm")

Part = Callable[[Path], Row]


def parts(seed: int, size: float) -> dict[str, list[Part]]:
    """All that is done, by the section of the page; `size` 1 is the whole of it."""

    def so_many(times: int, least: int = 1) -> int:
        return max(least, round(times * size))

    earlier = [each for each in layouts() if each < HEAD]
    return {
        "Sudden ends": [
            *_in_lots(kills.logging, so_many(150), seed, 2),
            *_in_lots(kills.importing, so_many(90), seed + 10, 2),
            partial(kills.creating, so_many(80), seed + 20),
            *(partial(kills.migrating, each, so_many(90), seed + 30) for each in earlier),
            *_in_lots(kills.backing_up, so_many(90), seed + 40, 2),
            partial(kills.restoring, so_many(60), seed + 50),
            partial(kills.replacing, so_many(60), seed + 60),
        ],
        "Trouble": [
            partial(staged.full_disk, so_many(60, 6), seed),
            staged.unwritable,
            partial(staged.clock_back_while_logging, so_many(200), seed),
            partial(staged.wandering_clock, so_many(80, 3), seed),
            partial(staged.many_writers, 2, so_many(40, 4)),
            partial(staged.many_writers, 8, so_many(24, 4)),
        ],
        "Harmed files": [
            *_in_lots(partial(mutations.mutations, "CSV files into import"), so_many(12_000), seed, 4),
            *_in_lots(partial(mutations.mutations, "lines of words into the journal"), so_many(12_000), seed, 4),
            partial(mutations.mutations, "weather files", so_many(6000), seed),
            partial(mutations.mutations, "trial plans", so_many(12_000), seed),
            *_in_lots(partial(mutations.mutations, "pictures"), so_many(4000), seed, 2),
        ],
    }


def _in_lots(part: Callable[[int, int, Path], Row], times: int, seed: int, lots: int) -> list[Part]:
    """The same in several lots of other seeds, which can be done beside each other."""
    lots = min(lots, times)
    return [partial(part, times // lots + (lot < times % lots), seed + lot) for lot in range(lots)]


def do(part: Part, root: Path) -> Row:
    """Do one part in an empty folder of its own."""
    with tempfile.TemporaryDirectory(dir=root) as place:
        return part(Path(place))


def found(seed: int, size: float, workers: int) -> dict[str, list[Row]]:
    """Do all parts; rows of the same thing are put together."""
    ON_DISK.mkdir(exist_ok=True)
    roots = {"Harmed files": IN_MEMORY if IN_MEMORY.is_dir() else ON_DISK}
    results: dict[str, list[Row]] = {}
    # One section after the other: what is timed in one must not be slowed down by another.
    for section, its in parts(seed, size).items():
        root = roots.get(section, ON_DISK)
        began = time.monotonic()
        if workers == 1:
            rows = [do(part, root) for part in its]
        else:
            with ProcessPoolExecutor(workers, multiprocessing.get_context("fork")) as pool:
                rows = list(pool.map(do, its, [root] * len(its)))
        results[section] = together(rows)
        print(f"{section}: {time.monotonic() - began:.0f} s", file=sys.stderr)
    return results


def together(rows: Sequence[Row]) -> list[Row]:
    """One row for each thing that was done."""
    made: dict[str, Row] = {}
    for row in rows:
        one = made.setdefault(row.what, Row(row.what))
        one.times += row.times
        one.outcomes += row.outcomes
        one.faults += row.faults
    return list(made.values())


# --- the page ---------------------------------------------------------------------------------------

ABOUT = {
    "Sudden ends": "A process is killed (SIGKILL) at a random instant of its work; then the journal is opened and read "
    "whole. It must be sound; all that was acknowledged must be there, with its pictures; and of each group (the "
    "entries of one line, the rows of one file) all must be there or none.",
    "Trouble": "Each is to end in a sentence of ours, with everything acknowledged kept and nothing half written; with "
    "room or rights again, the same must go.",
    "Harmed files": "Good files and lines, each changed at random one to five times: bytes, stretches, cells, lines, "
    "an early end, another encoding. Each may be read or refused in a sentence of ours. Anything else counts as a "
    "fault: another error, a process that dies, more than 60 s, rows in the journal from a file that was refused.",
}

FOUND = """\
## What such runs found

- A kill at the moment at which the file of a new journal is changed to keep a log (2 of 160 kills of a creation in two
  earlier runs) left a file with nothing in it, and a rollback log that who may only read cannot take back: creating or
  opening the journal was then refused. No entry was lost, for there was none. Now what was left half
  done is taken back first.
- Restoring made the same change on a file full of entries; now the file is changed before it gets its name.
- Between the backup of what stands and its replacing, another program could have stored an entry that both lacked; now
  one lock is held over both.
- On a full disk the reason told is now and then that the disk did not take the writing, not that it is full.
"""

LEFT_OUT = """\
## What was not staged

- **A real power cut.** A killed process loses nothing that it gave to the operating system; a power cut can. SQLite is
  told to have each commit on the disk before it is acknowledged (WAL with `synchronous=FULL`), and files are synced
  before they get their name. Whether a disk then keeps its word was not looked at, and some do not.
- A disk that gives back other bytes than were written to it, under a journal in use. `underlid verify` finds it
  afterwards; a backup that is damaged is found by its hashes and passed over.
- A network folder, on which SQLite's locks may not hold. Keep the journal on a disk of this computer.
- Records on a PostgreSQL server: this page is about journals in a folder.
- Other systems than the one below. Kills, small disks and rights are those of POSIX.

A fault that does not show in so many tries may still be there: none in n tries leaves, with 95 % confidence, a rate of
up to about 3/n (Hanley and Lippman-Hand 1983) for tries such as these, and says nothing of others.
"""

BACKUPS = """\
## Backups

`underlid backup --to FOLDER` copies the database at one moment while others write, keeps each picture once, reads all
of it back, and only then gives the backup its name. Of the good ones the last of each of 7 days, 4 weeks and 12
months is kept (our judgement; options change it). One is removed only when it is good itself, is not dated after the
newest, and the newest good one holds every row and picture of it word for word. So a damaged backup, a clock set back
and a journal that lost entries all lead to more backups being kept, and to a sentence that says so. Pictures among
the backups are never removed. `fits` (computed again when needed) and `web` (what lets devices in) are in no backup.

`underlid restore` puts back a backup that verifies, whole or not at all; `--replace` first makes a backup of what
stands. A journal too damaged for that is set aside as it is. `underlid verify` reads a journal or its backups whole
and says what is not as it was written.
"""


def page(results: Mapping[str, Sequence[Row]], seed: int, minutes: float) -> str:
    text = [
        "# Reliability",
        "Written by `make faults`, which breaks made-up journals in every way below and looks at what is left. "
        f"Seed {seed}; each try has a seed of its own made from it. The instants of kills hang on the machine too, so "
        "another run tries other points.",
    ]
    for section, rows in results.items():
        text += [f"## {section}", ABOUT[section], "| done | tries | what came of it | faults |\n|---|---:|---|---:|"]
        text[-1] += "".join(
            f"\n| {row.what} | {row.times} | {_outcomes(row)} | {len(row.faults) or 'none'} |" for row in rows
        )
    faults = [f"- {row.what}: {_cell(fault)}" for rows in results.values() for row in rows for fault in row.faults]
    if faults:
        text += ["## Faults", "\n".join(faults[:40])]
    ran = (
        f"Run on {platform.system()} with {os.cpu_count()} processors, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, in {minutes:.0f} minutes."
    )
    text += [BACKUPS.strip(), FOUND.strip(), LEFT_OUT.strip(), ran]
    return "\n\n".join(text) + "\n"


def _outcomes(row: Row) -> str:
    return _cell("; ".join(f"{what}: {times}" for what, times in sorted(row.outcomes.items()) if times))


def _cell(text: str) -> str:
    return text.replace("|", "/").replace("\n", " ")


def main(words: Sequence[str] | None = None) -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--quick", action="store_true", help="a fiftieth of it, to see that it works")
    asked.add_argument("--out", type=Path, default=PAGE)
    told = asked.parse_args(words)
    began = time.monotonic()
    results = found(told.seed, 0.02 if told.quick else 1.0, 2)
    write_whole(told.out, page(results, told.seed, (time.monotonic() - began) / 60).encode())
    faults = sum(len(row.faults) for rows in results.values() for row in rows)
    tries = sum(row.times for rows in results.values() for row in rows)
    print(f"{tries} tries, {faults or 'no'} {'fault' if faults == 1 else 'faults'}; {told.out} written")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
