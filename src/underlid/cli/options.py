"""Options that several commands share, and how results and progress are shown."""

from __future__ import annotations

import json
import sys
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from underlid.quantity.when import VagueTime, parse_when

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from underlid.records import Bin

JournalOption = Annotated[
    Path, typer.Option("--journal", "-j", envvar="UNDERLID_JOURNAL", help="Folder of the journal.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
NowOption = Annotated[
    str | None, typer.Option("--now", help="Take this as the present moment, e.g. “2026-01-23 21:00”.")
]


class NoWeather(ValueError):
    """A command needs weather and was given none."""


def _no_weather() -> Path:
    from underlid.weather.files import demo_weather

    raise NoWeather(
        "This needs the weather near the bin: give --weather FILE, or set UNDERLID_WEATHER to your file once. To try "
        f"it with the typical year that comes along, of a cold coast: --weather {demo_weather()}"
    )


WeatherOption = Annotated[
    Path,
    typer.Option(
        "--weather", "-w", envvar="UNDERLID_WEATHER", default_factory=_no_weather, show_default=False,
        help="Weather file: TMY3, EPW or CSV, hourly or daily min/max.",
    ),
]  # fmt: skip
PastOption = Annotated[
    list[Path] | None, typer.Option("--past", help="Weather file of earlier years, for the time beyond a forecast.")
]
FillOption = Annotated[
    int, typer.Option("--fill-gaps", min=0, help="Fill gaps in the weather of up to so many hours; they are marked.")
]
PlaceOption = Annotated[
    str | None,
    typer.Option(
        "--place", envvar="UNDERLID_PLACE",
        help="Latitude and longitude of the weather, e.g. “52.1,-1.3”; needed where a file has only daily min and max.",
    ),
]  # fmt: skip
SeedOption = Annotated[int, typer.Option("--seed", min=0, help="Seed of everything random.")]
BinArgument = Annotated[str, typer.Argument(help="Name of the bin.")]

DEFAULT_JOURNAL = Path("journal")
WIDTH = 120  # columns of most answers where they are not shown on a terminal
PERCENTS = ("p5", "p50", "p95")  # what 5, 50 and 95 % points are called in JSON


class NotOneOf(ValueError):
    """A word is not one of those allowed."""


def clock(words: str | None, tz: ZoneInfo) -> datetime:
    """The present moment: the machine's, or the one given for a rerun."""
    if words is None:
        return datetime.now(tz).replace(microsecond=0)
    machine = datetime.now(tz)
    moment: VagueTime = parse_when(words, now=machine, tz=tz, allow_future=True)
    # A day alone means its end: everything of that day has happened.
    return moment.start + (moment.end - moment.start) / 2 if moment.kind == "exact" else moment.end


def place_of(text: str | None) -> tuple[float | None, float | None]:
    """Latitude and longitude in degrees, or neither."""
    if text is None:
        return None, None
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise NotOneOf(f"--place {text!r} is not two numbers; write latitude and longitude as “52.1,-1.3”.") from None
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise NotOneOf(f"--place {text!r} is no place on Earth; latitude is -90 to 90, longitude -180 to 180.")
    return latitude, longitude


def span(since: str | None, until: str | None, record: Bin, now: datetime) -> tuple[datetime | None, datetime | None]:
    """From when and up to when the keeper's days reach, the second no later than now; None where not said."""
    tz = ZoneInfo(record.timezone)
    first, last = (
        None if words is None else parse_when(words, now=now, tz=tz, start=record.started.start)
        for words in (since, until)
    )
    return None if first is None else first.start, None if last is None else min(last.end, now)


def by_percent(points: Iterable[float], decimals: int) -> dict[str, float]:
    """The 5, 50 and 95 % points as plain JSON; never minus zero."""
    rounded = (round(float(value), decimals) + 0.0 for value in points)
    return dict(zip(PERCENTS, rounded, strict=True))


def show_json(result: object) -> None:
    """Print a result as JSON on standard output."""
    json.dump(result, sys.stdout, ensure_ascii=False, allow_nan=False, indent=2)
    sys.stdout.write("\n")


def console(width: int | None = None) -> Console:
    """Where answers go: a keeper's words are never taken as markup; where it is no terminal it has `width` columns.

    Control characters of a journal from elsewhere do not reach the terminal.
    """
    from rich.console import Console

    class Plain(Console):
        def render_str(self, text: str, **more: Any) -> Text:
            return super().render_str(without_controls(text), **more)

    return Plain(width=None if Console().is_terminal else width, markup=False, highlight=False)


def without_controls(text: str) -> str:
    """The text without what moves a terminal's cursor or renames its window; line breaks stay."""
    return "".join(sign for sign in text if sign in "\n\t" or unicodedata.category(sign) != "Cc")


@contextmanager
def progress(what: str, *, quiet: bool = False) -> Iterator[Callable[[float], None]]:
    """A progress bar on standard error that appears only when work takes a while."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    screen = Console(stderr=True)
    if quiet:
        yield lambda done: None
        return
    if not screen.is_terminal:
        yield _plain_progress(what, screen.print)
        return
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=screen, transient=True) as bar:
        task = bar.add_task(what, total=1.0, visible=False)
        yield lambda done: bar.update(task, completed=done, visible=True)


def _plain_progress(what: str, write: Callable[[str], None]) -> Callable[[float], None]:
    """Without a terminal: a line every few seconds."""
    last = [time.monotonic()]

    def tell(done: float) -> None:
        if time.monotonic() - last[0] > 10:
            last[0] = time.monotonic()
            write(f"{what}: {done:.0%}")

    return tell
