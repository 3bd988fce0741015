"""A scheduler and workers on this computer, each a process of its own, as on other computers."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]


def until(holds, seconds: float = 30) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.05)


class OwnCluster:
    """Started piece by piece; `settings` are those of Dask for all of them."""

    def __init__(self, folder: Path, settings: dict[str, str]) -> None:
        self.folder = folder
        self.settings = settings
        self.file = folder / "scheduler.json"
        self.started: list[subprocess.Popen[bytes]] = []

    @property
    def address(self) -> str:
        return str(json.loads(self.file.read_text("utf-8"))["address"])

    def scheduler(self, *words: str, first: str = "") -> None:
        self._start("scheduler", ["--port", "0", "--scheduler-file", str(self.file), *words], first)
        until(self.file.exists)

    def worker(self, *words: str, first: str = "") -> subprocess.Popen[bytes]:
        """`first` is a program that it runs before anything else."""
        local = str(self.folder / f"w{len(self.started)}")
        return self._start("worker", ["--scheduler-file", str(self.file), "--local-directory", local, *words], first)

    def _start(self, what: str, words: list[str], first: str) -> subprocess.Popen[bytes]:
        own = self.folder / str(len(self.started))
        own.mkdir()
        (own / "sitecustomize.py").write_text(first, "utf-8")
        # The functions to be done are of the tests: they must be found there as they are here.
        environment = os.environ | self.settings | {
            "PYTHONPATH": f"{own}{os.pathsep}{ROOT}", "DASK_DISTRIBUTED__WORKER__DAEMON": "False",
        }  # fmt: skip
        with (own / "log").open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.dask_{what}", "--host", "127.0.0.1", "--no-dashboard", *words],
                stdout=log, stderr=log, cwd=self.folder, env=environment,
            )  # fmt: skip
        self.started.append(process)
        return process


@contextmanager
def own_cluster(folder: Path, **settings: str) -> Iterator[OwnCluster]:
    made = OwnCluster(folder, {f"DASK_DISTRIBUTED__{name}": value for name, value in settings.items()})
    try:
        yield made
    finally:
        for one in made.started:
            one.kill()  # what a nanny has started ends with it
        for one in made.started:
            one.wait(10)
