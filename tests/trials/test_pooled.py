"""Pooling over keepers against published meta-analyses and statsmodels."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from underlid.trials.compare import Arm, CannotCompare, difference
from underlid.trials.pooled import Keeper, TooFewKeepers, keeper, pool

# BCG vaccine against tuberculosis, 13 trials: cases and others among the vaccinated, then among controls (Colditz and
# others 1994).
BCG = np.array([
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
    (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
], float)  # fmt: skip
# Nine laboratories' readings and variances, Kacker (2004).
KACKER = (
    np.array([61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9]),
    np.array([0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]),
)


def log_risk_ratio(tables):
    a, b, c, d = tables.T
    return np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def keepers(effect, variance):
    return [Keeper(f"k{i}", e, math.sqrt(v), (50, 50)) for i, (e, v) in enumerate(zip(effect, variance, strict=True))]


def test_bcg_by_dersimonian_and_laird():
    """Published: log risk ratio -0.7141, tau² 0.3088, Q 152.2330, standard error without the factor 0.1787."""
    effect, variance = log_risk_ratio(BCG)
    found = pool(keepers(effect, variance), 0.95, "DerSimonian-Laird")
    assert (found.estimate, found.tau**2, found.q) == pytest.approx((-0.7141, 0.3088, 152.2330), abs=5e-5)
    assert 1 / math.sqrt((1 / (variance + found.tau**2)).sum()) == pytest.approx(0.1787, abs=5e-5)
    peer = combine_effects(effect, variance, method_re="dl", use_t=True)
    assert found.se == pytest.approx(peer.sd_eff_w_re_hksj, rel=1e-9)
    assert (found.low, found.high) == pytest.approx(peer.conf_int(use_t=True)[3], rel=1e-9)


@pytest.mark.parametrize("data", [log_risk_ratio(BCG), KACKER])
def test_paule_and_mandel_agree_with_statsmodels(data):
    found = pool(keepers(*data), 0.95)
    peer = combine_effects(*data, method_re="iterated", use_t=True, atol=1e-9)
    assert (found.estimate, found.tau**2, found.q) == pytest.approx((peer.mean_effect_re, peer.tau2, peer.q), rel=1e-7)
    assert (found.low, found.high) == pytest.approx(peer.conf_int(use_t=True)[3], rel=1e-7)
    assert found.interval(0.95) == (found.low, found.high)


def test_kackers_laboratories():
    """Estimate, tau² and standard error as given by a published meta-analysis package for Kacker (2004)."""
    found = pool(keepers(*KACKER))
    assert (found.estimate, found.tau**2) == pytest.approx((62.4076199113286, 0.705395309224248), rel=1e-7)
    assert found.se == pytest.approx(0.338030602684471, rel=1e-7)


def test_the_range_for_one_more_keeper():
    """Mean ± t sqrt(tau² + se² + the middle variance), of Kacker's laboratories 0.2025."""
    found = pool(keepers(*KACKER), 0.9)
    reach = stats.t.ppf(0.95, 8) * math.sqrt(0.705395309224248 + 0.338030602684471**2 + 0.2025)
    assert found.predicted == pytest.approx((62.4076199113286 - reach, 62.4076199113286 + reach), rel=1e-7)


def test_keepers_who_agree_too_well_do_not_narrow_the_range_below_their_own_errors():
    found = pool([Keeper(name, 0.3, 0.2, (4, 4)) for name in "abc"], 0.9)
    assert (found.tau, found.estimate, found.q) == pytest.approx((0, 0.3, 0), abs=1e-12)
    assert found.se == pytest.approx(0.2 / math.sqrt(3))
    assert found.high - found.estimate == pytest.approx(0.2 / math.sqrt(3) * stats.t.ppf(0.95, 2))


def test_fewer_than_two_keepers_are_refused():
    for number in (0, 1):
        with pytest.raises(TooFewKeepers, match="keepers in general"):
            pool(keepers(*KACKER)[:number])
    with pytest.raises(CannotCompare, match="named twice"):
        pool([Keeper("ann", 0.1, 0.1, (3, 3)), Keeper("ann", 0.2, 0.1, (3, 3))])
    with pytest.raises(CannotCompare, match="ann gives an effect"):
        Keeper("ann", 0.1, 0.0, (3, 3))
    with pytest.raises(CannotCompare, match="ann had 1 and 3 bins"):
        Keeper("ann", 0.1, 0.2, (1, 3))


def test_few_keepers_and_few_bins_are_said():
    remarks = pool([Keeper("ann", 0.1, 0.1, (2, 3)), Keeper("bo", 0.2, 0.1, (3, 3))]).remarks
    assert "2 keepers hardly tell" in remarks[0]
    assert "ann" in remarks[1]
    assert "bo" not in remarks[1]
    assert pool(keepers(*KACKER)).remarks == ()


def test_a_keepers_difference_goes_in_with_its_own_error():
    arms = Arm.exact("control", [3.0, 3.3, 2.8]), Arm.exact("changed", [3.5, 3.1, 3.6])
    exact = keeper("ann", difference(*arms))
    assert exact.se == pytest.approx(stats.ttest_ind(arms[1].low, arms[0].low).statistic ** -1 * exact.effect)
    assert exact.bins == (3, 3)
    near = [Arm.between(arm.name, arm.low - 0.005, arm.high + 0.005) for arm in arms]
    assert keeper("ann", difference(near[0], near[1])).se == pytest.approx(exact.se, rel=5e-3)
    with pytest.raises(CannotCompare, match="assumed scatter"):
        keeper("bo", difference(Arm.exact("a", [3.0]), Arm.exact("b", [3.1]), assumed_cv=0.3))


def test_a_keeper_whose_few_bins_happened_to_agree_does_not_take_over():
    """Weights by the standard errors as they are would leave the other two a hundredth."""
    found = pool([Keeper("a", 0.0, 0.02, (2, 2)), Keeper("b", 0.3, 0.3, (2, 2)), Keeper("c", 0.3, 0.3, (2, 2))])
    assert found.tau == 0
    assert 0.15 < found.estimate < 0.2


def test_many_bins_of_one_keeper_do_not_stand_for_many_keepers():
    """A keeper with endless bins leaves the range of three keepers as wide as the keepers differ."""
    others = [Keeper("b", 0.6, 0.01, (50, 50)), Keeper("c", -0.3, 0.01, (50, 50))]
    few, many = pool([Keeper("a", 0.1, 0.01, (50, 50)), *others]), pool([Keeper("a", 0.1, 1e-6, (9999, 9999)), *others])
    assert many.se == pytest.approx(few.se, rel=0.01)


@pytest.mark.parametrize("bins", [2, 3])
def test_ranges_hold_the_mean_and_the_next_keeper_as_often_as_they_say(bins):
    """Eight keepers with few bins an arm, keepers and bins both scattering by 0.3; 1000 pools, sd of the counts 9.5."""
    rng = np.random.default_rng(8)
    holds = held = 0
    for _ in range(1000):
        first = rng.normal(0, 0.3, (9, bins))
        second = rng.normal(0.2, 0.3, (9, 1)) + rng.normal(0, 0.3, (9, bins))
        effect = second.mean(axis=1) - first.mean(axis=1)
        se = np.sqrt((first.var(axis=1, ddof=1) + second.var(axis=1, ddof=1)) / bins)
        found = pool([Keeper(f"k{i}", effect[i], se[i], (bins, bins)) for i in range(8)])
        holds += found.low < 0.2 < found.high
        held += found.predicted[0] < effect[8] < found.predicted[1]
    assert 872 <= holds <= 945
    assert 872 <= held <= 945
