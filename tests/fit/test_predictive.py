from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, kstest, norm

from tests.fit.journals import DAYS, SPOTS, journal, laid, pool, posterior, reading, study_of
from underlid.fit.likelihood import INSTRUMENT_K, log_likelihood
from underlid.fit.outlook import PERCENT
from underlid.fit.predictive import (
    ENOUGH_EFFECTIVE,
    LUCK,
    Mixture,
    _judged,
    predictive,
    reweighted,
    share_between,
)
from underlid.fit.study import Study
from underlid.heat.model import standard_probes
from underlid.quantity.amount import VagueAmount


def drift(found):
    assert found.drift_k is not None
    return found.drift_k


def between(low, high, unit="degC"):
    return VagueAmount(low, high, unit, "between", f"{low:g} to {high:g}")


@pytest.fixture(scope="module")
def many():
    """Thirty journals that agree with the model."""
    return [predictive(study_of(journal(seed), seed=seed)) for seed in range(30)]


def test_readings_of_the_model_fall_evenly_over_their_ranges(many):
    """The definition of a calibrated forecast, Dawid 1984: PITs of what the model made are uniform."""
    drawn = [one.drawn for found in many for one in found.readings]
    assert kstest(drawn, "uniform").pvalue > 0.01
    inside = sum(found.inside.value for found in many)
    assert inside == pytest.approx(0.9 * len(drawn), abs=3 * np.sqrt(0.09 * len(drawn)))


def test_journals_that_agree_are_seldom_found_to_disagree(many):
    for figure in ("inside", "spread", "residual_k", "drift_k"):
        wrong = sum(not getattr(found, figure).agrees for found in many)
        assert wrong <= 2, figure  # 2 or fewer of 30 at 1 in 100: 0.997
    assert sum(bool(found.stretched) for found in many) <= 2


def test_a_bin_that_changes_half_way_shows_as_a_drift():
    changed = journal(3, 24, lambda shown, hour, place: shown + (4.0 if hour > DAYS * 12 else 0.0))
    found = predictive(study_of(changed))
    assert not drift(found).agrees
    assert drift(found).value > 2


def test_one_place_that_is_off_is_named():
    found = predictive(study_of(journal(5, 30, lambda shown, hour, place: shown - (3.0 if place == "edge" else 0.0))))
    off = {group.name: group.residual_k for group in found.places}
    assert not off["edge"].agrees
    assert off["edge"].value < -1
    assert sum(group.count for group in found.places) == 30


def test_a_steady_error_that_the_fit_takes_up_shows_as_a_stretched_parameter():
    """Readings in °F mistaken by some degrees leave no residual, but push the fit to the end of its prior."""
    found = predictive(study_of(journal(2, 20, lambda shown, hour, place: shown + 5.0)))
    assert dict(found.stretched).get("bias") == 1


def test_one_slip_is_a_surprise_but_no_drift():
    slip = reading(400, "middle", between(40, 41))
    found = predictive(study_of((*journal(6, 14), slip)))
    assert found.surprises[0].reading.id == slip.id
    assert found.surprises[0].chance < 0.001
    assert found.surprises[0].gap > 15
    assert drift(found).agrees
    assert found.residual_k is not None
    assert found.residual_k.agrees


def test_a_reading_left_out_is_judged_as_if_it_had_never_been_made():
    """Against brute force: all draws of the prior, weighted by the other readings alone."""
    odd = reading(300, "middle", between(19, 19.5))
    entries = (*journal(8, 5), odd)
    case = laid(entries)
    found = next(one for one in predictive(study_of(entries, 2000)).readings if one.reading.id == odd.id)
    world = pool()
    others = laid(entries[:-1])
    names = {probe: place for place, probe in standard_probes(case.situation.vessel).items()}
    probes_c = np.stack([world.bedding_c[names[probe]] for probe in others.evidence.probes], axis=2)
    thermometer = case.prior.thermometer(world.parameters)
    log_weight = log_likelihood(others.evidence, probes_c, others.drive.air_c, thermometer)
    weight = np.exp(log_weight - log_weight.max())
    hour = case.evidence.hour[case.evidence.reading == case.evidence.used.index(odd)]
    shown = thermometer.shown(world.bedding_c["middle"][:, hour], case.drive.air_c[hour])
    sd = np.hypot(world.parameters["scatter"], INSTRUMENT_K)[:, None]
    alone = Mixture(shown, sd, weight[:, None] / weight.sum() / len(hour))
    assert found.expected == pytest.approx(alone.points(), abs=0.2)
    assert found.pit == pytest.approx((alone.below(19), alone.below(19.5)), abs=0.02)
    whole = posterior(case, 2000)
    bedding = pool_rows(whole, "middle", hour)
    seen = case.prior.thermometer(whole.draws).shown(bedding, case.drive.air_c[hour])
    knowing = Mixture(seen, np.hypot(whole.draws["scatter"], INSTRUMENT_K)[:, None], np.array(1 / seen.size))
    assert knowing.points()[1] > found.expected[1] + 0.1  # a fit that has seen it leans towards it


def pool_rows(drawn, place, hours):
    """The bedding of posterior draws, which are rows of the pool."""
    world = pool()
    rows = {value: i for i, value in enumerate(world.parameters["bias"])}
    return world.bedding_c[place][[rows[value] for value in drawn.draws["bias"]]][:, hours]


