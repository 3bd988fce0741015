"""What the interface for bins and entries takes and gives."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from underlid.entry import describe
from underlid.entry.split import LONGEST_LINE
from underlid.quantity import show_amount, show_when
from underlid.records import AnyEntry, Bin, Reading
from underlid.web.sent import Stored
from underlid.web.starting import BinWords

Words = Annotated[
    str,
    Field(min_length=1, max_length=LONGEST_LINE, description="As a keeper writes: “middle 6 C, edge 4 C; fed 150 g”."),
]
At = Annotated[AwareDatetime | None, Field(description="The phone's clock, with a zone; ours if left out.")]


class Asked(BaseModel):
    """What is sent to us: nothing is taken that we do not know."""

    model_config = ConfigDict(extra="forbid")


class ReadWords(Asked):
    """Words to be understood."""

    words: Words
    at: At = None


class Offered(Asked):
    """Words to be stored once under a key made by the one who sends them."""

    key: UUID
    words: Words
    at: At = None
    corrects: Annotated[str | None, Field(min_length=1, max_length=100, description="Id of the entry mended.")] = None


class TakenBack(Asked):
    """A key of its own, and the key of what is taken back."""

    key: UUID
    of: UUID


class Started(BinWords):
    """A new bin in words, with a key that makes sending it twice harmless."""

    key: UUID | None = None


class Refused(BaseModel):
    """What is wrong, and for words where and how to mend it; for a conflict, both words."""

    error: str
    position: int | None = None
    mend: str | None = None
    stored: list[str] | None = None
    offered: str | None = None


class WhenTold(BaseModel):
    """When it was, as an interval."""

    start: AwareDatetime
    end: AwareDatetime
    kind: str
    words: str


class EntryTold(BaseModel):
    """An entry as it is understood; a stored one also has its id."""

    id: str
    kind: str
    understood: str
    words: str
    when: WhenTold
    corrects: str | None


class EntryRead(BaseModel):
    """An entry that words would make, and where in the line they stand."""

    kind: str
    understood: str
    what: str
    words: str
    start: int
    end: int
    quantity: str | None
    place: str | None


class Read(BaseModel):
    """What words mean, and what was assumed."""

    entries: list[EntryRead]
    notes: list[str]


class Answer(BaseModel):
    """What is stored, what was assumed, what stop rules say, and whether it was stored before."""

    entries: list[EntryTold]
    notes: list[str]
    alarms: list[str]
    repeated: bool


class LayerTold(BaseModel):
    """A layer of bedding."""

    material: str
    depth: str
    moisture: str


class BinTold(BaseModel):
    """A bin as it was started."""

    name: str
    started: WhenTold
    timezone: str
    size: str
    siting: str
    base: str
    wall: str
    founders: str
    species: str
    layers: list[LayerTold]


class BinStarted(BaseModel):
    """The new bin, and what was assumed."""

    bin: BinTold
    notes: list[str]


class BinPage(BaseModel):
    """A bin, how many entries it has, the latest of them, and what stop rules say of the last two weeks."""

    bin: BinTold
    entries: int
    latest: list[EntryTold]
    alarms: list[str]


def bin_told(record: Bin) -> BinTold:
    """A bin for the interface."""
    layers = [
        LayerTold(material=one.material, depth=show_amount(one.depth), moisture=show_amount(one.moisture))
        for one in record.layers
    ]
    return BinTold(
        name=record.name, started=_when(record.started.as_json()), timezone=record.timezone, size=record.words,
        siting=record.siting, base=record.base, wall=record.wall, founders=show_amount(record.founders),
        species=record.species, layers=layers,
    )  # fmt: skip


def entry_told(one: AnyEntry) -> EntryTold:
    """A stored entry for the interface."""
    return EntryTold(
        id=one.id, kind=type(one).__name__, understood=describe(one), words=one.words, when=_when(one.when.as_json()),
        corrects=one.corrects,
    )  # fmt: skip


def answer_of(kept: Stored) -> Answer:
    """What was stored for the interface."""
    return Answer(
        entries=[entry_told(one) for one in kept.entries], notes=list(kept.notes), alarms=list(kept.alarms),
        repeated=kept.repeated,
    )  # fmt: skip


def spans(line: str, entries: Iterable[AnyEntry]) -> list[EntryRead]:
    """The entries of a line in order, each with the part that it was read from, counted as scripts do (UTF-16)."""
    found = []
    reached = 0
    for one in entries:
        at = line.find(one.words, reached)
        start, reached = (at, at + len(one.words)) if at >= 0 else (reached, reached)
        found.append(
            EntryRead(
                kind=type(one).__name__, understood=describe(one), what=_what(one), words=one.words,
                start=_units(line[:start]), end=_units(line[:reached]),
                quantity=one.quantity if isinstance(one, Reading) else None,
                place=getattr(one, "place", None),
            )
        )  # fmt: skip
    return found


def _what(one: AnyEntry) -> str:
    """The entry without its time, for a screen that shows the time once."""
    return describe(one).removesuffix(f", {show_when(one.when)}")


def _units(text: str) -> int:
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def _when(shown: dict[str, object]) -> WhenTold:
    return WhenTold.model_validate({name: shown[name] for name in WhenTold.model_fields})
