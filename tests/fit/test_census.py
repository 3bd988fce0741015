"""The census: its sampler against closed forms, and a small bin whose truth is told sharply."""

import math
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from tests.update.sample import START, amount, case, from_prior, on
from underlid.fit import census as sampler
from underlid.fit.census import census
from underlid.fit.colony import PARAMETERS, Prior, prior
from underlid.fit.heard import slips
from underlid.fit.sampler import ENOUGH, ROUNDS, SETTLED
from underlid.fit.study import study
from underlid.fit.tally import tally
from underlid.records import SampleCount, Sighting

# --- the sampler, where the answer is known --------------------------------------------------------------


class Toy:
    """A prior of twenty normals, whose colonies are those numbers themselves."""

    size, draws, notes = 20, 8, ()
    study = SimpleNamespace(case=SimpleNamespace(time_utc=np.zeros(1, np.int64)))

    def possible(self, z, lives_in, tally):
        return SimpleNamespace(looking=z, course=SimpleNamespace(laid=np.zeros((len(z), 2))), colony=lives_in)


class Something:
    """A tally with one thing in it."""

    rows, left_out = None, ()

    def __len__(self):
        return 1


def nothing_lived(rows, looking, course, colony, seed, numbers, copies, particles, states):
    return tuple(np.zeros((len(looking), states, many), np.int64) for many in (5, 6, 3))


def normal_likelihood(centre, sd, noise=0.0):
    """The first numbers seen with a normal error; `noise` strays about it so that its mean is right, as a filter's."""

    def told(rows, looking, course, colony, seed, first, particles):
        away = (looking[:, : len(centre)] - centre) / sd
        strays = np.random.default_rng([seed, first]).standard_normal(len(looking))
        return -0.5 * (away**2).sum(axis=1) + noise * strays - noise**2 / 2

    return told


def toy(monkeypatch, likelihood, seed, **how):
    monkeypatch.setattr(sampler, "log_likelihood", likelihood)
    monkeypatch.setattr(sampler, "lives", nothing_lived)
    monkeypatch.setattr(sampler, "slips", lambda rows, looking, stages, seed: np.zeros((len(stages), 1)))
    return census(Toy(), Something(), seed, **how)  # type: ignore[arg-type]


@pytest.mark.parametrize("noise", [0.0, 0.7])
def test_it_agrees_with_a_normal_posterior(monkeypatch, noise):
    """Prior N(0, 1), seen at c with sd s: mean c / (1 + s^2), variance s^2 / (1 + s^2), evidence in closed form."""
    centre, sd = np.array([2.5, -1.5, 0.5]), np.array([0.3, 0.5, 1.0])
    mean, spread = centre / (1 + sd**2), sd / np.sqrt(1 + sd**2)
    log_z = np.sum(np.log(spread) - 0.5 * centre**2 / (1 + sd**2))
    runs = [toy(monkeypatch, normal_likelihood(centre, sd, noise), seed, draws=1000) for seed in range(10)]
    ratio = np.exp([run.log_evidence - log_z for run in runs])
    error = ratio.std() / math.sqrt(10)
    assert ratio.mean() == pytest.approx(1.0, abs=0.05 + 3 * error)
    assert error < 0.05
    drawn = np.concatenate([run.z for run in runs])
    assert drawn[:, :3].mean(axis=0) == pytest.approx(mean, abs=0.05)
    assert drawn[:, :3].std(axis=0) == pytest.approx(spread, rel=0.06)
    assert abs(drawn[:, 3:].mean(axis=0)).max() < 0.12  # what was not seen stays as it was
    assert drawn[:, 3:].std(axis=0) == pytest.approx(1.0, abs=0.08)
    assert all(run.trusted for run in runs)


def test_its_ninety_percent_ranges_hold_the_truth_nine_times_in_ten(monkeypatch):
    """Truths drawn from the prior and seen with an error; of 60, 47 to 59 within the range (chance 99.5 %)."""
    inside, rng, sd = 0, np.random.default_rng(3), np.array([0.5, 0.5])
    for seed in range(60):
        truth = rng.standard_normal(2)
        told = normal_likelihood(truth + sd * rng.standard_normal(2), sd, 0.5)
        low, high = np.percentile(toy(monkeypatch, told, seed).z[:, 0], (5, 95))
        inside += low < truth[0] < high
    assert 47 <= inside <= 59
    assert stats.binom.cdf(59, 60, 0.9) - stats.binom.cdf(46, 60, 0.9) > 0.995


