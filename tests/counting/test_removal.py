"""Removal estimates against the published examples, what must be refused, and how often the range holds the truth."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import gammaln
from scipy.stats import beta

from underlid.counting import CannotTell
from underlid.counting.removal import _log_likelihood, leslie, zippin

# Smallmouth bass, catches of ten days with effort 7 each, Ricker (1975), example 6.1, p. 151.
BASS = (131, 69, 99, 78, 56, 76, 49, 42, 63, 47)


def carle_strub(catches):
    """The number by the weighted likelihood of Carle and Strub (1978), all chances weighed alike."""
    k, found = len(catches), sum(catches)
    early = sum((k - 1 - i) * caught for i, caught in enumerate(catches))
    number, passes = found, np.arange(1, k + 1)
    while True:
        left = k * number - early
        ratio = (left - found + 1 + k - passes) / (left + 2 + k - passes)
        if (number + 1) / (number - found + 1) * np.prod(ratio) <= 1:
            return number
        number += 1


def seber(first, second, third=None):
    """The explicit numbers of Seber (1982) from two and from three passes."""
    if third is None:
        return first**2 / (first - second)
    x, y = 2 * first + second, first + second + third
    return (6 * x**2 - 3 * x * y - y**2 + y * math.sqrt(y**2 + 6 * x * y - 3 * x**2)) / (18 * (x - y))


@pytest.mark.parametrize(
    ("catches", "estimator", "number"),
    [
        ((38, 26, 12), carle_strub, 91),  # Carle and Strub (1978), example 1
        ((72, 56, 46, 30, 24), carle_strub, 298),  # Cowx (1983), p. 77
        ((8, 23, 17, 8, 6), carle_strub, 95),  # Cowx (1983), p. 77
        ((72, 56, 46), lambda c: seber(*c), 353),  # Cowx (1983), p. 75
        ((72, 56), lambda c: seber(*c), 324),  # Cowx (1983), p. 75
        ((79, 28), lambda c: seber(*c), 122),  # Seber (1982), example 7.4
    ],
)
def test_other_published_estimators_are_near_and_within_the_range(catches, estimator, number):
    assert round(estimator(catches)) == number  # the reference gives what was published
    found = zippin(catches)
    assert found.low <= number <= found.high
    assert found.number == pytest.approx(number, rel=0.12)


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


@pytest.mark.parametrize(
    ("ask", "why"),
    [
        (lambda: zippin((20, 20)), "do not fall"),
        (lambda: zippin((20, 25)), "do not fall"),
        (lambda: zippin((12,)), "One pass"),
        (lambda: zippin((0, 0, 0)), "No pass found"),
        (lambda: zippin((10, 10, 10)), "do not fall"),
        (lambda: zippin((10, -1)), "none below 0"),
        (lambda: leslie((10, 10, 12), (1, 1, 1)), "does not fall"),
        (lambda: leslie((0, 0, 5), (1, 1, 1)), "does not fall"),
        (lambda: leslie((7, 7, 7), (1, 1, 1)), "does not fall"),  # a level line, but for rounding
        (lambda: leslie((10, 5), (1, 1)), "three catches"),
        (lambda: leslie((10, 5, 2), (1, 0, 1)), "effort above 0"),
        (lambda: leslie((10, 5, 2), (1, 1e-320, 1)), "million times apart"),
        (lambda: leslie((10, 5, 2), (1, math.inf, 1)), "million times apart"),
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
    assert 0 <= found.chances[0] <= found.chance <= found.chances[1] <= 1


@given(st.lists(st.tuples(st.integers(0, 60), st.floats(0.2, 5)), min_size=3, max_size=6))
def test_unequal_passes_never_fewer_than_were_found(passes):
    caught, effort = zip(*passes, strict=True)
    try:
        found = leslie(caught, effort)
    except CannotTell:
        return
    assert sum(caught) <= found.low <= found.number <= found.high
    assert 0 <= found.chances[0] < found.chances[1] <= 1


def test_a_line_that_crosses_below_what_was_found_sees_none_left():
    found = leslie((10, 1, 1), (1, 1, 1))
    assert found.number == found.low == 12
    assert found.high > 12
    assert "11.7, below the 12 found" in found.remarks[0]
    assert leslie((10, 5, 1), (1, 1, 1)).remarks == ()


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
    near = np.array([max(sum(caught), found.number - 1), found.number, found.number + 1])
    likelihood = _log_likelihood(near, np.array(caught))
    assert likelihood[1] >= likelihood.max() - 1e-9


# --- the range -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("catches", "effort"),
    [((3, 0), (1, 1)), ((10, 1, 1), (1, 1, 1)), ((9, 6, 1), (20, 20, 10)), ((7, 4, 0), (1, 3, 2))],
)
def test_the_range_is_that_of_the_sum_over_all_numbers_and_chances(catches, effort):
    """The same posterior by brute force: a table of numbers by chances, each product of binomials written out."""
    caught, share = np.array(catches), np.array(effort) / np.mean(effort)
    chance = (np.arange(1000) + 0.5) / 1000
    number = np.arange(caught.sum(), 1500)[:, None]
    log_weight = -np.log(number) + beta.logpdf(chance, 1.5, 1.5)
    left = number + np.zeros_like(chance)
    for found, f in zip(caught, share, strict=True):
        missed = f * np.log1p(-chance)
        choose = gammaln(left + 1) - gammaln(left - found + 1)
        log_weight = log_weight + choose + found * np.log(-np.expm1(missed)) + (left - found) * missed
        left = left - found
    weight = np.exp(log_weight - log_weight.max())
    of_number = np.cumsum(weight.sum(axis=1)) / weight.sum()
    of_chance = np.cumsum(weight.sum(axis=0)) / weight.sum()
    told = zippin(catches) if len(set(effort)) == 1 else leslie(catches, effort)
    ends = [number[np.searchsorted(of_number, end), 0] for end in (0.05, 0.95)]
    assert (told.low, told.high) == (min(ends[0], told.number), max(ends[1], told.number))
    few, many = (chance[np.searchsorted(of_chance, end)] for end in (0.05, 0.95))
    assert told.chances[0] == pytest.approx(few, abs=2e-3)
    assert told.chances[1] == pytest.approx(max(many, told.chance if len(set(effort)) == 1 else 0), abs=2e-3)


def test_equal_effort_has_the_range_of_equal_passes():
    one, other = zippin((38, 26, 12)), leslie((38, 26, 12), (20, 20, 20))
    assert (one.low, one.high) == (other.low, other.high)


@pytest.mark.parametrize("catches", [(2, 1), (72, 56), (400, 399), (20, 19, 18)])
def test_no_upper_end_where_any_larger_number_is_nearly_as_likely(catches):
    found = zippin(catches)
    assert found.high == math.inf
    assert found.chances[0] == 0
    peak, endless = _log_likelihood(np.array([found.number, 1e9]), np.array(catches))
    assert peak - endless < 2.7055 / 2  # half of the 90 % point of chi-squared


def holds(passes, numbers, chances, ask, effort=None):
    """How often the range holds the truth, of the catches that are told at all, (numbers, chances); all are added up.

    Also how often catches are told.
    """
    share = np.ones(passes) if effort is None else np.array(effort) / np.mean(effort)
    most = max(numbers)
    caught = np.stack(np.meshgrid(*[np.arange(most + 1)] * passes, indexing="ij"), axis=-1).reshape(-1, passes)
    caught = caught[caught.sum(axis=1) <= most]
    taken = np.cumsum(caught, axis=1)
    found, known, ranges = taken[:, -1], {}, []
    for row, sums in zip(caught.tolist(), taken.tolist(), strict=True):
        key = tuple(row) if effort else (sums[-1], sum(sums))  # with equal effort these two say all
        if key not in known:
            try:
                told = ask(row)
                known[key] = (math.floor(told.low), math.ceil(told.high) if told.high < math.inf else math.inf)
            except CannotTell:
                known[key] = (math.nan, math.nan)
        ranges.append(known[key])
    low, high = np.array(ranges).T
    covered, told = np.empty((len(numbers), len(chances))), np.empty((len(numbers), len(chances)))
    for i, number in enumerate(numbers):
        able = found <= number
        ways = gammaln(number + 1) - gammaln(caught + 1).sum(axis=1) - gammaln(np.where(able, number - found, 0) + 1)
        for j, chance in enumerate(chances):
            missed = share * np.log1p(-chance)
            log_p = ways + caught @ np.log(-np.expm1(missed)) + (number - taken) @ missed
            p = np.where(able, np.exp(log_p), 0.0)
            assert p.sum() == pytest.approx(1)
            told[i, j] = p[~np.isnan(low)].sum()
            covered[i, j] = p[(low <= number) & (number <= high)].sum() / told[i, j]
    return covered, told


CHANCES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)


@pytest.mark.parametrize("passes", [2, 3])
def test_the_range_holds_for_every_small_number_and_chance(passes):
    covered, told = holds(passes, range(4, 41), CHANCES, zippin)
    assert covered.min() >= 0.9  # 0.901 for two passes, 6 animals, 0.3; 0.910 for three, 4 animals, 0.3
    assert told.min() > 0.45  # four animals, two passes that find three in ten: half of the catches do not fall


def test_where_passes_find_fewer_than_three_in_ten_the_range_is_too_short_by_as_much_as_is_said():
    covered = [holds(2, range(4, 41), (chance,), zippin)[0].min() for chance in (0.25, 0.2)]
    assert covered == pytest.approx([0.82, 0.70], abs=5e-3)


@pytest.mark.parametrize("effort", [(1, 1, 1), (2, 2, 1), (1, 2, 3)])
def test_the_range_of_unequal_passes_holds_for_every_small_number_and_chance(effort):
    covered, _ = holds(3, range(4, 17), CHANCES, lambda caught: leslie(caught, effort), effort)
    assert covered.min() >= 0.9


def test_the_range_of_many_animals_is_no_longer_than_it_need_be():
    rng = np.random.default_rng(4)
    first = rng.binomial(120, 0.5, 400)
    second = rng.binomial(120 - first, 0.5)
    third = rng.binomial(120 - first - second, 0.5)
    told = [zippin(caught) for caught in zip(first, second, third, strict=True)]
    assert 0.86 <= np.mean([found.low <= 120 <= found.high for found in told]) <= 0.96
