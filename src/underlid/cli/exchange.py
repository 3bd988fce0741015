"""Commands that copy readings in and out: import, export."""

from __future__ import annotations

import sys
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    clock,
    show_json,
)
from underlid.quantity.zones import zone


def import_(
    file: Annotated[Path, typer.Argument(help="CSV file of readings.")],
    column: Annotated[
        list[str] | None,
        typer.Option("--column", "-c", help="Which heading is what, as OURS=HEADING, e.g. “amount=Temp (C)”."),
    ] = None,
    fixed: Annotated[
        list[str] | None,
        typer.Option("--fixed", "-f", help="What a column holds throughout, as OURS=VALUE, e.g. “place=middle”."),
    ] = None,
    bin: Annotated[str | None, typer.Option(help="Bin of rows that name none.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="List every bad row, store nothing.")] = False,
    skip_bad: Annotated[
        bool, typer.Option("--skip-bad", help="Store the good rows although there are bad ones.")
    ] = False,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="A comma in a number is a decimal point.")
    ] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Import readings from CSV: all rows or, if any is bad, none.

    Our columns: bin, when, quantity (temperature, air temperature, pH, moisture, EC), amount, place (middle, edge,
    surface), depth, instrument, words, id, corrects, unit. Only when, quantity and amount are needed; --fixed gives
    what is the same in every row, --bin the bin. A number without a unit takes the one in its heading, “Temp (F)”,
    or that of --fixed unit=degC; with neither it is refused.
    """
    from underlid.entry import describe
    from underlid.journal.exchange import import_entries
    from underlid.journal.store import Journal

    headings = {heading: ours for ours, heading in map(_pair, column or ())}
    with Journal.open(journal) as book, file.open("rb") as stream:
        tz = ZoneInfo(book.bin(bin).timezone) if bin else zone(None)
        report = import_entries(
            book, stream, now=clock(now, tz), columns=headings, fixed=dict(map(_pair, fixed or ())), bin=bin,
            dry_run=dry_run, skip_bad=skip_bad, decimal_comma=decimal_comma,
        )  # fmt: skip
    if as_json:
        understood = [{"line": line, "understood": describe(entry)} for line, entry in report.first]
        show_json({**asdict(replace(report, first=())), "first": understood})
    else:
        for line, entry in report.first if dry_run else ():
            print(f"line {line}: {describe(entry)}")
        for row in report.refused:
            print(f"line {row.line}, {row.column or 'the whole row'}: {row.sentence}")
        if report.ignored:
            print(f"Not taken: {', '.join(report.ignored)}.")
        print(f"{report.rows_read} rows read, {report.accepted} good, {len(report.refused)} refused; ", end="")
        print(f"the good ones are now in {journal}." if report.stored else "nothing was stored.")
    if report.refused and not (skip_bad or dry_run):
        sys.exit(2)


def export(
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="File to write; standard output if not given.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
) -> None:
    """Export all readings as CSV; imported again, it gives the same bytes."""
    import io

    from underlid.files import write_whole
    from underlid.journal.exchange import export_entries
    from underlid.journal.store import Journal

    with Journal.open(journal) as book:
        if out is None:
            export_entries(book, sys.stdout.buffer)
            return
        # Written whole before it is moved into place, so that a full disk leaves no half file.
        text = io.BytesIO()
        rows = export_entries(book, text)
    write_whole(out, text.getvalue())
    print(f"{rows} readings written to {out}.")


def _pair(text: str) -> tuple[str, str]:
    ours, equals, theirs = text.partition("=")
    if not equals or not ours or not theirs:
        raise NotOneOf(f"{text!r} is not of the form NAME=VALUE, e.g. “amount=Temp (C)”.")
    return ours.strip(), theirs.strip()
