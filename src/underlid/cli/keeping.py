"""Commands that write to the journal or copy it: new, container, log, photo, import, export."""

from __future__ import annotations

import sys
import uuid
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated, get_args
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    JournalOption,
    JsonOption,
    NowOption,
    clock,
    show_json,
    write_whole,
    zone,
)


class NotOneOf(ValueError):
    """A word is not one of those allowed."""


def new(
    name: Annotated[str, typer.Argument(help="What you call the bin.")],
    size: Annotated[str, typer.Option(help="Inside size, e.g. “17 x 12 x 11 in”.")],
    bedding: Annotated[
        str, typer.Option(help="Layers from the bottom, e.g. “leaves 10 cm, old horse manure 8 cm”.")
    ] = "not noted",
    moisture: Annotated[str, typer.Option(help="Moisture of the bedding, e.g. “about 70 %”.")] = "not noted",
    founders: Annotated[str, typer.Option(help="Worms put in, e.g. “a couple of dozen”.")] = "not noted",
    species: Annotated[str, typer.Option(help="Species.")] = "Eisenia fetida",
    started: Annotated[str, typer.Option(help="When the bedding was laid.")] = "today",
    siting: Annotated[
        str, typer.Option(help="Where it stands: open shelter, outdoors, unheated shed or indoors.")
    ] = "open shelter",
    base: Annotated[str, typer.Option(help="What it stands on: slab, soil or feet.")] = "slab",
    wall: Annotated[
        str, typer.Option(help="Wall: polypropylene, polyethylene, wood or expanded polystyrene.")
    ] = "polypropylene",
    wall_thickness: Annotated[str, typer.Option(help="Thickness of the wall.")] = "3 mm",
    timezone: Annotated[
        str | None, typer.Option(help="Time zone, e.g. Europe/London; this machine's if not given.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Start a bin. Makes the journal too if there is none yet."""
    from underlid.fit.evidence import situation
    from underlid.journal.errors import NoJournal
    from underlid.journal.store import Journal
    from underlid.quantity.amount import parse_amount, parse_size
    from underlid.quantity.show import show_amount, show_when
    from underlid.quantity.when import parse_when
    from underlid.records import Base, BeddingLayer, Bin, Siting
    from underlid.worms.species import UnknownSpecies
    from underlid.worms.species import species as facts

    tz = zone(timezone)
    moment = clock(now, tz)
    box = parse_size(size)
    wet = parse_amount(moisture, expect="%")
    layers = tuple(
        BeddingLayer(
            id=_id(), position=i, material=material, depth=parse_amount(depth, expect="m"), moisture=wet, words=words
        )
        for i, (material, depth, words) in enumerate(_layers(bedding))
    )
    record = Bin(
        id=_id(),
        name=name,
        started=parse_when(started, now=moment, tz=tz),
        timezone=tz.key,
        length=box.length,
        width=box.width,
        height=box.height,
        siting=_one_of(siting, get_args(Siting), "--siting"),  # type: ignore[arg-type]
        base=_one_of(base, get_args(Base), "--base"),  # type: ignore[arg-type]
        wall=wall,
        wall_thickness=parse_amount(wall_thickness, expect="m"),
        founders=parse_amount(founders, expect="1"),
        species=species,
        layers=layers,
        words=size,
        noted_at=moment,
    )
    notes = list(situation(record).notes)  # refuses a bin that cannot be, before anything is stored
    try:
        facts(species)
    except UnknownSpecies as unknown:
        notes.append(f"{unknown} The bin is kept under the name you gave.")
    try:
        book = Journal.open(journal)
    except NoJournal:
        book = Journal.create(journal)
        notes.append(f"A new journal was made in {journal}.")
    with book:
        book.add_bin(record)
    if as_json:
        show_json({"bin": name, "volume": box.volume.as_json(), "started": record.started.as_json(), "notes": notes})
        return
    print(f"Bin {name}: {show_amount(box.volume)}, started {show_when(record.started)}, {siting}, on {base}.")
    for note in notes:
        print(f"  {note}")


def container(
    name: Annotated[str, typer.Argument(help="What you call it, e.g. bucket.")],
    holds: Annotated[str, typer.Argument(help="What it holds, e.g. “10 L” or “2 US gal”.")],
    journal: JournalOption = DEFAULT_JOURNAL,
) -> None:
    """Say what one of your containers holds, so that “half a bucket” means something."""
    from underlid.journal.store import Journal
    from underlid.quantity.amount import parse_amount
    from underlid.quantity.show import show_amount

    amount = parse_amount(holds)
    with Journal.open(journal) as book:
        book.set_container(name, amount)
    print(f"A {name} holds {show_amount(amount)}.")


def log(
    bin: BinArgument,
    line: Annotated[str, typer.Argument(help="What you did and saw, e.g. “last night: middle 2-3 C, edge 1 C”.")],
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Store at once, without asking.")] = False,
    corrects: Annotated[
        str | None, typer.Option(help="Id of the entry that this one corrects; the earlier one stays.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Understand a line in your own words, show what was understood, and store it.

    With --json nothing is asked: entries are stored only with --yes.
    """
    from underlid.entry import describe, parse_line
    from underlid.journal.store import Journal

    with Journal.open(journal) as book:
        record = book.bin(bin)
        moment = clock(now, ZoneInfo(record.timezone))
        understood = parse_line(line, bin=record, now=moment, new_id=_id, containers=book.containers())
        records = understood.records
        if corrects is not None:
            if len(records) != 1:
                raise NotOneOf(f"--corrects mends one entry, but the line makes {len(records)}; give that one alone.")
            records = (replace(records[0], corrects=corrects),)
        if not as_json:
            for entry in records:
                print(f"  {describe(entry)}")
            for note in understood.notes_on:
                print(f"  ({note})")
        store = yes or (not as_json and _confirmed())
        if store:
            book.add(records)
    if as_json:
        entries = [
            {
                "id": e.id,
                "kind": type(e).__name__,
                "understood": describe(e),
                "words": e.words,
                "when": e.when.as_json(),
            }
            for e in records
        ]
        show_json({"stored": store, "entries": entries, "notes": list(understood.notes_on)})
    else:
        print(f"Stored in {journal}." if store else "Nothing was stored.")


def photo(
    bin: BinArgument,
    picture: Annotated[Path, typer.Argument(help="The picture file.")],
    words: Annotated[str, typer.Option(help="What it shows.")] = "",
    when: Annotated[str, typer.Option(help="When it was taken.")] = "now",
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
) -> None:
    """Keep a picture beside the journal, under its own hash."""
    from underlid.journal.photos import add_photo
    from underlid.journal.store import Journal
    from underlid.quantity.when import parse_when
    from underlid.records import Photo

    with Journal.open(journal) as book:
        record = book.bin(bin)
        tz = ZoneInfo(record.timezone)
        moment = clock(now, tz)
        taken = parse_when(when, now=moment, tz=tz, start=record.started.start)
        kept = add_photo(journal, picture)
        entry = Photo(
            id=_id(), bin=record.name, when=taken, words=words or picture.name, noted_at=moment,
            file=kept.file, sha256=kept.sha256,
        )  # fmt: skip
        book.add([entry])
    print(f"Kept {picture.name} as {kept.file}.")


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
    """Import readings from CSV: all rows or, if any is bad, none."""
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
        show_json(asdict(report))
    else:
        for row in report.refused:
            print(f"line {row.line}, {row.column or 'the whole row'}: {row.sentence}")
        if report.ignored:
            print(f"Not taken: {', '.join(report.ignored)}.")
        print(f"{report.rows_read} rows read, {report.accepted} good, {len(report.refused)} refused; ", end="")
        print(f"the good ones are stored in {journal}." if report.stored else "nothing was stored.")
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


def _id() -> str:
    return str(uuid.uuid4())


def _layers(text: str) -> list[tuple[str, str, str]]:
    """“leaves 10 cm, old horse manure about 8 cm” as (material, depth, words)."""
    import re

    from underlid.bedding.materials import material

    if text.strip().lower() == "not noted":
        return []
    found = []
    for words in re.split(r"[;,](?!\d)", text):
        name, depth = re.fullmatch(r"\s*([^\d~]*?)\s*((?:about|around|~)?\s*\d.*)?", words).groups()  # type: ignore[union-attr]
        material(name)
        found.append((name, depth or "not noted", words.strip()))
    return found


def _pair(text: str) -> tuple[str, str]:
    ours, equals, theirs = text.partition("=")
    if not equals or not ours or not theirs:
        raise NotOneOf(f"{text!r} is not of the form NAME=VALUE, e.g. “amount=Temp (C)”.")
    return ours.strip(), theirs.strip()


def _one_of(word: str, allowed: tuple[str, ...], option: str) -> str:
    if word not in allowed:
        raise NotOneOf(f"{option} {word!r} is not one of {', '.join(allowed)}.")
    return word


def _confirmed() -> bool:
    """Ask once; without anyone to answer, nothing is stored."""
    try:
        return input("Store this? [y/N] ").strip().lower() in ("y", "yes")
    except EOFError:
        print()
        return False
