import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.chemistry.library import Library, mixtures
from underlid.chemistry.constants import SPECIES, free_ammonia
from underlid.chemistry.speciation import Buffer, ChargeError, ChemistryInputError, Totals, equilibrium

HALF_PERCENT = 10**-2.30103
CHARGE = {row.name: row.charge for row in SPECIES}
PROTONS = {row.name: row.protons for row in SPECIES}


@pytest.fixture(scope="module")
def library():
    return Library()


NAMED = {
    "citric acid in pure water": {"citrate": 0.01},
    "ammonium bicarbonate": {"ammonia": 0.01, "carbon": 0.01},
    "calcite in half a percent of CO2": {"co2_atm": HALF_PERCENT, "calcite": np.inf},
    "calcite in fresh air": {"co2_atm": 4e-4, "calcite": np.inf},
    "a little calcite in half a percent of CO2": {"co2_atm": HALF_PERCENT, "calcite": 5e-4},
    "calcite in a closed water with acid": {"citrate": 0.002, "carbon": 0.01, "calcite": np.inf},
    "hard water that drops calcite": {"calcium": 0.01, "sodium": 0.02, "carbon": 0.02, "calcite": 0.0},
}
for amount in (0, 0.001, 0.01):
    salt = {"sodium": 0.02, "citrate": amount}
    NAMED |= {
        f"citrate {amount}, closed": salt | {"carbon": 0.02},
        f"citrate {amount}, open": salt | {"co2_atm": HALF_PERCENT},
        f"citrate {amount}, open, calcite": salt | {"co2_atm": HALF_PERCENT, "calcite": np.inf},
    }


def ours(temperature_c, co2_atm=None, calcite=None, **amounts):
    return equilibrium(Totals(**amounts), temperature_c, co2_atm=co2_atm, calcite=calcite)


@pytest.mark.parametrize("temperature_c", [5.0, 25.0])
@pytest.mark.parametrize("name", NAMED)
def test_named_waters_agree_with_a_general_library(library, name, temperature_c):
    found = ours(temperature_c, **NAMED[name])
    ph, calcium, strength, index = library.solve(temperature_c, **NAMED[name])
    assert found.ph == pytest.approx(ph, abs=0.005)
    assert found.ionic_strength == pytest.approx(strength, rel=0.01)
    if calcium > 0:
        assert found.species["Ca+2"] == pytest.approx(calcium, rel=0.01)
        assert found.calcite_index == pytest.approx(index, abs=0.01)


@pytest.mark.parametrize("way", ["closed", "open", "calcite"])
def test_mixtures_agree_with_a_general_library(library, way):
    amounts, temperature_c = mixtures(120, seed=["closed", "open", "calcite"].index(way))
    more = {} if way == "closed" else {"co2_atm": 0.01} if way == "open" else {"calcite": np.inf}
    if way == "open":
        amounts.pop("carbon")
    found = ours(temperature_c, **amounts, **more)
    compared = 0
    for i in range(temperature_c.size):
        if found.ionic_strength[i] > 0.3:
            continue
        ph, *_ = library.solve(temperature_c[i], **{name: values[i] for name, values in amounts.items()}, **more)
        assert found.ph[i] == pytest.approx(ph, abs=0.02), {name: values[i] for name, values in amounts.items()}
        compared += 1
    assert compared > 90


# As first measured with the same library, 25 degC, calcium and citrate paired.
@pytest.mark.parametrize(("citrate", "ph", "calcium"), [(1e-3, 8.29392, 4.09492e-4), (1e-2, 7.85767, 8.22647e-3)])
def test_citrate_draws_calcium_from_calcite(citrate, ph, calcium):
    found = ours(25.0, sodium=0.02, citrate=citrate, co2_atm=HALF_PERCENT, calcite=np.inf)
    assert found.ph == pytest.approx(ph, abs=0.005)
    assert found.total("calcium") == pytest.approx(calcium, rel=0.01)


