"""What readings say: instruments, strips, spans; contradictions are told."""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.chemistry.bedding import NOW, taken
from underlid.chemistry.readings import (
    EC,
    PH,
    BackwardSpan,
    NoReading,
    cautions,
    evidence,
    instrument_of,
    of_span,
)


@pytest.mark.parametrize(
    ("words", "instrument", "expected"),
    [
        ("pH 6.5", "", ""),
        ("pH 6.5 with a strip", "", "strip"),
        ("pH 6.5", "strip", "strip"),
        ("pH 6.5", "litmus paper", "strip"),
        ("pH 6.5", "paper", "strip"),
        ("pH 6.5", "test kit", "strip"),
        ("pH 6.5", "soil meter", "meter"),
        ("pH 6.5", "pen", "meter"),
        ("pH 6.5 of the strip", "meter", "meter"),
        ("pH 6.5 under stripped leaves", "", ""),
    ],
)
def test_the_instrument_comes_from_its_field_or_else_from_the_words(words, instrument, expected):
    assert instrument_of(replace(taken("pH 6.5"), words=words, instrument=instrument)) == expected


@pytest.mark.parametrize(
    ("words", "instrument", "low", "high"),
    [
        ("pH 6.5", "strip", 6.0, 7.0),  # half a unit each way
        ("pH 6", "strip", 5.5, 6.5),  # as wide by its digits
        ("pH 6.5-7", "strip", 6.5, 7.0),  # both colours were named
        ("about pH 6.5", "strip", 6.0, 7.0),
        ("pH 6.5", "meter", 6.45, 6.55),
        ("pH 6.5", "", 6.45, 6.55),
    ],
)
def test_a_strip_tells_no_more_than_its_step(words, instrument, low, high):
    found = evidence(taken(words, instrument=instrument))
    assert (found.low, found.high) == pytest.approx((low, high))
    assert bool(found.note) == (words == "pH 6.5" and instrument == "strip")


def test_a_finer_strip_may_be_told():
    found = evidence(taken("pH 6.5", instrument="strip"), strip_half=0.2)
    assert (found.low, found.high) == pytest.approx((6.3, 6.7))


def test_conductivity_is_taken_by_its_logarithm_and_open_sides_stay_open():
    found = evidence(taken("EC 1.2 mS/cm"))
    assert (EC.back(found.low), EC.back(found.high)) == pytest.approx((1.15, 1.25))
    assert evidence(taken("EC at most 2 mS/cm")).low == float("-inf")
    assert evidence(taken("pH at least 7")).high == float("inf")


@pytest.mark.parametrize("words", ["pH not noted", "EC exactly 0 to 0 mS/cm"])
def test_what_tells_nothing_is_refused_in_a_sentence(words):
    with pytest.raises(NoReading) as caught:
        evidence(taken(words))
    assert words in str(caught.value)


def test_a_temperature_is_no_ph():
    with pytest.raises(NoReading):
        evidence(replace(taken("pH 6"), quantity="temperature"))


def test_without_a_span_the_latest_two_weeks_count():
    old, edge, latest = (taken("pH 6.5", when=day) for day in ("1 Jan", "20 Jan", "1 Feb"))
    salt, future = taken("EC 1 mS/cm", when="1 Feb"), replace(latest, when=replace(latest.when, start=NOW + HOUR))
    assert of_span([latest, salt, old, future, edge], "pH", NOW) == (edge, latest)
    assert of_span([latest, old, edge], "pH", NOW, latest.when.start) == (latest,)
    assert of_span([latest, old, edge], "pH", NOW, None, edge.when.end) == (old, edge)
    assert of_span([], "pH", NOW) == ()


HOUR = timedelta(hours=1)


def test_a_span_that_runs_backward_is_refused():
    first = datetime(2026, 2, 1, tzinfo=ZoneInfo("Europe/London"))
    with pytest.raises(BackwardSpan, match="--since"):
        of_span([], "pH", NOW, first, first - HOUR)


def test_contradictions_and_long_spans_are_told():
    def told(*readings):
        return " ".join(cautions([evidence(one) for one in readings], PH))

    sharp = taken("pH 5", place="middle"), taken("pH 7.5", place="middle")
    assert "contradict each other" in told(*sharp)
    assert "contradict" not in told(taken("pH 5", place="middle"), taken("pH 7.5", place="edge"))
    assert "contradict" not in told(taken("pH 5 to 6.5", place="middle"), taken("pH 7.5", place="middle"))
    assert "may be of different places" in told(*(replace(one, place="not noted") for one in sharp))
    assert "days apart" in told(taken("pH 6", when="1 Jan"), taken("pH 6", when="1 Feb"))
    assert told(taken("pH 6"), taken("pH 6.4")) == ""


@given(st.permutations([("pH 5", "1 Feb"), ("pH 6", "30 Jan"), ("pH 7", "2 Feb"), ("pH 6.2", "1 Feb")]))
def test_readings_come_in_order_of_time(order):
    readings = [replace(taken(words, when=day), id=words) for words, day in order]
    assert [one.words for one in of_span(readings, "pH", NOW)] == ["pH 6", "pH 5", "pH 6.2", "pH 7"]
