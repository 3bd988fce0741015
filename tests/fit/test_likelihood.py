import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.fit.cases import PROBES
from underlid.fit.evidence import TemperatureEvidence
from underlid.fit.likelihood import BLUNDER, NINETY, log_likelihood, slip_probability, words_probability

INF = math.inf
INTERVALS = np.array([[10, 15], [3, 4], [30, INF], [5, 10], [8, 12]], float)
SHARP = np.zeros(5, bool)


def test_interval_censored_normal_at_its_published_maximum():
    """Five intervals: mu 13.74447, sigma 11.28870, log L -12.0011878 (SciPy, lifelines agree)."""
    low, high = INTERVALS.T
    mine = np.log(words_probability(low, high, SHARP, np.full(5, 13.74447), np.full(5, 11.28870))).sum()
    assert mine == pytest.approx(-12.0011878, abs=1e-6)


def test_the_maximum_agrees_with_scipys_censored_fit():
    data: stats.CensoredData = stats.CensoredData(interval=INTERVALS[[0, 1, 3, 4]], right=[30.0])
    mu, sigma = stats.norm.fit(data)
    low, high = INTERVALS.T
    best = np.log(words_probability(low, high, SHARP, np.full(5, mu), np.full(5, sigma))).sum()
    for step in (0.05, -0.05):
        beside = np.log(words_probability(low, high, SHARP, np.full(5, mu + step), np.full(5, sigma))).sum()
        assert beside < best


def test_an_about_is_a_wider_normal():
    low, high, about = np.array([4.5]), np.array([7.5]), np.array([True])
    mine = words_probability(low, high, about, np.array([5.0]), np.array([0.4]))
    spread = math.hypot(0.4, 1.5 / NINETY)
    assert mine == pytest.approx(stats.norm(5.0, spread).pdf(6.0) * 3.0)


@given(
    low=st.floats(-30, 30),
    width=st.one_of(st.floats(0.05, 20), st.just(INF)),
    about=st.booleans(),
    expected=st.floats(-40, 40),
    sd=st.floats(0.1, 5),
)
def test_no_words_are_impossible_and_none_more_than_certain(low, width, about, expected, sd):
    args = (np.array([low]), np.array([low + width]), np.array([about and width < INF]))
    words = words_probability(*args, np.array([expected]), np.array([sd]))
    mixed = (1 - BLUNDER) * words + BLUNDER * slip_probability(*args[:2])
    assert 0 < mixed[0] <= max(1.0, 2 * width / sd)
    assert np.isfinite(np.log(mixed)).all()


def evidence(**parts):
    given = {
        "low_c": np.array([5.5]), "high_c": np.array([6.5]), "about": np.array([False]), "reading": np.array([0, 0]),
        "hour": np.array([0, 1]), "probe": np.array([0, 0]), "weight": np.array([0.5, 0.5]), "worth": np.ones(1),
        "probes": PROBES, "used": (None,), "left_out": (),
    }  # fmt: skip
    return TemperatureEvidence(**{**given, **parts})


def test_a_vague_time_is_the_average_over_the_hours_it_may_mean():
    course = np.array([[[6.0], [20.0]]])
    both = log_likelihood(evidence(), course, np.zeros(1), np.array([0.5]))
    sharp = evidence(reading=np.array([0]), hour=np.array([0]), probe=np.array([0]), weight=np.ones(1))
    only = log_likelihood(sharp, course, np.zeros(1), np.array([0.5]))
    slip = BLUNDER * slip_probability(np.array([5.5]), np.array([6.5]))
    assert np.exp(both) == pytest.approx(0.5 * np.exp(only) + 0.5 * slip)


def test_thermometer_bias_shifts_what_is_expected():
    course = np.array([[[4.0], [4.0]]])
    near = log_likelihood(evidence(), course, np.array([2.0]), np.array([0.5]))
    far = log_likelihood(evidence(), course, np.array([0.0]), np.array([0.5]))
    assert near > far


def test_one_wild_reading_cannot_rule_out_the_truth():
    """A slip of the pen costs no more than a slip's probability, however far off."""
    course = np.full((1, 2, 1), -40.0)
    worst = log_likelihood(evidence(), course, np.zeros(1), np.array([0.1]))
    assert worst[0] >= np.log(BLUNDER / 60.0) - 1e-9