def test_ammonia_splits_as_emerson_has_it_in_thin_water():
    found = equilibrium(Totals(ammonia=1e-6, sodium=[1e-5, 1e-4]), [5.0, 25.0])
    share = found.species["NH3"] / (found.species["NH3"] + found.species["NH4+"])
    np.testing.assert_allclose(share, free_ammonia(found.ph, [5.0, 25.0]), rtol=0.02)


def test_strong_acid_and_base():
    acid, base = equilibrium(Totals(strong_anions=1e-4), 25.0), equilibrium(Totals(sodium=1e-4), 25.0)
    gamma = 0.511 * 1e-2 / (1 + 0.329 * np.array([9.0, 3.5]) * 1e-2)  # of H+ and OH-, extended Debye-Hueckel
    assert acid.ph == pytest.approx(4 + gamma[0], abs=1e-4)
    assert base.ph == pytest.approx(13.9947 - 4 - gamma[1], abs=1e-3)
    assert equilibrium(Totals(), 25.0).ph == pytest.approx(13.9947 / 2, abs=1e-3)


def test_half_neutralised_weak_acid_is_at_its_pk():
    found = equilibrium(Totals(acetate=2e-4, sodium=1e-4), 25.0, pairs=False)
    hydrogen = found.species["H+"]
    # Henderson & Hasselbalch with the acid's own dissociation and the ions' activity, here 0.511 sqrt(I).
    expected = 4.756 + math.log10((1e-4 + hydrogen) / (1e-4 - hydrogen)) - 0.511 * math.sqrt(found.ionic_strength)
    assert found.ph == pytest.approx(expected, abs=2e-3)


def test_bedding_moves_less_by_as_much_as_it_takes_up():
    buffer = Buffer.of_bedding(310.0, 0.5, 7.0)
    assert buffer.mol_per_ph == pytest.approx(0.155)
    quiet = equilibrium(Totals(), 25.0, buffer=buffer)
    acid = equilibrium(Totals(strong_anions=0.0155), 25.0, buffer=buffer)
    assert quiet.ph == pytest.approx(7.0, abs=1e-3)
    assert quiet.ph - acid.ph == pytest.approx(0.1, abs=1e-3)
    base = equilibrium(Totals(sodium=0.0155), 25.0, buffer=buffer)
    assert base.ph - quiet.ph == pytest.approx(0.1, abs=1e-3)


amounts_of = st.floats(0, 0.05) | st.just(0.0)
waters = st.fixed_dictionaries({name: amounts_of for name in Totals.__dataclass_fields__})
around = st.none() | st.floats(1e-5, 0.5)
shell = st.none() | st.sampled_from([0.0, 1e-3, np.inf])


def check_balance(state, totals, co2_atm, calcite, buffer_charge=0.0):
    """Charge and every element to 1e-9."""
    plus = sum(z * state.species[name] for name, z in CHARGE.items() if z > 0 and name in state.species)
    minus = -sum(z * state.species[name] for name, z in CHARGE.items() if z < 0 and name in state.species)
    minus = minus + totals["strong_anions"] + buffer_charge
    np.testing.assert_allclose(plus, minus, rtol=1e-9)
    for name, total in totals.items():
        if name == "strong_anions" or (name == "carbon" and co2_atm is not None):
            continue
        if name in ("calcium", "carbon"):
            total = total + state.calcite_dissolved
        np.testing.assert_allclose(state.total(name), total, rtol=1e-9, atol=1e-13)


