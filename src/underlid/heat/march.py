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

HOUR_S = 3600.0
FREEZING_MARGIN_K = 0.15  # above the freezing point, within which the full field takes over
HAND_BACK_K = 0.03  # what may be lost of any cell's temperature when the reduced model takes over again
MOST_WIND_SHIFT = 0.9  # of a coefficient: beyond it the hour-old surface temperature would swing
WATER_STEP = 0.02  # change of the water fraction at which the bedding's properties are taken anew


@nb.njit(cache=True, parallel=True)
def march(  # type: ignore[no-untyped-def]
    cells, basis, parameters, outside, beyond, usual, humid, air, food_kg, water_kg, began, weights, low_c, high_c,
    full, probes_c, frozen, moist, refuge_share, outside_k, full_field, field_c, food_j, could_be,
):  # fmt: skip
    """Step every set through the hours; see `underlid.heat.model.simulate`, which lays out the arguments.

    parameters : (sets, 7) dry density, water fraction, factors on sides and lid, base, factors on heat and drying;
    outside : (1 or sets, hours, 3) beyond sides, surface and base [degC]; beyond : (hours, 2) nominal coefficients of
    sides and surface, usual : (2,) those of the reduced model [W/m2K]; humid : (hours,) relative humidity, 0 to 1.
    began : (sets,) water fraction at the first hour; the six arrays after `full` are filled, and the last three, the
    rest of a State, are taken at the first hour and left at the last.
    """
    for s in nb.prange(parameters.shape[0]):
        a = np.int64(s) if air.shape[0] > 1 else 0
        full_field[s] = _march_one(
            cells, basis, parameters[s], outside[a], beyond, usual, humid, air[a], food_kg, water_kg, began[s], weights,
            low_c[s], high_c[s], full, probes_c[s], frozen[s], moist[s], refuge_share[s], outside_k[s], field_c[s],
            food_j[s], could_be[s],
        )  # fmt: skip


@nb.njit(cache=True)
def _medium(dry, water):  # type: ignore[no-untyped-def]
    return field.Medium(
        properties.heat_capacity(dry, water), properties.frozen_capacity(dry, water), properties.conductivity(water),
        properties.frozen_conductivity(water), properties.latent_heat(water), properties.FIRST_FREEZING_C,
    )  # fmt: skip


