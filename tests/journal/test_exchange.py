from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import HealthCheck, given, settings

from tests.journal.conftest import BOTH, Stores, dump
from tests.journal.examples import NOW, amount, journals_of_readings, one_of_each, reading
from underlid.journal import exchange
from underlid.journal.cells import UNIT_OF, Exchanged
from underlid.journal.errors import BadMapping, JournalError, UnknownBin, UnreadableCsv
from underlid.journal.exchange import (
    ImportReport,
    RefusedRow,
    export_entries,
    export_readings,
    import_entries,
    import_readings,
)
from underlid.journal.store import Journal
from underlid.quantity.amount import parse_amount
from underlid.quantity.units import CANONICAL
from underlid.records import MEASURED, AnyEntry, Feeding, Note, Photo, Reading, SampleCount, Sighting

STORES = BOTH

LOGGER = (
    b"\xef\xbb\xbfDate;Temp (C);Where;Battery\r\n"
    b"2026-01-05;12,5;Middle;99\r\n"
    b"2026-01-06;about 11;;98\r\n"
    b"2026-01-07;6 or 7 C;edge;97\r\n"
)
LOGGER_COLUMNS = {"Date": "when", "Temp (C)": "amount", "Where": "place"}
TEMPERATURE = {"quantity": "temperature"}


def read_logger(
    journal: Journal,
    data: bytes = LOGGER,
    *,
    dry_run: bool = False,
    skip_bad: bool = False,
    decimal_comma: bool = False,
) -> ImportReport:
    return import_readings(
        journal,
        io.BytesIO(data),
        now=NOW,
        columns=LOGGER_COLUMNS,
        fixed=TEMPERATURE,
        bin="north",
        dry_run=dry_run,
        skip_bad=skip_bad,
        decimal_comma=decimal_comma,
    )


def exported(journal: Journal, kind: type[Exchanged] = Reading) -> bytes:
    out = io.BytesIO()
    export_entries(journal, out, kind=kind)
    assert not out.closed
    return out.getvalue()


# --- out and in again -------------------------------------------------------------------------------


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(entries=journals_of_readings())
def test_readings_go_out_and_in_and_out_with_the_same_bytes(
    stores: Stores, two_bins: Path, tmp_path: Path, entries: Sequence[Reading]
) -> None:
    folders = [stores.copy(two_bins, tmp_path / name) for name in ("one", "two")]
    with Journal.open(folders[0]) as one, Journal.open(folders[1]) as two:
        one.add(entries)
        data = exported(one)
        report = import_readings(two, io.BytesIO(data), now=NOW)
        assert report == ImportReport(len(entries), len(entries), (), (), stored=True)
        assert two.entries(superseded=True) == one.entries(superseded=True)
        assert exported(two) == data


@pytest.mark.parametrize("kind", get_args(Exchanged))
def test_other_kinds_go_out_and_in_and_out_with_the_same_bytes(
    stores: Stores, two_bins: Path, tmp_path: Path, kind: type[Exchanged]
) -> None:
    folders = [stores.copy(two_bins, tmp_path / name) for name in ("one", "two")]
    with Journal.open(folders[0]) as one, Journal.open(folders[1]) as two:
        one.add(one_of_each())
        data = exported(one, kind)
        assert import_entries(two, io.BytesIO(data), kind=kind, now=NOW).accepted == 1
        assert two.entries() == one.entries(kind=kind)
        assert exported(two, kind) == data


