"""Many waters solved side by side: Newton in pH, ionic strength and free metals at once, from one common start.

Each step is taken for `LANES` waters in the same instructions, which is what makes it quick. A water is settled when
its step is so short that the first order is all of it, and then stands still. Those that do not settle in a few steps,
and those with calcite, are solved one by one by `balance`, slowly and surely. A water's answer does not depend, to the
last bit, on those beside it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np

from underlid.chemistry import balance
from underlid.chemistry.balance import (
    ABSENT,
    CALCIUM,
    CARBON,
    FAST,
    HIGHEST,
    HIGHEST_PH,
    LEAN,
    LN10,
    LOWEST,
    METALS,
    MOST_STRONG,
    SETTLED,
    WATER,
    Array,
    Whole,
)  # fmt: skip
from underlid.threads import deal

LANES = 128  # waters in step; fewer spend more on asking whether arrays overlap
MOST_STEPS = 16  # most waters take seven
LONGEST = 4.0  # step of ln activity
SHORT = 3e-6  # step whose square is nothing
NOTHING = 1e-300  # keeps what is absent from 0 / 0
NONE = -1  # place of a metal that is not there
START_PH = 7.5
SHARE = 1 / 256  # of an exponential's argument; the eighth square of that share's exponential is the whole's
T3, T4, T5, T6, T7, T8, T9, T10 = (1 / math.factorial(n) for n in range(3, 11))


class _Side(NamedTuple):
    """Work arrays of waters side by side, (..., LANES).

    Unknowns are ln activity of each free metal there is, ionic strength, ln activity of protons. The last column of
    sums is their value, those before it their changes with the unknowns.
    """

    ln_k: Array  # (rows, ...)
    root: Array
    reach: Array
    slope: Array
    ln_gamma: Array
    d_gamma: Array  # its change with ionic strength
    m: Array  # molality
    base: Array  # (families, ...) total
    scale: Array  # activity of each family's base
    metal: Array  # (metals, ...) total
    law: Array  # (7, ...) what the coefficients of ln K are multiplied by; A and B of the law of activity
    positive: Array  # (...) as of `Waters`
    negative: Array
    buffer: Array
    around: Array
    ln_gas: Array  # (...) of dissolved CO2's activity
    mean: Array  # (unknowns + 1, ...) of a family
    sums: Array  # (metals + 3, unknowns + 1, ...): the metals', ionic strength, positive and negative charge
    system: Array  # (unknowns, unknowns + 1, ...): of Newton's step, and the step itself
    at: Array  # (unknowns, ...)
    settled: Array
    place: Whole  # (metals + 1,) of each metal among the unknowns, or NONE
    there: Whole  # (metals,) the metals among the unknowns


@nb.njit(cache=True, error_model="numpy")
def _side(rows, families):  # type: ignore[no-untyped-def]
    most = METALS + 2
    return _Side(
        np.empty((rows, LANES)), np.empty((rows, LANES)), np.empty((rows, LANES)), np.empty((rows, LANES)),
        np.empty((rows, LANES)), np.empty((rows, LANES)), np.empty((rows, LANES)), np.empty((families, LANES)),
        np.ones((families, LANES)), np.empty((METALS, LANES)), np.empty((7, LANES)), np.empty(LANES),
        np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty((most + 1, LANES)),
        np.empty((METALS + 3, most + 1, LANES)), np.empty((most, most + 1, LANES)), np.empty((most, LANES)),
        np.empty(LANES), np.empty(METALS + 1, np.int64), np.empty(METALS, np.int64),
    )  # fmt: skip


def settle(rows: balance.Rows, waters: balance.Waters, solvent: balance.Solvent, found: balance.Found) -> None:
    """Solve every state into `found`."""
    deal(_settle, math.ceil(waters.temperature_c.size / LANES), rows, waters, solvent, found)


@nb.njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def _settle(begun, end, rows, waters, solvent, found):  # type: ignore[no-untyped-def]
    """The lots from `begun` on, of `LANES` states each."""
    count = waters.temperature_c.size
    families = rows.first.size - 1
    side = _side(rows.charge.size, families)
    one = balance._work(rows.charge.size, families)
    for lot in range(begun, end):
        s = lot * LANES
        last = min(count, s + LANES)
        if _alike(waters, s, last):
            _together(rows, waters, solvent, s, last, side, found)
        else:
            _none_settled(side)
        for t in range(s, last):
            if side.settled[t - s] == 0:
                balance._one(rows, waters, solvent, t, one, found)


@nb.njit(**LEAN)
def _alike(waters, first, last):  # type: ignore[no-untyped-def]
    """Whether these are all closed, or all open, and none holds calcite."""
    for s in range(first, last):
        if waters.calcite[s] >= 0 or (waters.gas_atm[s] >= 0) != (waters.gas_atm[first] >= 0):
            return False
    return True


@nb.njit(**LEAN)
def _none_settled(side):  # type: ignore[no-untyped-def]
    for lane in range(LANES):
        side.settled[lane] = 0.0


@nb.njit(**LEAN, fastmath=FAST)
def _together(rows, waters, solvent, s, last, side, found):  # type: ignore[no-untyped-def]
    """Solve states from s on as far as they settle."""
    open_air = waters.gas_atm[s] >= 0
    count = _begin(rows, waters, solvent, s, last, open_air, side)
    for _ in range(MOST_STEPS):
        _activity(side, count)
        _sums(rows, open_air, count, side)
        _newton(count, side)
        if _step(count, side):
            break
    _finish(rows, open_air, count, side)
    _write(rows, solvent, s, last, count, side, found)


@nb.njit(**LEAN, fastmath=FAST)
def _begin(rows, waters, solvent, s, last, open_air, side):  # type: ignore[no-untyped-def]
    """What holds throughout, where the unknowns begin, and how many metals are among them."""
    size, families = rows.charge.size, rows.first.size - 1
    for metal in range(METALS + 1):
        side.place[metal] = NONE
    for i in range(size):
        side.place[rows.metal[i]] = 0
    count = 0
    for metal in range(METALS):
        if side.place[metal] == 0:
            side.place[metal] = count
            side.there[count] = metal
            count += 1
    side.place[METALS] = NONE
    law = side.law
    for lane in range(LANES):
        t = min(s + lane, last - 1)  # idle lanes repeat the last water
        kelvin = waters.temperature_c[t] + 273.15
        inverse = 1 / kelvin
        law[0, lane], law[1, lane], law[2, lane], law[3, lane] = kelvin, inverse, math.log10(kelvin), inverse * inverse
        law[4, lane], law[5, lane] = -LN10 * solvent.a[t], solvent.b[t]
        side.positive[lane], side.negative[lane] = waters.positive[t], waters.negative[t]
        side.buffer[lane], side.around[lane] = waters.buffer[t], waters.around[t]
        for family in range(families):
            side.base[family, lane] = waters.bases[t, family]
        for metal in range(METALS):
            side.metal[metal, lane] = waters.metals[t, metal]
        for p in range(count):
            total = waters.metals[t, side.there[p]]
            side.at[p, lane] = math.log(total) if total > 0 else ABSENT
        side.at[count, lane] = balance._first_strength(waters, t)
        side.at[count + 1, lane] = -LN10 * START_PH
        if open_air:
            side.ln_gas[lane] = solvent.ln_henry[t] + math.log(waters.gas_atm[t])
    for i in range(size):
        k, square, davies = rows.laws[i], rows.charge[i] ** 2, rows.size[i] < 0
        k0, k1, k2, k3, k4 = k[0], k[1], k[2], k[3], k[4]
        reach, level = 0.0 if davies else rows.size[i], 1.0 if davies else 0.0
        bend, slope = -0.3 * square if davies else 0.0, 0.0 if davies else LN10 * rows.slope[i]
        for lane in range(LANES):
            side.ln_k[i, lane] = k0 + k1 * law[0, lane] + k2 * law[1, lane] + k3 * law[2, lane] + k4 * law[3, lane]
            side.root[i, lane] = square * law[4, lane]
            side.reach[i, lane] = level + reach * law[5, lane]
            side.slope[i, lane] = slope + bend * law[4, lane]
    return count


@nb.njit(**LEAN, fastmath=FAST)
def _activity(side, count):  # type: ignore[no-untyped-def]
    for i in range(side.m.shape[0]):
        for lane in range(LANES):
            strength = side.at[count, lane]
            held = min(strength, MOST_STRONG)
            root = math.sqrt(held)
            near = 1 / (1 + side.reach[i, lane] * root)
            bend, slope = side.root[i, lane] * near, side.slope[i, lane]
            side.ln_gamma[i, lane] = bend * root + slope * held
            moves = bend * near * 0.5 / root + slope
            side.d_gamma[i, lane] = moves if strength < MOST_STRONG else 0.0


@nb.njit(**LEAN, fastmath=FAST, inline="always")
def _exp(y):  # type: ignore[no-untyped-def]
    """exp(y) to 1e-12 for |y| < 60, without a call, so that it is done for many at once."""
    y = y * SHARE
    whole = T10
    whole = whole * y + T9
    whole = whole * y + T8
    whole = whole * y + T7
    whole = whole * y + T6
    whole = whole * y + T5
    whole = whole * y + T4
    whole = whole * y + T3
    whole = whole * y + 0.5
    whole = whole * y + 1.0
    whole = whole * y + 1.0
    whole = whole * whole
    whole = whole * whole
    whole = whole * whole
    whole = whole * whole
    whole = whole * whole
    whole = whole * whole
    whole = whole * whole
    return whole * whole


@nb.njit(**LEAN, fastmath=FAST, inline="always")
def _log(y):  # type: ignore[no-untyped-def]
    """ln(y) where y is near 1, to the fourth order; at most 3 however large, which spares Newton's step its leaps."""
    return 3 * (y - 1) * (y + 1) / (y * y + 4 * y + 1)


