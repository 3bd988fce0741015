import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.heat import moisture


@pytest.mark.parametrize(
    ("temperature_c", "pressure_hpa"), [(-10, 2.87031), (0, 6.11200), (10, 12.2603), (20, 23.3260)]
)
def test_saturated_vapour(temperature_c, pressure_hpa):
    """Pressure by the Magnus form of the WMO (recalled, computed apart); density by the law of ideal gases."""
    density = moisture.vapour_kg_m3(float(temperature_c))
    pressure_pa = density * 461.5 * (temperature_c + 273.15)
    assert pressure_pa / 100 == pytest.approx(pressure_hpa, rel=1e-5)


def test_vapour_density_at_twenty_degrees():
    """17.3 g/m3, as tables of moist air give it (CRC, recalled); vapour is not quite an ideal gas."""
    assert 1e3 * moisture.vapour_kg_m3(20.0) == pytest.approx(17.3, abs=0.1)


def test_a_gram_an_hour_takes_two_thirds_of_a_watt():
    """0.69 W."""
    watts = 1e-3 / 3600 * moisture.VAPORISATION_J_KG
    assert watts == pytest.approx(0.69, abs=0.005)


def test_evaporation_of_a_known_deficit():
    """Wet bedding at 10 degC, 0.1 m2, half-saturated air: 0.1 x 3e-4 x 0.5 x 9.38 g/m3 = 0.507 g/h."""
    outside = 0.5 * moisture.vapour_kg_m3(10.0)
    lost = moisture.evaporation_kg_s(10.0, outside, 0.1, 1.0, 0.7)
    assert lost * 3600 * 1e3 == pytest.approx(0.507, abs=0.002)
    assert moisture.evaporation_kg_s(10.0, outside, 0.1, 2.5, 0.7) == pytest.approx(2.5 * lost)


def test_damp_air_condenses_on_cold_bedding_and_saturated_air_takes_nothing():
    outside = moisture.vapour_kg_m3(10.0)
    assert moisture.evaporation_kg_s(2.0, outside, 0.1, 1.0, 0.7) < 0
    assert moisture.evaporation_kg_s(10.0, outside, 0.1, 1.0, 0.7) == 0


@settings(deadline=None)  # the first call compiles
@given(drier=st.floats(0, 1), wetter=st.floats(0, 1), surface_c=st.floats(-20, 40))
def test_drier_bedding_never_gives_off_more(drier, wetter, surface_c):
    drier, wetter = sorted((drier, wetter))
    lost = [moisture.evaporation_kg_s(surface_c, 0.001, 0.1, 1.0, m) for m in (drier, wetter)]
    assert lost[0] <= lost[1]


@settings(deadline=None)
@given(water=st.floats(0, 1), holds=st.floats(0, 1), hours=st.floats(0.1, 500))
def test_only_what_cannot_be_held_drains(water, holds, hours):
    gone = moisture.drained(water, holds, hours * 3600)
    assert 0 <= gone <= max(0.0, water - holds)
    half = moisture.drained(water, holds, hours * 1800)
    then = moisture.drained(water - half, holds, hours * 1800)
    assert half + then == pytest.approx(gone, abs=1e-12)


def test_most_of_it_is_gone_in_a_day():
    assert moisture.drained(0.9, 0.5, 86400.0) == pytest.approx(0.4 * (1 - math.exp(-1)))
