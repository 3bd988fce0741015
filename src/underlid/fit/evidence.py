"""From records to arrays: what a bin's journal says about the heat and water of its bedding."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.materials import dry_density_kg_m3
from underlid.bedding.vessel import Vessel
from underlid.heat.grid import FOOD_PLACES, Probe
from underlid.heat.model import standard_probes
from underlid.quantity.amount import VagueAmount
from underlid.records import AnyEntry, Bin, Feeding, Measured, Reading
from underlid.weather.series import HOUR_S

LONGEST_WINDOW_H = 31 * 24 + 1  # a reading placed no better than a month says too little to use: our judgement
STRAY_MEMORY_H = 24.0  # how long a spot that strays from the model goes on doing so: our judgement
NARROWEST_K = 0.1  # no thermometer is read finer, whatever the words say: our judgement
NARROWEST_PCT = 1.0  # nobody judges moisture finer, whatever the words say: our judgement
EVERYWHERE = Probe(0.0, 0.0)  # stands for no point in particular
MOST_HOURS = 25  # a vague time is represented by at most this many hours, evenly spread
NAMED = 3  # entries named in a sentence about several
DEFAULT_MOISTURE = (0.55, 0.85)  # 90 % range where the keeper noted none: common practice, no source
DEFAULT_FILL = 0.7  # of the height, where no depth is noted: our judgement
DEFAULT_DRY_KG_M3 = 150.0  # loose leaves, card and manure: between the materials' values, our judgement
KG_PER_LITRE_FED = 0.5  # kitchen scraps measured by volume: common practice, no source


class NoNumber(ValueError):
    """An amount that the model needs is not noted."""


def middle_of(amount: VagueAmount) -> float:
    """One number for a size that hardly matters within its interval; an open side is ignored."""
    sides = [side for side in (amount.low, amount.high) if math.isfinite(side)]
    if not sides:
        raise NoNumber(f"{amount.words!r} gives no number where the bin needs one; note it roughly.")
    return sum(sides) / len(sides)


@dataclass(frozen=True, slots=True)
class Situation:
    """A bin as the heat model sees it.

    moisture : 90 % range of the water content, fraction of wet mass, as noted or by default
    """

    vessel: Vessel
    dry_kg_m3: float
    moisture: tuple[float, float]
    notes: tuple[str, ...]


def layer_depths(bin: Bin) -> tuple[list[float | None], float]:
    """Depth of each layer [m], None where it is not noted, and what such a layer counts as: the others' mean, or 1."""
    depths = [None if layer.depth.kind == "not noted" else middle_of(layer.depth) for layer in bin.layers]
    known = [depth for depth in depths if depth is not None]
    return depths, sum(known) / len(known) if known else 1.0


def situation(bin: Bin) -> Situation:
    """The bin's box, bedding density and moisture range, with a note for everything that was assumed."""
    notes = []
    height = middle_of(bin.height)
    depths, usual = layer_depths(bin)
    known = [depth for depth in depths if depth is not None]
    if bin.layers:
        laid = [(layer.material, depth or usual) for layer, depth in zip(bin.layers, depths, strict=True)]
        density = dry_density_kg_m3(laid)
    else:
        density = DEFAULT_DRY_KG_M3
        notes.append("No bedding is noted: a loose mix of leaves, card and manure is assumed.")
    if known:
        depth = sum(known) + usual * (len(depths) - len(known))
    else:
        depth = DEFAULT_FILL * height
        notes.append("The bedding's depth is not noted: seven tenths of the bin's height is assumed.")
    moist = [layer.moisture for layer in bin.layers if layer.moisture.kind != "not noted"]
    if moist:
        wettest, driest = 93.0, 12.0  # wetter is slurry, drier is dust: our judgement
        low, high = np.clip([min(m.low for m in moist), max(m.high for m in moist)], driest, wettest) / 100
        narrow = max(0.0, 0.04 - (high - low)) / 2  # nobody knows it better than to 2 % each way: our judgement
        moisture = (float(low - narrow), float(high + narrow))
    else:
        moisture = DEFAULT_MOISTURE
        notes.append("The bedding's moisture is not noted: 55 to 85 % is assumed.")
    vessel = Vessel(
        length_m=max(middle_of(bin.length), middle_of(bin.width)),
        width_m=min(middle_of(bin.length), middle_of(bin.width)),
        height_m=height,
        bedding_depth_m=depth,
        wall=bin.wall,
        wall_thickness_m=middle_of(bin.wall_thickness),
        siting=bin.siting,
        base=bin.base,
    )
    return Situation(vessel, density, moisture, tuple(notes))


