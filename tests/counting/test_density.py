"""The posterior of density and clumping, against sums done another way."""

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import nbinom

from tests.counting.bins import sample
from underlid.counting.density import APART, CLUMPING, LOG_DENSITY, draw_parameters, log_likelihood


def test_the_likelihood_is_the_product_over_samples_of_sums_over_what_a_count_may_mean():
    found = log_likelihood("adult", [sample(adult=3), sample(adult="4 to 6"), sample(volume="2 L", juvenile=1)])
    k, row = CLUMPING[7], LOG_DENSITY[150]
    mean = 0.5 * np.exp(row)
    p = k / (k + mean)
    by_hand = nbinom.logpmf(3, k, p) + np.log(sum(nbinom.pmf(n, k, p) for n in (4, 5, 6)))
    assert found[7, 150] == pytest.approx(by_hand, rel=1e-9)


def test_two_halves_say_of_the_mean_what_one_litre_does_of_even_animals():
    halves = log_likelihood("adult", [sample(adult=3), sample(adult=3)])
    litre = log_likelihood("adult", [sample(volume="1 L", adult=6)])
    difference = (halves - litre)[-1]  # the least clumped: nearly the Poisson, whose sums are Poisson
    assert np.ptp(difference[100:200]) < 0.25


def test_the_priors_have_the_spread_they_are_said_to_have():
    rng = np.random.default_rng(3)
    nothing = np.zeros((1, len(CLUMPING), len(LOG_DENSITY)))
    clumping, log_finds = draw_parameters(nothing, rng.random(20000), rng.random((20000, 1)), rng)
    assert np.percentile(clumping, (5, 50, 95)) == pytest.approx((0.3, 1.5, 8), rel=0.2)
    assert np.exp(np.median(log_finds)) == pytest.approx(5, rel=0.15)
    assert APART[[0, 2, -1]] == pytest.approx((0.15, 0.6, 2.4), rel=0.03)


def test_draws_rise_with_their_uniforms():
    likelihood = log_likelihood("adult", [sample(adult=5)] * 3)[None]
    rng = np.random.default_rng(5)
    u = rng.random(3000)
    log_finds = draw_parameters(likelihood, u, u[:, None], rng)[1][:, 0]
    assert np.corrcoef(ndtri(u), log_finds)[0, 1] > 0.9


def test_many_even_samples_settle_the_density():
    likelihood = log_likelihood("adult", [sample(adult=5)] * 60)[None]
    rng = np.random.default_rng(6)
    log_finds = draw_parameters(likelihood, rng.random(2000), rng.random((2000, 1)), rng)[1]
    assert np.exp(np.percentile(log_finds, (5, 50, 95))) == pytest.approx((8.9, 10, 11.1), rel=0.05)
