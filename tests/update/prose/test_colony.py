"""The colony told in sentences."""

from dataclasses import replace

import pytest

from tests.update.sample import ZONE, sample
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.reckoning import Reached, reckoning
from underlid.fit.tally import tally
from underlid.update.prose.colony import animals, between, rests_on, rounded, sentences


@pytest.fixture(scope="module")
def asked():
    study = sample()
    thought = prior(study)
    found = census(thought, tally((), study.case.time_utc), 1, draws=60)
    return found, reckoning(thought, found)


def told(asked, **changes):
    found, answers = asked
    return dict(sentences(replace(answers, **changes), ZONE, int(found.time_utc[-1])))


def test_every_question_is_answered_with_a_range_and_both_units(asked):
    said = told(asked)
    assert len(said) == 7
    assert "10 °C (50 °F)" in said["Young in the cold?"]
    assert "20 °C (68 °F)" in said["What did the cold cost?"]
    assert "possible here" in said["Young in the cold?"]
    assert all(answer.rstrip().endswith(".") for answer in said.values())


def test_a_chance_of_one_half_is_told_before_the_days(asked):
    ends = int(asked[0].time_utc[-1])
    half = told(asked, doubles=Reached(0.5, (ends - 5 * 86400, ends - 3 * 86400, ends)))["Twice as many?"]
    assert half.startswith("Predicted: the chance by 31 Mar 2026")
    sure = told(asked, doubles=Reached(1.0, (ends - 86400, ends, ends)))["Twice as many?"]
    assert "chance" not in sure
    never = told(asked, doubles=Reached(0.0, None))["Twice as many?"]
    assert "none of the draws" in never


def test_a_difference_that_draws_do_not_agree_on_is_told_as_open(asked):
    said = told(asked, cold_cost=(-20.0, 5.0, 60.0))["What did the cold cost?"]
    assert "whether there are fewer than that is open, from 20 more to 60 fewer" in said
    more = told(asked, cold_cost=(-200.0, -90.0, -50.0))["What did the cold cost?"]
    assert "50 to 200 (about 90) more than that" in more


def test_a_colony_that_may_be_gone_is_told_with_its_chance(asked):
    said = told(asked, alive=0.2, pair=0.05)["Alive?"]
    assert "about 20 %" in said
    assert "Do not give the bin up" in said
    assert "Do not" not in told(asked, alive=1.0, pair=0.99)["Alive?"]


def test_figures_have_two_digits_and_no_more_than_one_decimal():
    assert [rounded(value) for value in (0.0, 0.004, 0.23, 8.61, 47.2, 1234.0)] == [
        "0",
        "0",
        "0.2",
        "8.6",
        "47",
        "1200",
    ]
    assert between((3.0, 3.0, 3.0), "g") == "3 g"
    assert animals((1.1, 4.9, 1234.0)) == "1 to 1230 (about 5)"
    assert between((3.0, 6.2, 12.0)) == "3 to 12 (about 6.2)"


def test_what_it_rests_on_names_counts_sightings_and_readings():
    study = sample()
    counted = tally(study.case.entries, study.case.time_utc)
    assert rests_on(counted, "thirty", 6).startswith("estimated from one sample and one sighting, thirty founders")
    assert "no count or sighting" in rests_on(tally((), study.case.time_utc), "thirty", 0)
