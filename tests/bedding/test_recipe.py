"""Recipes: nearest to all wishes, never more than is at hand, and honest where a wish cannot be met."""

import math
import re

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from underlid.bedding.blend import NothingForBedding
from underlid.bedding.materials import every_material, find
from underlid.bedding.mixing import SETTLED, mixed, shares
from underlid.bedding.recipe import (
    ImpossibleStock,
    Stock,
    air_wish,
    carbon_nitrogen_wish,
    depth_wish,
    food_kg_week,
    founders_kg,
    in_containers,
    litres_wish,
    moisture_wish,
    recipe,
    spread,
)
from underlid.bedding.wishes import ImpossibleWish

BEDDING = sorted({one.name for one in every_material().values() if one.kind == "bedding" and one.most_pct.low == 100})


def stock(**at_hand):
    """`old_horse_manure=(20, "L")`, or None for plenty."""
    return [
        Stock(find(name.replace("_", " "), every_material()), *(amount or ())) for name, amount in at_hand.items()
    ]  # fmt: skip


def wishes(moisture=(0.70, 0.80), ratio=(25, 35), air=(0.35, 0.60), litres=(24, 28)):
    return [moisture_wish(*moisture), carbon_nitrogen_wish(*ratio), air_wish(*air), litres_wish(*litres)]


def worst(mix, wished):
    return max(wish.distance(float(getattr(mix, wish.name))) for wish in wished)


def test_leaves_and_old_manure_meet_every_wish():
    made = recipe(stock(leaves=(40, "L"), old_horse_manure=(20, "L"), cardboard=None), wishes(), 37)
    assert made.unmet == ()
    assert 0.70 <= made.mix.moisture <= 0.80
    assert 25 <= made.mix.carbon_nitrogen <= 35
    assert 0.35 <= made.mix.air <= 0.60
    assert 24 <= made.mix.litres <= 28
    assert made.water_kg > 0


def test_amounts_and_mix_agree_and_mass_is_conserved():
    made = recipe(stock(leaves=(40, "L"), old_horse_manure=(20, "L"), cardboard=None), wishes(), 37)
    kg = np.array([portion.kg for portion in made.portions])
    assert made.mix.kg == pytest.approx(kg.sum() + made.water_kg, rel=1e-3)
    for portion in made.portions:
        assert portion.litres == pytest.approx(1000 * portion.kg / portion.material.bulk_kg_m3.value)
    again = mixed(shares([portion.material for portion in made.portions]), kg, made.water_kg)
    assert again.moisture == pytest.approx(float(made.mix.moisture), abs=1e-3)
    assert sum(portion.litres for portion in made.portions) * SETTLED.value == pytest.approx(
        float(made.mix.litres), rel=1e-3
    )


amount = st.one_of(st.none(), st.tuples(st.floats(2, 60), st.sampled_from(["L", "kg"])))
band = st.tuples(st.floats(0.45, 0.85), st.floats(0.02, 0.15)).map(lambda pair: (pair[0], min(sum(pair), 0.95)))


@settings(deadline=None, max_examples=25)
@given(st.lists(st.sampled_from(BEDDING), min_size=2, max_size=2, unique=True), amount, amount, band)
def test_no_mix_on_a_grid_is_nearer(names, first, second, moisture):
    """Brute force over both amounts and the water: its best is never better than ours."""
    at_hand = [
        Stock(find(name, every_material()), *(most or ())) for name, most in zip(names, (first, second), strict=True)
    ]
    wished = wishes(moisture=moisture)
    made = recipe(at_hand, wished, 37)
    held = shares([one.material for one in at_hand])
    full = 37 / SETTLED.value
    most = [min(one.most_kg, full / litres) for one, litres in zip(at_hand, held.litres, strict=True)]
    for portion in made.portions:
        limit = next(one.most_kg for one in at_hand if one.material is portion.material)
        assert portion.kg <= limit + 1e-6
    assert made.mix.litres <= 37 + 1e-6
    # no more volume than half of that wished for may be given up, and none is if there is no more at hand
    least = min(12.0, SETTLED.value * sum(one * litres for one, litres in zip(most, held.litres, strict=True)))
    a, b, w = np.meshgrid(
        np.linspace(0, most[0], 41), np.linspace(0, most[1], 41), np.linspace(0, 40, 81), indexing="ij"
    )
    kg = np.stack([a.ravel(), b.ravel()], axis=1)
    keep = (kg.sum(axis=1) > 0) & (kg @ held.litres * SETTLED.value <= 37) & (kg @ held.litres * SETTLED.value >= least)
    assume(keep.any())
    kg, water = kg[keep], w.ravel()[keep]
    grid = mixed(held, kg, water)
    far = np.zeros(len(kg))
    for wish in wished:
        far = np.maximum(far, _distances(wish, getattr(grid, wish.name)))
    ours = worst(made.mix, wished)
    assert ours <= far.min() + 0.01


