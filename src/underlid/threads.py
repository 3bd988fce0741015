"""Compiled loops over what is apart (parameter sets, draws, bins), dealt out to threads.

Numba has parallel loops of its own, but it compiles the body once more for them, which took a third of all compiling,
and its plainest scheduler ends the process where two threads begin one at the same time.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any

import numba as nb
import numpy as np

STRETCHES_EACH = 8  # so that a thread whose sets take long (those that freeze) does not keep the others waiting


def deal(compiled: Callable[..., None], count: int, *arguments: Any) -> None:
    """Call `compiled(begun, end, *arguments)` for stretches that make up range(count), on as many threads as Numba has.

    compiled : what was compiled with `nogil=True`, and writes its answers for begun, ..., end - 1 into its arguments:
    as these are apart, the answers do not depend on the number of threads. What it raises is raised here.
    """
    threads = min(nb.get_num_threads(), count)
    if threads < 2:
        compiled(0, count, *arguments)
        return
    bounds = np.linspace(0, count, min(count, STRETCHES_EACH * threads) + 1).astype(int).tolist()
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(lambda stretch: compiled(*stretch, *arguments), pairwise(bounds)):
            pass
