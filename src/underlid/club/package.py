"""A Frictionless Data Package of the same rows (Data Package v1, Frictionless Standards), and the shared photos."""

from __future__ import annotations

import json

from underlid.club.columns import Column, Row, Table
from underlid.club.dates import iso_interval
from underlid.club.sharing import Shared
from underlid.club.telling import About, sentences
from underlid.opendata import csv_of, resource

_PHOTOS = (
    Column("photoID", "Names the photo.", required=True),
    Column("eventID", "The bin that it shows.", required=True),
    Column("taken", "All the time in which it may have been taken, ISO 8601, on the bin's own clock.", required=True),
    Column("sha256", "Fingerprint of the picture's file: by it the keepers find what you ask for.", required=True),
)


def photos(shared: Shared) -> Table:
    """The photos that are shared, by time and fingerprint."""
    bins = {each.id: each for each in shared.bins}
    rows: list[Row] = []
    for photo in shared.photos:
        each = shared.beside(photo.id, bins[photo.bin])
        taken = iso_interval(photo.when, each.zone, offset=each.place is not None)
        rows.append({"photoID": photo.id, "eventID": each.id, "taken": taken, "sha256": photo.sha256})
    return Table("photos", "Photos that their keepers share.", "", "photoID", _PHOTOS, tuple(rows))


def package(shared: Shared, tables: tuple[Table, ...], about: About) -> dict[str, bytes]:
    """The files of the package by name: a CSV table each, and datapackage.json."""
    every = (*tables, photos(shared))
    made = {f"{table.name}.csv": csv_of(table.headings, table.cells()) for table in every}
    said: dict[str, object] = {
        "profile": "tabular-data-package",
        "name": "worm-bins",
        "title": about.heading,
        "description": " ".join(sentences()),
    }
    if shared.until is not None:
        said["created"] = shared.until.isoformat(timespec="seconds")
    keepers = sorted({each.keeper for each in shared.bins if each.named})
    if keepers:
        said["contributors"] = [{"title": keeper, "role": "author"} for keeper in keepers]
    if about.licence is not None:
        licence = about.licence
        said["licenses"] = [{"name": licence.name, "title": licence.title, "path": licence.url}]
    said["resources"] = [_resource(table, made[f"{table.name}.csv"]) for table in every]
    text = json.dumps(said, ensure_ascii=False, indent=1, allow_nan=False)
    return made | {"datapackage.json": f"{text}\n".encode()}


def _resource(table: Table, data: bytes) -> dict[str, object]:
    schema: dict[str, object] = {
        "fields": [_field(column, table) for column in table.columns],
        "missingValues": [""],
        "primaryKey": table.key,
    }
    events = "" if table.name == "events" else "events"  # "" is the table itself
    foreign = "parentEventID" if table.name == "events" else "eventID"
    schema["foreignKeys"] = [{"fields": foreign, "reference": {"resource": events, "fields": "eventID"}}]
    return resource(table.name, table.says, data, schema)


def _field(column: Column, table: Table) -> dict[str, object]:
    said: dict[str, object] = {"name": column.name, "type": column.kind, "description": column.says}
    if table.term:
        said["rdfType"] = column.iri
    constraints: dict[str, object] = {}
    if column.required:
        constraints["required"] = True
    if column.values:
        constraints["enum"] = list(column.values)
    return said | ({"constraints": constraints} if constraints else {})
