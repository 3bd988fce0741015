"""The tables of a journal. Every table only grows: triggers refuse UPDATE and DELETE.

A vague amount is six columns, `<name>_low` to `<name>_flags`: an open side is NULL, flags are a JSON
list. A vague time keeps both ends as ISO 8601 text with their offset, because that text is the
evidence; a number of seconds would lose the keeper's own clock. An optional amount is there when
its `<name>_kind` is.
"""

from __future__ import annotations

from sqlalchemy import (
    REAL,
    TEXT,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from underlid.records import AnyEntry, Claim, Feeding, Note, Photo, Reading, SampleCount, Sighting

#: The revision that these tables stand at: the newest file in migrations/versions.
HEAD = "0003"

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

#: Text is compared byte by byte, as SQLite does, whatever the language of the server.
Words = Text().with_variant(TEXT(collation="C"), "postgresql")

#: SQLite's STRICT tables know REAL, which is 8 bytes there and 4 in PostgreSQL.
Number: Double[float] = Double().with_variant(REAL(), "sqlite")

Parts = list[Column[str] | Column[float] | Column[int] | CheckConstraint]


def _amount(name: str, *, optional: bool = False) -> Parts:
    return [
        Column(f"{name}_low", Number),
        Column(f"{name}_high", Number),
        *(Column(f"{name}_{part}", Words, nullable=optional) for part in ("unit", "kind", "words", "flags")),
        CheckConstraint(f"{name}_low <= {name}_high", name=f"{name}_in_order"),
    ]


def _time(name: str) -> Parts:
    return [Column(f"{name}_{part}", Words, nullable=False) for part in ("start", "end", "kind", "words", "flags")]


def _text(*names: str) -> Parts:
    return [Column(name, Words, nullable=False) for name in names]


def _table(name: str, *parts: Column[str] | Column[float] | Column[int] | object) -> Table:
    return Table(name, metadata, *parts, sqlite_strict=True)  # type: ignore[arg-type]


def _entries(name: str, *parts: object) -> Table:
    """Return the table of one kind of entry: what every entry shares, then `parts`.

    The last two constraints keep corrections honest: one correction at most for each entry, of the
    same kind (the same table) and of the same bin.
    """
    return _table(
        name,
        Column("id", Words, primary_key=True),
        Column("bin", Words, ForeignKey("bins.name"), nullable=False, index=True),
        *_time("when"),
        *_text("words"),
        Column("corrects", Words, unique=True),
        Column("noted_at", Words),
        *parts,
        UniqueConstraint("id", "bin"),
        ForeignKeyConstraint(["corrects", "bin"], [f"{name}.id", f"{name}.bin"]),
    )


bins = _table(
    "bins",
    Column("id", Words, primary_key=True),
    Column("name", Words, nullable=False, unique=True),
    *_time("started"),
    *_text("timezone"),
    *_amount("length"),
    *_amount("width"),
    *_amount("height"),
    *_text("siting", "base", "wall"),
    *_amount("wall_thickness"),
    *_amount("founders"),
    *_text("species", "words"),
    Column("noted_at", Words),
)

bedding_layers = _table(
    "bedding_layers",
    Column("id", Words, primary_key=True),
    Column("bin", Words, ForeignKey("bins.name"), nullable=False),
    Column("position", Integer, nullable=False),
    *_text("material"),
    *_amount("depth"),
    *_amount("moisture"),
    *_text("words"),
    UniqueConstraint("bin", "position"),
)

readings = _entries(
    "readings",
    *_text("quantity"),
    *_amount("amount"),
    *_text("place"),
    *_amount("depth", optional=True),
    *_text("instrument"),
)
feedings = _entries("feedings", *_text("material"), *_amount("amount"), *_text("place"))
sample_counts = _entries("sample_counts", *_amount("volume"), *_text("place"))
sightings = _entries("sightings", *_amount("amount"), *_text("stage", "place"))
notes = _entries("notes")
photos = _entries("photos", *_text("file", "sha256"))
claims = _entries("claims", *_text("sentence"))

sample_stages = _table(
    "sample_stages",
    Column("sample", Words, ForeignKey("sample_counts.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    *_text("stage"),
    *_amount("count"),
)

#: Names that keepers give to their own measures ("the blue mug"); the newest row of a name holds.
containers = _table(
    "containers",
    Column("id", Integer, primary_key=True),
    *_text("name"),
    *_amount("holds"),
)

#: The text is the plan; what a plan says is not for a table to know, so `bin` below may name any bin.
plans = _table(
    "plans",
    Column("name", Words, primary_key=True),
    *_text("text", "sha256", "registered_at"),
)

plan_changes = _table(
    "plan_changes",
    Column("id", Words, primary_key=True),
    Column("plan", Words, ForeignKey("plans.name"), nullable=False, index=True),
    *_text("what"),
    Column("bin", Words),
    *_text("words", "noted_at"),
)

own_claims = _table(
    "own_claims",
    Column("id", Words, primary_key=True),
    *_text("text", "noted_at"),
)

#: The newest row of a name holds, and below that of a bin and of a photo; `underlid.journal.keepers` says which it is.
keepers = _table(
    "keepers",
    Column("id", Words, primary_key=True),
    *_text("name", "role", "shown_as"),
    Column("latitude", Number),
    Column("longitude", Number),
    *_text("place", "photos", "noted_at"),
    CheckConstraint("(latitude IS NULL) = (longitude IS NULL)", name="whole_place"),
    CheckConstraint("latitude BETWEEN -90 AND 90 AND longitude BETWEEN -180 AND 180", name="on_earth"),
)

#: A keeper has many rows, so no table can ask that there is one of this name: the store does.
bin_keepers = _table(
    "bin_keepers",
    Column("id", Words, primary_key=True),
    Column("bin", Words, ForeignKey("bins.name"), nullable=False),
    *_text("keeper", "noted_at"),
)

photos_shown = _table(
    "photos_shown",
    Column("id", Words, primary_key=True),
    Column("photo", Words, ForeignKey("photos.id"), nullable=False),
    *_text("shown", "noted_at"),
)

ENTRY_TABLES: dict[type[AnyEntry], Table] = {
    Reading: readings,
    Feeding: feedings,
    SampleCount: sample_counts,
    Sighting: sightings,
    Note: notes,
    Photo: photos,
    Claim: claims,
}
