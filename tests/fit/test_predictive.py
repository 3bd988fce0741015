from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, kstest

from tests.fit.journals import DAYS, SPOTS, between, journal, laid, posterior, reading, study_of
from underlid.fit import predictive as module
from underlid.fit.likelihood import INSTRUMENT_K
from underlid.fit.predictive import LUCK, predictive
from underlid.fit.study import Study
from underlid.quantity.amount import VagueAmount
from underlid.records import Place


def drift(found):
    assert found.drift_k is not None
    return found.drift_k


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


def test_by_luck_readings_of_one_spot_stray_together_and_of_others_apart():
    """The covariance of first-order autoregression with noise: the lasting share times exp(-apart / memory)."""
    spots: tuple[tuple[int, Place], ...] = ((100, "middle"), (101, "edge"), (106, "middle"), (160, "middle"))
    entries = tuple(reading(hour, place, between(10, 11)) for hour, place in spots)
    entries += tuple(reading(hour, "edge", between(60, 80, "%"), of="moisture") for hour in (100, 124))
    study = study_of(entries)
    found = predictive(study).readings
    luck = module._luck(study, found, np.random.default_rng(0))
    scatter = np.median(study.posterior.draws["scatter"])
    lasts = scatter**2 / (scatter**2 + INSTRUMENT_K**2)
    expected = np.eye(6)
    for i, one in enumerate(found):
        for j, other in enumerate(found):
            kinds = {one.reading.quantity, other.reading.quantity}
            together = kinds == {"moisture"} or (len(kinds) == 1 and one.reading.place == other.reading.place)
            if i != j and together:
                share = 1.0 if kinds == {"moisture"} else lasts
                expected[i, j] = share * np.exp(-abs(one.time_utc - other.time_utc) / 86400)
    assert luck.shape == (module.LUCKS, 6)
    assert np.cov(luck.T) == pytest.approx(expected, abs=4.5 / np.sqrt(module.LUCKS))


@pytest.mark.parametrize(("z", "end"), [(2.7, 1), (2.4, 0), (0.0, 0), (-2.4, 0), (-2.7, -1)])
def test_a_parameter_is_stretched_beyond_one_in_two_hundred_on_either_side(z, end):
    """The standard normal leaves 0.005 beyond 2.576 (any table of it)."""
    study = study_of(())
    there = study.case.prior.parameters(np.full((8, len(study.posterior.draws)), z))
    stretched = dict(module._stretched(replace(study, posterior=replace(study.posterior, draws=there))))
    assert stretched == (dict.fromkeys(there, end) if end else {})
