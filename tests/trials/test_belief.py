"""The quadrature against Student's t, published fits of interval-censored values, and plain sums."""

import math

import numpy as np
import pytest
from scipy import stats

from underlid.trials.belief import Student, Values, given_spread, integrated, log_likelihood
from underlid.trials.compare import Arm, difference

CENSORED = np.array([(10, 15), (3, 4), (30, math.inf), (5, 10), (8, 12)])


@pytest.mark.parametrize(
    ("bounds", "mean", "sd", "expected"),
    [(CENSORED, 13.74447, 11.28870, -12.0011878), (np.log(CENSORED), 2.368261, 0.865946, -9.6791813)],
)
def test_interval_censored_values(bounds, mean, sd, expected):
    """Normal and log-normal fits by maximum likelihood, calculated with survival-analysis software."""
    values = Values(bounds[:, 0], bounds[:, 1], np.zeros(5))
    assert log_likelihood(values, np.array([[mean]]), np.array([sd]))[0, 0] == pytest.approx(expected, abs=1e-6)
    around = log_likelihood(values, np.array([[mean - 0.1, mean + 0.1]] * 2), np.array([0.98 * sd, 1.02 * sd]))
    assert (around < expected).all()


def test_likelihood_far_from_the_values_keeps_its_digits():
    values = Values(np.array([10.0]), np.array([11.0]), np.zeros(1))
    for mean in (0.0, 21.0):
        found = log_likelihood(values, np.array([[mean]]), np.ones(1))[0, 0]
        assert found == pytest.approx(math.log(stats.norm.sf(10) - stats.norm.sf(11)), rel=1e-9)


@pytest.mark.parametrize("n", [2, 3, 4, 8, 30])
def test_quadrature_gives_the_pooled_t_of_exact_values(n):
    rng = np.random.default_rng(n)
    arms = rng.normal(3, 0.3, n), rng.normal(3.2, 0.3, n)
    exact = difference(Arm.exact("a", arms[0]), Arm.exact("b", arms[1]))
    found = integrated([Values(arm, arm, np.zeros(n)) for arm in arms], None, 2 * n - 2)
    for x in np.linspace(-1, 1.5, 41):
        assert found.cdf(x) == pytest.approx(exact.below(x), abs=2e-4)
    assert isinstance(exact.belief, Student)
    for share in (0.025, 0.05, 0.5, 0.95):
        assert found.quantile(share) == pytest.approx(exact.belief.quantile(share), abs=2e-3 * exact.belief.scale)
    assert found.sd == pytest.approx(_middle_sd(arms), rel=2e-3)


def _middle_sd(arms):
    """Of s for the density 1/s: df·sd²/s² is chi-squared."""
    df = 2 * len(arms[0]) - 2
    return math.sqrt(sum(((arm - arm.mean()) ** 2).sum() for arm in arms) / stats.chi2.median(df))


def test_vague_values_agree_with_plain_integration():
    """Posterior probability of a positive difference by a plain sum over s and both means."""
    arms = Arm.between("a", [2.8, 2.9], [3.2, 3.1]), Arm.between("b", [3.0, 3.3], [3.5, 3.6])
    v2 = np.mean([(high - low) ** 2 / 12 for arm in arms for low, high in zip(arm.low, arm.high, strict=True)])
    means = np.linspace(-4, 10, 3501)

    def likelihood(arm, s):
        bounds = zip(arm.low, arm.high, strict=True)
        return np.prod([stats.norm.cdf((h - means) / s) - stats.norm.cdf((w - means) / s) for w, h in bounds], axis=0)

    def both(log_s):
        s = math.exp(log_s)
        one, two = (likelihood(arm, s) for arm in arms)
        prior = s**2 / (s**2 + v2)
        return prior * (two @ (np.cumsum(one) - one / 2)), prior * one.sum() * two.sum()

    spread = (0.02, 1.5)
    log_s = np.linspace(math.log(spread[0]), math.log(spread[1]), 801)
    above, whole = (np.trapezoid(part, log_s) for part in np.array([both(x) for x in log_s]).T)
    expected = above / whole
    # The quadrature leaves out s below a thirtieth of the whole scatter, whose prior weight is about a thousandth.
    assert difference(*arms, spread).above(0) == pytest.approx(expected, abs=1e-3)


def test_a_known_scatter_with_unlike_noise_weighs_by_it():
    values, noise = np.array([3.0, 3.6, 2.8]), np.array([0.1, 0.5, 0.3])
    weight = 1 / (0.2**2 + noise**2)
    found = given_spread([Values(values, values, noise)], 0.2)
    assert found.quantile(0.5) == pytest.approx(weight @ values / weight.sum(), abs=1e-4)
    assert found.quantile(0.95) - found.quantile(0.5) == pytest.approx(1.64485 / math.sqrt(weight.sum()), rel=2e-3)
