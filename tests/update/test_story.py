from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest

from tests.update.sample import ENTRIES, NOW, READINGS, START, ZONE, amount, sample, truth
from underlid.quantity.points import three
from underlid.records import Sighting
from underlid.update.facts import Truth
from underlid.update.story import UpdateError, tell


def test_a_month_may_be_any_date_within_it() -> None:
    assert tell(sample(), date(2026, 1, 19)).coldest == tell(sample(), (2026, 1)).coldest


def test_the_coldest_hour_is_that_of_the_draws_up_to_now() -> None:
    study = sample()
    story = tell(study, (2026, 1))
    seconds = study.case.time_utc
    mine = (seconds >= datetime(2026, 1, 1, tzinfo=ZONE).timestamp()) & (seconds <= NOW.timestamp())
    lowest = study.outlook.draws_c["middle"][:, mine].min(axis=1)
    cold = story.coldest.temperature
    assert (cold.low, cold.middle, cold.high) == pytest.approx(three(lowest))
    assert cold.provenance == "estimated"
    assert story.told_to == NOW


def test_the_hour_for_pictures_is_the_one_whose_middle_value_is_coldest() -> None:
    study = sample()
    cold = tell(study, (2026, 1)).coldest
    seconds = study.case.time_utc
    mine = (seconds >= datetime(2026, 1, 1, tzinfo=ZONE).timestamp()) & (seconds <= NOW.timestamp())
    at = int(np.median(study.outlook.draws_c["middle"], axis=0)[mine].argmin())
    assert cold.estimate_at.timestamp() == seconds[mine][at]
    hour = study.outlook.draws_c["middle"][:, mine][:, at]
    assert (cold.estimate.low, cold.estimate.middle, cold.estimate.high) == pytest.approx(three(hour))
    # No hour is as cold in the middle as each draw's own coldest.
    assert cold.estimate.middle >= cold.temperature.middle
    assert cold.when.early <= cold.estimate_at <= cold.when.late


def test_long_afterwards_nothing_of_now_is_told() -> None:
    january = tell(sample(now=datetime(2026, 2, 14, 23, tzinfo=ZONE)), (2026, 1))
    assert not january.afterwards
    assert january.soon is not None
    late = tell(sample(now=datetime(2026, 2, 15, 1, tzinfo=ZONE)), (2026, 1))
    assert late.afterwards
    assert (late.soon, late.rest, late.days, late.steps) == (None, None, None, ())
    assert (late.water.too_dry, late.water.too_wet) == (None, None)
    assert late.eaten is not None
    assert (late.eaten.feedings, late.eaten.can_eat_g, late.eaten.castings_l, late.eaten.lost_pct) == (
        2, None, None, None,
    )  # fmt: skip


def test_a_month_not_yet_begun_is_predicted() -> None:
    story = tell(sample(), (2026, 3))
    assert story.to_come
    assert not tell(sample(), (2026, 1)).to_come
    assert story.coldest.temperature.provenance == "predicted"
    assert story.refuge.share.provenance == "predicted"
    assert story.hours.predicted_from == 0


def test_the_refuge_in_litres_is_the_share_of_the_bedding() -> None:
    study = sample()
    found = tell(study, (2026, 1)).refuge
    # 55 cm x 38 cm x (11 + 9) cm by hand
    assert found.bedding_litres == pytest.approx(41.8)
    assert found.litres.high == pytest.approx(found.share.high / 100 * 41.8)
    assert found.band_c == study.case.species.band_c


def test_what_comes_next_begins_at_the_first_hour_not_observed() -> None:
    study = sample()
    story = tell(study, (2026, 1))
    assert story.soon is not None
    assert story.rest is not None
    assert story.soon.first == NOW.date()
    middle = study.outlook.draws_c["middle"]
    at = study.case.now_index + 1
    assert story.soon.below_band == np.mean(middle[:, at : at + 168].min(axis=1) < 0.0)
    assert story.rest.last == date(2026, 3, 31)
    assert story.soon.coldest.temperature.provenance == "predicted"


def test_the_chart_runs_on_into_the_next_days_only_near_now() -> None:
    study = sample()
    assert len(tell(study, (2026, 1)).hours.time_utc) == 26 * 24 + 9 + 1 + 7 * 24
    assert len(tell(study, (2025, 12)).hours.time_utc) == 25 * 24 + 12


def test_the_days_to_come_are_whole_local_days() -> None:
    study = sample()
    days = tell(study, (2026, 1)).days
    assert days is not None
    assert days.days[0] == date(2026, 1, 28)
    assert days.days[-1] == date(2026, 3, 30)
    assert date(2026, 3, 8) in days.days  # clocks go forward: 23 hours
    first = study.index(datetime(2026, 1, 28, tzinfo=ZONE))
    lowest = study.outlook.draws_c["middle"][:, first : first + 24].min(axis=1)
    assert days.middle_c[0] == pytest.approx(three(lowest))
    assert days.forecast_days == 6
    assert days.air_c is not None


