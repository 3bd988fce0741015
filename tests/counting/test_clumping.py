"""The negative binomial and the textbook's sample sizes, against published counts and worked numbers."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import nbinom

from underlid.counting import CannotTell
from underlid.counting.clumping import log_probability, moment_k, samples_needed

# Mites on 150 leaves, Bliss and Fisher (1953), Biometrics 9:176: how many leaves had 0, 1, ... 7 mites (recalled).
LEAVES = (70, 38, 17, 10, 9, 3, 2, 1)
MITES = [mites for mites, leaves in enumerate(LEAVES) for _ in range(leaves)]

some_counts = st.lists(st.integers(0, 60), min_size=2, max_size=12)


def test_the_probabilities_are_scipys():
    x = np.arange(40)
    for mean, k in ((5.0, 1.0), (0.3, 0.2), (20.0, 8.0)):
        assert log_probability(x, mean, k) == pytest.approx(nbinom.logpmf(x, k, k / (k + mean)), rel=1e-9)
    assert math.exp(log_probability(0, 5, 1)) == pytest.approx(1 / 6)


def test_the_most_likely_k_of_mites_on_leaves():
    """At the sample mean, which is the most likely mean (Bliss and Fisher 1953)."""
    values = np.arange(len(LEAVES))
    mean = np.average(values, weights=LEAVES)
    best = minimize_scalar(lambda log_k: -float(log_probability(values, mean, math.exp(log_k)) @ LEAVES), (-1, 0, 1))
    assert math.exp(best.x) == pytest.approx(1.0246, abs=5e-5)  # the published value
    assert math.exp(best.x) == pytest.approx(1.02486, abs=1e-3)  # R, MASS::fitdistr
    assert -best.fun == pytest.approx(-222.4372, abs=1e-4)  # MASS::fitdistr
    assert moment_k(MITES) == pytest.approx((mean**2 - 2.273647 / 150) / (2.273647 - mean), rel=1e-5)


def test_moment_k():
    counts = [0, 0, 5, 9, 11]  # mean 5, variance 25.5
    assert moment_k(counts) == pytest.approx((25 - 25.5 / 5) / 20.5)


@pytest.mark.parametrize("counts", [(3, 3, 3, 3), (2, 3, 4), (4, 5, 5, 6)])
def test_no_sign_of_clumping_is_no_number(counts):
    assert moment_k(counts) is None


@pytest.mark.parametrize(
    ("counts", "why"), [((5,), "One sample"), ((0, 0, 0), "Nothing was found"), ((-1, 4), "none below 0")]
)
def test_what_says_nothing_about_clumping(counts, why):
    with pytest.raises(CannotTell, match=why):
        moment_k(counts)


@given(some_counts)
def test_k_is_positive_or_none_in_any_order(counts):
    if any(counts):
        k = moment_k(counts)
        assert k is None or k > 0
        again = moment_k(counts[::-1])
        assert again == (None if k is None else pytest.approx(k))


@pytest.mark.parametrize(
    ("mean", "k", "precision", "samples"), [(5, 1, 0.2, 30), (5, 0.5, 0.25, 35.2), (10, 2, 0.2, 15), (20, 1, 0.1, 105)]
)
def test_sample_sizes(mean, k, precision, samples):
    """By the formula of Elliott (1977)."""
    assert samples_needed(mean, precision, k) == pytest.approx(samples)


def test_sample_sizes_without_clumping_and_in_a_small_bin():
    assert samples_needed(5, 0.2) == pytest.approx(5)  # Poisson: 1/(m D²)
    assert samples_needed(5, 0.2, 1, available=30) == pytest.approx(15)
    with pytest.raises(CannotTell, match="precision"):
        samples_needed(5, 0)
