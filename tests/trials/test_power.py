"""The power of simulated trials against that of log-normal numbers in closed form, and the engine's bookkeeping."""

import math
from dataclasses import replace
from functools import cache

import numba as nb
import numpy as np
import pytest
from scipy import stats

from tests.update.sample import sample
from underlid.quantity.amount import VagueAmount
from underlid.trials.judged import CANNOT_TELL, FAILS, HOLDS, Chances, Rule, chances, ratio_intervals, verdicts
from underlid.trials.power import HOPELESS, answer, cheapest, power, surface
from underlid.trials.scene import ImpossibleTrial, Scene, drawn, scene_of
from underlid.trials.simulated import ACTS, factors_for, lived, simulate
from underlid.trials.sizes import log_sd
from underlid.worms.habitat import Habitat
from underlid.worms.species import species

KIND = species("E. fetida")
DAYS = 90
EXACT = VagueAmount(25, 25, "1", "exact", "25")
MANY = 20_000  # trials of log-normal numbers
FAR = 4.0  # standard errors that a seed would pass once in 16,000; the seeds are fixed


def scene(**changes):
    """Small bins in bedding of 12 to 20 degC, fed once."""
    bedding_c = 16.0 + 4.0 * np.sin(2 * np.pi * np.arange(24 * DAYS) / (24 * DAYS))
    habitat = Habitat.steady(KIND, bedding_c, 24 * DAYS, food_kg=0.1)
    return replace(Scene(KIND, habitat, area_m2=0.16, litres=30.0, edible_kg=2.0, founders=EXACT), **changes)


def lognormal(cv, bins, ratio=1.0, looks=1, trials=MANY, seed=3):
    """(trials, 2, bins, looks) of bins that vary alike in both arms."""
    rng = np.random.default_rng(seed)
    logs = math.log(300) + log_sd(cv) * rng.standard_normal((trials, 2, bins, looks))
    logs[:, 1] += math.log(ratio)
    return np.exp(logs)


def one_look(margin):
    return Rule(margin, (DAYS,))


# --- the verdict and its power, on numbers that do not come from the engine --------------------------------------

#: Power of two one-sided t tests on logs, true ratio 1, alpha .05, by quadrature, for CV .2, .3 and .5.
TABLE = {
    (1.5, 2): (0.192, 0.070, 0.019), (1.5, 3): (0.406, 0.113, 0.015), (1.5, 4): (0.642, 0.197, 0.019),
    (2.0, 2): (0.567, 0.267, 0.083), (2.0, 4): (0.992, 0.804, 0.249),
}  # fmt: skip


@pytest.mark.parametrize(("margin", "bins"), TABLE)
def test_the_power_of_log_normal_numbers_is_that_by_quadrature(margin, bins):
    for cv, expected in zip((0.2, 0.3, 0.5), TABLE[margin, bins], strict=True):
        found = chances(lognormal(cv, bins), one_look(margin))
        assert found.holds == pytest.approx(expected, abs=FAR * found.holds_se + 0.0005)
        assert found.holds + found.fails + found.cannot_tell == pytest.approx(1)


@pytest.mark.parametrize("bins", [2, 3, 4, 8])
@pytest.mark.parametrize("ratio", [2.0, 0.5])
def test_an_effect_of_the_margin_is_called_neither_more_often_than_allowed(bins, ratio):
    """At the margin itself "fails" comes about with exactly alpha, "holds" with that at most."""
    found = chances(lognormal(0.3, bins, ratio), one_look(2.0))
    assert found.holds <= 0.05 + FAR * found.holds_se
    assert found.fails == pytest.approx(0.05, abs=FAR * found.fails_se)


def test_looks_that_share_the_error_rate_keep_it():
    rule = Rule(2.0, (30, 60, 90), (0.01, 0.01, 0.03))
    found = chances(lognormal(0.3, 4, 2.0, looks=3), rule)
    assert max(found.holds, found.fails) <= 0.05 + FAR * found.fails_se
    assert found.fails > 0.03  # and spend it


def test_the_interval_is_that_of_the_pooled_t_test():
    numbers = np.random.default_rng(2).lognormal(4, 0.4, (5, 2, 3))
    low, high = ratio_intervals(numbers, 0.025)
    for i, (control, changed) in enumerate(np.log(numbers)):
        there = stats.ttest_ind(changed, control).confidence_interval(0.95)
        assert (low[i], high[i]) == (pytest.approx(there.low), pytest.approx(there.high))