def test_a_reading_is_compared_with_its_own_place_and_hours() -> None:
    study = sample()
    fact = next(fact for fact in tell(study, (2026, 1)).readings if fact.id == "r1")
    first = study.index(READINGS[1].when.start)
    bias = study.posterior.draws["bias"][:, None]
    shown = study.outlook.draws_c["middle"][:, first : first + 4] + bias
    assert fact.expected is not None
    assert fact.expected.middle == pytest.approx(float(np.median(shown)), abs=0.25)
    assert fact.expected.high >= np.percentile(shown, 90)


def test_a_reading_far_from_the_model_is_a_surprise() -> None:
    hot = replace(READINGS[1], amount=amount(19, 20))
    (fact,) = tell(sample((hot,)), (2026, 1)).readings
    assert fact.surprise
    assert fact.expected is not None
    assert fact.gap_k == pytest.approx(19 - fact.expected.high)


def test_a_reading_on_the_edge_of_a_month_belongs_to_both() -> None:
    when = replace(READINGS[1].when, start=datetime(2025, 12, 31, 20, tzinfo=ZONE))
    study = sample((replace(READINGS[1], when=when),))
    assert [fact.id for fact in tell(study, (2025, 12)).readings] == ["r1"]
    assert [fact.id for fact in tell(study, (2026, 1)).readings] == ["r1"]


def test_a_corrected_reading_stands_no_more_but_is_told() -> None:
    wrong, right = READINGS[1], replace(READINGS[1], id="r9", corrects="r1", words="no, 3 to 4")
    story = tell(sample((right,)), (2026, 1), superseded=(wrong,))
    assert [fact.id for fact in story.readings] == ["r9"]
    (said,) = story.corrections
    assert said.words == "no, 3 to 4"
    assert said.meaning == "replaces “between 2.5 and 3.5”"
    (alone,) = tell(sample((right,)), (2026, 1)).corrections
    assert alone.meaning == "replaces an earlier entry, which the journal keeps"


def test_parameters_without_a_fit_are_as_wide_as_before() -> None:
    for found in tell(sample(), (2026, 1)).parameters:
        assert 0.6 < found.width_left < 1.5


def test_a_month_outside_the_study_is_refused_with_its_span() -> None:
    with pytest.raises(
        UpdateError, match=r"July 2025 cannot be told: .*'Porch tote' runs from 2025-12-06 to 2026-03-31"
    ):
        tell(sample(), (2025, 7))


def test_a_month_half_held_says_where_it_begins_and_ends() -> None:
    assert "The account begins on 6 December 2025: no earlier hours were worked out." in tell(
        sample(), (2025, 12)
    ).unknown  # fmt: skip
    short = tell(sample(end=datetime(2026, 1, 29, 12, tzinfo=ZONE), members=0), (2026, 1))
    assert "The account ends on 29 January 2026, before the month does." in short.unknown
    assert short.rest is None
    assert short.days is None


def test_no_hours_ahead_predict_nothing() -> None:
    story = tell(sample(now=NOW, end=NOW, members=0), (2026, 1))
    assert story.soon is None
    assert story.rest is None
    assert story.days is None
    assert story.hours.predicted_from == len(story.hours.time_utc)


def test_truth_held_is_counted_over_the_month() -> None:
    study = sample()
    found = tell(study, (2026, 1), truth=truth(study, off_k=30.0)).truth
    assert found is not None
    assert found.held == {"middle": 0.0, "edge": 0.0, "surface": 0.0}
    assert found.hours == 31 * 24
    inside = {place: ranges[:, 1] for place, ranges in study.outlook.bedding_c.items()}
    held = tell(study, (2026, 1), truth=Truth(inside["middle"], inside["edge"], inside["surface"], "x")).truth
    assert held is not None
    assert held.held == {"middle": 100.0, "edge": 100.0, "surface": 100.0}
    assert START < held.coldest_at <= NOW


def test_truth_on_another_grid_is_refused() -> None:
    short = np.zeros(7)
    with pytest.raises(UpdateError, match="middle has 7 hours, but the study has"):
        tell(sample(), (2026, 1), truth=Truth(short, short, short, "x"))


def test_sightings_are_lower_bounds() -> None:
    story = tell(sample(), (2026, 1))
    assert [said.meaning for said in story.sightings] == ["at least 10 adults, surface"]
    (seen,) = (entry for entry in ENTRIES if isinstance(entry, Sighting))
    none = replace(seen, amount=amount(0, 0, "1", "exact", "none"))
    (said,) = tell(sample((none,)), (2026, 1)).sightings
    assert "may have been missed" in said.meaning
