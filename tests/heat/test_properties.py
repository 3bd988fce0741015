import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.materials import materials
from underlid.heat import properties


def test_moist_bedding_by_the_mixture_rule():
    """600 kg/m3 wet at 65 % water: dry 210, water fraction 0.39, C = 1.924 MJ/m3K (worked example)."""
    water = properties.water_fraction(210.0, 0.65)
    assert water == pytest.approx(0.39)
    assert properties.heat_capacity(210.0, water) == pytest.approx(1.924e6, rel=1e-3)


@pytest.mark.parametrize(("water", "low", "high"), [(0.0, 0.05, 0.10), (0.8, 0.45, 0.60)])
def test_conductivity_of_dry_and_saturated_peat(water, low, high):
    """Farouki 1981, recalled: dry peat about 0.06, saturated unfrozen about 0.5 W/mK."""
    assert low <= properties.conductivity(water) <= high


def test_freezing_a_small_bin_equals_seventy_kelvin():
    """A bin of 41.76 L, half water by volume, C 2.4 MJ/m3K: 6.97 MJ, as much as 70 K of cooling (worked example)."""
    latent = properties.latent_heat(0.5) * 0.04176
    assert latent == pytest.approx(6.97392e6, rel=1e-3)
    assert latent / (2.4e6 * 0.04176) == pytest.approx(69.6, abs=0.5)


def bedding(dry, water, freezing_c):
    """Heat capacities thawed and frozen, heat of fusion, first freezing point."""
    return (
        float(properties.heat_capacity(dry, water)),
        float(properties.frozen_capacity(dry, water)),
        float(properties.latent_heat(water)),
        freezing_c,
    )


#: Any dry density [kg/m3], water fraction and first freezing point.
beddings = st.builds(bedding, st.floats(30, 400), st.floats(0.0, 0.9), st.floats(-2, -0.001))


@settings(deadline=None)  # the first call compiles
@given(temperature_c=st.floats(-40, 40), mixture=beddings)
def test_enthalpy_and_temperature_are_inverse(temperature_c, mixture):
    held = properties.enthalpy(temperature_c, *mixture)
    assert properties.temperature(held, *mixture) == pytest.approx(temperature_c, abs=1e-6)


@settings(deadline=None)
@given(megajoules=st.floats(-400, 100), mixture=beddings)
def test_temperature_and_enthalpy_are_inverse(megajoules, mixture):
    there = properties.temperature(megajoules * 1e6, *mixture)
    assert properties.enthalpy(there, *mixture) == pytest.approx(megajoules * 1e6, abs=1.0)


@settings(deadline=None)
@given(mixture=beddings)
def test_enthalpy_rises_with_temperature(mixture):
    temperatures = np.linspace(-30, 10, 401)
    held = [properties.enthalpy(t, *mixture) for t in temperatures]
    assert (np.diff(held) > 0).all()


@settings(deadline=None)
@given(mixture=beddings)
def test_enthalpy_has_no_jump_at_the_first_freezing_point(mixture):
    freezing_c = mixture[-1]
    below = properties.enthalpy(np.nextafter(freezing_c, -1e9), *mixture)
    assert below == pytest.approx(properties.enthalpy(freezing_c, *mixture), abs=1e-3)


@pytest.mark.parametrize("temperature_c", [-0.5, -2.0, -10.0])
def test_enthalpy_is_the_sum_of_its_parts(temperature_c):
    """Solids, liquid water and ice, each at its own heat capacity, and fusion at 0 degC; 150 kg/m3 dry, 0.35 water."""
    liquid = 0.35 * properties.liquid_share(temperature_c, -0.3)
    ice = 0.35 - liquid
    parts = (150 * 1400 + liquid * 4.18e6 + ice * 1000 * 2100) * temperature_c - ice * 1000 * 334e3
    assert properties.enthalpy(temperature_c, *bedding(150, 0.35, -0.3)) == pytest.approx(parts, rel=1e-12)


def test_heat_to_freeze_water_through_is_that_of_fusion_and_cooling():
    """A litre of nearly pure water from 0 to -10 degC: 334 kJ and 10 K of ice at 2.1 kJ/K (CRC, recalled)."""
    held = [properties.enthalpy(t, *bedding(0.0, 1.0, -1e-6)) for t in (0.0, -10.0)]
    assert held[0] - held[1] == pytest.approx(334e6 + 21e6, rel=1e-4)


def test_frozen_bedding_holds_less_heat_and_conducts_more():
    """600 kg/m3 wet at 65 % water, frozen: 210 x 1400 + 390 x 2100 = 1.113 MJ/m3K (worked by hand)."""
    assert properties.frozen_capacity(210.0, 0.39) == pytest.approx(1.113e6, rel=1e-3)
    assert properties.conductivity(0.39) < properties.frozen_conductivity(0.39) < 1.8
    assert properties.conductivity(0.0) == properties.frozen_conductivity(0.0)


def test_liquid_share_follows_ideal_depression():
    """At twice the first freezing point half the water is ice: the solutes sit in half the water."""
    assert properties.liquid_share(-0.6, -0.3) == pytest.approx(0.5)
    assert properties.liquid_share(1.0, -0.3) == 1.0


@pytest.mark.parametrize("moisture", [0.3, 0.6, 0.85, 0.95])
def test_bedding_never_holds_more_than_water_would(moisture):
    """Pores bound the water: no bedding has more heat capacity than water, 4.18 MJ/m3K, nor freezes harder."""
    for dry in [material.dry_density_kg_m3 for material in materials().values()]:
        water = properties.water_fraction(dry, moisture)
        assert water < 1
        assert properties.heat_capacity(dry, water) < 4.18e6
        assert properties.latent_heat(water) < 334e6


@pytest.mark.parametrize("moisture", [-0.1, 1.0, 65.0])
def test_moisture_must_be_a_fraction(moisture):
    with pytest.raises(ValueError, match="fraction of the wet mass"):
        properties.water_fraction(150.0, moisture)
