import numpy as np
import pytest

from tests.chemistry.library import mixtures
from underlid.chemistry import abreast, balance, speciation
from underlid.chemistry.abreast import LANES
from underlid.chemistry.speciation import Totals, equilibrium


def found_for(rows, count):
    ph, strength, saturation, dissolved, left = np.empty((5, count))
    molality = np.empty((rows.charge.size, count + 1))[:, :count]  # as speciation has it: compiled for but once
    verdict = np.empty(count, np.int64)
    return balance.Found(molality, ph, strength, saturation, dissolved, left, verdict)


@pytest.mark.parametrize("way", ["closed", "open", "buffered"])
def test_waters_side_by_side_are_solved_as_one_by_one(way):
    amounts, temperature_c = mixtures(1000, seed=3)
    flat = amounts | {"temperature_c": temperature_c}
    if way == "open":
        flat["co2_atm"] = np.geomspace(1e-5, 0.5, 1000)
        del flat["carbon"]
    if way == "buffered":
        flat |= {"buffer": np.geomspace(1e-4, 0.3, 1000), "around_ph": np.linspace(5, 8, 1000)}
    rows = speciation._rows(speciation._present(flat, ()))
    waters, solvent = speciation._waters(flat, ())
    beside, sure = found_for(rows, 1000), found_for(rows, 1000)
    abreast.settle(rows, waters, solvent, beside)
    work = balance._work(rows.charge.size, rows.first.size - 1)
    for state in range(1000):
        balance._one(rows, waters, solvent, state, work, sure)
    assert np.all(sure.verdict == balance.SETTLED)
    assert np.all(beside.verdict == balance.SETTLED)
    np.testing.assert_allclose(beside.ph, sure.ph, rtol=0, atol=1e-8)
    np.testing.assert_allclose(beside.strength, sure.strength, rtol=1e-8)
    np.testing.assert_allclose(beside.molality, sure.molality, rtol=1e-7, atol=1e-15)
    np.testing.assert_allclose(beside.charge_left, 0, atol=1e-10)
    both = np.isfinite(beside.ln_saturation)
    assert both.any()
    np.testing.assert_allclose(beside.ln_saturation[both], sure.ln_saturation[both], rtol=0, atol=1e-7)


@pytest.mark.parametrize("co2_atm", [None, 0.01])
def test_an_answer_does_not_depend_by_a_bit_on_those_beside_it(co2_atm):
    count = 3 * LANES + 5
    flat, temperature_c = mixtures(count, seed=4)
    flat["temperature_c"] = temperature_c
    if co2_atm is not None:
        flat["co2_atm"] = np.full(count, co2_atm)
    rows = speciation._rows(speciation._present(flat, ()))
    waters, solvent = speciation._waters(flat, ())
    together = found_for(rows, count)
    abreast.settle(rows, waters, solvent, together)
    for i in (0, 1, LANES - 1, LANES, count - 1):
        here = slice(i, i + 1)
        alone = found_for(rows, 1)
        abreast.settle(
            rows, balance.Waters(*(v[here] for v in waters)), balance.Solvent(*(v[here] for v in solvent)), alone
        )
        for one, many in zip(alone, together, strict=True):
            np.testing.assert_array_equal(one, many[..., here])


def test_waters_open_and_closed_may_stand_beside_each_other():
    flat = {"sodium": np.full(4, 0.02), "carbon": np.full(4, 0.02), "temperature_c": np.full(4, 20.0)}
    flat["co2_atm"] = np.array([-1.0, 0.005, -1.0, 0.005])
    rows = speciation._rows(speciation._present(flat, ()))
    waters, solvent = speciation._waters(flat, ())
    found = found_for(rows, 4)
    abreast.settle(rows, waters, solvent, found)
    closed = equilibrium(Totals(sodium=0.02, carbon=0.02), 20.0).ph
    opened = equilibrium(Totals(sodium=0.02), 20.0, co2_atm=0.005).ph
    np.testing.assert_allclose(found.ph, [closed, opened, closed, opened], rtol=0, atol=1e-9)
