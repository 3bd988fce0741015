"""What a population comes to in the long run, against published models, theorems and slower ways to the same answer."""

import doctest
import math

import numpy as np
import pytest
import scipy.linalg
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from underlid.worms import projection
from underlid.worms.projection import (
    Chain,
    ImpossibleLife,
    LifeCycle,
    UnusableMatrix,
    dominant,
    doubling_days,
    growth_rate,
    life_cycle,
    net_reproduction,
)
from underlid.worms.rates import FAST_END, life_span, rates
from underlid.worms.species import all_species, species

KINDS = list(all_species().values())

# Loggerhead turtles, seven stages: Crouse, Crowder & Caswell 1987, Ecology 68:1412, tables 3 and 4.
STAYING = [0, 0.7370, 0.6610, 0.6907, 0, 0, 0.8089]
MOVING_ON = [0.6747, 0.0486, 0.0147, 0.0518, 0.8091, 0.8091]
EGGS = [0, 0, 0, 0, 127, 4, 80]
LIVED = np.diag(STAYING) + np.diag(MOVING_ON, -1)
LAID = np.zeros((7, 7))
LAID[0] = EGGS
PAST_BREEDING = np.array([[0, 2, 0], [0.5, 0, 0], [0, 0.5, 0.5]])


def test_the_module_shows_what_it_says():
    assert doctest.testmod(projection).failed == 0


def test_loggerhead_turtles():
    """Growth .945 and r -.0565 as published; further digits, shares and elasticities recomputed from that matrix."""
    found = dominant(LAID + LIVED)
    assert found.growth_factor == pytest.approx(0.9450309807, abs=1e-9)
    assert found.rate == pytest.approx(-0.0565376, abs=1e-7)
    assert 100 * found.stages == pytest.approx([20.65, 66.98, 11.46, 0.66, 0.04, 0.03, 0.18], abs=0.006)
    assert found.reproductive_values == pytest.approx([1, 1.40, 6.00, 115.84, 568.78, 507.37, 587.67], abs=0.006)
    assert found.elasticities.sum() == pytest.approx(1)
    assert np.diag(found.elasticities)[[1, 2, 3, 6]] == pytest.approx([0.181, 0.119, 0.139, 0.230], abs=6e-4)
    assert net_reproduction(LAID, LIVED) < 1


def test_three_stages_whose_growth_is_a_cosine():
    """x^3 - 3/4 x - 1/8 = 0 is solved by cos 20 degrees (triple-angle formula); R0 = 1/2 (3/2 + 1/4)."""
    born, lived = np.zeros((3, 3)), np.array([[0, 0, 0], [0.5, 0, 0], [0, 0.25, 0]])
    born[0] = [0, 1.5, 1]
    assert dominant(born + lived).growth_factor == pytest.approx(math.cos(math.radians(20)), abs=1e-12)
    assert net_reproduction(born, lived) == pytest.approx(0.875, abs=1e-12)


def test_one_stage_grows_by_its_only_entry():
    found = dominant([[1.5]])
    assert (found.growth_factor, found.rate) == pytest.approx((1.5, math.log(1.5)))
    assert found.elasticities == pytest.approx(np.array([[1.0]]))


def test_stages_too_old_to_breed_are_told_beside_the_breeders():
    """Two breeding stages with growth 1, and those past it, of whom half live on: by hand."""
    found = dominant(PAST_BREEDING)
    assert found.growth_factor == pytest.approx(1)
    assert found.stages == pytest.approx([0.5, 0.25, 0.25])
    assert found.reproductive_values == pytest.approx([1, 2, 0], abs=1e-12)
    assert found.elasticities[2] == pytest.approx([0, 0, 0], abs=1e-12)


def test_stages_in_any_memory_order():
    assert dominant(np.asfortranarray(PAST_BREEDING)).stages == pytest.approx([0.5, 0.25, 0.25])


MATRICES = arrays.arrays(
    np.float64, st.integers(1, 6).map(lambda n: (n, n)), elements=st.just(0.0) | st.floats(0.01, 5), fill=st.just(0.0)
)
POSITIVE = arrays.arrays(np.float64, st.integers(1, 6).map(lambda n: (n, n)), elements=st.floats(0.05, 5))


