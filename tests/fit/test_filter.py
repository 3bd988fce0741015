"""The particle filter against exact answers: SciPy's laws for one look, forward recursions and Kalman for several."""

import itertools
import math

import numba as nb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import logsumexp

from tests.fit.flocks import LIVELY, colony, counted, course, looking, seen, sure, told
from underlid.fit.filter import _draw_anew, _flock, lives, log_likelihood
from underlid.fit.heard import slips
from underlid.fit.tally import SIGHTING_SLIP
from underlid.worms.chance import begin
from underlid.worms.lifecycle import Lives

SURVIVES = 0.9
DIES = -math.log(SURVIVES)


def chance(rows, look, *, particles=1):
    """Probability of a tally by one set."""
    return float(np.exp(log_likelihood(rows, look, course(), colony(), 1, 0, particles)[0]))


def exact(there, y, found, *, mine=0.0, rest=0.0):
    """Probability of y in a sample by summing over who can be found: SciPy's binomial and beta-binomial."""
    m = np.arange(there + 1)
    return stats.binom.pmf(m, there, found) @ stats.betabinom.pmf(y, m, mine, rest)


def told_by(model, seed, first, particles):
    rows, look, steps, kind = model
    return log_likelihood(rows, look, steps, kind, seed, first, particles)


def lived_by(model, seed, numbers, particles, states, copies=None):
    rows, look, steps, kind = model
    copies = np.zeros(len(numbers), int) if copies is None else copies
    return lives(rows, look, steps, kind, seed, numbers, copies, particles, states)


def dirichlet_multinomial(finds, alpha, animals):
    return stats.dirichlet_multinomial.pmf(finds, alpha, np.array(animals))


# --- one look --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("y", "share", "k"), [(0, 0.1, 4.0), (3, 0.1, 4.0), (12, 0.3, 0.7), (30, 0.6, 50.0)])
def test_a_sample_holds_a_beta_binomial_share(y, share, k):
    rows = sure(counted(0, {"adult": y}))
    found = chance(rows, looking([share], concentration=k))
    assert found == pytest.approx(stats.betabinom.pmf(y, 30, k * share, k * (1 - share)), rel=1e-10)


def test_several_samples_of_a_day_hold_dirichlet_multinomial_shares():
    rows = sure(counted(0, {"adult": 4}, place="edge"), counted(0, {"adult": 11}))
    found = chance(rows, looking([0.2, 0.3], concentration=3.0))
    assert found == pytest.approx(dirichlet_multinomial([4, 11, 15], [0.6, 0.9, 1.5], 30), rel=1e-10)


def test_samples_of_different_days_find_the_clumps_elsewhere():
    rows = sure(counted(0, {"adult": 4}), counted(1, {"adult": 11}))
    found = chance(rows, looking([0.2, 0.3], concentration=3.0))
    one, two = (stats.betabinom.pmf(y, 30, 3 * s, 3 * (1 - s)) for y, s in ((4, 0.2), (11, 0.3)))
    assert found == pytest.approx(one * two, rel=1e-10)


def test_a_bin_without_end_gives_the_negative_binomial():
    """Mean 5, k = 1: P(0) = 1/6 (statistics of aggregated counts, closed form); and the rest by SciPy."""
    share = 5 / 200_000
    for y in (0, 3, 9):
        found = chance(sure(counted(0, {"adult": y})), looking([share], founders=200_000, concentration=1 / share))
        assert found == pytest.approx(stats.nbinom.pmf(y, 1, 1 / 6), rel=1e-3)
    assert stats.nbinom.pmf(0, 1, 1 / 6) == pytest.approx(1 / 6)


@pytest.mark.parametrize(
    ("mean", "said", "mass"), [(12, "10-15", 0.6020234908), (40, "31+", 0.9383058469), (8, "3-4", 0.0858784327)]
)
def test_a_vague_count_has_the_mass_of_all_it_may_mean(mean, said, mass):
    """Without clumps and without end the law is Poisson's; masses computed apart."""
    share = mean / 1e6
    rows = sure(counted(0, {"adult": said}))
    look = looking([share], founders=1_000_000, concentration=1e5 / share)
    assert chance(rows, look) == pytest.approx(mass, rel=1e-3)


def test_a_vague_count_is_the_sum_of_sharp_ones():
    look = looking([0.3], concentration=2.0)
    vague = chance(sure(counted(0, {"adult": "10-15"})), look)
    assert vague == pytest.approx(sum(chance(sure(counted(0, {"adult": y})), look) for y in range(10, 16)))