def test_an_export_is_plain_csv_with_every_part(journal: Journal) -> None:
    cold = replace(reading("r2", words="=1+1", corrects="r1"), amount=amount(-math.inf, 0.1 + 0.2), depth=None)
    journal.add([reading(), cold])
    assert export_readings(journal, io.BytesIO()) == 2
    first, second = csv.DictReader(io.StringIO(exported(journal).decode(), newline=""))
    assert first["amount"] == "6 or 7 C"
    assert (first["amount_low"], first["amount_high"], first["amount_unit"]) == ("6.0", "7.0", "degC")
    assert (first["depth_low"], first["depth_kind"]) == ("0.05", "between")
    assert first["when_start"] == "2026-01-05T00:00:00+01:00"
    assert first["when_flags"] == '["which year?"]'
    assert (second["amount_low"], second["amount_high"]) == ("", "0.30000000000000004")
    assert second["depth_kind"] == ""
    assert (second["words"], second["corrects"]) == ("=1+1", "r1")


@pytest.mark.parametrize("kind", [SampleCount, Photo])
def test_kinds_that_do_not_fit_one_row_are_refused(journal: Journal, kind: type[AnyEntry]) -> None:
    with pytest.raises(BadMapping, match="does not fit one row"):
        import_entries(journal, io.BytesIO(b"id\n"), kind=kind, now=NOW)  # type: ignore[arg-type]
    with pytest.raises(BadMapping, match="does not fit one row"):
        export_entries(journal, io.BytesIO(), kind=kind)  # type: ignore[arg-type]


def test_new_words_are_read_afresh_where_their_meaning_is_emptied(journal: Journal) -> None:
    journal.add([reading()])
    (row,) = csv.DictReader(io.StringIO(exported(journal).decode(), newline=""))
    row |= {"id": "r2", "corrects": "r1", "amount": "8 to 9 C", "amount_kind": ""}
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, row)
    writer.writeheader()
    writer.writerow(row)
    import_readings(journal, io.BytesIO(out.getvalue().encode()), now=NOW)
    (new,) = journal.entries(kind=Reading)
    assert new == replace(reading("r2", corrects="r1"), amount=parse_amount("8 to 9 C"))


# --- files from elsewhere ---------------------------------------------------------------------------


def test_a_logger_file_is_read_by_its_own_headings(journal: Journal) -> None:
    assert read_logger(journal) == ImportReport(3, 3, (), ("Battery",), stored=True)
    first, second, third = journal.entries(kind=Reading)
    assert (first.amount.low, first.amount.high) == (12.45, 12.55)
    assert (first.place, second.place, third.place) == ("middle", "not noted", "edge")
    assert first.when.start == datetime.fromisoformat("2026-01-05T00:00:00+01:00")
    assert [each.amount.words for each in (first, second, third)] == ["12,5", "about 11", "6 or 7 C"]
    assert second.amount.kind == "about"
    assert (first.quantity, first.bin, first.noted_at) == ("temperature", "north", NOW)


@pytest.mark.parametrize(
    ("heading", "low"),
    [
        ("Temp (F)", 4.722), ("temp_degF", 4.722), ("Temp °F", 4.722), ("T [°C]", 40.5), ("Temp in C", 40.5),
        ("Fahrenheit", 4.722),
    ],
)  # fmt: skip
def test_a_unit_in_the_heading_is_that_of_numbers_without_one(journal: Journal, heading: str, low: float) -> None:
    data = f"when,{heading},Depth (cm)\n2026-01-05,41,5\n2026-01-06,6 C,2 in\n".encode()
    columns = {heading: "amount", "Depth (cm)": "depth"}
    report = import_readings(journal, io.BytesIO(data), now=NOW, columns=columns, fixed=TEMPERATURE, bin="north")
    assert report.refused == ()
    first, second = journal.entries(kind=Reading)
    assert first.amount.low == pytest.approx(low, abs=1e-3)
    assert (second.amount.low, second.amount.words) == (5.5, "6 C")
    assert first.depth is not None
    assert second.depth is not None
    assert (first.depth.low, second.depth.low) == pytest.approx((0.045, 0.0381))
    assert [line for line, _ in report.first] == [2, 3]
    assert [entry.amount for _, entry in report.first if isinstance(entry, Reading)] == [first.amount, second.amount]


