"""What followed a feeding: the course of pH, ammonia and grit in pocket and bulk, and what a keeper asks of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = tuple[float, float, float]  # 5, 50 and 95 % points
TOLERATED_PH = 5.0  # Edwards 1988, seen second-hand: 5 to 9
AMMONIA_MG_KG = 500.0  # kills above about 0.5 mg/g NH3-N: Edwards 1988, recalled
RECOVERED_PH = 0.2


class Summary(NamedTuple):
    """What a keeper asks, 5, 50 and 95 % points over the draws, chances as fractions.

    pocket_fall : from the start to where the pocket is lowest [pH]
    hours_below : that the pocket is below `below_ph`
    bulk_change : of the bulk, where it is farthest from the start [pH]; whole_change: of all bedding
    recovered_h : until the pocket stays within 0.2 pH of the start; infinity if it does not by the end
    ammonia_mg_kg : most free NH3-N in the pocket [mg per kg wet]; ammonia_chance : that it passes `ammonia_limit`
    """

    pocket_fall: Points
    lowest_pocket_ph: Points
    lowest_bulk_ph: Points
    end_bulk_ph: Points
    bulk_change: Points
    whole_change: Points
    hours_below: Points
    below_ph: float
    below_chance: float
    recovered_h: Points
    ammonia_mg_kg: Points
    ammonia_limit: float
    ammonia_chance: float


@dataclass(frozen=True, slots=True)
class Ledger:
    """Where everything is: (draws, 7) in mol, of base, ammonia, acetate, lactate, citrate, calcium, calcite.

    start : in the bedding; fed : in the scraps; made : acids from sugar, ammonia from decay
    pocket, bulk, scraps : where it is at the end; gone : eaten, escaped or, for base, turned to nitrate
    carbon (draws, 3) : of the scraps' own, still in them, made into acids, and gone as CO2
    """

    start: Array
    fed: Array
    made: Array
    pocket: Array
    bulk: Array
    scraps: Array
    gone: Array
    carbon: Array


@dataclass(frozen=True, slots=True)
class Course:
    """What happens after a feeding. Arrays (draws, steps) but for those noted.

    time_h (steps,) : ends of the steps; start_ph (draws,)
    pocket_ammonia, bulk_ammonia : free NH3-N [mg per kg wet bedding]
    pocket_calcite_mol, bulk_calcite_mol : grit left
    pocket_share (draws,) : of the bedding's dry mass
    ledger : mol by what is told, (draws,); see `Ledger`
    """

    time_h: Array
    start_ph: Array
    pocket_ph: Array
    bulk_ph: Array
    pocket_ammonia: Array
    bulk_ammonia: Array
    pocket_calcite_mol: Array
    bulk_calcite_mol: Array
    pocket_share: Array
    ledger: Ledger

    @property
    def whole_ph(self) -> Array:
        """Mean over all bedding by its dry mass: near what it would read mixed, as the bedding holds most protons."""
        share = self.pocket_share[:, None]
        return share * self.pocket_ph + (1 - share) * self.bulk_ph

    def summary(self, below_ph: float = TOLERATED_PH, ammonia_limit: float = AMMONIA_MG_KG) -> Summary:
        """What a keeper asks, with the range."""
        hours = np.diff(self.time_h, prepend=0.0)
        below = (self.pocket_ph < below_ph) @ hours
        most = self.pocket_ammonia.max(axis=1)
        return Summary(
            pocket_fall=points(self.start_ph - self.pocket_ph.min(axis=1)),
            lowest_pocket_ph=points(self.pocket_ph.min(axis=1)),
            lowest_bulk_ph=points(self.bulk_ph.min(axis=1)),
            end_bulk_ph=points(self.bulk_ph[:, -1]),
            bulk_change=points(_farthest(self.bulk_ph - self.start_ph[:, None])),
            whole_change=points(_farthest(self.whole_ph - self.start_ph[:, None])),
            hours_below=points(below),
            below_ph=below_ph,
            below_chance=float((below > 0).mean()),
            recovered_h=points(self.recovered_h()),
            ammonia_mg_kg=points(most),
            ammonia_limit=ammonia_limit,
            ammonia_chance=float((most > ammonia_limit).mean()),
        )

    def recovered_h(self, within_ph: float = RECOVERED_PH) -> Array:
        """Hours until the pocket stays within so much of the start, (draws,); infinity if it does not by the end."""
        away = np.abs(self.pocket_ph - self.start_ph[:, None]) > within_ph
        last = away.shape[1] - 1 - np.argmax(away[:, ::-1], axis=1)
        back = self.time_h[np.minimum(last + 1, away.shape[1] - 1)]
        return np.where(away[:, -1], np.inf, np.where(away.any(axis=1), back, 0.0))


def points(values: Array) -> Points:
    """5, 50 and 95 % points of draws, each one of them, so that infinity stays what it is."""
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95], method="nearest")
    return float(low), float(middle), float(high)


def _farthest(change: Array) -> Array:
    """The change that is largest either way, (draws,)."""
    at = np.abs(change).argmax(axis=1)
    return np.asarray(change[np.arange(at.size), at])
