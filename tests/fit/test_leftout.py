from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from tests.fit.journals import between, journal, laid, pool, posterior, reading, study_of
from underlid.fit import leftout
from underlid.fit.evidence import worth
from underlid.fit.leftout import ENOUGH_EFFECTIVE, Mixture, judged, reweighted, share_between
from underlid.fit.likelihood import INSTRUMENT_K, log_likelihood
from underlid.fit.predictive import predictive
from underlid.heat.model import standard_probes
from underlid.quantity.points import PERCENT


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


def test_once_one_is_left_out_those_near_it_count_as_if_it_had_never_been_made(monkeypatch):
    """Against the worth of the others, reckoned anew."""
    entries = tuple(reading(hour, "middle", between(10, 11)) for hour in (100, 101, 120, 130, 500))
    entries += (reading(101, "edge", between(10, 11)),)
    case, changes = laid(entries), []

    def kept(log_p, change):
        changes.append(change)
        return reweighted(log_p, change)

    monkeypatch.setattr(leftout, "reweighted", kept)
    used = case.evidence.used
    expected = np.full((200, len(case.evidence.hour)), 10.5)
    judged(case.evidence, expected, np.full((200, 1), 0.3), 60.0, case.time_utc, np.random.default_rng(0))
    for i, change in enumerate(changes):
        others = np.insert(worth([*used[:i], *used[i + 1 :]]), i, 0.0) - case.evidence.worth
        moved = np.abs(others) > 1e-3
        assert len(change) == {"edge": 1, "middle": 4 if used[i].when.start.day < 15 else 1}[used[i].place]
        assert np.sort(change[np.abs(change) > 1e-3]) == pytest.approx(np.sort(others[moved]), abs=1e-6)


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
    (one,) = judged(case.evidence, expected, np.full((200, 1), 0.3), 60.0, case.time_utc, rng)
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
