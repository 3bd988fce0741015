"""What holds of every reader besides its errors: it writes nothing, and its memory stays bounded."""

from __future__ import annotations

import resource
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.conftest import begun

__all__ = ["begun"]  # a journal with one bin, for the app
MOST_MB = 1000  # that reading small files may add to the process, pictures of some millions of pixels among them


@pytest.fixture(autouse=True)
def nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Work in an empty folder, and find it empty at the end; and no more memory was ever taken than is bearable."""
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert not list(here.rglob("*"))
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1000  # kB on Linux
    assert grown_mb < MOST_MB
