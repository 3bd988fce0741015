"""Work in one process, in several and on a cluster: the same bytes, and nothing lost with a worker."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from underlid.spread import LostWorkers, NoCluster, workers

PARTS = [np.random.SeedSequence([9, number]) for number in range(40)]


def drawn(seed):
    """Takes longer the earlier it is, so that the last are done first."""
    time.sleep(0.002 * (40 - seed.entropy[1]) / 40)
    return np.random.default_rng(seed).standard_normal(50)


def killed_once(folder: Path, number: int) -> int:
    """The worker that does number 5 is killed, the first time."""
    if number == 5:
        mark = folder / "killed"
        try:
            mark.touch(exist_ok=False)
        except FileExistsError:
            return number
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def killed_always(number: int) -> int:
    if number == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def odd(number: int) -> int:
    if number == 3:
        raise ValueError("part 3 is odd")
    return number


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """The address of a scheduler with two workers, each a process of its own, as on other computers."""
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    folder = tmp_path_factory.mktemp("cluster")
    started: list[subprocess.Popen[bytes]] = []

    def start(name: str, *words: str) -> None:
        # The functions to be done are of this module: it must be found there as it is here.
        environment = os.environ | {
            "PYTHONPATH": str(Path(__file__).parents[1]),
            "DASK_DISTRIBUTED__WORKER__DAEMON": "False",
        }
        with (folder / f"{name}.log").open("wb") as log:
            started.append(
                subprocess.Popen(
                    [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]],
                    stdout=log,
                    stderr=log,
                    cwd=folder,
                    env=environment,
                )
            )

    file = folder / "scheduler.json"
    try:
        start(
            "scheduler",
            "scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            "0",
            "--no-dashboard",
            "--scheduler-file",
            str(file),
        )
        until(file.exists, 30)
        for number in range(2):
            start(
                f"worker{number}", "worker", "--scheduler-file", str(file), "--host", "127.0.0.1", "--nthreads", "1",
                "--no-dashboard", "--local-directory", str(folder / f"w{number}"),
            )  # fmt: skip
        import json

        address = json.loads(file.read_text("utf-8"))["address"]
        with workers(cluster=address) as pool:
            until(lambda: len(pool._client.nthreads()) == 2, 30)  # type: ignore[attr-defined]
        yield address
    finally:
        for one in started:
            one.kill()
        for one in started:
            one.wait(10)


def until(holds, seconds):
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture(params=["2 processes", "cluster"])
def several(request):
    return {"count": 2} if request.param != "cluster" else {"cluster": request.getfixturevalue("cluster")}


def test_the_same_bytes_in_the_same_order(several):
    with workers(1) as here:
        alone = [found.tobytes() for found in here.map(drawn, PARTS)]
    with workers(**several) as pool:
        assert [found.tobytes() for found in pool.map(drawn, PARTS)] == alone
    assert alone[0] == np.random.default_rng([9, 0]).standard_normal(50).tobytes()


@pytest.mark.parametrize("count", [1, 2])
def test_progress_rises_to_the_whole(count):
    shares: list[float] = []
    with workers(count) as pool:
        list(pool.map(abs, range(8), progress=shares.append))
    assert shares == [number / 8 for number in range(1, 9)]


def test_no_more_than_a_window_is_taken_ahead(several):
    """So that a million parts need not be held."""
    made = []

    def parts():
        for number in range(10**9):
            made.append(number)
            yield number

    with workers(**several) as pool:
        assert list(islice(pool.map(abs, parts()), 20)) == list(range(20))
        assert len(made) < 60


def test_a_killed_worker_costs_nothing_but_time(several, tmp_path):
    with workers(**several) as pool:
        assert list(pool.map(partial(killed_once, tmp_path), range(30))) == list(range(30))
    assert (tmp_path / "killed").exists()


def test_a_part_that_always_takes_its_worker_along_is_named():
    with workers(2) as pool, pytest.raises(LostWorkers, match=r"Part 6 was lost"):
        list(pool.map(killed_always, range(30)))


def test_what_a_part_raises_is_raised_here(several):
    with workers(**several) as pool, pytest.raises(ValueError, match="part 3 is odd"):
        list(pool.map(odd, range(10)))


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("192.168.1.5:8786", "no address of a cluster"),
        ("tcp://127.0.0.1", "no address of a cluster"),
        ("http://127.0.0.1:8786", "no address of a cluster"),
        ("tcp://127.0.0.1:99999", "no address of a cluster"),
        ("tcp://8.8.8.8:8786", "beyond the own network"),
        ("tcp://[2001:4860:4860::8888]:8786", "beyond the own network"),
    ],
)
def test_an_address_that_will_not_do_is_refused_before_anything_is_sent(address, says):
    with pytest.raises(NoCluster, match=says), workers(cluster=address):
        pass


def test_nobody_there_is_told_in_time(monkeypatch):
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    monkeypatch.setattr("underlid.spread.ANSWER_S", 0.5)
    with pytest.raises(NoCluster, match="No scheduler answers"), workers(cluster="tcp://127.0.0.1:9"):
        pass


def test_without_the_package_it_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(NoCluster, match=r"underlid\[fleet\]"), workers(cluster="tcp://127.0.0.1:8786"):
        pass


def test_a_worker_with_another_version_is_refused(cluster, monkeypatch):
    monkeypatch.setattr("underlid.spread.__version__", "0.0.0")
    with pytest.raises(NoCluster, match=r"install the same on all"), workers(cluster=cluster):
        pass
