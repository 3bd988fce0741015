"""How the coldest bedding of a winter depends on the size of the bin.

Only one bin was fitted. The others are predicted: of the same proportions, bedding, wall and place, fed and watered as
much for each litre, with the same fitted factors, under the same air since the bin was started and on to the end of the
outlook.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.vessel import ImpossibleVessel
from underlid.fit.change import SMALLEST_L, litres_of, resize
from underlid.fit.fate import fate_of, run
from underlid.fit.outlook import PLACES
from underlid.fit.study import Case, Study
from underlid.quantity.points import points

Array = NDArray[np.float64]

SHOWN = ("middle", "edge")
SETTLING_H = 24  # hours after the start that still remember where it was begun from
LARGEST_L, MOST = 2000.0, 12  # the largest bin that the model is meant for, and how many sizes at once


class BadSizes(ValueError):
    """A size asked for is no size of a bin, or of none in the proportions of this one, or there are too many."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """The coldest hour against what the bin holds; predicted, but for the fitted bin's past.

    litres : (sizes,) to the rim, rising [L]; coldest_c : place -> (sizes, 3), 5, 50 and 95 % [degC]
    own_litres : of the fitted bin; own_c : place -> its 5, 50 and 95 %
    begin_utc, end_utc : the hours looked at [s]; tolerated_c : the cold end of the tolerated band [degC]
    """

    bin: str
    timezone: str
    litres: Array
    coldest_c: dict[str, Array]
    own_litres: float
    own_c: dict[str, Array]
    begin_utc: int
    end_utc: int
    tolerated_c: float
    notes: tuple[str, ...]


def proper(litres: Sequence[float]) -> list[float]:
    """The sizes in order, each once. Raises BadSizes."""
    asked = sorted(set(litres))
    wrong = [size for size in asked if not SMALLEST_L <= size <= LARGEST_L]
    if wrong:
        raise BadSizes(f"A bin of {wrong[0]:g} litres cannot be told; give {SMALLEST_L:g} to {LARGEST_L:g} litres.")
    if not 1 <= len(asked) <= MOST:
        raise BadSizes(f"{len(asked)} sizes were given; give 1 to {MOST}, e.g. --litres 10,20,40,80,160.")
    return asked


def scaled(case: Case, litres: float) -> Case:
    """The case in a bin of that size and its own proportions, fed and watered in proportion. Raises BadSizes."""
    vessel, drive = case.situation.vessel, case.drive
    more = litres / litres_of(vessel)
    scale = more ** (1 / 3)
    try:
        bigger = resize(case, vessel.length_m * scale, vessel.width_m * scale, vessel.height_m * scale).case
    except ImpossibleVessel as impossible:
        deep, long = (f"{100 * scale * side:.1f} cm" for side in (vessel.bedding_depth_m, vessel.length_m))
        told = f"thin, its bedding {deep} deep; give a bigger" if more < 1 else f"long, at {long}; give a smaller"
        raise BadSizes(
            f"A bin of {litres:g} litre{'' if litres == 1 else 's'} in these proportions would be too {told} size."
        ) from impossible
    water_kg = None if drive.water_kg is None else more * drive.water_kg
    return replace(bigger, drive=replace(drive, food_kg=more * drive.food_kg, water_kg=water_kg))


def sizes(study: Study, litres: Sequence[float], progress: Callable[[float], None] = lambda done: None) -> Sizes:
    """Every size through the same winter, for the same draws. Raises BadSizes."""
    asked, case = proper(litres), study.case
    own = litres_of(case.situation.vessel)
    bins = [scaled(case, size) for size in (own, *asked)]
    first = min(SETTLING_H, len(case.time_utc) - 2)
    lots = fate_of(case, study.posterior)
    thermal = case.prior.thermal(study.posterior.draws)

    def coldest(bin: Case) -> list[Array]:
        bedding = run(bin, thermal, lots, slice(0, len(case.time_utc)))
        minima = []
        for i, place in enumerate(PLACES):
            course = bedding.probes_c[:, first:, i] + lots.spots[place][:, first:]
            minima.append(points(course.min(axis=1)))
        return minima

    found = []
    for done, bin in enumerate(bins):
        found.append(coldest(bin))
        progress((done + 1) / len(bins))
    table = np.array(found)  # (1 + sizes, places, 3)
    return Sizes(
        case.bin.name, case.bin.timezone, np.array(asked), {place: table[1:, PLACES.index(place)] for place in SHOWN},
        own, {place: table[0, PLACES.index(place)] for place in SHOWN},
        int(case.time_utc[first]), int(case.time_utc[-1]), case.species.band_c[0],
        (
            f"Only the bin of {own:.0f} litres was fitted to readings. The other sizes are predicted from it: same "
            "proportions, bedding, wall and place, same fitted factors, same weather since its start.",
            "Every size is taken to be fed and watered in proportion to its litres.",
            "The edge is 3 cm in from the wall in every size; the middle is further from the walls in a bigger bin.",
        ),
    )  # fmt: skip
