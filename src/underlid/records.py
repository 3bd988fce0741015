"""What a keeper writes down: frozen records that know nothing of files, tables or screens.

Every record carries the keeper's own words. A record is never changed: a correction is a new
record whose `corrects` names the earlier one, and both stay in the journal.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime

Place = Literal["middle", "edge", "surface", "not noted"]
Stage = Literal["cocoon", "hatchling", "juvenile", "sub-adult", "adult"]
Measured = Literal["temperature", "air temperature", "pH", "moisture", "EC", "live mass"]
Siting = Literal["open shelter", "outdoors", "unheated shed", "indoors"]
Base = Literal["slab", "soil", "feet"]

PLACES: tuple[Place, ...] = ("middle", "edge", "surface", "not noted")
STAGES: tuple[Stage, ...] = ("cocoon", "hatchling", "juvenile", "sub-adult", "adult")
MEASURED: tuple[Measured, ...] = ("temperature", "air temperature", "pH", "moisture", "EC", "live mass")
SITINGS: tuple[Siting, ...] = ("open shelter", "outdoors", "unheated shed", "indoors")
BASES: tuple[Base, ...] = ("slab", "soil", "feet")

Role = Literal["steward", "keeper", "reader"]  # looks after the journal; enters in own bins; reads
PlaceShown = Literal["as noted", "0.01 degree", "0.1 degree", "1 degree", "not told"]
PhotosShown = Literal["private", "shared"]

ROLES: tuple[Role, ...] = ("steward", "keeper", "reader")
PLACES_SHOWN: tuple[PlaceShown, ...] = ("as noted", "0.01 degree", "0.1 degree", "1 degree", "not told")
PHOTOS_SHOWN: tuple[PhotosShown, ...] = ("private", "shared")


@dataclass(frozen=True, slots=True)
class BeddingLayer:
    """One layer of the bedding as it was laid, bottom layer first (`position` 0)."""

    id: str
    position: int
    material: str
    depth: VagueAmount  # m
    moisture: VagueAmount  # % of wet mass
    words: str = ""


@dataclass(frozen=True, slots=True)
class Bin:
    """A bin from the day its bedding was laid.

    Inside sizes are vague amounts in metres; `wall` names the material (see
    `underlid.bedding.vessel.CONDUCTIVITY`) and `wall_thickness` is in metres.
    """

    id: str
    name: str
    started: VagueTime
    timezone: str  # IANA name
    length: VagueAmount  # m, inside
    width: VagueAmount  # m, inside
    height: VagueAmount  # m, inside
    siting: Siting
    base: Base
    wall: str
    wall_thickness: VagueAmount  # m
    founders: VagueAmount  # animals
    species: str
    layers: tuple[BeddingLayer, ...] = ()
    words: str = ""
    noted_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every dated entry shares. `bin` is the bin's name; `noted_at` is the clock when it was stored."""

    id: str
    bin: str
    when: VagueTime
    words: str
    corrects: str | None = None
    noted_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Entry):
    """A measured amount at a time and a place in the bin. `depth` is below the bedding surface, in metres."""

    quantity: Measured
    amount: VagueAmount
    place: Place = "not noted"
    depth: VagueAmount | None = None
    instrument: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeding(Entry):
    """Something given to the bin; `amount` in kg, L or 1 (pieces)."""

    material: str
    amount: VagueAmount
    place: Place = "not noted"


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleCount(Entry):
    """Animals sorted out of a known volume (L), by stage."""

    volume: VagueAmount
    counts: tuple[tuple[Stage, VagueAmount], ...]
    place: Place = "not noted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting(Entry):
    """What was seen without a known volume: a lower bound on who lives there, never a count."""

    amount: VagueAmount
    stage: Stage | Literal["not noted"] = "not noted"
    place: Place = "not noted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Entry):
    """Words kept as they are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(Entry):
    """A picture kept beside the journal: its stored file name and the SHA-256 of its bytes."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim(Entry):
    """A sentence people repeat about keeping worms, noted here as under watch in this bin."""

    sentence: str


AnyEntry = Reading | Feeding | SampleCount | Sighting | Note | Photo | Claim


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisteredPlan:
    """A trial plan as it was frozen: `sha256` is the hex digest of the UTF-8 bytes of `text`, canonical JSON."""

    name: str
    text: str
    sha256: str
    registered_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanChange:
    """What became different after a plan was registered. `plan` and `bin` are names; it is told beside the verdict."""

    id: str
    plan: str
    what: Literal["bin dropped", "margin", "looks", "other"]
    bin: str | None
    words: str
    noted_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnClaims:
    """The keeper's own claims file, TOML text as it was given."""

    id: str
    text: str
    noted_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeper:
    """One of several keepers of a journal, and what others may see of them; the newest record of a name holds.

    `shown_as` is the name to publish, empty for none; `latitude` and `longitude` [degrees] say where the bins stand.
    """

    id: str
    name: str
    role: Role = "keeper"
    shown_as: str = ""
    latitude: float | None = None
    longitude: float | None = None
    place: PlaceShown = "not told"
    photos: PhotosShown = "private"
    noted_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BinKeeper:
    """Whose a bin is from `noted_at` on; the newest record of a bin holds. `bin` and `keeper` are names."""

    id: str
    bin: str
    keeper: str
    noted_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoShown:
    """That one photo is shared, or kept private, whatever its keeper says of photos; `photo` is its entry's id."""

    id: str
    photo: str
    shown: PhotosShown
    noted_at: datetime
