"""Recipe arithmetic against worked values.

The form is that of NRAES-54 (On-Farm Composting Handbook, 1992, chapter 5); its printed example was not re-read. The
numbers were computed on their own with 30 digits.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.facts import Fact
from underlid.bedding.materials import every_material, material
from underlid.bedding.mixing import drawn, drawn_shares, mixed, shares, water_to_reach


def made_up(**percent):
    """A material of the moisture [%], nitrogen [%], C:N, bulk density [kg/m3] and volatile share [%] given."""
    of = {"moisture": 50.0, "nitrogen": 1.0, "carbon_nitrogen": 30.0, "bulk": 500.0, "volatile": 80.0} | percent

    def exactly(value):
        return Fact(value, value, value, "made up", "judgement")

    return replace(
        material("leaves"), moisture_pct=exactly(of["moisture"]), nitrogen_pct=exactly(of["nitrogen"]),
        carbon_pct=exactly(of["nitrogen"] * of["carbon_nitrogen"]), bulk_kg_m3=exactly(of["bulk"]),
        volatile_pct=exactly(of["volatile"]),
    )  # fmt: skip


GRASS = made_up(moisture=77, nitrogen=3.4, carbon_nitrogen=17)
LEAVES = made_up(moisture=35, nitrogen=0.9, carbon_nitrogen=54)


@pytest.mark.parametrize(
    ("kg", "moisture", "ratio"),
    [((1, 1), 0.56, 32.833943), ((1, 2), 0.49, 39.177254), ((1, 0.724074), 0.593609, 30), ((1, 0.68), 0.60, 29.475504)],
)
def test_grass_with_leaves(kg, moisture, ratio):
    mix = mixed(shares([GRASS, LEAVES]), np.array(kg), 0.0)
    assert float(mix.moisture) == pytest.approx(moisture, abs=1e-6)
    assert float(mix.carbon_nitrogen) == pytest.approx(ratio, abs=1e-4)


def test_manure_scraps_and_board():
    held = shares([
        made_up(moisture=72, nitrogen=1.6, carbon_nitrogen=30), made_up(moisture=80, nitrogen=2.7, carbon_nitrogen=15),
        made_up(moisture=8, nitrogen=0.1, carbon_nitrogen=563),
    ])  # fmt: skip
    kg = np.array([10, 4, 1.5])
    mix = mixed(held, kg, 0.0)
    assert float(mix.moisture) == pytest.approx(0.678710, abs=1e-6)
    assert float(mix.carbon_nitrogen) == pytest.approx(36.071703, abs=1e-6)
    assert float(water_to_reach(0.65, kg.sum(), held.water @ kg)) == pytest.approx(-1.271429, abs=1e-6)
    assert float(water_to_reach(0.75, kg.sum(), held.water @ kg)) > 0


@pytest.mark.parametrize(
    ("bulk", "moisture", "volatile", "air"), [(600, 65, 75, 0.490563), (475, 60, 80, 0.604800), (800, 70, 70, 0.306200)]
)
def test_free_air_space(bulk, moisture, volatile, air):
    """Form of Haug (1993), recalled."""
    held = shares([made_up(bulk=bulk, moisture=moisture, volatile=volatile)])
    assert float(mixed(held, np.array([3.0]), 0.0, settled=1.0).air) == pytest.approx(air, abs=1e-6)


amounts = st.lists(st.floats(0.01, 20), min_size=2, max_size=2)
two = st.lists(st.sampled_from(sorted(one.name for one in every_material().values())), min_size=2, max_size=2)


@settings(deadline=None)
@given(two, amounts, st.floats(0, 20))
def test_a_mix_conserves_mass_dry_matter_carbon_and_volume(names, kg, water):
    ones = [every_material()[name] for name in names]
    mix = mixed(shares(ones), np.array(kg), water, settled=1.0)
    assert mix.kg == pytest.approx(sum(kg) + water)
    assert mix.litres == pytest.approx(sum(m * 1000 / one.bulk_kg_m3.value for m, one in zip(kg, ones, strict=True)))
    dry = np.array(kg) * [1 - one.moisture for one in ones]
    assert float(mix.kg * (1 - mix.moisture)) == pytest.approx(dry.sum())
    nitrogen = dry @ [one.nitrogen_pct.value / 100 for one in ones]
    if nitrogen:
        assert float(mix.carbon_nitrogen * nitrogen) == pytest.approx(
            dry @ [one.carbon_pct.value / 100 for one in ones]
        )
    # Whatever the water and the solids leave of the volume is air, with the densities that Agnew & Leonard (2003) give.
    organic = dry @ [one.volatile_pct.value / 100 for one in ones]
    filled = (mix.kg - dry.sum()) / 1.0 + organic / 1.6 + (dry.sum() - organic) / 2.5
    assert float(mix.litres * (1 - mix.air)) == pytest.approx(float(filled))


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
