"""The command that tells what people repeat about keeping worms, what is published about it, and how to test it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from uuid import uuid4
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import DEFAULT_JOURNAL, WIDTH, JournalOption, JsonOption, NowOption, clock, console, show_json

if TYPE_CHECKING:
    from underlid.trials.claims import Claim
    from underlid.trials.stopping import StopRule


def claim(
    name: Annotated[
        str | None, typer.Argument(help="The claim's name or sentence; all of them are listed if not given.")
    ] = None,
    add: Annotated[Path | None, typer.Option(help="Keep the claims of your own TOML file in the journal.")] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """What people repeat about keeping worms, what is published of it and how to test it; or add claims of your own."""
    from underlid.trials.claims import claim as find

    if add is not None:
        _keep(add, journal, now)
    known = known_claims(journal)
    if name is not None:
        one = find(name, known)
        show_json(claim_json(one)) if as_json else _print(one)
    elif as_json:
        show_json([{"name": one.name, "about": one.about, "sentence": one.sentence, "test": one.test}
                   for one in known.values()])  # fmt: skip
    else:
        _list(known)


def known_claims(journal: Path) -> Mapping[str, Claim]:
    """Our claims and those that the journal keeps, if there is one."""
    from underlid.journal.store import Journal
    from underlid.trials.claims import every_claim

    if Journal.exists(journal):
        with Journal.open(journal) as book:
            if book.own_claims():
                from underlid import answer  # takes a second, which nobody should wait for ours

                return answer.known_claims(book)
    return every_claim()


def claim_json(one: Claim) -> dict[str, object]:
    """A claim as plain JSON types."""
    return {**asdict(one), "test": one.test}


def rule_words(rule: StopRule) -> str:
    """A stop rule for people."""
    return f"{rule.watched}: {rule.then}. {rule.because} ({rule.source})"


def _keep(path: Path, journal: Path, now: str | None) -> None:
    from underlid.journal.store import Journal
    from underlid.records import OwnClaims
    from underlid.trials.claims import read_claims

    read_claims(path)  # whatever is wrong with it is said before anything is kept
    with Journal.open(journal) as book:
        book.keep_claims(OwnClaims(id=uuid4().hex, text=path.read_text("utf-8"), noted_at=clock(now, ZoneInfo("UTC"))))


def _list(known: Mapping[str, Claim]) -> None:
    from rich.table import Table

    from underlid.trials.claims import every_claim

    out = console(WIDTH)
    for about in dict.fromkeys(one.about for one in known.values()):
        table = Table(about.capitalize(), "", "", box=None, pad_edge=False, show_header=True)
        for one in (one for one in known.values() if one.about == about):
            table.add_row(one.name, one.sentence, "" if one.test else "not to be tested")
        out.print(table)
    mine = sum(one is not every_claim().get(name) for name, one in known.items())
    own = f", {mine} of them your own" if mine else ""
    out.print(f"{len(known)} claims{own}. `underlid claim NAME` says what is published of one, and how to test it.")


def _print(one: Claim) -> None:
    from underlid.trials.claims import Comparison

    out = console(WIDTH)
    out.print(f"People say: {one.sentence}")
    out.print(f"Under test: {one.statement}")
    out.print("Published.")
    for found in one.published:
        out.print(f"  {found.says} ({found.source}; {found.mark}, {found.species}, evidence {found.strength})")
    design = one.design
    if design is None:
        out.print(f"Not to be tested on animals: {one.not_tested_because}")
    else:
        if isinstance(design.against, Comparison):
            against = design.against
            out.print(f"Arms. Control: {against.control}. Changed: {against.changed}.")
            unit = f" {against.unit}" if against.unit else " times"
            out.print(f"Margin: {against.margin:g}{unit} in {design.outcome}. {against.margin_because}")
        else:
            number = design.against
            out.print(f"Stated: {number.what}, {number.low:g} to {number.high:g} {number.unit}.")
        out.print(
            f"Size: {design.bins_per_arm} bins in each arm for {design.days} days; counts on days "
            f"{', '.join(map(str, design.counts))}. {design.season}"
        )
        out.print(f"How: {design.trial}")
        out.print("Stop rules.")
        for rule in design.stop:
            out.print(f"  {rule_words(rule)}")
        out.print("Else it may be.")
        for each in design.confounders:
            out.print(f"  {each}")
    if one.cautions:
        out.print("Heed.")
        for each in one.cautions:
            out.print(f"  {each}")