def test_the_first_look_that_decides_stands():
    alike, apart = [[100, 101, 99], [100, 102, 98]], [[100, 101, 99], [900, 905, 890]]
    vague = [[100, 30, 300], [100, 20, 400]]
    rule = Rule(1.5, (30, 60), (0.025, 0.025))
    numbers = np.array([[alike, apart], [apart, alike], [vague, apart], [vague, vague]]).transpose(0, 2, 3, 1)
    # Alike at the first look says nothing: what parts later fails then.
    assert verdicts(numbers, rule).tolist() == [FAILS, FAILS, FAILS, CANNOT_TELL]
    assert verdicts(numbers[..., ::-1], rule).tolist() == [FAILS, FAILS, FAILS, CANNOT_TELL]
    assert verdicts(numbers[:1, ..., :1], Rule(1.5, (30,))).tolist() == [HOLDS]


def test_a_bin_without_worms_no_scatter_and_single_bins_tell_nothing():
    empty, same = [[100, 101, 99], [1, 0, 1]], [[7, 7, 7], [7, 7, 7]]
    low, high = ratio_intervals([empty, same], 0.05)
    assert np.isneginf(low).all()
    assert np.isposinf(high).all()
    assert verdicts(np.full((3, 2, 1, 1), 50), one_look(3.0)).tolist() == [CANNOT_TELL] * 3


def test_a_chance_never_met_still_has_an_error():
    """Of 100 trials without one, the chance may be 3 % (1 - .05^(1/100)): the error says as much."""
    found = chances(np.full((100, 2, 1, 1), 50), one_look(2.0))
    assert found.holds == 0
    assert 0.01 < found.holds_se < 0.03


# --- the bins -----------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_bytes_on_any_number_of_threads():
    vague = scene(founders=VagueAmount(20, 30, "1", "between", "20 to 30"), sampled=0.1)
    threads, found = nb.get_num_threads(), []
    for number in (1, nb.config.NUMBA_NUM_THREADS):  # type: ignore[attr-defined]
        nb.set_num_threads(number)
        found.append(simulate(vague, 2, 30, (60, DAYS), (1.0, 0.5), 4).tobytes())
    nb.set_num_threads(threads)
    assert found[0] == found[1]
    assert found[0] != simulate(vague, 2, 30, (60, DAYS), (1.0, 0.5), 5).tobytes()


def test_the_first_trials_are_the_same_however_many_follow():
    few, many = (simulate(scene(), 2, trials, (DAYS,)) for trials in (10, 210))
    np.testing.assert_array_equal(few, many[:10])


@pytest.mark.parametrize("acts_on", ACTS)
def test_animals_are_conserved_in_every_bin(acts_on):
    among = drawn(scene(), 20, 4, *map(np.random.default_rng, (1, 2)))
    here = scene(acts_on=acts_on)
    change = np.tile([1.0, 1.0, 0.3, 0.3], (20, 1))
    stages, ledger = lived(here, among, change, np.array([0, 50, DAYS]), 1, 0)
    laid, failed, opened, hatched, _, died = np.moveaxis(ledger, -1, 0)
    np.testing.assert_array_equal(stages[:, :, 0, 1:].sum(axis=-1), among.founders)
    np.testing.assert_array_equal(stages[..., 0], stages[:, :, :1, 0] + laid - failed - opened)
    np.testing.assert_array_equal(stages[..., 1:].sum(axis=-1), among.founders[..., None] + hatched - died)
    assert laid[:, :, -1].sum() > 0


@pytest.mark.parametrize(
    ("acts_on", "seen_in"), [("laying", "cocoons"), ("survival of the young", "young"), ("cocoons", "young")]
)
def test_a_change_acts_on_its_rate(acts_on, seen_in):
    numbers = simulate(scene(acts_on=acts_on, outcome=seen_in), 10, 40, (60,), (1.0, 0.2))
    assert numbers[:, 1].mean() < 0.8 * numbers[:, 0].mean()
    if acts_on == "laying":  # from the first day on, so that fewer are laid by the factor, and later by fewer mothers
        early = simulate(scene(acts_on=acts_on, outcome="cocoons", edible_kg=50.0), 10, 60, (12,), (1.0, 0.2))
        assert 0.2 < early[:, 1].mean() / early[:, 0].mean() < 0.6  # cocoons that came with the founders stay