def _distances(wish, values):
    """The distance from a wish in steps, by its definition."""
    low, high, step, at = wish.low, wish.high, wish.step, np.asarray(values)
    if wish.by_factor:
        low, high, step, at = np.log(low), np.log(high), np.log(step), np.log(at)
    outside = np.maximum(low - at, at - high)
    return np.where(outside > 0, 1 + outside / step, np.abs(2 * at - low - high) / (high - low))


def test_a_grid_fine_enough_comes_as_near():
    """One material and water: its best moisture and air by brute force, to the grid's own width."""
    at_hand, wished = stock(cardboard=None), wishes(ratio=(500, 500), litres=(26, 26))
    made = recipe(at_hand, wished, 37)
    held = shares([at_hand[0].material])
    kg = np.full((20001, 1), 26 / SETTLED.value / held.litres[0])
    grid = mixed(held, kg, np.linspace(0, 20, 20001))
    far = np.maximum(_distances(wished[0], grid.moisture), _distances(wished[2], grid.air))
    assert max(w.distance(float(getattr(made.mix, w.name))) for w in (wished[0], wished[2])) == pytest.approx(
        far.min(), abs=0.01
    )


@pytest.mark.parametrize(
    ("at_hand", "wished", "name", "conflicts", "sentence"),
    [
        ({"cardboard": None}, {}, "carbon_nitrogen", (), "with what is at hand: .* comes to 500, above it. .*manure"),
        ({"old_horse_manure": None}, {"moisture": (0.4, 0.5)}, "moisture", (), "comes to 72 %, above it. .*dry"),
        ({"old_horse_manure": None}, {}, "air", (), "below it. .* coarse"),
        ({"leaves": (10, "L"), "compost": (2, "L")}, {}, "litres", (), "gather more, or make a smaller bin"),
        (
            {"cardboard": None, "worm_casts": None},
            {"ratio": (14, 16), "air": (0.50, 0.60)},
            "air",
            ("moisture", "carbon_nitrogen"),
            "cannot be met together with that for moisture and C:N",
        ),
    ],
)
def test_what_cannot_be_met_is_named_with_its_reason(at_hand, wished, name, conflicts, sentence):
    made = recipe(stock(**at_hand), wishes(**wished), 37)
    unmet = {one.wish.name: one for one in made.unmet}
    assert unmet[name].conflicts == conflicts
    assert re.search(sentence, unmet[name].words)
    assert made.portions


def test_a_wish_that_cannot_be_met_does_not_spoil_the_others():
    made = recipe(stock(cardboard=None), wishes(), 37)
    assert [one.wish.name for one in made.unmet] == ["carbon_nitrogen"]


@pytest.mark.parametrize("at_hand", [{"tomato": None, "sand": None}, {"poultry_manure": None}, {}])
def test_scraps_and_grit_alone_make_no_bedding(at_hand):
    with pytest.raises(NothingForBedding, match=r"makes no bedding.*Add leaves"):
        recipe(stock(**at_hand), wishes(), 37)


def test_scraps_keep_to_their_share_and_grit_is_told_apart():
    made = recipe(stock(cardboard=None, vegetable_peels=None, coffee_grounds=None, sand=None), wishes(), 37)
    of = {portion.material.kind: 0.0 for portion in made.portions}
    for portion in made.portions:
        of[portion.material.kind] += portion.kg
    total = sum(of.values())
    assert of["scraps"] <= 0.2 * total + 1e-6
    assert "mineral" not in of
    [(mineral, kg)] = made.minerals
    assert mineral.name == "sand"
    assert kg == pytest.approx(0.05 * total)


