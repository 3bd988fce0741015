"""The command that asks what the readings of pH and conductivity say of a bin's bedding."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    by_percent,
    clock,
    console,
    progress,
    show_json,
    span,
)

if TYPE_CHECKING:
    from underlid.chemistry.account import Account
    from underlid.chemistry.field import Array, Field
    from underlid.fit.acidity import Acidity
    from underlid.records import AnyEntry, Bin
    from underlid.worms.facts import Fact


def ph(
    bin: BinArgument,
    since: Annotated[
        str | None, typer.Option(help="First day whose readings count; else the latest and the two weeks before it.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="Last day whose readings count.")] = None,
    weather: Annotated[
        Path | None,
        typer.Option(
            "--weather",
            "-w",
            envvar="UNDERLID_WEATHER",
            help="Weather file, as outlook takes: then warmth and moisture are those of your fitted bin.",
        ),
    ] = None,
    past: PastOption = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
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
        record, entries = book.bin(bin), book.entries(bin)
    readings = [entry for entry in entries if isinstance(entry, Reading)]
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
    learnt = None
    if told["pH"] is not None:
        learnt = _learn(record, entries, moment, weather, past or [], place, fill_gaps, seed, journal, now, as_json)
    if as_json:
        shown: dict[str, object] = {name: None if one is None else _json(one) for name, one in told.items()}
        show_json(
            {"bin": bin, "now": moment.isoformat(), **shown, "bedding": acidity_json(learnt), "notes": list(notes)}
        )
        return
    for name, one in told.items():
        if one is None:
            console(WIDTH).print(f"No {name} is noted for that time.\n")
        else:
            _print(bin, one)
    if learnt is not None:
        _print_learnt(learnt)
    for note in notes:
        console(WIDTH).print(note)


def _learn(
    record: Bin, entries: Sequence[AnyEntry], moment: datetime, weather: Path | None, past: list[Path],
    place: str | None, fill_gaps: int, seed: int, journal: Path, now: str | None, quiet: bool,
) -> Acidity | None:  # fmt: skip
    """What all pH readings of the journal say of the bedding; None for a bin of this hour."""
    from underlid.cli.study import study_of
    from underlid.fit.acidhistory import NoHistory, history
    from underlid.fit.acidity import acidity

    study = None
    if weather is not None:
        study = study_of(record.name, weather, past, None, place, fill_gaps, seed, journal, now, quiet=quiet)
    try:
        of = history(record, entries, moment, study=study)
    except NoHistory:
        return None
    with progress(f"the acid of {record.name}", quiet=quiet) as tell_progress:
        return acidity(of, seed, progress=tell_progress)


def _print_learnt(found: Acidity) -> None:
    from underlid.fit.acidtelling import sentences

    out = console(WIDTH)
    many = f"{len(found.used)} reading" + ("" if len(found.used) == 1 else "s")
    fed = f"{len(found.of.fed)} feeding" + ("" if len(found.of.fed) == 1 else "s")
    out.print(
        f"What the pH readings since the start say of the bedding ({many}, {fed}; estimated, nine chances in ten)."
    )
    for sentence in (*sentences(found), *found.notes, *found.refused):
        out.print(f"  {sentence}")
    out.print()


def acidity_json(found: Acidity | None) -> dict[str, object] | None:
    """What was learned as plain JSON types, before and after the readings; rates are at 20 degC."""
    if found is None:
        return None
    from underlid.fit.acidtelling import sentences

    units = {"start_ph": "pH", "buffer": "mol/kg/pH", "half_life": "day", "now_ph": "pH"}
    return {
        "provenance": "estimated",
        **{
            name: {
                "unit": units[name], "before": by_percent(one.before, 4), "after": by_percent(one.after, 4),
                "learned": found.learned(name),
            }
            for name, one in found.told.items()
        },
        "readings": [one.taken.id for one in found.used], "feedings": len(found.of.fed),
        "refused": list(found.refused), "effective_sets": round(found.effective, 1), "settled": found.settled,
        "seed": found.seed, "sentences": list(sentences(found)), "notes": list(found.notes),
    }  # fmt: skip


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
    from underlid.quantity.points import three

    return by_percent(map(found.scale.back, three(levels)), 4)


def _points(fact: Fact) -> tuple[float, float, float]:
    return fact.low, fact.value, fact.high
