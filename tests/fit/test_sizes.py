import numpy as np
import pytest

from tests.update.sample import sample
from underlid.fit.sizes import MOST, SETTLING_H, BadSizes, proper, sizes


@pytest.fixture(scope="module")
def found():
    return sizes(sample(), [160, 10, 40, 40])


def test_the_fitted_bin_among_the_sizes_is_its_own_outlook(found):
    told = sample().outlook
    for place, own in found.own_c.items():
        minima = told.draws_c[place][:, SETTLING_H:].min(axis=1)
        assert own == pytest.approx(np.percentile(minima, [5, 50, 95]), abs=1e-6)
    assert found.own_litres == pytest.approx(55 * 38 * 32 / 1000, rel=0.01)


def test_a_small_bin_is_coldest_and_a_big_ones_middle_least(found):
    assert found.litres.tolist() == [10, 40, 160]
    for place in ("middle", "edge"):
        medians = found.coldest_c[place][:, 1]
        assert medians[0] < min(medians[1:])  # beyond some size the edge, 3 cm in, gains nothing
        assert (np.diff(found.coldest_c[place], axis=1) >= 0).all()
    assert (np.diff(found.coldest_c["middle"][:, 1]) > 0).all()
    assert (found.coldest_c["middle"][:, 1] > found.coldest_c["edge"][:, 1]).all()


def test_progress_reaches_its_end():
    done: list[float] = []
    sizes(sample(), [30], done.append)
    assert done == [0.5, 1.0]


@pytest.mark.parametrize("asked", [[0], [-5], [float("nan")], [1e9], [], list(range(1, MOST + 2))])
def test_sizes_that_no_bin_has_are_refused(asked):
    with pytest.raises(BadSizes, match="litres"):
        proper(asked)
