"""Work on a journal that is killed (SIGKILL) at one of its own calls, as by a power cut."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

#: What is called, whether it is killed before or after that, and at which call.
Point = tuple[str, str, str, int]

ROOT = Path(__file__).parents[2]
SCRIPT = """
import json, os, signal, sys
from datetime import datetime
from pathlib import Path
import alembic.command, alembic.config, alembic.script, sqlalchemy.dialects.postgresql.psycopg
from underlid.journal import backup as backups, moving
from underlid.journal.store import Journal

{begin}

def run(arguments, owner, name, when, number):
    owner = {{"backups": backups, "moving": moving, "Path": Path}}[owner]
    done, calls = getattr(owner, name), [0]

    def dying(*arguments, **more):
        calls[0] += 1
        last = calls[0] == number
        if last and when == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        result = done(*arguments, **more)
        if last:
            os.kill(os.getpid(), signal.SIGKILL)
        return result

    work = begin(*arguments)
    setattr(owner, name, dying)
    work()

for arguments, point in json.load(sys.stdin):
    child = os.fork()  # what is imported is imported once
    if child == 0:
        run(arguments, *point)
        os._exit(0)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
"""


def killed(begin: str, spots: Sequence[tuple[Sequence[str | None], Point]]) -> list[str]:
    """Begin some work at each of these spots, and return how each ended: "-9" if it was killed there.

    begin : source of a function `begin` that takes what stands first in a spot, and returns the work
    """
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "src"), str(ROOT)])}
    command = [sys.executable, "-c", SCRIPT.format(begin=begin)]
    ran = subprocess.run(
        command, env=environment, check=True, timeout=120, capture_output=True, input=json.dumps(spots), text=True
    )
    return ran.stdout.split()
