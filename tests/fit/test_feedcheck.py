"""Before a feeding: fine, smaller or not now, and the figures behind it."""

import doctest
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from underlid.bedding.breakdown import cardinal
from underlid.bedding.facts import Fact
from underlid.bedding.materials import every_material, material
from underlid.bedding.mixing import drawn
from underlid.fit import feedcheck as module
from underlid.fit import feedharm
from underlid.fit.feedcheck import Amount, Question, feedcheck, judged, portion_words, room_lost
from underlid.fit.feedharm import Exposure, exposed
from underlid.fit.feeding import Bed, NoFood
from underlid.worms.species import species

BED = Bed(((material("old horse manure"), 1.0),), litres=30.0)
KIND = species("Eisenia fetida")
DRAWS = 30


def asked(name, kg, **other):
    given: dict[str, Any] = {"bed": BED, "bedding_c": (10.0, 12.0), "species": KIND} | other
    return Question(food=every_material()[name], amount=Amount(kg, kg), **given)


def check(name, kg, **other):
    return feedcheck(asked(name, kg, **other), np.random.default_rng(1), draws=DRAWS)


def item(told, name):
    return next(one for one in told.items if one.name == name)


def middles(name, kg, **other):
    found = exposed(asked(name, kg, **other), Amount(kg, kg), 5, 30)
    return {harm.name: harm.figure for harm in found.harms}


def test_a_little_peel_is_fine():
    told = check("lemon peel", 0.05, live_kg=(0.01, 0.03))
    assert told.verdict == "fine"
    assert {one.verdict for one in told.items} == {"fine"}
    assert [one.name for one in told.items] == ["acid", "ammonia", "salt", "heat", "air", "appetite", "freshness"]
    assert told.fine_kg is None
    assert told.portion is None


def test_much_fresh_poultry_manure_is_not_now_and_no_amount_is():
    told = check("poultry manure", 2.0)
    assert told.verdict == "not now"
    ammonia = item(told, "ammonia")
    assert ammonia.verdict == "not now"
    assert ammonia.chance > 0.99
    assert ammonia.whole_chance > 0.5
    assert told.because == ammonia.sentence
    assert item(told, "freshness").verdict == "not now"
    assert told.fine_kg is None
    assert any("ammonia" in caution for caution in told.cautions)


def test_much_for_the_bin_is_said_first():
    assert "5 %" in check("lemon", 4.0).cautions[0]
    assert not any("5 %" in caution for caution in check("lemon", 0.4).cautions)


def test_aged_dung_is_judged_by_its_figures_and_names_what_to_ask_for():
    fresh, aged = check("sheep manure", 0.1), check("old horse manure", 0.1)
    assert (fresh.verdict, aged.verdict) == ("not now", "fine")
    assert "“old manure”" in item(fresh, "freshness").sentence
    assert "“old cattle manure”" in item(check("cattle manure", 0.1), "freshness").sentence
    assert "ten worms" in item(aged, "freshness").sentence


@pytest.mark.parametrize("name", ["lemon", "grass", "seaweed", "old poultry manure"])
def test_more_is_never_better(name):
    amounts = [middles(name, kg) for kg in (0.05, 0.2, 0.8, 3.2)]
    for less, more in pairwise(amounts):
        if every_material()[name].calcite_pct.high == 0:  # lime in the food may sweeten its pocket
            assert (more["acid"] <= less["acid"] + 1e-6).all()
        for harm in ("ammonia", "salt", "heat", "air"):
            assert (more[harm] >= less[harm]).all()
        assert (more["salt"] > less["salt"]).all()


