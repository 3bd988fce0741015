"""What the store asks of its tables: whole records in, whole records out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import ARRAY, ColumnElement, Connection, Select, Table, any_, func, insert, literal, or_, select

from underlid.journal.errors import UnreadableRow
from underlid.journal.rows import Record, Row, amount_of, as_record, as_row, is_text, stage_counts, stage_rows
from underlid.journal.tables import (
    ENTRY_TABLES,
    Words,
    bedding_layers,
    bins,
    containers,
    sample_counts,
    sample_stages,
)
from underlid.quantity.amount import VagueAmount
from underlid.records import AnyEntry, BeddingLayer, Bin, SampleCount

#: SQLite takes at most 32 766 values in one statement, so ids are asked for in lots of this many.
LOT = 10_000


def insert_rows(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Insert `rows` in their order."""
    if rows:  # an empty list would insert one row of NULLs
        connection.execute(insert(table), rows)


def insert_entries(connection: Connection, entries: Sequence[AnyEntry]) -> None:
    """Insert entries with all that belongs to them; those of one kind keep their order."""
    for kind, table in ENTRY_TABLES.items():
        insert_rows(connection, table, [as_row(entry) for entry in entries if type(entry) is kind])
    samples = [entry for entry in entries if isinstance(entry, SampleCount)]
    insert_rows(connection, sample_stages, [row for sample in samples for row in stage_rows(sample)])


def load_records(
    connection: Connection, record: type[Record], table: Table, *where: ColumnElement[bool]
) -> list[Record]:
    """Return what a table says as records of one type, for records that lie in one table whole."""
    with _reading(table):
        return [as_record(record, row) for row in _rows(connection, select(table).where(*where))]


def load_bins(connection: Connection, name: str | None = None) -> dict[str, Bin]:
    """Return every bin by its name, or the one of that name if there is such a one, each with its bedding."""
    if name is not None and not is_text(name):  # no other is there, and not every store may be asked for one
        return {}
    its_layers, its_own = ([], []) if name is None else ([bedding_layers.c.bin == name], [bins.c.name == name])
    layers: dict[str, list[BeddingLayer]] = defaultdict(list)
    with _reading(bedding_layers):
        for row in _rows(connection, select(bedding_layers).where(*its_layers).order_by("bin", "position")):
            layers[row["bin"]].append(as_record(BeddingLayer, row))
    with _reading(bins):
        return {
            row["name"]: as_record(Bin, row, layers=tuple(layers[row["name"]]))
            for row in _rows(connection, select(bins).where(*its_own))
        }


def load_entries(
    connection: Connection, *, kind: type[AnyEntry] | None = None, bin_name: str | None = None
) -> list[AnyEntry]:
    """Return all entries of one kind or of all kinds, of one bin or of all bins."""
    return [
        entry
        for each in ([kind] if kind else ENTRY_TABLES)
        for entry in _of_kind(connection, each, [ENTRY_TABLES[each].c.bin == bin_name] if bin_name else [])
    ]


def count_entries(connection: Connection) -> dict[str, int]:
    """How many entries every bin has, corrected ones counted; nothing of them is read."""
    found = dict.fromkeys(connection.execute(select(bins.c.name).order_by(bins.c.name)).scalars(), 0)
    for table in ENTRY_TABLES.values():
        for name, many in connection.execute(select(table.c.bin, func.count()).group_by(table.c.bin)):
            if name in found:
                found[name] += many
    return found


def load_linked(connection: Connection, ids: Sequence[str]) -> dict[str, AnyEntry]:
    """Return, by id, the entries with these ids and those that correct one of them."""
    ids = [each for each in ids if is_text(each)]  # no other is there, and not every store may be asked for one
    lots = [ids[start : start + LOT] for start in range(0, len(ids), LOT)]
    return {
        entry.id: entry
        for lot in lots
        for kind, table in ENTRY_TABLES.items()
        for entry in _of_kind(
            connection, kind, [or_(*(_among(connection, table.c[name], lot) for name in ("id", "corrects")))]
        )
    }


def load_containers(connection: Connection) -> dict[str, VagueAmount]:
    """Return the keeper's containers: name to what it holds; the last thing said holds."""
    with _reading(containers):
        return {row["name"]: amount_of("holds", row) for row in _rows(connection, select(containers).order_by("id"))}


def _of_kind(connection: Connection, kind: type[AnyEntry], where: Sequence[ColumnElement[bool]]) -> Iterator[AnyEntry]:
    table = ENTRY_TABLES[kind]
    rows = _rows(connection, select(table).where(*where))
    stages: dict[str, list[dict[str, Any]]] = defaultdict(list)
    if kind is SampleCount:
        samples = select(sample_counts.c.id).where(*where)
        query = select(sample_stages).where(sample_stages.c.sample.in_(samples)).order_by("position")
        for stage in _rows(connection, query):
            stages[stage["sample"]].append(stage)
    with _reading(table):
        for row in rows:
            more = {"counts": stage_counts(stages[row["id"]])} if kind is SampleCount else {}
            yield as_record(kind, row, **more)


def _among(connection: Connection, column: ColumnElement[str], values: Sequence[str]) -> ColumnElement[bool]:
    if connection.dialect.name == "postgresql":  # which takes a list as one value, and far sooner than as many
        return column == any_(literal(list(values), ARRAY(Words)))
    return column.in_(values)


def _rows(connection: Connection, query: Select[Any]) -> list[dict[str, Any]]:
    return [row._asdict() for row in connection.execute(query)]


@contextmanager
def _reading(table: Table) -> Iterator[None]:
    try:
        yield
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise UnreadableRow(f"a row of {table.name} cannot be read") from error
