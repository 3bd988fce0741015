"""What the full field keeps: heat, bounds, symmetry, and its answer however time is cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from underlid.heat import field, properties, reduced
from underlid.heat.grid import Grid

from .columns import HOUR_S, never_freezing, still

SIZE_M, CELLS = (0.43, 0.30, 0.22), (4, 4, 6)
GRID = Grid.of(SIZE_M, CELLS)
VOLUME_M3 = 0.43 * 0.30 * 0.22
INSULATED = np.zeros(3)

media = st.builds(
    lambda dry, water, freezing_c, k_thawed, k_frozen: field.Medium(
        float(properties.heat_capacity(dry, water)), float(properties.frozen_capacity(dry, water)),
        k_thawed, k_frozen, float(properties.latent_heat(water)), freezing_c,
    ),
    st.floats(50, 300), st.floats(0.05, 0.7), st.floats(-1, -0.05), st.floats(0.05, 0.6), st.floats(0.05, 1.2),
)  # fmt: skip
BEDDING = field.Medium(1.9e6, 1.1e6, 0.25, 0.45, 1.2e8, -0.3)
seeds = st.integers(0, 10_000)


def held(fields, medium):
    """Mean enthalpy of the bedding [J/m3], (hours,)."""
    enthalpies = [[properties.enthalpy(t, *medium[:2], *medium[4:]) for t in one] for one in np.atleast_2d(fields)]
    return np.array(enthalpies) @ GRID.share


@settings(max_examples=40, deadline=None)
@given(seed=seeds, spread_k=st.floats(0.2, 15), medium=media)
def test_an_insulated_box_keeps_its_heat_while_parts_freeze_and_thaw(seed, spread_k, medium):
    start = np.random.default_rng(seed).uniform(-spread_k, spread_k, len(GRID.share))
    out = field.run(GRID, medium, start_c=start, outside_c=still(48, -20.0, HOUR_S), films=INSULATED)
    assert held(out[[1, 12, 48]], medium) == pytest.approx(held(start, medium)[0], abs=1e-9 * medium.latent)
    assert np.ptp(out[48]) < np.ptp(start)


@settings(max_examples=25, deadline=None)
@given(seed=seeds, watts=st.lists(st.floats(-3, 6), min_size=6, max_size=6), medium=media)
def test_an_insulated_box_takes_up_the_watts_it_is_given(seed, watts, medium):
    start = np.random.default_rng(seed).uniform(-4, 2, len(GRID.share))
    given_w = np.tile(np.array(watts), (24, 1))
    out = field.run(GRID, medium, start_c=start, outside_c=still(24, 0.0, HOUR_S), films=INSULATED, watts=given_w)
    gained = (held(out, medium) - held(start, medium)[0]) * VOLUME_M3
    assert gained == pytest.approx(sum(watts) * HOUR_S * np.arange(25), abs=1e-9 * medium.latent * VOLUME_M3)


def test_what_leaves_through_the_faces_is_what_the_bedding_loses():
    """Near a steady state a watt in is a watt out: 5 W of food, all of it through the films."""
    medium, films = never_freezing(0.3, 2e6), np.array([6.0, 3.0, 2.0])
    watts = np.zeros((24 * 40, 6))
    watts[:, 3] = 5.0
    end = field.run(GRID, medium, start_c=8.0, outside_c=still(24 * 40, 8.0, HOUR_S), films=films, watts=watts)[-1]
    x, y, z = GRID.widths
    sides, top, base = (GRID.faces_m2[[0, 1]], GRID.faces_m2[2], GRID.faces_m2[3])
    lost = 0.0
    for face, film, half in (
        (sides[0], 6, x[-1] / 2),
        (sides[1], 6, y[-1] / 2),
        (top, 3, z[-1] / 2),
        (base, 2, z[0] / 2),
    ):
        lost += 4 * (face / (1 / film + half / 0.3)) @ (end - 8.0)
    assert lost == pytest.approx(5.0, rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(seed=seeds, medium=media, films=st.tuples(*[st.floats(0.05, 30)] * 3))
def test_without_heat_of_its_own_the_field_stays_between_start_and_surroundings(seed, medium, films):
    rng = np.random.default_rng(seed)
    start, outside = rng.uniform(-6, 10, len(GRID.share)), rng.uniform(-6, 10, (24, 3))
    out = field.run(GRID, medium, start_c=start, outside_c=outside, films=np.array(films))
    assert out.min() >= min(start.min(), outside.min()) - 1e-6
    assert out.max() <= max(start.max(), outside.max()) + 1e-6


@settings(max_examples=30, deadline=None)
@given(there_c=st.floats(-25, 35), medium=media, films=st.tuples(*[st.floats(0, 60)] * 3))
def test_a_uniform_field_in_equal_surroundings_stays(there_c, medium, films):
    out = field.run(GRID, medium, start_c=there_c, outside_c=still(24, there_c, HOUR_S), films=np.array(films))
    assert out == pytest.approx(there_c, abs=1e-8)


def frost(hours):
    """Surroundings of a sharp winter week, different on sides, top and base."""
    rng = np.random.default_rng(3)
    days = np.repeat(rng.normal(-2, 4, (hours // 24 + 1, 1)), 24, axis=0)[:hours]
    wave = 4 * np.sin(np.arange(hours)[:, None] * 2 * np.pi / 24)
    return (days + wave) * [1.0, 1.0, 0.3]


def test_turned_upside_down_or_sideways_the_field_turns_with_it():
    films, outside = np.array([7.0, 4.0, 2.0]), frost(72)
    out = field.run(GRID, BEDDING, start_c=3.0, outside_c=outside, films=films).reshape(-1, *CELLS)
    flipped = field.run(GRID, BEDDING, start_c=3.0, outside_c=outside[:, [0, 2, 1]], films=films[[0, 2, 1]])
    np.testing.assert_allclose(flipped.reshape(-1, *CELLS)[..., ::-1], out, atol=1e-7)
    sideways = Grid((0.30, 0.43, 0.22), (GRID.edges[1], GRID.edges[0], GRID.edges[2]))
    turned = field.run(sideways, BEDDING, start_c=3.0, outside_c=outside, films=films)
    np.testing.assert_allclose(turned.reshape(-1, *CELLS).swapaxes(1, 2), out, atol=1e-7)


def test_a_run_cut_in_two_is_the_same_run():
    """Only how finely the hours are cut may differ: the second half begins afresh with one part an hour."""
    films, outside = np.array([7.0, 4.0, 2.0]), frost(144)
    whole = field.run(GRID, BEDDING, start_c=3.0, outside_c=outside, films=films)
    first = field.run(GRID, BEDDING, start_c=3.0, outside_c=outside[:72], films=films)
    then = field.run(GRID, BEDDING, start_c=first[-1], outside_c=outside[72:], films=films)
    assert np.array_equal(first, whole[:73])
    assert np.sqrt(np.mean((then - whole[72:]) ** 2)) < 0.05
    np.testing.assert_allclose(then[-1], whole[-1], atol=0.1)


def test_a_tighter_tolerance_changes_little_and_nears_the_truth():
    films, outside = np.array([7.0, 4.0, 2.0]), frost(144)
    usual, tight, tightest = (
        field.run(GRID, BEDDING, start_c=3.0, outside_c=outside, films=films, tolerance_k=tolerance_k)
        for tolerance_k in (field.TOLERANCE_K, 0.05, 0.002)
    )
    assert usual.min() < -4  # there is deep frost in it
    far, near = (np.sqrt(np.mean((one - tightest) ** 2)) for one in (usual, tight))
    assert near < far < 0.05


def of_ivp(grid, medium, start_c, outside_c, films, seconds):
    """The same cells by a general-purpose implicit solver, on the operator of the reduced model: temperatures."""
    conduct, outer = reduced.operator(grid)
    share, (x, y, z) = grid.share, grid.widths
    reach = x[-1] / 2, y[-1] / 2, z[-1] / 2, z[0] / 2
    off = -(conduct - np.diag(np.diag(conduct)))
    beyond, film = np.array(outside_c)[[0, 0, 1, 2]], np.array(films)[[0, 0, 1, 2]]

    def conductivity(t):
        liquid = np.where(t >= medium.freezing_c, 1.0, medium.freezing_c / np.minimum(t, medium.freezing_c))
        return medium.k_frozen + (medium.k_thawed - medium.k_frozen) * liquid

    def temperatures(enthalpy):
        return np.array([properties.temperature(one, *medium[:2], *medium[4:]) for one in enthalpy])

    def slope(_, enthalpy):
        t = temperatures(enthalpy)
        k = conductivity(t)
        between = (k[:, None] + 4 * conductivity((t[:, None] + t) / 2) + k) / 6 * off
        flow = (between * (t - t[:, None])).sum(axis=1)
        for face in range(4):
            flow += outer[face] / (1 / film[face] + reach[face] / k) * (beyond[face] - t)
        return flow / share

    begun = np.array([properties.enthalpy(t, *medium[:2], *medium[4:]) for t in start_c])
    times = np.arange(0, seconds + 1, HOUR_S)
    solved = solve_ivp(slope, (0, seconds), begun, "BDF", times, rtol=1e-7, atol=1e2)
    return np.array([temperatures(enthalpy) for enthalpy in solved.y.T])


@pytest.mark.parametrize("outside_c", [(-12.0, -8.0, -3.0), (9.0, 6.0, 2.0)])
def test_freezing_and_thawing_agree_with_a_general_purpose_solver(outside_c):
    grid = Grid.of((0.30, 0.22, 0.15), (2, 2, 3))
    start_c = np.linspace(-3.0, 3.0, 12)
    films = (8.0, 4.0, 2.0)
    hours, seconds = 30, 300.0
    there = of_ivp(grid, BEDDING, start_c, outside_c, films, hours * HOUR_S)
    stretches = np.tile(np.array(outside_c), (round(hours * HOUR_S / seconds), 1))
    found = field.run(
        grid, BEDDING, start_c=start_c, outside_c=stretches, films=np.array(films), seconds=seconds, tolerance_k=0.001
    )[:: round(HOUR_S / seconds)]
    np.testing.assert_allclose(found, there, atol=0.02)
    usual = field.run(
        grid, BEDDING, start_c=start_c, outside_c=np.tile(np.array(outside_c), (hours, 1)), films=np.array(films)
    )
    assert np.sqrt(np.mean((usual - there) ** 2)) < 0.1


def test_cells_know_their_neighbours():
    """Conductances laid out flat: none below the first cell of an axis, and each between the two it joins."""
    cells = field.Cells.of(GRID)
    first, count = int(cells.first), int(cells.cells)
    inside = slice(first, first + count)
    for axis, across in enumerate((cells.across_x, cells.across_y, cells.across_z)):
        block = across[inside].reshape(CELLS)
        apart = np.diff(GRID.nodes[axis])
        area = GRID.volume_m3.reshape(CELLS) / np.expand_dims(GRID.widths[axis], [a for a in range(3) if a != axis])
        assert not np.take(block, 0, axis).any()
        rest = np.delete(block, 0, axis)
        np.testing.assert_allclose(
            rest, np.delete(area, 0, axis) / np.expand_dims(apart, [a for a in range(3) if a != axis])
        )
        assert not across[:first].any()
        assert not across[first + count :].any()
    np.testing.assert_allclose(1 / cells.per_volume[inside], GRID.volume_m3)
