"""Loops dealt out to threads: every number once, whatever the number of threads, and what is raised comes through."""

import threading

import numba as nb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.threads import deal

MOST = nb.config.NUMBA_NUM_THREADS  # type: ignore[attr-defined]


@pytest.fixture(autouse=True)
def several_threads():
    before = nb.get_num_threads()
    yield
    nb.set_num_threads(before)


@nb.njit("void(int64, int64, int64[:])", nogil=True)
def _count(begun, end, often):
    for i in range(begun, end):
        often[i] += 1


@given(st.integers(0, 300), st.integers(1, MOST))
def test_every_one_is_done_once(count, threads):
    nb.set_num_threads(threads)
    often = np.zeros(count, np.int64)
    deal(_count, count, often)
    assert (often == 1).all()


@pytest.mark.skipif(MOST == 1, reason="there is one thread at most")
def test_threads_work_at_the_same_time():
    nb.set_num_threads(2)
    meeting = threading.Barrier(2, timeout=20)

    def meet(begun, end):
        meeting.wait()  # nobody gets past it alone

    deal(meet, 32)
    nb.set_num_threads(1)
    seen = []
    deal(lambda begun, end: seen.append((begun, end, threading.current_thread())), 32)
    assert seen == [(0, 32, threading.current_thread())]


@pytest.mark.parametrize("threads", range(1, MOST + 1))
def test_what_a_thread_raises_is_raised(threads):
    def broken(begun, end):
        raise ZeroDivisionError(f"{begun}")

    nb.set_num_threads(threads)
    with pytest.raises(ZeroDivisionError, match="0"):
        deal(broken, 5)