@pytest.mark.parametrize(("name", "kg"), [("lettuce", 4.0), ("old poultry manure", 2.0), ("seaweed", 1.0)])
def test_the_amount_it_names_is_fine(name, kg):
    told = check(name, kg, bedding_c=(15.0, 20.0), live_kg=(0.2, 0.6))
    assert told.verdict in ("smaller", "not now")
    assert 0 < told.fine_kg < kg
    assert told.portion == portion_words(told.fine_kg / kg)
    less = check(name, told.fine_kg, bedding_c=(15.0, 20.0), live_kg=(0.2, 0.6))
    assert less.verdict == "fine"
    assert check(name, kg * 1.01, bedding_c=(15.0, 20.0), live_kg=(0.2, 0.6)).fine_kg < kg
    # and it is no needlessly small one: half as much again is not fine
    assert check(name, 1.5 * told.fine_kg, bedding_c=(15.0, 20.0), live_kg=(0.2, 0.6)).verdict != "fine"


def test_colder_is_slower():
    cold, warm = (middles("grass", 0.5, bedding_c=(c, c), live_kg=(0.1, 0.1)) for c in (5.0, 20.0))
    assert (cold["air"] < warm["air"]).all()
    assert (cold["heat"] - 5.0 < warm["heat"] - 20.0).all()
    assert (cold["ammonia"] <= warm["ammonia"]).all()
    assert (cold["appetite"] > warm["appetite"]).all()


def test_below_where_they_feed_it_waits_whatever_the_amount():
    told = check("lemon peel", 0.05, bedding_c=(0.0, 1.0), live_kg=(0.01, 0.03))
    assert told.verdict == "not now"
    assert item(told, "appetite").figure == (np.inf,) * 3
    assert told.fine_kg is None


def test_without_known_worms_nothing_is_said_of_appetite_nor_of_eating_shells():
    assert "appetite" not in {one.name for one in check("lemon peel", 0.1).items}
    assert "appetite" not in {one.name for one in check("egg shells", 0.1, live_kg=(0.01, 0.03)).items}


def test_a_small_bin_forgives_less():
    lost = [
        item(check("old poultry manure", 0.3, bed=replace(BED, litres=litres)), "ammonia").room_lost
        for litres in (80.0, 20.0, 5.0)
    ]
    assert lost[0] < lost[1] < lost[2]


def test_more_heaps_warm_less_and_reach_more_bedding():
    one, many = check("grass", 1.0), check("grass", 1.0, heaps=5)
    assert item(many, "heat").figure[1] < item(one, "heat").figure[1]
    assert item(many, "ammonia").figure[1] < item(one, "ammonia").figure[1]
    assert many.pocket_share[1] > one.pocket_share[1]


def test_a_sour_bin_is_no_place_to_feed():
    told = check("lemon", 0.2, bed=replace(BED, ph=Fact(4.6, 4.5, 4.7, "this test", "measured")))
    assert item(told, "acid").verdict == "not now"
    assert told.fine_kg is None


@pytest.mark.parametrize(("name", "kg"), [("lemon peel", 0.3), ("poultry manure", 1.0), ("egg shells", 0.02)])
def test_every_figure_is_in_order(name, kg):
    told = check(name, kg, live_kg=(0.005, 0.02))
    for one in told.items:
        for low, middle, high in filter(None, (one.figure, one.limit)):
            assert low <= middle <= high
        assert 0 <= one.whole_chance <= one.chance <= 1
        assert 0 <= one.room_lost <= 1
        assert one.sentence.endswith(".")
    assert told.pocket_share[0] <= told.pocket_share[1] <= told.pocket_share[2] <= 0.5


def test_the_same_seed_says_the_same():
    assert check("lettuce", 1.0) == check("lettuce", 1.0)
    other = feedcheck(asked("lettuce", 1.0), np.random.default_rng(2), draws=DRAWS)
    assert other.items != check("lettuce", 1.0).items


def test_the_rule_counts_the_room_that_is_lost():
    share = np.full(100, 0.05)
    bad = np.arange(100) < 60
    none, limit = np.zeros(100, bool), np.ones(100)
    harm = Exposure("salt", "mg/g", np.ones(100), limit, bad, none)
    assert room_lost(harm, share) == pytest.approx(0.03)
    assert judged(harm, share) == "smaller"
    assert judged(replace(harm, pocket=np.arange(100) < 30), share) == "fine"
    assert judged(replace(harm, whole=np.arange(100) < 25), share) == "not now"


