"""One bin, its weather and its fit, as every command that computes takes them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from underlid.cli.options import clock, place_of, progress

if TYPE_CHECKING:
    from underlid.fit.study import Case, Study


def study_of(
    bin: str, weather: Path, past: list[Path], until: str | None, place: str | None, fill_gaps: int, seed: int,
    journal: Path, now: str | None, *, quiet: bool, first: Callable[[Case], object] = lambda case: None,
) -> Study:  # fmt: skip
    """The study of a bin of the journal under weather files, fitted or recalled.

    `first` sees the case before the fit, which takes a while: what it refuses is refused at once.
    """
    from underlid.answer import answer, case_of, weather_from
    from underlid.journal.store import Journal
    from underlid.quantity.when import parse_when

    with Journal.open(journal) as book:
        record = book.bin(bin)
        tz = ZoneInfo(record.timezone)
        moment = clock(now, tz)
        end = None if until is None else parse_when(until, now=moment, tz=tz, allow_future=True).end
        where = place_of(place)
        air, *years = (weather_from(path, tz.key, fill_gaps, where) for path in (weather, *past))
        case = case_of(book, bin, air, moment, end, years)
        first(case)
        with progress(f"fitting {bin}", quiet=quiet) as tell_progress:
            return answer(book, case, seed, tell_progress)
