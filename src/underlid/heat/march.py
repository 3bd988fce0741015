"""The compiled march through the hours: heat, water, breakdown and refuge of every parameter set.

Each set is stepped with the reduced model while nothing can freeze, and with the full field as soon as any cell
may; the field is handed back when it has thawed and the reduced model can hold it. Wind acts on the reduced model
through the surface temperature of the hour before.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from underlid.bedding.breakdown import BEDDING_W_PER_KG_DRY, FOOD_J_PER_KG, FOOD_RATE_PER_S, cardinal
from underlid.heat import field, moisture, properties, reduced, refuge

FREEZING_MARGIN_K = 0.15  # above the freezing point, within which the full field takes over
HAND_BACK_K = 0.03  # what may be lost of any cell's temperature when the reduced model takes over again
MOST_WIND_SHIFT = 0.9  # of a coefficient: beyond it the hour-old surface temperature would swing
STATES = reduced.STATES
WATER_STEP = 0.03  # change of the water fraction at which the bedding's properties are taken anew


@nb.njit(cache=True, nogil=True)
def march(  # type: ignore[no-untyped-def]
    begun, end, cells, basis, parameters, air, gain_k, ground, beyond, usual, vapour, food_kg, water_kg, began, weights,
    bands_c, strays_k, full, step_s, probes_c, frozen, moist, refuge_share, outside_k, full_field, field_c, food_j,
    could_be,
):  # fmt: skip
    """Step sets from `begun` on through the hours; see `underlid.heat.model.simulate`, which lays out the arguments.

    parameters : (sets, 7) dry density, water fraction, factors on sides and lid, base, factors on heat and drying;
    air, ground, vapour : (1 or sets, hours) around the bin and below it [degC], in the air [kg/m3]; gain_k, beyond :
    (hours, 2) warming by sun and sky [K] and nominal coefficients of sides and surface, usual : (2,) those of the
    reduced model [W/m2K]; began : (sets,) water fraction at the first hour; bands_c : (bands, 2); strays_k : (sets,
    hours), or (1, 1) for none; step_s : from one of these "hours" to the next. The six arrays after it are filled, and
    the last three, the rest of a State, are taken at the first hour and left at the last.
    """
    for s in range(begun, end):
        a = s if air.shape[0] > 1 else 0
        astray = s if strays_k.shape[0] > 1 else 0
        full_field[s] = _march_one(
            cells, basis, parameters[s], air[a], gain_k, ground[a], beyond, usual, vapour[a], food_kg, water_kg,
            began[s], weights, bands_c, strays_k[astray], full, step_s, probes_c[s], frozen[s], moist[s],
            refuge_share[s], outside_k[s], field_c[s], food_j[s], could_be[s],
        )  # fmt: skip


@nb.njit(cache=True, fastmath=field.FAST, error_model="numpy")
def _march_one(  # type: ignore[no-untyped-def]
    cells, basis, parameters, air, gain_k, ground, beyond, usual, vapour, food_kg, water_kg, began, weights, bands_c,
    strays_k, full, step_s, probes_c, frozen, moist, refuge_share, outside_k, field_c, food_j, could_be,
):  # fmt: skip
    dry, water, loss, lid, base, heat, drying = parameters
    hours, count, states = air.shape[0], basis.share.shape[0], basis.v.shape[1]
    bands, foods = bands_c.shape[0], food_kg.shape[1]
    first = cells.first
    volume = basis.volume_m3
    area = 4.0 * np.sum(cells.top)
    holds = max(water, moisture.HOLDS * properties.pores(dry))
    water = began  # the run may go on from an earlier one, which has left the bedding wetter or drier

    usual_c = np.array([loss * usual[0], lid * usual[1], base])
    medium, of_water = field.medium_of(dry, water), water
    model = reduced.modes(basis, medium.k_thawed, medium.thawed, usual_c, step_s)
    read = np.dot(weights, model.lift)
    near, parts_of = _stencils(cells, weights)
    z, new = np.zeros(states), np.empty(states)
    work = field.scratch(cells.top.shape[0])
    for c in range(count):
        work.t[first + np.uint64(c)] = field_c[c]
    field.settle(cells, work, medium)
    frost_at = medium.freezing_c + FREEZING_MARGIN_K
    in_full = full or field_c.min() < frost_at or not _hand_back(cells, basis, model, work.t, z)
    parts, full_hours, floor = 1, 0, -np.inf
    around, out_c, watts, forces = np.empty(3), np.empty(3), np.zeros(6), np.empty(reduced.INPUTS)
    pace, whole = np.empty(6), np.zeros(bands, dtype=np.bool_)

    for h in range(hours):
        # What a keeper with perfect thermometers would see at this full hour.
        if bands > 0 and not in_full:
            _lift(cells, model, z, work.t)
        for p in range(weights.shape[0]):
            probes_c[h, p] = _read(near, parts_of, p, work.t, medium.freezing_c) if in_full else _dot(read, p, z)
        astray = strays_k[h] if strays_k.shape[0] > 1 else 0.0
        low, high = field.extremes(cells, work.t) if bands > 0 else (0.0, 0.0)
        for b in range(bands):
            low_c, high_c = bands_c[b, 0] - astray, bands_c[b, 1] - astray
            if low_c <= low and high <= high_c:
                refuge_share[h, b], outside_k[h, b] = 1.0, 0.0
                if not whole[b]:
                    whole[b] = True
                    for c in range(count):
                        could_be[b, c] = True
            elif whole[b] and (high < low_c or high_c < low):
                refuge_share[h, b], outside_k[h, b] = 0.0, max(low_c - high, low - high_c)  # caught, anywhere
            else:
                whole[b] = False
                refuge_share[h, b], outside_k[h, b] = refuge.reach(
                    cells, basis.share, work.t, low_c, high_c, could_be, b
                )
        if in_full:
            ice = 0.0
            for c in range(count):
                ice += basis.share[c] * (1.0 - properties.liquid_share(work.t[first + np.uint64(c)], medium.freezing_c))
            frozen[h] = ice
        wet = water * properties.WATER_KG_M3
        moist[h] = wet / (wet + dry)
        if h == hours - 1:
            break

        # Forcing held over the hour: surroundings at their mean, breakdown and evaporation as the hour begins.
        for f in range(foods):
            food_j[f] += food_kg[h, f] * FOOD_J_PER_KG * heat
        for p in range(6):
            if p == 0 or p == 5 or food_j[p - 1] > 0.0:  # the bedding, the surface, and where there is food
                pace[p] = _mean(cells, p, work.t) if in_full else _dot(model.patterns, p, z)
        mean_t, top_t = pace[0], pace[5]
        watts[0] = BEDDING_W_PER_KG_DRY * dry * volume * heat * cardinal(mean_t)
        eaten = 0.0
        for f in range(foods):
            watts[1 + f] = 0.0
            if food_j[f] > 0.0:
                spent = food_j[f] * (1.0 - np.exp(-FOOD_RATE_PER_S * cardinal(pace[1 + f]) * step_s))
                food_j[f] -= spent
                eaten += spent / (FOOD_J_PER_KG * heat)
                watts[1 + f] = spent / step_s
        lost = moisture.evaporation_kg_s(top_t, vapour[h], area, drying, moist[h])
        watts[5] = -lost * moisture.VAPORISATION_J_KG
        mean_air = 0.5 * (air[h] + air[h + 1])
        around[0], around[1] = mean_air + gain_k[h + 1, 0], mean_air + gain_k[h + 1, 1]
        around[2] = 0.5 * (ground[h] + ground[h + 1])
        out_c[0], out_c[1], out_c[2] = loss * beyond[h, 0], lid * beyond[h, 1], base

        if not in_full:
            # Wind shifts what the sides and the surface feel, as far as they differ from it.
            side_t = _dot(model.side_mean, 0, z)
            side_inside, top_inside = basis.reach_wall / medium.k_thawed, basis.reach_top / medium.k_thawed
            forces[0] = around[0] + _shift(out_c[0], usual_c[0], side_inside) * (around[0] - side_t)
            forces[1] = around[1] + _shift(out_c[1], usual_c[1], top_inside) * (around[1] - top_t)
            forces[2] = around[2]
            for p in range(6):
                forces[3 + p] = watts[p]
            _linear(model, forces, z, new)
            # No cell gets colder than both its surroundings and the coldest before it. What evaporation takes from
            # the surface is felt as a colder air above it.
            above = 1.0 / usual_c[1] + top_inside
            floor = min(floor, forces[0], forces[1] + min(watts[5], 0.0) / area * above, forces[2])
            if floor <= frost_at:
                floor = _coldest_corner(basis, model, new)
            if floor > frost_at:
                z, new = new, z
            else:
                in_full = True
                _lift(cells, model, z, work.t)
                field.settle(cells, work, medium)
        if in_full:
            full_hours += 1
            for p in range(6):
                watts[p] *= 0.25  # the field is a quarter of the box
            parts = field.advance(cells, work, medium, around, out_c, watts, step_s, parts, field.TOLERANCE_K)
            if not full and field.extremes(cells, work.t)[0] > frost_at:
                in_full, floor = not _hand_back(cells, basis, model, work.t, z), -np.inf

        water += (moisture.FOOD_WATER * eaten + water_kg[h] - lost * step_s) / volume / properties.WATER_KG_M3
        if water > holds:
            water -= moisture.drained(water, holds, step_s) * (1.0 - frozen[h])
        water = min(max(water, 0.02), properties.pores(dry))
        if abs(water - of_water) > WATER_STEP:
            medium, of_water = field.medium_of(dry, water), water
            if in_full and field.extremes(cells, work.t)[0] < medium.freezing_c:
                # Water comes and goes as liquid near 0 degC, where enthalpy is counted from: heat stays as it is.
                field.temperatures(cells, work.held, work.t, medium, True)
            elif in_full:
                field.settle(cells, work, medium)
            else:
                _lift(cells, model, z, work.t)
            model = reduced.modes(basis, medium.k_thawed, medium.thawed, usual_c, step_s)
            read = np.dot(weights, model.lift)
            if not in_full:
                _hand_back(cells, basis, model, work.t, z)
    if not in_full:
        _lift(cells, model, z, work.t)
    for c in range(count):
        field_c[c] = work.t[first + np.uint64(c)]
    return full_hours / max(1, hours - 1)


@nb.njit(cache=True)
def _shift(coefficient, usual, inside):  # type: ignore[no-untyped-def]
    """How much more than usual flows from a node half a cell inside (m2K/W) at another coefficient outside."""
    more = (1.0 / usual + inside) / (1.0 / coefficient + inside) - 1.0
    return min(max(more, -MOST_WIND_SHIFT), MOST_WIND_SHIFT)


@nb.njit(cache=True)
def _project(basis, model, t, z):  # type: ignore[no-untyped-def]
    """The modes nearest to a field, (cells,), in the mean square over the bedding."""
    z[:] = np.dot(np.dot(basis.share * t, basis.v), model.into)


@nb.njit(cache=True, fastmath=field.FAST)
def _lift(cells, model, z, t):  # type: ignore[no-untyped-def]
    """The field of the states; four at a time, for the vector units."""
    first, lift = cells.first, model.lift_by_state
    for c in range(lift.shape[1]):
        t[first + np.uint64(c)] = 0.0
    for i in range(0, STATES, 4):
        z0, z1, z2, z3 = z[i], z[i + 1], z[i + 2], z[i + 3]
        for c in range(lift.shape[1]):
            t[first + np.uint64(c)] += lift[i, c] * z0 + lift[i + 1, c] * z1 + lift[i + 2, c] * z2 + lift[i + 3, c] * z3


@nb.njit(cache=True)
def _hand_back(cells, basis, model, t, z):  # type: ignore[no-untyped-def]
    """Take the field over into the reduced model; returns whether nothing is lost by it."""
    count = basis.share.shape[0]
    here = np.empty(count)
    for c in range(count):
        here[c] = t[cells.first + np.uint64(c)]
    _project(basis, model, here, z)
    worst = 0.0
    for c in range(count):
        worst = max(worst, abs(_dot(model.lift, c, z) - here[c]))
    return worst < HAND_BACK_K


@nb.njit(cache=True, fastmath=field.FAST)
def _coldest_corner(basis, model, z):  # type: ignore[no-untyped-def]
    """The lowest temperature of the quarter's corners: the coldest cell is one of them while nothing is frozen."""
    low = np.inf
    for corner in basis.corners:
        low = min(low, _dot(model.lift, corner, z))
    return low


