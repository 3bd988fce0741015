import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.heat.grid import FOOD_PLACES, Grid, OutsideBedding, Probe, even_weights, quadratic_weights

SIZE_M = (0.45, 0.32, 0.29)
GRID = Grid.of(SIZE_M, (4, 4, 6))

widths = st.floats(0.05, 1.0)
sizes = st.tuples(widths, widths, widths).map(lambda s: (max(s[:2]), min(s[:2]), s[2]))
cells = st.tuples(st.integers(1, 6), st.integers(1, 6), st.integers(1, 9))


@settings(deadline=None)
@given(size_m=sizes, cells=cells)
def test_cells_fill_a_quarter_of_the_box(size_m, cells):
    grid = Grid.of(size_m, cells)
    length, width, depth = size_m
    assert grid.shape == cells
    assert grid.volume_m3.sum() == pytest.approx(length * width * depth / 4)
    assert grid.share.sum() == pytest.approx(1)
    assert (grid.volume_m3 > 0).all()
    quarter = [width / 2 * depth, length / 2 * depth, length * width / 4, length * width / 4]
    assert grid.faces_m2.sum(axis=1) == pytest.approx(quarter)


def test_cells_are_finer_towards_the_walls_base_and_surface():
    along, across, up = GRID.widths
    assert (np.diff(along) < 0).all()
    assert (np.diff(across) < 0).all()
    assert (np.diff(up)[:2] > 0).all()
    assert up == pytest.approx(up[::-1])


@settings(deadline=None)
@given(size_m=sizes, cells=cells)
def test_every_pattern_shares_out_one_watt(size_m, cells):
    patterns = Grid.of(size_m, cells).patterns()
    assert patterns.shape == (2 + len(FOOD_PLACES), np.prod(cells))
    assert (patterns >= 0).all()
    assert patterns.sum(axis=1) == pytest.approx(np.ones(len(patterns)))


def test_food_lies_where_it_was_put():
    everywhere, unnoted, middle, edge, surface, top = GRID.patterns()
    x, y, z = np.meshgrid(*GRID.nodes, indexing="ij")
    height, wall = z.ravel(), np.minimum(0.225 - x, 0.16 - y).ravel()
    assert everywhere == pytest.approx(GRID.share)
    assert surface @ height > unnoted @ height > everywhere @ height
    assert middle @ height == pytest.approx(edge @ height)
    assert edge @ wall < unnoted @ wall < middle @ wall
    assert np.flatnonzero(top).tolist() == list(range(5, 96, 6))


def test_food_not_noted_is_middle_and_edge_together():
    """The middle is what remains within a third of the half width of the walls: a known share of the plan."""
    _, unnoted, middle, edge, _, _ = GRID.patterns()
    rim = 0.32 / 2 / 3
    core = (0.225 - rim) * (0.16 - rim) / (0.225 * 0.16)
    assert unnoted == pytest.approx(core * middle + (1 - core) * edge)


def test_a_uniform_layer_gets_heat_by_its_thickness():
    """Food lies in the upper third; of cells that it only reaches into, it takes the part."""
    columns = Grid.of(SIZE_M, (1, 1, 7)).patterns()
    edges = Grid.of(SIZE_M, (1, 1, 7)).edges[2]
    from_m = 0.29 * 2 / 3
    overlap = np.clip(edges[1:] - np.maximum(edges[:-1], from_m), 0, None)
    assert columns[1] == pytest.approx(overlap / (0.29 / 3))


def smooth(x, y, z):
    """Quadratic, and even about the middle of the box, as a quarter of a box must be."""
    return 3 + 2 * z - 5 * z**2 - 20 * y**2 - 9 * x**2


@settings(deadline=None)
@given(wall_m=st.floats(0, 0.16), depth_m=st.floats(0, 0.29))
def test_probes_read_a_quadratic_field_exactly(wall_m, depth_m):
    field = smooth(*np.meshgrid(*GRID.nodes, indexing="ij")).ravel()
    weights = GRID.weights([Probe(wall_m, depth_m)])
    assert weights.sum() == pytest.approx(1)
    assert weights[0] @ field == pytest.approx(smooth(0.0, 0.16 - wall_m, 0.29 - depth_m))


def test_each_probe_has_its_row():
    probes = [Probe(0.03, 0.1), Probe(0.16, 0.145), Probe(0.16, 0.02)]
    weights = GRID.weights(probes)
    assert weights.shape == (3, 96)
    for row, probe in zip(weights, probes, strict=True):
        assert row == pytest.approx(GRID.weights([probe])[0])


@pytest.mark.parametrize("probe", [Probe(0.1, 0.4), Probe(0.1, -0.01), Probe(0.2, 0.1), Probe(-0.1, 0.1)])
def test_a_probe_outside_the_bedding_is_refused(probe):
    with pytest.raises(OutsideBedding, match="outside bedding"):
        GRID.weights([probe])


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_weights_are_as_exact_as_the_nodes_allow(count):
    nodes = np.linspace(0.1, 0.5, count)
    for power in range(min(count, 3)):
        assert quadratic_weights(nodes, 0.27) @ nodes**power == pytest.approx(0.27**power)


def test_even_weights_have_no_slope_in_the_middle():
    nodes = np.array([0.05, 0.15, 0.25])
    assert even_weights(nodes, 0.0) @ nodes**2 == pytest.approx(0, abs=1e-12)
    assert even_weights(nodes, 0.01) == pytest.approx(even_weights(nodes, -0.01))
