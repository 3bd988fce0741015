"""Several looks and claims against statsmodels, closed forms and simulated trials in which nothing happens."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from statsmodels.stats.multitest import multipletests

from underlid.trials.compare import BadValues
from underlid.trials.looks import holm, spend, zero_events_upper


def test_shares_of_alpha():
    assert spend(1) == (0.05,)
    assert spend(5) == pytest.approx((0.0025, 0.0025, 0.0025, 0.0025, 0.04))
    assert spend(3, 0.1, 0.5) == pytest.approx((0.025, 0.025, 0.05))
    for looks, alpha, share in ((0, 0.05, 0.8), (3, 0, 0.8), (3, 0.05, 0)):
        with pytest.raises(BadValues, match="plan of"):
            spend(looks, alpha, share)


@given(st.integers(2, 50), st.floats(0.001, 0.2), st.floats(0.1, 0.95))
def test_shares_add_up_to_alpha(looks, alpha, share):
    assert sum(spend(looks, alpha, share)) == pytest.approx(alpha)


def test_five_looks_at_5_percent_raise_14_false_alarms_and_spent_ones_5_at_most():
    """Independent increments with known variance; 0.142 is Armitage, McPherson and Rowe (1969), recalled."""
    steps = np.random.default_rng(11).standard_normal((40_000, 5))
    z = np.abs(np.cumsum(steps, axis=1)) / np.sqrt(np.arange(1, 6))
    assert (z > ndtri(0.975)).any(axis=1).mean() == pytest.approx(0.142, abs=0.006)
    spent = ndtri(1 - np.array(spend(5)) / 2)
    assert 0.035 < (z > spent).any(axis=1).mean() < 0.05


def test_spent_looks_hold_alpha_even_if_they_have_nothing_in_common():
    z = np.abs(np.random.default_rng(12).standard_normal((40_000, 5)))
    assert (z > ndtri(1 - np.array(spend(5)) / 2)).any(axis=1).mean() < 0.0535


def test_holm():
    assert holm((0.01, 0.04, 0.03, 0.005)) == pytest.approx((0.03, 0.06, 0.06, 0.02))
    assert holm(()) == ()
    with pytest.raises(BadValues, match="between 0 and 1"):
        holm((0.5, 1.5))


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_holm_is_that_of_statsmodels(p):
    assert holm(p) == pytest.approx(tuple(multipletests(p, method="holm")[1]), rel=1e-9, abs=1e-12)


def test_upper_bound_when_nothing_happened():
    """Calculated apart from this program: 1 - 0.05^(1/n)."""
    assert (zero_events_upper(10), zero_events_upper(4)) == pytest.approx((0.2589, 0.5271), abs=5e-5)
    with pytest.raises(BadValues, match="one bin at least"):
        zero_events_upper(0)