@pytest.mark.parametrize("heading", ["Temp", "C or F", "Depth (cm)", "degrees"])
def test_a_number_without_any_unit_is_refused_and_may_be_given_one(journal: Journal, heading: str) -> None:
    data = f"when,{heading}\n2026-01-05,41\n2026-01-06,6 C\n2026-01-07,not noted\n".encode()

    def read(**fixed: str) -> ImportReport:
        return import_readings(
            journal, io.BytesIO(data), now=NOW, columns={heading: "amount"}, fixed=TEMPERATURE | fixed, bin="north",
            dry_run=not fixed,
        )  # fmt: skip

    (refused,) = read().refused
    assert (refused.line, refused.column) == (2, heading)
    assert "no unit; write it in the cell or the heading, or give -f unit=degC" in refused.sentence
    (wrong, *_) = read(unit="kg").refused
    assert (wrong.column, wrong.value) == ("unit", "kg")
    assert read(unit="°F").refused == ()
    assert journal.entries(kind=Reading)[0].amount.low == pytest.approx(4.722, abs=1e-3)


def test_a_depth_without_a_unit_or_below_the_bin_is_refused(journal: Journal) -> None:
    data = b"when,amount,depth\n2026-01-05,6 C,5\n2026-01-06,6 C,9 m\n"
    report = import_readings(journal, io.BytesIO(data), now=NOW, fixed=TEMPERATURE, bin="north")
    assert [(row.line, row.column) for row in report.refused] == [(2, "depth"), (3, "depth")]
    assert "no unit" in report.refused[0].sentence
    assert "cm high" in report.refused[1].sentence


def test_the_same_logger_file_twice_adds_nothing_and_a_longer_one_adds_what_is_new(journal: Journal) -> None:
    read_logger(journal)
    before = dump(journal)
    read_logger(journal)
    assert dump(journal) == before
    read_logger(journal, LOGGER + b"2026-01-07;6 or 7 C;edge;96\r\n")  # once more the same, but a row of its own
    assert len(journal.entries()) == 4


def test_a_decimal_comma_before_three_digits_is_asked_about_or_told(journal: Journal) -> None:
    data = LOGGER + b"2026-01-08;12,345;;\r\n"
    (refused,) = read_logger(journal, data).refused
    assert (refused.line, refused.column, refused.value) == (5, "Temp (C)", "12,345")
    assert read_logger(journal, data, decimal_comma=True).refused == ()
    last = journal.entries(kind=Reading)[-1]
    assert (last.amount.low, last.amount.high, last.amount.words) == (12.3445, 12.3455, "12,345")


def test_the_keepers_containers_count(journal: Journal) -> None:
    journal.set_container("mug", parse_amount("250 to 300 mL"))
    data = b"when\tamount\tmaterial\n2026-01-05\thalf a mug\tpeelings\n"
    import_entries(journal, io.BytesIO(data), kind=Feeding, now=NOW, bin="north")
    (fed,) = journal.entries(kind=Feeding)
    assert fed.amount == parse_amount("half a mug", containers=journal.containers())
    assert fed.material == "peelings"


def test_sightings_and_notes_are_read_too(journal: Journal) -> None:
    data = b"bin,when,amount,stage\nnorth,2026-01-05,a few,Adult\n"
    import_entries(journal, io.BytesIO(data), kind=Sighting, now=NOW)
    import_entries(journal, io.BytesIO(b'bin,when,words\nnorth,2026-01-06,"damp, dark"\n'), kind=Note, now=NOW)
    seen, note = journal.entries()
    assert isinstance(seen, Sighting)
    assert (seen.amount, seen.stage) == (parse_amount("a few", expect="1"), "adult")
    assert note.words == "damp, dark"


def test_every_measured_quantity_has_a_unit_that_can_be_read() -> None:
    assert set(UNIT_OF) == set(MEASURED)
    assert set(UNIT_OF.values()) <= set(CANONICAL)


# --- bad rows ---------------------------------------------------------------------------------------

