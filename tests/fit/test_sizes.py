from dataclasses import replace

import numpy as np
import pytest

from tests.update.sample import sample
from underlid.fit.change import resize
from underlid.fit.sizes import MOST, SETTLING_H, BadSizes, proper, scaled, sizes
from underlid.quantity.points import three


@pytest.fixture(scope="module")
def found():
    return sizes(sample(), [160, 10, 40, 40])


def test_the_fitted_bin_among_the_sizes_is_its_own_outlook(found):
    told = sample().outlook
    for place, own in found.own_c.items():
        minima = told.draws_c[place][:, SETTLING_H:].min(axis=1)
        assert own == pytest.approx(three(minima), abs=1e-6)
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


def test_a_bigger_bin_has_the_same_proportions_and_is_fed_and_watered_in_proportion(found):
    case = sample().case
    fed = replace(case, drive=replace(case.drive, water_kg=np.full(len(case.time_utc), 0.01)))
    own, big = case.situation.vessel, scaled(fed, 8 * found.own_litres)
    assert big.situation.vessel.width_m == pytest.approx(2 * own.width_m)
    assert big.situation.vessel.bedding_depth_m == pytest.approx(2 * own.bedding_depth_m)
    assert case.drive.food_kg.sum() > 0
    assert big.drive.food_kg == pytest.approx(8 * case.drive.food_kg)
    assert fed.drive.water_kg is not None
    assert big.drive.water_kg == pytest.approx(8 * fed.drive.water_kg)
    assert scaled(case, 20).drive.water_kg is None
    assert any("fed and watered in proportion" in note for note in found.notes)


@pytest.mark.parametrize(
    ("size", "shape", "sentence"),
    [
        (1, (0.6, 0.5, 0.3, 0.08), "A bin of 1 litre in these proportions would be too thin, its bedding 1.8 cm deep"),
        (2000, (3.0, 0.1, 0.1, 0.08), "A bin of 2000 litres .* would be too long, at 1216.4 cm; give a smaller size"),
    ],
)
def test_a_size_that_these_proportions_cannot_have_is_named(size, shape, sentence):
    case = resize(sample().case, *shape).case
    with pytest.raises(BadSizes, match=sentence):
        scaled(case, size)
