import numpy as np
import pytest

from underlid.chemistry import constants
from underlid.chemistry.constants import SPECIES, by_heat

# Plummer & Busenberg 1982: degC, log10 of Henry's constant, K1, K2 and calcite; pKa by Emerson et al. 1975.
BY_TEMPERATURE = [
    (0, -1.108383, -6.578562, -10.62857, -8.381419, 10.08440),
    (5, -1.192068, -6.516302, -10.55441, -8.394223, 9.904740),
    (10, -1.269375, -6.463342, -10.48788, -8.410478, 9.731430),
    (15, -1.340820, -6.418795, -10.42843, -8.430173, 9.564135),
    (20, -1.406868, -6.381871, -10.37557, -8.453297, 9.402546),
    (25, -1.467940, -6.351864, -10.32885, -8.479830, 9.246377),
    (30, -1.524416, -6.328147, -10.28788, -8.509751, 9.095359),
]
# Percent of ammonia that is NH3 at pH 6.5, 7, 7.5, 8, 8.5, 9, by the same law and K = degC + 273.15.
FREE_AMMONIA = {
    0: (0.026031, 0.082271, 0.25970, 0.81666, 2.5377, 7.6075),
    5: (0.039363, 0.12437, 0.39224, 1.2299, 3.7887, 11.074),
    10: (0.058656, 0.18525, 0.58348, 1.8221, 5.5437, 15.654),
    15: (0.086197, 0.27207, 0.85533, 2.6557, 7.9420, 21.434),
    20: (0.12500, 0.39422, 1.2361, 3.8071, 11.123, 28.355),
    25: (0.17900, 0.56386, 1.7616, 5.3662, 15.205, 36.186),
    30: (0.25324, 0.79647, 2.4760, 7.4319, 20.248, 44.533),
}


@pytest.mark.parametrize(("celsius", "henry", "first", "second", "calcite", "ammonium"), BY_TEMPERATURE)
def test_constants_follow_their_sources(celsius, henry, first, second, calcite, ammonium):
    assert constants.CO2_DISSOLVES.at(celsius) == pytest.approx(henry, abs=1e-6)
    assert constants.CARBONIC_1.at(celsius) == pytest.approx(first, abs=1e-6)
    assert constants.CARBONIC_2.at(celsius) == pytest.approx(second, abs=5e-6)
    assert constants.CALCITE.at(celsius) == pytest.approx(calcite, abs=1e-6)
    assert -constants.AMMONIUM.at(celsius) == pytest.approx(ammonium, abs=5e-6)


@pytest.mark.parametrize("celsius", FREE_AMMONIA)
def test_free_ammonia_follows_the_law(celsius):
    found = 100 * constants.free_ammonia([6.5, 7, 7.5, 8, 8.5, 9], celsius)
    np.testing.assert_allclose(found, FREE_AMMONIA[celsius], rtol=5e-5)


@pytest.mark.parametrize(("celsius", "ph", "printed"), [(20, 8, 3.82), (25, 7, 0.566), (25, 8, 5.38)])
def test_free_ammonia_as_printed_by_emerson(celsius, ph, printed):
    # Emerson et al. 1975, recalled; their table was made with K = degC + 273.2.
    assert 100 * constants.free_ammonia(ph, celsius + 0.05) == pytest.approx(printed, rel=2e-3)


def test_calcite_at_25_degrees_is_as_published():
    assert constants.CALCITE.at(25) == pytest.approx(-8.480, abs=1e-3)  # -8.480 +- .020, Plummer & Busenberg 1982
    assert constants.CALCIUM_BICARBONATE.at(25) == pytest.approx(1.11, abs=5e-3)
    assert constants.CALCIUM_CARBONATE.at(25) == pytest.approx(3.22, abs=5e-3)


@pytest.mark.parametrize(("celsius", "pk"), [(0, 14.94), (25, 13.995), (50, 13.26)])
def test_water_dissociates_as_in_handbooks(celsius, pk):
    assert -constants.WATER.at(celsius) == pytest.approx(pk, abs=0.01)


@pytest.mark.parametrize(("celsius", "density", "permittivity"), [(0, 999.84, 87.74), (25, 997.05, 78.30)])
def test_water_as_a_solvent(celsius, density, permittivity):
    # Kell 1975 and Malmberg & Maryott 1956 as tabulated in handbooks.
    assert constants.water_density(celsius) == pytest.approx(density, abs=0.01)
    assert constants.permittivity(celsius) == pytest.approx(permittivity, abs=0.01)


def test_activity_constants_are_those_of_textbooks():
    a, b = constants.debye_hueckel(25.0)
    assert a == pytest.approx(0.511, abs=2e-3)  # Robinson & Stokes 1959
    assert b == pytest.approx(0.329, abs=1e-3)


def test_a_warmer_reaction_that_takes_heat_goes_further():
    law = by_heat(-5.0, 10.0)
    assert law.at(25) == pytest.approx(-5.0)
    assert law.at(35) > law.at(25) > law.at(5)
    assert law.plus(law.reversed()).at(17) == pytest.approx(0)


def test_citrate_takes_up_its_protons_in_order():
    taken = {row.name: float(row.law.at(25)) for row in SPECIES if row.family == "citrate" and not row.metal}
    assert taken["HCitrate-2"] == pytest.approx(6.396)  # Goldberg, Kishore & Lennen 2002, recalled
    assert taken["H2Citrate-"] == pytest.approx(11.157)
    assert taken["H3Citrate"] == pytest.approx(14.285)


def test_every_species_has_its_own_charge_and_source():
    metals = {"": 0, "calcium": 2, "magnesium": 2, "sodium": 1, "potassium": 1}
    for row in SPECIES:
        assert row.charge == constants.BASE_CHARGE[row.family] + row.protons + metals[row.metal], row.name
        assert row.source, row.name
    assert [constants.FAMILIES.index(row.family) for row in SPECIES] == sorted(
        constants.FAMILIES.index(row.family) for row in SPECIES
    )
