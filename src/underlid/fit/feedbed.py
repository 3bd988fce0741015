"""From a bin's records to what is asked before a feeding: its bedding, its worms, its temperature, the food's mass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from underlid.bedding.facts import Fact
from underlid.bedding.materials import Material, food, material
from underlid.fit.evidence import layer_depths, situation
from underlid.fit.feedharm import Amount
from underlid.fit.feeding import Bed, NoFood
from underlid.fit.findings import PLAUSIBLE_C
from underlid.fit.study import Study
from underlid.quantity import VagueAmount, show_amount
from underlid.quantity.points import three
from underlid.records import AnyEntry, Bin, Feeding, Reading

AHEAD_DAYS = 21  # that a feeding is looked at for
LATEST_DAYS = 14  # readings older than this say little of the weeks to come: our judgement
#: Bedding whose pH nobody read.
UNREAD_PH = Fact(7.0, 6.0, 8.0, "not read: what old bedding usually has, and one either way", "judgement")
#: Bedding of which nothing is noted.
USUAL_BEDDING = ("leaves", "cardboard", "old horse manure")
#: A worm of a handful of mixed ages [g].
WORM_G = Fact(0.33, 0.25, 0.5, "1 kg of mixed ages is 2,000 to 4,000 animals", "recalled")


class NoTemperature(ValueError):
    """Nothing says how warm the bedding is."""


class NotInReach(ValueError):
    """A pH, a temperature or an amount with an open end, or that cannot be."""


def food_of(feeding: Feeding) -> Material:
    """The material that the keeper's words name. Raises UnknownMaterial."""
    return food(feeding.material)


def amount_of(feeding: Feeding, food: Material) -> Amount:
    """The wet mass fed [kg]; a volume by the loose bulk density, as far as that is known.

    Raises NoFood where the words tell no mass or volume, or leave an end open.
    """
    said = feeding.amount
    if said.kind == "not noted" or said.unit not in ("kg", "L") or not 0 < said.low <= said.high < math.inf:
        raise NoFood(
            f"“{feeding.words}” tells no mass or volume of {food.name} with both ends; write g, kg, L or one of your "
            "containers, as “300 g lemon peel”."
        )
    if said.unit == "kg":
        return Amount(said.low, said.high)
    return Amount(said.low * food.bulk_kg_m3.low / 1000, said.high * food.bulk_kg_m3.high / 1000)


def bed_of(record: Bin, ph: VagueAmount | None) -> tuple[Bed, tuple[str, ...]]:
    """The bedding as it was laid, and what was taken for granted."""
    seen = situation(record)
    notes = list(seen.notes)
    depths, usual = layer_depths(record)
    layers = tuple(
        (material(layer.material), usual if depth is None else depth)
        for layer, depth in zip(record.layers, depths, strict=True)
    ) or tuple((material(name), 1.0) for name in USUAL_BEDDING)
    if ph is None:
        notes.append(
            f"No --ph is given: the bedding is taken as pH {UNREAD_PH.value:g}, {UNREAD_PH.low:g} to "
            f"{UNREAD_PH.high:g} (judgement)."
        )
        start = UNREAD_PH
    else:
        low, high = _ends(ph, "--ph", 0.0, 14.0)
        start = Fact((low + high) / 2, low, high, "read by the keeper", "measured")
    low, high = seen.moisture
    wet = Fact(50 * (low + high), 100 * low, 100 * high, "as noted of the bin, or by default", "judgement")
    litres = 1000 * seen.vessel.bedding_m3
    notes.append(f"The bedding is taken as laid, {litres:.0f} L; what has sunk since forgives less.")
    return Bed(layers, litres, start, wet), tuple(notes)


def live_of(record: Bin) -> tuple[tuple[float, float] | None, str]:
    """Live mass of the worms [kg], by the founders, and a sentence on it."""
    said = record.founders
    if said.kind == "not noted" or said.unit != "1" or not 0 < said.high < math.inf:
        return None, "How many worms live there is not noted, so nothing is said of their appetite."
    low, high = max(said.low, 1.0) * WORM_G.low / 1000, max(said.high, 1.0) * WORM_G.high / 1000
    return (low, high), (
        f"The worms are taken as the founders, {show_amount(said)}, {1000 * low:.2g} to {1000 * high:.2g} g live "
        f"({WORM_G.source}); they may have bred or died since."
    )