@nb.njit(cache=True, fastmath=field.FAST)
def _linear(model, forces, z, new):  # type: ignore[no-untyped-def]
    """One exact hour of the reduced model; the inputs written out, so that the states go through vector units."""
    decay, gain = model.decay, model.gain
    f0, f1, f2, f3, f4 = forces[0], forces[1], forces[2], forces[3], forces[4]
    f5, f6, f7, f8 = forces[5], forces[6], forces[7], forces[8]
    for i in range(STATES):
        new[i] = (
            decay[i] * z[i] + f0 * gain[0, i] + f1 * gain[1, i] + f2 * gain[2, i] + f3 * gain[3, i]
            + f4 * gain[4, i] + f5 * gain[5, i] + f6 * gain[6, i] + f7 * gain[7, i] + f8 * gain[8, i]
        )  # fmt: skip


@nb.njit(cache=True, fastmath=field.FAST, inline="always")
def _dot(rows, row, z):  # type: ignore[no-untyped-def]
    """A row of some rows times the states, whose number is known when this is compiled; slices would cost more."""
    total = 0.0
    for i in range(STATES):
        total += rows[row, i] * z[i]
    return total


@nb.njit(cache=True, fastmath=field.FAST)
def _mean(cells, pattern, t):  # type: ignore[no-untyped-def]
    """Mean temperature over one of the heat patterns [degC]."""
    total = 0.0
    for c in range(cells.first, cells.first + cells.cells):
        total += cells.patterns[pattern, c] * t[c]
    return total


@nb.njit(cache=True)
def _stencils(cells, weights):  # type: ignore[no-untyped-def]
    """The cells that each probe is read from and their weights, (probes, at most 27) each, padded with weight 0."""
    most = np.int64(0)
    for p in range(weights.shape[0]):
        most = max(most, np.int64(np.count_nonzero(weights[p])))
    near = np.full((weights.shape[0], most), cells.first)
    parts = np.zeros((weights.shape[0], most))
    for p in range(weights.shape[0]):
        found = np.flatnonzero(weights[p])
        near[p, :] = cells.first + np.uint64(found[0])
        for i in range(found.shape[0]):
            near[p, i], parts[p, i] = cells.first + np.uint64(found[i]), weights[p, found[i]]
    return near, parts


@nb.njit(cache=True, fastmath=field.FAST)
def _read(near, parts, probe, t, freezing_c):  # type: ignore[no-untyped-def]
    """A probe's temperature; where ice puts a kink into the field, no further out than the cells it is read from."""
    total, low, high = 0.0, np.inf, -np.inf
    for i in range(near.shape[1]):
        here = t[near[probe, i]]
        total += parts[probe, i] * here
        low, high = min(low, here), max(high, here)
    return min(max(total, low), high) if low < freezing_c else total
