"""Command: bring a journal from elsewhere into this one."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.keeping import confirmed
from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    clock,
    console,
    show_json,
)

if TYPE_CHECKING:
    from rich.console import Console

    from underlid.journal.merging import Held, Merge
    from underlid.records import OwnClaims, RegisteredPlan

BAD = 2  # exit code: something is in the way
#: What is counted beside bins and their entries: the field of what a journal holds, and its words.
BESIDE = (
    ("plans", "plan", "plans"),
    ("changes", "change to a plan", "changes to plans"),
    ("own_claims", "file of own claims", "files of own claims"),
    ("containers", "container", "containers"),
    ("keepers", "keeper", "keepers"),
    ("handed", "bin handed to its keeper", "bins handed to their keepers"),
    ("shown", "mark of a photo", "marks of photos"),
)


def merge(
    folder: Annotated[Path, typer.Argument(help="Folder of the journal to bring in; nothing is written there.")],
    rename: Annotated[
        list[str] | None,
        typer.Option(
            help="What an incoming bin is to be called here, as “north=anna-north”; repeatable. A plan that names it "
            "stays out."
        ),
    ] = None,
    keeper: Annotated[
        str | None,
        typer.Option(help="A keeper of this journal who gets the incoming bins; keepers there then stay out."),
    ] = None,
    skip_conflicts: Annotated[
        bool, typer.Option("--skip-conflicts", help="Leave out what is in the way, with all that depends on it.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Store at once, without asking.")] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring a journal from elsewhere into this one: show what is new, what is here already and what is in the way.

    All that is new is stored in one piece, or nothing is. What stands here is never changed, and merging again brings
    only what is new since. With --json nothing is asked: it is stored only with --yes.
    """
    from underlid.journal.merging import merge as bring
    from underlid.journal.merging import read_incoming
    from underlid.journal.store import Journal

    renamed = _pairs(rename or ())
    hand_to = None if keeper is None else (keeper, clock(now, ZoneInfo("UTC")))
    if folder.resolve() == journal.resolve():
        raise NotOneOf(f"{folder} is this journal itself: name the folder of another one.")
    incoming = read_incoming(folder)
    with Journal.open(journal) as book:

        def go(*, dry_run: bool) -> Merge:
            return bring(
                book, incoming, renamed, hand_to=hand_to, examine=_wrong_text, skip_conflicts=skip_conflicts,
                dry_run=dry_run,
            )  # fmt: skip

        told = go(dry_run=True)
        out = console(WIDTH)
        if not as_json:
            _print(told, folder, journal, out)
        may = bool(told.comes) and (skip_conflicts or not told.conflicts)
        if may and (yes or (not as_json and confirmed())):
            told, shown = go(dry_run=False), told
            if not as_json and told.conflicts != shown.conflicts:
                _print(told, folder, journal, out)  # somebody stored something meanwhile
    in_the_way = bool(told.conflicts) and not skip_conflicts
    if as_json:
        show_json(_json(told))
    elif told.stored:
        out.print(f"Stored in {journal}.")
    elif not told.comes and not told.conflicts:
        out.print("Nothing is new, so nothing was stored.")
    else:
        out.print("Nothing was stored." + (" Mend what is in the way, or leave it out." if in_the_way else ""))
    if in_the_way:
        sys.exit(BAD)


def _pairs(given: Sequence[str]) -> dict[str, str]:
    renamed: dict[str, str] = {}
    for text in given:
        there, equals, here = (part.strip() for part in text.partition("="))
        if not (there and equals and here):
            raise NotOneOf(f"--rename {text!r} is not of the form OLD=NEW, e.g. “north=anna-north”.")
        if there in renamed:
            raise NotOneOf(f"--rename gives “{there}” two names, “{renamed[there]}” and “{here}”; give it one.")
        renamed[there] = here
    return renamed


def _wrong_text(record: RegisteredPlan | OwnClaims) -> str | None:
    """A plan or claims that cannot be read would stop every command here that reads them."""
    from underlid.records import RegisteredPlan
    from underlid.trials.claims import claims_from
    from underlid.trials.plan import PlanProblem, plan_from
    from underlid.trials.rows import DamagedClaims

    try:
        if isinstance(record, RegisteredPlan):
            plan_from(record.text)
        else:
            claims_from(record.text, f"The claims given on {record.noted_at:%Y-%m-%d}")
    except (PlanProblem, DamagedClaims) as error:
        return str(error)
    return None


# --- telling ------------------------------------------------------------------------------------------------


def _print(told: Merge, folder: Path, journal: Path, out: Console) -> None:
    from underlid.quantity.show import many

    out.print(f"From {folder} into {journal}:")
    there = {here: name for name, here in told.called.items()}
    new, old = _by_bin(told.comes), _by_bin(told.here)
    added = {one.name for one in told.comes.bins}
    for name in there:
        called = "" if there[name] == name else f" (“{there[name]}” there)"
        kind = "a new bin" if name in added else "here already"
        known = f"; here already: {_entries(old[name])}" if old.get(name) else ""
        out.print(f"  {name}{called}, {kind}. New: {_entries(new.get(name, Counter()))}{known}.")
    for held, words in ((told.comes, "Also new"), (told.here, "Also here already")):
        beside = [many(count, one, more) for field, one, more in BESIDE if (count := len(getattr(held, field)))]
        if beside:
            out.print(f"  {words}: {', '.join(beside)}.")
    for heading, sentences in (
        ("In the way:", [one.sentence for one in told.conflicts]),
        ("Left out with it:", told.left_out),
        ("To know:", told.notes),
    ):
        if sentences:
            out.print(heading)
        for sentence in sentences:
            out.print(f"  {sentence}")


def _by_bin(held: Held) -> dict[str, Counter[str]]:
    """How many entries of each kind there are, by bin."""
    from underlid.journal.rows import kind_name

    found: dict[str, Counter[str]] = {}
    for entry in held.entries:
        found.setdefault(entry.bin, Counter())[kind_name(type(entry))] += 1
    return found


def _entries(kinds: Counter[str]) -> str:
    from underlid.quantity.show import many

    return ", ".join(many(count, kind, f"{kind}s") for kind, count in sorted(kinds.items())) or "no entries"


def _json(told: Merge) -> dict[str, object]:
    return {
        "stored": told.stored,
        "called": dict(told.called),
        "new": _held_json(told.comes),
        "here_already": _held_json(told.here),
        "conflicts": [
            {"kind": type(one).__name__, **asdict(one), "sentence": one.sentence} for one in told.conflicts
        ],
        "left_out": list(told.left_out),
        "notes": list(told.notes),
    }  # fmt: skip


def _held_json(held: Held) -> dict[str, object]:
    return {
        "bins": [one.name for one in held.bins],
        "entries": {name: dict(sorted(kinds.items())) for name, kinds in sorted(_by_bin(held).items())},
        **{field: len(getattr(held, field)) for field, _, _ in BESIDE},
    }
