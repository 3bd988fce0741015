"""Conduction against closed forms: series of Carslaw & Jaeger 1959, evaluated at 30 digits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.heat.box import Box, OutsideBedding, Probe

HOUR = 3600.0
BRICK = (0.45, 0.32, 0.29)
K, C = 0.35, 2.4e6


def box_of(size, grid, film, *, side=None, top=None, base=None, k=K, c=C):
    def coefficient(own):
        return np.array([film if own is None else own], float)

    return Box.of(
        size,
        grid,
        conductivity=np.array([k]),
        capacity=np.array([c]),
        latent=np.zeros(1),
        side=coefficient(side),
        top=coefficient(top),
        base=coefficient(base),
    )


def cool_down(box, hours, start=10.0, outside=-10.0):
    """The field at each full hour, (hours + 1, cells), stepped under constant surroundings."""
    step, response = box.step(HOUR)
    fields = [np.full(box.share.shape[0], start)]
    for _ in range(hours):
        fields.append(step[0] @ fields[-1] + outside * (response[0, 0] + response[0, 1]))
    return np.array(fields)


# Centre temperature of a brick that starts at 10 degC in surroundings of -10 degC: product of three plane walls.
BRICK_CENTRE_C = {
    10: {6: 7.849702, 12: 1.627694, 24: -6.048443, 48: -9.583892},
    20: {6: 7.095507, 12: -0.0553618, 24: -7.307474, 48: -9.817673},
}


@pytest.mark.parametrize("film", [10, 20])
@pytest.mark.parametrize(("grid", "tolerance_k"), [((3, 3, 5), 0.55), ((4, 4, 7), 0.3), ((8, 8, 13), 0.1)])
def test_brick_cools_as_the_product_of_three_walls(film, grid, tolerance_k):
    box = box_of(BRICK, grid, film)
    centre = box.weights([Probe(0.16, 0.145)])[0]
    fields = cool_down(box, 48)
    for hour, expected in BRICK_CENTRE_C[film].items():
        assert centre @ fields[hour] == pytest.approx(expected, abs=tolerance_k)


def test_brick_converges_with_a_finer_grid():
    worst = []
    for grid in [(4, 4, 7), (8, 8, 13), (14, 14, 23)]:
        box = box_of(BRICK, grid, 20)
        centre = box.weights([Probe(0.16, 0.145)])[0]
        fields = cool_down(box, 48)
        worst.append(max(abs(centre @ fields[h] - t) for h, t in BRICK_CENTRE_C[20].items()))
    assert worst[0] > worst[1] > worst[2]
    assert worst[2] < 0.03


# First roots of zeta tan(zeta) = Bi: Incropera & DeWitt, table of the plane wall, recalled; computed at 30 digits.
@pytest.mark.parametrize(("biot", "zeta"), [(0.1, 0.311052848), (1.0, 0.860333589), (10.0, 1.42887001)])
def test_slowest_rate_of_a_plane_wall(biot, zeta):
    half = 0.145
    box = box_of((1.0, 1.0, 2 * half), (2, 2, 5), biot * K / half, side=0.0)
    slowest = -box.axes[2].rate[0].max()
    assert slowest == pytest.approx(zeta**2 * K / C / half**2, rel=0.045)


@pytest.mark.parametrize(("cells", "tolerance"), [(9, 0.07), (41, 0.01)])
def test_daily_wave_at_the_centre_of_a_slab(cells, tolerance):
    """Half thickness 0.145 m, 20 W/m2K on both faces: amplitude ratio 0.1547466, lag 9.580938 h."""
    box = box_of((1.0, 1.0, 0.29), (1, 1, cells), 20.0, side=0.0)
    step, response = box.step(HOUR / 6)
    air = np.cos(2 * np.pi * (np.arange(24 * 6 * 12) + 0.5) / (24 * 6))
    field, centre = np.zeros(cells), []
    for outside in air:
        field = step[0] @ field + outside * (response[0, 0] + response[0, 1])
        centre.append(field[cells // 2])
    last_day = np.array(centre[-24 * 6 :])
    phase = np.fft.rfft(last_day)[1] / (len(last_day) / 2)
    # The field of step n stands at its end, n + 1 steps; the rfft counts it at n.
    lag_h = (-np.angle(phase) / (2 * np.pi) * 24 + 1 / 6) % 24
    assert abs(phase) == pytest.approx(0.1547466, rel=tolerance)
    assert lag_h == pytest.approx(9.580938, rel=tolerance)


def test_one_node_would_be_wrong():
    """At U = 5 W/m2K the Biot number is 0.81: a lumped bin reads -9.157 degC after 24 h, the centre does not."""
    box = box_of(BRICK, (4, 4, 7), 5.0)
    fields = cool_down(box, 24)
    lumped = -10 + 20 * np.exp(-24 / 7.579635)
    assert lumped == pytest.approx(-9.156881, abs=1e-5)
    assert box.weights([Probe(0.16, 0.145)])[0] @ fields[24] > lumped + 3


@given(
    hours=st.floats(0.05, 30),
    film=st.floats(0.1, 60),
    base=st.floats(0.0, 20),
    size=st.tuples(*[st.floats(0.1, 0.8)] * 3),
)
@settings(max_examples=40, deadline=None)
def test_a_uniform_field_in_equal_surroundings_stays(hours, film, base, size):
    box = box_of(size, (3, 3, 5), film, base=base)
    step, response = box.step(hours * HOUR)
    after = step[0] @ np.ones(45) + response[0, 0] + response[0, 1]
    np.testing.assert_allclose(after, 1.0, atol=1e-9)


@given(seconds=st.floats(60, 1e5), size=st.tuples(*[st.floats(0.1, 0.8)] * 3), seed=st.integers(0, 99))
@settings(max_examples=40, deadline=None)
def test_an_insulated_box_keeps_its_heat_and_takes_up_what_it_is_given(seconds, size, seed):
    box = box_of(size, (3, 3, 5), 0.0)
    step, response = box.step(seconds)
    field = np.random.default_rng(seed).uniform(-20, 20, 45)
    assert box.share @ (step[0] @ field) == pytest.approx(box.share @ field, abs=1e-10)
    for heat in (2, 3):  # 1 W for some seconds, wherever it is released
        gained = (box.share @ response[0, heat]) * C * box.volume_m3
        assert gained == pytest.approx(seconds, rel=1e-9)


def test_two_half_steps_are_one_step():
    box = box_of(BRICK, (3, 3, 5), 8.0, base=2.0)
    whole, response = box.step(HOUR)
    half, half_response = box.step(HOUR / 2)
    np.testing.assert_allclose(half[0] @ half[0], whole[0], atol=1e-13)
    np.testing.assert_allclose(half[0] @ half_response[0].T + half_response[0].T, response[0].T, atol=1e-13)


def test_probe_weights_sum_to_one_and_read_a_linear_field():
    box = box_of(BRICK, (3, 3, 5), 8.0)
    weights = box.weights([Probe(0.03, 0.1), Probe(0.16, 0.145), Probe(0.16, 0.02)])
    np.testing.assert_allclose(weights.sum(axis=1), 1.0)
    height = np.broadcast_to(box.axes[2].node, (3, 3, 5)).ravel()
    np.testing.assert_allclose(weights[:2] @ height, [0.19, 0.145], atol=1e-12)


@pytest.mark.parametrize("probe", [Probe(0.1, 0.4), Probe(0.1, -0.01), Probe(0.2, 0.1), Probe(-0.1, 0.1)])
def test_a_probe_outside_the_bedding_is_refused(probe):
    with pytest.raises(OutsideBedding, match="outside bedding"):
        box_of(BRICK, (3, 3, 5), 8.0).weights([probe])
