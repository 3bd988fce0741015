"""Commands that get weather: weather fetch. The only ones that use the network, and only when called."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import JsonOption, NotOneOf, place_of, show_json

if TYPE_CHECKING:
    from underlid.weather.fetched import Fetched

app = typer.Typer(no_args_is_help=True, help="Get the weather for a place. Nothing else here uses the network.")


@app.callback()
def weather() -> None:
    """Get the weather for a place. Nothing else here uses the network."""


@app.command("fetch")
def fetch(
    place: Annotated[
        str,
        typer.Option(
            envvar="UNDERLID_PLACE",
            help="Latitude and longitude, e.g. “52.1,-1.3”; rounded to 0.1 degree before they leave this computer.",
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", "-o", help="File to write; if it was fetched before, its older hours are kept.")
    ],
    past_days: Annotated[
        int, typer.Option(min=0, max=92, help="Days back; the source keeps 92, so fetch every few weeks.")
    ] = 92,
    forecast_days: Annotated[int, typer.Option(min=1, max=16, help="Days ahead, today among them.")] = 7,
    elevation: Annotated[
        float | None,
        typer.Option(min=-430, max=6000, help="Height of the bin above the sea [m]; worth giving in hills."),
    ] = None,
    source: Annotated[
        str | None, typer.Option(help="Address of another server that speaks Open-Meteo's language.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Fetch the air of a place, past weeks and forecast, from Open-Meteo.com into a weather file.

    The reply is kept for an hour in UNDERLID_CACHE (by default ~/.cache/underlid/weather) and stands in later if the
    source cannot be reached. All that is sent is the place, rounded to 0.1 degree, the numbers below, and the program's
    name and version.
    """
    from underlid.files import write_whole
    from underlid.weather.cache import cache_folder
    from underlid.weather.fetched import as_csv, join, read_fetched
    from underlid.weather.source import OPEN_METEO
    from underlid.weather.source import fetch as ask

    latitude, longitude = place_of(place)
    if latitude is None or longitude is None:
        raise NotOneOf("The place is empty; write latitude and longitude as “52.1,-1.3”.")
    earlier = read_fetched(out) if out.exists() else None  # before anything is sent, so that a refusal costs nothing
    fetched = ask(
        latitude, longitude, past_days=past_days, forecast_days=forecast_days, elevation_m=elevation,
        base_url=source or OPEN_METEO, cache=cache_folder(os.environ), now=datetime.now(UTC),
    )  # fmt: skip
    joined = fetched if earlier is None else join(earlier, fetched)
    write_whole(out, as_csv(joined).encode())
    _tell(out, joined, as_json)


def _tell(out: Path, joined: Fetched, as_json: bool) -> None:
    from underlid.weather.fetched import CREDIT, place_words

    weather, known = joined.weather, joined.known
    first, last = (datetime.fromtimestamp(int(time), UTC) for time in weather.time_utc[known][[0, -1]])
    ahead, missing = int((joined.forecast & known).sum()), int((~known).sum())
    assert weather.latitude is not None
    assert weather.longitude is not None
    place = place_words(weather.latitude, weather.longitude)
    if as_json:
        show_json(
            {
                "file": str(out), "place": place, "elevation_m": joined.elevation_m, "address": joined.address,
                "fetched": joined.at.isoformat(), "first": first.isoformat(), "last": last.isoformat(),
                "hours": int(known.sum()), "forecast_hours": ahead, "missing_hours": missing,
                "notes": list(joined.notes), "credit": CREDIT,
            }
        )  # fmt: skip
        return
    print(f"{out} holds {known.sum()} hours of air for {place}, {first:%-d %b %Y %H:%M} to {last:%-d %b %Y %H:%M} UTC:")
    print(f"{ahead} were a forecast when fetched" + (f"; {missing} in between are missing." if missing else "."))
    for note in joined.notes:
        print(note)
    print(f"{CREDIT}.")