@nb.njit(**LEAN, fastmath=FAST, inline="always")
def _bedding(side, x, lane, plus, minus, strength):  # type: ignore[no-untyped-def]
    """Charges and ionic strength of what is no species."""
    # bedding is counted from a pH above all others, so that neither side changes its form where the take-up is none
    buffer = side.buffer[lane]
    plus[lane] = side.positive[lane] + buffer * (HIGHEST_PH + side.at[x, lane] / LN10)
    minus[lane] = side.negative[lane] + buffer * (HIGHEST_PH - side.around[lane])
    strength[lane] = 0.5 * (side.positive[lane] + side.negative[lane])


@nb.njit(**LEAN, fastmath=FAST)
def _sums(rows, open_air, count, side):  # type: ignore[no-untyped-def]
    """Molalities of all rows; the metals' totals, ionic strength and charges, and how each changes."""
    first, protons, charges = rows.first, rows.protons, rows.charge
    strength, x, value = count, count + 1, count + 2
    at, m, d_gamma, ln_k, ln_gamma, mean, sums = (
        side.at, side.m, side.d_gamma, side.ln_k, side.ln_gamma, side.mean, side.sums,
    )  # fmt: skip
    for p in range(count + 3):
        for u in range(value + 1):
            for lane in range(LANES):
                sums[p, u, lane] = 0.0
    for lane in range(LANES):
        _bedding(side, x, lane, sums[count + 1, value], sums[count + 2, value], sums[count, value])
    for family in range(first.size - 1):
        begin, end = first[family], first[family + 1]
        if begin == end:
            continue
        gas = family == CARBON and open_air
        shared = family != WATER and not gas
        for u in range(value + 1):
            for lane in range(LANES):
                mean[u, lane] = 0.0
        ln_base = side.scale[family]
        for lane in range(LANES):
            ln_base[lane] = 0.0
        if gas:  # the activity of CO3-2 over that of CO2, which the gas sets
            for lane in range(LANES):
                ln_base[lane] = side.ln_gas[lane] - ln_k[begin + 2, lane] - 2 * at[x, lane]
                mean[x, lane] = 2.0
        for i in range(begin, end):
            proton = protons[i]
            for lane in range(LANES):
                m[i, lane] = ln_k[i, lane] + proton * at[x, lane] - ln_gamma[i, lane] + ln_base[lane]
            metal = side.place[rows.metal[i]]
            if metal != NONE:
                for lane in range(LANES):
                    m[i, lane] += at[metal, lane]
            for lane in range(LANES):
                m[i, lane] = _exp(m[i, lane])
        for lane in range(LANES):
            ln_base[lane] = _exp(ln_base[lane])
        if shared:
            for i in range(begin, end):
                metal, proton = side.place[rows.metal[i]], protons[i]
                for lane in range(LANES):
                    mean[value, lane] += m[i, lane]
                    mean[strength, lane] -= m[i, lane] * d_gamma[i, lane]
                    mean[x, lane] += m[i, lane] * proton
                if metal != NONE:
                    for lane in range(LANES):
                        mean[metal, lane] += m[i, lane]
            for lane in range(LANES):
                ln_base[lane] = side.base[family, lane] / mean[value, lane]
            for u in range(value):
                for lane in range(LANES):
                    mean[u, lane] /= mean[value, lane]
            for lane in range(LANES):
                mean[value, lane] = 0.0
            for i in range(begin, end):
                for lane in range(LANES):
                    m[i, lane] *= ln_base[lane]
        for i in range(begin, end):
            metal = side.place[rows.metal[i]]
            z = charges[i]
            square, sign, pole = 0.5 * z * z, abs(z), count + 1 if z > 0 else count + 2
            for u in range(value + 1):
                fixed = 1.0 if u in (value, metal) else protons[i] if u == x else 0.0
                by_gamma = 1.0 if u == strength else 0.0
                if z != 0:
                    for lane in range(LANES):
                        change = m[i, lane] * (fixed - by_gamma * d_gamma[i, lane] - mean[u, lane])
                        sums[count, u, lane] += square * change
                        sums[pole, u, lane] += sign * change
                if metal != NONE:
                    for lane in range(LANES):
                        sums[metal, u, lane] += m[i, lane] * (fixed - by_gamma * d_gamma[i, lane] - mean[u, lane])


