"""The reduced model against its own cells, stepped exactly by matrix exponentials."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import eigh, expm

from underlid.heat import reduced
from underlid.heat.grid import Grid, Probe

from . import closed_forms as exact
from .columns import HOUR_S, column

SIZE_M, CELLS = (0.43, 0.30, 0.22), (4, 4, 6)
GRID = Grid.of(SIZE_M, CELLS)
BASIS = reduced.basis(SIZE_M, CELLS)
PROBES = GRID.weights([Probe(0.15, 0.11), Probe(0.03, 0.11), Probe(0.15, 0.02)])

#: Conductivity, capacity, films: in the middle of what was trained, at its ends, and outside.
SETS = [
    (0.25, 1.9e6, (7.0, 4.0, 2.0)),
    (0.12, 8e5, (0.6, 0.6, 0.6)),
    (0.45, 3.2e6, (15.0, 15.0, 15.0)),
    (0.08, 5e5, (0.2, 0.3, 0.05)),
    (0.60, 3.6e6, (25.0, 20.0, 12.0)),
]
anything = st.tuples(
    st.floats(0.05, 0.7), st.floats(3e5, 4e6), st.tuples(st.floats(0.05, 40), st.floats(0.05, 40), st.floats(0.05, 40))
)


def modes(k, capacity, films, seconds=HOUR_S, basis=BASIS):
    return reduced.modes(basis, k, capacity, np.array(films), seconds)


def faces(grid, k, films):
    """Loss of each outer face of each cell, (4, cells), per volume [W/m3K]."""
    x, y, z = grid.widths
    halves = x[-1] / 2, y[-1] / 2, z[-1] / 2, z[0] / 2
    films = films[0], films[0], films[1], films[2]
    _, outer = reduced.operator(grid)
    return np.array([face / (1 / film + half / k) for face, film, half in zip(outer, films, halves, strict=True)])


def cells_step(k, capacity, films):
    """The cells' own step over an hour: (cells, cells), and (cells, 3) of the temperatures beyond."""
    conduct, _ = reduced.operator(GRID)
    end, wall, top, base = faces(GRID, k, films)
    holds = capacity * GRID.share[:, None]
    count = len(GRID.share)
    system = np.zeros((count + 3, count + 3))
    system[:count, :count] = -(k * conduct + np.diag(end + wall + top + base)) / holds
    system[:count, count:] = np.stack([end + wall, top, base], axis=1) / holds
    step = expm(system * HOUR_S)
    return step[:count, :count], step[:count, count:]


def pulses(parameters, hours):
    """Error at the probes [K] so many hours after one hour 1 K warmer beyond each face: (hours, probes, 3)."""
    step, forced = cells_step(*parameters)
    model = modes(*parameters)
    full, small = forced, model.gain[:3].T
    out = []
    for _ in range(hours):
        out.append(PROBES @ full - PROBES @ model.lift @ small)
        full, small = step @ full, model.decay[:, None] * small
    return np.array(out)


def bound(parameters, states=reduced.STATES):
    k, capacity, films = parameters
    return reduced.error_bound(
        SIZE_M, CELLS, k=k, capacity=capacity, films=np.array(films), weights=PROBES, states=states
    )