@given(MATRICES)
def test_any_matrix_has_its_dominant_pair_or_falls_apart_into_groups(matrix):
    try:
        found = dominant(matrix)
    except UnusableMatrix:
        assert not (np.linalg.matrix_power(np.eye(len(matrix)) + matrix, len(matrix)) > 0).all() or not matrix.any()
        return
    assert matrix @ found.stages == pytest.approx(found.growth_factor * found.stages, rel=1e-6, abs=1e-6)
    assert found.reproductive_values @ matrix == pytest.approx(
        found.growth_factor * found.reproductive_values, rel=1e-6, abs=1e-6 * found.reproductive_values.max()
    )
    assert found.growth_factor == pytest.approx(np.abs(np.linalg.eigvals(matrix)).max(), rel=1e-6)
    assert found.stages.sum() == pytest.approx(1)
    assert found.elasticities.sum() == pytest.approx(1)
    assert (found.stages >= 0).all()
    assert (found.elasticities >= 0).all()
    assert found.reproductive_values[0] == 1


@given(POSITIVE, st.randoms(use_true_random=False))
@settings(max_examples=50, deadline=None)
def test_projecting_long_enough_comes_to_the_same(matrix, random):
    found = dominant(matrix)
    numbers = np.array([random.random() + 0.1 for _ in matrix])
    for _ in range(3000):
        numbers = matrix @ (numbers / numbers.sum())
    assert numbers.sum() == pytest.approx(found.growth_factor, rel=1e-9)
    assert numbers / numbers.sum() == pytest.approx(found.stages, rel=1e-6, abs=1e-9)


@given(POSITIVE, st.data())
def test_an_elasticity_is_the_growth_gained_by_a_small_change(matrix, data):
    i, j = (data.draw(st.integers(0, len(matrix) - 1)) for _ in range(2))
    more, less, change = matrix.copy(), matrix.copy(), 1e-5
    more[i, j] *= math.exp(change)
    less[i, j] *= math.exp(-change)
    gained = (dominant(more).rate - dominant(less).rate) / (2 * change)
    assert gained == pytest.approx(dominant(matrix).elasticities[i, j], abs=1e-6)


@given(POSITIVE, st.floats(0.05, 0.95), st.floats(0.01, 3))
def test_those_who_more_than_replace_themselves_grow(matrix, kept, fecundity):
    """R0 and the growth factor lie on the same side of 1 (Cushing & Zhou 1994, recalled)."""
    lived = kept * matrix / matrix.sum(axis=0)
    born = np.zeros_like(matrix)
    born[0] = fecundity * matrix[-1]
    replaced, grown = net_reproduction(born, lived), dominant(born + lived).growth_factor
    assume(abs(replaced - 1) > 1e-9)
    assert (replaced > 1) == (grown > 1)


@pytest.mark.parametrize(
    ("matrix", "part"),
    [
        ([[0, 1]], "as many rows as columns"),
        ([1, 2], "as many rows as columns"),
        ([], "as many rows as columns"),
        ([[1, 2], [3]], "as long as the others"),
        ([["many", 2], [3, 4]], "hold numbers"),
        ([[1, -2], [3, 4]], "Row 1, column 2 of the matrix is -2"),
        ([[1, 2], [math.nan, 4]], "Row 2, column 1 of the matrix is nan"),
        ([[1, 2], [3, math.inf]], "not a finite number"),
        ([[0, 0], [0.5, 0]], "die out"),
        ([[0, 0], [0, 0]], "die out"),
        ([[0.5, 0], [0, 0.5]], "Stages 1 and 2"),
        ([[0.5, 1], [0, 0.5]], "Stages 1 and 2"),
        ([[0.9, 0], [0, 0.5]], "Stage 2 has no part"),
        ([[0.5, 0, 0], [0, 0, 1], [0, 1, 0]], "Stage 1 has no part"),
        ([[0.5, 1], [0, 0.9]], "first stage never leads to stage 2"),
    ],
)
def test_a_matrix_without_one_answer_is_refused_in_a_sentence(matrix, part):
    with pytest.raises(UnusableMatrix, match=part):
        dominant(matrix)


def test_a_lifetime_must_end_and_stages_must_agree():
    with pytest.raises(UnusableMatrix, match="live for ever"):
        net_reproduction(np.eye(2), np.array([[0, 0], [0.5, 1]]))
    with pytest.raises(UnusableMatrix, match="2 stages and survival 1"):
        net_reproduction([[0, 1], [0, 0]], [[0.5]])
    with pytest.raises(UnusableMatrix, match="the survival matrix is -1"):
        net_reproduction([[1]], [[-1]])


# --- our own life cycle, in continuous time ---


@pytest.mark.parametrize(("steps", "published"), [(1, 0.09399932), (8, 0.04375583)])
def test_the_chain_halves_the_growth_that_a_single_exponential_step_would_give(steps, published):
    """b (k m / (k m + r + .004))^k = r + .001, b = .35 * 2.16 a day, 1 / m = 71 days: solved beforehand, elsewhere."""
    cycle = LifeCycle(Chain(0, 1), Chain(71, steps, 0.004), 2.16, 0.35, 0.001)
    assert growth_rate(cycle) == pytest.approx(published, abs=1e-8)


