"""The parts of the bedding that samples stand for, and how many litres there are of it."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from underlid.bedding.vessel import EDGE_SHARE, SURFACE_SHARE, Vessel
from underlid.counting import CannotTell
from underlid.quantity.amount import VagueAmount
from underlid.records import Bin

SUNK = 2 / 3  # of the volume laid may be left after sinking, where nobody measured: our judgement
BY_EYE = 0.2  # each way, for a side or a depth that is not noted: our judgement
ANYWHERE = "not noted"


@dataclass(frozen=True, slots=True)
class Bedding:
    """What the samples are of.

    litres : volume of the bedding [L], bounded
    shares : part -> share of the volume, summing to 1; the parts' names are those of the samples' places
    """

    litres: VagueAmount
    shares: Mapping[str, float]

    def __post_init__(self) -> None:
        if not 0 < self.litres.low <= self.litres.high < math.inf:
            raise CannotTell(f"The bedding's volume, {self.litres.words!r}, has no bounds above 0; say about how much.")
        if not math.isclose(sum(self.shares.values()), 1.0, abs_tol=1e-6) or min(self.shares.values()) < 0:
            raise CannotTell("The shares of the parts of the bedding must be 0 at least and sum to 1.")


def shares(vessel: Vessel, places: Collection[str]) -> dict[str, float]:
    """Which parts the bedding falls into for samples of these places, and the share of each.

    Middle and edge always; the surface where it was sampled. Without any place noted the bedding is one part.
    """
    if not set(places) - {ANYWHERE}:
        return {ANYWHERE: 1.0}
    rim_m = min(vessel.length_m, vessel.width_m) / 2 * EDGE_SHARE
    core = (1 - 2 * rim_m / vessel.length_m) * (1 - 2 * rim_m / vessel.width_m)
    top = SURFACE_SHARE if "surface" in places else 0.0
    parts = {"middle": (1 - top) * core, "edge": (1 - top) * (1 - core)}
    return parts | {"surface": top} if top else parts


def bedding_litres(bin: Bin, vessel: Vessel) -> VagueAmount:
    """The bedding's volume [L] by the sides and depth noted, from what may be left after sinking to what was laid."""
    layers = [layer.depth for layer in bin.layers]
    noted = bool(layers) and all(depth.kind != "not noted" for depth in layers)
    sides = [_spread(bin.length.low, bin.length.high), _spread(bin.width.low, bin.width.high)]
    depth = _spread(sum(d.low for d in layers), sum(d.high for d in layers)) if noted else (1 - BY_EYE, 1 + BY_EYE)
    laid = 1000 * vessel.bedding_m3
    low, high = (laid * math.prod(spread[end] for spread in (*sides, depth)) for end in (0, 1))
    flags = () if noted else ("The bedding's depth is not noted, so its volume is a guess.",)
    return VagueAmount(SUNK * low, high, "L", "between", "the bedding as laid, less what it may have sunk", flags)


def _spread(low: float, high: float) -> tuple[float, float]:
    """The ends of an interval over its middle."""
    if not (0 < low <= high < math.inf):
        return 1 - BY_EYE, 1 + BY_EYE
    middle = (low + high) / 2
    return low / middle, high / middle
