"""The command that asks what a change would do: a bin wrapped, moved, bigger, topped up or fed."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from underlid.cli.changes import NoChange, fed, moved, numbers, resized, topped, wrapped
from underlid.cli.options import (
    DEFAULT_JOURNAL,
    BinArgument,
    FillOption,
    JournalOption,
    JsonOption,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    by_percent,
    clock,
    console,
    progress,
    show_json,
)
from underlid.cli.study import study_of

if TYPE_CHECKING:
    from underlid.fit.sizes import Sizes
    from underlid.fit.study import Study
    from underlid.fit.whatif import Compared, Difference, Points


WIDTH = 132  # columns where the answer is not shown on a terminal


def whatif(
    bin: BinArgument,
    weather: WeatherOption,
    past: PastOption = None,
    until: Annotated[
        str | None, typer.Option(help="Last day to look at; the end of winter if past years reach there.")
    ] = None,
    insulate: Annotated[
        str | None, typer.Option(help="Wrap it: thickness and material, e.g. “3 cm expanded polystyrene”.")
    ] = None,
    faces: Annotated[
        str | None, typer.Option(help="Faces to wrap: any of sides, lid and base; “sides,lid” if not given.")
    ] = None,
    move: Annotated[str | None, typer.Option(help="Move it: open shelter, outdoors, unheated shed or indoors.")] = None,
    room: Annotated[
        str | None, typer.Option(help="Air of the room it moves into, e.g. “about 12 C”; needed with --move indoors.")
    ] = None,
    base: Annotated[str | None, typer.Option(help="Stand it on slab, soil or feet.")] = None,
    size: Annotated[
        str | None, typer.Option(help="Tip it into a bin of that inside size, e.g. “60 x 40 x 35 cm”.")
    ] = None,
    depth: Annotated[
        str | None, typer.Option(help="How deep the bedding lies with --size; as full as now if not given.")
    ] = None,
    bedding: Annotated[str | None, typer.Option(help="Add bedding on top, e.g. “leaves 10 cm”.")] = None,
    feed: Annotated[str | None, typer.Option(help="Feed it, e.g. “500 g melon rind in the middle”.")] = None,
    feed_when: Annotated[str | None, typer.Option(help="When to feed, e.g. tomorrow; now if not given.")] = None,
    litres: Annotated[
        str | None,
        typer.Option(help="Instead of a change: the coldest hour in bins of these sizes, e.g. 10,20,40,80,160."),
    ] = None,
    chart: Annotated[
        Path | None, typer.Option(help="Picture to draw with --litres; its name ends in .svg or .png.")
    ] = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """What the bedding would do if you changed something now: the difference, with its range.

    Changes may be combined. Or, with --litres, how the coldest hour of the winter depends on the size of a bin.
    """
    from underlid.fit.sizes import proper, scaled, sizes
    from underlid.fit.whatif import follow
    from underlid.fit.whatif import whatif as compare
    from underlid.journal.store import Journal

    with Journal.open(journal) as book:
        record, containers = book.bin(bin), book.containers()
    tz = ZoneInfo(record.timezone)
    moment = clock(now, tz)
    changers = [
        *moved(move, base, room),
        *resized(size, depth),
        *topped(bedding),
        *wrapped(insulate, faces),
        *fed(feed, feed_when, record, moment, containers),
    ]
    if (not changers) == (litres is None):
        raise NoChange(
            "Say one thing at least that would change: --insulate, --move, --base, --size, --bedding or --feed; or ask "
            "about sizes alone, with --litres."
            if litres is None
            else "--litres asks about sizes alone; ask about other changes in a command of their own."
        )
    if chart is not None and litres is None:
        raise NoChange("--chart draws the sizes given with --litres; add those, or leave --chart out.")
    asked = [] if litres is None else proper(numbers(litres))
    if chart is not None:
        from underlid.update.drawn.sizes import draw, kind_of

        kind_of(chart)
    study = study_of(
        bin, weather, past or [], until, place, fill_gaps, seed, journal, now, quiet=as_json,
        first=lambda case: (follow(case, changers), [scaled(case, size) for size in asked]),
    )  # fmt: skip
    if litres is None:
        found = compare(study, changers)
        if as_json:
            show_json({"bin": bin, "now": study.case.now.isoformat(), "seed": seed, **whatif_json(found, tz),
                       "notes": [*study.careful, *found.notes, *study.notes]})  # fmt: skip
        else:
            _print(bin, found, study, tz)
        return
    with progress("trying sizes", quiet=as_json) as tell:
        told = sizes(study, asked, tell)
    if chart is not None:
        from underlid.files import write_whole

        write_whole(chart, draw(told, chart))
    if as_json:
        show_json({"bin": bin, "now": study.case.now.isoformat(), "seed": seed, **sizes_json(told, tz),
                   "notes": [*study.careful, *told.notes, *study.notes],
                   "chart": None if chart is None else str(chart)})  # fmt: skip
    else:
        _print_sizes(told, study, tz, chart)


# --- what is shown -------------------------------------------------------------------------------------------


def whatif_json(found: Difference, tz: ZoneInfo) -> dict[str, object]:
    """A difference as plain JSON types: temperatures in degC, shares as fractions, all predicted."""
    compared = ("refuge", "refuge_litres", "hours_below", "hours_above", "frozen")
    by_place = ("coldest_night", "coldest", "mean")
    return {
        "changes": list(found.sentences),
        "provenance": "predicted",
        "unit": "degC",
        "from": _iso(found.begin_utc, tz),
        "until": _iso(found.end_utc, tz),
        "tolerated_band": list(found.band_c),
        "night": [_iso(seconds, tz) for seconds in found.night_utc],
        **{name: {place: _compared(one) for place, one in getattr(found, name).items()} for name in by_place},
        **{name: _compared(getattr(found, name)) for name in compared},
        "helps": round(found.helps, 4),
        "cautions": list(found.cautions),
    }


def sizes_json(found: Sizes, tz: ZoneInfo) -> dict[str, object]:
    """The coldest hour against size as plain JSON types [degC]."""

    def row(litres: float, coldest: dict[str, Any]) -> dict[str, object]:
        return {"litres": round(litres, 2), **{place: _points(tuple(points)) for place, points in coldest.items()}}

    return {
        "provenance": "predicted",
        "unit": "degC",
        "from": _iso(found.begin_utc, tz),
        "until": _iso(found.end_utc, tz),
        "tolerated_from": found.tolerated_c,
        "fitted": row(found.own_litres, found.own_c),
        "sizes": [row(size, {p: c[i] for p, c in found.coldest_c.items()}) for i, size in enumerate(found.litres)],
    }


def _compared(one: Compared) -> dict[str, object]:
    return {**{name: _points(points) for name, points in asdict(one).items()}, "verdict": one.verdict}


def _points(points: Points) -> dict[str, float]:
    return by_percent(points, 4)


def _iso(seconds: int, tz: ZoneInfo) -> str:
    return datetime.fromtimestamp(seconds, tz).isoformat()


def _print(bin: str, found: Difference, study: Study, tz: ZoneInfo) -> None:
    from rich.table import Table

    from underlid.update.prose import differences as words

    out = console(WIDTH)
    for sentence in words.answer(bin, found, tz):
        out.print(sentence)
    for said in study.careful:
        out.print(f"Careful: {said}")
    table = Table("predicted", "as it is", "changed", "difference", "", box=None, pad_edge=False)
    for row in words.rows(found):
        table.add_row(*row)
    out.print(table)
    for caution in found.cautions:
        out.print(f"  Beware: {caution}")
    for note in (*found.notes, *study.notes):
        out.print(f"  {note}")


def _print_sizes(found: Sizes, study: Study, tz: ZoneInfo, chart: Path | None) -> None:
    from rich.table import Table

    from underlid.update.prose import differences as words

    out = console(WIDTH)
    begin, end = (datetime.fromtimestamp(seconds, tz) for seconds in (found.begin_utc, found.end_utc))
    out.print(
        f"Coldest hour of the bedding from {begin:%-d %b %Y} to {end:%-d %b %Y}, 5 to 95 %, predicted for every size "
        f"but {found.own_litres:.0f} litres.",
    )
    for said in study.careful:
        out.print(f"Careful: {said}")
    table = Table("holds", *found.coldest_c, box=None, pad_edge=False)
    for litres, ranges in words.size_rows(found):
        table.add_row(litres, *ranges)
    out.print(table)
    for note in (*found.notes, *study.notes):
        out.print(f"  {note}")
    if chart is not None:
        out.print(f"Drawn in {chart}.", soft_wrap=True)
