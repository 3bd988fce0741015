"""Who does the simulations of a page: processes of this computer, or the workers of a Dask cluster.

Workers of a cluster need the folder tools/ on their PYTHONPATH, beside the same version of underlid.
"""

from __future__ import annotations

import argparse
from contextlib import AbstractContextManager
from pathlib import Path

from underlid import spread


def asked(doc: str | None, what: str, count: int, page: Path) -> argparse.ArgumentParser:
    """What every simulation takes: how many of what, the page to write, and who does them."""
    parser = argparse.ArgumentParser(description=doc.splitlines()[0] if doc else None)
    parser.add_argument(f"--{what}", type=int, default=count)
    parser.add_argument("--out", type=Path, default=page)
    parser.add_argument("--workers", type=int, help="processes; one for each core if not given")
    parser.add_argument("--cluster", help="address of a Dask scheduler, as tcp://192.168.1.5:8786, in their place")
    return parser


def workers(given: argparse.Namespace) -> AbstractContextManager[spread.Workers]:
    """Those who were asked for; the same results from any."""
    return spread.workers(given.workers, given.cluster)
