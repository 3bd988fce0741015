"""The charge balance of a small water, solved slowly and surely in compiled code.

Every species is a row: its family's base, protons, at most one metal. At a given pH and activity coefficients

- each family's rows are shares of its total (or are fixed by the gas, or by calcite), so its element is conserved by
  construction;
- the free metals follow from their totals: the gradient of a convex function is brought to zero by damped Newton;
- the charge that is left falls as pH rises, whatever the mixture, so a bracketed Newton on ln(positive / negative)
  finds the one pH at which there is none.

Ionic strength is brought along once pH is near, with Aitken's extrapolation.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

LN10 = math.log(10)
LOWEST_PH, HIGHEST_PH = -2.0, 16.0  # a state whose charge balances only outside these is refused
LOWEST, HIGHEST = -LN10 * HIGHEST_PH, -LN10 * LOWEST_PH  # the same as ln of the protons' activity
MOST_STRONG = 1.0  # ionic strength [mol/kg] above which activity coefficients are held: the laws mean nothing there
MOST_STEPS = 400
CAREFUL_AFTER = 25  # steps; then metals are solved sharply, and pH and ionic strength in turn: slow and sure
CHARGE = 1e-12  # what may be left, relative to all positive charge
ABSENT = -600.0  # ln of nothing
SETTLED, NO_BALANCE, UNSETTLED = 0, 1, 2
WATER, CARBON = 0, 1  # families that are treated apart
CALCIUM, METALS = 0, 4
CLOSED, OPEN = 0, 1
FAST = {"contract", "reassoc", "nsz"}  # sums may be reordered; NaN and infinity keep their meaning
#: For functions that make no arrays: counting who holds those handed on costs as much as small sums do, and so does
#: asking before each division whether it is by zero. Numba uses the first within itself; a function that does make an
#: array is refused by it.
LEAN: dict[str, Any] = {"cache": True, "_nrt": False, "error_model": "numpy"}


class Rows(NamedTuple):
    """The species that count, sorted by family; (rows,) but for the first and the laws.

    first : (families + 1,) where each family begins
    laws : (rows, 5) coefficients of ln K
    metal : index, or METALS where there is none
    size : [angstrom], or -1 for Davies' law; slope : ln gamma per mol/kg beside the root's term
    """

    first: Whole
    laws: Array
    protons: Array
    metal: Whole
    charge: Array
    size: Array
    slope: Array


class Waters(NamedTuple):
    """What is dissolved, (states,) or (states, ...).

    bases : (states, families) totals [mol/kg water]; that of carbon does not count where the gas is open
    metals : (states, 4) totals; 0 also where a metal is counted among `positive`
    positive, negative : charge of ions that take part in nothing [mol/kg]
    gas_atm : CO2, where open
    calcite : [mol/kg water] at hand, infinity for more than can dissolve, -1 for none
    buffer, around : protons that bedding takes up per pH [mol/kg water], and the pH at which it has taken up none
    """

    temperature_c: Array
    bases: Array
    metals: Array
    positive: Array
    negative: Array
    gas_atm: Array
    calcite: Array
    buffer: Array
    around: Array


class Solvent(NamedTuple):
    """By state: A and B of the law of activity; ln K of CO2's dissolving and of calcite (states,)."""

    a: Array
    b: Array
    ln_henry: Array
    ln_calcite: Array


class Found(NamedTuple):
    """Answers: molalities (rows, states); the others (states,)."""

    molality: Array
    ph: Array
    strength: Array
    ln_saturation: Array
    dissolved: Array
    charge_left: Array
    verdict: Whole


class _Work(NamedTuple):
    """Work arrays of one state after another."""

    ln_k: Array
    reach: Array
    root: Array
    slope: Array
    ln_gamma: Array
    d_gamma: Array  # its change with ionic strength
    m: Array  # molality by row
    ln_metal: Array  # ln activity by metal, and 0 for none
    scale: Array  # activity of each family's base
    toward: Array  # change of ln metal with ln h
    gap: Array  # what metals are off their totals
    bend: Array  # its change with ln metal
    across: Array  # its change with ln h
    solved: Whole  # metals whose free part is solved for