def test_growth_in_closed_form():
    """No wait: births less deaths; one exponential step: the root of a quadratic; 71 days sharp: Lambert's W."""
    assert growth_rate(LifeCycle(Chain(0, 8), Chain(0, 16), 2, 0.5, 0.1)) == pytest.approx(0.9)
    assert growth_rate(LifeCycle(Chain(0, 1), Chain(4, 1), 2, 0.5, 0)) == pytest.approx((math.sqrt(17) - 1) / 8)
    sharp = scipy.special.lambertw(0.756 * 71).real / 71  # b exp(-71 r) = r
    assert growth_rate(LifeCycle(Chain(0, 1), Chain(71, 10**6), 2.16, 0.35, 0)) == pytest.approx(sharp, rel=1e-4)


def test_without_births_the_slowest_to_go_are_left():
    cocoon, young = Chain(40, 8), Chain(50, 16, 0.004)
    assert growth_rate(LifeCycle(cocoon, young, 0, 0.35, 0.002)) == -0.002
    assert growth_rate(LifeCycle(cocoon, young, 2, 0, 0.9)) == -0.2  # cocoons: the last of 8 steps within 40 days
    assert growth_rate(LifeCycle(Chain(math.inf, 8), young, 2, 0.35, 0.002)) == 0  # cocoons that wait for ever


CHAINS = st.builds(Chain, st.floats(0.5, 200), st.integers(1, 16), st.floats(0, 0.05))
CYCLES = st.builds(LifeCycle, CHAINS, CHAINS, st.floats(0.2, 4), st.floats(0.05, 1), st.floats(0, 0.05))
ANY_CHAINS = st.builds(Chain, st.floats(0, 1e300) | st.just(math.inf), st.integers(1, 40), st.floats(0, 1e3))
ANY_CYCLES = st.builds(LifeCycle, ANY_CHAINS, ANY_CHAINS, *[st.floats(0, 1e3)] * 3)


def generator(cycle):
    """The linear chain as rates of change [1/day]: each step of each stage, then adults."""
    chains = (cycle.cocoon, cycle.young)
    pace = np.concatenate([np.full(one.steps, one.steps / one.days) for one in chains])
    deaths = np.concatenate([np.full(one.steps, one.deaths) for one in chains])
    change = np.diag([*-(pace + deaths), -cycle.adult_deaths]) + np.diag(pace, -1)
    change[cycle.cocoon.steps, cycle.cocoon.steps - 1] *= cycle.young_per_cocoon
    change[0, -1] = cycle.cocoons_per_day
    return change


@given(CYCLES)
def test_growth_is_the_dominant_eigenvalue_of_the_chain(cycle):
    rightmost = scipy.linalg.eigvals(generator(cycle)).real.max()
    assert growth_rate(cycle) == pytest.approx(rightmost, rel=1e-6, abs=1e-7)


@given(CYCLES)
@settings(max_examples=50, deadline=None)
def test_growth_is_that_of_the_chain_projected_by_small_steps(cycle):
    """By steps of a twentieth of the fastest pace, where r becomes log(1 + r h) / h, and by whole days exactly."""
    change = generator(cycle)
    step = 0.05 / -np.diag(change).min()
    small = dominant(np.eye(len(change)) + step * change)
    assert math.expm1(small.rate) / step == pytest.approx(growth_rate(cycle), rel=1e-6, abs=1e-6)
    whole = dominant(np.maximum(scipy.linalg.expm(change), 0.0))
    assert whole.rate == pytest.approx(growth_rate(cycle), rel=1e-6, abs=1e-6)


def test_a_colony_followed_for_five_years_grows_at_that_rate():
    cycle = life_cycle(species("E. fetida"), 15)
    grown = scipy.linalg.expm(generator(cycle) * 365.0)
    founders = np.eye(len(grown))[-1]  # one adult
    after = [(np.linalg.matrix_power(grown, years) @ founders).sum() for years in (4, 5)]
    assert math.log(after[1] / after[0]) / 365 == pytest.approx(growth_rate(cycle), rel=1e-6)


@given(ANY_CYCLES)
def test_any_life_cycle_has_a_growth_rate(cycle):
    found, births = growth_rate(cycle), cycle.cocoons_per_day * cycle.young_per_cocoon
    assert -cycle.adult_deaths <= found <= births * (1 + 1e-9) + 1e-12


