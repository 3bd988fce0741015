from __future__ import annotations

from dataclasses import replace

import pytest

from tests.update import living
from tests.update.living import ACID, EATEN, animals, ranged
from tests.update.sample import amount
from underlid.update.facts import Range, ReadingFact
from underlid.update.lifefacts import Animals
from underlid.update.prose import acidwords, lifewords, surprises


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def of(**change: object) -> Animals:
    return replace(animals(), **change)  # type: ignore[arg-type]


# --- animals ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("worms", "said", "child"),
    [
        (ranged(14, 23.5, 41.95), "about 24 worms lived in the bedding, nine in ten from 14 to 42 (estimated)", "24 w"),
        (ranged(0, 1, 4), "about 1 worm lived in the bedding, nine in ten from 0 to 4", "about 1 worm lived"),
        (ranged(0, 0, 3), "perhaps no worm lived in the bedding, nine in ten from 0 to 3", "Nobody can be sure."),
        (ranged(0, 0, 0), "perhaps no worm lived in the bedding, nine in ten at 0", "Nobody can be sure."),
        (ranged(3, 6, 18), "about 6 worms lived in the", "27 January. It may be as few as 3 or as many as 18."),
        (ranged(1204, 1713, 2388), "about 1700 worms lived in the bedding, nine in ten from 1200 to 2400", "1700"),
        (ranged(0, 1, 4, provenance="predicted"), "about 1 worm is predicted to live", "will live"),
        (ranged(2, 5, 9, provenance="predicted"), "about 5 worms are predicted to live", "will live"),
    ],
)  # fmt: skip
def test_how_many_live_there(worms: Range, said: str, child: str) -> None:
    told = lifewords.living(of(worms=worms))
    assert said in plain(told.full)
    assert child in plain(told.short)
    assert told.facts[1] is worms


@pytest.mark.parametrize(
    ("change", "said", "child"),
    [
        (ranged(2, 5, 9), "it has grown since, by about 5, nine in ten from 2 to 9.", "more of them"),
        (ranged(-9, -5, -2), "it has fallen since, by about 5, nine in ten from 2 to 9.", "fewer of them"),
        (ranged(0, 0, 0), "it is not thought to have changed", "none came or went"),
        (ranged(-13, -5, 0), "it may have stayed the same or fallen by up to 13 (nine in ten)", "may be fewer"),
        (ranged(0, 2, 4), "it may have stayed the same or risen by up to 4 (nine in ten)", "may be more"),
        (
            ranged(-3, 0, 4),
            "fallen by up to 3 or risen by up to 4 (nine in ten): it cannot be told which",
            "cannot tell",
        ),
        (ranged(2, 5, 9, provenance="predicted"), "it is predicted to grow, by about 5", "may be more"),
    ],
)
def test_a_change_is_told_only_where_the_range_bears_it(change: Range, said: str, child: str) -> None:
    told = lifewords.change(living.story(), of(change=change))
    assert said in plain(told.full)
    assert child in plain(told.short)


def test_doubt_whether_any_lives_is_told_and_not_made_the_end() -> None:
    story = living.story(animals=of(alive=0.62))
    (told,) = (one for one in lifewords.animals(story) if "any worm lives" in one.full)
    assert "about 60 %" in plain(told.full)
    assert "Do not give" in told.full
    assert not any("any worm lives" in one.full for one in lifewords.animals(living.story(animals=of(alive=0.97))))


def test_where_perhaps_none_is_left_the_chance_and_what_was_counted_stand_beside_it() -> None:
    none = of(worms=ranged(0, 0, 0), alive=0.02, samples=0, sightings=0)
    figure = lifewords.animals_figure(none)
    assert figure.figure == "perhaps none"
    assert plain(figure.range[1]) == "chance of any: under 5 %; nothing was counted"
    said = [one.full for one in lifewords.animals(living.story(animals=none))]
    assert sum("under 5" in one for one in said) == 1
    assert "the chance of any is under 5 %; nobody counted or saw any." in plain(said[0])
    assert any(one.startswith("Do not give the bin up") for one in said)
    assert "nothing" not in lifewords.animals_figure(replace(none, sightings=1)).range[1]
    assert lifewords.animals_figure(animals()).figure == "24"


def test_what_was_found_in_hand_comes_before_an_estimate_that_cannot_explain_it() -> None:
    first, second, *_ = lifewords.animals(living.crowded())
    assert first.full.startswith(
        "Found in hand (read): on 11 January about 10 to 14 adults seen; on 25 January 4 adults, 1 cocoon counted in 1 "
        "L. The model cannot explain what was found on 25 January: "
    )
    assert first.provenance == "read"
    assert second.full.endswith("what was found in hand does not agree with this.")
    told = " ".join(one.full for one in (*lifewords.animals(living.crowded()), *surprises.surprises(living.crowded())))
    assert told.count("hardly any life") == 1
    assert "taken for a slip" not in told
    assert "in hand" not in lifewords.animals(living.story())[0].full