@nb.njit(cache=True, error_model="numpy", fastmath=FAST)
def _work(rows, families):  # type: ignore[no-untyped-def]
    return _Work(
        np.empty(rows), np.empty(rows), np.empty(rows), np.empty(rows), np.empty(rows), np.empty(rows), np.empty(rows),
        np.zeros(METALS + 1), np.ones(families), np.zeros(METALS + 1), np.empty(METALS), np.empty((METALS, METALS)),
        np.empty(METALS), np.empty(METALS, dtype=np.int64),
    )  # fmt: skip


@nb.njit(**LEAN, fastmath=FAST)
def _one(rows, waters, solvent, s, w, found):  # type: ignore[no-untyped-def]
    """One state: without calcite, or with as much of it as dissolves, or with all there is."""
    _constants(rows, waters.temperature_c[s], solvent.a[s], solvent.b[s], w)
    at_hand = waters.calcite[s]
    dissolved = _balance(rows, waters, solvent, s, w, at_hand >= 0, 0.0, found)
    if at_hand >= 0 and dissolved > at_hand:
        _balance(rows, waters, solvent, s, w, False, at_hand, found)
        dissolved = at_hand
    found.dissolved[s] = dissolved if at_hand >= 0 else 0.0


@nb.njit(**LEAN, fastmath=FAST)
def _constants(rows, temperature_c, a, b, w):  # type: ignore[no-untyped-def]
    """Equilibrium constants and what the law of activity needs, at one temperature."""
    kelvin = temperature_c + 273.15
    inverse, log = 1 / kelvin, math.log10(kelvin)
    for i in range(rows.charge.size):
        law = rows.laws[i]
        w.ln_k[i] = law[0] + law[1] * kelvin + law[2] * inverse + law[3] * log + law[4] * inverse * inverse
        w.root[i] = -LN10 * a * rows.charge[i] ** 2
        davies = rows.size[i] < 0
        w.reach[i] = 1.0 if davies else b * rows.size[i]
        w.slope[i] = -0.3 * w.root[i] if davies else LN10 * rows.slope[i]


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _activity(w, strength):  # type: ignore[no-untyped-def]
    ln_gamma, d_gamma, roots, reach, slopes = w.ln_gamma, w.d_gamma, w.root, w.reach, w.slope
    held = min(strength, MOST_STRONG)
    root = math.sqrt(held)
    moves = 1.0 if strength < MOST_STRONG else 0.0
    for i in range(ln_gamma.size):
        near = 1 / (1 + reach[i] * root)
        ln_gamma[i] = roots[i] * root * near + slopes[i] * held
        d_gamma[i] = moves * (roots[i] * near * near * 0.5 / root + slopes[i])