def bedding_c_of(
    said: VagueAmount | None, entries: Sequence[AnyEntry], now: datetime
) -> tuple[tuple[float, float], str]:
    """Temperature of the bedding [degC], low and high, and a sentence on where it is from.

    Raises NoTemperature if nothing is said and nothing was read within LATEST_DAYS.
    """
    if said is not None:
        return _ends(said, "--at", *PLAUSIBLE_C), f"The bedding is taken to stay at {show_amount(said)}, as you say."
    since = now - timedelta(days=LATEST_DAYS)
    read = [
        entry
        for entry in entries
        if isinstance(entry, Reading) and entry.quantity == "temperature" and since <= entry.when.start <= now
        and math.isfinite(entry.amount.low) and math.isfinite(entry.amount.high)
    ]  # fmt: skip
    if not read:
        raise NoTemperature(
            f"No bedding temperature of the last {LATEST_DAYS} days is in the journal; say how warm the bedding is "
            "with --at, as --at “10-12 C”."
        )
    low, high = min(entry.amount.low for entry in read), max(entry.amount.high for entry in read)
    whole = VagueAmount(low, high, "degC", "between", "readings")
    readings = "1 reading" if len(read) == 1 else f"{len(read)} readings"
    return (low, high), f"The bedding is taken to stay at {show_amount(whole)}, from {readings} of the last two weeks."


def fitted_c(study: Study) -> tuple[tuple[float, float], str]:
    """Mean temperature of the middle over the three weeks to come [degC], 5 and 95 %, and a sentence on it."""
    told = study.outlook
    ahead = slice(told.now_index, told.now_index + 24 * AHEAD_DAYS + 1)
    low, _, high = three(told.draws_c["middle"][:, ahead].mean(axis=1))
    whole = VagueAmount(round(low, 1), round(high, 1), "degC", "between", "outlook")
    days = (len(told.time_utc) - 1 - told.now_index) / 24
    short = "" if days >= AHEAD_DAYS - 1 else f", whose weather reaches {max(days, 0):.0f} days"
    return (
        low,
        high,
    ), f"The bedding's temperature is that of the fitted outlook{short}: {show_amount(whole)} on the mean."


def fitted_live(live_kg: tuple[float, float, float]) -> tuple[tuple[float, float] | None, str]:
    """Live mass of the worms [kg] by the fitted colony (5, 50 and 95 %), and a sentence on it."""
    low, middle, high = live_kg
    if high <= 0:
        return None, "By the fitted colony no worm lives there now, so nothing is said of their appetite."
    return (low, high), (
        f"The worms are those of the fitted colony, {1000 * low:.2g} to {1000 * high:.2g} g live ({1000 * middle:.2g})."
    )


def one_feeding(records: Sequence[AnyEntry], words: str) -> Feeding:
    """The only record there is, if it is a feeding. Raises NoFood."""
    if len(records) != 1 or not isinstance(records[0], Feeding):
        raise NoFood(f"“{words}” is not one feeding; write an amount and a material, as “300 g lemon peel”.")
    return records[0]


def _ends(said: VagueAmount, option: str, least: float, most: float) -> tuple[float, float]:
    if not least <= said.low <= said.high <= most:
        raise NotInReach(
            f"{option} “{said.words}” must have both ends, from {least:g} to {most:g}; write it as a range."
        )
    return said.low, said.high


def shown(feeding: Feeding, food: Material) -> str:
    """What is asked, for people: “300 g of lemon peel (citrus peel)”."""
    said, known = feeding.material.lower(), food.name
    return f"{show_amount(feeding.amount)} of {said}" + ("" if said == known else f" ({known})")


def weighed(kg: float) -> str:
    """A mass to be weighed out, for people."""
    return show_amount(VagueAmount(kg, kg, "kg", "exact", ""))
