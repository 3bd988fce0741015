"""What a monthly account holds: frozen facts, each with its range and where it comes from.

Nothing here is computed; `underlid.update.story` fills these in and `underlid.update.prose.words` says them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from underlid.quantity.amount import VagueAmount
from underlid.records import Bin, Place, Reading

if TYPE_CHECKING:
    from underlid.fit.cut import Cut
    from underlid.update.lifefacts import Acid, Animals, Eaten, Own, Step

Array = NDArray[np.float64]

#: *read*: noted by the keeper; *estimated*: the model after the readings, under observed weather;
#: *predicted*: the same model under weather that has not been observed.
Provenance = Literal["read", "estimated", "predicted"]

LATER = timedelta(
    days=14
)  # after its end, from which a month's account leaves what comes next to others: our judgement


@dataclass(frozen=True, slots=True)
class Range:
    """The 5, 50 and 95 % points of one quantity. Units: degC, K, %, L, h, K h, W/m2K or 1.

    most : what it is told as at the most, where it is part of a whole; None where nothing limits it
    """

    low: float
    middle: float
    high: float
    unit: str
    provenance: Provenance
    most: float | None = None

    def of_bedding(self, litres: float) -> Range:
        """Litres of the bedding, of which none are told beyond the whole, which is told in whole litres."""
        return replace(self, unit="L", most=float(f"{litres:.0f}"))


@dataclass(frozen=True, slots=True)
class TimeRange:
    """The 5, 50 and 95 % points of a moment, in the bin's time zone."""

    early: datetime
    usual: datetime
    late: datetime


@dataclass(frozen=True, slots=True)
class ColdestHour:
    """The coldest hour of the middle within a span of days.

    temperature, when : of the coldest hour of each draw, which is another hour in another draw
    estimate_at : the one hour whose middle value of all draws is the coldest; estimate : the range of that hour, whose
        middle is no colder than `temperature` has it. Pictures of one hour stand here.
    read_near : whether any bedding reading may have been taken within three hours of `estimate_at`
    """

    temperature: Range
    when: TimeRange
    estimate_at: datetime
    estimate: Range
    read_near: bool


@dataclass(frozen=True, slots=True)
class RefugeFact:
    """The refuge at its smallest hour: share of the bedding and litres of it inside the tolerated band.

    widest : litres inside the band as wide as any source has it, at its smallest hour
    ice : share of the bedding's water that is ice, at the hour where the 95 % point is highest
    without_h : hours without any refuge that worms could have reached; degree_hours : by how much the best place
        missed the band, summed over those hours
    """

    share: Range
    litres: Range
    bedding_litres: float
    when: TimeRange
    ice: Range
    species: str
    common_name: str
    band_c: tuple[float, float]
    widest: Range
    widest_band_c: tuple[float, float]
    band_sources: tuple[str, str]
    without_h: Range
    degree_hours: Range


@dataclass(frozen=True, slots=True)
class Water:
    """The bedding's moisture at the end of the span told of, and what is to come [% of wet weight].

    too_dry, too_wet : chance of leaving the tolerated moisture in the time to come, or None where nothing is predicted
    """

    now: Range
    tolerated_pct: tuple[float, float]
    too_dry: float | None
    too_wet: float | None
    until: date


@dataclass(frozen=True, slots=True)
class Ahead:
    """A span still to come: its local dates, its coldest hour and the chance of leaving the tolerated band.

    below_band : share of the draws whose middle falls below the band at least once
    """

    first: date
    last: date
    coldest: ColdestHour
    below_band: float
    forecast: bool  # whether a forecast carries it; otherwise past years do


@dataclass(frozen=True, slots=True)
class ReadingFact:
    """One reading of the month beside what the model expects a thermometer to show there and then.

    words : the whole entry in the keeper's words; amount : what was read of them
    expected : the model's range for the reading [degC], or None where the model says nothing
    gap_k : by how much the interval misses the model's 90 % range [K]; 0 where they overlap
    taken : the record that all this was taken from, which goes out again as data
    """

    id: str
    when_words: str
    start: datetime
    end: datetime
    quantity: str
    place: Place
    depth_words: str
    words: str
    amount: VagueAmount
    expected: Range | None
    gap_k: float
    flags: tuple[str, ...]
    taken: Reading | None = None

    @property
    def surprise(self) -> bool:
        """Whether the reading lies wholly outside the model's range."""
        return self.gap_k > 0

    @property
    def temperature(self) -> bool:
        """Whether it can be drawn among the temperatures."""
        return self.amount.unit == "degC" and self.amount.kind != "not noted"


