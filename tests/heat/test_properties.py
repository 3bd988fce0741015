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


@settings(deadline=None)  # the first call compiles
@given(
    temperature_c=st.floats(-40, 40),
    water=st.floats(0.0, 0.9),
    dry=st.floats(30, 400),
    freezing_c=st.floats(-2, -0.001),
)
def test_enthalpy_and_temperature_are_inverse(temperature_c, water, dry, freezing_c):
    capacity, latent = float(properties.heat_capacity(dry, water)), float(properties.latent_heat(water))
    held = properties.enthalpy(temperature_c, capacity, latent, freezing_c)
    assert properties.temperature(held, capacity, latent, freezing_c) == pytest.approx(temperature_c, abs=1e-6)


@settings(deadline=None)  # the first call compiles
@given(freezing_c=st.floats(-2, -0.01))
def test_enthalpy_rises_with_temperature(freezing_c):
    temperatures = np.linspace(-30, 10, 801)
    held = [properties.enthalpy(t, 1.5e6, 1.2e8, freezing_c) for t in temperatures]
    assert (np.diff(held) > 0).all()


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
