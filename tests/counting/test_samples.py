"""The total and its range: what must hold for any samples, and how often the range holds the truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.counting.bins import BEDDING, FOUR, SHARP, juveniles, sample
from underlid.counting import CannotTell
from underlid.counting.detection import Chance, Recovery, chances, judged
from underlid.counting.parts import Bedding
from underlid.counting.samples import estimate
from underlid.quantity.amount import VagueAmount

SURE = dict.fromkeys(("adult", "sub-adult", "juvenile", "hatchling", "cocoon"), Chance(1e6, 1.0))


def tell(samples, bedding=BEDDING, known=None, draws=800, seed=1, **more):
    return estimate(samples, bedding, known or chances(), np.random.default_rng(seed), draws=draws, **more)


def stage(told, name):
    return next(each for each in told.stages if each.stage == name)


def width(points):
    return points[2] - points[0]


def test_nine_in_ten_ranges_hold_the_truth_nine_times_in_ten():
    rng, held = np.random.default_rng(11), []
    chance = judged("juvenile")
    for number in range(200):
        truth, samples = juveniles(rng, rng.beta(chance.found, chance.missed))
        low, _, high = tell(samples, SHARP, draws=400, seed=number).worms
        held.append(low <= truth <= high)
    assert 0.85 <= np.mean(held) <= 0.95


def test_ranges_hold_the_truth_where_only_the_middle_was_sampled():
    rng, held = np.random.default_rng(12), []
    for number in range(100):
        truth, samples = juveniles(rng, 0.7, each=4)
        low, _, high = tell(samples[:4], SHARP, draws=400, seed=number).worms
        held.append(low <= truth <= high)
    assert np.mean(held) >= 0.82  # 90 % less two standard errors of a hundred bins and a half


def test_no_samples_no_total():
    with pytest.raises(CannotTell, match="No samples"):
        tell([])


def test_more_than_the_bin_holds_is_refused():
    with pytest.raises(CannotTell, match="more than the 30 litres"):
        tell([sample(volume="20 L", adult=100), sample("edge", "20 L", adult=80)])


def test_more_animals_than_bedding_can_hold_are_refused():
    with pytest.raises(CannotTell, match="check the count and the volume"):
        tell([sample(volume="5 ml", adult=300)])


def test_a_place_without_a_share_is_refused():
    with pytest.raises(CannotTell, match="surface"):
        tell([sample("surface", adult=1)])


def test_a_stage_never_looked_for_is_not_said_and_none_is_a_count():
    told = tell([sample(adult=3, juvenile=0), sample("edge", adult=2, juvenile=0)])
    assert [each.stage for each in told.stages] == ["juvenile", "adult"]
    assert told.not_looked_for == ("cocoon", "hatchling", "sub-adult")
    assert stage(told, "juvenile").total[0] == 0
    assert stage(told, "juvenile").total[2] > 5  # none in a litre leaves room for some in the rest


def test_cocoons_are_apart_from_the_worms():
    assert tell([sample(cocoon=4)]).worms is None
    told = tell(FOUR)
    worms = stage(told, "adult").total[1] + stage(told, "juvenile").total[1]
    assert told.worms[1] == pytest.approx(worms, rel=0.15)  # medians add up nearly; the cocoons would add a third
    alone = tell([sample("middle", adult=3), sample("edge", adult=1)])
    assert alone.worms == stage(alone, "adult").total


def test_a_full_sort_has_no_sampling_error():
    whole = sample(volume="25 L", adult=200)
    assert tell([whole], known=SURE).worms == pytest.approx((200, 200, 200), abs=1)
    told = tell([whole])
    assert told.whole
    assert told.worms[0] >= 200
    assert told.worms[1] == pytest.approx(200 / 0.96, rel=0.03)  # adults: 95 %, in the middle of the beta 98 %


def test_what_is_overlooked_is_added():
    counted = [sample(volume="25 L", juvenile=140)]
    half = tell(counted, known=chances() | {"juvenile": Chance(5e5, 5e5)})
    assert half.worms[1] == pytest.approx(280, rel=0.03)  # as many overlooked as found, give or take


def test_a_recovery_trial_narrows():
    taught = chances([Recovery("juvenile", 70, 100)])
    counted = [sample(volume="25 L", juvenile=140)]
    assert width(tell(counted, known=taught).worms) < 0.7 * width(tell(counted).worms)


def test_a_vague_count_is_wider_than_a_sharp_one():
    sharp = [sample(volume="25 L", adult=100)]
    vague = [sample(volume="25 L", adult="60 to 140")]
    at_least = [sample(volume="25 L", adult="at least 100")]
    assert width(tell(vague, known=SURE).worms) > 50
    assert width(tell(sharp, known=SURE).worms) <= 2
    assert tell(at_least, known=SURE).worms[0] >= 100
    assert tell(at_least, known=SURE).worms[2] > 110


def test_a_vague_volume_of_bedding_widens():
    wide = Bedding(VagueAmount(15, 40, "L", "between", ""), SHARP.shares)
    many = FOUR * 4
    assert width(tell(many, wide).worms) > 1.15 * width(tell(many, SHARP).worms)


def test_a_part_that_was_not_sampled_widens():
    told, both = (
        tell([sample(place, adult=4) for place in places]) for places in (("middle",) * 4, ("middle", "edge") * 2)
    )
    assert dict(told.parts) == {"middle": 4, "edge": 0}
    assert width(told.worms) > 1.2 * width(both.worms)


def test_without_a_place_the_bedding_is_one_part_and_beside_placed_ones_it_belongs_anywhere():
    bedding = Bedding(BEDDING.litres, {"not noted": 1.0})
    assert tell([sample("not noted", adult=4)] * 4, bedding).worms[1] > 40
    mixed = tell([sample("not noted", adult=4), sample("middle", adult=4)])
    assert dict(mixed.parts) == {"middle": 1, "edge": 0, "not noted": 1}


def test_more_samples_of_the_same_kind_narrow():
    widths = [width(tell(FOUR * times).worms) / tell(FOUR * times).worms[1] for times in (1, 2, 5)]
    assert widths[0] > widths[1] > widths[2]


def test_a_sighting_is_one_sided():
    plain = tell(FOUR)
    assert tell(FOUR, seen={"worm": 1}).worms == plain.worms
    seen = tell(FOUR, seen={"worm": 600})
    assert seen.worms[0] >= 600
    assert not seen.disagrees
    assert tell(FOUR, seen={"adult": 150}).stages[-1].total[0] >= 150


def test_a_sighting_that_no_draw_agrees_with_is_named_and_left_out():
    told = tell(FOUR, seen={"worm": 10**7, "adult": 2})
    assert told.disagrees == ("worm",)
    assert told.worms == tell(FOUR).worms


def test_clumping_of_the_samples_themselves():
    even = tell([sample("middle", adult=4), sample("middle", adult=4), sample("edge", adult=5)])
    assert stage(even, "adult").spread is None
    clumped = tell([sample("middle", adult=0), sample("middle", adult=20), sample("edge", adult=1)])
    assert 0 < stage(clumped, "adult").spread < 1
    assert stage(clumped, "adult").clumping[1] < stage(even, "adult").clumping[1]
    assert stage(tell([sample(adult=4)]), "adult").spread == "unknown"


some_samples = st.lists(
    st.builds(
        lambda place, litres, adults, young: sample(place, f"{litres} L", adult=adults, juvenile=young),
        st.sampled_from(["middle", "edge", "not noted"]),
        st.sampled_from([0.25, 0.5, 1, 2]),
        st.integers(0, 40),
        st.sampled_from(["0", "7", "about 12", "3 to 9", "at least 4"]),
    ),
    min_size=1,
    max_size=5,
)


@settings(max_examples=25, deadline=None)
@given(some_samples, st.randoms())
def test_never_fewer_than_were_found_whatever_the_order_of_the_samples(samples, random):
    told = tell(samples, draws=200)
    for each in told.stages:
        assert each.total[0] >= each.found[0]
        assert each.total[0] <= each.total[1] <= each.total[2]
    assert told.worms[0] >= sum(each.found[0] for each in told.stages)
    assert tell(random.sample(samples, len(samples)), draws=200) == told


def test_the_order_and_names_of_the_parts_do_not_matter():
    turned = Bedding(BEDDING.litres, {"edge": 0.5, "middle": 0.5})
    assert tell(FOUR, turned) == tell(FOUR)


def test_a_bin_twice_as_large_holds_about_twice_as_many():
    large = Bedding(VagueAmount(50, 50, "L", "exact", ""), SHARP.shares)
    one, two = tell(FOUR, SHARP, draws=4000).worms[1], tell(FOUR, large, draws=4000).worms[1]
    assert two / one == pytest.approx(2, rel=0.1)


def test_the_same_seed_gives_the_same_answer():
    assert tell(FOUR, seed=3) == tell(FOUR, seed=3)
    assert tell(FOUR, seed=3) != tell(FOUR, seed=4)
