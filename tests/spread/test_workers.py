"""Work in one process, in several and on a cluster: the same bytes, and nothing lost with a worker."""

import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from itertools import count, islice

import numba
import numpy as np
import pytest

from tests.spread.threads import threads
from tests.spread.work import PARTS, drawn, faulty, killed_always, killed_once
from underlid.spread import LostWorkers, workers
from underlid.spread.parts import MOST_AHEAD


def test_the_same_bytes_in_the_same_order(several):
    with workers(1) as here:
        alone = [found.tobytes() for found in here.map(drawn, PARTS)]
    with workers(**several) as pool:
        assert [found.tobytes() for found in pool.map(drawn, PARTS)] == alone
    assert alone[0] == np.random.default_rng([9, 0]).standard_normal(50).tobytes()


SCRIPT = """
import sys
from underlid.spread import workers

FACTOR = 3

def times(number):
    return FACTOR * number

if __name__ == "__main__":
    how = {"count": 2} if sys.argv[1] == "2" else {"cluster": sys.argv[1]}
    with workers(**how) as pool:
        print(list(pool.map(times, range(4))))
"""


def test_what_a_script_defines_is_done_too(several, tmp_path):
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    done = subprocess.run(
        [sys.executable, script, several.get("cluster", "2")], capture_output=True, text=True, check=False
    )
    assert done.stdout == "[0, 3, 6, 9]\n", done.stderr


@pytest.mark.parametrize("number", [1, 2])
def test_progress_rises_to_the_whole(number):
    shares: list[float] = []
    with workers(number) as pool:
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


def test_the_window_of_very_many_workers_has_a_bound(monkeypatch, cluster):
    taken = count()
    with workers(cluster=cluster) as pool:
        monkeypatch.setattr(pool, "_threads", lambda: 10**6)
        assert next(pool.map(abs, taken)) == 0
    assert next(taken) == MOST_AHEAD
    monkeypatch.setattr("underlid.spread.parts.MOST_AHEAD", 3)
    taken = count()
    with workers(2) as pool:
        assert next(pool.map(abs, taken)) == 0
    assert next(taken) == 3


def test_a_killed_worker_costs_nothing_but_time(several, tmp_path):
    with workers(**several) as pool:
        assert list(pool.map(partial(killed_once, tmp_path), range(30))) == list(range(30))
    assert (tmp_path / "killed").exists()


def test_of_parts_lost_together_the_one_that_ends_its_process_is_named():
    """Number 0 was under way each time, and is lost with it: it is done all the same, and not blamed."""
    with workers(2) as pool:
        results = pool.map(killed_always, range(30))
        assert next(results) == 0
        with pytest.raises(LostWorkers, match="Part 2 was lost with its process 4 times"):
            next(results)


def test_processes_lost_while_parts_are_sent_again_are_replaced_too(monkeypatch):
    made = []

    class Brittle(ProcessPoolExecutor):
        """The first is broken when the fifth part comes, the second when the third does, and the third at once."""

        def __init__(self, *words, **named):
            super().__init__(*words, **named)
            made.append(self)
            self.left = {1: 4, 2: 2, 3: 0}.get(len(made), 1000)

        def submit(self, *words, **named):
            if self.left == 0:
                raise BrokenProcessPool("a process is gone")
            self.left -= 1
            return super().submit(*words, **named)

    monkeypatch.setattr("underlid.spread.processes.ProcessPoolExecutor", Brittle)
    with workers(2) as pool:
        assert list(pool.map(abs, range(20))) == list(range(20))
    assert len(made) == 4


def test_what_a_part_raises_is_raised_here(several):
    with workers(**several) as pool:
        for number, kind in ((3, ValueError), (30, ImportError), (300, TimeoutError)):
            with pytest.raises(kind, match=f"^part {number} "):
                list(pool.map(faulty, [1, number, 2]))


@pytest.mark.skipif(numba.config.NUMBA_NUM_THREADS == 1, reason="there is one thread at most")  # type: ignore[attr-defined]
def test_each_worker_takes_one_thread_and_this_process_gets_its_own_back(cluster):
    before = numba.get_num_threads()
    numba.set_num_threads(2)
    for who in ({"count": 1}, {"count": 2}, {"cluster": cluster}):
        with workers(**who) as pool:
            assert list(pool.map(threads, range(4))) == [1] * 4
    assert numba.get_num_threads() == 2
    numba.set_num_threads(before)


def test_numba_is_not_loaded_for_those_who_do_without():
    script = """
import sys
from underlid.spread import workers
with workers(1) as pool:
    assert [*pool.map(abs, [-1])] == [1]
assert not {"numba", "numpy", "distributed"} & set(sys.modules)
"""
    subprocess.run([sys.executable, "-c", script], check=True)
