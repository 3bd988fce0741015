"""Ratios within one bin and before-after comparisons, against values calculated apart and SciPy's tests."""

import math

import pytest
from scipy import stats

from underlid.trials.compare import BadValues, NoSpread
from underlid.trials.unreplicated import TooFewTimes, baci, count_ratio


@pytest.mark.parametrize(
    ("x", "y", "low", "high", "p"),
    [
        (300, 310, 0.8442, 1.1092, 0.0105),
        (100, 100, 0.7846, 1.2746, 0.0658),
        (50, 55, 0.6463, 1.2771, 0.288),
        (30, 30, 0.6324, 1.5812, 0.230),
    ],
)
def test_count_ratios(x, y, low, high, p):
    """Exact conditional binomial, calculated apart from this program."""
    found = count_ratio(x, y)
    assert (found.ratio, found.low, found.high) == pytest.approx((x / y, low, high), abs=5e-5)
    assert found.p == pytest.approx(p, abs=5e-4)
    more = stats.binomtest(x, x + y, 0.8 / 1.8, alternative="greater").pvalue
    less = stats.binomtest(x, x + y, 1.25 / 2.25, alternative="less").pvalue
    assert found.p == pytest.approx(max(more, less), rel=1e-9)


def test_a_count_of_none():
    none, all_ = count_ratio(0, 20), count_ratio(20, 0)
    assert (none.ratio, none.low, all_.ratio, all_.high) == (0, 0, math.inf, math.inf)
    assert none.high == pytest.approx(1 / all_.low)
    assert none.high == pytest.approx(1 / 0.05 ** (1 / 20) - 1)
    assert none.p > 0.9
    for x, y in ((0, 0), (-1, 3)):
        with pytest.raises(BadValues, match="no ratio"):
            count_ratio(x, y)
    with pytest.raises(BadValues, match="lower ratio first"):
        count_ratio(3, 3, margin=(1.2, 0.8))


def test_before_and_after_is_welchs_t_on_the_differences():
    before, after = [0.1, -0.2, 0.05, 0.0, 0.12], [0.6, 0.3, 0.9]
    found = baci(before, after)
    welch = stats.ttest_ind(after, before, equal_var=False)
    assert (found.low, found.high) == pytest.approx(tuple(welch.confidence_interval(0.9)), rel=1e-9)
    assert found.effect / found.se == pytest.approx(welch.statistic)
    assert found.df == pytest.approx(welch.df)
    with pytest.raises(TooFewTimes, match="two times"):
        baci([0.1], after)
    with pytest.raises(NoSpread, match="same at all times"):
        baci([0.1, 0.1], [0.2, 0.2])
