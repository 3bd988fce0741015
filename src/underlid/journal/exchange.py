"""Entries out to CSV and in again.

An export is UTF-8 with commas and CRLF line ends (RFC 4180) and carries every part of every entry,
corrected ones too: imported into a fresh journal that has the bins, it exports to the same bytes.
A column is named as the record's field is: `amount` and `when` are the keeper's words, and
`amount_low` to `amount_flags`, `when_start` to `when_flags` what they were taken to mean. On the way
in, a row whose `amount_kind` is filled is taken as it stands; to have new words read afresh, empty
that cell. `id` may be left out: it is then made from the content, so that the same logger file
imported twice adds nothing.

Words are written as they are, even if they begin with = + - or @. A spreadsheet may take such a cell
for a formula: open a file from somebody else with the columns set to text.
"""

from __future__ import annotations

import csv
import io
import json
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import datetime
from functools import partial
from typing import BinaryIO, get_args

from underlid.journal.cells import UNIT, Exchanged, RowReader
from underlid.journal.errors import (
    BadCell,
    BadMapping,
    DuplicateEntry,
    EntryBeforeBin,
    JournalError,
    UnknownBin,
    UnreadableCsv,
    Unstorable,
)
from underlid.journal.rows import NOT_NOTED_AT, SHAPES, as_row, is_amount, kind_name
from underlid.journal.store import Journal
from underlid.quantity.when import VagueTime
from underlid.records import Reading

#: How many good rows a report shows.
SHOWN = 5

#: Largest file that is read, in bytes: some 200 000 readings.
MAX_BYTES = 50_000_000

# Fixed for good: ids made from content are the same in every journal.
_IDS = uuid.UUID("6f0c7f0e-6a0b-5d0e-9a55-0b1d1f6a2c11")


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A row that was not taken: where it stands in the file, and why."""

    line: int  # the row's first line, the headings being line 1
    column: str  # the file's heading, empty if it is the row as a whole
    value: str
    sentence: str


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What an import did, or what a dry run would do."""

    rows_read: int
    accepted: int
    refused: tuple[RefusedRow, ...]
    ignored: tuple[str, ...]  # headings that no column was taken from
    stored: bool  # whether the accepted rows are in the journal now
    first: tuple[tuple[int, Exchanged], ...] = field(default=(), compare=False)  # good rows to look at, by line


def export_entries(journal: Journal, stream: BinaryIO, *, kind: type[Exchanged] = Reading) -> int:
    """Write every entry of `kind`, corrected ones too, in order of time; return how many."""
    entries = journal.entries(kind=kind, superseded=True)
    out = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
    try:
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(_columns(kind).values())
        writer.writerows([_cell(*item) for item in as_row(entry).items()] for entry in entries)
    finally:
        out.detach()  # the stream stays open: it is the caller's
    return len(entries)


def import_entries(
    journal: Journal,
    stream: BinaryIO,
    *,
    now: datetime,
    kind: type[Exchanged] = Reading,
    columns: Mapping[str, str] | None = None,
    fixed: Mapping[str, str] | None = None,
    bin: str | None = None,
    dry_run: bool = False,
    skip_bad: bool = False,
    delimiter: str | None = None,
    decimal_comma: bool = False,
) -> ImportReport:
    """Read entries of one kind from CSV: all rows or, if any is bad, none.

    Parameters
    ----------
    now : the clock, with a zone: "yesterday" is counted from it, and it is when the rows were noted
    columns : the file's headings to ours, such as {"Temp (C)": "amount"}; a heading that is one of ours
        stands for itself. A number without a unit has the one its heading names
    fixed : what a column holds where the file has no such column or an empty cell, such as
        {"quantity": "temperature"}; {"unit": "degF"} is the unit of amounts without one
    bin : the bin of rows that do not name one
    dry_run : find every bad row, store nothing
    skip_bad : store the good rows although there are bad ones
    decimal_comma : a comma in an amount is a decimal point, so that 1,234 is not in doubt
    delimiter : by default the one of comma, semicolon and tab that the headings hold most of

    Raises
    ------
    UnreadableCsv : the file is not CSV in UTF-8, or too large
    BadMapping : the headings and `columns` do not fit
    UnknownBin : `bin` is not there
    """
    if bin is not None:
        journal.bin(bin)
        fixed = {**(fixed or {}), "bin": bin}
    rows = _read_rows(_read_text(stream), delimiter)
    _, headings = next(rows, (1, []))
    heading_of = _fit(kind, headings, columns or {}, fixed or {})
    reader = RowReader(
        kind=kind,
        bins={each.name: each for each in journal.bins()},
        containers=journal.containers(),
        now=now,
        headings=heading_of,
        decimal_comma=decimal_comma,
    )
    seen: Counter[str] = Counter()
    refused: list[RefusedRow] = []
    rows_read = 0
    good: list[tuple[int, dict[str, str], Exchanged]] = []

    def refuse(line: int, cells: Mapping[str, str], error: JournalError) -> None:
        column = _column_at_fault(error)
        refused.append(RefusedRow(line, heading_of.get(column, column), cells.get(column, ""), str(error)))

    for line, row in rows:
        if not any(row):
            continue
        rows_read += 1
        if any(row[len(headings) :]) or len(row) < len(headings):
            sentence = (
                f"The row has {len(row)} cells and the headings are {len(headings)}: "
                "look for a missing or an extra separator, or a missing quote."
            )
            refused.append(RefusedRow(line, "", "", sentence))
            continue
        by_heading = dict(zip(headings, row, strict=False))
        filled = {ours: by_heading[theirs] for ours, theirs in heading_of.items() if by_heading[theirs]}
        cells = {**(fixed or {}), **filled}
        try:
            good.append((line, cells, _with_id(reader.entry(cells), seen)))
        except JournalError as error:
            refuse(line, cells, error)
    wrong = journal.offer(
        [entry for _, _, entry in good],
        dry_run=dry_run or (bool(refused) and not skip_bad),
        skip_bad=skip_bad,
    )
    for position, refusal in wrong.items():
        line, cells, _ = good[position]
        refuse(line, cells, refusal)
    return ImportReport(
        rows_read=rows_read,
        accepted=len(good) - len(wrong),
        refused=tuple(sorted(refused, key=lambda row: row.line)),
        ignored=tuple(heading for heading in headings if heading not in heading_of.values()),
        stored=not dry_run and (skip_bad or not refused),
        first=tuple((line, entry) for at, (line, _, entry) in enumerate(good) if at not in wrong)[:SHOWN],
    )


