"""The engine against exact results of the theory of chains, branching and birth and death, and its own bookkeeping."""

import math

import numba as nb
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats

from underlid.worms.chance import begin
from underlid.worms.lifecycle import (
    ADULTS,
    COCOON_STEPS,
    LEDGER,
    SPERM_DAYS,
    STARVED_PER_DAY,
    WIDTH,
    Colony,
    Course,
    ImpossibleLives,
    found,
    live,
)

#: Of a correct engine one in a million fails this; the seeds are fixed, so none does by bad luck.
UNLIKELY = 1e-6
AT_ONCE = 1e3  # a pace that carries everyone through a whole chain
LAID, FAILED, OPENED, HATCHED, MATURED, DIED = range(6)


def plain(steps, *, days=1.0, **parts):
    """A course in which nothing happens but what is named; every cocoon that opens is viable."""
    known = dict.fromkeys(Course._fields, 0.0) | {"viable": 1.0, "days": days} | parts
    rows = (np.broadcast_to(np.asarray(known[name], float), (1, steps)) for name in Course._fields)
    return Course(*map(np.ascontiguousarray, rows))


def own(sets=1, **parts):
    """Colonies of one young to a cocoon, with room without end, whose adults lay alone as in company."""
    masses = {"hatchling_kg": 2e-5, "juvenile_kg": 1.4e-4, "sub_adult_kg": 3.2e-4, "adult_kg": 5.5e-4}
    known = {"hatchlings": 1.0, "ceiling_kg": 1e12, "lone_lays": 1.0} | masses | parts
    return Colony(*(np.full(sets, known[name]) for name in Colony._fields))


def founders(cocoons=0, young=0, nearly=0, adults=0):
    """Cocoons just laid, young just hatched, young in their last stage, adults."""
    row = np.zeros(ADULTS + 1, np.int64)
    row[[0, COCOON_STEPS, ADULTS - 1, ADULTS]] = cocoons, young, nearly, adults
    return row


# --- the chain: statistics.md would call it Erlang(8, mean 23 days) ---------------------------------------------

MEAN_DAYS = 23.0
ERLANG = stats.gamma(COCOON_STEPS, scale=MEAN_DAYS / COCOON_STEPS)
MANY = 200_000


def opened_after(days):
    """How many of MANY cocoons just laid have opened after each of steps of these lengths."""
    days = np.asarray(days)
    course = plain(days.size, days=days, cocoon_pace=COCOON_STEPS / MEAN_DAYS * days)
    return live(founders(cocoons=MANY), 0.0, course, own(), 7).ledger[0, 1:, OPENED]


def test_the_times_of_an_erlang_chain():
    """Standard deviation, 5, 50 and 95 % points and the share by day 15, computed apart from this."""
    assert ERLANG.std() == pytest.approx(8.131728, abs=1e-6)
    points = np.array([11.44487, 22.04909, 37.80082])
    found_shares = opened_after(np.diff(points, prepend=0.0)) / MANY  # steps as long as that, and still exact
    assert found_shares == pytest.approx([0.05, 0.5, 0.95], abs=4 * math.sqrt(0.25 / MANY))
    for days in (1, 3, 7.5):
        found_share = opened_after(np.full(round(15 / days), days))[-1] / MANY
        assert found_share == pytest.approx(0.15704130, abs=4 * math.sqrt(0.157 * 0.843 / MANY))


@pytest.mark.parametrize("days", [1, 3, 7, 30])
def test_a_step_of_any_length_costs_no_accuracy_in_how_long_it_takes(days):
    ends = np.arange(0, 91, days)
    opened = np.diff(opened_after(np.full(ends.size - 1, float(days))), prepend=0)
    shares = np.diff(ERLANG.cdf(ends))
    keep = shares * MANY > 10
    seen, expected = (np.append(part[keep], MANY * rest) for part, rest in ((opened, 0), (MANY * shares, 0)))
    seen[-1], expected[-1] = MANY - seen.sum(), MANY - expected.sum()
    assert stats.chisquare(seen, expected).pvalue > UNLIKELY