def test_want_of_air_takes_the_depth_that_none_reaches():
    share = np.full(10, 0.05)
    all_of_it, none = np.ones(10, bool), np.zeros(10, bool)
    harm = Exposure("air", "g O2/h", np.full(10, 4.0), np.ones(10), all_of_it, all_of_it, reach=np.full(10, 0.5))
    assert room_lost(harm, share) == pytest.approx(0.5)
    assert room_lost(replace(harm, reach=np.zeros(10)), share) == pytest.approx(0.05)
    assert room_lost(replace(harm, whole=none), share) == pytest.approx(0.05)
    # steady diffusion with even demand q: deficit q z^2 / (2 D), so four times the demand reaches half as deep
    found = exposed(asked("grass", 8.0, bedding_c=(25.0, 25.0)), Amount(8.0, 8.0), 5, 30)
    air = next(one for one in found.harms if one.name == "air")
    assert air.whole.any()
    np.testing.assert_allclose(
        (1 - np.asarray(air.reach)[air.whole]) ** 2, np.asarray(air.limit / air.figure)[air.whole]
    )


def test_heat_and_oxygen_are_those_of_decay():
    # Kilogram of solids gone gives 17-22 MJ, and 14 kJ take a gram of oxygen: Haug 1993, recalled. So a kg of kitchen
    # scraps, 0.08 of its solids a day at best, gives a watt or two and takes about 0.6 g of oxygen an hour at 25 degC.
    found = exposed(asked("kitchen scraps", 1.0, bedding_c=(25.0, 25.0)), Amount(1.0, 1.0), 3, 300)
    harms = {one.name: one for one in found.harms}
    watts, oxygen = np.median(harms["heat"].also["watts"]), np.median(harms["air"].figure)
    food = material("kitchen scraps")
    solids = (1 - food.moisture_pct.value / 100) * food.volatile_pct.value / 100
    assert watts == pytest.approx(solids * food.decay_per_day.value * 19.5e6 / 86400, rel=0.25)
    assert oxygen == pytest.approx(3600 * watts / 14e3, rel=0.1)


def test_a_heap_warms_the_bedding_about_it_as_a_sphere_does(monkeypatch):
    # A ball in a large medium is warmer at its surface by watts / (4 pi k radius): Carslaw & Jaeger 1959, recalled.
    monkeypatch.setattr(feedharm, "LOSS_W_M2K", Fact(1e9, 1e9, 1e9, "none kept", "judgement"))
    huge = asked("kitchen scraps", 0.1, bed=replace(BED, litres=3e7), bedding_c=(11.0, 11.0))
    found = exposed(huge, huge.amount, 3, 30)
    heat = next(one for one in found.harms if one.name == "heat")
    conductivity = drawn(feedharm.CONDUCTIVITY_W_MK, 3000, np.random.default_rng(1)).mean()
    radius = (3 * 0.1 / material("kitchen scraps").bulk_kg_m3.value / (4 * np.pi)) ** (1 / 3)
    expected = np.median(heat.also["watts"]) / (4 * np.pi * conductivity * radius)
    assert np.median(heat.also["pocket_k"]) == pytest.approx(expected, rel=0.2)
    assert heat.also["bin_k"].max() < 1e-3
    assert 0 < cardinal(11.0) < 1


@pytest.mark.parametrize(("low", "high"), [(0.0, 0.1), (0.1, np.inf), (0.2, 0.1), (np.nan, np.nan)])
def test_an_amount_that_is_none_is_refused(low, high):
    with pytest.raises(NoFood, match="How much citrus peel"):
        feedcheck(replace(asked("lemon peel", 0.1), amount=Amount(low, high)), np.random.default_rng(1), draws=30)


def test_portions_in_words():
    assert portion_words(0.34) == "about a third of it"
    assert portion_words(0.95) == "nearly all of it"
    assert portion_words(0.001) == "about a fiftieth of it"


def test_the_example_runs():
    assert doctest.testmod(module).failed == 0
