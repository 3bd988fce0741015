"""Two levels over keepers: against closed forms, eight schools, statsmodels, and the law of all single values."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.meta_analysis import combine_effects

from underlid.trials.arm import BadValues, CannotCompare
from underlid.trials.hierarchy import LOGS, Keeper, Prior, TooFewKeepers, over_keepers

POINTS = (0.025, 0.25, 0.5, 0.75, 0.975)
# Rubin (1981): effect of coaching in eight schools, with standard errors.
SCHOOLS = ((28, 15), (8, 10), (-3, 16), (7, 11), (-1, 9), (1, 11), (18, 10), (12, 18))


def with_error(errors, prior):
    """Effects with standard errors that are known: the scatter of bins is none, and the error each value's own."""
    keepers = [Keeper(f"k{i}", effect, (1, 1), 0.0, 0, (se**2 / 2, se**2 / 2)) for i, (effect, se) in enumerate(errors)]
    return over_keepers(keepers, prior)


def keeper_of(name, control, changed):
    squares = sum(((arm - arm.mean()) ** 2).sum() for arm in (control, changed))
    bins = (len(control), len(changed))
    return Keeper(name, changed.mean() - control.mean(), bins, float(squares), sum(bins) - 2)


def a_club(keepers, bins, sigma, tau, effect, rng):
    level = rng.normal(4, 1, keepers)
    own = rng.normal(effect, tau, keepers)
    return [
        keeper_of(f"k{i}", rng.normal(level[i], sigma, bins), rng.normal(level[i] + own[i], sigma, bins))
        for i in range(keepers)
    ]


def at(belief):
    return [belief.quantile(share) for share in POINTS]


def test_eight_schools():
    """With a flat tau, published from draws: mean and effects in Gelman and others' table 5.3, 200 draws (recalled)."""
    found = with_error(SCHOOLS, Prior(math.inf, 1e-6, 0.0))
    assert at(found.mean) == pytest.approx([-2.0, 4.7, 7.9, 11.3, 18.3], abs=0.3)  # draws of 4000, recalled
    assert found.tau[1] == pytest.approx(5.2, abs=0.3)
    published = {
        0: (-2, 7, 10, 16, 31), 1: (-5, 3, 8, 12, 23), 2: (-11, 2, 7, 11, 19), 4: (-9, 1, 5, 10, 18),
        6: (-1, 7, 10, 15, 26), 7: (-6, 3, 8, 13, 33),
    }  # fmt: skip
    for school, points in published.items():
        assert at(found.effects[school])[1:4] == pytest.approx(points[1:4], abs=1.1)
        assert at(found.effects[school]) == pytest.approx(points, abs=8)  # the tails of 200 draws are rough


def test_eight_schools_by_adding_up_on_a_plain_grid():
    """The density of the mean, by summing over tau and theta without any of the algebra."""
    effect, se = np.array(SCHOOLS, float).T
    scale = 10.0
    tau, theta = np.linspace(0, 70, 1401), np.linspace(-60, 80, 1401)
    log_density = -0.5 * (tau[:, None] / scale) ** 2 + np.zeros_like(theta)
    for one, error in zip(effect, se, strict=True):
        log_density = log_density + stats.norm.logpdf(one, theta, np.hypot(tau, error)[:, None])
    density = np.exp(log_density - log_density.max())
    density[0] /= 2
    found = with_error(SCHOOLS, Prior(scale, 1e-6, 0.0))
    rising = np.cumsum(density.sum(axis=0)) - density.sum(axis=0) / 2
    assert at(found.mean) == pytest.approx(list(np.interp(POINTS, rising / density.sum(), theta)), abs=2e-3)
    rising = np.cumsum(density.sum(axis=1)) - density.sum(axis=1) / 2
    assert found.tau == pytest.approx(np.interp((0.05, 0.5, 0.95), rising / density.sum(), tau), rel=0.02)


