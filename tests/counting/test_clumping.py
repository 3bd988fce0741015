"""The negative binomial and the textbook's sample sizes, against published counts and worked numbers."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom

from underlid.counting import CannotTell
from underlid.counting.clumping import (
    fit,
    log_probability,
    moment_k,
    samples_needed,
    samples_needed_taylor,
    stratified_total,
    taylor,
)

# Mites on 150 leaves, Bliss and Fisher (1953), Biometrics 9:176: how many leaves had 0, 1, ... 7 mites (recalled).
LEAVES = (70, 38, 17, 10, 9, 3, 2, 1)
MITES = [mites for mites, leaves in enumerate(LEAVES) for _ in range(leaves)]

some_counts = st.lists(st.integers(0, 60), min_size=2, max_size=12)


def test_the_probabilities_are_scipys():
    x = np.arange(40)
    for mean, k in ((5.0, 1.0), (0.3, 0.2), (20.0, 8.0)):
        assert log_probability(x, mean, k) == pytest.approx(nbinom.logpmf(x, k, k / (k + mean)), rel=1e-9)
    assert math.exp(log_probability(0, 5, 1)) == pytest.approx(1 / 6)


def test_mites_on_leaves():
    found = fit(MITES)
    assert found.samples == 150
    assert found.mean == pytest.approx(1.146667, abs=1e-6)
    assert found.k == pytest.approx(1.0246, abs=5e-5)  # the published value
    assert found.k == pytest.approx(1.02486, abs=1e-3)  # R, MASS::fitdistr
    assert found.k_se == pytest.approx(0.2760, abs=5e-4)  # MASS::fitdistr
    assert found.mean_se == pytest.approx(0.1273, abs=1e-4)  # MASS::fitdistr
    assert found.log_likelihood == pytest.approx(-222.4372, abs=1e-4)  # MASS::fitdistr
    assert found.k_low < found.k - found.k_se < found.k + found.k_se < found.k_high
    assert np.var(MITES, ddof=1) == pytest.approx(2.273647, abs=1e-6)


def test_the_profile_interval_drops_the_likelihood_by_half_of_chi_squared():
    found = fit(MITES)
    for k in (found.k_low, found.k_high):
        drop = found.log_likelihood - log_probability(MITES, found.mean, k).sum()
        assert drop == pytest.approx(2.7055 / 2, abs=1e-3)


def test_moment_k():
    counts = [0, 0, 5, 9, 11]  # mean 5, variance 25.5
    assert moment_k(counts) == pytest.approx((25 - 25.5 / 5) / 20.5)


@pytest.mark.parametrize("counts", [(3, 3, 3, 3), (2, 3, 4), (4, 5, 5, 6)])
def test_no_sign_of_clumping_is_no_number(counts):
    assert moment_k(counts) is None
    with pytest.raises(CannotTell, match="no sign of clumping"):
        fit(counts)


@pytest.mark.parametrize(
    ("counts", "why"), [((5,), "One sample"), ((0, 0, 0), "Nothing was found"), ((-1, 4), "none below 0")]
)
def test_what_says_nothing_about_clumping(counts, why):
    with pytest.raises(CannotTell, match=why):
        moment_k(counts)
    with pytest.raises(CannotTell, match=why):
        fit(counts)


@given(some_counts)
def test_k_is_positive_or_refused_and_its_interval_holds_it(counts):
    try:
        found = fit(counts)
    except CannotTell:
        return
    assert 0 < found.k_low <= found.k <= found.k_high
    assert found == fit(counts[::-1])


@pytest.mark.parametrize(
    ("mean", "k", "precision", "samples"), [(5, 1, 0.2, 30), (5, 0.5, 0.25, 35.2), (10, 2, 0.2, 15), (20, 1, 0.1, 105)]
)
def test_sample_sizes(mean, k, precision, samples):
    """By the formula of Elliott (1977)."""
    assert samples_needed(mean, precision, k) == pytest.approx(samples)


def test_sample_sizes_without_clumping_in_a_small_bin_and_by_the_power_law():
    assert samples_needed(5, 0.2) == pytest.approx(5)  # Poisson: 1/(m D²)
    assert samples_needed(5, 0.2, 1, available=30) == pytest.approx(15)
    assert samples_needed_taylor(5, 0.2, 1, 1) == pytest.approx(samples_needed(5, 0.2))
    with pytest.raises(CannotTell, match="precision"):
        samples_needed(5, 0)


def test_taylor_is_found_again():
    means = np.array([1.0, 3.0, 10.0, 40.0])
    assert taylor(means.tolist(), (2 * means**1.4).tolist()) == pytest.approx((2, 1.4))
    with pytest.raises(CannotTell, match="three sets"):
        taylor([1, 2], [1, 3])


def test_stratified_total():
    total, se = stratified_total((40, 60), (4, 6), (5, 2), (9, 4))
    assert total == 320
    assert se == pytest.approx(73.485, abs=1e-3)  # sqrt(40 · 36 · 9/4 + 60 · 54 · 4/6)


strata = st.lists(
    st.tuples(st.integers(12, 90), st.integers(2, 12), st.floats(0, 50), st.floats(0, 99)), min_size=1, max_size=5
)


@given(strata, st.randoms())
def test_strata_in_any_order_have_one_total(parts, random):
    mixed = random.sample(parts, len(parts))
    assert stratified_total(*zip(*mixed, strict=True)) == pytest.approx(stratified_total(*zip(*parts, strict=True)))


@given(strata, st.floats(0.1, 10))
def test_animals_counted_in_other_units_scale(parts, times):
    whole, taken, mean, variance = zip(*parts, strict=True)
    total, se = stratified_total(whole, taken, mean, variance)
    scaled = stratified_total(whole, taken, [times * m for m in mean], [times**2 * s2 for s2 in variance])
    assert scaled == pytest.approx((times * total, times * se))


def test_a_part_taken_whole_has_no_sampling_error_and_one_sample_no_scatter():
    assert stratified_total((4,), (4,), (5,), (9,)) == (20, 0)
    assert stratified_total((1,), (1,), (5,), (0,)) == (5, 0)
    with pytest.raises(CannotTell, match="two samples"):
        stratified_total((40,), (1,), (5,), (0,))
    with pytest.raises(CannotTell, match="only 4"):
        stratified_total((4,), (5,), (5,), (1,))