def test_the_same_material_twice_or_none_of_it_is_refused():
    with pytest.raises(ImpossibleStock, match="Leaves is at hand twice"):
        recipe([*stock(leaves=None), *stock(autumn_leaves=(2, "L"))], wishes(), 37)
    for none in (0, -1, math.nan):
        with pytest.raises(ImpossibleStock, match="more than"):
            stock(leaves=(none, "kg"))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: moisture_wish(0.8, 0.7), lambda: moisture_wish(0.7, 1.2), lambda: carbon_nitrogen_wish(0, 30),
        lambda: litres_wish(0, 0), lambda: air_wish(math.nan, 0.5),
    ],
)  # fmt: skip
def test_a_wish_no_mix_can_have_is_refused(wrong):
    with pytest.raises(ImpossibleWish, match="cannot be: it must be a range within"):
        wrong()


def test_a_depth_is_a_volume_and_must_fit():
    wish = depth_wish(0.13, 0.28)
    assert (wish.low, wish.high) == pytest.approx((0.6 * 36.4, 0.8 * 36.4))
    assert depth_wish(0.13, 0.28, (0.15, 0.20)).low == pytest.approx(19.5)
    with pytest.raises(ImpossibleWish, match=r"30 cm \(11\.8 in\) deep does not fit into a bin 28 cm \(11 in\) high"):
        depth_wish(0.13, 0.28, (0.25, 0.30))


def test_the_spread_holds_the_best_values_and_is_the_same_again():
    made = recipe(stock(leaves=(40, "L"), old_horse_manure=(20, "L")), wishes(), 37)
    sure = spread(made, np.random.default_rng(5))
    assert sure == spread(made, np.random.default_rng(5))
    for name in ("moisture", "carbon_nitrogen", "air", "litres"):
        low, middle, high = getattr(sure, name)
        assert low < middle < high
        assert low < float(getattr(made.mix, name)) < high
    assert sure.moisture[2] - sure.moisture[0] > 0.05
    assert sure.water_kg[0] < made.water_kg < sure.water_kg[2]
    assert all(0 <= share <= 1 for share in sure.met.values())


def test_what_is_weighed_is_surer_than_what_is_measured_by_eye():
    wide, narrow = (
        spread(recipe(stock(cardboard=(9, unit)), wishes(litres=(10, 20)), 37), np.random.default_rng(5))
        for unit in ("L", "kg")
    )

    def width(points):
        return (points[2] - points[0]) / points[1]

    assert width(narrow.moisture) < width(wide.moisture)


def test_water_is_never_below_none():
    made = recipe(stock(old_cattle_manure=None), wishes(moisture=(0.5, 0.6)), 37)
    assert made.water_kg == 0
    assert spread(made, np.random.default_rng(5)).water_kg[0] == 0


def test_cautions_are_told_once_for_what_is_used():
    made = recipe(stock(leaves=None, horse_manure=None, sheep_manure=None), wishes(), 37)
    assert len(set(made.cautions)) == len(made.cautions)
    assert any("ten worms" in text for text in made.cautions)


@pytest.mark.parametrize(
    ("litres", "said"),
    [
        (25, "2 ½ buckets"), (10, "1 bucket"), (9, "36 handfuls"), (120, "12 buckets"), (0.2, "¾ handful"),
        (0.01, None), (11.2, "1 bucket"), (30, "1 box"), (75, "2 ½ boxes"), (2.5, "10 handfuls"),
    ],
)  # fmt: skip
def test_a_volume_in_the_keepers_containers(litres, said):
    held = {"bucket": (9.5, 10.5), "handful": (0.2, 0.3)} | ({"box": (29, 31)} if litres in (30, 75) else {})
    assert in_containers(litres, held) == said


def test_without_containers_none_is_told():
    assert in_containers(10, {}) is None
    assert in_containers(10, {"trug": (5, math.inf)}) is None


def test_room_and_food():
    """0.13 m2 at 1.6 (0.77-3.0) kg/m2; half of it a day at 20 degC, and straight down to none at 0 degC, by hand."""
    room = founders_kg(0.13, (0.77, 1.6, 3.0))
    assert room == pytest.approx((0.1001, 0.208, 0.39))
    eaten = [[0, 0.3, 0], [0, 0.5, 0], [0, 1.0, 0]]
    assert food_kg_week(room, (0, 20, 35), eaten, (20, 20)) == pytest.approx((7 * 0.03003, 0.728, 2.73))
    assert food_kg_week(room, (0, 20, 35), eaten, (10, 20)) == pytest.approx((7 * 0.015015, 0.546, 2.73))
    assert food_kg_week(room, (0, 20, 35), eaten, (-3, -1)) == (0, 0, 0)