@dataclass(frozen=True, slots=True)
class Noted:
    """Anything else that was noted: when, the keeper's words, and a plain sentence on how to take it."""

    start: datetime
    end: datetime
    words: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """What the fit says about one parameter, before and after the readings."""

    name: str
    before: Range
    after: Range

    @property
    def width_left(self) -> float:
        """Width of the range after the readings as a share of the width before."""
        return (self.after.high - self.after.low) / (self.before.high - self.before.low)


@dataclass(frozen=True, slots=True)
class Hours:
    """Series for the charts, hour by hour: times in UTC seconds (n,), ranges (n, 3).

    predicted_from : index of the first predicted hour, n if there is none, 0 if all are
    """

    time_utc: NDArray[np.int64]
    air_c: Array
    middle_c: Array
    refuge_pct: Array
    ice_pct: Array
    predicted_from: int
    truth_c: Array | None


@dataclass(frozen=True, slots=True)
class Days:
    """The days to come: lowest middle of the day (n, 3) and lowest air of the day in past years (n, 3) or None.

    forecast_days : how many of them a forecast carries
    """

    days: tuple[date, ...]
    middle_c: Array
    air_c: Array | None
    forecast_days: int


@dataclass(frozen=True, slots=True)
class Truth:
    """Invented truth behind a demonstration: bedding at the hours of the case's grid [degC], each (hours,)."""

    middle_c: Array
    edge_c: Array
    surface_c: Array
    label: str


@dataclass(frozen=True, slots=True)
class TruthCheck:
    """How close the account came to an invented truth over the hours of the month.

    held : place -> share of the hours in which the 90 % range holds the truth [%]
    coldest_c, coldest_at : the true coldest hour of the middle in the span that `Story.coldest` speaks of
    """

    label: str
    hours: int
    held: dict[str, float]
    coldest_c: float
    coldest_at: datetime


@dataclass(frozen=True, slots=True)
class TrialFact:
    """A trial that the bin is in: its name, the bin's arm, what is under test, and the verdict so far in a sentence."""

    name: str
    arm: str
    statement: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Story:
    """The facts of one month of one bin.

    told_from, told_to : the local span that `coldest` and `refuge` speak of
    readings_used : readings that the fit used, of all months
    soon, rest, days, steps : None and empty `afterwards`, as is what `eaten` says of now
    animals, eaten : None where no colony was fitted; acid : of pH and of EC, as far as either was read this month
    steps : what is due or to heed next, by date; cut : the bedding cut through in the middle, hour after hour
    """

    bin: Bin
    month: date
    month_ends: datetime
    timezone: str
    now: datetime
    told_from: datetime
    told_to: datetime
    coldest: ColdestHour
    refuge: RefugeFact
    water: Water
    soon: Ahead | None
    rest: Ahead | None
    hours: Hours
    days: Days | None
    readings: tuple[ReadingFact, ...]
    feedings: tuple[Noted, ...]
    sightings: tuple[Noted, ...]
    samples: tuple[Noted, ...]
    notes: tuple[Noted, ...]
    corrections: tuple[Noted, ...]
    trials: tuple[TrialFact, ...]
    parameters: tuple[Parameter, ...]
    readings_used: int
    draws: int
    trusted: bool
    misfit: bool
    unknown: tuple[str, ...]
    weather_source: str
    typical: bool
    past_years: int
    method: str
    seed: int
    truth: TruthCheck | None
    animals: Animals | None
    eaten: Eaten | None
    acid: tuple[Acid, ...]
    steps: tuple[Step, ...]
    own: Own
    cut: Cut | None

    @property
    def to_come(self) -> bool:
        """Whether the month has not begun."""
        return self.now < self.told_from

    @property
    def afterwards(self) -> bool:
        """Whether it is told so long after its end that what comes next is no part of it."""
        return self.now - self.month_ends > LATER

    @property
    def title(self) -> str:
        """The keeper's title, or the bin's name."""
        return self.own.title or self.bin.name

    @property
    def keeper(self) -> str | None:
        """Who keeps the bin, if they want it said."""
        return self.own.keeper