def test_a_chance_to_move_on_by_one_stage_a_day_would_be_biased():
    """8 stages, each left with a chance of 1 - exp(-8/23) a day: 27.2 days. Ours takes 23, in steps of a day too."""
    naive = COCOON_STEPS / -math.expm1(-COCOON_STEPS / MEAN_DAYS)
    assert naive == pytest.approx(27.2, abs=0.05)
    still = 1 - np.append(0, opened_after(np.ones(150))) / MANY
    mean = still.sum() - 0.5  # who opens in a step does so in the middle of it, on average
    assert mean == pytest.approx(MEAN_DAYS, abs=5 * ERLANG.std() / math.sqrt(MANY))
    assert mean < naive - 4


@pytest.mark.parametrize("days", [1, 4, 7])
def test_who_is_laid_within_a_step_takes_as_long(days):
    """From a uniform moment of one step to a uniform moment of another: unbiased, though nobody has the whole step."""
    steps = round(168 / days)
    first = np.arange(steps) == 0
    course = plain(
        steps, days=days, cocoon_pace=COCOON_STEPS / MEAN_DAYS * days, laid=20.0 * days * first,
        adult_death=np.where(first, 0.0, math.inf),
    )  # fmt: skip
    opened = live(founders(adults=20_000), 0.0, course, own(), 3).ledger[0, :, OPENED]
    delays = np.arange(steps) * days  # middle of the step it opens in, less the middle of the first
    shares = np.diff(opened) / opened[-1]
    mean = float(shares @ delays)
    assert opened[-1] > 400_000 * 0.99
    assert mean == pytest.approx(MEAN_DAYS, abs=0.06)
    # two uniform moments scatter by a sixth of the step squared, which the delay between the steps has on top
    scatter = math.sqrt(float(shares @ delays**2) - mean**2 - days**2 / 6)
    assert scatter == pytest.approx(ERLANG.std(), abs=0.06)


def test_steady_laying_keeps_as_many_cocoons_as_are_laid_in_the_time_they_take():
    """Little's law: cocoons there are cocoons laid a day times the days they take, whatever the step."""
    for days in (1.0, 4.0):
        course = plain(round(200 / days), days=days, cocoon_pace=COCOON_STEPS / MEAN_DAYS * days, laid=0.5 * days)
        lives = live(founders(adults=10_000), 0.0, course, own(), 4, replicates=10)
        cocoons = lives.stages[:, round(80 / days) :, 0].mean()
        assert cocoons == pytest.approx(5000 * MEAN_DAYS, rel=0.003)


# --- branching: who dies out -------------------------------------------------------------------------------------

#: Poisson offspring of that mean: q solves q = exp(mean (q - 1)).
EXTINCT = {1.2: 0.6863016690, 1.5: 0.4171883561, 2.0: 0.2031878700, 3.0: 0.0595202093}
GENERATIONS = {1.2: 40, 1.5: 22, 2.0: 13, 3.0: 8}  # after which hardly any line that is to die out is left


def generations(mean, many):
    """Two steps a generation: all adults lay; then they die, and what they laid hatches and grows up at once."""
    lay = np.arange(2 * many) % 2 == 0
    return plain(
        2 * many, laid=np.where(lay, mean, 0.0), adult_death=np.where(lay, 0.0, math.inf),
        cocoon_pace=np.where(lay, 0.0, 1e7), young_pace=np.where(lay, 0.0, 1e7),
    )  # fmt: skip


@pytest.mark.parametrize("first", [1, 2, 5, 30])
@pytest.mark.parametrize("mean", EXTINCT)
def test_extinction_of_a_branching_process(mean, first):
    """Galton and Watson: a line of Poisson offspring dies out with chance q, and of n founders all do with q^n."""
    q = EXTINCT[mean]
    assert q == pytest.approx(math.exp(mean * (q - 1)), abs=1e-9)
    replicates = 400 if first == 30 else 3000
    lives = live(founders(adults=first), 0.0, generations(mean, GENERATIONS[mean]), own(), 11, replicates=replicates)
    extinct = int((lives.stages[:, -1].sum(axis=1) == 0).sum())
    assert stats.binomtest(extinct, replicates, q**first).pvalue > 1e-4
    by_now = np.zeros(GENERATIONS[mean] + 1)
    for g in range(1, by_now.size):  # and generation by generation
        by_now[g] = math.exp(mean * (by_now[g - 1] - 1))
    for g in (1, 2, 3):
        gone = int((lives.stages[:, 2 * g].sum(axis=1) == 0).sum())
        assert stats.binomtest(gone, replicates, by_now[g] ** first).pvalue > 1e-5


