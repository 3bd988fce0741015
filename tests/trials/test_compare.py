"""Comparisons of few bins against published values, closed forms and statsmodels."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind

from underlid.trials.belief import Student
from underlid.trials.compare import (
    Arm,
    BadValues,
    NoEnd,
    NoSpread,
    TooFewBins,
    difference,
    finding,
    rope,
    stated,
    tost,
)

# Heights in two invented groups, published with their means and standard deviations (Juzek).
FIRST = (
    173, 168, 150, 171, 166, 161, 170, 163, 164, 169, 178, 178, 158, 164, 165, 165, 180, 193, 174, 165, 170, 180, 171,
    157, 169, 178, 163, 167, 180, 168,
)  # fmt: skip
SECOND = (
    164, 177, 176, 154, 176, 145, 170, 172, 171, 171, 174, 165, 169, 179, 163, 166, 173, 181, 169, 171, 170, 153, 169,
    175, 178, 165, 159, 163, 152, 168,
)  # fmt: skip
X, Y = (102, 98, 105, 99, 101, 103), (100, 97, 104, 101, 99, 102)

EIGHT = ((3.1, 2.7, 3.4, 2.9), (3.6, 3.2, 3.0, 3.8))  # logs of counts


def wide(arm, half):
    return Arm.between("bins", np.array(arm) - half, np.array(arm) + half)


def test_published_heights_are_those_meant():
    assert (np.mean(FIRST), np.mean(SECOND)) == pytest.approx((169.27, 167.93), abs=5e-3)
    assert (np.std(FIRST, ddof=1), np.std(SECOND, ddof=1)) == pytest.approx((8.52, 8.59), abs=5e-3)


def test_two_one_sided_tests_of_the_heights():
    """Schuirmann (1987); values calculated apart from this program."""
    found = tost(SECOND, FIRST, 5)
    assert (found.t1, found.t2, found.df) == pytest.approx((2.867596, -1.660187, 58), abs=1e-6)
    assert (found.p1, found.p2, found.p) == pytest.approx((0.0028786, 0.0511372, 0.0511372), abs=1e-7)
    assert tost(SECOND, FIRST, 3).p == pytest.approx(0.226762, abs=1e-6)


def test_two_one_sided_tests_of_a_small_set():
    found = tost(Y, X, 5)
    assert (found.t1, found.t2, found.p) == pytest.approx((4.030718, -2.879084, 0.00820563), abs=1e-6)
    p, lower, upper = ttost_ind(np.array(X), np.array(Y), -5, 5)
    assert (found.p, found.t1, found.t2) == pytest.approx((p, lower[0], upper[0]), rel=1e-9)
    assert found.df == lower[2] == 10


@pytest.mark.parametrize("margin", [5, 3, 6])
def test_one_sided_tests_agree_with_the_90_percent_range(margin):
    found = difference(Arm.exact("b", SECOND), Arm.exact("a", FIRST))
    low, high = found.interval(0.9)
    assert (tost(SECOND, FIRST, margin).p < 0.05) == (-margin < low and high < margin)


@pytest.mark.parametrize(
    ("interval", "said"),
    [((-5.9, -1.7), "differs"), ((-4.5, -0.9), "both"), ((-0.7, 4.9), "alike within the margin")],
)
def test_polio_coverage(interval, said):
    """Barker and others (2002) against white children, margin 5 points; the published ranges are 95 % ones."""
    assert finding(interval, interval, 5) == said
    middle, half = sum(interval) / 2, (interval[1] - interval[0]) / 2 * 1.645 / 1.96
    assert finding((middle - half, middle + half), interval, 5) == said


def test_without_a_margin_nothing_is_alike_and_nothing_is_called_no_difference():
    assert finding((-0.1, 0.1), (-0.2, 0.2), None) == "not resolved"
    assert finding((0.1, 0.3), (0.05, 0.35), None) == "differs"
    assert finding((-1, 1), (-2, 2), 0.5) == "not resolved"
    with pytest.raises(BadValues, match="set before the counts"):
        finding((-1, 1), (-2, 2), 0)


def test_exact_values_give_the_pooled_t():
    found = difference(Arm.exact("b", SECOND), Arm.exact("a", FIRST))
    published = stats.ttest_ind(FIRST, SECOND)
    for level in (0.9, 0.95):
        assert found.interval(level) == pytest.approx(tuple(published.confidence_interval(level)), rel=1e-9)
    assert found.estimate == pytest.approx(np.mean(FIRST) - np.mean(SECOND))
    assert 2 * min(found.below(0), found.above(0)) == pytest.approx(published.pvalue, rel=1e-9)
    assert (found.df, found.bins, found.assumed_cv) == (58, (30, 30), None)
    assert found.sd == pytest.approx(math.sqrt((np.var(FIRST, ddof=1) + np.var(SECOND, ddof=1)) / 2))


def test_narrow_intervals_come_to_the_exact_answer():
    exact = difference(Arm.exact("a", EIGHT[0]), Arm.exact("b", EIGHT[1])).interval()
    assert difference(wide(EIGHT[0], 0.01), wide(EIGHT[1], 0.01)).interval() == pytest.approx(exact, abs=2e-3)


def test_noise_alone_makes_the_range_no_narrower():
    exact = difference(Arm.exact("a", EIGHT[0]), Arm.exact("b", EIGHT[1])).interval()
    for noise in (0.05, 0.15, 0.4, 2.0):
        low, high = difference(Arm.exact("a", EIGHT[0], noise), Arm.exact("b", EIGHT[1], noise)).interval()
        assert low < exact[0] + 1e-3
        assert high > exact[1] - 1e-3


def test_noise_far_above_the_scatter_is_all_there_is():
    found = difference(Arm.exact("a", EIGHT[0], 50.0), Arm.exact("b", EIGHT[1], 50.0), spread=(0.02, 3))
    low, high = found.interval()
    assert (high - low) / 2 == pytest.approx(1.645 * 50 * math.sqrt(1 / 4 + 1 / 4), rel=5e-3)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1, 5), st.floats(0.01, 1)), min_size=4, max_size=8),
    st.floats(-20, 20),
    st.floats(0.1, 10),
)
def test_moving_and_stretching_the_scale_moves_and_stretches_the_answer(values, shift, stretch):
    low, width = np.array(values).T
    half = len(low) // 2

    def told(low, high):
        arms = Arm.between("a", low[:half], high[:half]), Arm.between("b", low[half:], high[half:])
        return difference(*arms), difference(*arms[::-1])

    plain, other_way = told(low, low + width)
    moved, _ = told(stretch * low + shift, stretch * (low + width) + shift)
    scale = stretch * (plain.interval()[1] - plain.interval()[0])
    assert moved.interval() == pytest.approx(stretch * np.array(plain.interval()), abs=2e-3 * scale)
    assert -np.array(other_way.interval()[::-1]) == pytest.approx(np.array(plain.interval()), abs=2e-3 * scale)
    assert plain.below(0.3) + plain.above(0.3) == pytest.approx(1)


def test_not_yet_over_by_the_end_moves_the_answer_up_and_opens_it():
    control = Arm.exact("control", np.log([40, 55, 47, 60]))
    stopped = Arm.exact("changed", np.log([70, 90, 90, 82]))
    open_ = Arm.between("changed", np.log([70, 90, 90, 82]), [math.log(70), math.inf, math.inf, math.log(82)])
    exact, found = difference(control, stopped), difference(control, open_)
    assert found.estimate > exact.estimate
    assert found.interval()[1] - exact.interval()[1] > found.interval()[0] - exact.interval()[0] > 0
    # Before the first look, on the same distances the other way.
    mirrored = difference(
        Arm.exact("control", -control.low), Arm.between("changed", -open_.high, -open_.low)
    )  # fmt: skip
    assert mirrored.interval() == pytest.approx(tuple(-np.array(found.interval()[::-1])), abs=2e-3)


def test_one_bin_an_arm_needs_an_assumed_scatter_and_says_so():
    one, two = Arm.exact("control", [3.0]), Arm.exact("changed", [3.5])
    with pytest.raises(TooFewBins, match=r"Arm control has 1 bin: .*assumed"):
        difference(one, two)
    found = difference(one, two, assumed_cv=0.4)
    half = 1.6448536 * math.sqrt(2 * math.log(1.16))
    assert found.interval() == pytest.approx((0.5 - half, 0.5 + half), abs=1e-6)
    assert (found.df, found.assumed_cv) == (None, 0.4)
    assert found.cv == pytest.approx(0.4)
    assert "assumed CV 40 %" in found.method
    noisy = difference(Arm.exact("control", [3.0], 0.3), two, assumed_cv=0.4)
    half = 1.6448536 * math.sqrt(2 * math.log(1.16) + 0.09)
    assert noisy.interval() == pytest.approx((0.5 - half, 0.5 + half), abs=1e-3)


def test_an_assumed_scatter_gives_way_to_one_that_is_learned():
    arms = Arm.exact("a", EIGHT[0]), Arm.exact("b", EIGHT[1])
    assert difference(*arms, assumed_cv=0.1) == difference(*arms)


@pytest.mark.parametrize(
    ("arms", "error", "words"),
    [
        ((Arm.exact("a", [1, 2]), Arm.between("b", [3, 4], math.inf * np.ones(2))), NoEnd, '"at least" only'),
        ((Arm.exact("a", [1, 2]), Arm.between("b", -math.inf * np.ones(2), [3, 4])), NoEnd, '"at most" only'),
        ((Arm.between("a", [1, 2], [1, math.inf]), Arm.between("b", [3, 4], [3, math.inf])), TooFewBins, "2 bins"),
        ((Arm.exact("a", [2, 2]), Arm.exact("b", [3, 3])), NoSpread, "all the same"),
        ((Arm.exact("a", [2, 2]), Arm.between("b", [3, 3], [4, 5])), NoSpread, "a and b are all the same"),
        ((Arm.exact("a", []), Arm.exact("b", [3, 3])), TooFewBins, "Arm a has no bin"),
    ],
)
def test_what_cannot_be_told_is_refused(arms, error, words):
    with pytest.raises(error, match=words):
        difference(*arms)


@pytest.mark.parametrize(
    ("low", "high", "noise"),
    [([2, 1], [3, 0], 0), ([1, 2], [1, 2], -1), ([math.nan], [1], 0), ([-math.inf], [-math.inf], 0)],
)
def test_values_that_cannot_be(low, high, noise):
    with pytest.raises(BadValues, match="no usable value"):
        Arm.between("a", low, high, noise)


def test_ends_that_cannot_be():
    arms = Arm.exact("a", EIGHT[0]), Arm.exact("b", EIGHT[1])
    with pytest.raises(BadValues, match="lower first"):
        difference(*arms, (3, 0.02))
    with pytest.raises(BadValues, match="30 % between bins"):
        difference(Arm.exact("a", [1]), arms[1], assumed_cv=0)
    with pytest.raises(BadValues, match="one noise a bin"):
        Arm("a", np.zeros(2), np.zeros(3), np.zeros(2))


def test_one_arm_beside_a_stated_range():
    found = stated(Arm.exact("bins", EIGHT[0]), 2.5, 3.6)
    published = stats.ttest_1samp(EIGHT[0], 0).confidence_interval(0.9)
    assert found.interval() == pytest.approx(tuple(published), rel=1e-9)
    assert found.within + found.below(2.5) + found.above(3.6) == pytest.approx(1)
    assert found.finding == "within the stated range"
    assert stated(Arm.exact("bins", EIGHT[0]), 4, 5).finding == "outside the stated range"
    assert stated(Arm.exact("bins", EIGHT[0]), 3, 5).finding == "not resolved"
    vague = stated(wide(EIGHT[0], 0.01), 2.5, 3.6)
    assert vague.interval() == pytest.approx(found.interval(), abs=2e-3)
    assert vague.within == pytest.approx(found.within, abs=1e-3)
    with pytest.raises(TooFewBins, match="two at least"):
        stated(Arm.exact("bins", [3]), 2, 4)
    with pytest.raises(BadValues, match="lower end first"):
        stated(Arm.exact("bins", EIGHT[0]), 4, 2)


def test_rope_is_the_share_inside_beside_that_before_any_bin():
    found = difference(Arm.exact("a", EIGHT[0]), Arm.exact("b", EIGHT[1]))
    shares = rope(found, math.log(2))
    assert shares.inside + shares.above + shares.below == pytest.approx(1)
    assert shares.prior_inside == pytest.approx(math.log(2) / math.log(10))
    assert isinstance(found.belief, Student)
    t = stats.t(6, found.estimate, found.belief.scale)
    inside = (t.cdf(math.log(2)) - t.cdf(-math.log(2))) / (t.cdf(math.log(10)) - t.cdf(-math.log(10)))
    assert shares.inside == pytest.approx(inside, rel=1e-6)
    assert rope(found, math.log(2), 0.7).prior_inside > 0.98  # a narrow belief "proves" likeness by itself
    with pytest.raises(BadValues, match="thinkable"):
        rope(found, 3.0)


@pytest.mark.parametrize(("half", "trials"), [(0.0, 2000), (0.25, 150)])
def test_a_true_effect_at_the_margin_is_seldom_called_alike(half, trials):
    """Two bins an arm that scatter by 0.3: at most 5 % false, and the 90 % range holds the truth; 4 sd for chance."""
    rng = np.random.default_rng(6)
    margin, holds, false = math.log(2), 0, 0
    for _ in range(trials):
        arms = [wide(rng.normal(mean, 0.3, 2) - half * rng.uniform(-1, 1, 2), half) for mean in (3.0, 3.0 + margin)]
        found = difference(*arms)
        holds += found.interval()[0] < margin < found.interval()[1]
        false += found.finding(margin) in ("alike within the margin", "both")
    assert holds >= 0.9 * trials - 4 * math.sqrt(0.09 * trials)
    assert false <= 0.05 * trials + 4 * math.sqrt(0.0475 * trials)
