"""From a bin's records to what its acid did: feedings, pH readings and the bedding's warmth, from the start to now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material, UnknownMaterial
from underlid.chemistry.readings import Evidence, NoReading, evidence
from underlid.counting.parts import ANYWHERE, shares
from underlid.fit.evidence import situation
from underlid.fit.feedbed import NotInReach, amount_of, bed_of, food_of
from underlid.fit.feedharm import Amount
from underlid.fit.feeding import Bed, NoFood
from underlid.fit.study import Study
from underlid.quantity import VagueAmount
from underlid.records import AnyEntry, Bin, Feeding, Reading
from underlid.weather.series import HOUR_S

Array = NDArray[np.float64]

LONGEST_WINDOW_H = 31 * 24.0  # what is placed no better than a month says too little to use: our judgement
MOMENTS = 7  # that stand for the vague time of a reading, evenly spread
AHEAD_H = 21 * 24.0  # beyond the present that warmth is kept for
WANDERS_K = 2.0  # how far the bedding may stray from temperatures read or said, a standard deviation: our judgement
UNREAD_C, UNREAD_K = 12.0, 5.0  # bedding of which no temperature is known, and its standard deviation: our judgement
RECENT_H = 21 * 24.0  # feedings that count where the keeper says what the pH is now


class NoHistory(ValueError):
    """The bin's first day has not come yet."""


@dataclass(frozen=True, slots=True)
class Fed:
    """A feeding that is run: some time from `first_h` to `last_h` after the start."""

    taken: Feeding
    food: Material
    amount: Amount
    first_h: float
    last_h: float


