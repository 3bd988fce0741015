"""A journal in an empty folder, and the command line as a keeper calls it."""

import hashlib
import json
import shutil
import sys

import pytest

from tests.journal.conftest import dump as rows_of
from underlid import cli
from underlid.journal.store import Journal

NOW = "2026-02-03 21:00"


class Result:
    def __init__(self, code, out, err):
        self.code, self.out, self.err = code, out, err

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def underlid(tmp_path, monkeypatch, capfd):
    """Run a command in an empty folder: `underlid("log", "north", "...")`."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("UNDERLID_JOURNAL", raising=False)
    monkeypatch.delenv("UNDERLID_WEATHER", raising=False)

    def call(*words):
        monkeypatch.setattr(sys, "argv", ["underlid", *map(str, words)])
        capfd.readouterr()
        try:
            cli.main()
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, err = capfd.readouterr()
        return Result(code, out, err)

    return call


@pytest.fixture(scope="session")
def begun(tmp_path_factory):
    """Where the journals that many tests begin with are kept, once one test has made them."""
    return tmp_path_factory.mktemp("begun")


@pytest.fixture
def with_bin(underlid, begun):
    """A journal with the bin "north"."""
    kept = begun / "with_bin"
    if kept.exists():
        shutil.copytree(kept, "journal")
        return underlid
    made = underlid(
        "new", "north", "--size", "17 x 12 x 11 in", "--bedding", "leaves 5 in, old horse manure about 4 in",
        "--moisture", "about 70 %", "--founders", "a couple of dozen", "--started", "1 Dec 2025",
        "--timezone", "Europe/London", "--now", NOW,
    )  # fmt: skip
    assert made.code == 0, made.err
    shutil.copytree("journal", kept)
    return underlid


def dump(folder="journal"):
    """Everything the journal holds, as one digest."""
    with Journal.open(folder) as journal:
        return hashlib.sha256("\n".join(rows_of(journal)).encode()).hexdigest()


LINES = ("5 Dec 20:00: middle 7-8 C, edge 6 C", "16 Dec: middle about 5 C", "24 Dec 22:30: middle 3 C, surface 1 C")


@pytest.fixture(scope="session")
def winter(tmp_path_factory):
    """Synthetic hourly weather from before the bin's start to a week after the present, as a plain CSV."""
    import numpy as np

    start = np.datetime64("2025-10-15T00:00")
    hours = (np.datetime64("2026-02-12T00:00") - start).astype(int) // 60
    rows = ["time_utc,temp_c,wind_m_s"]
    for h in range(int(hours)):
        air = 5 - 5 * np.sin(h / (24 * 60)) + 3 * np.sin(2 * np.pi * (h % 24 - 9) / 24) + 2 * np.sin(h / 61)
        rows.append(f"{start + np.timedelta64(h, 'h')}Z,{air:.1f},3.0")
    path = tmp_path_factory.mktemp("weather") / "winter.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.fixture(scope="session")
def fits(tmp_path_factory):
    """Fits made by one test serve the next: the same journal and seed have the same key."""
    return tmp_path_factory.mktemp("fits")


@pytest.fixture
def logged(with_bin, begun, fits, tmp_path):
    """A bin with a few lines in its journal."""
    kept = begun / "logged"
    if not kept.exists():
        for line in LINES:
            assert with_bin("log", "north", line, "--yes", "--now", NOW).code == 0
        shutil.copytree("journal", kept)
    shutil.rmtree("journal")
    shutil.copytree(kept, "journal")
    (tmp_path / "journal" / "fits").symlink_to(fits)
    return with_bin