@nb.njit(cache=True, fastmath=field.FAST, error_model="numpy")
def _march_one(  # type: ignore[no-untyped-def]
    cells, basis, parameters, outside, beyond, usual, humid, air, food_kg, water_kg, began, weights, low_c, high_c,
    full, probes_c, frozen, moist, refuge_share, outside_k, field_c, food_j, could_be,
):  # fmt: skip
    dry, water, loss, lid, base, heat, drying = parameters
    hours, count, states = air.shape[0], basis.share.shape[0], basis.v.shape[1]
    bands, foods = low_c.shape[1], food_kg.shape[1]
    first = cells.first
    volume = basis.volume_m3
    area = 4.0 * np.sum(cells.top)
    holds = max(water, moisture.HOLDS * properties.pores(dry))
    water = began  # the run may go on from an earlier one, which has left the bedding wetter or drier

    usual_c = np.array([loss * usual[0], lid * usual[1], base])
    medium, of_water = _medium(dry, water), water
    model = reduced.modes(basis, medium.k_thawed, medium.thawed, usual_c, HOUR_S)
    read = np.dot(weights, model.lift)
    z, new = np.zeros(states), np.empty(states)
    work = field.scratch(cells.top.shape[0])
    for c in range(count):
        work.t[first + np.uint64(c)] = field_c[c]
    field.settle(cells, work, medium)
    frost_at = medium.freezing_c + FREEZING_MARGIN_K
    in_full = full or field_c.min() < frost_at or not _hand_back(cells, basis, model, work.t, z)
    parts, full_hours = 1, 0
    around, out_c, watts, forces = np.empty(3), np.empty(3), np.zeros(6), np.empty(reduced.INPUTS)
    pace = np.empty(6)

    for h in range(hours):
        # What a keeper with perfect thermometers would see at this full hour.
        if bands > 0 and not in_full:
            _lift(cells, model, z, work.t)
        for p in range(weights.shape[0]):
            total = 0.0
            if in_full:
                for c in range(count):
                    total += weights[p, c] * work.t[first + np.uint64(c)]
            else:
                for i in range(states):
                    total += read[p, i] * z[i]
            probes_c[h, p] = total
        for b in range(bands):
            outside_k[h, b] = refuge.reach(cells, work.t, low_c[h, b], high_c[h, b], could_be[b])
            share = 0.0
            if outside_k[h, b] == 0.0:
                for c in range(count):
                    if could_be[b, c]:
                        share += basis.share[c]
            refuge_share[h, b] = min(share, 1.0)
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
        mean_t, side_t, top_t = _temperatures_for_heat(cells, basis, model, z, work.t, in_full, pace)
        for f in range(foods):
            food_j[f] += food_kg[h, f] * FOOD_J_PER_KG * heat
        watts[0] = BEDDING_W_PER_KG_DRY * dry * volume * heat * cardinal(mean_t)
        eaten = 0.0
        for f in range(foods):
            watts[1 + f] = 0.0
            if food_j[f] > 0.0:
                spent = food_j[f] * (1.0 - np.exp(-FOOD_RATE_PER_S * cardinal(pace[1 + f]) * HOUR_S))
                food_j[f] -= spent
                eaten += spent / (FOOD_J_PER_KG * heat)
                watts[1 + f] = spent / HOUR_S
        lost = moisture.evaporation_kg_s(top_t, humid[h] * moisture.vapour_kg_m3(air[h]), area, drying, moist[h])
        watts[5] = -lost * moisture.VAPORISATION_J_KG
        for i in range(3):
            around[i] = 0.5 * (outside[h, i] + outside[h + 1, i])
        out_c[0], out_c[1], out_c[2] = loss * beyond[h, 0], lid * beyond[h, 1], base

        if not in_full:
            # Wind shifts what the sides and the surface feel, as far as they differ from it.
            side_inside, top_inside = basis.reach_wall / medium.k_thawed, basis.reach_top / medium.k_thawed
            forces[0] = around[0] + _shift(out_c[0], usual_c[0], side_inside) * (around[0] - side_t)
            forces[1] = around[1] + _shift(out_c[1], usual_c[1], top_inside) * (around[1] - top_t)
            forces[2] = around[2]
            for p in range(6):
                forces[3 + p] = watts[p]
            for i in range(states):
                new[i] = model.decay[i] * z[i]
            for f in range(reduced.INPUTS):
                if forces[f] != 0.0:
                    for i in range(states):
                        new[i] += forces[f] * model.gain[f, i]
            if _coldest_corner(basis, model, new) > frost_at:
                z, new = new, z
            else:
                in_full = True
                _lift(cells, model, z, work.t)
                field.settle(cells, work, medium)
        if in_full:
            full_hours += 1
            for p in range(6):
                watts[p] *= 0.25  # the field is a quarter of the box
            parts = field.advance(cells, work, medium, around, out_c, watts, HOUR_S, parts, field.TOLERANCE_K)
            if not full and field.coldest(cells, work.t) > frost_at:
                in_full = not _hand_back(cells, basis, model, work.t, z)

        water += (moisture.FOOD_WATER * eaten + water_kg[h] - lost * HOUR_S) / volume / properties.WATER_KG_M3
        water -= moisture.drained(water, holds, HOUR_S)
        water = min(max(water, 0.02), properties.pores(dry))
        if abs(water - of_water) > WATER_STEP:
            medium, of_water = _medium(dry, water), water
            if in_full:
                field.settle(cells, work, medium)
            else:
                _lift(cells, model, z, work.t)
            model = reduced.modes(basis, medium.k_thawed, medium.thawed, usual_c, HOUR_S)
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
    for c in range(model.lift.shape[0]):
        total = 0.0
        for i in range(z.shape[0]):
            total += model.lift[c, i] * z[i]
        t[cells.first + np.uint64(c)] = total


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
        total = 0.0
        for i in range(z.shape[0]):
            total += model.lift[c, i] * z[i]
        worst = max(worst, abs(total - here[c]))
    return worst < HAND_BACK_K


@nb.njit(cache=True, fastmath=field.FAST)
def _coldest_corner(basis, model, z):  # type: ignore[no-untyped-def]
    """The lowest temperature of the quarter's corners: the coldest cell is one of them while nothing is frozen."""
    low = np.inf
    for corner in basis.corners:
        total = 0.0
        for i in range(z.shape[0]):
            total += model.lift[corner, i] * z[i]
        low = min(low, total)
    return low


@nb.njit(cache=True, fastmath=field.FAST)
def _temperatures_for_heat(cells, basis, model, z, t, in_full, pace):  # type: ignore[no-untyped-def]
    """Means over the heat patterns (into `pace`, [degC]); returns those of the bedding, its sides and its surface."""
    if not in_full:
        side = 0.0
        for i in range(z.shape[0]):
            side += model.side_mean[i] * z[i]
        for p in range(6):
            total = 0.0
            for i in range(z.shape[0]):
                total += model.patterns[p, i] * z[i]
            pace[p] = total
        return pace[0], side, pace[5]
    for p in range(6):
        total = 0.0
        for c in range(cells.first, cells.first + cells.cells):
            total += cells.patterns[p, c] * t[c]
        pace[p] = total
    return pace[0], pace[0], pace[5]