def test_what_is_not_found_is_thinned_out_first():
    rows = sure(counted(0, {"adult": 6}))
    found = chance(rows, looking([0.4], concentration=2.0, found=0.7), particles=40_000)
    assert found == pytest.approx(exact(30, 6, 0.7, mine=0.8, rest=1.2), rel=0.01)


def test_a_full_sort_finds_a_binomial_number():
    for y, p in ((0, 0.3), (9, 0.3), (30, 0.95)):
        found = chance(sure(counted(0, {"adult": y})), looking([1.0], found=p))
        assert found == pytest.approx(stats.binom.pmf(y, 30, p), rel=1e-9)
    vague = chance(sure(counted(0, {"adult": "20-25"})), looking([1.0], found=0.8))
    assert vague == pytest.approx(stats.binom.pmf(np.arange(20, 26), 30, 0.8).sum(), rel=1e-9)


def test_a_full_sort_in_parts_is_its_sum_and_how_they_share_it():
    rows = sure(counted(0, {"adult": 15}, place="edge"), counted(0, {"adult": 9}))
    found = chance(rows, looking([0.6, 0.4], concentration=3.0, found=0.8))
    shared = dirichlet_multinomial([15, 9], [1.8, 1.2], 24)
    assert found == pytest.approx(stats.binom.pmf(24, 30, 0.8) * shared, rel=1e-9)


def test_a_stage_that_was_looked_for_in_half_of_a_full_sort_is_no_full_sort_of_it():
    rows = sure(counted(0, {"adult": 9}), counted(0, {"cocoon": 0}, place="edge"))
    found = chance(rows, looking([0.5, 0.5], concentration=3.0))
    assert found == pytest.approx(stats.betabinom.pmf(9, 30, 1.5, 1.5), rel=1e-9)


@pytest.mark.parametrize("shares", [(0.2, 0.3), (0.6, 0.4)])
def test_vague_counts_of_several_samples_keep_all_they_may_mean(shares):
    rows = sure(counted(0, {"adult": "3-6"}, place="edge"), counted(0, {"adult": "8+"}))
    look = looking(shares, concentration=3.0, found=0.8)
    wanted = np.zeros(())
    for one, two in itertools.product(range(3, 7), range(8, 31)):
        if shares == (0.6, 0.4):
            sums = stats.binom.pmf(one + two, 30, 0.8)
            wanted += sums * dirichlet_multinomial([one, two], [1.8, 1.2], one + two)
        else:
            m = np.arange(one + two, 31)
            parts = [dirichlet_multinomial([one, two, n - one - two], [0.6, 0.9, 1.5], n) for n in m]
            wanted += stats.binom.pmf(m, 30, 0.8) @ parts
    assert chance(rows, look, particles=40_000) == pytest.approx(wanted, rel=0.03)


def test_a_sighting_says_only_that_there_were_so_many():
    look = looking(cocoons=500.0)
    assert chance(told(seen(0, 12)).rows, look) == pytest.approx(1.0)
    assert chance(told(seen(0, "about 12-40", "adult")).rows, look) == pytest.approx(1.0)
    assert chance(told(seen(0, 12, "cocoon")).rows, look) == pytest.approx(1.0)
    for more in (31, 4000):  # cocoons are no worms, and a contradiction costs what a slip does, however gross
        assert chance(told(seen(0, more)).rows, look) == pytest.approx(SIGHTING_SLIP)


def test_a_count_that_cannot_be_costs_what_a_slip_does():
    counted_wrong = told(counted(0, {"adult": 80}))
    rows = counted_wrong.rows
    assert 0 < rows.slip_chance[0] < 0.1
    assert chance(rows, looking([0.1])) == pytest.approx(rows.slip[0] * rows.slip_chance[0])


def test_lives_tell_which_count_was_a_slip():
    rows = told(counted(0, {"adult": 15}), counted(1, {"adult": 400}), seen(2, 5)).rows
    look = looking([0.5, 0.5])
    stages = lives(rows, look, course(), colony(), 1, np.zeros(1, int), np.zeros(1, int), 10, 4)[0]
    right, wrong, sight = slips(rows, look, stages, 1)[0]
    p = stats.betabinom.pmf(15, 30, 0.5, 0.5)
    slip = rows.slip[0] * rows.slip_chance[0]
    assert right == pytest.approx(slip / (slip + (1 - rows.slip[0]) * p))
    assert wrong == 1.0
    assert sight == pytest.approx(SIGHTING_SLIP)