@pytest.mark.parametrize("mean", [1.5, 2.0, 3.0])
def test_extinction_with_geometric_offspring(mean):
    """Steady laying over an exponential life has geometric offspring, and q = 1 / mean; in steps of a tenth of it."""
    death, steps = 0.1, round(90 / (mean - 1))
    course = plain(steps, adult_death=death, laid=mean * death, cocoon_pace=1e7, young_pace=1e7)
    lives = live(founders(nearly=1), 0.0, course, own(), 5, replicates=5000)
    extinct = int((lives.stages[:, -1].sum(axis=1) == 0).sum())
    assert stats.binomtest(extinct, 5000, 1 / mean).pvalue > 1e-3


def test_birth_and_death():
    """Births .3, deaths .1: P0(10) = d (E - 1) / (b E - d), E = exp((b - d) 10) = .3018380168."""
    births, deaths, days = 0.3, 0.1, 0.02
    grown = math.exp((births - deaths) * 10)
    exact = deaths * (grown - 1) / (births * grown - deaths)
    assert exact == pytest.approx(0.3018380168, abs=1e-9)
    course = plain(500, days=days, adult_death=deaths * days, laid=births * days, cocoon_pace=1e7, young_pace=1e7)
    for first in (1, 5):
        lives = live(founders(adults=first), 0.0, course, own(), 8, replicates=4000)
        extinct = int((lives.stages[:, -1].sum(axis=1) == 0).sum())
        assert stats.binomtest(extinct, 4000, exact**first).pvalue > 1e-3


def test_pure_death():
    """30 founders at .02 a day for 30 days: binomial, mean 16.464349, variance 7.428523."""
    lives = live(founders(adults=30), 0.0, plain(30, adult_death=0.02), own(), 2, replicates=20_000)
    left = lives.stages[:, -1, 4]
    expected = stats.binom(30, math.exp(-0.6))
    assert (expected.mean(), expected.var()) == pytest.approx((16.464349, 7.428523), abs=1e-6)
    assert left.mean() == pytest.approx(expected.mean(), abs=4 * expected.std() / math.sqrt(left.size))
    assert left.var() == pytest.approx(expected.var(), rel=4 * math.sqrt(2 / left.size))
    # the same for young and for cocoons, that none may move on
    dying = plain(30, young_death=0.02, cocoon_death=0.02)
    lives = live(founders(young=30, cocoons=30), 0.0, dying, own(), 2, replicates=20_000)
    for stage in (0, 1):
        assert lives.stages[:, -1, stage].mean() == pytest.approx(expected.mean(), abs=0.08)


@pytest.mark.parametrize("days", [0.5, 1, 2])
def test_a_large_colony_grows_at_the_rate_of_euler_and_lotka(days):
    """Births .35 x 2.16 a day, a delay of 8 stages and 71 days, deaths .004 and .001 a day: r = .04375583.

    With a single exponential stage it would be .09399932.
    """
    r, births, pace = 0.04375583, 0.35 * 2.16, COCOON_STEPS / 71
    assert births * (pace / (pace + r + 0.004)) ** COCOON_STEPS == pytest.approx(r + 0.001, rel=1e-5)
    adults = 5000
    start = founders(adults=adults)  # in the stable shares
    start[:COCOON_STEPS] = births * adults / (pace + r + 0.004) * (pace / (pace + r + 0.004)) ** np.arange(COCOON_STEPS)
    course = plain(
        round(60 / days), days=days, cocoon_pace=pace * days, young_pace=AT_ONCE, laid=births * days,
        cocoon_death=0.004 * days, adult_death=0.001 * days,
    )  # fmt: skip
    numbers = live(start, 0.0, course, own(), 5, replicates=8).stages.sum(axis=(0, 2))
    assert math.log(numbers[-1] / numbers[0]) / 60 == pytest.approx(r, rel=0.01)


# --- bookkeeping ---------------------------------------------------------------------------------------------------


