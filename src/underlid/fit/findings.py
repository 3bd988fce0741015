"""What is odd, missing or unusable in a bin's records: said in sentences, changed by nobody."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Literal

import numpy as np

from underlid.bedding.materials import UnknownMaterial, unknown_food
from underlid.bedding.vessel import ImpossibleVessel, UnknownWall
from underlid.entry import inside_l, looks_like, too_much
from underlid.fit.evidence import NoNumber, food_kg, situation, temperature_evidence
from underlid.quantity.show import show_amount, show_when
from underlid.records import AnyEntry, Bin, Feeding, Note, Reading
from underlid.weather.series import HOUR_S, Weather, gaps, lay_over
from underlid.worms.species import UnknownSpecies, species

QUIET_DAYS = 28  # without a temperature this long, the model runs on weather alone; our judgement
PLAUSIBLE_C = (-20.0, 45.0)  # a worm bin outside this is a slip or an emergency: common practice, no source
SAME_SPOT_K = 5.0  # two readings of one spot within an hour that differ more cannot both be right; our judgement
AIR_DIFFERENCE_K = 5.0  # keeper's air against the weather file; our judgement

UNUSABLE = (ImpossibleVessel, UnknownWall, UnknownMaterial, NoNumber)

Weight = Literal["mend", "look", "know"]


@dataclass(frozen=True, slots=True)
class Finding:
    """`weight`: mend (wrong until corrected), look (perhaps wrong), know (limits what can be said)."""

    weight: Weight
    entry: str | None
    sentence: str


def findings(
    bin: Bin, entries: Sequence[AnyEntry], now: datetime, weather: Weather | None = None
) -> tuple[Finding, ...]:
    """Everything worth telling the keeper about the records of one bin, gravest first."""
    found = [*_of_bin(bin), *_of_entries(entries), *_of_feedings(bin, entries), *_of_readings(bin, entries, now)]
    if weather is not None:
        found += _of_weather(bin, entries, now, weather)
    order = {"mend": 0, "look": 1, "know": 2}
    return tuple(sorted(found, key=lambda finding: order[finding.weight]))


def _of_bin(bin: Bin) -> list[Finding]:
    try:
        notes = situation(bin).notes
    except UNUSABLE as error:
        return [Finding("mend", None, str(error))]
    found = [Finding("know", None, note) for note in notes]
    try:
        species(bin.species)
    except UnknownSpecies as error:
        found.append(Finding("know", None, str(error)))
    return found


def _of_entries(entries: Sequence[AnyEntry]) -> list[Finding]:
    found = []
    seen: dict[tuple[object, ...], AnyEntry] = {}
    for entry in entries:
        same = (type(entry), entry.words, entry.when.start, entry.when.end)
        if same in seen:
            found.append(Finding("look", entry.id, f"{_cite(entry)}: the same words twice, perhaps entered twice."))
        seen[same] = entry
        if isinstance(entry, Note) and (hint := looks_like(entry.words)) is not None:
            sentence = f"{_cite(entry)}: kept as a note, but it looks like {hint.what}: “{hint.example}”, perhaps."
            found.append(Finding("look", entry.id, sentence))
        amounts = [amount for name in ("amount", "depth") if (amount := getattr(entry, name, None)) is not None]
        flags = [*entry.when.flags, *(flag for amount in amounts for flag in amount.flags)]
        found += [Finding("look", entry.id, f"{_cite(entry)}: {flag}") for flag in flags]
    return found


def _of_feedings(bin: Bin, entries: Sequence[AnyEntry]) -> list[Finding]:
    """Feedings that hardly fit into the bin, and foods of which nothing is known, each once."""
    found = []
    told = set()
    for entry in entries:
        if not isinstance(entry, Feeding):
            continue
        if doubt := too_much(entry.amount, inside_l(bin)):
            found.append(Finding("look", entry.id, f"{_cite(entry)}: {doubt}."))
        if entry.material not in told and entry.amount.high != 0 and (sentence := unknown_food(entry.material)):
            found.append(Finding("know", entry.id, f"{_cite(entry)}: {sentence}"))
        told.add(entry.material)
    return found


def _of_readings(bin: Bin, entries: Sequence[AnyEntry], now: datetime) -> list[Finding]:
    readings = [
        e for e in entries
        if isinstance(e, Reading) and e.quantity == "temperature" and e.amount.kind != "not noted"
    ]  # fmt: skip
    found = []
    for reading in readings:
        low, high = reading.amount.low, reading.amount.high
        if low > PLAUSIBLE_C[1] or high < PLAUSIBLE_C[0]:
            shown = show_amount(reading.amount)
            found.append(Finding("look", reading.id, f"{_cite(reading)}: bedding at {shown} is hardly possible."))
        if reading.place == "not noted":
            found.append(
                Finding("know", reading.id, f"{_cite(reading)}: the place is not noted, so it may be middle or edge.")
            )
    sharp = [r for r in readings if r.when.end - r.when.start <= timedelta(hours=1) and r.place != "not noted"]
    for a, b in pairwise(sorted(sharp, key=lambda r: (r.place, r.when.start))):
        apart = max(a.amount.low - b.amount.high, b.amount.low - a.amount.high)
        near = b.when.start - a.when.start < timedelta(hours=1)
        if a.place == b.place and a.depth == b.depth and near and math.isfinite(apart) and apart > SAME_SPOT_K:
            found.append(Finding("look", b.id, f"{_cite(b)} and {_cite(a)}: the same spot within an hour, far apart."))
    moments = [bin.started.end, *sorted(r.when.start for r in readings), now]
    for before, after in pairwise(moments):
        if after - before > timedelta(days=QUIET_DAYS):
            days = (after - before).days
            found.append(
                Finding(
                    "know",
                    None,
                    f"No bedding temperature for {days} days from {before:%-d %b %Y} to {after:%-d %b %Y}.",
                )
            )
    return found


def _of_weather(bin: Bin, entries: Sequence[AnyEntry], now: datetime, weather: Weather) -> list[Finding]:
    if now <= bin.started.start:
        return []
    if weather.typical:
        weather = lay_over(weather, bin.started.start, now + timedelta(hours=2))
    found = [Finding("know", None, note) for note in weather.notes]
    for gap in gaps(weather):
        found.append(
            Finding("look", None, f"The weather has a gap of {gap.hours} hours from {gap.start:%-d %b %Y %H:%M} UTC.")
        )
    if weather.filled.any():
        found.append(Finding("know", None, f"{int(weather.filled.sum())} hours of the weather are filled, not read."))
    try:
        vessel = situation(bin).vessel
    except UNUSABLE:
        return found  # said already, of the bin itself
    found += [Finding("know", None, text) for text in temperature_evidence(entries, vessel, weather.time_utc).left_out]
    found += [Finding("know", None, text) for text in food_kg(entries, weather.time_utc)[1]]
    for entry in entries:
        if not (isinstance(entry, Reading) and entry.quantity == "air temperature") or weather.typical:
            continue
        first = math.floor((entry.when.start.timestamp() - int(weather.time_utc[0])) / HOUR_S)
        last = math.ceil((entry.when.end.timestamp() - int(weather.time_utc[0])) / HOUR_S)
        if first < 0 or last >= len(weather.time_utc):
            continue
        air = weather.air_c[first : last + 1]
        if not np.isfinite(air).any():
            continue
        low, high = np.nanmin(air), np.nanmax(air)
        if entry.amount.low > high + AIR_DIFFERENCE_K or entry.amount.high < low - AIR_DIFFERENCE_K:
            file_says = f"the weather file has the air at {low:.0f} to {high:.0f} °C then"
            found.append(Finding("look", entry.id, f"{_cite(entry)}: {file_says}."))
    return found


def _cite(entry: AnyEntry) -> str:
    return f"“{entry.words}” ({show_when(entry.when)})"