def test_rounds_are_added_until_it_has_settled(monkeypatch):
    done: list[float] = []
    easy = toy(monkeypatch, normal_likelihood(np.zeros(1), np.array([2.0])), 1, progress=done.append)
    assert len(done) == 2  # one round and the lives
    assert done[-1] == 1.0
    assert easy.effective >= SETTLED
    done.clear()
    hard = toy(monkeypatch, normal_likelihood(np.full(3, 2.0), np.full(3, 0.3)), 1, progress=done.append)
    assert 3 < len(done) <= ROUNDS + 1
    assert done == sorted(done)
    first = toy(monkeypatch, normal_likelihood(np.full(3, 2.0), np.full(3, 0.3)), 1, sets=20)
    assert hard.effective > first.effective


def test_what_it_cannot_reach_is_not_shown_as_good(monkeypatch):
    far = toy(monkeypatch, normal_likelihood(np.full(20, 3.0), np.full(20, 0.1)), 1)
    assert not far.trusted
    assert far.effective < ENOUGH
    assert "has not settled" in far.warnings[0]


def test_a_tally_that_no_set_allows_is_not_shown_as_good(monkeypatch):
    never = toy(monkeypatch, lambda rows, looking, *_: np.full(len(looking), -np.inf), 1)
    assert (never.effective, never.log_evidence) == (0.0, -np.inf)
    assert not never.trusted
    half = toy(monkeypatch, lambda rows, looking, *_: np.where(looking[:, 0] > 0, 0.0, -np.inf), 1)
    assert (half.z[:, 0] > 0).all()
    assert half.log_evidence == pytest.approx(math.log(0.5), abs=0.15)


def test_no_bedding_is_favoured_when_sets_are_few(monkeypatch):
    found = [toy(monkeypatch, lambda rows, looking, *_: np.zeros(len(looking)), seed, sets=5) for seed in range(20)]
    assert {int(at) for each in found for at in each.lives_in} == set(range(Toy.draws))


# --- a small bin -----------------------------------------------------------------------------------------

DAYS = 24
SMALL = {"sets": 300, "particles": 24, "draws": 200}


@pytest.fixture(scope="module")
def thought() -> Prior:
    end = START + timedelta(days=DAYS, hours=1)
    one = case((), START + timedelta(days=DAYS), end, members=0)
    return prior(study(one, from_prior(one, 24)))


def sample(day: int, litres: float, **counts: int) -> SampleCount:
    when = START + timedelta(days=day)
    of = tuple((stage.replace("_", "-"), amount(n, n, "1", "exact", str(n))) for stage, n in counts.items())
    return SampleCount(
        id=f"c{day}", bin="b", when=on(when.day, when.month, 12, "noon", year=when.year), words=f"{litres} L: {counts}",
        volume=amount(litres, litres, "L", "exact", f"{litres} L"), counts=of, place="not noted",  # type: ignore[arg-type]
    )  # fmt: skip


def all_of(thought: Prior, day: int, **counts: int) -> SampleCount:
    """Every litre of the bedding sorted through."""
    return sample(day, 1.2 * thought.bedding.litres.high, **counts)


def fitted(thought: Prior, *entries, seed: int = 1, **how):
    return census(thought, tally(entries, thought.study.case.time_utc), seed, **{**SMALL, **how})


def test_nothing_counted_leaves_the_prior(thought):
    done: list[float] = []
    found = fitted(thought, sets=600, draws=600, progress=done.append)
    assert "Nothing was counted or seen" in found.warnings[0]
    assert found.log_evidence == pytest.approx(0, abs=1e-12)
    assert (found.effective, found.used, done[-1]) == (pytest.approx(600), 0, 1.0)
    for i in range(len(PARAMETERS)):
        assert stats.kstest(found.z[:, i], "norm").pvalue > 1e-4
    founders = found.lives.stages[:, 0, 1:].sum(axis=1)
    low, high = np.percentile(founders, (5, 95))  # "30 to 50, about"
    assert (low, high) == (pytest.approx(30, abs=3), pytest.approx(50, abs=3))
    assert found.lives.stages.shape == (600, DAYS + 1, 5)
    assert np.array_equal(np.diff(found.time_utc), np.full(DAYS, 86400))


def test_a_full_sort_is_what_the_lives_hold_but_for_what_sorting_misses(thought):
    """Fourteen adults found: at least so many there, and what is missed is as the judged chance of 95 % has it."""
    found, before = fitted(thought, all_of(thought, 12, adult=14)), fitted(thought)
    assert (found.lives.stages[:, 12, 4] >= 14).mean() > 0.97
    low, middle, high = found.on(12)["adult"]
    assert 14 <= low <= middle <= high <= 18
    first, _, last = before.on(12)["adult"]
    assert last - first > 2 * (high - low)
    assert found.trusted
    assert found.used == 1