@dataclass(frozen=True, slots=True)
class Heard:
    """A pH reading that counts, and the hours after the start that it may be of, (moments,)."""

    evidence: Evidence
    at_h: Array


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperature of the bedding, hour by hour from the start to AHEAD_H beyond now, (rows, hours) [degC].

    Rows are draws of a fitted bin; or one, from which draws wander by `wanders_k`. moisture : of each row's wet mass
    """

    by_hour: Array
    wanders_k: float
    moisture: Array | None
    words: str

    def steps(self, ends: Array, rows: NDArray[np.int64], wander: Array, begins_h: float = 0.0) -> Array:
        """Mean over each step up to `ends`, (draws, steps); the first begins at `begins_h`."""
        total = np.concatenate([np.zeros((len(self.by_hour), 1)), np.cumsum(self.by_hour, axis=1)], axis=1)
        edges = np.concatenate([[begins_h], ends])
        hours = np.arange(total.shape[1], dtype=float)
        at = np.array([np.interp(edges, hours, row) for row in total])
        return np.asarray((np.diff(at, axis=1) / np.diff(edges))[rows] + self.wanders_k * wander[:, None])


@dataclass(frozen=True, slots=True)
class History:
    """All that a fit of acidity rests on; hours count from the start.

    shares : part of the bedding -> its share; start_ph : even between its ends if the keeper says it, or None
    refused : sentences on what could not be used
    """

    bed: Bed
    shares: Mapping[str, float]
    fed: tuple[Fed, ...]
    heard: tuple[Heard, ...]
    hours: float
    warmth: Warmth
    start_ph: tuple[float, float] | None
    refused: tuple[str, ...]


def history(
    record: Bin,
    entries: Sequence[AnyEntry],
    now: datetime,
    *,
    ph: VagueAmount | None = None,
    bedding_c: tuple[float, float] | None = None,
    study: Study | None = None,
) -> History:
    """Lay out a bin's records up to `now`.

    Parameters
    ----------
    ph : what the keeper says the pH is: then no reading counts, and only the feedings of the last three weeks
    bedding_c : what the keeper says the temperature was, low and high, where no study knows it

    Raises NoHistory if the bin has no hour behind it.
    """
    begins = record.started.start if ph is None else max(record.started.start, now - timedelta(hours=RECENT_H))
    hours = (now - begins).total_seconds() / HOUR_S
    if hours < 1:
        raise NoHistory(f"Bin {record.name} was only just started: no reading of its pH can say how it changed.")
    bed, _ = bed_of(record, ph)
    vessel = situation(record).vessel
    fed, no_food = _fed(entries, begins, hours)
    heard, no_reading = ((), ()) if ph is not None else _heard(entries, begins, hours)
    places = {"middle", *(one.evidence.place for one in heard), *(one.taken.place for one in fed)}
    parts = shares(vessel, places)
    return History(
        bed, parts, fed, heard, hours,
        _read_warmth(entries, begins, hours, bedding_c) if study is None else _studied(study, begins, hours, parts),
        None if ph is None else (bed.ph.low, bed.ph.high), (*no_food, *no_reading),
    )  # fmt: skip


def moisture_of(study: Study) -> Fact:
    """Moisture of the bedding now by a fitted bin [% of wet mass]."""
    low, middle, high = 100 * study.outlook.moisture[study.outlook.now_index]
    return Fact(float(middle), float(low), float(high), "the fitted bin", "judgement")


def _window(entry: Reading | Feeding, begins: datetime, hours: float) -> tuple[float, float] | str:
    """The hours that an entry may be of, within the history, or why it has none."""
    first, last = ((end - begins).total_seconds() / HOUR_S for end in (entry.when.start, entry.when.end))
    if last - first > LONGEST_WINDOW_H:
        return "its time is known no better than a month"
    if last < 0:
        return "it is from before the start"
    if first > hours:
        return "it is yet to come"
    return max(first, 0.0), min(max(last, first, 0.0), hours)


def _fed(entries: Sequence[AnyEntry], begins: datetime, hours: float) -> tuple[tuple[Fed, ...], tuple[str, ...]]:
    kept, refused = [], []
    for entry in sorted(entries, key=lambda entry: (entry.when.start, entry.when.end, entry.words)):
        if not isinstance(entry, Feeding) or entry.material == "water":
            continue
        window = _window(entry, begins, hours)
        if isinstance(window, str):
            if "from before" not in window:
                refused.append(f"“{entry.words}” is left out, as {window}.")
            continue
        try:
            food = food_of(entry)
            kept.append(Fed(entry, food, amount_of(entry, food), *window))
        except (UnknownMaterial, NoFood, NotInReach) as error:
            refused.append(f"A feeding is left out. {error}")
    return tuple(kept), tuple(refused)


def _heard(entries: Sequence[AnyEntry], begins: datetime, hours: float) -> tuple[tuple[Heard, ...], tuple[str, ...]]:
    kept, refused = [], []
    for entry in sorted(entries, key=lambda entry: (entry.when.start, entry.when.end, entry.words)):
        if not isinstance(entry, Reading) or entry.quantity != "pH" or entry.amount.kind == "not noted":
            continue
        window = _window(entry, begins, hours)
        if isinstance(window, str):
            refused.append(f"“{entry.words}” is left out, as {window}.")
            continue
        try:
            found = evidence(entry)
        except NoReading as error:
            refused.append(str(error))
            continue
        first, last = window
        moments = 1 if last - first < 2 else MOMENTS
        kept.append(Heard(found, first + (last - first) * (np.arange(moments) + 0.5) / moments))
    return tuple(kept), tuple(refused)


def _studied(study: Study, begins: datetime, hours: float, parts: Mapping[str, float]) -> Warmth:
    told = study.outlook
    known = {place: share for place, share in parts.items() if place in told.draws_c} or {"middle": 1.0}
    whole = sum(share * told.draws_c[place] for place, share in known.items()) / sum(known.values())
    at = (told.time_utc - begins.timestamp()) / HOUR_S
    wanted = np.arange(hours + AHEAD_H + 1)
    by_hour = np.array([np.interp(wanted, at, row) for row in np.asarray(whole)])
    short = at[-1] < hours + AHEAD_H - 24
    ends = (
        f" It ends {(at[-1] - hours) / 24:.0f} days from now, and its last hour stands for later ones." if short else ""
    )
    moisture = told.moisture_draws[:, : told.now_index + 1].mean(axis=1)
    return Warmth(by_hour, 0.0, moisture, f"Temperature and moisture of the bedding are those of the fitted bin.{ends}")


def _read_warmth(
    entries: Sequence[AnyEntry], begins: datetime, hours: float, said: tuple[float, float] | None
) -> Warmth:
    wanted = np.arange(hours + AHEAD_H + 1)
    read = sorted(
        ((entry.when.start - begins).total_seconds() / HOUR_S, (entry.amount.low + entry.amount.high) / 2)
        for entry in entries
        if isinstance(entry, Reading) and entry.quantity == "temperature"
        and np.isfinite(entry.amount.low) and np.isfinite(entry.amount.high)
    )  # fmt: skip
    if read:
        at, c = np.array(read).T
        words = "The bedding was as warm as it was read, 3 °C (6 °F) either way, and in between as by a straight line."
        return Warmth(np.interp(wanted, at, c)[None], WANDERS_K, None, words)
    middle, wanders, words = UNREAD_C, UNREAD_K, "No temperature is known: 4 to 20 °C (39 to 68 °F) is assumed."
    if said is not None:
        middle, wanders = (said[0] + said[1]) / 2, WANDERS_K + (said[1] - said[0]) / 4
        words = "The bedding was always about as warm as you say, 3 °C (6 °F) either way."
    return Warmth(np.full((1, len(wanted)), middle), wanders, None, words)


def anywhere(place: str) -> bool:
    """Whether a place is not noted."""
    return place == ANYWHERE
