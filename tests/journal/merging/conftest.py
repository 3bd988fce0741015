"""Two journals with one bin in common: one that stands, and one that is brought in."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journal.conftest import Stores
from tests.journal.examples import (
    make_bin,
)
from tests.journal.merging.examples import SOUTH
from underlid.journal.store import Journal


@pytest.fixture
def there(tmp_path: Path, two_bins: Path, stores: Stores) -> Iterator[Journal]:
    """The incoming journal; it has the bins north, which is that of `journal`, and south."""
    with Journal.open(stores.copy(two_bins, tmp_path / "there")) as opened:
        yield opened


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Closed journals in SQLite, to be copied: `ours` with the bin north, `theirs` with that and south."""
    folder = tmp_path_factory.mktemp("begun")
    for name, bins in (("ours", [make_bin()]), ("theirs", [make_bin(), make_bin(SOUTH, 2)])):
        with Journal.create(folder / name) as made:
            for each in bins:
                made.add_bin(each)
    return folder


@pytest.fixture
def ours(tmp_path: Path, begun: Path) -> Iterator[Journal]:
    """A journal with the bin north, in SQLite."""
    with Journal.open(shutil.copytree(begun / "ours", tmp_path / "ours")) as opened:
        yield opened


@pytest.fixture
def theirs(tmp_path: Path, begun: Path) -> Iterator[Journal]:
    """The incoming journal in SQLite, with the same bin north, and south."""
    with Journal.open(shutil.copytree(begun / "theirs", tmp_path / "theirs")) as opened:
        yield opened
