"""Compiled steps of several feedings in turn: `succession` says what they are, `souring` what a step does."""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from underlid.chemistry import balance, souring
from underlid.chemistry.souring import ACETATE, AMMONIA, BASE, BULK, CALCITE, CITRATE, HELD, LACTATE, POCKET

Array = NDArray[np.float64]
NOBODY = -1  # has been fed yet
NO_POCKET = 0.5  # of the bedding before it is fed, when both places are alike


class Meals(NamedTuple):
    """Feedings, (draws, feedings) each but for mol (draws, feedings, HELD); see `pocket.Scraps`.

    step : at whose beginning it is given; at or beyond the last it never is; below 0, before the run: then its scraps
        lie in the bulk
    juice, solid : shares of its carbon that are in them when it is given, or are still when the run begins
    """

    step: NDArray[np.int64]
    mol: Array
    calcite: Array
    water: Array
    carbon: Array
    nitrogen: Array
    freed: Array
    decay: Array
    dry: Array
    juice: Array
    solid: Array


class Bed(NamedTuple):
    """The bedding: mol it holds at first (draws, HELD), pH then, dry mass, water [kg], base it makes [mol/kg/day]."""

    start: Array
    ph: Array
    dry: Array
    water: Array
    own_base: Array


class Run(NamedTuple):
    """Answers: ph, ammonia [mol NH3/kg water] (2, draws, steps); share of the pocket (draws, steps).

    end : (draws, 2, HELD); juice, solid : as of `Meals`, at the end; left, made : (draws, feedings, HELD)
    own : (draws, HELD), base that the bedding made; gone : (draws, HELD)
    """

    ph: Array
    ammonia: Array
    share: Array
    end: Array
    left: Array
    juice: Array
    solid: Array
    made: Array
    own: Array
    gone: Array
    verdict: NDArray[np.int64]


@nb.njit(cache=True, nogil=True, error_model="numpy")
def run(begun, end, rows, nh3, case, bed, meals, hours, out):  # type: ignore[no-untyped-def]
    """The draws from `begun` on through all steps."""
    for d in range(begun, end):
        _one(rows, nh3, case, bed, meals, hours, d, out)


@nb.njit(cache=True, error_model="numpy")
def _one(rows, nh3, case, bed, meals, hours, d, out):  # type: ignore[no-untyped-def]
    held, scraps = out.end[d], out.left[d]
    water, dry = np.empty(2), np.empty(2)
    dry[:] = NO_POCKET * bed.dry[d], (1 - NO_POCKET) * bed.dry[d]
    water[:] = NO_POCKET * bed.water[d], (1 - NO_POCKET) * bed.water[d]
    held[POCKET], held[BULK] = NO_POCKET * bed.start[d], (1 - NO_POCKET) * bed.start[d]
    families, fed = rows.first.size - 1, meals.step.shape[1]
    waters = balance.Waters(
        np.zeros(2), np.zeros((2, families)), np.zeros((2, 4)), np.zeros(2), np.zeros(2), np.zeros(2), np.zeros(2),
        case.buffer[d] * dry / water, np.full(2, case.ph[d]),
    )  # fmt: skip
    solvent = balance.Solvent(np.zeros(2), np.zeros(2), np.zeros(2), np.zeros(2))
    found = balance.Found(
        np.zeros((rows.charge.size, 2)), np.full(2, bed.ph[d]), np.zeros(2), np.full(2, -math.inf), np.zeros(2),
        np.zeros(2), np.zeros(2, np.int64),
    )  # fmt: skip
    work = balance._work(rows.charge.size, families)
    juice, solid = out.juice[d], out.solid[d]  # shares of the carbon still in the scraps
    for meal in range(fed):
        scraps[meal] = meals.mol[d, meal]
        juice[meal], solid[meal] = meals.juice[d, meal], meals.solid[d, meal]
    latest = NOBODY
    before = 0.0
    for step in range(hours.days.size):
        for meal in range(fed):
            if meals.step[d, meal] == step:
                _open(case, bed, meals, waters, found, held, water, dry, d, meal)
                latest = meal
        dt = hours.days[step] - before
        before = hours.days[step]
        live = hours.activity[d, step]
        souring._eat(case, found, held, water, nh3, out, d, live, dt / 2)  # half before, half after: second order
        for place in range(2):
            held[place, BASE] += bed.own_base[d] * dry[place] * dt
        out.own[d, BASE] += bed.own_base[d] * (dry[POCKET] + dry[BULK]) * dt
        for meal in range(fed):
            if meals.step[d, meal] <= step:
                place = POCKET if meal == latest else BULK
                _release(case, meals, held[place], scraps[meal], juice, solid, out.made[d, meal], d, meal, live * dt)
        souring._eat(case, found, held, water, nh3, out, d, live, dt / 2)
        souring._exchange(case, waters, found, held, water, dry, d, dt)
        fresh = 0.0 if latest == NOBODY else juice[latest] + solid[latest]
        souring._fill(case, hours, waters, solvent, held, water, d, step, fresh)
        for place in range(2):
            if latest == NOBODY and place == BULK:
                _alike(held, found)
                break
            if held[place, CALCITE] > 0:
                souring._dissolve(
                    rows, case, hours, waters, solvent, found, work, held, water, d, step, dt, place
                )  # fmt: skip
            balance._one(rows, waters, solvent, place, work, found)
            if found.verdict[place] != balance.SETTLED and out.verdict[d] == balance.SETTLED:
                out.verdict[d] = found.verdict[place]
        for place in range(2):
            out.ph[place, d, step] = found.ph[place]
            out.ammonia[place, d, step] = found.molality[nh3, place]
        out.share[d, step] = dry[POCKET] / (dry[POCKET] + dry[BULK]) if latest != NOBODY else 0.0


