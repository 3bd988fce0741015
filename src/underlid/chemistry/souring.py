"""Pocket and bulk, step by step in compiled code; `pocket` says what they are.

What is kept of each place are totals that no reaction of acids and bases changes: of each acid with its protons, of
ammonia, of calcium, and the charge of all strong ions (base). So an acid that is eaten takes its protons along, its
anion's charge stays as base, and pH rises by itself; ammonia set free is a base, and turning it into nitrate takes
away one base more. Elements and charge are conserved by construction; pH is solved for at the end of each step.

Water that moves carries what is in it, cations to balance its anions included; protons held by the bedding stay.
Bedding that is mixed carries all it holds.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.chemistry import balance

Array = NDArray[np.float64]

POCKET, BULK = 0, 1
BASE, AMMONIA, ACETATE, LACTATE, CITRATE, CALCIUM, CALCITE, HELD = 0, 1, 2, 3, 4, 5, 6, 7
FAMILY_OF = (0, 2, 4, 5, 6)  # of BASE (none) to CITRATE in `constants.FAMILIES`
NITRIFIES_PH = 6.0  # half as fast as above: judgement
SECONDS_PER_DAY = 86400.0


class Case(NamedTuple):
    """All that a draw is made of; (draws,) but for the last four.

    start : (draws, 2, HELD) what pocket and bulk hold [mol]
    scraps : (draws, HELD) what leaves the scraps [mol], carbon and nitrogen apart
    area : of grit [m2/mol]
    dry, water : [kg], (draws, 2)
    """

    start: Array
    scraps: Array
    area: Array
    dry: Array
    water: Array
    carbon: Array
    nitrogen: Array
    freed: Array  # share of the nitrogen that decay sets free
    decay: Array  # [1/day] at 20 degC
    ph: Array
    buffer: Array  # [mol/kg dry/pH]
    release: Array
    eaten: Array  # (draws, 3): acetate, lactate, citrate [1/day]
    slow_ph: Array
    soluble: Array
    fermented: Array
    lactic: Array
    nitrify: Array
    escape: Array
    by_water: Array
    by_mixing: Array
    co2: Array
    more_co2: Array
    salt: Array
    wetted: Array


class Hours(NamedTuple):
    """By step: its end [days] and temperature [degC] (steps,), how fast microbes work (draws, steps); of the solver."""

    days: Array
    chemical_c: Array
    activity: Array
    a: Array
    b: Array
    ln_henry: Array
    ln_calcite: Array
    calcite: Array  # (3, steps)


class Run(NamedTuple):
    """Answers: ph, ammonia [mol NH3/kg water], grit [mol], (2, draws, steps).

    end : (draws, 2, HELD) what they hold; left : (draws, HELD) what is still in the scraps [mol]
    gone : (draws, HELD) what left as CO2, as gas (ammonia) or, for base, to nitrate; made : acids from sugar and
        ammonia from decay, (draws, HELD)
    """

    ph: Array
    ammonia: Array
    grit: Array
    end: Array
    left: Array
    gone: Array
    made: Array
    carbon: Array  # (draws, 3): still in scraps, in acids made, as CO2 [mol], without the acids that are eaten
    verdict: NDArray[np.int64]


@nb.njit(cache=True, nogil=True, error_model="numpy")
def run(begun, end, rows, nh3, case, hours, out):  # type: ignore[no-untyped-def]
    """The draws from `begun` on through all steps."""
    for d in range(begun, end):
        _one(rows, nh3, case, hours, d, out)


@nb.njit(cache=True, error_model="numpy")
def _one(rows, nh3, case, hours, d, out):  # type: ignore[no-untyped-def]
    held, scraps = out.end[d], out.left[d]
    held[:] = case.start[d]
    scraps[:] = case.scraps[d]
    water, dry = case.water[d], case.dry[d]
    families = rows.first.size - 1
    waters = balance.Waters(
        np.zeros(2), np.zeros((2, families)), np.zeros((2, 4)), np.zeros(2), np.zeros(2), np.zeros(2), np.zeros(2),
        case.buffer[d] * dry / water, np.full(2, case.ph[d]),
    )  # fmt: skip
    solvent = balance.Solvent(np.zeros(2), np.zeros(2), np.zeros(2), np.zeros(2))
    found = balance.Found(
        np.zeros((rows.charge.size, 2)), np.full(2, case.ph[d]), np.zeros(2), np.full(2, -math.inf), np.zeros(2),
        np.zeros(2), np.zeros(2, np.int64),
    )  # fmt: skip
    work = balance._work(rows.charge.size, families)
    juice, solid = case.soluble[d], 1.0 - case.soluble[d]  # shares of the carbon still in the scraps
    acid_c = 0.0
    before = 0.0
    for step in range(hours.days.size):
        dt = hours.days[step] - before
        before = hours.days[step]
        live = hours.activity[d, step]
        _eat(case, found, held, water, nh3, out, d, live, dt / 2)  # half before what comes, half after: second order
        out_of = 1 - math.exp(-case.release[d] * live * dt)
        rotted = 1 - math.exp(-case.decay[d] * live * dt)
        for kind in (ACETATE, LACTATE, CITRATE):
            held[POCKET, kind] += scraps[kind] * out_of
            scraps[kind] -= scraps[kind] * out_of
        held[POCKET, BASE] += scraps[BASE] * rotted
        scraps[BASE] -= scraps[BASE] * rotted
        sour = case.carbon[d] * (juice * out_of + solid * rotted) * case.fermented[d]
        freed = case.nitrogen[d] * case.freed[d] * solid / (1 - case.soluble[d]) * rotted
        made = (freed, (1 - case.lactic[d]) * sour / 2, case.lactic[d] * sour / 3)
        for i, kind in enumerate((AMMONIA, ACETATE, LACTATE)):
            held[POCKET, kind] += made[i]
            out.made[d, kind] += made[i]
        acid_c += sour
        juice -= juice * out_of
        solid -= solid * rotted

        _eat(case, found, held, water, nh3, out, d, live, dt / 2)
        _exchange(case, waters, found, held, water, dry, d, dt)

        _fill(case, hours, waters, solvent, held, water, d, step, juice + solid)
        for place in range(2):
            if held[place, CALCITE] > 0:
                _dissolve(rows, case, hours, waters, solvent, found, work, held, water, d, step, dt, place)
            balance._one(rows, waters, solvent, place, work, found)
            if found.verdict[place] != balance.SETTLED and out.verdict[d] == balance.SETTLED:
                out.verdict[d] = found.verdict[place]
            out.ph[place, d, step] = found.ph[place]
            out.ammonia[place, d, step] = found.molality[nh3, place]
            out.grit[place, d, step] = held[place, CALCITE]
    out.carbon[d, 0] = case.carbon[d] * (juice + solid)
    out.carbon[d, 1] = acid_c
    out.carbon[d, 2] = case.carbon[d] * (1 - juice - solid) - acid_c


@nb.njit(cache=True, error_model="numpy")
def _eat(case, found, held, water, nh3, out, d, live, dt):  # type: ignore[no-untyped-def]
    """What microbes eat of the acids, and what becomes of ammonia, at the pH of the last step."""
    for place in range(2):
        ph = found.ph[place]
        able = live / (1 + 10 ** (case.slow_ph[d] - ph))
        for i in range(3):
            eaten = held[place, ACETATE + i] * (1 - math.exp(-case.eaten[d, i] * able * dt))
            held[place, ACETATE + i] -= eaten
            out.gone[d, ACETATE + i] += eaten
        all_nh3 = held[place, AMMONIA]
        as_gas = 0.0
        if all_nh3 > 0:
            as_gas = case.escape[d] * min(1.0, found.molality[nh3, place] * water[place] / all_nh3)
        to_nitrate = case.nitrify[d] * live / (1 + 10 ** (NITRIFIES_PH - ph))
        lost = all_nh3 * (1 - math.exp(-(as_gas + to_nitrate) * dt))
        held[place, AMMONIA] -= lost
        out.gone[d, AMMONIA] += lost
        if as_gas + to_nitrate > 0:
            nitrate = lost * to_nitrate / (as_gas + to_nitrate)
            held[place, BASE] -= nitrate
            out.gone[d, BASE] += nitrate


@nb.njit(cache=True, error_model="numpy")
def _exchange(case, waters, found, held, water, dry, d, dt):  # type: ignore[no-untyped-def]
    """Move water, then bedding, between the places: exact for two stirred vessels whose volumes stay."""
    pocket, bulk = water[POCKET], water[BULK]
    flow = pocket * bulk / (pocket + bulk) * (1 - math.exp(-case.by_water[d] * dt * (1 + pocket / bulk)))
    for kind in range(CALCITE):
        here, there = held[POCKET, kind] / pocket, held[BULK, kind] / bulk
        if kind == BASE:  # cations that protons have driven off the bedding are in the water, and the other way round
            here += waters.buffer[POCKET] * (case.ph[d] - found.ph[POCKET])
            there += waters.buffer[BULK] * (case.ph[d] - found.ph[BULK])
        moved = flow * (here - there)
        held[POCKET, kind] -= moved
        held[BULK, kind] += moved
    pocket, bulk = dry[POCKET], dry[BULK]
    flow = pocket * bulk / (pocket + bulk) * (1 - math.exp(-case.by_mixing[d] * dt * (1 + pocket / bulk)))
    for kind in range(HELD):
        moved = flow * (held[POCKET, kind] / pocket - held[BULK, kind] / bulk)
        held[POCKET, kind] -= moved
        held[BULK, kind] += moved


@nb.njit(cache=True, error_model="numpy")
def _fill(case, hours, waters, solvent, held, water, d, step, fresh):  # type: ignore[no-untyped-def]
    """Tell the solver what is in both waters."""
    for place in range(2):
        waters.temperature_c[place] = hours.chemical_c[step]
        solvent.a[place], solvent.b[place] = hours.a[step], hours.b[step]
        solvent.ln_henry[place], solvent.ln_calcite[place] = hours.ln_henry[step], hours.ln_calcite[step]
        for kind in (AMMONIA, ACETATE, LACTATE, CITRATE):
            waters.bases[place, FAMILY_OF[kind]] = held[place, kind] / water[place]
        waters.metals[place, balance.CALCIUM] = held[place, CALCIUM] / water[place]
        base = held[place, BASE] / water[place]
        waters.positive[place] = case.salt[d] + max(base, 0.0)
        waters.negative[place] = case.salt[d] + max(-base, 0.0)
        waters.calcite[place] = -1.0
    waters.gas_atm[BULK] = case.co2[d]
    waters.gas_atm[POCKET] = case.co2[d] + case.more_co2[d] * fresh * min(1.0, hours.activity[d, step])


@nb.njit(cache=True, error_model="numpy")
def _dissolve(rows, case, hours, waters, solvent, found, work, held, water, d, step, dt, place):  # type: ignore[no-untyped-def]
    """Grit that dissolves in a step: by its area, by how far the last step was from saturation, to that at most."""
    short = 1 - math.exp(min(found.ln_saturation[place], 0.0))
    if short <= 0:
        return
    co2 = math.exp(hours.ln_henry[step]) * waters.gas_atm[place]
    k = hours.calcite[:, step]
    rate = (k[0] * 10 ** -found.ph[place] + k[1] * co2 + k[2]) * short * case.wetted[d]  # [mol/m2/s]
    at_hand = held[place, CALCITE]
    # pieces are of many sizes, and the finest go first: area goes as what is left
    reach = at_hand * (1 - math.exp(-rate * case.area[d] * dt * SECONDS_PER_DAY))
    waters.calcite[place] = at_hand / water[place]
    balance._one(rows, waters, solvent, place, work, found)
    waters.calcite[place] = -1.0
    room = found.dissolved[place] * water[place]
    if room <= 0:
        return
    lost = min(room * (1 - math.exp(-reach / room)), at_hand)
    held[place, CALCITE] -= lost
    held[place, CALCIUM] += lost
    waters.metals[place, balance.CALCIUM] = held[place, CALCIUM] / water[place]
