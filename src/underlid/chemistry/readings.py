"""What one reading of pH or EC says: an interval on the model's scale, and how far such an instrument may stray.

pH is taken as it is, and electrical conductivity (EC) by its logarithm, as salts differ by factors.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from underlid.quantity.show import show_amount
from underlid.records import Reading

Quantity = Literal["pH", "EC"]
Instrument = Literal["strip", "meter", ""]

STRIP_HALF = 0.5  # pH each way between two colours of a strip: common practice, no source
SPAN_DAYS = 14  # readings of so many days are taken as one state of the bedding: our judgement
ANYWHERE = "not noted"

_STRIP = re.compile(r"\b(?:strips?|litmus|(?:indicator|test|ph)\s*paper|universal\s+indicator|test\s+kit)\b", re.I)
_METER = re.compile(r"\b(?:meter|metre|probe|pen|sensor|logger|electrode|digital)\b", re.I)
_FINEST = 0.005  # half-width that no amount is narrower than, on the scale: nobody reads closer


class NoReading(ValueError):
    """Nothing usable was read in the time that is asked about."""


class BackwardSpan(ValueError):
    """The first day asked about lies after the last."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a quantity varies in bedding, on the scale of the model: pH, or ln(EC / (mS/cm)).

    least, most, step : the grid of possible levels
    usual, usual_sd : mean of bedding before anything was read, normal
    places, places_sd : how far places differ, a standard deviation: median, and sd of its logarithm
    spots, spots_sd : how far spots of one place differ, the same way
    shared : sd of an error that all readings have in common: calibration, and how the sample was wetted
    strays : instrument -> sd of one reading of one spot
    apart : two readings of one place further apart than this hardly are of one place
    """

    quantity: Quantity
    least: float
    most: float
    step: float
    usual: float
    usual_sd: float
    places: float
    places_sd: float
    spots: float
    spots_sd: float
    shared: float
    strays: Mapping[Instrument, float]
    apart: float

    def of(self, value: float) -> float:
        """An amount on the scale; none at all lies infinitely low where the scale is a logarithm."""
        if self.quantity == "pH":
            return value
        return math.log(value) if value > 0 else -math.inf

    def back(self, level: float) -> float:
        """A level of the scale as an amount in the quantity's unit."""
        return level if self.quantity == "pH" else math.exp(level)


