"""A story's data as open files: CSV tables, a Frictionless Data Package that describes them, and a plain README.

The descriptor follows Data Package (v1, Frictionless Standards), the files RFC 4180 in UTF-8. Cells hold the numbers
that the account was made from, not the rounded ones of its sentences. Words are written as they are, even if they begin
with = + - or @; the README says what to heed with spreadsheets.
"""

from __future__ import annotations

import json
import re
import textwrap
import unicodedata

from underlid import opendata
from underlid.update.facts import Story
from underlid.update.forms.datafacts import facts_and_moments
from underlid.update.forms.datatables import Column, Table, tables, text_of
from underlid.update.prose import background
from underlid.update.prose.words import ONE_BIN

FOLDER = "data"
MOMENT = "%Y-%m-%dT%H:%M:%S%z"


def package(story: Story, licence: str | None = None) -> dict[str, bytes]:
    """The files of a story's data, in a folder "data"; the same story gives the same bytes.

    licence : its name of the Open Definition, such as "CC-BY-4.0", if the keeper gives the data away under one
    """
    from underlid.update.prose.telling import sections

    every = (*tables(story), *facts_and_moments(story, sections(story)))
    made = {f"{table.name}.csv": csv_of(table) for table in every}
    descriptor = json.dumps(_descriptor(story, every, made, licence), ensure_ascii=False, indent=1, allow_nan=False)
    made |= {"datapackage.json": f"{descriptor}\n".encode(), "README.txt": _readme(story, every).encode()}
    return {f"{FOLDER}/{name}": data for name, data in made.items()}


def csv_of(table: Table) -> bytes:
    """A table as CSV (RFC 4180)."""
    rows = ([text_of(cell) for cell in row] for row in table.rows)
    return opendata.csv_of([column.name for column in table.columns], rows)


# --- the descriptor --------------------------------------------------------------------------------------


def _descriptor(
    story: Story, every: tuple[Table, ...], made: dict[str, bytes], licence: str | None
) -> dict[str, object]:  # fmt: skip
    said: dict[str, object] = {
        "profile": "tabular-data-package",
        "name": f"{_name(story.bin.name)}-{story.month:%Y-%m}",
        "title": f"{story.title}, {story.month:%B %Y}",
        "description": " ".join(_description(story)),
        "created": story.now.isoformat(timespec="seconds"),
    }
    if story.keeper:
        said["contributors"] = [{"title": story.keeper, "role": "author"}]
    if licence:
        said["licenses"] = [{"name": licence}]
    said["sources"] = [{"title": f"{term}: {told}"} for term, told in background.sources(story)]
    said["resources"] = [_resource(table, made[f"{table.name}.csv"]) for table in every]
    return said


def _resource(table: Table, data: bytes) -> dict[str, object]:
    schema: dict[str, object] = {"fields": [_field(column) for column in table.columns], "missingValues": [""]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    return opendata.resource(table.name, table.says, data, schema)


def _field(column: Column) -> dict[str, str]:
    said = {"name": column.name, "type": "datetime" if column.kind == "moment" else column.kind}
    if column.kind in ("datetime", "moment"):
        said["format"] = MOMENT if column.kind == "datetime" else "any"
    said["description"] = column.says
    if column.unit:
        said["unit"] = column.unit
    return said


def _name(text: str) -> str:
    """A name as the standard wants it: small letters of ASCII, digits and dashes."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "bin"


def _description(story: Story) -> list[str]:
    said = [f"{background.kind_of_bin(story)}: what was read, and what a model makes of it.", ONE_BIN]
    if story.typical:
        said.append("The weather is that of a typical year, not the real one.")
    if story.misfit:
        said.append("The readings and this weather do not fit together: read every range with doubt.")
    elif not story.trusted:
        said.append("The fit has not settled: read every range with doubt.")
    if story.truth is not None:
        said.append(f"This is a demonstration: {story.truth.label}.")
    return said


# --- the README ------------------------------------------------------------------------------------------


def _readme(story: Story, every: tuple[Table, ...]) -> str:
    files = "\n".join(f"{table.name}.csv\n    {table.says}" for table in every)
    told = "\n".join(textwrap.fill(sentence, 118) for sentence in _description(story))
    return README.format(
        title=f"{story.title}, {story.month:%B %Y}", told=told, files=files, zone=story.timezone,
        fahrenheit="degF = 1.8 x degC + 32", bin=story.bin.name,
    ).replace("\n", "\r\n")  # fmt: skip


README = """{title}

{told}

What is here

{files}
datapackage.json
    What every column means, in what unit, as a Frictionless Data Package.

How to read it

Each number that is not the keeper's own stands as three: p5, p50 and p95. Nine in ten of what fits the readings lies
between the first and the last; the one in the middle is as likely too high as too low.
The column "provenance" says whether a row was read, estimated or predicted.
An empty cell says that a thing is not known, or that a range is open on that side. A file with headings alone says that
there was nothing of the kind this month.
Times stand with their offset from UTC, as clocks in {zone} had it.
Temperatures are in degrees Celsius: {fahrenheit}.
The numbers have all the digits that the account was made from. They are not known that well: go by the ranges.

How to use it

A journal that has the bin "{bin}" takes the readings in again:
    underlid import readings.csv
Readings that replace an earlier one are there as they stand now; noted.csv says what they replaced.

A warning on spreadsheets

Words are written as the keeper wrote them, even if they begin with = + - or @. A spreadsheet may take such a cell for a
formula: open files that you have from somebody else with their columns set to text.
"""