def test_reweighting_agrees_with_the_conjugate_normal():
    """A normal mean with normal prior and noise: the posterior without one datum is known in closed form."""
    rng = np.random.default_rng(0)
    data = np.array([0.3, -0.4, 1.1, 0.2, 2.2])
    precision = 1 / 4 + len(data)
    draws = data.sum() / precision + rng.standard_normal(40000) / np.sqrt(precision)
    log_p = norm.logpdf(data, draws[:, None], 1.0)
    for i in range(len(data)):
        weight, effective = reweighted(log_p, -1.0 * (np.arange(len(data)) == i))
        without = 1 / 4 + len(data) - 1
        mean = weight @ draws
        assert mean == pytest.approx((data.sum() - data[i]) / without, abs=0.02)
        assert weight @ (draws - mean) ** 2 == pytest.approx(1 / without, rel=0.05)
        assert 1 < effective < len(draws)


def test_one_heavy_draw_is_cut_down():
    log_p = np.zeros((100, 1))
    log_p[0] = -50.0
    weight, effective = reweighted(log_p, np.array([-1.0]))
    assert weight[0] == pytest.approx(1.0)
    assert effective < ENOUGH_EFFECTIVE
    even, effective = reweighted(np.zeros((100, 1)), np.array([-1.0]))
    assert even == pytest.approx(0.01)
    assert effective == pytest.approx(100)


def test_where_too_few_draws_remain_the_reading_is_judged_by_all_and_says_so():
    case = laid((reading(100, "middle", between(10.0, 10.2)),))
    expected = np.where(np.arange(200) == 0, 40.0, 10.1)[:, None] * np.ones((1, len(case.evidence.hour)))
    rng = np.random.default_rng(0)
    (one,) = _judged(case.evidence, expected, np.full((200, 1), 0.3), 60.0, case.time_utc, rng)
    assert not one.unseen
    assert one.effective < ENOUGH_EFFECTIVE
    assert one.expected[1] == pytest.approx(10.1, abs=0.1)


def test_a_mixture_has_the_points_of_its_normals():
    alone = Mixture(np.array([[3.0]]), np.array([[2.0]]), np.array([[1.0]]))
    assert alone.points() == pytest.approx(tuple(norm.ppf(np.array(PERCENT) / 100, 3, 2)), abs=1e-2)
    assert alone.spread == pytest.approx(2.0)
    two = Mixture(np.array([[0.0], [10.0]]), np.array([[1.0]]), np.array([[0.5], [0.5]]))
    assert two.below(5.0) == pytest.approx(0.5)
    assert two.spread == pytest.approx(np.sqrt(26.0))


def test_an_interval_is_shared_out_over_the_parts_it_covers():
    assert share_between((0.1, 0.3), [0, 0.2], [0.2, 0.4]) == pytest.approx([0.5, 0.5])
    assert share_between((0.6, 0.6), [0, 0.5], [0.5, 1.0]) == pytest.approx([0.0, 1.0])


def test_no_reading_gives_an_empty_check():
    found = predictive(study_of(()))
    assert found.readings == ()
    assert found.residual_k is None
    assert found.drift_k is None
    assert found.places == ()
    assert found.few
    assert found.inside.agrees


def test_three_readings_are_few_and_twenty_are_not():
    assert predictive(study_of(journal(1, 3))).few
    assert not predictive(study_of(journal(1, 20))).few


def test_moisture_is_judged_too():
    wet = reading(200, "not noted", between(97, 99, "%"), of="moisture")
    usual = reading(300, "not noted", between(60, 80, "%"), of="moisture")
    found = predictive(study_of((wet, usual)))
    assert found.temperatures == ()
    assert [one.reading.id for one in found.surprises] == [wet.id]
    assert found.readings[1].inside == pytest.approx(1.0)


def test_a_depth_of_its_own_is_simulated_there():
    top, deep = (VagueAmount(d, d, "m", "exact", f"{100 * d:g} cm") for d in (0.01, 0.15))
    plain = reading(320, "middle", between(10, 16))
    entries = tuple(replace(plain, id=depth.words, depth=depth) for depth in (top, deep))
    case = laid(entries)
    assert len(case.evidence.probes) == 2
    found = predictive(Study(case, posterior(laid(())), None))  # type: ignore[arg-type]
    assert abs(found.readings[0].expected[1] - found.readings[1].expected[1]) > 0.3


def test_counts_add_up_and_the_same_study_gives_the_same_answer():
    study = study_of(journal(9, 12))
    found = predictive(study)
    assert found.parts.sum() == pytest.approx(12)
    assert sum(group.count for group in found.months) == 12
    assert {group.name for group in found.places} <= {*SPOTS, "not noted"}
    again = predictive(study)
    assert again.readings == found.readings
    assert again.inside == found.inside
    assert again.part == found.part


def test_luck_of_the_count_is_that_of_the_binomial():
    found = predictive(study_of(journal(1, 20)))
    low, high = np.asarray(binom.ppf([(1 - LUCK) / 2, (1 + LUCK) / 2], 20, 0.9))
    assert found.inside.low == pytest.approx(low, abs=1)
    assert found.inside.high == pytest.approx(high, abs=1)
