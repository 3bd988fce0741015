"""A club's journal as plain records, and what is shared of it read back from the files."""

import csv
import io
import zipfile
from datetime import timedelta
from xml.etree import ElementTree as XML

from tests.journal.examples import NOW, amount, day, make_bin, make_keeper, one_of_each
from underlid.club.publication import ARCHIVE, publication
from underlid.club.sharing import share
from underlid.club.telling import About
from underlid.quantity.amount import VagueAmount
from underlid.records import Photo, SampleCount, Sighting

BINS = (make_bin("north", 1), make_bin("south", 2), make_bin("garage", 3))
WHOSE = {"north": "Ada", "south": "Ben"}  # garage is nobody's
HILL = make_keeper(
    "Ada", shown_as="A. <of> the hill & co", latitude=52.123456, longitude=-1.345678, place="0.1 degree",
    photos="shared",
)  # fmt: skip
QUIET = make_keeper("Ben", role="keeper", latitude=-33.918861, longitude=18.423300, place="not told")
KEEPERS = {"Ada": HILL, "Ben": QUIET}


def exactly(number: int) -> VagueAmount:
    return VagueAmount(number, number, "1", "exact", str(number))


def sample(id: str, *counts, bin: str = "south", volume: VagueAmount = amount(1, 1.5, "L"), **more) -> SampleCount:  # noqa: B008  # frozen
    return SampleCount(id=id, bin=bin, when=day(2, 3), words="sorted", volume=volume, counts=counts, **more)


def sighting(id: str, many: VagueAmount, **more) -> Sighting:
    return Sighting(id=id, bin="south", when=day(2, 4), words="saw some", amount=many, **{"stage": "adult"} | more)


def photo(id: str, bin: str, sha256: str) -> Photo:
    return Photo(id=id, bin=bin, when=day(2, 5), words="a picture", file=f"{sha256}.jpg", sha256=sha256)


ENTRIES = (
    *one_of_each(),
    sample("c2", ("adult", exactly(0)), ("juvenile", VagueAmount(0, 2, "1", "between", "0 to 2"))),
    sighting("s2", VagueAmount(0, 0, "1", "exact", "none")),
    photo("p2", "south", "feed"),
    photo("p3", "garage", "beef"),
)


def shared(bins=BINS, entries=ENTRIES, keepers=KEEPERS, whose=WHOSE, photos=None, **more):
    return share(bins, entries, keepers, whose, photos or {}, **more)


def published(about=About(), **more):  # noqa: B008  # frozen
    return publication(shared(**more), about)


def unzipped(files):
    with zipfile.ZipFile(io.BytesIO(files[ARCHIVE])) as packed:
        assert packed.testzip() is None
        return {name: packed.read(name) for name in packed.namelist()}


def tab_rows(data: bytes):
    head, *lines = data.decode().split("\n")[:-1]
    return [dict(zip(head.split("\t"), line.split("\t"), strict=True)) for line in lines]


def csv_rows(files, name):
    return list(csv.DictReader(io.StringIO(files[f"data-package/{name}.csv"].decode(), newline=""), strict=True))


def xml(data: bytes) -> XML.Element:
    return XML.fromstring(data)


LATER = NOW + timedelta(days=1)