#: The same, for the kind of entry that loggers and other notebooks hold.
export_readings = partial(export_entries, kind=Reading)
import_readings = partial(import_entries, kind=Reading)


# --- the file ---------------------------------------------------------------------------------------


def _read_text(stream: BinaryIO) -> str:
    data = stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise UnreadableCsv(detail=f"it is larger than {MAX_BYTES // 1_000_000} MB, split it")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnreadableCsv(detail=f"line {line} is not UTF-8 text, save the file as 'CSV UTF-8'") from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise UnreadableCsv(detail=f"line {line} holds a NUL byte, which no text has, export the file again")
    if not text.strip():
        raise UnreadableCsv(detail="it is empty, and a first line of headings is needed")
    return text


def _read_rows(text: str, delimiter: str | None) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the number of its first line."""
    head = text.lstrip().split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter or max(",;\t", key=head.count), strict=True)
    line = 1
    try:
        for row in reader:
            yield line, row
            line = reader.line_num + 1
    except csv.Error as error:
        detail = f"the row that begins at line {line} is broken ({error}), look for a missing quote"
        raise UnreadableCsv(detail=detail) from error


# --- headings ---------------------------------------------------------------------------------------


def _columns(kind: type[Exchanged]) -> dict[str, str]:
    """Return the journal's columns with their names in the file: `amount_words` is `amount` there."""
    if kind not in get_args(Exchanged):
        raise BadMapping(detail=f"a {kind_name(kind)} does not fit one row of a table")
    names: dict[str, str] = {}
    for name, hint in SHAPES[kind].items():
        if is_amount(hint):
            parts = ["low", "high", "unit", "kind", "words", "flags"]
        elif hint is VagueTime:
            parts = ["start", "end", "kind", "words", "flags"]
        else:
            names[name] = name
            continue
        names |= {f"{name}_{part}": name if part == "words" else f"{name}_{part}" for part in parts}
    return names


def _fit(
    kind: type[Exchanged], headings: list[str], columns: Mapping[str, str], fixed: Mapping[str, str]
) -> dict[str, str]:
    """Return our columns with the heading that each is read from."""
    ours = set(_columns(kind).values()) | ({UNIT} if kind is Reading else set())
    for name in (*columns.values(), *fixed):
        if name not in ours:
            raise BadMapping(detail=f"there is no column '{name}', use one of {', '.join(sorted(ours))}")
    for heading, times in Counter(heading for heading in headings if heading).items():
        if times > 1:
            raise BadMapping(detail=f"the heading '{heading}' stands twice, give each column its own")
    for heading in columns:
        if heading not in headings:
            raise BadMapping(detail=f"there is no heading '{heading}', the file has {', '.join(headings)}")
    fit: dict[str, str] = {}
    for heading in headings:
        name = columns.get(heading, heading)
        if name not in ours:
            continue
        if name in fit:
            raise BadMapping(detail=f"'{fit[name]}' and '{heading}' are both '{name}', leave one out")
        fit[name] = heading
    needed = {field.name for field in fields(kind) if field.default is MISSING} - {"id", "words"}
    missing = [name for name in _columns(kind).values() if name in needed and name not in {*fit, *fixed}]
    if missing:
        raise BadMapping(detail=f"nothing says the {', '.join(missing)}, name the headings that do")
    return fit


# --- cells ------------------------------------------------------------------------------------------


def _cell(column: str, value: str | float | None) -> str:
    if value is None or (value == "[]" and column.endswith("_flags")):
        return ""
    return value if isinstance(value, str) else repr(value)


def _column_at_fault(error: JournalError) -> str:
    match error:
        case BadCell():
            return str(error.facts["column"])
        case Unstorable():
            return str(error.facts["field"])
        case UnknownBin():
            return "bin"
        case EntryBeforeBin():
            return "when"
        case DuplicateEntry():
            return "id"
        case _:
            return "corrects"


def _with_id(entry: Exchanged, seen: Counter[str]) -> Exchanged:
    """Return the entry with an id made from its content, if it has none; `seen` counts equal rows."""
    if entry.id:
        return entry
    content = as_row(replace(entry, id="made")) | NOT_NOTED_AT
    text = json.dumps([type(entry).__name__, content], sort_keys=True)
    seen[text] += 1  # two rows that say the same are two entries
    return replace(entry, id=str(uuid.uuid5(_IDS, f"{seen[text]} {text}")))