def test_what_is_sampled_is_a_share_of_what_is_there_and_clumps():
    whole, part = (simulate(scene(sampled=share), 3, 300, (DAYS,))[..., 0] for share in (1.0, 0.1))
    assert part.mean() / whole.mean() == pytest.approx(0.1, rel=0.1)
    scatter = [np.log(np.maximum(found, 1)).std(axis=2).mean() for found in (whole, part)]
    assert scatter[1] > scatter[0]


def test_bins_differ_by_their_spread_and_by_chance():
    """In the cold none grow up: of many cocoons laid by many adults nearly all scatter is the spread of laying."""
    adults = VagueAmount(400, 400, "1", "exact", "400")
    wide = scene(founders=adults, outcome="cocoons", edible_kg=500.0, area_m2=50.0, laying_log_sd=0.3, food_log_sd=0.0)
    found = np.log(simulate(wide, 8, 100, (25,))[..., 0])
    assert math.sqrt(found.var(axis=2, ddof=1).mean()) == pytest.approx(0.3, abs=0.05)


@cache
def halved(acts_on):
    here, trials = scene(acts_on=acts_on), 30
    factors = factors_for(here, 0.5, DAYS, trials, seed=2)
    both = np.stack([np.ones(trials), np.where(factors.reached, factors.values, 1.0)], axis=1)
    return factors, simulate(here, 60, trials, (DAYS,), both, 2)[..., 0]


@pytest.mark.parametrize("acts_on", ACTS)
def test_a_factor_gives_the_ratio_asked_in_each_population(acts_on):
    factors, numbers = halved(acts_on)
    assert factors.reached.mean() > 0.5
    assert (factors.values[factors.reached] < 1).all()
    logs = np.log(np.maximum(numbers[factors.reached], 0.5)).mean(axis=2)
    ratios = np.exp(logs[:, 1] - logs[:, 0])
    assert np.median(ratios) == pytest.approx(0.5, rel=0.1)
    assert np.quantile(ratios, 0.9) / np.quantile(ratios, 0.1) < 2.0


def test_numbers_change_less_than_the_rate_where_founders_live_on():
    factors, _ = halved("laying")
    assert np.nanmedian(factors.values) < 0.5


def test_an_effect_that_no_change_has_is_out_of_reach():
    """Adults of a few weeks were all founders, whatever they lay."""
    factors = factors_for(scene(outcome="adults"), 0.5, 20, 10)
    assert not factors.reached.any()
    told = power(scene(outcome="adults"), 2, Rule(2.0, (20,)), trials=10)
    assert told.at_margin is None
    assert told.twice is None
    assert "in 100% of the simulated trials" in " ".join(told.notes)


# --- the plan as a whole --------------------------------------------------------------------------------------


def test_power_of_the_engine_keeps_the_error_rate_and_finds_effects():
    told = power(scene(), 8, one_look(2.0), trials=80, seed=3)
    assert isinstance(told.at_margin, Chances)
    assert isinstance(told.twice, Chances)
    assert told.at_margin.holds <= 0.05 + 3 * told.at_margin.holds_se  # 3: factors are found in a few bins each
    assert told.idle.holds > 0.5
    assert told.twice.fails > told.at_margin.fails
    assert told.can_answer
    assert told.within[0] < told.within[1] < told.within[2]
    assert told.cv is not None
    assert 0.1 < told.cv < 0.6
    assert told.extinct == 0


def test_power_rises_with_bins_and_margin_and_falls_with_spread():
    sizes = surface(scene(), (DAYS,), bins=(1, 2, 4, 8), spreads=(0.1, 0.3, 0.6), trials=80, seed=5)
    assert (sizes.holds[:, :, 0] == 0).all()
    for axis, sign in ((2, 1), (1, 1), (0, -1)):
        steps, room = sign * np.diff(sizes.holds, axis=axis), FAR * sizes.se.max()
        assert (steps > -room).all()
        assert steps.max() > room
    best = cheapest(sizes)
    assert best is not None
    i, j, k = sizes.spreads.index(0.3), sizes.margins.index(best.margin), sizes.bins.index(best.bins)
    assert sizes.holds[i, j, k] >= 0.8
    assert (sizes.holds[i, :, :k] < 0.8).all()
    assert (sizes.holds[i, :j, k] < 0.8).all()
    assert cheapest(sizes, wanted=1.01) is None