@nb.njit(**LEAN, fastmath=FAST)
def _newton(count, side):  # type: ignore[no-untyped-def]
    """Newton's step of all unknowns, into the last column of the system: what is off, solved by elimination."""
    strength, x, value = count, count + 1, count + 2
    sums, system, at = side.sums, side.system, side.at
    plus, minus = count + 1, count + 2
    per_plus, per_minus = side.mean[0], side.mean[1]
    for lane in range(LANES):
        sums[plus, x, lane] += side.buffer[lane] / LN10
    for lane in range(LANES):
        per_plus[lane], per_minus[lane] = 1 / sums[plus, value, lane], 1 / sums[minus, value, lane]
        system[x, value, lane] = _log(sums[plus, value, lane] * per_minus[lane])
    for u in range(value):
        for lane in range(LANES):
            system[strength, u, lane] = sums[strength, u, lane]
            system[x, u, lane] = sums[plus, u, lane] * per_plus[lane] - sums[minus, u, lane] * per_minus[lane]
    for lane in range(LANES):
        system[strength, strength, lane] -= 1.0
        system[strength, value, lane] = sums[strength, value, lane] - at[strength, lane]
    for p in range(count):
        metal = side.there[p]
        for lane in range(LANES):
            total, whole = side.metal[metal, lane], sums[p, value, lane]
            per_plus[lane] = 1 / whole if total > 0 else 0.0
            system[p, value, lane] = _log(whole / total) if total > 0 else 0.0
        for u in range(value):
            for lane in range(LANES):
                system[p, u, lane] = sums[p, u, lane] * per_plus[lane]
        for lane in range(LANES):
            system[p, p, lane] += 0.0 if side.metal[metal, lane] > 0 else 1.0
    for p in range(value):
        for lane in range(LANES):
            per_plus[lane] = 1 / system[p, p, lane]
        for r in range(p + 1, value + 1):
            for lane in range(LANES):
                system[p, r, lane] *= per_plus[lane]
        for q in range(p + 1, value):
            for r in range(p + 1, value + 1):
                for lane in range(LANES):
                    system[q, r, lane] -= system[q, p, lane] * system[p, r, lane]
    for p in range(value - 2, -1, -1):
        for q in range(p + 1, value):
            for lane in range(LANES):
                system[p, value, lane] -= system[p, q, lane] * system[q, value, lane]