@pytest.mark.parametrize("parameters", SETS)
@pytest.mark.parametrize("seed", range(3))
def test_no_course_of_weather_errs_beyond_the_bound(parameters, seed):
    """Random courses within 1 K, smooth, rough and switching, beyond all faces at once."""
    rng = np.random.default_rng(seed)
    hours = 600
    rough = rng.uniform(-1, 1, (hours, 3))
    smooth = np.sin(np.arange(hours)[:, None] * 2 * np.pi / rng.uniform(6, 300, 3) + rng.uniform(0, 6, 3))
    switching = np.repeat(rng.choice([-1.0, 1.0], (hours // 6, 3)), 6, axis=0)
    step, forced = cells_step(*parameters)
    model = modes(*parameters)
    for course in (rough, smooth, switching):
        full, small, worst = np.zeros(len(GRID.share)), np.zeros(len(model.decay)), np.zeros(3)
        for beyond in course:
            full = step @ full + forced @ beyond
            small = model.decay * small + beyond @ model.gain[:3]
            worst = np.maximum(worst, np.abs(PROBES @ full - PROBES @ model.lift @ small))
        assert (worst <= bound(parameters).sum(axis=1) + 1e-9).all()
        assert (worst > 0).all()


@pytest.mark.parametrize("parameters", SETS)
def test_the_worst_course_reaches_the_bound(parameters):
    """It is no looser than it must be: air that switches with the sign of the pulse response errs by all of it."""
    worst = np.abs(pulses(parameters, reduced.LONGEST_H)).sum(axis=0)
    assert bound(parameters) == pytest.approx(worst, rel=1e-3, abs=1e-6)


@pytest.mark.parametrize("parameters", SETS)
def test_more_states_err_less(parameters):
    bounds = [bound(parameters, states).sum(axis=1).max() for states in (6, 12, 20, 40)]
    assert bounds[0] > bounds[1] > bounds[2] > bounds[3]


@pytest.mark.parametrize("parameters", SETS)
def test_cells_are_followed_closely_inside_and_outside_what_was_trained(parameters):
    """Per kelvin of swing, for the worst course there can be beyond each face."""
    assert bound(parameters).max() < 0.03


def test_with_as_many_states_as_cells_nothing_is_lost():
    all_states = reduced.basis((0.3, 0.2, 0.2), (2, 2, 3), 12)
    weights = np.eye(12)
    assert all_states.v.shape == (12, 12)
    lost = reduced.error_bound(
        (0.3, 0.2, 0.2), (2, 2, 3), k=0.3, capacity=2e6, films=np.array([8.0, 4.0, 2.0]), weights=weights, states=12
    )
    assert lost.max() < 1e-8


@settings(max_examples=60, deadline=None)
@given(parameters=anything)
def test_every_parameter_set_gives_a_stable_model(parameters):
    decay = modes(*parameters).decay
    assert (decay > 0).all()
    assert (decay < 1).all()


@settings(max_examples=60, deadline=None)
@given(parameters=anything)
def test_equal_surroundings_become_the_temperature_everywhere(parameters):
    """Constant gain: what sides, top and ground answer for together is 1 in every cell."""
    model = modes(*parameters)
    rest = model.lift @ (model.gain[:3].sum(axis=0) / (1 - model.decay))
    assert rest == pytest.approx(np.ones(len(GRID.share)), abs=1e-6)
    assert model.patterns @ np.linalg.lstsq(model.lift, rest, rcond=None)[0] == pytest.approx(np.ones(6), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(parameters=anything, there_c=st.floats(-30, 40))
def test_a_uniform_field_in_equal_surroundings_stays(parameters, there_c):
    model = modes(*parameters)
    z = (GRID.share * there_c) @ BASIS.v @ model.into
    assert model.lift @ z == pytest.approx(np.full(len(GRID.share), there_c), abs=1e-8)
    assert model.decay * z + there_c * model.gain[:3].sum(axis=0) == pytest.approx(z, abs=1e-8)


@settings(max_examples=40, deadline=None)
@given(parameters=anything, pattern=st.integers(0, 5))
def test_at_rest_a_watt_in_is_a_watt_out(parameters, pattern):
    model = modes(*parameters)
    warmer = model.lift @ (model.gain[3 + pattern] / (1 - model.decay))
    lost = faces(GRID, parameters[0], parameters[2]).sum(axis=0) @ warmer * np.prod(SIZE_M)
    assert lost == pytest.approx(1, rel=1e-6)


@pytest.mark.parametrize("pattern", range(6))
def test_an_insulated_box_takes_up_the_joules_it_is_given(pattern):
    model = modes(0.3, 2e6, (0.0, 0.0, 0.0))
    warmer = model.lift @ model.gain[3 + pattern]
    assert GRID.share @ warmer * 2e6 * np.prod(SIZE_M) == pytest.approx(HOUR_S, rel=1e-9)
    assert model.decay.max() == pytest.approx(1, abs=1e-9)


def test_two_half_steps_are_one_step():
    whole, half = modes(*SETS[0]), modes(*SETS[0], seconds=HOUR_S / 2)
    assert half.decay**2 == pytest.approx(whole.decay)
    assert half.gain * (1 + half.decay) == pytest.approx(whole.gain)


def test_modes_read_sides_surface_and_patterns_as_their_cells_do():
    model = modes(*SETS[0])
    z = np.random.default_rng(2).normal(size=len(model.decay))
    field = model.lift @ z
    sides = GRID.faces_m2[:2].sum(axis=0)
    assert model.side_mean @ z == pytest.approx(sides @ field / sides.sum())
    assert model.lift_by_state.T @ z == pytest.approx(model.lift @ z)
    assert model.patterns @ z == pytest.approx(GRID.patterns() @ field)
    corners = field.reshape(CELLS)[np.ix_([0, -1], [0, -1], [0, -1])]
    assert field[BASIS.corners] == pytest.approx(corners.ravel())


def test_the_basis_is_orthonormal_holds_the_uniform_field_and_is_made_once():
    assert BASIS.v.shape == (96, reduced.STATES)
    assert (BASIS.v.T * GRID.share) @ BASIS.v == pytest.approx(np.eye(reduced.STATES), abs=1e-9)
    assert BASIS.v @ (BASIS.v.T @ GRID.share) == pytest.approx(np.ones(96))
    assert BASIS.volume_m3 == pytest.approx(np.prod(SIZE_M))
    assert reduced.basis(SIZE_M, CELLS) is reduced.basis(SIZE_M, CELLS)


@pytest.mark.parametrize("cells", [(1, 1, 1), (1, 2, 3), (2, 2, 2)])
def test_a_box_of_few_cells_leaves_the_other_states_idle(cells):
    basis = reduced.basis((0.3, 0.2, 0.2), cells)
    count = np.prod(cells)
    assert np.linalg.matrix_rank(basis.v) == count
    model = modes(0.3, 2e6, (8.0, 4.0, 2.0), basis=basis)
    assert (model.decay < 1).sum() == count
    assert model.gain[:, model.decay == 1] == pytest.approx(0, abs=1e-12)


def test_where_all_is_stepped_in_the_full_field_one_state_will_do():
    basis = reduced.basis(SIZE_M, CELLS, 1)
    assert basis.v == pytest.approx(np.ones((96, 1)))


def test_conduction_moves_heat_and_makes_none():
    conduct, _ = reduced.operator(GRID)
    assert conduct == pytest.approx(conduct.T)
    assert conduct.sum(axis=0) == pytest.approx(np.zeros(96), abs=1e-9)
    assert np.linalg.eigvalsh(conduct).min() > -1e-9


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0])
def test_rates_of_a_plane_wall(biot):
    """The first four roots of zeta tan zeta = Bi; Carslaw & Jaeger 1959, 3.11. Its half, insulated in the middle."""
    half, k, capacity = 0.145, 0.35, 2.4e6
    grid = column(np.linspace(0, half, 101))
    conduct, outer = reduced.operator(grid)
    film = biot * k / half
    loss = k * conduct + np.diag(outer[2] / (1 / film + grid.widths[2][-1] / 2 / k))
    rates = eigh(loss, capacity * np.diag(grid.share), eigvals_only=True)[:4]
    assert rates == pytest.approx(exact.plane_wall_roots(biot, 4) ** 2 * k / capacity / half**2, rel=2e-3)
