from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.journal.examples import make_bin
from underlid.journal.store import Journal


@pytest.fixture(scope="session")
def one_bin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed journal with the bin north, to be copied: faster than making one."""
    folder = tmp_path_factory.mktemp("one") / "trial"
    with Journal.create(folder) as journal:
        journal.add_bin(make_bin())
    return folder


@pytest.fixture
def journal(tmp_path: Path, one_bin: Path) -> Iterator[Journal]:
    """A new journal with one bin, north."""
    with fresh(one_bin, tmp_path / "trial") as journal:
        yield journal


@pytest.fixture(scope="session")
def two_bins(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed journal with the bins that made-up readings are from, to be copied: faster than making one."""
    folder = tmp_path_factory.mktemp("two") / "bins"
    with Journal.create(folder) as journal:
        journal.add_bin(make_bin())
        journal.add_bin(make_bin("south, by the wall", 2))
    return folder


def fresh(two_bins: Path, folder: Path) -> Journal:
    """Open a copy of `two_bins` at `folder`, in place of what was there."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(two_bins, folder)
    return Journal.open(folder)


def dump(journal: Journal) -> list[str]:
    """All that the file says, read past the store."""
    with closing(sqlite3.connect(journal.path)) as file:
        return list(file.iterdump())
