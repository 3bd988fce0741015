"""Work spread over processes of this computer, or over a Dask cluster by its address.

    with workers(2) as pool:
        for told in pool.map(function, parts):
            ...

Results come in the order of the parts, whoever finishes first, and a part must hold all that its result depends on, its
seed too: so the same parts give the same results in one process, in several, or on a cluster. A part whose worker is
lost is done again elsewhere. No more than a window of parts is under way, so that they may be a million and made as
they go.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from underlid.spread.cluster import NoCluster, cluster_at
from underlid.spread.parts import Here, LostWorkers, Workers
from underlid.spread.processes import own_processes

__all__ = ("LostWorkers", "NoCluster", "Workers", "workers")


@contextmanager
def workers(count: int | None = None, cluster: str | None = None) -> Iterator[Workers]:
    """Give workers for as long as the block lasts.

    count : processes; 1 works in this one, None takes one for each core. cluster : address of a Dask scheduler, as
    “tcp://192.168.1.5:8786” or “tls://...”, in place of processes. Raises NoCluster.
    """
    count = count or os.cpu_count() or 1
    if cluster is not None:
        with cluster_at(cluster) as there:
            yield there
    elif count == 1:
        yield Here()
    else:
        with own_processes(count) as several:
            yield several
