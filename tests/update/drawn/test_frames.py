import math
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.update import filmed
from underlid.update.drawn import frames
from underlid.update.facts import Range
from underlid.update.prose import phrases


@pytest.fixture(scope="module")
def month():
    return filmed.month()


def test_every_step_shows_the_hour_it_stands_for(month):
    hours = month.story.hours
    for step in range(len(month)):
        shown = month.shown(step)
        at = int(np.flatnonzero(hours.time_utc == int(shown.moment.timestamp()))[0])
        low, middle, high = hours.middle_c[at]
        expected = Range(low, middle, high, "degC", "estimated")
        assert shown.clock == shown.moment.strftime("%H:%M")
        assert shown.day.startswith(shown.moment.strftime("%a ") + str(shown.moment.day) + " ")
        assert shown.middle == phrases.temperature(expected)
        assert shown.middle_range == phrases.temperature_range(expected)
        assert shown.provenance == ("estimated" if shown.moment <= month.story.now else "predicted")


def test_the_middle_of_the_cut_runs_with_the_middle_of_the_story(month):
    """Both come from one model, so a clock that is off by half a day or a day fits worse."""
    middle, inside = month.bedding_c[:, 1, 2], slice(4, -4)

    def apart_k(hours):
        beside = month.story.hours.middle_c[month.hour[inside] + hours, 1]
        return float(np.sqrt(np.mean((middle[inside] - beside) ** 2)))

    assert apart_k(0) < 0.3
    assert apart_k(0) == min(apart_k(hours) for hours in (-24, -12, 0, 12, 24))


def test_the_clock_is_the_bins_own(month):
    assert month.local(0).tzinfo.key == month.story.timezone
    assert month.local(0).date().month == 1


def test_observed_air_has_no_range_and_predicted_air_has_one(month):
    assert month.shown(3).air_range == ""
    assert "to" in month.shown(len(month) - 1).air_range


def test_readings_come_with_the_clock_and_go_again(month):
    first = month.readings[0]
    step = month.at(first.start)
    assert first not in month.shown(step - 1).reads
    assert first in month.shown(step).reads
    later = step + math.ceil(frames.READ_SHOWN_H / filmed.EVERY_H)
    assert first not in month.shown(later).reads
    assert month.shown(later).come >= 1
    assert month.shown(len(month) - 1).come == len(month.readings)


def test_one_step_is_the_coldest(month):
    cold = [month.shown(step) for step in range(len(month)) if month.shown(step).coldest]
    assert len(cold) == 1
    assert abs(cold[0].moment - month.story.coldest.estimate_at) <= timedelta(hours=filmed.EVERY_H / 2)


@pytest.mark.parametrize(("readings", "of"), [(6, (2026, 1)), (3, (2026, 1)), (0, (2026, 1)), (0, (2026, 3))])
def test_the_plan_goes_through_the_month_once(readings, of):
    month = filmed.month(readings, of)
    order = frames.plan(month)
    assert [shot.scene for shot in order.shots] == ["title", *["month"] * len(month), "end"]
    assert [shot.step for shot in order.shots[1:-1]] == list(range(len(month)))
    assert 10 < order.length_s < 60
    cold = [cue for cue in order.cues if order.start("month", month.coldest) <= cue.start]
    assert cold[0].start - order.start("month", month.coldest) < 5


def test_what_is_said_of_the_coldest_hour_is_said_while_the_clock_stands_there(month):
    order = frames.plan(month)
    texts = frames.script(month.story).coldest
    begins, ends = order.start("month", month.coldest), order.start("month", month.coldest + 1)
    said = " ".join(" ".join(cue.lines) for cue in order.cues if begins <= cue.start and cue.end <= ends)
    assert said == " ".join(texts)


def test_a_month_to_come_is_not_told_of_days_before_it():
    month = filmed.month(0, (2026, 3))
    assert frames.script(month.story).predicted == ()
    assert month.predicted_from == 0


@settings(max_examples=40)
@given(st.text(alphabet="abc. \u00a0", min_size=1, max_size=300))
def test_captions_of_any_text_can_be_read(text):
    cues = list(frames.cued([text], 1.0))
    said = "".join("".join(cue.lines) for cue in cues)
    assert said.replace(" ", "") == text.replace(" ", "")
    for cue, after in pairwise(cues):
        assert after.start > cue.end
    for cue in cues:
        assert all(len(line) <= 42 for line in cue.lines)
        assert len(cue.lines) <= 2
        assert len(" ".join(cue.lines)) / (cue.end - cue.start) <= 20
