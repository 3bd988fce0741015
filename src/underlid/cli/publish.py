"""Command: what of a journal others may have, as files in open standards."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    JournalOption,
    JsonOption,
    NotOneOf,
    clock,
    console,
    show_json,
)
from underlid.quantity.zones import zone

if TYPE_CHECKING:
    from underlid.club.sharing import Shared
    from underlid.club.telling import About
    from underlid.journal.store import Journal

DEFAULT_OUT = Path("club")


class NothingToPublish(ValueError):
    """There is no bin whose records could be published."""


def publish(
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder to write to; files of those names are replaced.")] = (
        DEFAULT_OUT
    ),
    bins: Annotated[
        list[str] | None, typer.Option(help="Names of bins, as “north,south”; all of them if not given.")
    ] = None,
    formats: Annotated[
        list[str] | None,
        typer.Option("--format", help="darwin-core (an archive) or frictionless (CSV files); both if not given."),
    ] = None,
    words: Annotated[
        bool,
        typer.Option("--words", help="Also what was written freely, and names of bins: it may name people and places."),
    ] = False,
    title: Annotated[str, typer.Option(help="Title of the data.")] = "",
    licence: Annotated[
        str | None,
        typer.Option(help="Licence: CC0-1.0, CC-BY-4.0, CC-BY-NC-4.0 or CC-BY-SA-4.0; none if not given."),
    ] = None,
    as_of: Annotated[
        str | None, typer.Option(help="Leave out what was put into the journal later, e.g. “2026-01-23”.")
    ] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    as_json: JsonOption = False,
) -> None:
    """Write what others may have of a journal: a Darwin Core Archive and a Frictionless Data Package.

    Each keeper's own settings govern it (`underlid keeper`): how exactly the place is told, by which name, and which
    photos are listed. Where nobody said anything, nothing of the kind is told. What is withheld is listed with why.
    """
    from underlid.club.licences import licence as named
    from underlid.club.publication import publication
    from underlid.club.sharing import share
    from underlid.club.telling import TITLE, About
    from underlid.files import write_whole
    from underlid.journal.store import Journal

    if out.exists() and not out.is_dir():
        raise NotOneOf(f"--out {out} is a file: name a folder, which is made if there is none.")
    about = About(title or TITLE, None if licence is None else named(licence))
    asked = _formats(formats or ())
    moment = None if as_of is None else clock(as_of, zone(None))
    with Journal.open(journal) as book:
        shared = share(
            book.bins(), book.entries(superseded=True), book.keepers(), book.bin_keepers(), book.photos_shown(),
            chosen=None if bins is None else _bins(book, bins), words=words, as_of=moment,
            taken_over=book.taken_over(),
        )  # fmt: skip
        keepers = bool(book.keepers())
    if not shared.bins:
        raise NothingToPublish(_nothing(moment))
    made = publication(shared, about, asked)
    for name, data in made.items():
        write_whole(out / name, data)
    notes = [*_notes(shared, about, keepers=keepers), *_from_before(out, set(made))]
    files = [str(out / name) for name in made]
    if as_json:
        told, withheld = ([asdict(item) for item in items] for items in (shared.account.told, shared.account.withheld))
        show_json({"files": files, "shared": told, "withheld": withheld, "notes": notes})
    else:
        _print(shared, files, notes)


def _formats(given: Sequence[str]) -> list[str]:
    """The formats asked for, each once; all if none is."""
    from underlid.club.publication import FORMATS

    asked = [part.strip().lower() for words in given for part in words.split(",") if part.strip()]
    for each in asked:
        if each not in FORMATS:
            raise NotOneOf(f"--format {each!r} is none of {', '.join(FORMATS)}.")
    return [each for each in FORMATS if each in asked] or list(FORMATS)


def _bins(book: Journal, given: Sequence[str]) -> set[str]:
    """The names of bins that are there, each given whole or with others between commas."""
    known = {each.name for each in book.bins()}
    named: set[str] = set()
    for words in given:
        parts = [words] if words in known else [part.strip() for part in words.split(",") if part.strip()]
        named |= {book.bin(part).name for part in parts}
    if not named:
        raise NotOneOf("--bins names no bin; write them as “north,south”.")
    return named


def _nothing(moment: datetime | None) -> str:
    if moment is None:
        return "There is no bin in this journal yet; `underlid new` starts one."
    return (
        f"No bin that was asked for had been entered in this journal by {moment:%Y-%m-%d %H:%M}; give a later --as-of."
    )


def _notes(shared: Shared, about: About, *, keepers: bool) -> Iterator[str]:
    from underlid.club.telling import KEPT, licence_sentence

    yield KEPT
    if not keepers:
        yield (
            "This journal names no keepers: no place, no name and no photo is told. `underlid keeper NAME --role "
            "steward` names one, who may say otherwise."
        )
    if shared.words:
        yield "Words are in it as they were noted: read them before you pass it on, they may name people and places."
    yield licence_sentence(about)
    if about.licence is not None and keepers:
        yield "A licence holds for what every keeper noted: have the word of each of them."


def _from_before(out: Path, made: set[str]) -> Iterator[str]:
    """What lies there from an earlier time and was not renewed: it may tell what its keeper tells no longer."""
    from underlid.club.publication import ARCHIVE, FOLDER

    for name in (ARCHIVE, f"{FOLDER}/datapackage.json"):
        if name not in made and (out / name).exists():
            kept = out / name.split("/")[0]
            yield f"{kept} is from an earlier time and tells what was shared then; delete it, or publish it anew."


def _print(shared: Shared, files: Sequence[str], notes: Sequence[str]) -> None:
    from underlid.club.telling import listed

    screen = console(WIDTH)
    screen.print("Shared:")
    for item in shared.account.told:
        screen.print(f"  {listed(item)}")
    screen.print("Withheld:")
    for item in shared.account.withheld:
        screen.print(f"  {listed(item)}")
    if not shared.account.withheld:
        screen.print("  nothing")
    for note in notes:
        screen.print(note)
    screen.print(f"{len(files)} files written:")
    for file in files:
        screen.print(f"  {file}")
