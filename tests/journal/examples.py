"""Records to keep in journals: plain ones by name, and any that a keeper could make by Hypothesis."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, get_args

from hypothesis import strategies as st

from underlid.journal.photos import add_photo
from underlid.journal.store import Journal
from underlid.quantity.amount import Kind, VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import (
    MEASURED,
    PLACES,
    STAGES,
    AnyEntry,
    BeddingLayer,
    Bin,
    BinKeeper,
    Claim,
    Feeding,
    Keeper,
    Note,
    OwnClaims,
    Photo,
    PhotoShown,
    PhotosShown,
    PlanChange,
    Reading,
    RegisteredPlan,
    SampleCount,
    Sighting,
)

PARIS_WINTER = timezone(timedelta(hours=1))
NOW = datetime(2026, 3, 1, 21, 30, tzinfo=PARIS_WINTER)
STARTED = datetime(2025, 11, 1, tzinfo=PARIS_WINTER)


def amount(low: float = 6.0, high: float = 7.0, unit: str = "degC", words: str = "6 or 7 C") -> VagueAmount:
    return VagueAmount(low, high, unit, "between", words)


def day(month: int, number: int, year: int = 2026) -> VagueTime:
    start = datetime(year, month, number, tzinfo=PARIS_WINTER)
    return VagueTime(start, start + timedelta(days=1), "between", f"{number}/{month}", ("which year?",))


def make_bin(name: str = "north", number: int = 1) -> Bin:
    side = VagueAmount(0.40, 0.42, "m", "about", "about 16 in", ("by eye",))
    return Bin(
        id=f"bin-{number}",
        name=name,
        started=VagueTime(STARTED, STARTED + timedelta(days=1), "between", "1 November"),
        timezone="Europe/Paris",
        length=side,
        width=side,
        height=side,
        siting="unheated shed",
        base="feet",
        wall="polypropylene",
        wall_thickness=amount(0.002, 0.003, "m", "2-3 mm"),
        founders=VagueAmount(24.0, math.inf, "1", "at least", "dozens"),
        species="Eisenia fetida",
        layers=(
            BeddingLayer(f"{number}-a", 0, "cardboard", amount(0.1, 0.12, "m"), amount(70, 80, "%"), "soaked"),
            BeddingLayer(f"{number}-b", 1, "leaf mould", amount(0.05, 0.1, "m"), amount(-math.inf, 60, "%")),
        ),
        words="under the bench, “cold corner”",
        noted_at=NOW,
    )


def reading(id: str = "r1", *, bin: str = "north", words: str = "6 or 7 C", corrects: str | None = None) -> Reading:
    return Reading(
        id=id,
        bin=bin,
        when=day(1, 5),
        words=words,
        corrects=corrects,
        noted_at=NOW,
        quantity="temperature",
        amount=amount(),
        place="middle",
        depth=amount(0.05, 0.1, "m", "2-4 in"),
        instrument="kitchen probe",
    )


def one_of_each() -> tuple[AnyEntry, ...]:
    """One entry of each kind, in order of time."""
    return (
        reading(),
        Feeding(
            id="f1", bin="north", when=day(1, 6), words="a mug of scraps", material="scraps",
            amount=amount(0.2, 0.3, "L"), place="edge",
        ),
        SampleCount(
            id="c1", bin="north", when=day(1, 7), words="2 adults, 3 or more cocoons", noted_at=NOW,
            volume=amount(1, 1.5, "L"),
            counts=(("adult", amount(2, 2, "1")), ("cocoon", VagueAmount(3, math.inf, "1", "at least", "3+"))),
        ),
        Sighting(id="s1", bin="north", when=day(1, 8), words="a few", amount=amount(3, 5, "1"), stage="adult"),
        Note(id="n1", bin="north", when=day(1, 9), words="smells of forest ☘\nand a 'second' line"),
        Photo(id="p1", bin="north", when=day(1, 10), words="", file="ab.jpg", sha256="ab"),
        Claim(id="k1", bin="north", when=day(1, 11), words="said a neighbour", sentence="Coffee warms a bin."),
    )  # fmt: skip


def with_photo(journal: Journal, name: str = "one") -> Photo:
    """Keep a picture of its own with its entry."""
    picture = journal.folder.parent / f"{name}.jpg"
    picture.write_bytes(b"\xff\xd8\xff" + name.encode())
    kept = add_photo(journal.folder, picture)
    entry = one_of_each()[5]
    assert isinstance(entry, Photo)
    entry = replace(entry, id=f"photo-{name}", file=kept.file, sha256=kept.sha256)
    journal.add([entry])
    return entry


def make_plan(name: str = "coffee", text: str = '{"arm":["☘",1]}', registered_at: datetime = NOW) -> RegisteredPlan:
    digest = hashlib.sha256(text.encode()).hexdigest()
    return RegisteredPlan(name=name, text=text, sha256=digest, registered_at=registered_at)


def make_change(
    id: str = "d1", plan: str = "coffee", words: str = "a fox had it", noted_at: datetime = NOW
) -> PlanChange:
    return PlanChange(id=id, plan=plan, what="bin dropped", bin="north", words=words, noted_at=noted_at)


def make_claims(
    id: str = "o1", text: str = "[rain]\r\nsays = 'Rain draws them up ☔'\n", noted_at: datetime = NOW
) -> OwnClaims:
    return OwnClaims(id=id, text=text, noted_at=noted_at)


def make_keeper(name: str = "Ada", id: str = "", noted_at: datetime = NOW, **more: Any) -> Keeper:
    """A keeper with the id `id`, or one after the name; a steward unless `more` says otherwise."""
    return Keeper(id=id or f"keeper-{name}", name=name, noted_at=noted_at, **{"role": "steward"} | more)


def hand(bin: str = "north", keeper: str = "Ada", id: str = "b1", noted_at: datetime = NOW) -> BinKeeper:
    return BinKeeper(id=id, bin=bin, keeper=keeper, noted_at=noted_at)


def mark(shown: PhotosShown = "shared", photo: str = "p1", id: str = "m1", noted_at: datetime = NOW) -> PhotoShown:
    return PhotoShown(id=id, photo=photo, shown=shown, noted_at=noted_at)


# --- anything a keeper could make -------------------------------------------------------------------

#: Any text that UTF-8 can hold; the first few are those that CSV and spreadsheets stumble over.
texts = st.sampled_from(
    ['a, "b"', "two\nlines", "cr\ralone", "crlf\r\n", "=1+1", "@x", "[]", " ", "é½☘", "'"]
) | st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20)
flag_lists = st.lists(texts, max_size=2).map(tuple)
kinds = st.sampled_from(get_args(Kind))
bounds = st.floats(allow_nan=False, allow_infinity=False)


@st.composite
def amounts(draw: st.DrawFn) -> VagueAmount:
    low, high = sorted((draw(bounds), draw(bounds)))
    low = draw(st.sampled_from([low, -math.inf]))
    high = draw(st.sampled_from([high, math.inf]))
    kind = draw(kinds)
    unit = draw(st.sampled_from(["degC", "L", "kg", "m", "pH", "%", "mS/cm", "1"]))
    return VagueAmount(low, high, unit, kind, draw(texts), draw(flag_lists))


offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
moments = st.datetimes(datetime(2025, 12, 1), datetime(2040, 1, 1), timezones=offsets)


@st.composite
def times(draw: st.DrawFn) -> VagueTime:
    start = draw(moments)
    end = (start + draw(st.timedeltas(timedelta(0), timedelta(days=60)))).astimezone(draw(offsets))
    kind = draw(kinds)
    return VagueTime(start, end, kind, draw(texts), draw(flag_lists))


@st.composite
def readings(draw: st.DrawFn, id: str = "r") -> Reading:
    return Reading(
        id=id,
        bin=draw(st.sampled_from(["north", "south, by the wall"])),
        when=draw(times()),
        words=draw(texts),
        noted_at=draw(st.none() | moments),
        quantity=draw(st.sampled_from(MEASURED)),
        amount=draw(amounts()),
        place=draw(st.sampled_from(PLACES)),
        depth=draw(st.none() | amounts()),
        instrument=draw(texts),
    )


@st.composite
def journals_of_readings(draw: st.DrawFn) -> list[Reading]:
    """Readings with ids of their own; some correct the one before."""
    found: list[Reading] = []
    for number in range(draw(st.integers(0, 6))):
        new = draw(readings(f"r{number}"))
        if found and new.bin == found[-1].bin and draw(st.booleans()):
            new = Reading(
                **{name: getattr(new, name) for name in Reading.__dataclass_fields__} | {"corrects": found[-1].id}
            )
        found.append(new)
    return found


@st.composite
def sample_counts(draw: st.DrawFn) -> SampleCount:
    counts = draw(st.lists(st.tuples(st.sampled_from(STAGES), amounts()), max_size=5))
    return SampleCount(
        id="c", bin="north", when=draw(times()), words=draw(texts), volume=draw(amounts()), counts=tuple(counts)
    )


NOON_UTC = VagueTime(datetime(2026, 2, 1, 12, tzinfo=UTC), datetime(2026, 2, 1, 12, tzinfo=UTC), "exact", "noon")
