"""All that a bin's readings of pH and EC tell: which readings count, the field they make, and what that means."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from underlid.chemistry.field import Field, Outside, Points, field, outside
from underlid.chemistry.readings import SCALES, Evidence, NoReading, Quantity, evidence, of_span
from underlid.records import Reading


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What a species tolerates and prefers [pH]: limits at 5, 50 and 95 % of what sources leave; who says so."""

    species: str
    low: Points
    high: Points
    best: tuple[float, float]
    source: str


@dataclass(frozen=True, slots=True)
class Account:
    """One quantity: the readings used, in order of time, and what they come to.

    unusable : a sentence for each reading that tells nothing
    outside : the chance that a part is outside what the species tolerates; None of EC, or of an unknown species
    """

    quantity: Quantity
    used: tuple[Evidence, ...]
    unusable: tuple[str, ...]
    field: Field
    tolerance: Tolerance | None
    outside: Outside | None


def accounts(
    bin: str,
    readings: Sequence[Reading],
    now: datetime,
    since: datetime | None,
    until: datetime | None,
    shares: Callable[[Collection[str]], Mapping[str, float]],
    tolerance: Tolerance | None,
) -> dict[Quantity, Account | None]:
    """The account of pH and of EC, each None where nothing was read.

    Parameters
    ----------
    since, until : the time asked about, see `of_span`
    shares : from the places that were read to the parts of the bedding and the share of each

    Raises
    ------
    NoReading : if there is neither
    """
    told: dict[Quantity, Account | None] = {}
    unusable: list[str] = []
    for quantity, scale in SCALES.items():
        used, refused = _usable(of_span(readings, quantity, now, since, until))
        unusable += refused
        told[quantity] = None
        if used:
            found = field(used, shares({one.place for one in used}), scale)
            limits = tolerance if quantity == "pH" else None
            chance = None if limits is None else outside(found, limits.low, limits.high)
            told[quantity] = Account(quantity, used, refused, found, limits, chance)
    if not any(told.values()):
        raise NoReading(
            " ".join([f"No pH or EC of bin {bin} is noted for that time, so nothing is known of either.", *unusable,
                      "Log one, as “middle pH 6.5 to 7 with a strip” or “EC 1.2 mS/cm”."])
        )  # fmt: skip
    return told


def _usable(readings: Sequence[Reading]) -> tuple[tuple[Evidence, ...], tuple[str, ...]]:
    used, refused = [], []
    for reading in readings:
        try:
            used.append(evidence(reading))
        except NoReading as error:
            refused.append(str(error))
    return tuple(used), tuple(refused)
