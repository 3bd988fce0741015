"""Where bins stand, told no more exactly than their keeper says, with an uncertainty that covers the whole cell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from underlid.records import Keeper

#: Radius of curvature of the WGS84 ellipsoid at its poles, a²/b [m]: no part of it is curved less. On a sphere of this
#: radius a distance between two geodetic positions is never shorter than on the ellipsoid.
LARGEST_RADIUS_M = 6_378_137.0**2 / 6_356_752.314245
#: What a reading of GPS is good for if nobody noted it: the example that Darwin Core (TDWG) gives with
#: coordinateUncertaintyInMeters.
GPS_M = 30.0
STEPS = {"0.01 degree": Decimal("0.01"), "0.1 degree": Decimal("0.1"), "1 degree": Decimal(1)}


@dataclass(frozen=True, slots=True)
class Place:
    """The middle of a cell of latitude and longitude, in which the bins stand.

    latitude, longitude : [degrees], WGS84, as decimal numbers with the digits that are told
    height, width : of the cell [degrees of latitude, degrees of longitude]
    uncertainty_m : radius around the middle that covers the cell, and what a position is good for [m]
    step : how it was made coarser, as the keeper chose it, such as "0.1 degree"; "" for as noted
    """

    latitude: Decimal
    longitude: Decimal
    height: Decimal
    width: Decimal
    uncertainty_m: int
    step: str = ""


def place_of(keeper: Keeper) -> Place | None:
    """The place of a keeper's bins as it may be told; None if it may not be, or was not noted.

    A place that was noted more coarsely than it may be told stays as coarse: the last digit noted sets its cell, for
    latitude and longitude each. Digits that are all zero are taken for not noted, so a cell is never too small.
    """
    if keeper.place == "not told" or keeper.latitude is None or keeper.longitude is None:
        return None
    step = STEPS.get(keeper.place, Decimal(0))
    latitude, height = _rounded(keeper.latitude, step)
    longitude, width = _rounded(keeper.longitude, step)
    if longitude == 180:
        longitude = -longitude  # one meridian with two names
    return Place(latitude, longitude, height, width, _radius_m(latitude, height, width), keeper.place if step else "")


def _rounded(degrees: float, step: Decimal) -> tuple[Decimal, Decimal]:
    """The middle of the cell that holds an angle, and the cell's size."""
    noted = Decimal(repr(degrees)).normalize()
    cell = max(step, Decimal(1).scaleb(min(int(noted.as_tuple().exponent), 0)))
    return noted.quantize(cell, ROUND_HALF_EVEN) + 0, cell  # never minus zero


def _radius_m(latitude: Decimal, height: Decimal, width: Decimal) -> int:
    """From the middle to the farthest corner of the cell by great circle, and what a position is good for [m]."""
    here, across = math.radians(latitude), math.radians(width / 2)
    farthest = 0.0
    for corner in (latitude - height / 2, latitude + height / 2):
        there = math.radians(max(min(corner, Decimal(90)), Decimal(-90)))
        haversine = (
            math.sin((there - here) / 2) ** 2 + math.cos(here) * math.cos(there) * math.sin(across / 2) ** 2
        )  # fmt: skip
        farthest = max(farthest, 2 * math.asin(math.sqrt(haversine)))
    return math.ceil(LARGEST_RADIUS_M * farthest + GPS_M)
