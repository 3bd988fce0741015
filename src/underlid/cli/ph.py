"""The command that asks what the readings of pH and conductivity say of a bin's bedding."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    BinArgument,
    JournalOption,
    JsonOption,
    NowOption,
    by_percent,
    clock,
    console,
    show_json,
    span,
)

if TYPE_CHECKING:
    from underlid.chemistry.account import Account
    from underlid.chemistry.field import Array, Field
    from underlid.worms.facts import Fact


def ph(
    bin: BinArgument,
    since: Annotated[
        str | None, typer.Option(help="First day whose readings count; else the latest and the two weeks before it.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="Last day whose readings count.")] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """What the pH and conductivity (EC) readings of some days say: by place, as a whole, and for the worms."""
    from underlid.chemistry.account import Tolerance, accounts
    from underlid.counting.parts import shares
    from underlid.fit.evidence import situation
    from underlid.journal.store import Journal
    from underlid.records import Reading
    from underlid.worms.species import UnknownSpecies, species

    with Journal.open(journal) as book:
        record, readings = book.bin(bin), book.entries(bin, kind=Reading)
    moment = clock(now, ZoneInfo(record.timezone))
    vessel = situation(record).vessel
    notes: tuple[str, ...] = ()
    tolerance = None
    try:
        kind = species(record.species)
        ends = (_points(kind.tolerated_low_ph), _points(kind.tolerated_high_ph))
        tolerance = Tolerance(kind.name, *ends, (kind.best_ph.low, kind.best_ph.high), kind.tolerated_low_ph.source)
    except UnknownSpecies as error:
        notes = (f"{error} So nothing is said of what pH it tolerates.",)
    told = accounts(
        bin,
        readings,
        moment,
        *span(since, until, record, moment),
        # The middle and the edge are parts of any bedding, read or not.
        lambda places: shares(vessel, {*places, "middle"}),
        tolerance,
    )
    if as_json:
        shown: dict[str, object] = {name: None if one is None else _json(one) for name, one in told.items()}
        show_json({"bin": bin, "now": moment.isoformat(), **shown, "notes": list(notes)})
        return
    for name, one in told.items():
        if one is None:
            console(WIDTH).print(f"No {name} is noted for that time.\n")
        else:
            _print(bin, one)
    for note in notes:
        console(WIDTH).print(note)


def _print(bin: str, told: Account) -> None:
    from rich.table import Table

    from underlid.chemistry import telling
    from underlid.entry.describe import describe

    out = console(WIDTH)
    out.print(telling.headline(bin, told))
    for one in told.used:
        out.print(f"  {describe(one.taken)}  [{one.taken.id}]")
    unit = "pH" if told.quantity == "pH" else "mS/cm"
    table = Table("", "share", "read", f"{unit}, estimated", "5 to 95 %", box=None, pad_edge=False)
    for row in telling.rows(told):
        table.add_row(*row)
    out.print(table)
    for sentence in telling.meaning(told):
        out.print(sentence)
    for head, sentences in {"Taken for granted": telling.assumed(told), "Beware": telling.beware(told)}.items():
        if sentences:
            out.print(f"{head}.")
        for sentence in sentences:
            out.print(f"  {sentence}")
    out.print()


def _json(told: Account) -> dict[str, object]:
    """The account as plain JSON types; levels in pH or mS/cm are estimated, the readings read."""
    from underlid.chemistry import telling

    found = told.field
    return {
        "provenance": "estimated",
        "unit": "pH" if told.quantity == "pH" else "mS/cm",
        "readings": [
            {
                "id": one.taken.id, "when": one.taken.when.words, "words": one.taken.words, "place": one.place,
                "provenance": "read", "amount": one.taken.amount.as_json(), "instrument": one.taken.instrument,
                "slip": round(slip, 4),
            }
            for one, slip in zip(told.used, found.slips, strict=True)
        ],
        "places": [
            {"place": place, "share": found.shares.get(place), **_range(level, found)}
            for place, level in found.levels.items()
        ],
        "whole": _range(found.whole, found),
        "of_mean_acidity": _range(found.acid, found) if told.quantity == "pH" else None,
        "lowest": _range(found.lowest, found),
        "highest": _range(found.highest, found),
        "chance_outside": None if told.outside is None else {
            "below": round(told.outside.below, 4), "above": round(told.outside.above, 4),
            "either": round(told.outside.either, 4),
        },
        "meaning": list(telling.meaning(told)),
        "assumed": list(telling.assumed(told)),
        "beware": list(telling.beware(told)),
    }  # fmt: skip


def _range(levels: Array, found: Field) -> dict[str, float]:
    from underlid.chemistry.field import points

    return by_percent(map(found.scale.back, points(levels)), 4)


def _points(fact: Fact) -> tuple[float, float, float]:
    return fact.low, fact.value, fact.high
