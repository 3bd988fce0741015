import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import label

from underlid.heat.field import Cells
from underlid.heat.grid import Grid
from underlid.heat.refuge import reach

SHAPE = (3, 4, 5)
BLOCK = Cells.of(Grid.of((0.5, 0.4, 0.3), SHAPE))
COLUMN = Cells.of(Grid.of((0.5, 0.4, 0.3), (1, 1, 5)))


def flat(cells, temperatures):
    """Temperatures laid out as the field keeps them; the idle planes hold what would mislead."""
    first, count = int(cells.first), int(cells.cells)
    t = np.full(cells.top.shape[0], 15.0)
    t[first : first + count] = np.ravel(temperatures)
    return t


def hour(cells, temperatures, could_be):
    """Update `could_be` by an hour; returns the distance from the band, and checks the share that goes with it."""
    even = np.full(len(could_be), 1.0 / len(could_be))
    held, away_k = reach(cells, even, flat(cells, temperatures), 5.0, 25.0, could_be[None], 0)
    assert held == pytest.approx(0.0 if away_k > 0 else could_be.mean())
    return away_k


def test_all_tolerated_is_all_refuge():
    could_be = np.array([False, False, True, False, False])
    assert hour(COLUMN, [5, 10, 15, 20, 25], could_be) == 0
    assert could_be.all()


def test_of_two_pockets_worms_are_in_the_one_they_could_have_reached():
    could_be = np.array([False, False, False, False, True])
    assert hour(COLUMN, [10, 10, 0, 10, 10], could_be) == 0
    assert could_be.tolist() == [False, False, False, True, True]


def test_worms_that_could_be_anywhere_may_be_in_either_pocket():
    could_be = np.ones(5, bool)
    assert hour(COLUMN, [10, 10, 0, 10, 30], could_be) == 0
    assert could_be.tolist() == [True, True, False, True, False]


def test_a_pocket_that_fails_leaves_only_the_other_and_is_found_again_when_the_way_opens():
    could_be = np.ones(5, bool)
    hour(COLUMN, [10, 10, 0, 10, 10], could_be)
    hour(COLUMN, [0, 0, 0, 10, 10], could_be)
    hour(COLUMN, [10, 10, 0, 10, 10], could_be)
    assert could_be.tolist() == [False, False, False, True, True]
    hour(COLUMN, [10, 10, 6, 10, 10], could_be)
    assert could_be.all()


@pytest.mark.parametrize(
    ("column", "away_k"),
    [([10, 10, 0, 2, 1], 3), ([10, 10, 0, 29, 1], 4), ([-40, 4, 3, 4.5, 40], 0.5), ([10, 10, 10, -7, -6], 11)],
)
def test_caught_worms_stay_where_they_were_as_far_outside_as_the_best_place(column, away_k):
    """A tolerated pocket elsewhere is of no use to them."""
    could_be = np.array([False, False, False, True, True])
    assert hour(COLUMN, column, could_be) == pytest.approx(away_k)
    assert could_be.tolist() == [False, False, False, True, True]


def test_caught_worms_spread_again_once_it_is_tolerated_where_they_are():
    could_be = np.array([False, False, False, True, True])
    hour(COLUMN, [10, 10, 0, 2, 1], could_be)
    assert hour(COLUMN, [10, 10, 0, 6, 1], could_be) == 0
    assert could_be.tolist() == [False, False, False, True, False]


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_worms_pass_through_faces_along_every_axis_and_never_round_the_end_of_a_row(axis):
    """Two tolerated slabs with a cold one between: cells that follow each other in memory need not touch."""
    middle = [slice(None)] * 3
    middle[axis] = slice(1, SHAPE[axis] - 1)
    block = np.full(SHAPE, 10.0)
    block[tuple(middle)] = 0.0
    could_be = np.zeros(SHAPE, bool)
    could_be[0, 0, 0] = True
    flat_could_be = could_be.ravel()
    assert hour(BLOCK, block, flat_could_be) == 0
    reached = np.moveaxis(flat_could_be.reshape(SHAPE), axis, 0)
    assert reached[0].all()
    assert not reached[1:].any()


@settings(deadline=None)
@given(seed=st.integers(0, 100_000), tolerated=st.floats(0.05, 0.95), begun=st.floats(0.02, 0.6))
def test_the_refuge_is_every_tolerated_part_that_joins_where_they_could_be(seed, tolerated, begun):
    """Connected parts as scipy.ndimage labels them, by faces."""
    rng = np.random.default_rng(seed)
    block = np.where(rng.random(SHAPE) < tolerated, 10.0, rng.uniform(-5, 4, SHAPE))
    could_be = rng.random(SHAPE) < begun
    could_be.flat[rng.integers(could_be.size)] = True
    inside = (block >= 5) & (block <= 25)
    parts, _ = label(inside)
    reached = np.isin(parts, parts[could_be & inside]) & inside
    found = could_be.ravel().copy()
    distance = hour(BLOCK, block, found)
    if reached.any():
        assert distance == 0
        assert np.array_equal(found.reshape(SHAPE), reached)
    else:
        assert distance == pytest.approx(np.min(5.0 - block[could_be]))
        assert np.array_equal(found.reshape(SHAPE), could_be)
