"""A bin started from a form: everything but its name may be left empty, and is then not noted."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from pathlib import Path
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ConfigDict, Field

from underlid.bedding.laying import layers_of
from underlid.entry.feel import moisture_by_feel
from underlid.fit.evidence import situation
from underlid.journal.errors import DuplicateBin, JournalExists, NoJournal
from underlid.journal.store import Journal
from underlid.quantity import VagueAmount, parse_amount
from underlid.quantity.amount import parse_size
from underlid.quantity.when import parse_when
from underlid.quantity.zones import zone
from underlid.records import Base, BeddingLayer, Bin, BinKeeper, Siting
from underlid.web.parts import TURN
from underlid.worms.species import UnknownSpecies
from underlid.worms.species import species as facts

SIZELESS = "The size is not noted, so nothing can be forecast for this bin; what you write down is kept all the same."


class OddName(ValueError):
    """A name that no page could be found under."""


class OddZone(ValueError):
    """A time zone that nobody knows."""


class MoistureOfNothing(ValueError):
    """A moisture without the bedding it is of."""


class BinWords(BaseModel):
    """What a keeper says of a new bin, in words; what is left empty is not noted."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=60, description="What you call it.")
    size: str = Field("", max_length=200, description="Inside: “17 x 12 x 11 in”.")
    bedding: str = Field(
        "", max_length=500, description="Layers from the bottom: “leaves 10 cm, old horse manure 8 cm”."
    )
    moisture: str = Field("", max_length=100, description="Of the bedding: “about 70 %”.")
    founders: str = Field("", max_length=100, description="Worms put in: “a couple of dozen”.")
    species: str = Field("", max_length=100, description="Eisenia fetida if left empty.")
    started: str = Field(
        "", max_length=100, description="When the bedding was laid: “18 Oct 2025”; today if left empty."
    )
    siting: Siting = "open shelter"
    base: Base = "slab"
    timezone: str = Field("", max_length=60, description="Europe/London; this computer's if left empty.")


def start(
    folder: Path, said: BinWords, key: UUID, now: datetime, keeper: str = ""
) -> tuple[Bin, tuple[str, ...]]:  # fmt: skip
    """Store a new bin, in a new journal if there is none; the same form sent twice starts one bin.

    Where there are several keepers it is that of `keeper`. Returns the bin and sentences on what was assumed.
    """
    record, notes = bin_of(said, key, now)
    with _open_or_create(folder) as journal:
        try:
            with TURN:
                journal.add_bin(record)
        except DuplicateBin:
            standing = {one.name: one for one in journal.bins()}.get(record.name)
            if standing is None or standing.id != record.id:
                raise
            record = standing
        if keeper:
            journal.hand_bin(BinKeeper(id=str(uuid5(key, "keeper")), bin=record.name, keeper=keeper, noted_at=now))
    return record, notes


def bin_of(said: BinWords, key: UUID, now: datetime) -> tuple[Bin, tuple[str, ...]]:
    """The bin that the words tell of, with sentences on what was assumed; nothing is stored."""
    name = _name(said.name)
    tz = _zone(said.timezone.strip())
    moment = now.astimezone(tz)
    notes: list[str] = []
    species = " ".join(said.species.split()) or "Eisenia fetida"
    try:
        species = facts(species).name
    except UnknownSpecies as unknown:
        notes.append(f"{unknown} The bin is kept under the name you gave.")
    wet = moisture_by_feel(said.moisture) or _amount(said.moisture, "%")
    laid = layers_of(said.bedding) if said.bedding.strip() else []
    if wet.kind != "not noted" and not laid:
        raise MoistureOfNothing("The moisture needs to know of what: write the bedding too, at least its material.")
    layers = tuple(
        BeddingLayer(
            id=str(uuid5(key, f"layer {position}")), position=position, material=material,
            depth=_amount(depth, "m"), moisture=wet, words=words,
        )
        for position, (material, depth, words) in enumerate(laid)
    )  # fmt: skip
    length, width, height = _sides(said.size)
    record = Bin(
        id=str(uuid5(key, "bin")), name=name, started=parse_when(said.started.strip() or "today", now=moment, tz=tz),
        timezone=tz.key, length=length, width=width, height=height, siting=said.siting, base=said.base,
        wall="polypropylene", wall_thickness=parse_amount("3 mm", expect="m"), founders=_amount(said.founders, "1"),
        species=species, layers=layers, words=said.size.strip() or "size not noted", noted_at=moment,
    )  # fmt: skip
    notes += situation(record).notes if said.size.strip() else (SIZELESS,)  # refuses a bin that cannot be
    return record, tuple(notes)


# --- inside ----------------------------------------------------------------------------------------------


def _name(words: str) -> str:
    """A name that fits into the address of a page."""
    name = " ".join(words.split())
    odd = [letter for letter in name if letter in "/\\" or unicodedata.category(letter).startswith("C")]
    if not name.strip(".") or odd:
        raise OddName("That is no name for a bin: use letters, digits and spaces, as “north” or “bin 2”.")
    return name


def _zone(name: str) -> ZoneInfo:
    if name and name not in available_timezones():
        raise OddZone(f"There is no time zone “{name}”; write one such as Europe/London.")
    return zone(name or None)


def _amount(words: str, unit: str) -> VagueAmount:
    return parse_amount(words.strip() or "not noted", expect=unit)


def _sides(words: str) -> tuple[VagueAmount, VagueAmount, VagueAmount]:
    if not words.strip() or words.strip().lower() == "not noted":
        return (_amount("", "m"),) * 3
    box = parse_size(words)
    return box.length, box.width, box.height


def _open_or_create(folder: Path) -> Journal:
    try:
        return Journal.open(folder)
    except NoJournal:
        pass
    try:
        return Journal.create(folder)
    except JournalExists:  # made by another request in between
        return Journal.open(folder)
