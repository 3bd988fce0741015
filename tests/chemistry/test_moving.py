"""How much moves the bin, run again and against the bedding's plain buffer."""

import doctest

import numpy as np

from tests.chemistry.test_pocket import BIN
from underlid.chemistry import moving
from underlid.chemistry.moving import acid_to_move, mass_to_move
from underlid.chemistry.pocket import Feed, course
from underlid.chemistry.rates import draw_rates


def test_how_much_moves_the_bin_is_found_again_by_running_it():
    food = Feed(kg=1.0, litres=2.0, water_kg=0.8, citrate_mol=0.1, base_mol=0.02, carbon_mol=6.0, decay_per_day=0.02)
    some = draw_rates(5, np.random.default_rng(3))
    times = mass_to_move(BIN, food, some, 15.0, drop_ph=0.3)
    told = course(BIN, food.times(times), some, 15.0, time_h=np.array([3.0, 6, 12, *range(24, 721, 12)]))
    np.testing.assert_allclose(told.whole_ph.min(1), 6.9, atol=2e-3)
    least = acid_to_move(BIN, food, some, 15.0, drop_ph=0.3)
    plain = 0.3 * 3 * 0.31 / 0.3  # [kg] with 0.3 mol H+ per kg, on the bedding's buffer alone
    assert (least > 0.95 * plain).all()
    assert (least < 1.6 * plain).all()
    assert (least < times).all()
    assert np.isinf(mass_to_move(BIN, Feed(kg=1.0, litres=2.0, base_mol=0.1, decay_per_day=0.1), some, 15.0)).all()


def test_the_example_holds():
    assert doctest.testmod(moving).failed == 0
