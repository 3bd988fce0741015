"""What has become of the bedding laid and the food given in one bin, and what a harvest would give, and when.

The journal tells what was laid and fed, a study how warm and moist the bedding is hour by hour; a census, if there is
one, what the worms have eaten. Every figure is drawn: materials, amounts, rates and the bedding's temperature together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from underlid.bedding.turnover import (
    Ledger,
    Ways,
    balance,
    best_days,
    casts_of,
    drawn_ways,
    lot_of,
    sunk_to,
    water_freed,
    watered,
)
from underlid.counting.parts import shares
from underlid.fit.census import Census
from underlid.fit.given import Lot, given
from underlid.fit.outlook import PLACES
from underlid.fit.reckoning import Points, Reached
from underlid.fit.study import Study
from underlid.fit.tally import DAY_H
from underlid.quantity.points import PERCENT, points, three
from underlid.weather.series import DAY_S
from underlid.worms.rates import eased

Array = NDArray[np.float64]

DRAWS = 300  # at least: of materials and rates, beside the bedding's own
NOTHING_KG = 1e-12  # stands under a share of nothing
RIPE = 0.7  # of what is to rot has rotted: most is turned and a harvest sieves well; our judgement

#: What every balance takes for granted.
RULES = (
    "How fast things rot, what they leave, how far bedding sinks and how much ammonia escapes are our judgement: wide.",
    "Worms and microbes rot it together: the loss is not told apart. What drains away, methane and the flesh of "
    "worms are left out.",
    "Nothing more is taken to be fed after now.",
    f"Ripe is when {100 * RIPE:.0f} % of what is to rot has: our judgement. A harvest is what is crumbly and dark; "
    "coarse and unrotted pieces stay in the sieve.",
)


@dataclass(frozen=True, slots=True)
class Row:
    """What has become of one material up to now, or of all; masses in kg, each 5, 50 and 95 %.

    laid, fed : as received; dry_given, dry_left : of it, dry matter; lost : share of that gone to the air
    carbon_gone : carbon that left, within co2; nitrogen_kept : share of the nitrogen still there
    water_freed : made as it was burnt, and no longer held by what is gone
    turned : share of the dry matter left that is crumbly and dark
    """

    name: str
    laid: Points
    fed: Points
    dry_given: Points
    dry_left: Points
    lost: Points
    carbon_gone: Points
    co2: Points
    water_freed: Points
    nitrogen_kept: Points
    turned: Points


class Castings(NamedTuple):
    """What a harvest gives, coarse and unrotted pieces sieved out: kg dry, kg wet, litres."""

    dry_kg: Points
    wet_kg: Points
    litres: Points


@dataclass(frozen=True, slots=True)
class Sheet:
    """The balance of one bin.

    time_utc : (days,) [s]; ripeness, castings_kg (3, days) : share of what is to rot that has, and dry mass of what is
    turned, at 5, 50 and 95 %; now : the present of these times
    best_days : days at the best temperature and moisture that the bedding has had; bedding_c : mean up to now [degC]
    litres_laid, litres_now, depth_laid_m, depth_now_m, sunk : of the bedding with all that was fed; sunk [share] is
    below 0 where food has made more of it than was lost
    water_added, water_let_go : water [kg] that must have come or left, beside what materials brought and oxidation made
    through_worms : casts up to now [kg dry], of dry matter eaten; None without a census
    ripe : the first day from now on when RIPE of what is to rot has; at_ripe : castings then, None if in no draw
    at_end : castings on the last day; feedings : how many are in it
    left_out : a sentence for each feeding that is not, so that all is a lower bound
    """

    rows: tuple[Row, ...]
    whole: Row
    time_utc: NDArray[np.int64]
    now: int
    ripeness: Array
    castings_kg: Array
    best_days: Points
    bedding_c: Points
    litres_laid: Points
    litres_now: Points
    depth_laid_m: Points
    depth_now_m: Points
    sunk: Points
    water_added: Points
    water_let_go: Points
    castings: Castings
    through_worms: Points | None
    ripe: Reached
    at_ripe: Castings | None
    at_end: Castings
    feedings: int
    left_out: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def lower_bound(self) -> bool:
        """Whether something given is not in it."""
        return bool(self.left_out)


def balance_sheet(study: Study, seed: int, found: Census | None = None) -> Sheet:
    """The balance of a studied bin, from its first day to the end of its outlook; nothing more is fed after now."""
    case = study.case
    rng = np.random.default_rng([seed, 6])
    have = len(study.outlook.moisture_draws)
    lives_in = np.arange(max(DRAWS, have)) % have if found is None else found.lives_in
    draws = len(lives_in)
    time = np.unique([*range(0, len(case.time_utc), DAY_H), case.now_index, len(case.time_utc) - 1])
    now = int(np.searchsorted(time, case.now_index))
    all_given, ways = given(case, draws, rng), drawn_ways(draws, rng)
    lots = all_given.lots
    warm, wet = _bedding_c(study), study.outlook.moisture_draws
    clocks = {place: best_days(bedding_c, wet)[lives_in, :-1] for place, bedding_c in warm.items()}
    moisture = wet[lives_in][:, time]

    ledgers, raw_litres = _course(lots, ways, clocks, time, rng)
    whole = _total(ledgers)
    through = None if found is None else _through_worms(study, found, whole, time, rng)
    turned = whole.turned if through is None else np.maximum(whole.turned, through)
    raw_litres *= (whole.dry_left - turned) / np.maximum(whole.unturned, NOTHING_KG)
    harvest = _Harvest(turned, moisture, ways.casts_kg_litre)
    litres = raw_litres[:, now] + harvest.litres(now)
    litres_laid = 1000 * all_given.area_m2 * all_given.depth_m
    water = watered(whole, moisture)
    at = case.time_utc[0] + time * (DAY_S // DAY_H)
    ripe = whole.ripeness[:, now:] >= RIPE
    ever, first = np.asarray(ripe.any(axis=1)), now + ripe.argmax(axis=1)
    return Sheet(
        rows=tuple(_row(name, told, moisture, now, _of(name, lots)) for name, told in ledgers.items()),
        whole=_row("in all", whole, moisture, now, lots),
        time_utc=at, now=now, ripeness=points(whole.ripeness), castings_kg=points(turned),
        best_days=three(clocks["not noted"][:, case.now_index]),
        bedding_c=three(warm["not noted"][:, : case.now_index + 1].mean(axis=1)),
        litres_laid=three(litres_laid), litres_now=three(litres), depth_laid_m=three(all_given.depth_m),
        depth_now_m=three(litres / 1000 / all_given.area_m2), sunk=three(1 - litres / litres_laid),
        water_added=three(water.added[:, now]), water_let_go=three(water.let_go[:, now]),
        castings=harvest.on(np.full(draws, now)), through_worms=None if through is None else three(through[:, now]),
        ripe=_reached(at[first[ever]], float(ever.mean())),
        at_ripe=harvest.on(first, ever) if ever.any() else None, at_end=harvest.on(np.full(draws, len(time) - 1)),
        feedings=all_given.feedings, left_out=all_given.left_out,
        notes=(*all_given.notes, *_unseen(study), *_crumbly(lots), *RULES),
    )  # fmt: skip


# --- inside ----------------------------------------------------------------------------------------------


class _Harvest(NamedTuple):
    """Castings over time: dry matter turned [kg] and moisture, (draws, times), and dry matter of a litre [kg]."""

    turned: Array
    moisture: Array
    kg_litre: Array

    def litres(self, state: int) -> Array:
        """Castings at one time (draws,)."""
        return np.asarray(self.turned[:, state] / self.kg_litre)

    def on(self, state: NDArray[np.int64], of: NDArray[np.bool_] | None = None) -> Castings:
        """Castings, each draw at a time of its own (draws,), over those draws that count."""
        chosen = np.flatnonzero(np.ones(len(state), bool) if of is None else of)
        dry, wet = self.turned[chosen, state[chosen]], self.moisture[chosen, state[chosen]]
        return Castings(three(dry), three(dry / (1 - wet)), three(dry / self.kg_litre[chosen]))


def _course(
    lots: Sequence[Lot], ways: Ways, clocks: dict[str, Array], time: NDArray[np.int64], rng: np.random.Generator
) -> tuple[dict[str, Ledger], Array]:
    """The ledger of each material, and litres of what is not turned (draws, times).

    clocks : days at best by place (draws, hours)
    """
    makeup = {one.material.name: lot_of(one.material, ways, rng) for one in lots}
    ledgers: dict[str, Ledger] = {}
    litres = np.zeros((len(ways.pace), len(time)))
    for one in lots:
        clock, hour, name = clocks[one.place], one.hour[:, None], one.material.name
        spent = clock[:, time] - np.take_along_axis(clock, hour, axis=1)
        told = balance(makeup[name], one.kg, spent, time >= hour)
        ledgers[name] = ledgers[name] + told if name in ledgers else told
        raw = told.unturned / np.maximum(told.dry_given, NOTHING_KG)
        litres += one.litres[:, None] * raw * sunk_to(ways.sinks_to[:, None], (time - hour) / DAY_H)
    return ledgers, litres


def _total(ledgers: Mapping[str, Ledger]) -> Ledger:
    first, *rest = ledgers.values()
    for other in rest:
        first = first + other
    return first


def _bedding_c(study: Study) -> dict[str, Array]:
    """Temperature by place (draws, hours) [degC]; where none is noted, that of the whole bedding."""
    by_place = study.outlook.draws_c
    parts = shares(study.case.situation.vessel, set(PLACES))
    return {**by_place, "not noted": sum((share * by_place[at] for at, share in parts.items()), np.zeros(()))}


def _through_worms(
    study: Study, found: Census, whole: Ledger, time: NDArray[np.int64], rng: np.random.Generator
) -> Array:
    """Dry casts in the bed (draws, times) [kg]."""
    days = DAY_H * np.arange(found.lives.kg.shape[1])
    eaten = np.array([np.interp(time, days, one) for one in found.lives.kg[:, :, 2]])
    fact = study.case.species.casts_of_eaten_share
    share = np.array([eased(fact, ease) for ease in rng.standard_normal(len(eaten))])
    return casts_of(eaten, share[:, None], whole.dry_left)


def _of(name: str, lots: Sequence[Lot]) -> tuple[Lot, ...]:
    return tuple(one for one in lots if one.material.name == name)


def _row(name: str, told: Ledger, moisture: Array, now: int, lots: Sequence[Lot]) -> Row:
    laid_kg, fed_kg = (
        sum((one.kg for one in lots if one.laid == as_bedding), np.zeros(len(moisture))) for as_bedding in (True, False)
    )
    given, left, nitrogen = (of[:, now] for of in (told.dry_given, told.dry_left, told.nitrogen_given))
    kept = np.where(nitrogen > 0, told.nitrogen_left[:, now] / np.maximum(nitrogen, NOTHING_KG), 1.0)
    return Row(
        name, three(laid_kg), three(fed_kg), three(given), three(left),
        three(told.dry_lost[:, now] / np.maximum(given, NOTHING_KG)),
        three(told.carbon_gone[:, now]), three(told.co2[:, now]), three(water_freed(told, moisture)[:, now]),
        three(kept), three(told.turned[:, now] / np.maximum(left, NOTHING_KG)),
    )  # fmt: skip


def _unseen(study: Study) -> tuple[str, ...]:
    """What rotted before the weather begins."""
    late_s = int(study.case.time_utc[0]) - study.case.bin.started.end.timestamp()
    if late_s < DAY_S:
        return ()
    return (f"The weather begins {late_s / DAY_S:.0f} days after the bin: what rotted before it is not counted.",)


def _crumbly(lots: Sequence[Lot]) -> tuple[str, ...]:
    """What counts as turned though no worm has been at it."""
    names = dict.fromkeys(one.material.name for one in lots if one.material.group == "rotted")
    if not names:
        return ()
    are = "was" if len(names) == 1 else "were"
    return (f"{' and '.join(names).capitalize()} {are} crumbly when given, so all of it counts as turned.",)


def _reached(time_utc: NDArray[np.int64], chance: float) -> Reached:
    if not len(time_utc):
        return Reached(0.0, None)
    early, usual, late = np.percentile(time_utc, PERCENT, method="nearest")
    return Reached(chance, (int(early), int(usual), int(late)))