BAD = LOGGER + (
    b"yestermorrow;12;;\r\n"  # line 5
    b"2026-01-08;wet;;\r\n"
    b"2026-01-08;12;corner;\r\n"
    b"2026-01-08;;;\r\n"
    b"\r\n"
    b"2024-01-08;12;;\r\n"  # line 10
    b"2026-01-08;12\r\n"
    b"2026-01-09;12;;;surplus\r\n"
    b"2026-01-09;12;;;\r\n"  # an empty cell too many is nothing
)


def test_a_dry_run_lists_every_bad_row_and_stores_nothing(journal: Journal) -> None:
    before = dump(journal)
    report = read_logger(journal, BAD, dry_run=True)
    assert dump(journal) == before
    assert (report.rows_read, report.accepted, report.stored) == (11, 4, False)
    assert [(row.line, row.column, row.value) for row in report.refused] == [
        (5, "Date", "yestermorrow"),
        (6, "Temp (C)", "wet"),
        (7, "Where", "corner"),
        (8, "Temp (C)", ""),
        (10, "Date", "2024-01-08"),
        (11, "", ""),
        (12, "", ""),
    ]
    assert all(row.sentence.endswith(".") and "\n" not in row.sentence for row in report.refused)
    assert "it must be one of middle, edge, surface, not noted" in report.refused[2].sentence


def test_an_import_with_bad_rows_stores_nothing_unless_told_to_skip_them(journal: Journal) -> None:
    before = dump(journal)
    report = read_logger(journal, BAD)
    assert not report.stored
    assert dump(journal) == before
    assert report.refused == read_logger(journal, BAD, dry_run=True).refused
    skipped = read_logger(journal, BAD, skip_bad=True)
    assert skipped == replace(report, stored=True)
    assert len(journal.entries()) == skipped.accepted == 4


def _row(**changes: str) -> bytes:
    """One exported row with some cells changed."""
    journal_row = {
        "id": "x", "bin": "north", "when": "5 January 2026", "quantity": "temperature", "amount": "6 C",
        "amount_low": "", "amount_high": "", "amount_unit": "", "amount_kind": "", "amount_flags": "", "when_start": "",
        "when_end": "", "when_kind": "", "corrects": "", "noted_at": "",
    } | changes  # fmt: skip
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, journal_row)
    writer.writeheader()
    writer.writerow(journal_row)
    return out.getvalue().encode()


EXACT = {"amount_kind": "between", "amount_unit": "degC", "amount_low": "6", "amount_high": "7"}


@pytest.mark.parametrize(
    ("changes", "column", "sentence"),
    [
        ({"bin": "nroth"}, "bin", "Did you mean 'north'"),
        ({"quantity": "mood"}, "quantity", "one of temperature"),
        ({"quantity": ""}, "quantity", "one of temperature"),
        ({"quantity": "pH"}, "amount", "pH"),
        ({"id": "r1"}, "id", "says something else"),
        ({"corrects": "r9"}, "corrects", "no entry with the id 'r9'"),
        ({"corrects": "r1"}, "corrects", "already corrected"),
        ({"when": ""}, "when", "cell is empty"),
        ({"noted_at": "noon"}, "noted_at", "not a moment"),
        ({"when_kind": "exact", "when_start": "2026-01-05T08:00:00+01:00"}, "when_end", "empty"),
        ({"when_kind": "exact", "when_start": "2026-01-05", "when_end": "2026-01-05"}, "when", "time zone"),
        (EXACT | {"amount_low": "six"}, "amount_low", "not a number"),
        (EXACT | {"amount_low": "nan"}, "amount", "not a number"),
        (EXACT | {"amount_low": "8"}, "amount", "low end"),
        (EXACT | {"amount_unit": ""}, "amount_unit", "empty"),
        (EXACT | {"amount_kind": "roughly"}, "amount", "one of exact"),
        (EXACT | {"amount_flags": "yes"}, "amount_flags", "not a list"),
        (EXACT | {"amount_flags": '"yes"'}, "amount_flags", "not a list"),
        (EXACT | {"amount_flags": "[" * 90_000}, "amount_flags", "not a list"),
    ],
)
def test_a_bad_cell_is_told_with_its_column(
    journal: Journal, changes: dict[str, str], column: str, sentence: str
) -> None:
    journal.add([reading("r1"), reading("r2", corrects="r1")])
    before = dump(journal)
    report = import_readings(journal, io.BytesIO(_row(**changes)), now=NOW)
    (refused,) = report.refused
    assert isinstance(refused, RefusedRow)
    assert (refused.line, refused.column) == (2, column)
    assert sentence in refused.sentence
    assert not report.stored
    assert dump(journal) == before


