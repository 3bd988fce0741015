"""What an account holds of animals, food, acid and what is due: frozen facts with ranges.

Nothing here is computed; `underlid.update.lifestory` fills these in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from underlid.records import Stage
from underlid.update.facts import Array, Range

ACCENT = "#24485c"  # of an account whose keeper names no colour


@dataclass(frozen=True, slots=True)
class Daily:
    """A course day by day for a chart: times in UTC seconds (days,), ranges (days, 3).

    predicted_from : index of the first predicted day, the number of days if there is none
    counted : moment and range of what each day's samples alone come to; seen : moment and least number seen
    """

    time_utc: NDArray[np.int64]
    worms: Array
    adults: Array
    predicted_from: int
    counted: tuple[tuple[datetime, Range], ...]
    seen: tuple[tuple[datetime, float], ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What was counted or seen in hand on one day.

    what : such as "6 adults, 3 juveniles counted in 2 L"; doubted : whether hardly any life of the fit agrees with it
    """

    when: date
    what: str
    doubted: bool


@dataclass(frozen=True, slots=True)
class Animals:
    """Who lives there at the end of the span told of, fitted to all counts and sightings up to now.

    worms, before : all but cocoons at the end and at the beginning of the span; change : the one less the other, draw
    by draw; stages : each stage at the end, cocoons first
    live_g : mass of all worms [g]; alive : chance that any worm lives
    density_g_m2, usual_g_m2 : live mass on a square metre, and what beds usually hold; crowded : chance of more
    samples, sightings : how many counts and sightings the fit used, of all months; founders : the keeper's words
    careful : sentences on what makes it doubtful
    found : what the fit used of the span's counts and sightings, and all that are doubted of any time, earliest first
    """

    at: date
    worms: Range
    before: Range
    change: Range
    stages: tuple[tuple[Stage, Range], ...]
    live_g: Range
    alive: float
    density_g_m2: Range
    usual_g_m2: tuple[float, float]
    crowded: float
    samples: int
    sightings: int
    founders: str
    careful: tuple[str, ...]
    daily: Daily
    found: tuple[Found, ...] = ()

    @property
    def doubted(self) -> tuple[Found, ...]:
        """What was found in hand and the fit cannot explain."""
        return tuple(one for one in self.found if one.doubted)


@dataclass(frozen=True, slots=True)
class Eaten:
    """What was given in the span [g], what of it all has become, and what they can eat.

    given_g : sum of the month's feedings that say how much (read), None if there is none; feedings : how many in all;
    unweighed : how many say nothing that can be weighed
    can_eat_g : food as it is given that they can eat in the seven days after now (predicted), None where unknown
    lost_pct : share of all dry matter laid and fed that has gone to the air up to now; castings_l : crumbly and dark by
    now [L]; ripe : 5, 50 and 95 % dates of a ripe harvest with the chance that it comes before the outlook ends
    late : whether it is told so long after the span that nothing of now belongs to it
    """

    feedings: int
    unweighed: int
    given_g: Range | None
    can_eat_g: Range | None
    lost_pct: Range | None
    castings_l: Range | None
    ripe: tuple[date, date, date] | None
    ripe_chance: float
    ripe_by: date | None
    at: date
    late: bool = False


@dataclass(frozen=True, slots=True)
class Acid:
    """What the readings of pH or EC of the month come to over the whole bedding, and in its parts.

    whole : mean of the bedding; places : each place that was read by name; unit "pH" or "mS/cm"
    tolerated : limits of the species (pH), None for EC or an unknown species; outside : chance that a part lies beyond
    readings : ids of those that count; refused : a sentence for each that does not
    """

    quantity: Literal["pH", "EC"]
    whole: Range
    places: tuple[tuple[str, Range], ...]
    tolerated: tuple[float, float] | None
    outside: float | None
    readings: tuple[str, ...]
    refused: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """Something due or to heed in the time to come, on whole days from `first` to `last`.

    kind : what it is about; says : one sentence, which holds no number but those of dates and counts it is given in
    """

    kind: Literal["reading", "count", "look", "frost", "feeding"]
    first: date
    last: date
    says: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo of the month, turned upright, scaled, and free of all that cameras write beside a picture.

    jpeg : its bytes; focus : the point that stays in sight however it is cropped, as shares from left and top
    caption : the keeper's words
    """

    name: str
    caption: str
    when: datetime
    jpeg: bytes
    width: int
    height: int
    focus: tuple[float, float] = (0.5, 0.5)


@dataclass(frozen=True, slots=True)
class Own:
    """What the keeper brings to the account, beside the journal: nothing of it is changed or judged.

    accent : colour as "#rrggbb"; words : (section name, or "" for the opening) -> paragraphs
    pictures : those to show, in order
    """

    title: str | None = None
    keeper: str | None = None
    accent: str = ACCENT
    words: tuple[tuple[str, tuple[str, ...]], ...] = ()
    pictures: tuple[Picture, ...] = ()

    def paragraphs(self, section: str) -> tuple[str, ...]:
        """The keeper's paragraphs for a section, "" for the opening."""
        return tuple(text for name, texts in self.words if name == section for text in texts)