@settings(deadline=None, max_examples=150)
@given(waters, st.floats(0, 60), around, shell)
def test_charge_and_elements_are_kept(totals, temperature_c, co2_atm, calcite):
    if co2_atm is not None:
        totals["carbon"] = 0.0
    state = equilibrium(Totals(**totals), temperature_c, co2_atm=co2_atm, calcite=calcite)
    check_balance(state, totals, co2_atm, calcite)
    if calcite == np.inf:
        assert state.calcite_index == pytest.approx(0, abs=1e-9)
    elif calcite is not None:
        assert state.calcite_index < 1e-9
        assert state.calcite_dissolved <= calcite
        if state.calcite_dissolved < calcite:
            assert state.calcite_index == pytest.approx(0, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(waters, st.floats(0, 60), around, shell)
def test_acid_never_raises_ph_and_base_never_lowers_it(totals, temperature_c, co2_atm, calcite):
    if co2_atm is not None:
        totals["carbon"] = 0.0
    anions = totals.pop("strong_anions") + np.linspace(0, 0.02, 9)
    found = equilibrium(Totals(strong_anions=anions, **totals), temperature_c, co2_atm=co2_atm, calcite=calcite)
    assert np.all(np.diff(found.ph) < 1e-4)  # activity may shift pH upward by a hair where acid hardly counts


@settings(deadline=None, max_examples=60)
@given(waters, st.floats(0, 60))
def test_more_co2_lowers_ph(totals, temperature_c):
    totals["carbon"] = 0.0
    found = equilibrium(Totals(**totals), temperature_c, co2_atm=10 ** np.linspace(-5, 0, 9))
    assert np.all(np.diff(found.ph) < 1e-6)


def test_many_waters_are_solved_as_each_alone():
    amounts, temperature_c = mixtures(700, seed=9)
    together = equilibrium(Totals(**amounts), temperature_c)
    np.testing.assert_array_equal(together.ph, equilibrium(Totals(**amounts), temperature_c).ph)
    for i in (0, 255, 256, 699):
        alone = equilibrium(Totals(**{name: values[i] for name, values in amounts.items()}), temperature_c[i])
        assert alone.ph == pytest.approx(together.ph[i], abs=1e-9)


def test_shapes_broadcast():
    found = equilibrium(Totals(sodium=np.full((3, 1), 0.01)), np.linspace(5, 25, 4), co2_atm=0.005)
    assert found.ph.shape == found.species["HCO3-"].shape == (3, 4)


def test_weak_pairs_may_be_left_out():
    salt = Totals(sodium=0.02, carbon=0.02)
    with_pairs, without = equilibrium(salt, 25.0), equilibrium(salt, 25.0, pairs=False)
    assert "NaHCO3" not in without.species
    assert without.total("sodium") == pytest.approx(0.02)
    assert 1e-4 < abs(without.ph - with_pairs.ph) < 0.05


@pytest.mark.parametrize(
    ("totals", "more", "said"),
    [
        ({"citrate": -0.1}, {}, "citrate is -0.1 mol/kg water; it must be a number, 0 or more."),
        ({"sodium": [0.0, np.nan]}, {}, r"sodium is nan mol/kg water at \[1\]"),
        ({"sodium": np.inf}, {}, "sodium is inf"),
        ({"sodium": "much"}, {}, "sodium is 'much'; give a number"),
        ({"sodium": [1, 2], "citrate": [1, 2, 3]}, {}, "shapes that do not go together"),
        ({}, {"temperature_c": -1.0}, "temperature_c is -1 degC; it must be a number, 0 to 60."),
        ({}, {"temperature_c": 61.0}, "temperature_c is 61 degC"),
        ({}, {"co2_atm": 0.0}, "co2_atm is 0; leave it out"),
        ({"carbon": 0.1}, {"co2_atm": 0.1}, "Carbon is given twice"),
        ({}, {"calcite": -1.0}, "calcite is -1"),
        ({}, {"buffer": Buffer(-1.0, 7.0)}, "buffer is -1"),
    ],
)
def test_bad_input_is_told_in_a_sentence(totals, more, said):
    with pytest.raises(ChemistryInputError, match=said):
        equilibrium(Totals(**totals), **({"temperature_c": 25.0} | more))


@pytest.mark.parametrize("totals", [{"sodium": [0.1, 1e4]}, {"strong_anions": [0.1, 1e4]}])
def test_a_charge_that_nothing_balances_is_refused(totals):
    with pytest.raises(ChargeError, match=r"No pH between -2 and 16 balances the charge \(state \[1\]\)"):
        equilibrium(Totals(**totals), 25.0)