def test_a_correction_may_stand_before_what_it_corrects(journal: Journal) -> None:
    data = _row(id="b", corrects="a") + _row(id="a").split(b"\r\n", 1)[1]
    assert import_readings(journal, io.BytesIO(data), now=NOW).accepted == 2
    assert [entry.id for entry in journal.history("a")] == ["a", "b"]


# --- bad files --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf\r\n", "empty"),
        (LOGGER + b"2026-01-08;12 \xb0C;;\r\n", r"line 5 is not UTF-8 text, save the file as 'CSV UTF-8'"),
        (LOGGER.decode("utf-8-sig").encode("utf-16"), "line 1 is not UTF-8"),
        (LOGGER + b"2026-01-08;1\x002;;\r\n", "line 5 holds a NUL byte"),
        (LOGGER + b'2026-01-08;"12;;\r\n2026-01-09;12;;\r\n', "begins at line 5 is broken"),
        (LOGGER + b'"2026"-01-08;12;;\r\n', "begins at line 5 is broken"),
        (LOGGER + b"2026-01-08;" + b"1" * 200_000 + b";;\r\n", "begins at line 5 is broken"),
    ],
)
def test_a_file_that_is_no_csv_is_refused_whole(journal: Journal, data: bytes, sentence: str) -> None:
    before = dump(journal)
    with pytest.raises(UnreadableCsv, match=sentence):
        read_logger(journal, data, skip_bad=True)
    assert dump(journal) == before


def test_a_file_that_is_too_large_is_refused(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exchange, "MAX_BYTES", len(LOGGER))
    assert read_logger(journal).accepted == 3
    with pytest.raises(UnreadableCsv, match="larger than"):
        read_logger(journal, LOGGER + b" ")


@pytest.mark.parametrize(
    ("head", "columns", "fixed", "sentence"),
    [
        ("Date,Temp", {}, {}, "nothing says the bin, when, quantity, amount"),
        ("Date,Temp", {"Date": "when", "Temp": "amount"}, {"bin": "north"}, "nothing says the quantity"),
        ("Date,Temp", {"Day": "when"}, {}, "no heading 'Day', the file has Date, Temp"),
        ("Date,Temp", {"Date": "date"}, {}, "no column 'date', use one of amount"),
        ("Date,Temp", {}, {"weather": "cold"}, "no column 'weather'"),
        ("Date,Temp,Temp", {}, {}, "'Temp' stands twice"),
        ("Date,when", {"Date": "when"}, {}, "'Date' and 'when' are both 'when'"),
    ],
)
def test_headings_that_do_not_fit_are_told(
    journal: Journal, head: str, columns: dict[str, str], fixed: dict[str, str], sentence: str
) -> None:
    with pytest.raises(BadMapping, match=sentence):
        import_readings(journal, io.BytesIO(f"{head}\n".encode()), now=NOW, columns=columns, fixed=fixed)


def test_a_bin_that_is_not_there_is_told_at_once(journal: Journal) -> None:
    with pytest.raises(UnknownBin):
        import_readings(journal, io.BytesIO(LOGGER), now=NOW, bin="nroth")
    assert issubclass(UnknownBin, JournalError)