@given(CYCLES, st.floats(1.01, 3))
def test_more_young_or_a_shorter_wait_is_faster_growth_and_death_slower(cycle, by):
    def changed(cocoon_days=1.0, births=1.0, deaths=1.0):
        return growth_rate(
            LifeCycle(
                Chain(cycle.cocoon.days * cocoon_days, cycle.cocoon.steps, cycle.cocoon.deaths),
                cycle.young, cycle.young_per_cocoon, cycle.cocoons_per_day * births, cycle.adult_deaths * deaths,
            )
        )  # fmt: skip

    assert changed(births=by) >= growth_rate(cycle)
    assert changed(deaths=by) <= growth_rate(cycle) + 1e-12
    if growth_rate(cycle) > 0:
        assert changed(cocoon_days=by) < growth_rate(cycle)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Chain(-1, 8),
        lambda: Chain(math.nan, 8),
        lambda: Chain(10, 0),
        lambda: Chain(10, 8, -0.1),
        lambda: Chain(10, 8, math.inf),
        lambda: LifeCycle(Chain(1, 1), Chain(1, 1), -1, 1, 0.1),
        lambda: LifeCycle(Chain(1, 1), Chain(1, 1), 1, math.inf, 0.1),
        lambda: LifeCycle(Chain(1, 1), Chain(1, 1), 1, 1, math.nan),
    ],
)
def test_an_impossible_life_is_refused(make):
    with pytest.raises(ImpossibleLife, match="at least 0"):
        make()


# --- the species ---


def test_the_life_cycle_is_that_of_the_tables():
    """E. fetida at 15 degC: 50 days to hatching, 85 to the clitellum, 1.25 cocoons a week (see the file)."""
    found = life_cycle(species("E. fetida"), 15)
    assert (found.cocoon.days, found.young.days) == pytest.approx((50, 85))
    assert found.cocoons_per_day == pytest.approx(1.25 / 7)
    assert found.young_per_cocoon == pytest.approx(0.832 * 3.3)
    assert 1 / found.adult_deaths == pytest.approx(1.5 * 365.25)
    assert (found.cocoon.deaths, found.young.deaths) == (0, 0.004)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_part_of_a_slow_life_is_against_growth_and_of_a_fast_one_for_it(kind):
    slow, best, fast = (life_cycle(kind, 18, ease) for ease in (-FAST_END, 0, FAST_END))
    for less, more in ((slow, best), (best, fast)):
        assert less.cocoon.days > more.cocoon.days
        assert less.young.days > more.young.days
        assert less.young.deaths > more.young.deaths
        assert less.adult_deaths > more.adult_deaths
        assert less.cocoons_per_day < more.cocoons_per_day
        assert less.young_per_cocoon < more.young_per_cocoon


def test_without_a_life_span_of_its_own_a_usual_one_is_taken_and_said():
    kind = species("D. veneta")
    assert kind.life_span_years is None
    assert 1 / life_cycle(kind, 15).adult_deaths == pytest.approx(1.5 * 365.25)
    assert life_span(kind).mark == "judgement"
    assert life_span(species("E. fetida")) is species("E. fetida").life_span_years


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("at_c", [12, 15, 20, 25])
def test_doubling_solves_the_equation_of_births_and_losses(kind, at_c):
    """Put into the Euler-Lotka equation as it is written, with the published best values."""
    days = doubling_days(kind, at_c, at_c).value
    best, rate = rates(kind), math.log(2) / days
    births = float(best.laying(at_c)) * kind.hatching_share.value * kind.hatchlings_per_cocoon.value
    cocoons, young = 8 * float(best.incubation(at_c)), 16 * float(best.maturation(at_c))
    balance = births * (cocoons / (cocoons + rate)) ** 8 * (young / (young + rate + 0.004)) ** 16
    assert balance == pytest.approx(rate + 1 / (1.5 * 365.25), rel=1e-9)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_the_range_holds_the_value_and_widens_with_the_temperature(kind):
    for low_c in np.arange(-4.0, 38.0, 1.5):
        sharp, vague = doubling_days(kind, low_c, low_c), doubling_days(kind, low_c - 1, low_c + 1)
        assert sharp.low <= sharp.value <= sharp.high
        ends = [doubling_days(kind, low_c + x, low_c + x) for x in np.linspace(-1, 1, 5)]
        assert vague.low <= min(end.low for end in ends)
        assert vague.high >= max(end.high for end in ends)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_in_the_cold_and_in_the_heat_numbers_never_double(kind):
    for at_c in (-3, 2, 38):
        found = doubling_days(kind, at_c, at_c)
        assert (found.value, found.low, found.high) == (math.inf,) * 3


def test_colonies_with_food_and_room_double_faster_than_a_generation():
    """Egg to mature in 45-51 days at best near 25 degC (recalled): with tens of young a life, sooner than that."""
    assert doubling_days(species("E. fetida"), 25, 25).value < 45
