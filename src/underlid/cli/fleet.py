"""The command for many bins at once: which of them need a look in the days ahead."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    FillOption,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    PastOption,
    PlaceOption,
    SeedOption,
    WeatherOption,
    by_percent,
    clock,
    console,
    place_of,
    progress,
    show_json,
)

if TYPE_CHECKING:
    from underlid.fleet import Fleet, Points, Told


MOST_NAMED = 12  # bins that a sentence names


class NoBins(ValueError):
    """There is no bin to look at."""


def fleet(
    weather: WeatherOption,
    bins: Annotated[str | None, typer.Option(help="Names of bins, as “north,south”; all of them if not given.")] = None,
    days: Annotated[int, typer.Option(min=1, max=180, help="Days to look ahead.")] = 7,
    past: PastOption = None,
    weather_of: Annotated[
        list[str] | None, typer.Option("--weather-of", help="A bin's own weather file, as “north=FILE”; repeatable.")
    ] = None,
    place: PlaceOption = None,
    fill_gaps: FillOption = 0,
    seed: SeedOption = 1,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes; one for each core if not given.")] = None,
    cluster: Annotated[
        str | None, typer.Option(help="Address of a Dask cluster to do the work, as “tcp://192.168.1.5:8786”.")
    ] = None,
    careful: Annotated[
        bool, typer.Option("--careful", help="Fit a bin in full where the quick fit is in doubt; takes far longer.")
    ] = False,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """Many bins at once, worst first: what each may come to in the days ahead, from a quick fit of each."""
    from underlid.fleet import fleet as look_at_all
    from underlid.journal.store import Journal

    with Journal.open(journal) as book:
        known = {record.name: record for record in book.bins()}
        asked = None if bins is None else [name.strip() for name in bins.split(",") if name.strip()]
        if not known or asked == []:
            raise NoBins("There is no bin to look at; begin one with: underlid new NAME ...")
        for name in asked or ():
            book.bin(name)  # an unknown one is refused at once
        moment = clock(now, ZoneInfo(next(iter(known.values())).timezone))
        files = dict.fromkeys(known, weather) | dict(_own(each, known) for each in weather_of or ())
        with progress("looking at the bins", quiet=as_json) as tell_progress:
            found = look_at_all(
                book, files, moment, bins=asked, days=days, past=past or (), fill_gaps_h=fill_gaps,
                place=place_of(place), seed=seed, careful=careful, count=workers, cluster=cluster,
                progress=tell_progress,
            )  # fmt: skip
    if as_json:
        show_json(fleet_json(found))
    else:
        _print(found)


def fleet_json(found: Fleet) -> dict[str, object]:
    """The list as plain JSON types; temperatures in degC, shares and chances as fractions."""
    return {
        "now": found.now.isoformat(), "days": found.days, "unit": "degC",
        "bins": [_told_json(one) for one in found.told],
        "not_told": [{"bin": one.bin, "reason": one.reason} for one in found.not_told], "fitted": found.fitted,
    }  # fmt: skip


def _told_json(one: Told) -> dict[str, object]:
    ahead = None
    if one.ahead is not None:
        ahead = {
            "provenance": "predicted", "until": one.ahead.until.isoformat(),
            "coldest": by_percent(one.ahead.coldest_c, 2), "warmest": by_percent(one.ahead.warmest_c, 2),
            "least_refuge": by_percent(one.ahead.refuge, 4), "moisture": by_percent(one.ahead.moisture, 4),
        }  # fmt: skip
    return {
        "bin": one.bin,
        "alerts": [
            {"kind": each.kind, "chance": each.chance, "provenance": each.provenance, "sentence": each.says}
            for each in one.alerts
        ],
        "ahead": ahead, "readings_used": one.readings, "effective": round(one.effective, 1), "settled": one.settled,
        "fitted_in_full": one.full, "notes": list(one.notes),
    }  # fmt: skip


def _own(words: str, known: object) -> tuple[str, Path]:
    """A bin and its own weather file."""
    name, sign, file = words.partition("=")
    if not sign or not file or name not in known:  # type: ignore[operator]
        raise NotOneOf(f"--weather-of “{words}” must name a bin of the journal and its file, as “north=weather.csv”.")
    if not Path(file).is_file():
        raise NotOneOf(f"--weather-of “{words}”: there is no file {file}.")
    return name, Path(file)


def _alike(told: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """The bins of which each sentence is said, in their order."""
    found: dict[str, list[str]] = {}
    for name, says in told:
        found.setdefault(says, []).append(name)
    return found


def _bins(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{'Bin' if len(names) == 1 else 'Bins'} {', '.join(names[:MOST_NAMED])}{more}"


def _print(found: Fleet) -> None:
    from rich.table import Table

    from underlid.fleet import chance_words
    from underlid.quantity.units import to_fahrenheit

    def shown(points: Points) -> str:
        low, high = (round(end, 1) + 0.0 for end in (points[0], points[2]))
        return f"{low:.1f} to {high:.1f} °C ({to_fahrenheit(low):.0f} to {to_fahrenheit(high):.0f} °F)"

    out = console(WIDTH)
    heads = ("bin", "middle, coldest hour", "middle, warmest", "refuge, least", "to see to")
    table = Table(*heads, box=None, pad_edge=False)
    for one in found.told:
        ahead = one.ahead
        cells = ("no weather ahead", "", "")
        if ahead is not None:
            cells = (shown(ahead.coldest_c), shown(ahead.warmest_c), f"{ahead.refuge[0]:.0%} to {ahead.refuge[2]:.0%}")
        named = [
            each.kind if each.chance is None else f"{each.kind} {chance_words(each.chance).removeprefix('of ')}"
            for each in one.alerts
        ]
        table.add_row(one.bin, *cells, ", ".join(dict.fromkeys(named)) or "nothing")
    out.print(
        f"The next {found.days} days, worst first (how bad the worst of it is and how likely, then the coldest hour): "
        "5 to 95 % ranges, predicted from a quick fit of each bin; what a bin's own outlook says goes before this. "
        "Refuge is the share of the bedding that worms tolerate and can reach."
    )
    out.print(table)
    for one in found.told:
        for each in one.alerts:
            if each.kind == "stop rule":  # whose sentence names the bin
                out.print(each.says)
    # What is said of several bins alike stands once.
    told = [(one.bin, each.says) for one in found.told for each in one.alerts if each.kind != "stop rule"]
    for says, names in _alike(told).items():
        out.print(f"{_bins(names)}: {says}")
    for note, names in _alike((one.bin, note) for one in found.told for note in one.notes).items():
        out.print(note if len(names) == len(found.told) else f"{_bins(names)}: {note}")
    many, some = len(found.told) + len(found.not_told), sum(bool(one.alerts) for one in found.told)
    out.print(
        f"{many} {'bin' if many == 1 else 'bins'}: {some} to see to, {len(found.told) - some} with nothing told, "
        f"{len(found.not_told)} of which nothing can be told; {found.fitted} fitted anew."
    )
    for missing in found.not_told:
        out.print(f"  {missing.bin}: {missing.reason}")