def test_without_differences_between_keepers_it_is_the_inverse_variance_mean():
    errors = [(0.1, 0.2), (0.4, 0.3), (-0.2, 0.15), (0.3, 0.5)]
    effect, se = np.array(errors).T
    found = with_error(errors, Prior(1e-7, 1e-9, 0.0)).mean
    peer = combine_effects(effect, se**2)
    assert found.quantile(0.5) == pytest.approx(peer.mean_effect_fe, abs=1e-9)
    assert (found.quantile(stats.norm.cdf(1)) - found.quantile(0.5)) == pytest.approx(peer.sd_eff_w_fe, rel=1e-6)


def test_many_keepers_with_many_bins_give_what_restricted_likelihood_gives():
    rng = np.random.default_rng(3)
    keepers, bins = 60, 8
    level, own = rng.normal(4, 1, keepers), rng.normal(0.3, 0.4, keepers)
    values = rng.normal(level[:, None, None] + own[:, None, None] * np.array([0, 1])[:, None], 0.3, (keepers, 2, bins))
    found = over_keepers([keeper_of(f"k{i}", *each) for i, each in enumerate(values)])
    group, arm = np.repeat(np.arange(keepers), 2 * bins), np.tile(np.repeat([0.0, 1.0], bins), keepers)
    each_level = (group[:, None] == np.arange(keepers)).astype(float)
    peer = MixedLM(values.ravel(), np.column_stack([arm, each_level]), group, exog_re=arm[:, None]).fit(reml=True)
    assert found.mean.quantile(0.5) == pytest.approx(peer.params[0], abs=1e-3)
    assert (found.mean.quantile(0.84134) - found.mean.quantile(0.5)) == pytest.approx(peer.bse[0], rel=0.05)
    assert found.sigma[1] == pytest.approx(math.sqrt(peer.scale), rel=0.01)
    assert found.tau[1] == pytest.approx(math.sqrt(peer.cov_re[0, 0]), rel=0.05)


def test_a_keepers_difference_and_squares_are_all_that_its_bins_say():
    """Against the law of every single value, with a keeper's level as wide as can be, summed on a plain grid."""
    rng = np.random.default_rng(8)
    bins = ((1, 1), (2, 1), (2, 3))
    arms = [(rng.normal(4, 0.4, control), rng.normal(4.5, 0.4, changed)) for control, changed in bins]
    found = over_keepers([keeper_of(f"k{i}", *each) for i, each in enumerate(arms)], LOGS)
    log_sigma, tau = math.log(LOGS.sigma) + LOGS.spread * np.linspace(-5, 5, 41), np.linspace(0, 2.5, 41)
    theta = np.linspace(-4, 5, 181)
    log_density = (
        -0.5 * ((log_sigma - math.log(LOGS.sigma)) / LOGS.spread)[:, None, None] ** 2
        - 0.5 * (tau[:, None] / LOGS.tau) ** 2 + np.zeros_like(theta)
    )  # fmt: skip
    for control, changed in arms:
        values, arm = np.concatenate([control, changed]), np.repeat([0.0, 1.0], [len(control), len(changed)])
        for i, spread in enumerate(np.exp(log_sigma)):
            for j, between in enumerate(tau):
                law = stats.multivariate_normal(
                    np.zeros(len(values)),
                    spread**2 * np.eye(len(values)) + between**2 * np.outer(arm, arm) + 100.0**2,
                )
                log_density[i, j] += law.logpdf(values - theta[:, None] * arm)
    density = np.exp(log_density - log_density.max())
    density[:, 0] /= 2
    of_theta = density.sum(axis=(0, 1))
    rising = (np.cumsum(of_theta) - of_theta / 2) / of_theta.sum()
    assert at(found.mean) == pytest.approx(list(np.interp(POINTS, rising, theta)), abs=5e-3)


