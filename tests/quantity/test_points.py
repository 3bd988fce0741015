"""Points of draws: a range must hold the next draw as often as it says, however few draws there are."""

import numpy as np
import pytest

from underlid.quantity.points import points, three


@pytest.mark.parametrize("draws", [20, 80, 400])
def test_one_draw_more_lies_inside_nine_times_in_ten(draws):
    """Exactly so for any continuous distribution (Wilks 1941, on the order statistics), here by simulation."""
    values = np.random.default_rng(1).lognormal(size=(draws + 1, 40_000))
    low, _, high = points(values[:-1])
    inside = (low <= values[-1]) & (values[-1] <= high)
    assert inside.mean() == pytest.approx(0.9, abs=0.006)


def test_the_points_of_the_first_nineteen_numbers_are_the_first_the_tenth_and_the_last():
    assert three(np.arange(1.0, 20.0)) == (1.0, 10.0, 19.0)
    assert points(np.arange(1.0, 20.0)[:, None] * [1.0, 2.0]).shape == (3, 2)
