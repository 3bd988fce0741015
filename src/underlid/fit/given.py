"""What was laid and fed in one bin, as lots that can be weighed: material, mass, volume, hour and place, drawn."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.materials import Material, UnknownMaterial, material
from underlid.bedding.mixing import SETTLED, drawn
from underlid.counting.found import quantile
from underlid.counting.parts import BY_EYE
from underlid.fit.evidence import hours_of, middle_of
from underlid.fit.feedbed import USUAL_BEDDING, amount_of, food_of
from underlid.fit.feeding import NoFood
from underlid.fit.study import Case
from underlid.quantity.amount import VagueAmount
from underlid.records import Feeding

Array = NDArray[np.float64]

WATER = "water"  # what a feeding of water is called


class Lot(NamedTuple):
    """Something laid or fed, (draws,) each.

    kg : as received; litres : as it lies, before it sinks; hour : of the case's grid; place : where it lies;
    laid : as bedding, or else fed
    """

    material: Material
    kg: Array
    litres: Array
    hour: NDArray[np.int64]
    place: str
    laid: bool


class Given(NamedTuple):
    """All lots of a bin: area (draws,) [m2] and depth (draws,) [m] of the bedding laid, what was assumed, and a
    sentence for each feeding that could not be weighed."""

    area_m2: Array
    depth_m: Array
    lots: tuple[Lot, ...]
    notes: tuple[str, ...]
    left_out: tuple[str, ...]

    @property
    def feedings(self) -> int:
        """How many feedings are in it."""
        return sum(not lot.laid for lot in self.lots)


def given(case: Case, draws: int, rng: np.random.Generator) -> Given:
    """What a case's records say was laid and fed up to now; water is no food.

    A material is as dense in one lot as in the next, whatever that density is.
    """
    bulk: dict[str, Array] = {}

    def kg_litre(kind: Material) -> Array:
        if kind.name not in bulk:
            bulk[kind.name] = drawn(kind.bulk_kg_m3, draws, rng) / 1000
        return bulk[kind.name]

    area_m2, layers, notes = _layers(case, draws, rng)
    hours = hours_of(case.bin.started.start, case.bin.started.end, case.time_utc)
    first = np.zeros(draws, np.int64) if isinstance(hours, str) else rng.choice(hours, draws)
    lots = []
    for kind, depth in layers:
        litres = 1000 * area_m2 * depth
        lots.append(Lot(kind, litres * kg_litre(kind), litres, first, "not noted", True))
    settled = drawn(SETTLED, draws, rng)
    left_out = []
    for entry in case.entries:
        if not isinstance(entry, Feeding) or entry.material == WATER:
            continue
        hours = hours_of(entry.when.start, entry.when.end, case.time_utc)
        try:
            food = food_of(entry)
            amount_of(entry, food)
        except (UnknownMaterial, NoFood) as reason:
            left_out.append(_left_out(entry, str(reason)))
            continue
        if isinstance(hours, str):
            left_out.append(_left_out(entry, f"{hours}."))
            continue
        size = rng.uniform(entry.amount.low, entry.amount.high, draws)
        kg = size * kg_litre(food) if entry.amount.unit == "L" else size
        lots.append(Lot(food, kg, kg / kg_litre(food) * settled, rng.choice(hours, draws), entry.place, False))
    depth_m = sum((depth for _, depth in layers), np.zeros(draws))
    return Given(area_m2, depth_m, tuple(lots), notes, tuple(left_out))


def _layers(
    case: Case, draws: int, rng: np.random.Generator
) -> tuple[Array, list[tuple[Material, Array]], tuple[str, ...]]:
    """Area [m2], materials with their depths [m], and what was assumed."""
    bin, whole_m = case.bin, case.situation.vessel.bedding_depth_m
    length, width = (_size(side, middle_of(side), draws, rng) for side in (bin.length, bin.width))
    known = [middle_of(layer.depth) for layer in bin.layers if layer.depth.kind != "not noted"]
    usual = sum(known) / len(known) if known else whole_m / max(1, len(bin.layers))
    notes = []
    if bin.layers:
        layers = [(material(layer.material), _size(layer.depth, usual, draws, rng)) for layer in bin.layers]
        if unknown := [layer.material for layer in bin.layers if layer.depth.kind == "not noted"]:
            notes.append(f"How deep {' and '.join(unknown)} lay is not noted: {100 * usual:.0f} cm each is assumed.")
    else:
        layers = [(material(name), _by_eye(whole_m / len(USUAL_BEDDING), draws, rng)) for name in USUAL_BEDDING]
        notes.append(f"No bedding is noted: equal parts of {', '.join(USUAL_BEDDING)} are assumed, a mere guess.")
    return length * width, layers, tuple(notes)


def _left_out(entry: Feeding, reason: str) -> str:
    return f"Left out, “{entry.words}” ({entry.when.start:%-d %b %Y}): {reason}"


def _size(noted: VagueAmount, otherwise: float, draws: int, rng: np.random.Generator) -> Array:
    """A side or a depth [m], (draws,)."""
    if noted.kind != "not noted" and 0 < noted.low <= noted.high < np.inf:
        return quantile(noted, rng.uniform(size=draws))
    return _by_eye(otherwise if noted.kind == "not noted" else middle_of(noted), draws, rng)


def _by_eye(middle: float, draws: int, rng: np.random.Generator) -> Array:
    return middle * rng.uniform(1 - BY_EYE, 1 + BY_EYE, draws)