@nb.njit(cache=True, error_model="numpy")
def _alike(held, found):  # type: ignore[no-untyped-def]
    """Where nothing is fed yet, the bulk is as the other half of the bedding."""
    held[BULK] = held[POCKET]
    found.molality[:, BULK] = found.molality[:, POCKET]
    found.ph[BULK], found.ln_saturation[BULK] = found.ph[POCKET], found.ln_saturation[POCKET]


@nb.njit(cache=True, error_model="numpy")
def _open(case, bed, meals, waters, found, held, water, dry, d, meal):  # type: ignore[no-untyped-def]
    """Stir the pocket before into the bulk, and open the next: bedding that touches the scraps, of that mixture."""
    whole = bed.dry[d]
    part = meals.dry[d, meal] / whole
    for kind in range(HELD):
        total = held[POCKET, kind] + held[BULK, kind]
        held[POCKET, kind] = part * total
        held[BULK, kind] = total - held[POCKET, kind]
    ph = (dry[POCKET] * found.ph[POCKET] + dry[BULK] * found.ph[BULK]) / whole  # the bedding holds most protons
    found.ph[POCKET] = found.ph[BULK] = ph
    dry[POCKET], dry[BULK] = part * whole, (1 - part) * whole
    water[POCKET], water[BULK] = part * bed.water[d] + meals.water[d, meal], (1 - part) * bed.water[d]
    held[POCKET, CALCITE] += meals.calcite[d, meal]
    for place in range(2):
        waters.buffer[place] = case.buffer[d] * dry[place] / water[place]


@nb.njit(cache=True, error_model="numpy")
def _release(case, meals, held, scraps, juice, solid, made, d, meal, worked):  # type: ignore[no-untyped-def]
    """What leaves the scraps of one feeding in a step, and what is made of it where they lie."""
    out_of = 1 - math.exp(-case.release[d] * worked)
    rotted = 1 - math.exp(-meals.decay[d, meal] * worked)
    for kind in (ACETATE, LACTATE, CITRATE):
        held[kind] += scraps[kind] * out_of
        scraps[kind] -= scraps[kind] * out_of
    held[BASE] += scraps[BASE] * rotted
    scraps[BASE] -= scraps[BASE] * rotted
    sour = meals.carbon[d, meal] * (juice[meal] * out_of + solid[meal] * rotted) * case.fermented[d]
    freed = meals.nitrogen[d, meal] * meals.freed[d, meal] * solid[meal] / (1 - case.soluble[d]) * rotted
    new = (freed, (1 - case.lactic[d]) * sour / 2, case.lactic[d] * sour / 3)
    for i, kind in enumerate((AMMONIA, ACETATE, LACTATE)):
        held[kind] += new[i]
        made[kind] += new[i]
    juice[meal] -= juice[meal] * out_of
    solid[meal] -= solid[meal] * rotted