@nb.njit(**LEAN, fastmath=FAST)
def _balance(rows, waters, solvent, s, w, calcite, added, found):  # type: ignore[no-untyped-def]
    """Solve one state in equilibrium with calcite, or with `added` of it dissolved; what of it has dissolved."""
    open_air = waters.gas_atm[s] >= 0
    low, high = LOWEST, HIGHEST
    x = -LN10 * 7.5
    strength = _first_strength(waters, s)
    _activity(w, strength)
    count = _first_metals(waters, s, w, calcite, added, open_air)
    verdict = UNSETTLED
    left = now = 0.0
    step = move = math.inf
    for turn in range(MOST_STEPS):
        if turn == CAREFUL_AFTER + 1:
            low, high = LOWEST, HIGHEST
        solved = True
        if count == 0:
            _fill(rows, waters, solvent, s, w, x, calcite, added, open_air)
        else:
            near = 1e-4 * min(1.0, step * step) if turn <= CAREFUL_AFTER else 0.0
            solved = _metals(rows, waters, solvent, s, w, x, calcite, added, open_air, count, near)
        plus, minus, by_x, by_strength, now, now_by_x, now_by_strength = _charges(
            rows, waters, s, w, x, calcite, open_air
        )
        left = math.log(plus / minus)
        if left > 0:
            high = x
        else:
            low = x
        step_before = abs(step)
        step = -left / by_x
        lag = now - strength
        if solved and abs(left) < CHARGE and abs(step) < 1e-7 and abs(lag) < 1e-10 * now:
            verdict = SETTLED
            break
        if not low <= x + step <= high or (abs(step) > 0.5 and abs(step) > 0.5 * step_before):
            step = 0.5 * (low + high) - x
        elif abs(step) < 1.0:
            # pH is near: move the ionic strength with it, by Newton in both
            answer = now_by_strength - 1 - now_by_x * by_strength / by_x
            move = -(lag + now_by_x * step) / min(answer, -0.3)
            move = min(max(move, -0.7 * strength), 2 * strength)
            both = step - by_strength / by_x * move
            careful = turn > CAREFUL_AFTER or abs(both) > 1.0
            if not careful or abs(step) < 1e-3:  # else pH hangs on the strength: find it at this one first
                if careful:
                    move, both = 0.5 * lag, step
                strength += move
                step = both
                _activity(w, strength)
                wide = 0.1 if abs(move) < 0.01 * now else 100.0
                low, high = max(low - wide, LOWEST), min(high + wide, HIGHEST)
                step = min(max(step, low - x), high - x)
        x += step
        for p in range(count):
            w.ln_metal[w.solved[p]] += w.toward[w.solved[p]] * min(max(step, -1.0), 1.0)
    ph = -x / LN10
    if verdict == UNSETTLED and not LOWEST_PH + 0.5 < ph < HIGHEST_PH - 0.5:
        verdict = NO_BALANCE
    found.ph[s] = ph
    found.strength[s] = now
    found.verdict[s] = verdict
    found.charge_left[s] = left
    base = w.scale[CARBON]
    found.ln_saturation[s] = w.ln_metal[CALCIUM] + math.log(base) - solvent.ln_calcite[s] if base > 0 else -math.inf
    calcium = 0.0
    for i in range(rows.charge.size):
        found.molality[i, s] = w.m[i]
        if rows.metal[i] == CALCIUM:
            calcium += w.m[i]
    return calcium - waters.metals[s, CALCIUM]


@nb.njit(**LEAN, fastmath=FAST)
def _first_strength(waters, s):  # type: ignore[no-untyped-def]
    plus, squares = waters.positive[s], 0.0
    for metal in range(METALS):
        charge = 2.0 if metal < 2 else 1.0
        plus += charge * waters.metals[s, metal]
        squares += charge * (charge - 1) * waters.metals[s, metal]
    return 0.5 * (max(plus, waters.negative[s]) * 2 + squares) + 1e-9


