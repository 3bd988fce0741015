"""Recipe arithmetic against worked values.

The form is that of NRAES-54 (On-Farm Composting Handbook, 1992, chapter 5); its printed example was not re-read. The
numbers were computed on their own with 30 digits.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.materials import every_material, material
from underlid.bedding.mixing import (
    NoSuchMix,
    carbon_nitrogen_of,
    drawn,
    drawn_shares,
    free_air_space,
    mixed,
    moisture_of,
    second_per_first,
    second_per_first_for_moisture,
    shares,
    water_to_reach,
)

GRASS_AND_LEAVES = {"moisture": (0.77, 0.35), "nitrogen": (0.034, 0.009), "carbon_nitrogen": (17, 54)}
MANURE_SCRAPS_BOARD = {
    "kg": (10, 4, 1.5),
    "moisture": (0.72, 0.80, 0.08),
    "nitrogen": (0.016, 0.027, 0.001),
    "carbon_nitrogen": (30, 15, 563),
}


@pytest.mark.parametrize(("kg", "moisture", "ratio"), [((1, 1), 0.56, 32.833943), ((1, 2), 0.49, 39.177254)])
def test_grass_with_leaves(kg, moisture, ratio):
    assert moisture_of(kg, GRASS_AND_LEAVES["moisture"]) == pytest.approx(moisture, abs=1e-12)
    assert carbon_nitrogen_of(kg, **GRASS_AND_LEAVES) == pytest.approx(ratio, abs=1e-6)


def test_leaves_per_grass_for_a_ratio_and_for_a_moisture():
    per_grass = second_per_first(30, **GRASS_AND_LEAVES)
    assert per_grass == pytest.approx(0.724074, abs=1e-6)
    assert moisture_of((1, per_grass), GRASS_AND_LEAVES["moisture"]) == pytest.approx(0.593609, abs=1e-6)
    assert second_per_first_for_moisture(0.60, GRASS_AND_LEAVES["moisture"]) == pytest.approx(0.68, abs=1e-12)


@pytest.mark.parametrize("wanted", [10, 17, 54, 60])
def test_no_mix_of_two_is_beyond_both(wanted):
    with pytest.raises(NoSuchMix, match="not between those of the two, 17 and 54"):
        second_per_first(wanted, **GRASS_AND_LEAVES)
    with pytest.raises(NoSuchMix, match="not between those of the two, 77% and 35%"):
        second_per_first_for_moisture(0.8, GRASS_AND_LEAVES["moisture"])


def test_manure_scraps_and_board():
    kg, moisture = MANURE_SCRAPS_BOARD["kg"], MANURE_SCRAPS_BOARD["moisture"]
    assert moisture_of(kg, moisture) == pytest.approx(0.678710, abs=1e-6)
    assert carbon_nitrogen_of(**MANURE_SCRAPS_BOARD) == pytest.approx(36.071703, abs=1e-6)
    water = np.dot(kg, moisture)
    assert float(water_to_reach(0.65, sum(kg), water)) == pytest.approx(-1.271429, abs=1e-6)
    assert float(water_to_reach(0.75, sum(kg), water)) > 0


@pytest.mark.parametrize(
    ("bulk_kg_m3", "moisture", "volatile", "air"),
    [(600, 0.65, 0.75, 0.490563), (475, 0.60, 0.80, 0.604800), (800, 0.70, 0.70, 0.306200)],
)
def test_free_air_space(bulk_kg_m3, moisture, volatile, air):
    """Form of Haug (1993), recalled."""
    assert float(free_air_space(bulk_kg_m3, moisture, volatile)) == pytest.approx(air, abs=1e-6)


amounts = st.lists(st.floats(0.01, 20), min_size=2, max_size=2)
two = st.lists(st.sampled_from(sorted(one.name for one in every_material().values())), min_size=2, max_size=2)


@settings(deadline=None)
@given(two, amounts, st.floats(0, 20))
def test_a_mix_conserves_mass_and_agrees_with_the_formulas(names, kg, water):
    ones = [every_material()[name] for name in names]
    mix = mixed(shares(ones), np.array(kg), water, settled=1.0)
    assert mix.kg == pytest.approx(sum(kg) + water)
    assert mix.litres == pytest.approx(sum(m * 1000 / one.bulk_kg_m3.value for m, one in zip(kg, ones, strict=True)))
    moisture = [one.moisture for one in ones]
    assert float(mix.moisture) == pytest.approx(
        moisture_of([*kg, water], [*moisture, 1.0]) if water else moisture_of(kg, moisture)
    )
    if all(one.nitrogen_pct.value for one in ones):
        nitrogen = [one.nitrogen_pct.value / 100 for one in ones]
        ratio = carbon_nitrogen_of(kg, moisture, nitrogen, [one.carbon_nitrogen for one in ones])
        assert float(mix.carbon_nitrogen) == pytest.approx(ratio)
    dry = np.array(kg) * (1 - np.array(moisture))
    volatile = dry @ [one.volatile_pct.value / 100 for one in ones] / dry.sum()
    air = free_air_space(1000 * mix.kg / mix.litres, mix.moisture, volatile)
    assert float(mix.air) == pytest.approx(float(air), abs=1e-9)


@settings(deadline=None)
@given(st.floats(0.05, 0.95), amounts)
def test_the_water_to_reach_a_moisture_reaches_it(wanted, kg):
    ones = [material("leaves"), material("horse manure")]
    held, masses = shares(ones), np.array(kg)
    water = water_to_reach(wanted, masses.sum(), held.water @ masses)
    assert float(mixed(held, masses, water).moisture) == pytest.approx(wanted)


def test_settling_takes_volume_and_air():
    held, kg = shares([material("leaves"), material("horse manure")]), np.array([2.0, 5.0])
    loose, settled = (mixed(held, kg, 3.0, settled=share) for share in (1.0, 0.7))
    assert settled.litres == pytest.approx(0.7 * loose.litres)
    assert 1 - settled.air == pytest.approx((1 - loose.air) / 0.7)


def test_draws_stay_within_what_is_known_and_centre_on_it():
    leaves = material("leaves")
    held = drawn_shares([leaves, material("cardboard")], 2000, np.random.default_rng(3))
    assert held.water.shape == (2000, 2)
    moisture = 100 * held.water[:, 0]
    assert leaves.moisture_pct.low <= moisture.min() < 20 < 55 < moisture.max() <= leaves.moisture_pct.high
    assert moisture.mean() == pytest.approx((15 + 38 + 60) / 3, abs=1)  # mean of a triangle
    assert set(drawn(material("leaves").most_pct, 3, np.random.default_rng(1))) == {100.0}
