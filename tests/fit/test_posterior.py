import numpy as np
import pytest

from tests.fit.cases import NOTHING, PRIOR, PROBES, VESSEL, air, drive, readings, z_of
from underlid.fit.likelihood import log_likelihood
from underlid.fit.posterior import PARAMETERS, fit
from underlid.heat.model import simulate

TRUE_Z = z_of(loss=0.8, base=-0.5, moisture=0.3, heat=0.2, bias=1.0)


@pytest.fixture(scope="module")
def fitted():
    course = air(20)
    evidence, _ = readings(TRUE_Z, course, 24, 0.5)
    return course, evidence, fit(PRIOR, evidence, NOTHING, drive(course), 7)


def test_without_readings_the_posterior_is_the_prior_and_says_so():
    prior_only = fit(PRIOR, NOTHING, NOTHING, drive(air(4)), 1, draws=4000)
    # Log loss has standard deviation 0.35; base spans a factor three either way in 90 %.
    assert np.log(prior_only.draws["loss"]).std() == pytest.approx(0.35, rel=0.05)
    low, middle, high = prior_only.range_of("base")
    assert high / middle == pytest.approx(3.0, rel=0.1)
    assert middle / low == pytest.approx(3.0, rel=0.1)
    # The moisture noted as 60-80 % is the 5 and 95 % points of its prior.
    assert prior_only.range_of("moisture") == pytest.approx((0.6, 0.705, 0.8), abs=0.01)
    assert any("description alone" in note for note in prior_only.notes)


def test_the_fit_settles_and_its_ranges_hold_the_truth(fitted):
    _, _, posterior = fitted
    truth = PRIOR.parameters(TRUE_Z[None, :])
    assert posterior.trusted
    for name in ("loss", "bias", "scatter"):
        low, high = np.percentile(posterior.draws[name], [0.5, 99.5])
        assert low <= truth[name][0] <= high, name
    assert posterior.draws["bias"].std() < 0.5


def test_the_ensemble_agrees_with_importance_sampling(fitted):
    """An independent method on the same posterior: prior draws weighted by their likelihood."""
    course, evidence, posterior = fitted
    z = np.random.default_rng(0).standard_normal((6000, len(PARAMETERS)))
    parameters = PRIOR.parameters(z)
    bedding = simulate(VESSEL, PRIOR.thermal(parameters), drive(course), PROBES)
    log_weight = log_likelihood(evidence, bedding.probes_c, course, PRIOR.thermometer(parameters))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    effective = 1 / (weight**2).sum()
    assert effective > 20
    for name in ("loss", "bias", "scatter"):
        mean = weight @ parameters[name]
        sd = np.sqrt(weight @ (parameters[name] - mean) ** 2)
        error = sd / np.sqrt(effective) + sd / np.sqrt(posterior.effective)
        assert posterior.draws[name].mean() == pytest.approx(mean, abs=4 * error), name


def test_the_same_seed_gives_the_same_bytes_and_another_does_not(fitted):
    course, evidence, posterior = fitted
    again = fit(PRIOR, evidence, NOTHING, drive(course), 7)
    other = fit(PRIOR, evidence, NOTHING, drive(course), 8)
    for name in PARAMETERS:
        assert again.draws[name].tobytes() == posterior.draws[name].tobytes()
    assert other.draws["loss"].tobytes() != posterior.draws["loss"].tobytes()


def test_vaguer_words_leave_a_wider_posterior(fitted):
    course, _, sharp = fitted
    evidence, _ = readings(TRUE_Z, course, 24, 4.0)
    vague = fit(PRIOR, evidence, NOTHING, drive(course), 7)
    assert vague.draws["bias"].std() > sharp.draws["bias"].std()


def test_progress_reaches_the_end():
    course = air(6)
    evidence, _ = readings(TRUE_Z, course, 5, 0.5)
    shares: list[float] = []
    fit(PRIOR, evidence, NOTHING, drive(course), 1, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_readings_that_do_not_fit_the_weather_are_named_and_nothing_overflows():
    """Fahrenheit taken for Celsius, as a mislabelled file would have it."""
    course = air(12)
    evidence, _ = readings(TRUE_Z, course, 16, 0.5)
    wrong = fit(PRIOR, evidence, NOTHING, drive(course * 1.8 + 32), 1)
    assert wrong.misfit
    assert "do not fit together" in wrong.notes[0]
    assert all(np.isfinite(draws).all() for draws in wrong.draws.values())
    far = PRIOR.parameters(np.array([[1e3] * 9, [-1e3] * 9]))
    assert 0 < far["moisture"].min() < far["moisture"].max() < 1


def test_a_fit_that_has_not_settled_is_not_shown_as_good(fitted):
    from dataclasses import replace

    _, _, posterior = fitted
    assert not replace(posterior, largest=0.4).trusted
    assert not replace(posterior, effective=20.0).trusted