# --- through time ----------------------------------------------------------------------------------------

FOUND = (8, 7, 5)
KEPT = np.array([stats.binom.pmf(np.arange(31), n, SURVIVES) for n in range(31)])  # from n to fewer in a step


def forward(heard):
    """The exact recursion; `heard[t]` (31,) is the probability of what is said after step t + 1. Log L, and who."""
    p, log_l = np.eye(31)[30], 0.0
    for each in heard:
        p = (p @ KEPT) * each
        log_l += math.log(p.sum())
        p = p / p.sum()
    return log_l, p


def finds(y, p=0.3):
    return stats.binom.pmf(y, np.arange(31), p)


def thinning(sets):
    """Thirty adults, of which nine in ten outlive a day, sorted through on the days 1, 2 and 3."""
    rows = sure(*(counted(day + 1, {"adult": y}) for day, y in enumerate(FOUND)))
    of = looking([1.0] * 3, sets=sets, found=0.3)
    steps = course(sets, 3, daily={"adult_death": DIES})
    return rows, of, steps, colony(sets)


def test_thirty_that_thin_out():
    """Survival .9, detection .3, found 8, 7 and 5 after each step: log L -5.4893977890, N 21.28195999 (5.36759815)."""
    log_l, p = forward([finds(y) for y in FOUND])
    mean = p @ np.arange(31)
    assert (log_l, mean) == pytest.approx((-5.4893977890, 21.28195999), abs=1e-8)
    assert p @ (np.arange(31) - mean) ** 2 == pytest.approx(5.36759815, abs=1e-8)

    model, seed, particles = thinning(4000), 1, 50
    estimate = np.exp(told_by(model, seed, 0, particles))
    assert estimate.mean() == pytest.approx(math.exp(log_l), abs=3 * estimate.std() / math.sqrt(4000))
    stages = lived_by(model, seed, np.arange(4000), particles, 4)[0]
    share = estimate / estimate.sum()
    last = stages[:, 3, 4]
    drawn = share @ last
    assert drawn == pytest.approx(mean, abs=4 * math.sqrt(5.37 * (share**2).sum()))
    assert share @ (last - drawn) ** 2 == pytest.approx(5.36759815, rel=0.12)


def test_lives_are_lines_of_descent_through_what_was_said():
    """The dead do not come back where particles are drawn anew; and day 1 is known by what was found later as well."""
    said = (24, 22, 17)  # so well found that particles are drawn anew each day
    rows = sure(*(counted(day + 1, {"adult": y}) for day, y in enumerate(said)))
    one, two, three = (finds(y, 0.95) for y in said)
    now, later = np.eye(31)[30] @ KEPT * one, KEPT @ (two * (KEPT @ three))
    smoothed = now * later / (now @ later)
    model = rows, looking([1.0] * 3, sets=3000, found=0.95), *thinning(3000)[2:]
    estimate = np.exp(told_by(model, 1, 0, 60))
    adults = lived_by(model, 1, np.arange(3000), 60, 4)[0][:, :, 4]
    assert (np.diff(adults, axis=1) <= 0).all()
    share, mean = estimate / estimate.sum(), smoothed @ np.arange(31)
    var = smoothed @ (np.arange(31) - mean) ** 2
    assert share @ adults[:, 1] == pytest.approx(mean, abs=4 * math.sqrt(var * (share**2).sum()))


def test_a_thousand_particles_estimate_it_closely():
    model, seed, particles = thinning(50), 1, 1000
    log_l = told_by(model, seed, 0, particles)
    assert log_l.std() < 0.3  # the aim is 1.5
    assert log_l.mean() == pytest.approx(-5.4893977890, abs=0.05)