@nb.njit(**LEAN, fastmath=FAST)
def _first_metals(waters, s, w, calcite, added, open_air):  # type: ignore[no-untyped-def]
    """Where the free metals begin, and the number of those that are solved for."""
    count = 0
    for metal in range(METALS):
        total = waters.metals[s, metal] + (added if metal == CALCIUM else 0.0)
        by_calcite = calcite and metal == CALCIUM
        w.ln_metal[metal] = -8.0 if by_calcite else math.log(total) if total > 0 else ABSENT
        w.toward[metal] = 2.0 if by_calcite and open_air else 0.0
        if (by_calcite and not open_air) or (total > 0 and not by_calcite):
            w.solved[count] = metal
            count += 1
    return count


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _fill(rows, waters, solvent, s, w, x, calcite, added, open_air):  # type: ignore[no-untyped-def]
    """Molalities of all rows at a pH, from the free metals as they stand."""
    first = rows.first
    molal, metal_of, protons, free, ln_k, ln_gamma, scales = (
        w.m,
        rows.metal,
        rows.protons,
        w.ln_metal,
        w.ln_k,
        w.ln_gamma,
        w.scale,
    )
    if open_air and first[CARBON + 1] > first[CARBON]:
        # the activity of CO3-2 over that of CO2, which the gas sets
        ln_base = solvent.ln_henry[s] + math.log(waters.gas_atm[s]) - ln_k[first[CARBON] + 2] - 2 * x
        if calcite:
            free[CALCIUM] = solvent.ln_calcite[s] - ln_base
    for family in range(first.size - 1):
        total = waters.bases[s, family] + (added if family == CARBON else 0.0)
        fixed = family == WATER or (family == CARBON and (open_air or calcite))
        if total <= 0 and not fixed:
            for i in range(first[family], first[family + 1]):
                molal[i] = 0.0
            scales[family] = 0.0
            continue
        whole = 0.0
        for i in range(first[family], first[family + 1]):
            molal[i] = math.exp(ln_k[i] + protons[i] * x + free[metal_of[i]] - ln_gamma[i])
            whole += molal[i]
        if family == WATER:
            continue
        if not fixed:
            scale = total / whole
        elif open_air:
            scale = math.exp(ln_base)
        else:
            scale = math.exp(solvent.ln_calcite[s] - free[CALCIUM])
        scales[family] = scale
        for i in range(first[family], first[family + 1]):
            molal[i] *= scale


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _metals(rows, waters, solvent, s, w, x, calcite, added, open_air, count, near):  # type: ignore[no-untyped-def]
    """Solve the free metals at a pH, and how they change with it; whether they settled."""
    free, toward, gap, bend, across, solving = w.ln_metal, w.toward, w.gap, w.bend, w.across, w.solved
    drag = 2.0 if calcite and open_air else 0.0  # calcite sets calcium by pH
    settled = False
    for _ in range(MOST_STEPS):
        _fill(rows, waters, solvent, s, w, x, calcite, added, open_air)
        weight = _gaps(rows, waters, s, w, calcite, added, open_air)
        for p in range(count):
            gap[p] = gap[solving[p]]
            across[p] = across[solving[p]] + bend[solving[p], CALCIUM] * drag
            for q in range(count):
                bend[p, q] = bend[solving[p], solving[q]]
        largest = 0.0
        for p in range(count):
            largest = max(largest, abs(gap[p]))
        _eliminate(bend, gap, across, count)
        longest = 0.0
        for p in range(count):
            longest = max(longest, abs(gap[p]))
        settled = longest < 1e-12 or (longest < 1e-9 and largest < 1e-13 * weight)
        if settled or longest < near:
            break
        damp = math.log(1 + longest) / longest if longest > 0.5 else 1.0
        for p in range(count):
            free[solving[p]] -= damp * gap[p]
    for p in range(count):
        toward[solving[p]] = -across[p]
    return settled


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _gaps(rows, waters, s, w, calcite, added, open_air):  # type: ignore[no-untyped-def]
    """What the metals are off their totals, its changes with ln metal and with ln h; the largest amount in it.

    In a closed water with calcite, calcium and carbonate are tied, and what counts is calcium less carbon.
    """
    first = rows.first
    molal, metal_of, protons, gap, bend, across = w.m, rows.metal, rows.protons, w.gap, w.bend, w.across
    tied = calcite and not open_air
    bend[:] = 0.0
    across[:] = 0.0
    weight = 0.0
    for metal in range(METALS):
        gap[metal] = -waters.metals[s, metal]
    gap[CALCIUM] -= added
    if tied:
        gap[CALCIUM] += waters.bases[s, CARBON]
    for family in range(first.size - 1):
        total = waters.bases[s, family] + (added if family == CARBON else 0.0)
        shared = family != WATER and not (family == CARBON and (open_air or calcite))
        if shared and total <= 0:
            continue
        bound = 0.0
        for i in range(first[family], first[family + 1]):
            bound += molal[i] * protons[i]
        mean = 0.0
        if shared:
            mean = bound / total
        elif family == CARBON and open_air:
            mean = 2.0
        held0 = held1 = held2 = held3 = 0.0
        for i in range(first[family], first[family + 1]):
            metal = metal_of[i]
            m = molal[i]
            if family == CARBON and tied:
                if metal != CALCIUM:  # falls as calcium rises
                    gap[CALCIUM] -= m
                    bend[CALCIUM, CALCIUM] += m
                    across[CALCIUM] -= m * protons[i]
                    weight = max(weight, m)
                    if metal < METALS:
                        gap[metal] += m
                        bend[metal, metal] += m
                        bend[metal, CALCIUM] -= m
                        bend[CALCIUM, metal] -= m
                        across[metal] += m * protons[i]
                continue
            if metal == METALS:
                continue
            weight = max(weight, m)
            gap[metal] += m
            bend[metal, metal] += m
            across[metal] += m * (protons[i] - mean)
            if metal == 0:
                held0 += m
            elif metal == 1:
                held1 += m
            elif metal == 2:
                held2 += m
            else:
                held3 += m
        if shared:
            held = (held0, held1, held2, held3)
            for p in range(METALS):
                for q in range(METALS):
                    bend[p, q] -= held[p] * held[q] / total
    return weight


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _eliminate(bend, first, second, count):  # type: ignore[no-untyped-def]
    """Solve a small symmetric positive system for two right-hand sides, in place."""
    for p in range(count):
        for q in range(p + 1, count):
            factor = bend[q, p] / bend[p, p]
            for r in range(p, count):
                bend[q, r] -= factor * bend[p, r]
            first[q] -= factor * first[p]
            second[q] -= factor * second[p]
    for p in range(count - 1, -1, -1):
        for q in range(p + 1, count):
            first[p] -= bend[p, q] * first[q]
            second[p] -= bend[p, q] * second[q]
        first[p] /= bend[p, p]
        second[p] /= bend[p, p]


