"""A pocket of food and the bulk of the bedding over days: pH, free ammonia, grit, and how far the whole bin moves.

Worms meet a place, not an average. A handful of peel hardly moves a bin, but it may sour the bedding that touches it
for a while. So there are two stirred places, the pocket (that bedding, a few centimetres thick, and the juice) and the
bulk, which exchange water slowly and bedding more slowly still.

    >>> import numpy as np
    >>> bin = Bedding(dry_kg=3.0, water_kg=7.0, litres=20.0, ph=7.2, buffer_mol_kg_ph=0.31)
    >>> peel = Feed(kg=0.3, litres=0.8, water_kg=0.24, citrate_mol=0.006, base_mol=0.036, carbon_mol=2.0,
    ...             nitrogen_mol=0.043, decay_per_day=0.02)
    >>> told = course(bin, peel, draw_rates(40, np.random.default_rng(1)), 15.0, days=20)
    >>> summary = told.summary()
    >>> bool(summary.lowest_pocket_ph[1] < summary.lowest_bulk_ph[1] < 7.2)
    True

Left out: the inside of the scraps, which is as sour as they are; solids other than calcite, which dissolves here but
never forms; ammonium held by the bedding, so that ammonia is more likely overstated; water that dries or drains. The
bedding's own lime counts within its measured capacity, and is not dissolved apart.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.chemistry import balance, constants, souring, speciation
from underlid.chemistry.aftermath import Course, Ledger, Summary
from underlid.chemistry.rates import Rates, activity, calcite_area, calcite_constants, draw_rates
from underlid.chemistry.souring import ACETATE, AMMONIA, BASE, BULK, CALCITE, CALCIUM, CITRATE, HELD, LACTATE, POCKET
from underlid.chemistry.speciation import COLDEST_C, WARMEST_C, Buffer, ChargeError, Totals, equilibrium
from underlid.threads import deal

__all__ = ["Bedding", "Course", "Feed", "Ledger", "Summary", "base_of", "course", "draw_rates", "hours_to", "water_of"]

Array = NDArray[np.float64]

NITROGEN_G_MOL = 14.007
POCKET_AT_MOST = 0.5  # of the bedding; more is no pocket
UNBALANCED = "No pH balances what is in the pocket: there is far too much acid or base for the bedding."


class ImpossibleFeeding(ValueError):
    """An amount of bedding or food, a temperature or a time that cannot be."""


@dataclass(frozen=True, slots=True)
class Bedding:
    """What lies in the bin before the food; each a number or (draws,).

    litres : as it lies; ph : in thin water; buffer_mol_kg_ph : protons taken up [mol per kg dry and pH]
    calcite_mol : shell grit mixed through it; grain_m : size of its pieces, and of those that come with the food [m]
    """

    dry_kg: ArrayLike
    water_kg: ArrayLike
    litres: ArrayLike
    ph: ArrayLike
    buffer_mol_kg_ph: ArrayLike
    calcite_mol: ArrayLike = 0.0
    grain_m: ArrayLike = 1e-3


@dataclass(frozen=True, slots=True)
class Feed:
    """A feeding, each a number or (draws,); what it holds in all.

    kg, litres, water_kg : as it comes
    acetate_mol, lactate_mol, citrate_mol : free acids; other acids may be counted as citrate by their protons
    base_mol : charge of bases that decay leaves (ash alkalinity); below 0 it leaves acid
    carbon_mol, nitrogen_mol : organic; calcite_mol : shell grit that lies with it
    decay_per_day : of its solids, first order, at 25 degC
    heaps : places it is put in
    """

    kg: ArrayLike
    litres: ArrayLike
    water_kg: ArrayLike = 0.0
    acetate_mol: ArrayLike = 0.0
    lactate_mol: ArrayLike = 0.0
    citrate_mol: ArrayLike = 0.0
    base_mol: ArrayLike = 0.0
    carbon_mol: ArrayLike = 0.0
    nitrogen_mol: ArrayLike = 0.0
    calcite_mol: ArrayLike = 0.0
    decay_per_day: ArrayLike = 0.0
    heaps: ArrayLike = 1.0

    def times(self, factor: ArrayLike) -> Feed:
        """So many times as much, in as many heaps."""
        same = ("decay_per_day", "heaps")
        amounts = {f.name: np.multiply(getattr(self, f.name), factor) for f in fields(self) if f.name not in same}
        return replace(self, **amounts)


def hours_to(days: float) -> Array:
    """Ends of steps [h]: each hour for two days, then every three to ten days, then every six."""
    if not 0 < days <= 3660:
        raise ImpossibleFeeding(f"{days:g} days cannot be run; give more than 0 and at most 3660.")
    ends = np.concatenate([np.arange(1, 48), np.arange(48, 240, 3), np.arange(240, 24 * days + 6, 6)])
    return np.append(ends[ends < 24 * days], 24.0 * days)


def course(
    bedding: Bedding, feed: Feed, rates: Rates, bedding_c: ArrayLike, *, days: float = 60.0, time_h: Array | None = None
) -> Course:
    """Run a feeding forward, all draws in one compiled call.

    Parameters
    ----------
    bedding, feed, rates : numbers or (draws,)
    bedding_c : temperature of the bedding [degC], a number or one for each step
    days : to run; time_h : ends of the steps [h] instead, rising

    Raises
    ------
    ImpossibleFeeding, ChargeError : saying what cannot be
    """
    ends = hours_to(days) if time_h is None else np.asarray(time_h, dtype=float)
    if ends.ndim != 1 or ends.size == 0 or not np.all(np.diff(ends, prepend=0.0) > 0):
        raise ImpossibleFeeding("The ends of the steps must rise, from more than 0 hours.")
    warm = np.asarray(bedding_c, dtype=float)
    if warm.shape not in {(), ends.shape} or not np.all((warm > -40) & (warm <= WARMEST_C)):
        raise ImpossibleFeeding(
            f"The bedding's temperature must be one number or {ends.size}, from -40 to {WARMEST_C:g} degC."
        )
    warm = np.broadcast_to(warm, ends.shape)
    g = given(bedding, feed, rates)
    case = case_of(g, held_at_first(g, bedding, rates, max(float(warm[0]), COLDEST_C)), scraps_of(g))
    rows, names = rows_of()
    draws, steps = case.ph.size, ends.size
    hours = hours_of(ends, warm[None], rates, draws)
    ph, ammonia, grit = (np.empty((2, draws, steps)) for _ in range(3))
    end, left, gone, made = np.empty((draws, 2, HELD)), *(np.zeros((draws, HELD)) for _ in range(3))
    out = souring.Run(ph, ammonia, grit, end, left, gone, made, np.empty((draws, 3)), np.zeros(draws, np.int64))
    deal(souring.run, draws, rows, names.index("NH3"), case, hours, out)
    if np.any(out.verdict != balance.SETTLED):
        raise ChargeError(UNBALANCED)
    water, dry = case.water, case.dry
    to_mg = 1e3 * NITROGEN_G_MOL * water / (water + dry)
    return Course(
        time_h=ends, start_ph=case.ph, pocket_ph=ph[POCKET], bulk_ph=ph[BULK],
        pocket_ammonia=ammonia[POCKET] * to_mg[:, POCKET, None],
        bulk_ammonia=ammonia[BULK] * to_mg[:, BULK, None],
        pocket_calcite_mol=grit[POCKET], bulk_calcite_mol=grit[BULK],
        pocket_share=dry[:, POCKET] / dry.sum(axis=1),
        ledger=Ledger(case.start.sum(axis=1), case.scraps, made, end[:, POCKET], end[:, BULK], left, gone, out.carbon),
    )  # fmt: skip


# --- what the compiled steps need -------------------------------------------------------------------------------------


class Scraps(NamedTuple):
    """A feeding as the compiled steps take it: (draws,), but for mol (draws, HELD).

    mol : what leaves the scraps, carbon and nitrogen apart; calcite : grit that lies with it [mol]
    freed : share of the nitrogen that decay sets free; decay : [1/day] at 20 degC
    dry : of the bedding that touches it [kg]
    """

    mol: Array
    calcite: Array
    water: Array
    carbon: Array
    nitrogen: Array
    freed: Array
    decay: Array
    dry: Array


def given(bedding: Bedding, feed: Feed, rates: Rates) -> dict[str, Array]:
    """All that is known of bedding, food and constants, checked, as (draws,)."""
    values = {f.name: getattr(bedding, f.name) for f in fields(bedding)}
    values |= {f"feed_{f.name}": getattr(feed, f.name) for f in fields(feed)}
    values |= {f.name: getattr(rates, f.name) for f in fields(rates)}
    return _checked(values)


def scraps_of(g: dict[str, Array]) -> Scraps:
    """The feeding of what is `given`."""
    mol = np.zeros((g["ph"].size, HELD))
    for kind, name in ((BASE, "base"), (ACETATE, "acetate"), (LACTATE, "lactate"), (CITRATE, "citrate")):
        mol[:, kind] = g[f"feed_{name}_mol"]
    with np.errstate(divide="ignore", invalid="ignore"):
        cn = np.nan_to_num(g["feed_carbon_mol"] * 12.011 / (g["feed_nitrogen_mol"] * NITROGEN_G_MOL), nan=0.0)
    return Scraps(
        mol, g["feed_calcite_mol"], g["feed_water_kg"], g["feed_carbon_mol"], g["feed_nitrogen_mol"],
        np.clip(1 - cn / g["balanced_cn"], 0.0, 1.0), g["feed_decay_per_day"] / activity(25.0, g["q10"]),
        _pocket_dry(g),
    )  # fmt: skip


def held_at_first(g: dict[str, Array], bedding: Bedding, rates: Rates, first_c: float) -> Array:
    """What all of the bedding holds before it is fed [mol], (draws, HELD)."""
    start = np.zeros((g["ph"].size, HELD))
    base = base_of(bedding, rates, first_c)
    for kind, in_water in ((BASE, base), (AMMONIA, g["ammonia"]), (CALCIUM, g["calcium"])):
        start[:, kind] = g["water_kg"] * in_water
    start[:, CALCITE] = g["calcite_mol"]
    return start


def rows_of() -> tuple[balance.Rows, list[str]]:
    """The species that bedding water is made of here, and their names."""
    names = [row.name for row in constants.SPECIES if row.family != "phosphate" and row.metal in ("", "calcium")]
    return speciation._rows(tuple(names)), names


def case_of(g: dict[str, Array], start: Array, scraps: Scraps) -> souring.Case:
    """A feeding into bedding that holds `start` (draws, HELD)."""
    dry = np.stack([scraps.dry, g["dry_kg"] - scraps.dry], axis=1)
    water = dry * (g["water_kg"] / g["dry_kg"])[:, None]
    water[:, POCKET] += scraps.water
    by_place = (dry / g["dry_kg"][:, None])[:, :, None] * start[:, None, :]
    by_place[:, POCKET, CALCITE] += scraps.calcite
    return souring.Case(
        start=by_place, scraps=scraps.mol, area=calcite_area(g["grain_m"]), dry=dry, water=water,
        carbon=scraps.carbon, nitrogen=scraps.nitrogen, freed=scraps.freed, decay=scraps.decay,
        ph=g["ph"], buffer=g["buffer_mol_kg_ph"], release=g["release_per_day"],
        eaten=np.stack([g["acetate_per_day"], g["lactate_per_day"], g["citrate_per_day"]], axis=1),
        slow_ph=g["slow_ph"], soluble=g["soluble"], fermented=g["fermented"], lactic=g["lactic"],
        nitrify=g["nitrify_per_day"], escape=g["escape_per_day"], by_water=g["water_per_day"],
        by_mixing=g["mixing_per_day"], co2=g["co2_atm"], more_co2=g["more_co2_atm"], salt=g["salt"],
        wetted=g["wetted"],
    )  # fmt: skip


_ABOVE_ZERO = {"dry_kg", "water_kg", "litres", "feed_kg", "feed_litres", "grain_m", "shell_m", "co2_atm", "salt", "q10",
               "buffer_mol_kg_ph", "balanced_cn", "feed_heaps"}  # fmt: skip
_AT_MOST = {"ph": 10.0, "slow_ph": 14.0, "soluble": 0.99, "fermented": 1.0, "lactic": 1.0, "wetted": 1.0}


def _checked(given: dict[str, ArrayLike]) -> dict[str, Array]:
    """Everything as (draws,)."""
    arrays = {name: np.asarray(value, dtype=float) for name, value in given.items()}
    draws = max(array.size for array in arrays.values())
    for name, array in arrays.items():
        said = f"feed.{name.removeprefix('feed_')}" if name.startswith("feed_") else name
        if array.shape not in {(), (1,), (draws,)}:
            raise ImpossibleFeeding(f"{said} has shape {array.shape}; give one number, or one for each draw ({draws}).")
        least = -np.inf if name == "feed_base_mol" else 0.0
        most = _AT_MOST.get(name, np.inf)
        wrong = ~((array >= least) & (array <= most) & np.isfinite(array)) | ((name in _ABOVE_ZERO) & (array <= 0))
        if wrong.any():
            need = "more than 0" if name in _ABOVE_ZERO else "a number" if least < 0 else "0 or more"
            limit = f", at most {most:g}" if most < np.inf else ""
            raise ImpossibleFeeding(f"{said} is {array[wrong].flat[0]:g}; it must be {need}{limit}.")
    return {name: np.broadcast_to(array, draws).copy() for name, array in arrays.items()}


def _pocket_dry(g: dict[str, Array]) -> Array:
    """Dry mass of the bedding that touches the scraps [kg]: a shell about balls of them."""
    heap = g["feed_litres"] / 1e3 / g["feed_heaps"]
    radius = (3 * heap / (4 * np.pi)) ** (1 / 3)
    shell = 4 / 3 * np.pi * ((radius + g["shell_m"]) ** 3 - radius**3) * g["feed_heaps"]
    return np.asarray(g["dry_kg"] * np.minimum(shell / (g["litres"] / 1e3), POCKET_AT_MOST))


def water_of(rates: Rates, base: ArrayLike, thinner: ArrayLike = 1.0, **acids: ArrayLike) -> Totals:
    """The water of the bedding; `base` is the charge of its strong ions, salt aside [mol/kg water]."""
    salt = np.multiply(rates.salt, thinner)
    return Totals(
        sodium=salt + np.maximum(base, 0.0), strong_anions=salt + np.maximum(np.negative(base), 0.0),
        calcium=np.multiply(rates.calcium, thinner), ammonia=np.multiply(rates.ammonia, thinner), **acids,
    )  # fmt: skip


def base_of(bedding: Bedding, rates: Rates, bedding_c: float) -> Array:
    """Charge of strong ions, salt aside, with which bedding stands at its own pH [mol/kg water]."""
    base = np.asarray(0.0)
    stiff = Buffer(10.0, bedding.ph)
    for _ in range(8):
        found = equilibrium(water_of(rates, base), bedding_c, co2_atm=rates.co2_atm, buffer=stiff, pairs=False)
        missing = 10.0 * (np.asarray(bedding.ph) - found.ph)
        base = np.asarray(base + missing)
        if np.all(np.abs(missing) < 1e-9):
            break
    return base


def hours_of(ends: Array, warm: Array, rates: Rates, draws: int) -> souring.Hours:
    """The steps for the solver: `warm` (1 or draws, steps) [degC]; chemistry is at its mean, microbes at each."""
    chemical = np.clip(warm.mean(axis=0), COLDEST_C, WARMEST_C)
    a, b = constants.debye_hueckel(chemical)
    ln10 = np.log(10)
    q10 = np.broadcast_to(np.asarray(rates.q10, dtype=float).reshape(-1, 1), (draws, 1))
    return souring.Hours(
        ends / 24, chemical, np.ascontiguousarray(activity(warm, q10)), a, b,
        ln10 * constants.CO2_DISSOLVES.at(chemical), ln10 * constants.CALCITE.at(chemical),
        np.stack(calcite_constants(chemical)),
    )  # fmt: skip
