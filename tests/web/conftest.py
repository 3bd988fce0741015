"""A small journal with one bin, and a browser on the journal's own computer."""

import itertools
import shutil
import warnings
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount, parse_size
from underlid.quantity.when import parse_when
from underlid.records import BeddingLayer, Bin
from underlid.web.meant import csrf_token
from underlid.web.settings import Settings

with warnings.catch_warnings():  # it would rather have httpx2
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)
HERE = "http://127.0.0.1:8765"
LINES = (
    "5 Dec 20:00: middle 7-8 C, edge 6 C",
    "16 Dec: middle about 5 C",
    "23 Jan: middle 2-3 C; fed 150 g pear cores",
)


def clock():
    return NOW


@pytest.fixture
def journal(tmp_path, begun):
    """A journal with the bin "north", started on 1 Dec 2025, and a few entries."""
    return shutil.copytree(begun, tmp_path / "journal")


@pytest.fixture(scope="session")
def begun(tmp_path_factory):
    """The journal that tests copy: faster than making one."""
    size = parse_size("17 x 12 x 11 in")
    layer = BeddingLayer(
        id="layer-1", position=0, material="leaves", depth=parse_amount("5 in", expect="m"),
        moisture=parse_amount("about 70 %", expect="%"), words="leaves 5 in",
    )  # fmt: skip
    record = Bin(
        id="bin-north", name="north", started=parse_when("1 Dec 2025", now=NOW, tz=ZoneInfo("UTC")),
        timezone="Europe/London",
        length=size.length, width=size.width, height=size.height, siting="open shelter", base="slab",
        wall="polypropylene", wall_thickness=parse_amount("3 mm", expect="m"), species="Eisenia fetida",
        founders=parse_amount("a couple of dozen", expect="1"), layers=(layer,), words="17 x 12 x 11 in", noted_at=NOW,
    )  # fmt: skip
    number = itertools.count(1)
    folder = tmp_path_factory.mktemp("begun") / "journal"
    with Journal.create(folder) as book:
        book.add_bin(record)
        for line in LINES:
            book.add(parse_line(line, bin=record, now=NOW, new_id=lambda: f"entry-{next(number)}").records)
    return folder


@pytest.fixture
def settings(journal):
    return Settings(journal, now=clock)


@pytest.fixture
def client(settings):
    """A browser on the journal's own computer, which sends the token of our pages along."""
    from underlid.web.app import create_app

    app = create_app(settings)
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as made:
        made.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, "this computer")
        yield made


def add_bins(folder, names):
    """More bins like the one there is."""
    with Journal.open(folder) as book:
        north = book.bin("north")
        for name in names:
            layers = tuple(replace(one, id=f"{name}-{one.id}") for one in north.layers)
            book.add_bin(replace(north, id=f"bin-{name}", name=name, layers=layers))