@nb.njit(**LEAN, forceinline=True, fastmath=FAST)
def _charges(rows, waters, s, w, x, calcite, open_air):  # type: ignore[no-untyped-def]
    """Positive and negative charge, ionic strength [mol/kg], and how they change.

    by_x, by_strength : changes of ln(positive / negative) with ln h and with the ionic strength in use; the latter
        without what the free metals would do, which only costs steps
    """
    first = rows.first
    molal, d_gamma, metal_of, charges, protons, toward = w.m, w.d_gamma, rows.metal, rows.charge, rows.protons, w.toward
    plus, minus = waters.positive[s], waters.negative[s]
    squares = plus + minus
    plus_x = minus_x = plus_s = minus_s = squares_x = squares_s = 0.0
    for family in range(first.size - 1):
        drift = turn = 0.0  # of the family's base with ln h, and with ionic strength
        if family == CARBON and open_air:
            drift = -2.0
        elif family == CARBON and calcite:
            drift = -toward[CALCIUM]
        elif family != WATER:
            whole = 0.0
            for i in range(first[family], first[family + 1]):
                whole += molal[i]
                drift -= molal[i] * (protons[i] + toward[metal_of[i]])
                turn += molal[i] * d_gamma[i]
            if whole > 0:
                drift, turn = drift / whole, turn / whole
        for i in range(first[family], first[family + 1]):
            z = charges[i]
            amount = z * molal[i]
            change = amount * (protons[i] + toward[metal_of[i]] + drift)
            shift = amount * (turn - d_gamma[i])
            squares += z * amount
            squares_x += z * change
            squares_s += z * shift
            if z > 0:
                plus, plus_x, plus_s = plus + amount, plus_x + change, plus_s + shift
            else:
                minus, minus_x, minus_s = minus - amount, minus_x - change, minus_s - shift
    # bedding, from a pH above all others, so that neither side changes its form where the take-up is none
    plus += waters.buffer[s] * (HIGHEST_PH + x / LN10)
    plus_x += waters.buffer[s] / LN10
    minus += waters.buffer[s] * (HIGHEST_PH - waters.around[s])
    by_x, by_strength = plus_x / plus - minus_x / minus, plus_s / plus - minus_s / minus
    return plus, minus, by_x, by_strength, 0.5 * squares, 0.5 * squares_x, 0.5 * squares_s