def test_a_vague_day_is_the_average_over_the_days_it_may_be():
    """Eight found on day 1, 2 or 3, and seven on day 2, when particles are drawn anew in between."""
    vague, sharp = counted(1, {"adult": 8}, window_days=2), counted(2, {"adult": 20}, litres="2")
    rows = sure(vague, sharp)
    assert rows.part_weight[rows.part_occasion == 0] == pytest.approx(1 / 3)
    one = np.ones(31)
    heard = ([finds(8), finds(20), one], [one, finds(20) * finds(8), one], [one, finds(20), finds(8)])
    wanted = float(logsumexp([forward(each)[0] for each in heard]) - math.log(3))
    sets = 400
    look = looking([1.0, 1.0], sets=sets, found=0.3)
    model = rows, look, course(sets, 3, daily={"adult_death": DIES}), colony(sets)
    estimate = np.exp(told_by(model, 1, 0, 200))
    assert estimate.mean() == pytest.approx(math.exp(wanted), abs=3.5 * estimate.std() / math.sqrt(sets))
    assert estimate.std() / estimate.mean() < 5


# --- lives -----------------------------------------------------------------------------------------------


def lively(sets=6):
    rows = told(counted(10, {"adult": "3-6", "cocoon": "2+"}), seen(25, 30), counted(40, {"juvenile": 9})).rows
    look = looking([0.2, 0.2], sets=sets, adult_share=0.6, cocoons=8, food_kg=5.0, found=0.7, concentration=5.0)
    return rows, look, course(sets, daily=LIVELY), colony(sets)


def test_the_same_seed_gives_the_same_on_any_number_of_threads():
    sets, numbers, copies = 6, np.array([4, 4, 0, 9, 9, 9]), np.array([0, 1, 0, 0, 1, 2])
    model, threads = lively(sets), nb.get_num_threads()
    try:
        found = []
        for many in (1, nb.config.NUMBA_NUM_THREADS):  # type: ignore[attr-defined]
            nb.set_num_threads(many)
            told_, lived = told_by(model, 7, 3, 40), lived_by(model, 7, numbers, 40, 61, copies)
            found.append([told_.tobytes(), *(each.tobytes() for each in lived)])
    finally:
        nb.set_num_threads(threads)
    assert found[0] == found[1]
    assert not np.array_equal(told_by(model, 8, 3, 40), told_)
    stages = lived[0]
    assert not np.array_equal(stages[0], stages[1])  # two lives of one set are two draws


def test_a_set_has_the_likelihood_of_its_number_wherever_it_stands():
    model = lively()
    whole = told_by(model, 7, 0, 40)
    rows, look, steps, kind = model
    tail = [type(each)(*(values[4:] for values in each)) for each in (look, steps, kind)]
    assert np.array_equal(whole[4:], told_by((rows, *tail), 7, 4, 40))


def test_animals_are_conserved_in_every_life():
    lived = Lives(*lived_by(lively(), 7, np.arange(6), 40, 61))
    stages, (laid, failed, opened, hatched, _, died) = lived.stages, np.moveaxis(lived.ledger, 2, 0)
    cocoons = stages[:, :1, 0] + laid - failed - opened
    worms = stages[:, :1, 1:].sum(axis=2) + hatched - died
    assert np.array_equal(stages[:, :, 0], cocoons)
    assert np.array_equal(stages[:, :, 1:].sum(axis=2), worms)
    assert (np.diff(lived.ledger, axis=1) >= 0).all()  # a line of descent never goes back
    assert hatched[:, -1].min() > 0


def test_a_life_up_to_the_last_word_is_the_same_however_far_it_goes_on():
    model = lively()
    short, long = (lived_by(model, 7, np.arange(6), 40, states) for states in (41, 61))
    for one, other in zip(short, long, strict=True):
        assert np.array_equal(one, other[:, :41])


def test_lives_hold_what_was_seen():
    """Six adults, and on day 36 sixty worms seen, which few colonies have by then: all lives drawn do."""
    sets = 30
    look = looking(sets=sets, founders=6, food_kg=5.0)
    model = look, course(sets, daily=LIVELY), colony(sets)
    many = [
        lived_by((rows, *model), 3, np.arange(sets), 60, 61)[0][:, 36, 1:].sum(axis=1)
        for rows in (sure(), sure(seen(36, 60)))
    ]
    assert 0.02 < (many[0] >= 60).mean() < 0.5
    assert (many[1] >= 60).all()


def test_a_tally_that_nothing_can_explain_has_no_likelihood_but_a_life():
    rows = sure(seen(5, 1000))
    model = looking(), course(daily={"adult_death": DIES}), colony()
    assert told_by((rows, *model), 1, 0, 10)[0] == -np.inf
    stages, ledger, kg = lived_by((rows, *model), 1, np.zeros(1, int), 10, 20)
    assert stages[0, 0].tolist() == [0, 0, 0, 0, 30]
    assert (stages >= 0).all()
    assert np.array_equal(30 - stages[0, :, 4], ledger[0, :, 5])
    assert np.isfinite(kg).all()


