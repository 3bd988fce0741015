"""From records to arrays: what a bin's journal says about the animals that live in it.

Samples of one day are one occasion, as they are parts of one bedding; a sighting is one by itself, and says only that
there were so many at least. An occasion at a vague time may be on any of the days it may mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from underlid.counting.account import seen_at_least
from underlid.counting.found import Sample, possible, samples_of
from underlid.counting.samples import TOO_MUCH
from underlid.quantity.amount import VagueAmount
from underlid.records import STAGES, AnyEntry, SampleCount, Sighting
from underlid.weather.series import DAY_S

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

DAY_H = 24
MOST_DAYS = 7  # that stand for a vague time, evenly spread
LONGEST_WINDOW_DAYS = 62  # an occasion placed no better says too little to use: our judgement
SAMPLE_SLIP, SIGHTING_SLIP = 0.01, 0.02  # share of them that are slips of pen, place or stage: our judgement
PLACES = ("middle", "edge", "surface", "not noted")


class Rows(NamedTuple):
    """A tally laid out flat for the compiled filter; `a[i] : a[i + 1]` are the rows of i in what follows.

    part_state, part_occasion, part_weight : (parts,) the days an occasion may be on, by day; weights sum to 1
    ends : (occasions,) last day of each; slip, slip_chance : (occasions,) share of slips, chance of the words in one
    samples, sightings : (occasions + 1,); place, counts : (samples,), (samples + 1,); stage, values : (counts,),
    (counts + 1,); value, weight : numbers a count may mean; who : (sightings, 5) stages meant, least : (sightings,)
    """

    part_state: Ints
    part_occasion: Ints
    part_weight: Array
    ends: Ints
    slip: Array
    slip_chance: Array
    samples: Ints
    sightings: Ints
    place: Ints
    counts: Ints
    stage: Ints
    values: Ints
    value: Array
    weight: Array
    who: NDArray[np.bool_]
    least: Array


@dataclass(frozen=True, slots=True)
class Tally:
    """All that was counted and seen.

    volumes : those of the rows' samples [L]; used : the records behind each occasion
    """

    rows: Rows
    volumes: tuple[VagueAmount, ...]
    used: tuple[tuple[SampleCount | Sighting, ...], ...]
    left_out: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.rows.ends)

    @property
    def days(self) -> int:
        """How many days of the bin the tally reaches into."""
        return int(self.rows.ends.max()) if len(self) else 0

    @property
    def entries(self) -> tuple[SampleCount | Sighting, ...]:
        """The records behind it."""
        return tuple(entry for occasion in self.used for entry in occasion)

    @property
    def places(self) -> set[str]:
        """Where samples were taken."""
        return {PLACES[i] for i in self.rows.place}


def tally(entries: Sequence[AnyEntry], time_utc: NDArray[np.int64], most_l: float = np.inf) -> Tally:
    """Samples and sightings within the hours `time_utc` (seconds, hourly), laid on days from its first hour.

    most_l : the most that the bedding may hold [L]; samples of one day that hold more are left out
    """
    occasions: dict[tuple[int, ...], list[tuple[SampleCount, Sample]]] = {}
    seen: list[tuple[tuple[int, ...], Sighting]] = []
    left_out: list[str] = []
    for entry in sorted(entries, key=lambda entry: (entry.when.start, entry.when.end, entry.words)):
        if not isinstance(entry, SampleCount | Sighting):
            continue
        kept, said = samples_of([entry]) if isinstance(entry, SampleCount) else ((), ())
        left_out += said
        if not kept and not (isinstance(entry, Sighting) and seen_at_least([entry])):
            continue
        days = _days(entry, time_utc)
        if days is None:
            left_out.append(
                f"Left out, as its day is not known or has no weather: “{entry.words}” ({entry.when.start:%-d %b %Y})."
            )
        elif isinstance(entry, SampleCount):
            occasions.setdefault(days, []).append((entry, kept[0]))
        else:
            seen.append((days, entry))
    for days, taken in list(occasions.items()):
        if sum(sample.volume.low for _, sample in taken) > TOO_MUCH * most_l:
            named = "; ".join(f"“{entry.words}” ({entry.when.start:%-d %b %Y})" for entry, _ in taken)
            left_out.append(f"Left out, as these samples hold more than the bedding ({most_l:.3g} L at most): {named}.")
            del occasions[days]
    return _laid(occasions, seen, tuple(left_out))


# --- inside ----------------------------------------------------------------------------------------------


def _days(entry: SampleCount | Sighting, time_utc: NDArray[np.int64]) -> tuple[int, ...] | None:
    """The days an entry may be of, by the noon of its own calendar days, so that all of one day are together."""
    start, end = entry.when.start, max(entry.when.start, entry.when.end - timedelta(microseconds=1))
    first, last = (
        math.floor(
            (moment.replace(hour=12, minute=0, second=0, microsecond=0).timestamp() - int(time_utc[0])) / DAY_S + 0.5
        )
        for moment in (start, end)
    )
    latest = (len(time_utc) - 1) // DAY_H
    if last < 0 or first > latest + 1 or last - first > LONGEST_WINDOW_DAYS:
        return None
    first, last = max(0, min(first, latest)), max(0, min(last, latest))
    many = min(MOST_DAYS, last - first + 1)
    return tuple(sorted({round(day) for day in np.linspace(first, last, many)}))


def _laid(
    occasions: dict[tuple[int, ...], list[tuple[SampleCount, Sample]]],
    seen: Sequence[tuple[tuple[int, ...], Sighting]],
    left_out: tuple[str, ...],
) -> Tally:
    parts: list[tuple[int, int, float]] = []
    ends, slip, slip_chance = [], [], []  # type: ignore[var-annotated]
    samples, sightings, counts, values = [0], [0], [0], [0]
    place, stage, value, weight, who, least = [], [], [], [], [], []  # type: ignore[var-annotated]
    volumes: list[VagueAmount] = []
    used: list[tuple[SampleCount | Sighting, ...]] = []

    def occasion(days: tuple[int, ...], share: float, chance: float) -> None:
        parts.extend((day, len(ends), 1.0 / len(days)) for day in days)
        ends.append(days[-1])
        slip.append(share)
        slip_chance.append(chance)
        samples.append(len(place))
        sightings.append(len(least))

    for days, taken in occasions.items():
        chance = 1.0
        used.append(tuple(entry for entry, _ in taken))
        for _, sample in taken:
            volumes.append(sample.volume)
            place.append(PLACES.index(sample.place))
            for who_counted, count in sample.counts:
                numbers, weights = possible(count)
                stage.append(STAGES.index(who_counted))
                value += list(numbers)
                weight += list(weights)
                values.append(len(value))
                chance *= weights.sum() / (10.0 + 3.0 * numbers[-1])  # a slip may say anything of that size
            counts.append(len(stage))
        occasion(days, SAMPLE_SLIP, min(chance, 1.0))
    for days, sighting in seen:
        [(name, many)] = seen_at_least([sighting]).items()
        used.append((sighting,))
        who.append([name in ("worm", one) and not (name == "worm" and one == "cocoon") for one in STAGES])
        least.append(float(many))
        occasion(days, SIGHTING_SLIP, 1.0)
    parts.sort()
    state, which, share = (list(column) for column in zip(*parts, strict=True)) if parts else ([], [], [])
    rows = Rows(
        _ints(state), _ints(which), np.array(share, float), _ints(ends), np.array(slip, float),
        np.array(slip_chance, float), _ints(samples), _ints(sightings), _ints(place), _ints(counts), _ints(stage),
        _ints(values), np.array(value, float), np.array(weight, float), np.array(who, bool).reshape(-1, len(STAGES)),
        np.array(least, float),
    )  # fmt: skip
    return Tally(rows, tuple(volumes), tuple(used), left_out)


def _ints(values: Sequence[int]) -> Ints:
    return np.array(values, np.int64)