@dataclass(frozen=True, slots=True)
class Evidence:
    """The readings of one quantity in one bin, laid on an hourly grid.

    low, high, about : (readings,) interval as noted [degC or % of wet mass], and whether it is an "about"
    reading, hour, probe, weight : (parts,) a reading is spread over the hours and points it may mean;
        the weights of each reading sum to 1 and its parts are consecutive
    worth : (readings,) how much each counts, 1 or less: readings of one spot soon after each other tell little
        more than one, as a spot that strays from the model goes on doing so
    probes : the points themselves
    used : the records behind the rows, in order
    left_out : sentences on readings that could not be used
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    about: NDArray[np.bool_]
    reading: NDArray[np.int64]
    hour: NDArray[np.int64]
    probe: NDArray[np.int64]
    weight: NDArray[np.float64]
    worth: NDArray[np.float64]
    probes: tuple[Probe, ...]
    used: tuple[Reading, ...]
    left_out: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.used)


def hours_needed(*rows: Evidence) -> int:
    """How many hours of the grid the readings reach into; 0 without any."""
    return max((int(one.hour.max()) + 1 for one in rows if len(one)), default=0)


def temperature_evidence(entries: Sequence[AnyEntry], vessel: Vessel, time_utc: NDArray[np.int64]) -> Evidence:
    """Readings of bedding temperature [degC] within the hours `time_utc` (seconds, hourly)."""
    return _evidence(entries, "temperature", NARROWEST_K, time_utc, lambda entry: _points(entry, vessel))


def moisture_evidence(entries: Sequence[AnyEntry], time_utc: NDArray[np.int64]) -> Evidence:
    """Readings of the bedding's moisture [% of wet mass]; wherever taken, they speak of the whole bedding."""
    return _evidence(entries, "moisture", NARROWEST_PCT, time_utc, lambda entry: [EVERYWHERE])


def _evidence(
    entries: Sequence[AnyEntry],
    quantity: Measured,
    narrowest: float,
    time_utc: NDArray[np.int64],
    points_of: Callable[[Reading], list[Probe]],
) -> Evidence:
    probes: list[Probe] = []
    rows: list[tuple[float, float, bool]] = []
    parts: list[tuple[int, int, int, float]] = []
    used: list[Reading] = []
    left_out: dict[str, list[AnyEntry]] = {}
    # In an order of their own, so that the same words give the same fit whatever ids the journal gave them.
    for entry in sorted(entries, key=lambda entry: (entry.when.start, entry.when.end, entry.words)):
        if not (isinstance(entry, Reading) and entry.quantity == quantity) or entry.amount.kind == "not noted":
            continue
        hours = hours_of(entry.when.start, entry.when.end, time_utc)
        if isinstance(hours, str):
            left_out.setdefault(hours, []).append(entry)
            continue
        points = [_known(probes, point) for point in points_of(entry)]
        share = 1.0 / (len(hours) * len(points))
        parts += [(len(used), int(hour), point, share) for hour in hours for point in points]
        low, high = entry.amount.low, entry.amount.high
        if high - low < narrowest:
            low, high = (low + high - narrowest) / 2, (low + high + narrowest) / 2
        rows.append((low, high, entry.amount.kind == "about"))
        used.append(entry)
    lows, highs, about = zip(*rows, strict=True) if rows else ((), (), ())
    reading, hour, probe, weight = zip(*parts, strict=True) if parts else ((), (), (), ())
    return Evidence(
        np.array(lows, float), np.array(highs, float), np.array(about, bool),
        np.array(reading, int), np.array(hour, int), np.array(probe, int), np.array(weight, float), worth(used),
        tuple(probes), tuple(used), _grouped(left_out, "left out"),
    )  # fmt: skip


def spot_of(reading: Reading) -> str:
    """What strays together: the bedding at one place or, as moisture speaks of the whole bedding, all of it."""
    return "the whole bedding" if reading.quantity == "moisture" else reading.place


def middle_s(reading: Reading) -> float:
    """The middle of the time a reading may mean [s]."""
    return (reading.when.start.timestamp() + reading.when.end.timestamp()) / 2


def worth(readings: Sequence[Reading]) -> NDArray[np.float64]:
    """How much each reading counts, (readings,): one over the sum of its correlations with those of its spot."""
    total = np.ones(len(readings))
    for spot in {spot_of(reading) for reading in readings}:
        mine = [i for i, reading in enumerate(readings) if spot_of(reading) == spot]
        middle = np.array([middle_s(readings[i]) for i in mine])
        order = np.argsort(middle, kind="stable")
        kept = np.exp(-np.diff(middle[order]) / (STRAY_MEMORY_H * HOUR_S))
        for indices, keeps in ((order, kept), (order[::-1], kept[::-1])):  # what came before, what came after
            before = 0.0
            for at, keep in zip(indices, [0.0, *keeps], strict=True):
                before = keep * (before + 1.0)
                total[mine[at]] += before
    return np.asarray(1.0 / total)


