"""What the account of a year holds: frozen facts, each with its range and where it comes from.

Nothing here is computed; `underlid.update.year` fills these in and `underlid.update.prose.yearwords` says them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from underlid.records import Bin
from underlid.update.facts import Array, Range, ReadingFact, TimeRange, TrialFact
from underlid.update.lifefacts import Own

#: Twelve months up to a month, the calendar year that a month is in, or all months of the bin up to a month.
Span = Literal["twelve months", "calendar year", "since the start"]


@dataclass(frozen=True, slots=True)
class Bedding:
    """What the bedding went through in a span of `hours` hours, each over the draws.

    coldest, mean : of the middle; without_h : hours without any refuge; refuge_l : least refuge
    """

    hours: int
    coldest: Range
    coldest_when: TimeRange
    mean: Range
    without_h: Range
    refuge_l: Range
    refuge_when: TimeRange


@dataclass(frozen=True, slots=True)
class Lived:
    """Worms (all but cocoons) at the end of a span and the change since its beginning; what was laid, hatched, died."""

    at: date
    worms: Range
    change: Range
    laid: Range
    hatched: Range
    died: Range


@dataclass(frozen=True, slots=True)
class Kept:
    """What the keeper noted in a span.

    given_g : all feedings that say how much, from all at their least to all at their most (read); None if none does
    unweighed : feedings that do not; compared : readings of the bedding's temperature set beside the model
    surprises : those of them wholly outside its range; corrected : entries that correct another
    """

    feedings: int
    unweighed: int
    given_g: Range | None
    readings: int
    compared: int
    surprises: int
    samples: int
    sightings: int
    corrected: int


@dataclass(frozen=True, slots=True)
class Month:
    """One month of the year: its first day, the days told of, and its facts; bedding is None if none are held.

    whole : whether all of it is told of; to_come : whether it had not begun
    """

    month: date
    first: date
    last: date
    whole: bool
    to_come: bool
    bedding: Bedding | None
    lived: Lived | None
    kept: Kept


@dataclass(frozen=True, slots=True)
class Pair:
    """One figure in the same days of two years, and the later less the earlier, draw by draw."""

    earlier: Range
    later: Range
    difference: Range

    @property
    def resolved(self) -> bool:
        """Whether the difference leaves zero out."""
        return self.difference.low > 0 or self.difference.high < 0


@dataclass(frozen=True, slots=True)
class Twice:
    """The same days of one month, `first` to `last` of the later year, in two years.

    air_c : mean of the air by the weather given, earlier and later
    """

    earlier: date
    later: date
    first: date
    last: date
    coldest: Pair
    mean: Pair
    without_h: Pair
    refuge_l: Pair
    air_c: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Course:
    """The year day by day: lowest, mean and highest air of each day, and the range of the middle's mean [degC]."""

    days: tuple[date, ...]
    air_c: Array
    middle_c: Array


@dataclass(frozen=True, slots=True)
class Year:
    """The facts of a year of one bin, or of as much of it as there is.

    told_from, told_to : the local span that `bedding` and `lived` speak of; months : in order, all of the span asked
    twice : months that the study holds in two years; before : the days up to a year before the last of `course`, as far
    as the study holds them, None where there is no such month; one_weather : whether months are held in two years, but
    under one typical year, so that nothing is set beside each other; left_out : first and last month of the bin before
    those asked, None if there is none; lost_pct, castings_l : of all laid and fed from the
    bin's first day up to `now`, None without a balance
    """

    bin: Bin
    span: Span
    timezone: str
    now: datetime
    told_from: datetime
    told_to: datetime
    months: tuple[Month, ...]
    bedding: Bedding
    lived: Lived | None
    kept: Kept
    course: Course
    readings: tuple[ReadingFact, ...]
    twice: tuple[Twice, ...]
    before: Course | None
    one_weather: bool
    left_out: tuple[date, date] | None
    trials: tuple[TrialFact, ...]
    lost_pct: Range | None
    castings_l: Range | None
    counted: int
    careful: tuple[str, ...]
    bedding_litres: float
    species: str
    band_c: tuple[float, float]
    readings_used: int
    trusted: bool
    misfit: bool
    unknown: tuple[str, ...]
    weather_source: str
    typical: bool
    method: str
    seed: int
    draws: int
    own: Own

    @property
    def title(self) -> str:
        """The keeper's title, or the bin's name."""
        return self.own.title or self.bin.name