def test_two_full_sorts_are_recovered_in_several_rounds(thought):
    counts = {"adult": 12, "sub_adult": 7, "juvenile": 13}
    done: list[float] = []
    found = fitted(thought, all_of(thought, 5, **counts), all_of(thought, 20, adult=12), progress=done.append, sets=400)
    assert len(done) > 3
    assert found.effective > 30
    for day in (5, 20):
        low, middle, high = found.on(day)["adult"]
        assert 11 <= low <= middle <= high <= 15
    low, middle, high = found.on(5)["juvenile"]  # of which sorting finds seven in ten
    assert 13 <= low < middle < high <= 26


def test_a_sighting_rules_out_fewer_and_says_no_more(thought):
    many = int(np.percentile(fitted(thought).lives.stages[:, 12, 1:].sum(axis=1), 70))
    seen_ = Sighting(
        id="s", bin="b", when=all_of(thought, 12, adult=1).when, words="heaps", amount=amount(many, many, "1", "exact")
    )
    found = fitted(thought, seen_)
    assert (found.lives.stages[:, 12, 1:].sum(axis=1) >= many).mean() > 0.85
    assert found.log_evidence == pytest.approx(math.log(0.3), abs=0.4)


def test_of_two_counts_that_contradict_one_is_a_slip_and_is_said_to_be(thought):
    """Fourteen adults, and one a day later, cannot both be: each life goes with one, and the evidence pays for it."""
    entries = all_of(thought, 12, adult=14), all_of(thought, 13, adult=1)
    right, both = fitted(thought, entries[0], sets=500), fitted(thought, *entries, sets=500)
    assert both.log_evidence < right.log_evidence - 4
    there = both.lives.stages[:, 13, 4]
    assert ((there >= 12) | (there <= 3)).mean() > 0.95
    counted = tally(entries, thought.study.case.time_utc)
    looking = thought.possible(both.z, both.lives_in, counted).looking
    chance = slips(counted.rows, looking, both.lives.stages, 1)
    assert (chance.max(axis=1) > 0.5).mean() > 0.95
    assert chance.sum(axis=1).mean() == pytest.approx(1.0, abs=0.1)


def test_a_count_that_founders_cannot_explain_is_taken_for_a_slip(thought):
    """Three hundred adults from about forty founders in twelve days."""
    entry = all_of(thought, 12, adult=300)
    counted, found = tally((entry,), thought.study.case.time_utc), fitted(thought, entry)
    assert found.log_evidence == pytest.approx(math.log(counted.rows.slip[0] * counted.rows.slip_chance[0]), abs=0.01)
    looking = thought.possible(found.z, found.lives_in, counted).looking
    assert slips(counted.rows, looking, found.lives.stages, 1).min() > 0.99
    assert found.on(12)["adult"][2] < 25


def test_the_same_seed_gives_the_same_census(thought):
    entries = all_of(thought, 12, adult=14), sample(20, 1.0, adult=1, cocoon=2)
    one, two, other = (fitted(thought, *entries, seed=seed, sets=100) for seed in (4, 4, 5))
    assert one.lives.stages.tobytes() == two.lives.stages.tobytes()
    assert (one.z.tobytes(), one.log_evidence) == (two.z.tobytes(), two.log_evidence)
    assert one.z.tobytes() != other.z.tobytes()


def test_each_life_begins_with_the_founders_of_its_set(thought):
    counted = tally((all_of(thought, 12, adult=14),), thought.study.case.time_utc)
    found = census(thought, counted, 1, sets=300, particles=24, draws=200)
    expected = thought.possible(found.z, found.lives_in, counted).looking.founders
    assert np.array_equal(found.lives.stages[:, 0, 1:].sum(axis=1), expected)


def test_numbers_far_out_stay_possible(thought):
    """Beyond eight deviations a share of a distribution rounds to 1, and "about" has no end there."""
    z = np.vstack([np.full(len(PARAMETERS), sign * 30.0) for sign in (-1, 1)])
    counted = tally((sample(3, 1.0, adult=2),), thought.study.case.time_utc)
    possible = thought.possible(z, np.zeros(2, np.int64), counted)
    for numbers in (*possible.looking, *possible.course, *possible.colony):
        assert np.isfinite(numbers).all()
    assert (possible.looking.founders >= 1).all()


def test_founders_that_were_not_noted_are_said_to_be_assumed(thought):
    unnoted = replace(thought.study.case.bin, founders=amount(-math.inf, math.inf, "1", "not noted"))
    asked = prior(replace(thought.study, case=replace(thought.study.case, bin=unnoted)))
    assert (asked.founders.low, asked.founders.high) == (10, 300)
    assert any("not noted: 10 to 300 are assumed" in note for note in asked.notes)
    at_least = replace(unnoted, founders=amount(20, math.inf, "1", "at least", "20 or more"))
    assert prior(replace(thought.study, case=replace(thought.study.case, bin=at_least))).founders.high == 70