def hours_of(start: datetime, end: datetime, time_utc: NDArray[np.int64]) -> NDArray[np.int64] | str:
    """Indices of the hours a vague time may mean, at most MOST_HOURS of them, or why there are none.

    A time that reaches beyond the hours keeps the part inside them, half an hour of grace at the end.
    """
    first = round((start.timestamp() - time_utc[0]) / HOUR_S)
    last = max(first, round((end.timestamp() - time_utc[0]) / HOUR_S))
    if last - first > LONGEST_WINDOW_H:
        return "the time is known no better than a month"
    if last < 0 or first > len(time_utc):
        return "there is no weather for that time"
    first, last = (int(np.clip(hour, 0, len(time_utc) - 1)) for hour in (first, last))
    hours = last - first + 1
    if hours <= MOST_HOURS:
        return np.arange(first, last + 1)
    # One hour from each of equal parts, at a place that moves on by the golden ratio: never one hour of the day.
    part = np.arange(MOST_HOURS)
    return np.unique(first + ((part + part * 0.6180339887 % 1) * hours / MOST_HOURS).astype(int))


def food_kg(entries: Sequence[AnyEntry], time_utc: NDArray[np.int64]) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Food given in each hour at each of FOOD_PLACES [kg], (hours, 4), and sentences on what was assumed.

    A feeding at a vague time is spread evenly over it.
    """
    food = np.zeros((len(time_utc), len(FOOD_PLACES)))
    without: dict[str, list[AnyEntry]] = {}
    for entry in entries:
        if not isinstance(entry, Feeding) or entry.material == "water":
            continue
        given = _given_kg(entry, time_utc)
        if isinstance(given, str):
            without.setdefault(given, []).append(entry)
        else:
            food[given[0], FOOD_PLACES.index(entry.place)] += given[1]
    return food, _grouped(without, "without heat in the model")


def water_kg(entries: Sequence[AnyEntry], time_utc: NDArray[np.int64]) -> NDArray[np.float64]:
    """Water given in each hour [kg], (hours,)."""
    water = np.zeros(len(time_utc))
    for entry in entries:
        if isinstance(entry, Feeding) and entry.material == "water":
            given = _given_kg(entry, time_utc, kg_per_litre=1.0)
            if not isinstance(given, str):
                water[given[0]] += given[1]
    return water


def _given_kg(
    entry: Feeding, time_utc: NDArray[np.int64], kg_per_litre: float = KG_PER_LITRE_FED
) -> tuple[NDArray[np.int64], float] | str:
    """The hours a feeding may have been given in and the mass that falls on each [kg], or why it cannot be told."""
    hours = hours_of(entry.when.start, entry.when.end, time_utc)
    if isinstance(hours, str):
        return hours
    if entry.amount.kind == "not noted" or entry.amount.unit not in ("kg", "L"):
        return "the mass is not noted"
    return hours, middle_of(entry.amount) * (1.0 if entry.amount.unit == "kg" else kg_per_litre) / len(hours)


def _grouped(found: dict[str, list[AnyEntry]], what: str) -> tuple[str, ...]:
    """One sentence for each reason, with a few of the entries it holds for."""
    said = []
    for reason, entries in found.items():
        named = "; ".join(f"“{entry.words}” ({entry.when.start:%-d %b %Y})" for entry in entries[:NAMED])
        more = f" and {len(entries) - NAMED} more" if len(entries) > NAMED else ""
        said.append(f"{what.capitalize()}, as {reason}: {named}{more}.")
    return tuple(said)


def _points(entry: Reading, vessel: Vessel) -> list[Probe]:
    """The points a reading may mean: its place or, if not noted, middle and edge alike; its depth or half-way."""
    standard = standard_probes(vessel)
    places = ("middle", "edge") if entry.place == "not noted" else (entry.place,)
    if entry.depth is None or entry.depth.kind == "not noted":
        return [standard[place] for place in places]
    deepest = vessel.bedding_depth_m
    ends = [float(np.clip(side, 0.0, deepest)) for side in (entry.depth.low, entry.depth.high)]
    depths = ends if ends[1] - ends[0] > 0.02 else [sum(ends) / 2]
    return [Probe(standard[place].wall_m, depth) for place in places for depth in depths]


def _known(probes: list[Probe], point: Probe) -> int:
    if point not in probes:
        probes.append(point)
    return probes.index(point)