@st.composite
def any_lives(draw):
    """Founders, courses and colonies of any kind, two sets of them."""
    steps = draw(st.integers(1, 6))
    most = {"viable": 1.0, "days": 8.0, "laid": 0.5, "cocoon_pace": 30.0, "young_pace": 30.0, "food": 0.1, "rot": 1.0}
    course = Course(*(
        draw(arrays.arrays(float, (2, steps), elements=st.floats(0.02 if name == "days" else 0, most.get(name, 2.0))))
        for name in Course._fields
    ))  # fmt: skip
    lowest = {"hatchlings": 1.0, "ceiling_kg": 1e-6}
    colony = Colony(*(
        draw(arrays.arrays(float, 2, elements=st.floats(lowest.get(name, 0.0), 4.0 if name == "hatchlings" else 0.01)))
        for name in Colony._fields
    ))  # fmt: skip
    first = draw(arrays.arrays(np.int64, (2, ADULTS + 1), elements=st.integers(0, 40)))
    return first, draw(st.floats(0, 1)), course, colony


@given(any_lives(), st.integers(0, 2**62))
@settings(max_examples=100, deadline=None)
def test_every_animal_and_all_food_is_accounted_for(case, seed):
    first, food_kg, course, colony = case
    lives = live(first, food_kg, course, colony, seed, replicates=2)
    stages, ledger, kg = lives.stages, lives.ledger, lives.kg
    assert stages.min() >= 0
    assert ledger.min() >= 0
    assert (np.diff(ledger, axis=1) >= 0).all()
    assert (kg >= 0).all()
    cocoons, worms = stages[:, :, 0], stages[:, :, 1:].sum(axis=2)
    laid, failed, opened, hatched, matured, died = np.moveaxis(ledger, 2, 0)
    assert np.array_equal(cocoons, cocoons[:, :1] + laid - failed - opened)
    assert np.array_equal(worms, worms[:, :1] + hatched - died)
    # an adult was one at first or grew up, and all but those of the dead
    assert (stages[:, :, 4] <= stages[:, :1, 4] + matured).all()
    assert (stages[:, :, 4] + died >= stages[:, :1, 4] + matured).all()
    rot, given_kg = (np.repeat(part, 2, axis=0) for part in (course.rot, course.food))
    left, eaten = kg[:, :, 1], np.diff(kg[:, :, 2], axis=1)
    assert left[:, 1:] == pytest.approx((left[:, :-1] + given_kg - eaten) * (1 - rot), abs=1e-9)
    masses = np.repeat(np.array([colony.hatchling_kg, colony.juvenile_kg, colony.sub_adult_kg, colony.adult_kg]), 2, 1)
    assert kg[:, :, 0] == pytest.approx((stages[:, :, 1:] * masses.T[:, None]).sum(axis=2), abs=1e-12)


def busy(seed, replicates):
    course = plain(60, cocoon_pace=0.4, young_pace=0.5, laid=0.5, adult_death=0.01, viable=0.8, young_death=0.02)
    start = founders(cocoons=5, young=10, adults=4)
    return live(start, 1.0, course, own(3, hatchlings=2.5), seed, replicates=replicates)


def test_the_same_seed_gives_the_same_lives_on_any_number_of_threads():
    before = nb.get_num_threads()
    try:
        nb.set_num_threads(1)
        one = busy(3, 8)
        nb.set_num_threads(nb.config.NUMBA_NUM_THREADS)  # type: ignore[attr-defined]
        two = busy(3, 8)
    finally:
        nb.set_num_threads(before)
    for a, b in ((one.stages, two.stages), (one.ledger, two.ledger), (one.kg, two.kg)):
        assert a.tobytes() == b.tobytes()


def test_a_bin_does_not_know_how_many_follow():
    few, more = (busy(3, many) for many in (2, 5))
    assert np.array_equal(few.stages.reshape(3, 2, 61, 5), more.stages.reshape(3, 5, 61, 5)[:, :2])


def test_bins_and_seeds_differ():
    lives = busy(3, 8)
    assert len({row.tobytes() for row in lives.stages}) == 24
    assert not np.array_equal(lives.stages, busy(4, 8).stages)


def test_a_course_of_its_own_for_each_set_is_followed():
    two = Course(*(np.repeat(part, 2, axis=0) for part in plain(5)))
    two = two._replace(adult_death=np.array([[0.0] * 5, [9e9] * 5]))
    lives = live(founders(adults=9), 0.0, two, own(2), 1)
    assert lives.stages[:, -1, 4].tolist() == [9, 0]


