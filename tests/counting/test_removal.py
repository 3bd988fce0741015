"""Removal estimates against the published examples, and what must be refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.counting import CannotTell
from underlid.counting.removal import carle_strub, leslie, three_passes, two_passes, zippin

# Smallmouth bass, catches of ten days with effort 7 each, Ricker (1975), example 6.1, p. 151.
BASS = (131, 69, 99, 78, 56, 76, 49, 42, 63, 47)


@pytest.mark.parametrize(
    ("catches", "number", "chance"),
    [
        ((38, 26, 12), 91, 0.444),  # Carle and Strub (1978), example 1
        ((5, 7, 8), 44, 0.174),  # the same, example 2
        ((72, 56, 46, 30, 24), 298, 0.250),  # Cowx (1983), p. 77
        ((8, 23, 17, 8, 6), 95, 0.187),  # Cowx (1983), p. 77
    ],
)
def test_carle_strub(catches, number, chance):
    found = carle_strub(catches)
    assert found.number == number
    assert found.chance == pytest.approx(chance, abs=5e-4)


def test_carle_strub_has_the_published_standard_error():
    assert carle_strub((38, 26, 12)).se == pytest.approx(9.7, abs=0.05)  # Carle and Strub (1978), example 1


@pytest.mark.parametrize(
    ("catches", "number", "chance", "se"), [((38, 26, 12), 92, 0.4368, 10.19), ((346, 184, 49), 625, 0.5796, 11.55)]
)
def test_zippin(catches, number, chance, se):
    """Calculated apart from this program, from the formulas of Zippin (1956)."""
    found = zippin(catches)
    assert found.number == number
    assert found.chance == pytest.approx(chance, abs=5e-5)
    assert found.se == pytest.approx(se, abs=6e-3)
    assert found.low < found.number < found.high


def test_seber():
    assert three_passes(72, 56, 46).number == pytest.approx(353.35, abs=5e-3)  # Cowx (1983), p. 75: 353
    two = two_passes(72, 56)  # Cowx (1983), p. 75
    assert (two.number, two.se, two.chance) == pytest.approx((324, 178.19, 0.22), abs=5e-3)
    worked = two_passes(79, 28)  # Seber (1982), example 7.4
    assert (worked.number, worked.se, worked.chance) == pytest.approx((122.3725, 8.7970, 0.6456), abs=5e-5)


def test_bass_by_ricker_and_by_leslie():
    ricker = leslie(BASS, [7] * 10, ricker=True)
    assert ricker.number == pytest.approx(1077.571, abs=1e-3)  # published: 1078
    assert 7 * ricker.chance == pytest.approx(0.1067555, abs=1e-7)  # published: 0.10676
    plain = leslie(BASS, [7] * 10)
    assert plain.number == pytest.approx(1060.296, abs=1e-3)
    assert plain.chance == pytest.approx(0.01484403, abs=1e-8)
    assert plain.low < plain.number < plain.high


def test_an_exact_line():
    found = leslie((100, 60, 36, 21.6), [1] * 4)
    assert (found.chance, found.number) == pytest.approx((0.4, 250))


def test_leslies_standard_error_is_that_of_the_crossing_by_the_delta_method():
    taken = np.cumsum(BASS) - BASS
    (slope, start), covariance = np.polyfit(taken, np.array(BASS) / 7, 1, cov=True)
    gradient = np.array([start / slope**2, -1 / slope])
    assert leslie(BASS, [7] * 10).se == pytest.approx(math.sqrt(gradient @ covariance @ gradient), rel=1e-6)


def test_the_trap_of_rising_catches_is_refused_and_never_a_number():
    with pytest.raises(CannotTell, match=r"5, 7, 8 do not fall.*20 at least") as refusal:
        zippin((5, 7, 8))
    assert "119" not in str(refusal.value)
    with pytest.raises(CannotTell, match="do not fall"):
        three_passes(5, 7, 8)


@pytest.mark.parametrize(
    ("ask", "why"),
    [
        (lambda: two_passes(20, 20), "no fewer"),
        (lambda: two_passes(20, 25), "no fewer"),
        (lambda: zippin((12,)), "One pass"),
        (lambda: zippin((0, 0, 0)), "No pass found"),
        (lambda: zippin((10, 10, 10)), "do not fall"),
        (lambda: zippin((10, -1)), "none below 0"),
        (lambda: leslie((10, 10, 12), (1, 1, 1)), "does not fall"),
        (lambda: leslie((10, 5), (1, 1)), "three catches"),
        (lambda: leslie((10, 5, 2), (1, 0, 1)), "effort above 0"),
    ],
)
def test_refusals_in_words(ask, why):
    with pytest.raises(CannotTell, match=why):
        ask()


def test_catches_unlike_one_chance_are_remarked_upon():
    assert "doubt" in zippin((8, 23, 17, 8, 6)).remarks[0]
    assert zippin((38, 26, 12)).remarks == ()


catches = st.lists(st.integers(0, 400), min_size=2, max_size=6)


@given(catches)
def test_never_fewer_than_were_found(passes):
    try:
        found = zippin(passes)
    except CannotTell:
        return
    assert sum(passes) <= found.low <= found.number <= found.high
    assert 0 < found.chance <= 1
    assert carle_strub(passes).number >= sum(passes)


@given(st.integers(2, 400), st.integers(0, 399))
def test_two_passes_never_fewer_than_were_found(first, second):
    if second >= first:
        return
    found = two_passes(first, second)
    assert first + second <= found.low * (1 + 1e-9)
    assert found.low <= found.number * (1 + 1e-9) <= found.high * (1 + 1e-6) + 1e-6


@given(st.integers(20, 400), st.floats(0.2, 0.8), st.integers(2, 4))
def test_the_most_likely_number_is_most_likely(number, chance, passes):
    rng = np.random.default_rng(number)
    left, caught = number, []
    for _ in range(passes):
        caught.append(int(rng.binomial(left, chance)))
        left -= caught[-1]
    try:
        found = zippin(caught)
    except CannotTell:
        return
    from underlid.counting.removal import _log_likelihood

    near = np.array([max(sum(caught), found.number - 1), found.number, found.number + 1])
    likelihood = _log_likelihood(near, np.array(caught))
    assert likelihood[1] >= likelihood.max() - 1e-9


def test_the_likely_range_holds_the_truth_as_often_as_it_says():
    rng, held, told = np.random.default_rng(4), 0, 0
    for _ in range(300):
        left, caught = 120, []
        for _ in range(3):
            caught.append(int(rng.binomial(left, 0.5)))
            left -= caught[-1]
        found = zippin(caught)
        told += 1
        held += found.low <= 120 <= found.high
    assert 0.85 <= held / told <= 0.95