def test_crowding_is_told_only_where_it_is_thinkable() -> None:
    assert "crowded" not in lifewords.together(of()).full  # up to 51 g where beds hold 770 at the least
    assert "crowded is about 45 %" in plain(lifewords.together(living.crowded().animals or of()).full)


def test_room_is_told_to_a_child_only_where_crowding_is_all_but_ruled_out() -> None:
    assert "a lot of room" in lifewords.together(of(crowded=0.01)).short
    assert "room" not in lifewords.together(of(crowded=0.3)).short


def test_what_it_rests_on_is_told_with_its_numbers() -> None:
    assert "on one count and one sighting in all" in lifewords.rests_on(animals()).full
    none = lifewords.rests_on(of(samples=0, sightings=0))
    assert none.full.startswith("Nobody has counted or seen any worm here yet. This rests on “three dozen or more”")
    assert none.short == "Nobody has counted them yet."


def test_sentences_of_care_stand_as_they_were_made() -> None:
    assert any(
        one.full == "Read with care."
        for one in lifewords.animals(living.story(animals=of(careful=("Read with care.",))))
    )


# --- food ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("feedings", "unweighed", "given", "said"),
    [
        (0, 0, None, "No feeding was noted this month."),
        (1, 1, None, "One feeding was noted this month. How much it was is not noted."),
        (2, 2, None, "Two feedings were noted this month. How much it was is not noted."),
        (1, 0, ranged(319, 320, 321, "g", "read"), "What was given comes to about 320 g (read)."),
        (3, 2, ranged(190, 200, 210, "g", "read"), "about 200 g, from 190 to 210 g (read). Two feedings do not say"),
        (2, 1, ranged(190, 200, 210, "g", "read"), "One feeding does not say how much."),
        (12, 0, ranged(1480, 1520, 1560, "g", "read"), "12 feedings were noted this month. The sum of"),
    ],
)  # fmt: skip
def test_what_was_fed(feedings: int, unweighed: int, given: Range | None, said: str) -> None:
    told = lifewords.fed(replace(EATEN, feedings=feedings, unweighed=unweighed, given_g=given))
    assert said in plain(told.full)
    assert told.provenance == "read"


def test_next_to_nothing_is_said_where_the_middle_is_nothing() -> None:
    little = replace(EATEN, can_eat_g=ranged(0, 0.004, 0.6, "g", "predicted"))
    told = lifewords.can_eat(living.story(), little)
    assert "they can eat next to nothing, nine in ten from 0 to 0.6 g" in plain(told.full)
    assert told.short == "In the next seven days they may eat next to nothing."


def test_that_they_can_eat_next_to_nothing_is_told_only_where_something_was_fed_and_somebody_eats() -> None:
    little = replace(EATEN, can_eat_g=ranged(0, 0.004, 0.6, "g", "predicted"))

    def said(of: Animals, fed: int) -> bool:
        told = lifewords.done(living.story(animals=of, eaten=replace(little, feedings=fed, unweighed=0)))
        return any("next to nothing" in one.full for one in told)

    assert said(animals(), 1)
    assert not said(animals(), 0)
    assert not said(of(alive=0.3), 1)


def test_long_afterwards_nothing_of_now_is_told() -> None:
    late = replace(EATEN, can_eat_g=None, lost_pct=None, castings_l=None, ripe=None, ripe_by=None, late=True)
    assert len(lifewords.done(living.story(eaten=late))) == 1


def test_a_month_that_runs_is_told_so_far() -> None:
    none = replace(EATEN, feedings=0, unweighed=0, given_g=None)
    assert lifewords.done(living.story(eaten=none))[0].full == "No feeding was noted this month so far."


def test_why_it_is_not_known_what_they_can_eat() -> None:
    unknown = replace(EATEN, can_eat_g=None)
    assert "no colony was fitted" in lifewords.can_eat(living.bare(), unknown).full
    assert "the weather given ends" in lifewords.can_eat(living.story(), unknown).full


def test_a_harvest_is_told_with_its_chance_and_where_the_outlook_ends() -> None:
    said = plain(lifewords.done(living.story())[-1].full)
    assert "ripe near 12 September, nine in ten between 3 August and 20 January 2027" in said
    assert "by 31 December, where the outlook ends, is about 60 %" in said
    none = plain(lifewords.done(living.story(eaten=replace(EATEN, ripe=None)))[-1].full)
    assert "No harvest is predicted to be ripe by 31 December" in none
    assert "harvest" not in lifewords.done(living.story(eaten=replace(EATEN, ripe=None, ripe_by=None)))[-1].full