# --- company, room and food --------------------------------------------------------------------------------------


@pytest.mark.parametrize("days", [0.125, 1.0, 5.0])
def test_a_lone_adult_lays_until_its_sperm_is_used_up(days):
    steps = round((SPERM_DAYS + 40) / days)
    lives = live(founders(adults=1), 0.0, plain(steps, days=days, laid=2.0 * days), own(lone_lays=0.0), 6)
    laid = lives.ledger[0, :, LAID]
    last = round(SPERM_DAYS / days)
    assert laid[last] == pytest.approx(2 * SPERM_DAYS, abs=5 * math.sqrt(2 * SPERM_DAYS))
    assert laid[-1] == laid[last]


def test_a_lone_adult_that_can_fertilise_itself_goes_on_laying_less():
    course = plain(500, laid=2.0)
    alone, paired = (live(founders(adults=many), 0.0, course, own(lone_lays=0.3), 6) for many in (1, 2))
    after = alone.ledger[0, -1, LAID] - alone.ledger[0, SPERM_DAYS, LAID]
    assert after == pytest.approx(0.3 * 2 * 440, abs=5 * math.sqrt(0.6 * 440))
    assert paired.ledger[0, -1, LAID] == pytest.approx(2 * 2 * 500, abs=5 * math.sqrt(2000))


def test_the_loss_of_company_begins_the_count():
    """Of many pairs one dies on some day; the other lays for SPERM_DAYS more, and no longer."""
    course = plain(200, laid=1.0, adult_death=np.where(np.arange(200) < 100, 0.007, 0.0))
    lives = live(founders(adults=2), 0.0, course, own(lone_lays=0.0), 1, replicates=300)
    for stages, laid in zip(lives.stages[:, :, 4], lives.ledger[:, :, LAID], strict=True):
        if stages[-1] == 1:
            alone = int((stages == 2).sum())  # the first state with one adult
            end = alone - 1 + SPERM_DAYS
            assert laid[end] > laid[alone]
            assert laid[min(end, 200)] == laid[-1]
        elif stages[-1] == 2:
            assert laid[-1] > laid[150]


def test_growth_ends_near_the_ceiling():
    """Laying ends at the ceiling. What is laid and hatched by then carries the mass past it, in waves that die away
    slowly: a good deal at first, never twice as far."""
    ceiling = 0.2
    course = plain(900, cocoon_pace=8 / 25, young_pace=16 / 40, laid=0.35, adult_death=0.002, young_death=0.004)
    lives = live(founders(adults=20), 0.0, course, own(ceiling_kg=ceiling, hatchlings=3.0), 1, replicates=20)
    share = lives.kg[:, :, 0] / ceiling
    assert share[:, 30].max() < 0.3
    assert 1 < share.max() < 2
    assert share[:, 600:].min() > 0.8
    assert 1.0 < share[:, 600:].mean() < 1.3


def test_laying_stops_where_there_is_no_room():
    mass = 50 * 5.5e-4
    lives = live(founders(adults=50), 0.0, plain(1, laid=2.0), own(ceiling_kg=mass), 1)
    assert lives.ledger[0, -1, LAID] == 0
    half = live(founders(adults=50), 0.0, plain(1, laid=2.0), own(ceiling_kg=2 * mass), 1, replicates=2000)
    assert half.ledger[:, -1, LAID].mean() == pytest.approx(50.0, rel=0.02)


def test_without_food_none_lay_or_grow_and_they_starve():
    course = plain(100, appetite=0.1, laid=1.0, young_pace=0.4)
    lives = live(founders(adults=100, young=100), 0.0, course, own(), 1, replicates=50)
    assert lives.ledger[:, -1, [LAID, MATURED]].max() == 0
    starved = math.exp(-100 * STARVED_PER_DAY)
    for stage in (1, 4):
        assert lives.stages[:, -1, stage].mean() == pytest.approx(100 * starved, rel=0.08)
    assert lives.kg[:, :, 2].max() == 0


