"""Answers of a census: each must be what its lives say, and no more."""

from dataclasses import replace

import numpy as np
import pytest

from tests.update.sample import BIN, END, ENTRIES, amount, on, sample
from underlid.fit.census import census
from underlid.fit.colony import prior
from underlid.fit.reckoning import COLD_C, doubtful, reckoning
from underlid.fit.tally import DAY_H, tally
from underlid.quantity.points import three
from underlid.records import Sighting


@pytest.fixture(scope="module")
def asked():
    study = sample()
    thought = prior(study)
    counted = tally(study.case.entries, study.case.time_utc)
    return thought, counted, census(thought, counted, 1, sets=120, particles=16, draws=100)


@pytest.fixture(scope="module")
def told(asked):
    thought, _, found = asked
    return reckoning(thought, found)


def test_the_present_day_is_the_studys(asked, told):
    thought, _, found = asked
    present = thought.study.case.now.timestamp()
    assert abs(found.time_utc[told.now] - present) <= 12 * 3600


def test_a_population_doubles_where_its_lives_first_do(asked, told):
    found = asked[2]
    worms = found.lives.stages[:, told.now :, 1:].sum(axis=2)
    reached = (worms >= 2 * np.maximum(worms[:, :1], 1)).any(axis=1)  # one worm of a colony that is gone is no doubling
    assert told.doubles.chance == pytest.approx(reached.mean())
    early, usual, late = told.doubles.time_utc
    assert found.time_utc[told.now] < early <= usual <= late <= found.time_utc[-1]


def test_what_is_laid_and_hatched_in_the_cold_is_part_of_all_that_is(asked, told):
    thought, _, found = asked
    cold = (
        thought.habitat.cocoons_c[:, : DAY_H * told.now].reshape(thought.draws, told.now, DAY_H).mean(axis=2) < COLD_C
    )
    assert told.breeding.days == pytest.approx(three(cold[found.lives_in].sum(axis=1)))
    laid, hatched = (found.lives.ledger[:, told.now, i] for i in (0, 3))
    assert told.breeding.chance_laid <= (laid > 0).mean()
    assert told.breeding.chance_hatched <= (hatched > 0).mean()
    assert told.breeding.laid[2] <= three(laid)[2]


def test_they_eat_in_a_week_what_they_have_eaten_a_week_later(asked, told):
    eaten = asked[2].lives.kg[:, :, 2]
    week = eaten[:, told.now + 7] - eaten[:, told.now]
    assert told.eats_kg == pytest.approx(three(week / 0.2))  # food as given holds a fifth of dry matter
    assert (week >= 0).all()


def test_warmth_would_have_bred_more(told):
    assert told.cold_cost[0] > 0
    assert told.warm[1] == pytest.approx(told.cold_cost[1], rel=0.3)


def test_a_few_dozen_worms_do_not_crowd_a_tote(told):
    assert told.crowded == 0
    assert told.density_kg_m2[2] < told.usual_kg_m2[0]


def test_a_sighting_that_no_life_agrees_with_is_named_and_the_others_are_not(asked):
    thought, counted, found = asked
    assert doubtful(counted, found) == ()
    crowd = Sighting(
        id="s2", bin=BIN.name, when=on(22, 1, 12, "22 Jan"), words="nine thousand adults, as it looked",
        amount=amount(9000, 9000, "1", "exact", "9000"), stage="adult",
    )  # fmt: skip
    more = tally((*ENTRIES, crowd), thought.study.case.time_utc)
    doubted = census(thought, more, 1, sets=120, particles=16, draws=100)
    assert not doubted.trusted
    [said] = doubtful(more, doubted)
    assert "nine thousand" in said
    assert "a dozen or so" not in said


def test_at_the_end_of_the_weather_nothing_is_said_of_the_week_to_come():
    study = sample(end=END)
    case = replace(study.case, now_index=len(study.case.time_utc) - 30)
    late = replace(study, case=case)
    thought = prior(late)
    found = census(thought, tally((), case.time_utc), 1, draws=50)
    assert reckoning(thought, found).eats_kg is None


def test_founders_that_are_not_noted_or_open_are_assumed_and_said():
    study = sample()
    unknown = replace(
        study, case=replace(study.case, bin=replace(BIN, founders=amount(-np.inf, np.inf, "1", "not noted")))
    )
    thought = prior(unknown)
    assert thought.founders.low > 0
    assert np.isfinite(thought.founders.high)
    assert any("founders" in note for note in thought.notes)
    many = replace(
        study, case=replace(study.case, bin=replace(BIN, founders=amount(20, np.inf, "1", "at least", "20 at least")))
    )
    assert prior(many).founders.low == 20
    assert np.isfinite(prior(many).founders.high)
