import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from tests.fit.cases import PROBES
from underlid.fit.evidence import Evidence
from underlid.fit.likelihood import (
    BLUNDER,
    Thermometer,
    log_likelihood,
    log_likelihood_of_moisture,
    slip_probability,
    words_probability,
)
from underlid.quantity.amount import NINETY

INF = math.inf
INTERVALS = np.array([[10, 15], [3, 4], [30, INF], [5, 10], [8, 12]], float)
SHARP = np.zeros(5, bool)


def test_interval_censored_normal_at_its_published_maximum():
    """Five intervals: mu 13.74447, sigma 11.28870, log L -12.0011878 (SciPy, lifelines agree)."""
    low, high = INTERVALS.T
    mine = np.log(words_probability(low, high, SHARP, np.full(5, 13.74447), np.full(5, 11.28870))).sum()
    assert mine == pytest.approx(-12.0011878, abs=1e-6)


def test_the_maximum_is_where_it_was_published_and_where_scipy_has_it():
    low, high = INTERVALS.T

    def against(point):
        mu, log_sigma = point
        words = words_probability(low, high, SHARP, np.full(5, mu), np.full(5, math.exp(log_sigma)))
        return -np.log(words).sum()

    found = optimize.minimize(against, (10.0, 1.0), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12})
    mu, sigma = found.x[0], math.exp(found.x[1])
    assert (mu, sigma) == pytest.approx((13.74447, 11.28870), abs=2e-5)
    assert -found.fun == pytest.approx(-12.0011878, abs=1e-7)
    data: stats.CensoredData = stats.CensoredData(interval=INTERVALS[[0, 1, 3, 4]], right=[30.0])
    assert stats.norm.fit(data) == pytest.approx((mu, sigma), abs=2e-3)


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
        "low": np.array([5.5]), "high": np.array([6.5]), "about": np.array([False]), "reading": np.array([0, 0]),
        "hour": np.array([0, 1]), "probe": np.array([0, 0]), "weight": np.array([0.5, 0.5]), "worth": np.ones(1),
        "probes": PROBES, "used": (None,), "left_out": (),
    }  # fmt: skip
    return Evidence(**{**given, **parts})


def thermometer(bias=0.0, lag=0.0, scatter=0.5):
    return Thermometer(np.array([bias]), np.array([lag]), np.array([scatter]))


AIR = np.zeros(2)


def test_a_vague_time_is_the_average_over_the_hours_it_may_mean():
    course = np.array([[[6.0], [20.0]]])
    both = log_likelihood(evidence(), course, AIR, thermometer())
    sharp = evidence(reading=np.array([0]), hour=np.array([0]), probe=np.array([0]), weight=np.ones(1))
    only = log_likelihood(sharp, course, AIR, thermometer())
    slip = BLUNDER * slip_probability(np.array([5.5]), np.array([6.5]))
    assert np.exp(both) == pytest.approx(0.5 * np.exp(only) + 0.5 * slip)


def test_thermometer_bias_shifts_what_is_expected():
    course = np.array([[[4.0], [4.0]]])
    near = log_likelihood(evidence(), course, AIR, thermometer(bias=2.0))
    far = log_likelihood(evidence(), course, AIR, thermometer())
    assert near > far


def test_one_wild_reading_cannot_rule_out_the_truth():
    """A slip of the pen costs no more than a slip's probability, however far off."""
    course = np.full((1, 2, 1), -40.0)
    worst = log_likelihood(evidence(), course, AIR, thermometer(scatter=0.1))
    assert worst[0] >= np.log(BLUNDER / 60.0) - 1e-9


def test_a_thermometer_read_too_soon_still_shows_some_of_the_air():
    """A first-order thermometer brought from air at -10 into bedding at 6 shows 6 - 16 x what is still to go."""
    shown = thermometer(lag=0.1).shown(np.array([[6.0]]), np.array([-10.0]))
    assert shown[0, 0] == pytest.approx(4.4)
    course = np.array([[[6.0], [6.0]]])
    cold = evidence(low=np.array([4.0]), high=np.array([5.0]))
    slow = log_likelihood(cold, course, np.full(2, -10.0), thermometer(lag=0.1, scatter=0.3))
    quick = log_likelihood(cold, course, np.full(2, -10.0), thermometer(scatter=0.3))
    assert slow > quick


def test_moisture_words_prefer_the_course_that_is_as_wet():
    """Judged by feel to 5 points: 68-72 % against a bedding at 70 and one at 85 %."""
    noted = evidence(low=np.array([68.0]), high=np.array([72.0]))
    right, wrong = log_likelihood_of_moisture(noted, np.array([[0.7, 0.7], [0.85, 0.85]]))
    inside = stats.norm(70, 5).cdf(72) - stats.norm(70, 5).cdf(68)
    assert np.exp(right) == pytest.approx((1 - BLUNDER) * inside + BLUNDER * 4 / 100)
    assert right > wrong