def test_little_food_slows_and_much_does_not():
    """Half of growth goes on with food for ENOUGH_DAYS; of food for a hundred times that hardly any is missed."""
    appetite, mass = 0.1, 100 * 5.5e-4
    course = plain(1, appetite=appetite, laid=10.0)
    for days, share in ((14.0, 0.5), (1400.0, 0.99)):
        lives = live(founders(adults=100), days * appetite * mass, course, own(), 1, replicates=50)
        assert lives.ledger[:, -1, LAID].mean() == pytest.approx(1000 * share, rel=0.02)
        assert lives.kg[:, -1, 2] == pytest.approx(share * appetite * mass, rel=0.01)


def test_cocoons_that_open_empty_bring_no_young():
    course = plain(1, cocoon_pace=AT_ONCE, viable=0.832)
    lives = live(founders(cocoons=1000), 0.0, course, own(hatchlings=3.3), 1, replicates=200)
    assert (lives.ledger[:, -1, OPENED] == 1000).all()
    assert lives.ledger[:, -1, HATCHED].mean() == pytest.approx(832 * 3.3, rel=0.005)


# --- founders ------------------------------------------------------------------------------------------------------


@nb.njit
def _found_many(seed, many, founders, share, cocoons):
    rows = np.zeros((many, WIDTH), np.int64)
    stream = np.empty(1, np.uint64)
    for i in range(many):
        begin(stream, seed, i, 0)
        found(rows[i], founders, share, cocoons, stream)
    return rows


def test_founders_of_mixed_ages():
    rows = _found_many(1, 4000, 30, 0.2, 16.0)
    assert (rows[:, COCOON_STEPS : ADULTS + 1].sum(axis=1) == 30).all()
    assert stats.binomtest(int(rows[:, ADULTS].sum()), 4000 * 30, 0.2).pvalue > UNLIKELY
    young = rows[:, COCOON_STEPS:ADULTS].sum(axis=0)
    assert stats.chisquare(young).pvalue > UNLIKELY
    cocoons = rows[:, :COCOON_STEPS]
    assert stats.chisquare(cocoons.sum(axis=0)).pvalue > UNLIKELY
    assert cocoons.sum(axis=1).mean() == pytest.approx(16, abs=5 * 4 / math.sqrt(4000))
    assert cocoons.sum(axis=1).var() == pytest.approx(16, rel=0.12)
    assert not rows[:, ADULTS + 1 :].any()


def test_a_handful_without_an_adult():
    """The chance of no adult in n is (1 - f)^n: f .15, n 30 gives .0076, n 10 .197."""
    for many, none in ((30, 0.0076), (10, 0.197)):
        rows = _found_many(2, 20_000, many, 0.15, 0.0)
        assert (rows[:, ADULTS] == 0).mean() == pytest.approx(none, abs=4 * math.sqrt(none / 20_000))


# --- what cannot be ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"first": np.zeros(24, np.int64)}, r"shape of founders must be \(1, 25\), but is \(24,\)"),
        ({"first": np.full(25, -1)}, "In founders there is a number below zero"),
        ({"food_kg": -0.1}, "In food_kg there is a number below zero"),
        ({"food_kg": np.zeros(3)}, r"shape of food_kg must be \(1,\)"),
        ({"course": plain(4)._replace(laid=np.zeros((2, 4)))}, "one row, or one for each of 1 sets"),
        ({"course": plain(4)._replace(rot=np.zeros((1, 3)))}, r"shape of rot must be \(1, 4\)"),
        ({"course": plain(4, laid=math.nan)}, "In laid there is a number below zero, or none at all"),
        ({"colony": own()._replace(adult_kg=np.zeros(2))}, r"shape of adult_kg must be \(1,\)"),
        ({"colony": own(hatchlings=math.nan)}, "In hatchlings"),
    ],
)
def test_what_cannot_be_is_refused(change, sentence):
    parts = {"first": founders(adults=1), "food_kg": 0.0, "course": plain(4), "colony": own()} | change
    with pytest.raises(ImpossibleLives, match=sentence):
        live(parts["first"], parts["food_kg"], parts["course"], parts["colony"], 1)


def test_the_ledger_has_a_column_for_each_name():
    lives = live(founders(adults=3), 0.0, plain(2, laid=1.0), own(), 1)
    assert lives.ledger.shape == (1, 3, len(LEDGER))
    assert lives.stages[0, 0].tolist() == [0, 0, 0, 0, 3]