#: All spreads are our judgement. pH: worm beddings lie about 5 to 9; a hand-held meter is good to 0.1 or 0.2.
PH = Scale("pH", 0.0, 14.0, 0.05, 6.8, 1.2, 0.4, 0.6, 0.3, 0.4, 0.15, {"strip": 0.1, "meter": 0.15, "": 0.2}, 1.5)
#: From a third to seven times 1.2 mS/cm before anything is read; places differ by a third, spots by a quarter.
EC = Scale(
    "EC", math.log(0.005), math.log(200.0), 0.05, math.log(1.2), 1.0, 0.3, 0.6, 0.25, 0.4, 0.15,
    {"strip": 0.3, "meter": 0.05, "": 0.1}, math.log(3.0),
)  # fmt: skip
SCALES: Mapping[Quantity, Scale] = {"pH": PH, "EC": EC}


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a reading says on the scale: `low` to `high` (open is infinite), as an interval or as a 90 % range (about).

    stray : sd of the instrument [scale]; note : what was done to the reading, "" for nothing
    """

    taken: Reading
    place: str
    low: float
    high: float
    about: bool
    stray: float
    note: str = ""


def instrument_of(taken: Reading) -> Instrument:
    """What it was read with, by the instrument that was noted or else by the words."""
    for words in (taken.instrument, taken.words):
        if _STRIP.search(words) or words.strip().lower() == "paper":
            return "strip"
        if _METER.search(words):
            return "meter"
    return ""


def evidence(taken: Reading, strip_half: float = STRIP_HALF) -> Evidence:
    """The reading as evidence.

    A plain number off a strip is widened to the step between two colours, for that is all that a strip can tell.

    Parameters
    ----------
    strip_half : half of that step [pH]

    Raises
    ------
    NoReading : if it is no pH or EC, or its amount is not noted
    """
    amount = taken.amount
    if taken.quantity not in ("pH", "EC") or amount.kind == "not noted":
        raise NoReading(f"“{taken.words}” tells no pH and no EC.")
    scale = SCALES[taken.quantity]
    low, high = scale.of(amount.low), scale.of(amount.high)
    if low == high == -math.inf:
        raise NoReading(f"“{taken.words}” says that there is no salt at all, which no bedding is: please check.")
    with_what = instrument_of(taken)
    note = ""
    if scale is PH and with_what == "strip" and amount.kind == "exact" and (high - low) / 2 < strip_half:
        middle = (low + high) / 2
        low, high = max(0.0, middle - strip_half), min(14.0, middle + strip_half)
        note = (
            f"“{taken.words}” is taken as {low:g} to {high:g}: a strip tells no more than the step between its colours."
        )
    elif math.isfinite(low) and math.isfinite(high) and high - low < 2 * _FINEST:
        middle = (low + high) / 2
        low, high = middle - _FINEST, middle + _FINEST
    return Evidence(taken, taken.place, low, high, amount.kind == "about", scale.strays[with_what], note)


def of_span(
    readings: Sequence[Reading],
    quantity: Quantity,
    now: datetime,
    since: datetime | None = None,
    until: datetime | None = None,
) -> tuple[Reading, ...]:
    """The readings asked about, in order of time: those of the span, or the latest and those of `SPAN_DAYS` before it.

    Raises BackwardSpan if `since` lies after `until`; readings that begin after `now` do not count.
    """
    if since is not None and until is not None and since >= until:
        raise BackwardSpan(f"The first day, {since:%-d %b %Y}, lies after the last; turn --since and --until round.")
    known = [r for r in readings if r.quantity == quantity and r.when.start <= now and r.amount.kind != "not noted"]
    if since is None and until is None and known:
        until = max(r.when.start for r in known)
        kept = [r for r in known if r.when.start >= until - timedelta(days=SPAN_DAYS)]
    else:
        first, last = since, now if until is None else until
        kept = [
            r for r in known
            if r.when.start < last and (first is None or r.when.end > first or r.when.start >= first)
        ]  # fmt: skip
    return tuple(sorted(kept, key=lambda r: (r.when.start, r.when.end, r.id)))


def cautions(found: Sequence[Evidence], scale: Scale) -> tuple[str, ...]:
    """What is odd or bears watching in the readings themselves, in sentences."""
    said = [one.note for one in found if one.note]
    days = (max(e.taken.when.end for e in found) - min(e.taken.when.start for e in found)).days if found else 0
    if days > SPAN_DAYS:
        said.append(
            f"The readings lie up to {days} days apart and are taken as one: a {scale.quantity} that drifted shows as "
            "differences between spots. Ask for fewer days with --since and --until."
        )
    for place in dict.fromkeys(one.place for one in found):
        there = [one for one in found if one.place == place]
        lowest, highest = min(there, key=lambda e: e.high), max(there, key=lambda e: e.low)
        if highest.low - lowest.high > scale.apart:
            said.append(_apart(lowest.taken, highest.taken, scale, place))
    return tuple(said)


def _apart(one: Reading, other: Reading, scale: Scale, place: str) -> str:
    shown = " and ".join(f"“{taken.words}” ({show_amount(taken.amount)})" for taken in (one, other))
    if place == ANYWHERE:
        return f"{shown} lie far apart; their place is not noted, so they may be of different places."
    return (
        f"{shown} contradict each other: spots of one place hardly differ so much. One may be a slip, or next to food "
        "or shell; read both spots again."
    )