@nb.njit(**LEAN, fastmath=FAST)
def _step(count, side):  # type: ignore[no-untyped-def]
    """Move the waters that have not settled; whether all have. Those that settle keep the last, short step undone."""
    strength, value = count, count + 2
    at, system, settled, longest = side.at, side.system, side.settled, side.mean[0]
    for lane in range(LANES):
        longest[lane] = abs(system[strength, value, lane]) / at[strength, lane]
    for u in range(value):
        if u != strength:
            for lane in range(LANES):
                longest[lane] = max(longest[lane], abs(system[u, value, lane]))
    for lane in range(LANES):
        settled[lane] = 1.0 if longest[lane] < SHORT else 0.0
    for u in range(value):
        for lane in range(LANES):
            most = 0.7 * at[u, lane] if u == strength else LONGEST
            least = -2 * at[u, lane] if u == strength else -LONGEST
            step = min(max(system[u, value, lane], least), most)
            at[u, lane] -= 0.0 if settled[lane] > 0 else step
    moving = 0.0
    for lane in range(LANES):
        moving += 1.0 - settled[lane]
    return moving == 0.0


@nb.njit(**LEAN, fastmath=FAST)
def _finish(rows, open_air, count, side):  # type: ignore[no-untyped-def]
    """Take the last step, of which only the first order counts: elements are kept by it as they stand."""
    first, protons, charges = rows.first, rows.protons, rows.charge
    strength, x, value = count, count + 1, count + 2
    at, m, d_gamma, system = side.at, side.m, side.d_gamma, side.system
    drift, whole, change = side.mean[0], side.mean[1], side.ln_gamma
    plus, minus, squares = side.sums[count + 1, value], side.sums[count + 2, value], side.sums[strength, value]
    for u in range(value):
        for lane in range(LANES):
            at[u, lane] -= system[u, value, lane]
    for lane in range(LANES):
        _bedding(side, x, lane, plus, minus, squares)
    for family in range(first.size - 1):
        for lane in range(LANES):
            drift[lane], whole[lane] = 0.0, 0.0
        for i in range(first[family], first[family + 1]):
            metal = side.place[rows.metal[i]]
            for lane in range(LANES):
                change[i, lane] = d_gamma[i, lane] * system[strength, value, lane] - protons[i] * system[x, value, lane]
            if metal != NONE:
                for lane in range(LANES):
                    change[i, lane] -= system[metal, value, lane]
            for lane in range(LANES):
                drift[lane] -= m[i, lane] * change[i, lane]
                whole[lane] += m[i, lane]
        for lane in range(LANES):
            if family == WATER:
                drift[lane] = 0.0
            elif family == CARBON and open_air:
                drift[lane] = 2 * system[x, value, lane]
            else:
                drift[lane] /= whole[lane] + NOTHING
            side.scale[family, lane] *= 1 + drift[lane]
        for i in range(first[family], first[family + 1]):
            square, pole, sign = 0.5 * charges[i] ** 2, plus if charges[i] > 0 else minus, abs(charges[i])
            for lane in range(LANES):
                m[i, lane] *= 1 + change[i, lane] + drift[lane]
                squares[lane] += square * m[i, lane]
                pole[lane] += sign * m[i, lane]


@nb.njit(**LEAN, fastmath=FAST)
def _write(rows, solvent, s, last, count, side, found):  # type: ignore[no-untyped-def]
    strength, x, value = count, count + 1, count + 2
    plus, minus, calcium = side.sums[count + 1, value], side.sums[count + 2, value], side.place[CALCIUM]
    for t in range(s, last):
        lane = t - s
        if not LOWEST < side.at[x, lane] < HIGHEST:
            side.settled[lane] = 0.0
        found.ph[t] = -side.at[x, lane] / LN10
        found.strength[t] = side.sums[strength, value, lane]
        found.charge_left[t] = (plus[lane] - minus[lane]) / plus[lane]
        found.dissolved[t] = 0.0
        found.verdict[t] = SETTLED
        found.ln_saturation[t] = -math.inf
        if calcium != NONE and side.scale[CARBON, lane] > 0:
            found.ln_saturation[t] = side.at[calcium, lane] + math.log(side.scale[CARBON, lane]) - solvent.ln_calcite[t]
    for i in range(side.m.shape[0]):
        for t in range(s, last):
            found.molality[i, t] = side.m[i, t - s]