def test_what_is_not_known_of_food_and_animals() -> None:
    def said(story: object) -> str:
        return " ".join(one.full for one in lifewords.not_known(story))  # type: ignore[arg-type]

    assert "One feeding of this month does not say" in said(living.story())
    assert "No worm has been counted in this bin so far" in said(living.gone())
    assert "how many there are rests on the founders" in said(living.gone())
    assert "rests on what was seen" in said(living.story(animals=of(samples=0)))
    assert "No sample was counted this month" in said(replace(living.story(), samples=()))
    assert "does not say how many worms" in said(living.bare())


# --- acid ------------------------------------------------------------------------------------------------


def test_acid_is_told_whole_and_by_place() -> None:
    said = plain(acidwords.chemistry(living.story())[0].full)
    assert "comes to about pH 6.8, nine in ten from pH 6.3 to 7.3 (estimated from two readings of this month)" in said
    assert "edge pH 6.5 (6.1 to 7); middle pH 7 (6.4 to 7.6)" in said


def test_parts_that_nobody_read_by_name_are_not_told() -> None:
    said = plain(acidwords.chemistry(living.story(acid=(replace(ACID[0], places=()),)))[0].full)
    assert "Where in the bedding that was read is not noted." in said
    assert "By place" not in said


def test_acid_out_of_bounds_is_a_chance_and_no_verdict() -> None:
    fine, bad = (acidwords.chemistry(living.story(acid=(replace(ACID[0], outside=share),)))[1] for share in (0.01, 0.4))
    assert "tolerates about pH 5 to 9; the chance" in plain(fine.full)
    assert "should be fine" in fine.short
    assert "about 40 %" in plain(bad.full)
    assert "may be bad" in bad.short


def test_where_nothing_was_read_it_says_how_to_read_it() -> None:
    (told,) = acidwords.chemistry(living.bare())
    assert "nothing is known of acid or salt" in told.full
    assert "strip" in told.full
    assert told.provenance is None


def test_a_refused_reading_is_told_in_its_own_sentence() -> None:
    assert acidwords.chemistry(living.story())[-1].full == ACID[1].refused[0]


# --- surprises -------------------------------------------------------------------------------------------


def odd(**change: object) -> ReadingFact:
    (one,) = (fact for fact in living.story().readings if fact.surprise)
    return replace(one, **change)  # type: ignore[arg-type]


def reasons(fact: ReadingFact) -> str:
    return "; ".join(surprises.reasons(fact, living.story()))


def test_the_other_unit_is_offered_where_it_would_be_inside() -> None:
    # 34 °F is 1.1 °C: a number noted as 34 °C where −2 to 2 °C is expected.
    expected = ranged(-2, 0, 2, "degC")
    hot = odd(amount=amount(33.5, 34.5, words="34 C", kind="exact"), expected=expected, gap_k=31.5)
    assert "the same number in °F would lie inside that range" in reasons(hot)
    # 3 °F is −16.1 °C: noted in °F, where 1 to 6 °C is expected.
    cold = odd(amount=amount(-16.4, -15.8, words="3 F", kind="exact"), expected=ranged(1, 4, 6, "degC"), gap_k=16.8)
    assert "the same number in °C would lie inside that range" in reasons(cold)
    neither = odd(amount=amount(19, 21, words="20 C"), expected=expected, gap_k=17)
    assert "would lie inside" not in reasons(neither)
    assert "a slip of the pen, or of the unit" in reasons(neither)


def test_reasons_go_with_the_side_the_place_and_what_was_done() -> None:
    expected = ranged(0, 2, 4, "degC")
    warm = odd(amount=amount(19, 21, words="20 C"), expected=expected, gap_k=15)
    assert "sun on the bin" in reasons(warm)
    assert "the warmth of the feeding of 4 January" in reasons(warm)  # two days before
    assert "ice" not in reasons(warm)
    cold = odd(amount=amount(-9, -8), expected=expected, gap_k=8)
    assert "ice nearby" in reasons(cold)
    assert "sun" not in reasons(cold)
    assert "a place that was not noted" in reasons(replace(cold, place="not noted"))
    air = replace(warm, quantity="air temperature")
    assert "sun on the thermometer" in reasons(air)
    assert "depth" not in reasons(air)
    assert all("a weather file that is not from here" in reasons(one) for one in (warm, cold, air))


def test_a_count_that_the_fit_cannot_explain_is_a_surprise_too() -> None:
    told = surprises.surprises(living.crowded())
    assert any("found in hand on 25 January does not agree" in one.full for one in told)
    assert all(one.short == "" for one in (surprises.NONE, surprises.NOTHING_READ))


def test_without_a_surprise_there_is_one_sentence() -> None:
    assert surprises.surprises(living.one_of_each()) == (surprises.NONE,)
    assert surprises.surprises(living.bare()) == (surprises.NOTHING_READ,)
