import pytest

from tests.update.sample import NOW, on, sample
from underlid.bedding.materials import UnknownMaterial
from underlid.bedding.vessel import FACES, ImpossibleVessel, Insulation
from underlid.fit.change import (
    NoFeeding,
    NoSpaceUnderLid,
    NothingChanges,
    RoomUnknown,
    TooSmall,
    add_bedding,
    feed,
    insulate,
    litres_of,
    move,
    resize,
)
from underlid.quantity import VagueTime, parse_amount
from underlid.records import Feeding


@pytest.fixture(scope="module")
def case():
    return sample().case


def feeding(words="500 g", when=None, unit="kg"):
    when = when or VagueTime(NOW, NOW, "exact", "now")
    return Feeding(
        id="f", bin="Porch tote", when=when, words=f"fed {words} melon rind", material="melon rind",
        amount=parse_amount(words, expect=unit),
    )  # fmt: skip


def test_wrapping_adds_its_thickness_over_its_conductivity_on_its_faces_alone(case):
    made = insulate(case, Insulation("expanded polystyrene", 0.03))
    before, after = case.situation.vessel, made.case.situation.vessel
    # 30 mm of expanded polystyrene at 0.037 W/mK resist 0.81 m2K/W (thickness over conductivity, ISO 6946)
    for face, more in zip(FACES, (0.811, 0.811, 0.0), strict=True):
        assert after.resistance(face) - before.resistance(face) == pytest.approx(more, abs=1e-3)
    assert "3 cm of expanded polystyrene (sides and lid)" in made.sentence
    assert any("air holes" in caution for caution in made.cautions)


def test_the_prior_of_a_changed_case_is_of_the_changed_bin(case):
    made = move(case, base="feet")
    assert made.case.prior.situation is made.case.situation
    assert made.case.situation.vessel.base == "feet"
    assert case.situation.vessel.base == "slab"


def test_a_shed_is_said_to_be_taken_for_the_air_outside(case):
    made = move(case, "unheated shed", "soil")
    assert made.sentence == "moved to an unheated shed and stood on soil"
    assert any("milder" in note for note in made.notes)


@pytest.mark.parametrize(
    ("options", "refusal", "sentence"),
    [
        ({"siting": "open shelter"}, NothingChanges, "already"),
        ({"base": "slab"}, NothingChanges, "already"),
        ({"siting": "indoors"}, RoomUnknown, "--room"),
        ({"siting": "outdoors", "room": parse_amount("12 C")}, RoomUnknown, "indoors"),
    ],
)
def test_a_move_that_is_none_or_says_too_little_is_refused(case, options, refusal, sentence):
    with pytest.raises(refusal, match=sentence):
        move(case, **options)


def test_a_bigger_bin_is_as_full_as_the_old_one_unless_it_is_said(case):
    old = case.situation.vessel
    new = resize(case, 0.4, 0.9, 0.5).case.situation.vessel
    assert (new.length_m, new.width_m) == (0.9, 0.4)
    assert new.bedding_depth_m / new.height_m == pytest.approx(old.bedding_depth_m / old.height_m)
    assert litres_of(new) == pytest.approx(180)
    assert resize(case, 0.9, 0.4, 0.5, 0.2).case.situation.vessel.bedding_depth_m == 0.2
    with pytest.raises(ImpossibleVessel):
        resize(case, 0.9, 0.4, 0.5, 0.6)


def test_more_bedding_weighs_by_depth_and_stops_under_the_lid(case):
    old = case.situation
    made = add_bedding(case, [("leaves", 0.05)]).case.situation
    assert made.vessel.bedding_depth_m == pytest.approx(old.vessel.bedding_depth_m + 0.05)
    # leaves: 59 to 178 kg/m3 at 38 % moisture (NRAES-54, as in materials.toml)
    dry = (old.dry_kg_m3 * old.vessel.bedding_depth_m + 118.5 * 0.62 * 0.05) / made.vessel.bedding_depth_m
    assert made.dry_kg_m3 == pytest.approx(dry)
    space = old.vessel.height_m - old.vessel.bedding_depth_m
    assert add_bedding(case, [("leaves", space)]).case.situation.vessel.bedding_depth_m == pytest.approx(0.32)
    with pytest.raises(NoSpaceUnderLid, match=f"at most {100 * space:.0f} cm more"):
        add_bedding(case, [("leaves", space + 0.01)])
    with pytest.raises(UnknownMaterial):
        add_bedding(case, [("gravel", 0.01)])


def test_a_feeding_adds_its_mass_from_now_on(case):
    made = feed(case, feeding())
    added = (made.case.drive.food_kg - case.drive.food_kg).sum()
    assert added == pytest.approx(0.5)
    later = feed(case, feeding(when=on(1, 2, 18, "1 Feb", window_h=5)))
    first = (later.case.drive.food_kg - case.drive.food_kg).reshape(len(case.time_utc), -1).any(axis=1).argmax()
    assert case.time_utc[first] >= NOW.timestamp() + 4 * 86400


def test_a_day_that_has_begun_is_fed_in_what_is_left_of_it(case):
    made = feed(case, feeding(when=on(27, 1, 0, "today", window_h=24)))
    added = (made.case.drive.food_kg - case.drive.food_kg).reshape(len(case.time_utc), -1).sum(axis=1)
    assert added.sum() == pytest.approx(0.5)
    assert not added[case.time_utc < NOW.timestamp() - 3600].any()


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (feeding("3", unit="1"), "mass"),
        (feeding("not noted"), "mass"),
        (feeding(when=on(20, 1, 0, "20 Jan")), "passed"),
        (feeding(when=on(1, 6, 0, "1 Jun")), "weather"),
        (feeding("500 kg"), "unit"),
    ],
)
def test_a_feeding_that_says_nothing_to_the_model_is_refused(case, given, sentence):
    with pytest.raises(NoFeeding, match=sentence):
        feed(case, given)


def test_a_big_feeding_is_warned_of_and_a_small_one_is_not(case):
    (usual,) = feed(case, feeding("100 g")).cautions
    assert "to give it water, 80 % of its mass" in usual
    assert any("weighs" in caution for caution in feed(case, feeding("5 kg")).cautions)


def test_changes_follow_each_other(case):
    first = resize(case, 0.9, 0.6, 0.5)
    second = insulate(first.case, Insulation("cork", 0.02, ("lid",)))
    assert second.case.situation.vessel.length_m == 0.9
    assert second.case.situation.vessel.insulation[0].material == "cork"
    assert second.case.now == NOW


def test_a_bin_too_small_for_worms_is_refused(case):
    with pytest.raises(TooSmall, match="less than 1 litre"):
        resize(case, 0.05, 0.05, 0.05)