def test_ranges_hold_as_often_as_they_say_where_spreads_are_as_assumed():
    """Over draws from the prior a 90 % range holds in 90 %, whatever the numbers: 300 clubs, by chance 86 to 94 %."""
    rng = np.random.default_rng(5)
    mean = following = 0
    for club in range(300):
        sigma, tau, effect = (
            LOGS.sigma * math.exp(LOGS.spread * rng.normal()),
            abs(rng.normal(0, LOGS.tau)),
            rng.normal(),
        )
        keepers, bins = (3, 5, 10)[club % 3], (1, 2)[club % 2]
        found = over_keepers(a_club(keepers, bins, sigma, tau, effect, rng))
        (one,) = a_club(1, bins, sigma, tau, effect, rng)
        mean += 0.05 <= found.mean.cdf(effect) <= 0.95
        following += 0.05 <= found.next_found.cdf(one.effect) <= 0.95
    assert 258 <= mean <= 282
    assert 258 <= following <= 282


@pytest.mark.parametrize("tau", [0.0, 0.25])
def test_single_bins_of_five_keepers_hold_the_mean(tau):
    rng = np.random.default_rng(6)
    held = 0
    for _ in range(150):
        found = over_keepers(a_club(5, 1, 0.3, tau, 0.4, rng))
        held += 0.05 <= found.mean.cdf(0.4) <= 0.95
    assert held >= 0.86 * 150


def test_the_next_keeper_is_less_sure_than_the_mean_and_a_second_bin_narrows():
    rng = np.random.default_rng(2)
    one = over_keepers(a_club(6, 1, 0.3, 0.2, 0.0, rng))
    mean, effect, found = (
        (ends := each.interval(0.9))[1] - ends[0] for each in (one.mean, one.next_effect, one.next_found)
    )
    assert mean < effect < found
    assert any("second bin" in said for said in one.remarks)
    assert not any("second bin" in said for said in over_keepers(a_club(6, 2, 0.3, 0.2, 0.0, rng)).remarks)


def test_a_values_own_error_widens_and_weighs_less():
    sharp = [Keeper(f"k{i}", effect, (1, 1), 0.0, 0) for i, effect in enumerate((0.0, 0.0, 1.0))]
    rough = [*sharp[:2], Keeper("k2", 1.0, (1, 1), 0.0, 0, (1.0, 1.0))]
    assert over_keepers(rough).mean.quantile(0.5) < over_keepers(sharp).mean.quantile(0.5) - 0.1
    all_rough = [Keeper(one.name, one.effect, one.bins, 0.0, 0, (1.0, 1.0)) for one in sharp]
    widths = [np.diff(over_keepers(each).mean.interval(0.9)).item() for each in (sharp, all_rough)]
    assert widths[0] < widths[1]


def test_the_order_of_keepers_says_nothing():
    keepers = a_club(4, 2, 0.3, 0.3, 0.2, np.random.default_rng(1))
    assert at(over_keepers(keepers).mean) == pytest.approx(at(over_keepers(keepers[::-1]).mean), rel=1e-9)


def test_too_few_keepers_are_refused_in_a_sentence():
    one, two, three = a_club(3, 1, 0.3, 0.1, 0.0, np.random.default_rng(1))
    with pytest.raises(TooFewKeepers, match="No keeper can say"):
        over_keepers([])
    with pytest.raises(TooFewKeepers, match="One keeper cannot say what holds of keepers in general"):
        over_keepers([one])
    with pytest.raises(TooFewKeepers, match="three at least are needed, or two with 2 bins in each arm"):
        over_keepers([one, two])
    assert over_keepers([one, two, three]).keepers == ("k0", "k1", "k2")
    assert over_keepers(a_club(2, 2, 0.3, 0.1, 0.0, np.random.default_rng(1))).remarks[0].startswith("2 keepers hardly")
    with pytest.raises(CannotCompare, match="named twice"):
        over_keepers([one, one, two])


def test_what_cannot_be_is_refused():
    with pytest.raises(CannotCompare, match="ash had 0 and 2 bins"):
        Keeper("ash", 0.1, (0, 2), 0.0, 0)
    with pytest.raises(BadValues, match="ash gives an effect of nan"):
        Keeper("ash", math.nan, (1, 1), 0.0, 0)
    with pytest.raises(BadValues, match="scale 0"):
        Prior(0.0, 0.3, 0.5)