# --- drawing anew ----------------------------------------------------------------------------------------


def flock_of(weight, seed=0):
    flock, stream = _flock(told().rows, len(weight), 0), np.empty(1, np.uint64)
    begin(stream, seed, 0, 0)
    flock.weight[:] = weight
    flock.stores[:, 0] = np.arange(len(weight))
    return flock, stream


@given(raw=st.lists(st.floats(0, 1), min_size=1, max_size=40).filter(lambda raw: sum(raw) > 0.01), seed=st.integers(0))
@settings(max_examples=60, deadline=None)
def test_each_particle_is_taken_as_often_as_its_weight_says_rounded(raw, seed):
    """Kitagawa 1996."""
    weight = np.array(raw) / np.sum(raw)
    flock, stream = flock_of(weight, seed % 2**31)
    _draw_anew(flock, stream)
    times = np.bincount(flock.source, minlength=len(weight))
    expected = len(weight) * weight
    assert (times >= np.floor(expected - 1e-9)).all()
    assert (times <= np.ceil(expected + 1e-9)).all()
    assert np.array_equal(flock.stores[:, 0], flock.source)
    assert flock.weight == pytest.approx(1 / len(weight))


def test_drawing_anew_is_right_on_average():
    weight = np.array([0.05, 0.43, 0.0, 0.32, 0.2])
    flock, stream = flock_of(weight)
    times = np.zeros(5)
    for _ in range(4000):
        flock.weight[:] = weight
        _draw_anew(flock, stream)
        times += np.bincount(flock.source, minlength=5)
    assert times / 4000 == pytest.approx(5 * weight, abs=4 * 0.5 / math.sqrt(4000))


def bootstrap(start, move, density, seen_, particles, seed):
    """A bootstrap filter (Gordon and others 1993) that draws anew by the project's own means: log L, and who."""
    rng = np.random.default_rng(seed)
    flock, stream = flock_of(np.full(particles, 1 / particles), seed)
    flock.stores[:, 0] = start(rng, particles)
    total = 0.0
    for i, y in enumerate(seen_):
        if i:
            _draw_anew(flock, stream)
        flock.stores[:, 0] = move(rng, flock.stores[:, 0], i)
        weight = density(y, flock.stores[:, 0])
        total += math.log(weight.mean())
        flock.weight[:] = weight / weight.sum()
    return total, flock.weight.copy(), flock.stores[:, 0].copy()


def test_a_filter_so_made_agrees_with_kalman():
    """Local level, q 0.5, r 1, from N(0, 1), predicted first: log L -5.9407382538, 1.3914956012 (0.5014662757)."""
    found = []
    for seed in range(20):
        log_l, weight, x = bootstrap(
            lambda rng, n: rng.standard_normal(n),
            lambda rng, x, _: x + math.sqrt(0.5) * rng.standard_normal(len(x)),
            lambda y, x: stats.norm.pdf(y, x), (1, 0.5, 2, 1.5), 4000, seed,
        )  # fmt: skip
        found.append([math.exp(log_l), mean := weight @ x, weight @ (x - mean) ** 2])
    mean, error = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(20)
    assert (abs(mean - [math.exp(-5.9407382538), 1.3914956012, 0.5014662757]) < 4 * error).all()
    assert (error < [2e-5, 0.01, 0.01]).all()


def test_a_filter_so_made_agrees_with_the_exact_hidden_markov_model():
    """Two states, Poisson 1 or 4, seen 0, 2, 5, 1: log L -8.7693618283, filter .63673638 and .36326362."""
    stay = np.array([0.9, 0.8])
    found = []
    for seed in range(20):
        log_l, weight, x = bootstrap(
            lambda rng, n: rng.integers(0, 2, n).astype(float),
            lambda rng, x, i: x if i == 0 else np.where(rng.random(len(x)) < stay[x.astype(int)], x, 1 - x),
            lambda y, x: stats.poisson.pmf(y, np.where(x == 0, 1, 4)), (0, 2, 5, 1), 4000, seed,
        )  # fmt: skip
        found.append([math.exp(log_l), weight @ (x == 0)])
    mean, error = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(20)
    assert (abs(mean - [math.exp(-8.7693618283), 0.63673638]) < 4 * error).all()
    assert (error < [2e-6, 0.01]).all()