def test_fewer_bins_taken_of_many_have_the_power_of_a_trial_of_their_own():
    sizes = surface(scene(), (DAYS,), bins=(2, 8), margins=(2.0,), spreads=(0.3,), trials=80, seed=1)
    numbers = simulate(scene(), 2, 300, (DAYS,), seed=2)
    alone = chances(numbers, one_look(2.0))
    assert sizes.holds[0, 0, 0] == pytest.approx(alone.holds, abs=FAR * math.hypot(sizes.se[0, 0, 0], alone.holds_se))


def test_one_bin_an_arm_has_no_power_and_says_why():
    told = power(scene(), 1, one_look(3.0), trials=20)
    assert (told.idle.holds, told.idle.fails, told.cv, told.at_margin) == (0, 0, None, None)
    assert told.within == (math.inf,) * 3
    assert not told.can_answer
    assert "no verdict is possible" in told.notes[-1]
    assert answer(told).startswith("This trial cannot answer the question")


def test_a_hopeless_trial_is_told_with_what_could_answer():
    sizes = surface(scene(), (DAYS,), bins=(2, 8), margins=(1.25, 3.0), spreads=(0.3,), trials=40)
    told = power(scene(), 2, one_look(1.25), trials=20)
    assert told.idle.holds < HOPELESS
    said = answer(told, sizes)
    assert said.startswith("This trial cannot answer the question")
    assert "could, for a margin of 3 times" in said
    none = replace(sizes, holds=np.zeros_like(sizes.holds))
    assert "Nor could 8" in answer(told, none)


def test_extinct_bins_are_told_and_never_called_alike():
    frozen = Habitat.steady(KIND, -12.0, 24 * 200)
    told = power(scene(habitat=frozen), 3, Rule(2.0, (200,)), trials=10)
    assert told.extinct == 1
    assert told.idle.cannot_tell == 1
    assert told.cv is None


def test_progress_rises_to_the_end():
    seen: list[float] = []
    power(scene(), 2, Rule(2.0, (10,)), trials=210, progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1)


def test_a_bin_that_was_studied_becomes_a_scene():
    study = sample()
    found = scene_of(study, outcome="adults")
    assert found.outcome == "adults"
    assert found.founders == study.case.bin.founders
    assert found.days == len(study.case.time_utc) // 24
    assert len(found.habitat.worms_c) == len(study.posterior.draws["loss"])
    numbers = simulate(found, 2, 20, (found.days,))
    assert numbers.shape == (20, 2, 2, 1)
    with pytest.raises(ImpossibleTrial, match=r"weather reaches .* days"):
        simulate(found, 2, 20, (found.days + 1,))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"acts_on": "luck"}, "acts_on"), ({"sampled": 0.0}, "sampled"), ({"area_m2": -1.0}, "area_m2"),
        ({"laying_log_sd": math.nan}, "laying_log_sd"), ({"outcome": "weight"}, "outcome"),
        ({"founders": VagueAmount(10, math.inf, "1", "at least", "10+")}, "Founders"),
    ],
)  # fmt: skip
def test_a_scene_that_cannot_be_is_refused(changes, says):
    with pytest.raises(ImpossibleTrial, match=says):
        scene(**changes)


def test_trials_that_cannot_be_are_refused():
    for days in ((), (60, 30), (-1,), (400,)):
        with pytest.raises(ImpossibleTrial, match="days of the counts"):
            simulate(scene(), 2, 5, days)
    with pytest.raises(ImpossibleTrial, match="factor for each arm"):
        simulate(scene(), 2, 5, (30,), np.ones((4, 2)))
    with pytest.raises(ImpossibleTrial, match="above 0"):
        simulate(scene(), 2, 5, (30,), (1.0, 0.0))
    with pytest.raises(ImpossibleTrial, match="ratio above 0"):
        factors_for(scene(), 1.0, 30, 5)
    with pytest.raises(ImpossibleTrial, match="margin"):
        Rule(0.8, (30,))
    with pytest.raises(ImpossibleTrial, match="share of the error rate"):
        Rule(2.0, (30, 60))
    with pytest.raises(ImpossibleTrial, match="looks in two arms"):
        verdicts(np.ones((2, 3, 2, 1)), one_look(2.0))
