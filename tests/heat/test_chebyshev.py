import numpy as np
import pytest

from underlid.heat.chebyshev import DAMPING, MOST_STAGES, tables

TABLE, REACH = tables()
EVERY = range(2, MOST_STAGES + 1)


def step(slope, y, h, stages):
    """One step of y' = slope(y), written down from Sommeijer, Shampine & Verwer (1998), equation 2.1."""
    mu, nu, mu_s, gamma_s = TABLE[stages]
    first = slope(y)
    before, now = y, y + mu_s[1] * h * first
    for j in range(2, stages + 1):
        further = (1 - mu[j] - nu[j]) * y + mu[j] * now + nu[j] * before
        before, now = now, further + mu_s[j] * h * slope(now) + gamma_s[j] * h * first
    return now


@pytest.mark.parametrize("stages", EVERY)
def test_small_steps_are_exact_to_second_order(stages):
    z = np.array([-0.02, -0.01, 0.01])
    assert (np.abs(step(lambda y: z * y, np.ones(3), 1.0, stages) - np.exp(z)) < np.abs(z) ** 3).all()


@pytest.mark.parametrize("stages", [2, 3, 5, 12, MOST_STAGES])
def test_halving_the_step_quarters_the_error(stages):
    """On the logistic equation, which is not linear; its solution is known."""

    def error(steps):
        y = 0.2
        for _ in range(steps):
            y = step(lambda y: y * (1 - y), y, 2.0 / steps, stages)
        return abs(y - 1 / (1 + 4 * np.exp(-2.0)))

    assert error(40) / error(80) == pytest.approx(4, rel=0.1)


@pytest.mark.parametrize("stages", EVERY)
def test_every_decay_within_reach_stays_a_decay(stages):
    z = np.linspace(-REACH[stages], 0, 2001)
    assert (np.abs(step(lambda y: z * y, np.ones_like(z), 1.0, stages)) <= 1 + 1e-12).all()


@pytest.mark.parametrize("stages", EVERY)
def test_beyond_reach_some_decay_would_grow(stages):
    z = np.linspace(-1.2 * REACH[stages], -REACH[stages], 201)
    assert np.abs(step(lambda y: z * y, np.ones_like(z), 1.0, stages)).max() > 1


@pytest.mark.parametrize("stages", range(4, MOST_STAGES + 1))
def test_reach_is_the_published_one(stages):
    """About 2/3 (s^2 - 1) (1 - 2/15 damping): Sommeijer, Shampine & Verwer (1998), section 2, recalled."""
    assert REACH[stages] == pytest.approx(2 / 3 * (stages**2 - 1) * (1 - 2 / 15 * DAMPING), rel=0.01)


def test_a_stiff_system_within_reach_is_followed_to_second_order():
    """y' = rate y on rates from slow to as fast as the step allows: the fast ones die, and do not spoil the slow."""
    stages, seconds = 10, 1.0
    errors = []
    for steps in (8, 16):
        h = seconds / steps
        rate = np.array([-1.0, -0.9 * REACH[stages] / h])
        y = np.ones(2)
        for _ in range(steps):
            y = step(lambda y, rate=rate: rate * y, y, h, stages)
        errors.append(abs(y[0] - np.exp(-seconds)))
        assert abs(y[1]) < 1
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.15)
