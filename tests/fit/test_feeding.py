"""Materials made into amounts, and what a keeper asks about citrus."""

import doctest

import numpy as np
import pytest

from underlid.bedding.facts import Fact
from underlid.bedding.materials import every_material, material
from underlid.fit import feeding
from underlid.fit.feeding import Bed, NoBed, NoFood, bedding_of, feed_of, kg_to_move, takes_up, what_if_fed

MANURE, LEAVES, PEEL = material("old horse manure"), material("leaves"), material("lemon peel")
BED = Bed(((MANURE, 0.5), (LEAVES, 0.5)), litres=20.0)


def rng():
    return np.random.default_rng(4)


def exact(value):
    return Fact(value, value, value, "this test", "measured")


def test_a_feeding_holds_what_its_material_says():
    fed = feed_of(material("lemon"), 0.2, 4000, rng())
    protons = 3 * np.asarray(fed.citrate_mol)
    # 20 g citric acid per kg: 62.5 mmol H+ in 200 g; and its malic acid besides
    from_malic = 0.2 * np.mean([0.2, 1.0, 3.0]) / 134.09 * 2
    assert protons.mean() == pytest.approx(0.0625 + from_malic, rel=0.02)
    assert np.asarray(fed.water_kg).mean() == pytest.approx(0.2 * np.mean([0.80, 0.87, 0.91]), rel=0.01)
    assert (np.asarray(fed.carbon_mol) / np.asarray(fed.nitrogen_mol) > 15).all()
    dry = 0.2 - np.asarray(fed.water_kg)
    assert (np.asarray(fed.carbon_mol) * 0.012011 < 0.5 * dry).all()


def test_shells_bring_lime():
    fed = feed_of(PEEL, 0.3, 500, rng(), shells_kg=0.02)
    # 20 g of shell, some 94 % of it CaCO3
    assert np.asarray(fed.calcite_mol).mean() == pytest.approx(0.02 * 0.94 * 0.95 / 0.1001, rel=0.06)
    shells = feed_of(every_material()["egg shells"], 0.02, 500, rng())
    assert np.asarray(shells.calcite_mol).mean() == pytest.approx(np.asarray(fed.calcite_mol).mean(), rel=0.02)


def test_a_bed_has_the_mass_and_buffer_of_its_materials():
    made = bedding_of(Bed(BED.layers, 20.0, moisture_pct=exact(75)), 2000, rng())
    dry = np.asarray(made.dry_kg)
    plain = 20 / 0.8 * (0.5 * 810 * 0.28 + 0.5 * 225 * 0.45) / 1000
    assert np.median(dry) == pytest.approx(plain, rel=0.08)
    np.testing.assert_allclose(np.asarray(made.water_kg), 3 * dry, rtol=1e-12)
    buffer = np.asarray(made.buffer_mol_kg_ph)
    leaves, manure = (np.asarray(bedding_of(Bed(((one, 1.0),), 20.0), 2000, rng()).buffer_mol_kg_ph)
                      for one in (LEAVES, MANURE))  # fmt: skip
    assert leaves.mean() < buffer.mean() < manure.mean()
    assert manure.min() >= 0.21  # Costello & Sullivan 2014: 0.21 to 0.45
    assert manure.max() <= 0.45
    assert takes_up(material("peat")).high < takes_up(MANURE).low


def test_a_handful_of_peel_moves_the_pocket_and_not_the_bin():
    summary = what_if_fed(BED, PEEL, 0.3, 15.0, rng(), draws=100).summary()
    low, middle, high = summary.whole_change
    assert -0.1 < low <= middle <= high < 0.1
    assert summary.below_chance < 0.05
    sour = what_if_fed(BED, material("lemon"), 0.3, 15.0, rng(), draws=100)
    pocket = (sour.pocket_ph - sour.start_ph[:, None]).min(axis=1)
    assert np.median(pocket) < -0.15


def test_shells_and_several_places_ease_the_pocket_and_poor_bedding_does_not():
    def lowest(bed, **how):
        told = what_if_fed(bed, material("lemon"), 0.5, 15.0, rng(), draws=80, days=10, **how)
        return np.median((told.pocket_ph - told.start_ph[:, None]).min(axis=1))

    usual = lowest(BED)
    assert lowest(BED, heaps=5) > usual
    fine = Bed(BED.layers, 20.0, grain_m=5e-5)
    assert lowest(fine, shells_kg=0.05) > lowest(fine)
    assert lowest(Bed(((material("cardboard"), 0.5), (LEAVES, 0.5)), 20.0)) < usual


def test_poultry_manure_gives_more_ammonia_than_lemon():
    rich, lemon = (what_if_fed(BED, material(name), 0.4, 20.0, rng(), draws=80, days=30).summary()
                   for name in ("poultry manure", "lemon"))  # fmt: skip
    assert rich.ammonia_mg_kg[1] > 100 * lemon.ammonia_mg_kg[1]
    assert lemon.ammonia_chance == 0


def test_more_citrus_than_the_bin_holds_would_move_it_by_one():
    moves = kg_to_move(BED, PEEL, 15.0, rng(), draws=40)
    assert moves.at_once[0] < moves.at_once[1] < moves.at_once[2]
    # plainly: some 4 kg dry at .21 to .35 mol per kg and pH, against .02 to .1 mol of acid in a kg of peel
    assert 4 < moves.at_once[0] < moves.at_once[2] < 60
    assert moves.eaten[1] > moves.at_once[1]
    assert 0 <= moves.never < 1
    sourer = kg_to_move(BED, material("lemon"), 15.0, rng(), draws=40)
    assert sourer.at_once[1] < moves.at_once[1]


def test_a_bed_or_a_feeding_of_nothing_is_refused():
    with pytest.raises(NoBed, match="at least one material"):
        Bed((), 20.0)
    with pytest.raises(NoBed, match="litres above 0"):
        Bed(BED.layers, 0.0)
    with pytest.raises(NoFood, match="0 kg of citrus peel is no feeding; give more than 0"):
        feed_of(PEEL, 0.0, 5, rng())


def test_the_same_seed_gives_the_same_bytes():
    first, second = (what_if_fed(BED, PEEL, 0.3, 15.0, rng(), draws=10, days=5) for _ in range(2))
    assert first.pocket_ph.tobytes() == second.pocket_ph.tobytes()


def test_the_example_holds():
    assert doctest.testmod(feeding).failed == 0
