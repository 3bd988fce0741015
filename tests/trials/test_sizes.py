"""Sizes and power of trials against a table calculated apart from this program, statsmodels and simulation."""

import math

import numpy as np
import pytest
from statsmodels.stats.power import TTestIndPower

from underlid.trials.compare import BadValues, tost
from underlid.trials.sizes import BeyondReach, bins_needed, log_sd, power_to_differ, tost_power


@pytest.mark.parametrize(
    ("margin", "cv", "normal", "exact"),
    [
        (1.25, 0.2, 13.5, 15), (1.25, 0.3, 29.6, 31), (1.25, 0.5, 76.8, 78),
        (1.5, 0.2, 4.1, 5), (1.5, 0.3, 9.0, 10), (1.5, 0.5, 23.2, 24),
        (2.0, 0.2, 1.4, 3), (2.0, 0.3, 3.1, 4), (2.0, 0.5, 8.0, 9),
    ],
)  # fmt: skip
def test_bins_needed(margin, cv, normal, exact):
    """Alpha 0.05, power 0.80, true ratio 1; normal formula and t by quadrature."""
    found = bins_needed(margin, cv)
    assert found.normal == pytest.approx(normal, abs=0.05)
    assert found.exact == exact
    assert tost_power(exact, margin, cv) >= 0.8 > tost_power(exact - 1, margin, cv) if exact > 2 else True


@pytest.mark.parametrize(
    ("n", "margin", "powers"),
    [
        (2, 1.5, (0.192, 0.070, 0.019)),
        (3, 1.5, (0.406, 0.113, 0.015)),
        (4, 1.5, (0.642, 0.197, 0.019)),
        (2, 2.0, (0.567, 0.267, 0.083)),
        (4, 2.0, (0.992, 0.804, 0.249)),
    ],
)
def test_power_actually_had(n, margin, powers):
    assert [tost_power(n, margin, cv) for cv in (0.2, 0.3, 0.5)] == pytest.approx(powers, abs=5e-4)


def test_power_is_the_share_of_simulated_trials():
    rng = np.random.default_rng(3)
    sd, margin = log_sd(0.3), math.log(2)
    trials = rng.normal(0, sd, (1500, 2, 3))
    trials[:, 1] += math.log(1.2)
    share = np.mean([tost(x, y, margin).p < 0.05 for x, y in trials])
    assert share == pytest.approx(tost_power(3, 2, 0.3, ratio=1.2), abs=0.04)


def test_at_the_margin_power_is_at_most_alpha():
    for n, cv in ((2, 0.2), (4, 0.3), (8, 0.5), (40, 0.2)):
        assert tost_power(n, 1.5, cv, ratio=1.5) <= 0.05 + 1e-9
    assert tost_power(40, 1.5, 0.2, ratio=1.5) == pytest.approx(0.05, abs=1e-6)


def test_power_to_show_a_difference_is_that_of_statsmodels():
    for n, ratio, cv in ((3, 2.0, 0.3), (8, 1.3, 0.3), (4, 0.5, 0.5)):
        effect = abs(math.log(ratio)) / log_sd(cv)
        expected = TTestIndPower().power(effect, n, 0.05)
        assert power_to_differ(n, ratio, cv) == pytest.approx(expected, abs=1e-6)


def test_what_cannot_be():
    with pytest.raises(BeyondReach, match="100,000"):
        bins_needed(1.001, 0.5)
    for margin, cv, alpha in ((1.0, 0.3, 0.05), (1.5, 0.0, 0.05), (1.5, 0.3, 0.7)):
        with pytest.raises(BadValues, match=r"margin|variation|Alpha"):
            tost_power(4, margin, cv, alpha)
    with pytest.raises(BadValues, match="two at least"):
        tost_power(1, 1.5, 0.3)
    with pytest.raises(BadValues, match=r"0\.8 is usual"):
        bins_needed(1.5, 0.3, power=1.0)
