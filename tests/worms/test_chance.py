"""Random numbers against their published values, SciPy's distributions, and what must hold for any."""

import numba as nb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats

from underlid.worms.chance import GOLDEN, MOST_WORDS, RARE, SEVERAL_WORDS, begin, binomial, poisson, thin, uniform, word

counts = st.one_of(st.just(0), st.integers(0, 70), st.integers(0, 5000))
#: Of a correct sampler one in a million fails this; the seeds are fixed, so none does by bad luck.
UNLIKELY = 1e-6


@nb.njit
def binomials(seed, n, p, draws):
    stream = np.empty(1, np.uint64)
    begin(stream, seed, 0, 0)
    return np.array([binomial(stream, n, p) for _ in range(draws)])


@nb.njit
def thins(seed, groups, p, draws):
    """Of all groups but the first, (draws, groups - 1), and their sums."""
    stream, bits = np.empty(1, np.uint64), np.empty((3, MOST_WORDS + 1), np.uint64)
    begin(stream, seed, 0, 0)
    befallen, sums = np.empty((draws, groups.size - 1), np.int64), np.empty(draws, np.int64)
    for i in range(draws):
        sums[i] = thin(stream, groups, 1, groups.size, p, befallen[i], bits)
    return befallen, sums


@nb.njit
def poissons(seed, mean, draws):
    stream = np.empty(1, np.uint64)
    begin(stream, seed, 0, 0)
    return np.array([poisson(stream, mean) for _ in range(draws)])


@nb.njit
def thinned(seed, groups, p, draws):
    stream = np.empty(1, np.uint64)
    begin(stream, seed, 0, 0)
    bits = np.empty((3, MOST_WORDS + 1), np.uint64)
    found, sums = np.empty((draws, groups.size), np.int64), np.empty(draws, np.int64)
    for i in range(draws):
        sums[i] = thin(stream, groups, 0, groups.size, p, found[i], bits)
    return found, sums


@nb.njit
def uniforms(seed, first, second, draws):
    stream = np.empty(1, np.uint64)
    begin(stream, seed, first, second)
    return np.array([uniform(stream) for _ in range(draws)])


def stream_of(seed, first=0, second=0):
    stream = np.empty(1, np.uint64)
    begin(stream, seed, first, second)
    return stream


def fits(found, distribution):
    """The chance of so bad a fit by a true sampler: chi-square over numbers pooled to at least ten expected each."""
    edges, expected, below = [-1.0], [], 0.0
    support = range(int(distribution.ppf(1e-12)), int(distribution.isf(1e-12)) + 1)
    for number, share in zip(support, distribution.cdf(support), strict=True):
        if (share - below) * found.size >= 10 and (1 - share) * found.size >= 10:
            edges.append(number)
            expected.append((share - below) * found.size)
            below = share
    edges.append(np.inf)
    expected.append((1 - below) * found.size)
    if len(expected) == 1:  # nearly all draws alike: then the rare others must be as rare as they should
        usual = distribution.median()
        other = 1 - distribution.pmf(usual)
        return stats.binomtest(int((found != usual).sum()), found.size, min(max(other, 0.0), 1.0)).pvalue
    seen = np.histogram(found, np.array(edges) + 0.5)[0]
    return stats.chisquare(seen, np.array(expected) * found.size / np.sum(expected)).pvalue


def test_the_outputs_are_the_published_ones():
    """The first of splitmix64 at seed 1234567, as given with the reference code by Vigna (recalled)."""
    stream = np.array([1234567], dtype=np.uint64)
    assert [int(word(stream)) for _ in range(5)] == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


@pytest.mark.parametrize("p", [1e-4, 0.003, 0.1, 0.37, 0.5, 0.9, 1 - 1e-9])
@pytest.mark.parametrize("n", [1, 7, 64, 65, 129, 500, 5000])
def test_binomial(n, p):
    found = binomials(n, n, p, 20_000)
    assert found.min() >= 0
    assert found.max() <= n
    assert fits(found, stats.binom(n, p)) > UNLIKELY


def test_binomial_takes_both_ways():
    """The cases above are on both sides of where one gives way to the other, and so are these, next to it."""
    n = SEVERAL_WORDS + 1
    for p in (0.999 * RARE / n, 1.001 * RARE / n):
        assert fits(binomials(5, n, p, 50_000), stats.binom(n, p)) > UNLIKELY
    assert fits(binomials(6, SEVERAL_WORDS, 0.01, 50_000), stats.binom(SEVERAL_WORDS, 0.01)) > UNLIKELY


@pytest.mark.parametrize("p", [1e-4, 0.003, 0.1, 0.37, 0.9, 1 - 1e-9])
@pytest.mark.parametrize(
    "groups",
    [(3, 0, 1), (0, 3, 60, 4, 0), (64,) * 8, (512,), (511, 1, 0), (100, 700, 3, 3000, 0, 1), (4000, 4000, 192),
     (5000, 3, 4000)],
)  # fmt: skip
def test_thinned_groups_are_binomial_each_and_independent(groups, p):
    """Few, side by side in whole words and parts of them, more than there is room for; the first group is not asked."""
    befallen, sums = thins(len(groups), np.array([9, *groups]), p, 5000)
    assert np.array_equal(befallen.sum(axis=1), sums)
    assert fits(sums, stats.binom(sum(groups), p)) > UNLIKELY
    for of_group, n in zip(befallen.T, groups, strict=True):
        assert 0 <= of_group.min() <= of_group.max() <= n
        assert n == 0 or fits(of_group, stats.binom(n, p)) > UNLIKELY
    varied = befallen[:, befallen.std(axis=0) > 0.3]
    if varied.shape[1] > 1:
        between = np.corrcoef(varied.T)[np.triu_indices(varied.shape[1], 1)]
        assert abs(between).max() < 6 / np.sqrt(len(befallen))


def test_thinning_none_or_all():
    groups = np.array([9, 5, 0, 700])
    assert thins(1, groups, 0.0, 1)[0].tolist() == [[0, 0, 0]]
    assert thins(1, groups, 1.0, 1)[0].tolist() == [[5, 0, 700]]


@pytest.mark.parametrize("n", [0, 1, 64, 129, 10_000])
def test_binomial_at_the_ends(n):
    stream = stream_of(1)
    for none in (0.0, -0.1, float("nan"), 1e-300, 5e-324):
        assert binomial(stream, n, none) == 0
    for certain in (1.0, 1.5, float("inf"), 1 - 2.0**-53):
        assert binomial(stream, n, certain) == n
    assert binomial(stream, -3, 0.5) == 0


def test_a_uniform_of_nothing_ends_the_skipping():
    """One in 2^53 is exactly 0, as its state is; 0 times the infinite wait of a tiny chance is not a number."""
    nothing = np.array([2**64 - int(GOLDEN)], dtype=np.uint64)
    assert uniform(nothing.copy()) == 0
    assert binomial(nothing.copy(), 200, 5e-324) == 0
    assert 0 <= poisson(nothing.copy(), 3.0) <= 16


#: Few, of one word, of several words, with empty groups, of many more than fit the words.
GROUPS = {
    "few": [3, 0, 1, 2],
    "a word": [20, 1, 0, 30, 13],
    "words": [0, 64, 128, 5, 0, 63, 300, 0],
    "very many": [70_000, 3, 0, 90_000, 1],
    "none": [0, 0, 0],
}


@pytest.mark.parametrize("p", [1e-4, 0.003, 0.1, 0.37, 0.5, 0.9, 1 - 1e-9])
@pytest.mark.parametrize("name", GROUPS)
def test_thinning_is_a_binomial_number_of_each_group(name, p):
    groups = np.array(GROUPS[name])
    found, sums = thinned(3, groups, p, 2000 if name == "very many" else 20_000)
    assert np.array_equal(found.sum(axis=1), sums)
    assert (found >= 0).all()
    assert (found <= groups).all()
    for group, of_group in zip(groups, found.T, strict=True):
        if group > 0:
            assert fits(of_group, stats.binom(group, p)) > UNLIKELY
    spread = of_each[:, of_each.std(axis=0) > 0] if (of_each := found.astype(float)).any() else of_each[:, :0]
    if spread.shape[1] > 1:  # the groups share words, but not animals
        between = np.corrcoef(spread, rowvar=False)[np.triu_indices(spread.shape[1], 1)]
        assert abs(between).max() < 6 / np.sqrt(len(found))


def test_thinning_of_part_of_a_row_and_at_the_ends():
    groups, bits = np.array([9, 8, 7, 6]), np.empty((3, MOST_WORDS + 1), np.uint64)
    befallen = np.full(4, -1)
    for p, share in ((1.0, 1), (2.0, 1), (0.0, 0), (float("nan"), 0), (1e-300, 0), (1 - 2.0**-53, 1)):
        assert thin(stream_of(1), groups, 1, 3, p, befallen, bits) == 15 * share
        assert befallen.tolist() == [8 * share, 7 * share, -1, -1]


@pytest.mark.parametrize("mean", [1e-4, 0.1, 1.0, 8.0, 9.9, 10.1, 16.1, 30.0, 100.0, 1000.0, 1e6])
def test_poisson(mean):
    assert fits(poissons(round(mean * 1e4), mean, 20_000), stats.poisson(mean)) > UNLIKELY


def test_poisson_of_nothing():
    stream = stream_of(1)
    assert [poisson(stream, mean) for mean in (0.0, -1.0, float("nan"), 1e-300)] == [0, 0, 0, 0]


def test_uniform():
    found = uniforms(9, 0, 0, 100_000)
    assert 0 <= found.min() < 1e-3
    assert 1 - 1e-3 < found.max() < 1
    assert stats.kstest(found, "uniform").pvalue > UNLIKELY
    assert abs(np.corrcoef(found[1:], found[:-1])[0, 1]) < 5 / np.sqrt(found.size)


def test_streams_of_other_numbers_are_others():
    """Seeds, sets and replicates next to each other, and swapped: no start twice, and none follows from another."""
    starts = {int(stream_of(a, b, c)[0]) for a in range(12) for b in range(12) for c in range(12)}
    assert len(starts) == 12**3
    together = np.array([uniforms(a, b, c, 4000) for a in (0, 1, 2) for b in (0, 1, 2) for c in (0, 1, 2)])
    between = np.corrcoef(together)[np.triu_indices(len(together), 1)]
    assert abs(between).max() < 5 / np.sqrt(4000)
    # the first numbers of many streams are as even as those of one
    firsts = np.array([uniforms(4, set_, 7, 1)[0] for set_ in range(5000)])
    assert stats.kstest(firsts, "uniform").pvalue > UNLIKELY


def test_a_stream_begins_where_it_did():
    assert np.array_equal(uniforms(3, 1, 4, 100), uniforms(3, 1, 4, 100))


@given(st.integers(0, 2**63 - 1), st.integers(-5, 20_000), st.floats(allow_nan=True, width=64))
def test_never_fewer_than_none_nor_more_than_all(seed, n, p):
    found = binomial(stream_of(seed), n, p)
    assert 0 <= found <= max(n, 0)


@given(st.integers(0, 2**63 - 1), st.integers(0, 20_000), st.floats(0, 1))
def test_a_chance_between_none_and_all(seed, n, p):
    assert 0 <= binomial(stream_of(seed), n, p) <= n


@given(st.integers(0, 2**63 - 1), arrays.arrays(np.int64, st.integers(1, 24), elements=counts), st.floats(0, 1))
def test_thinning_takes_of_each_group_no_more_than_there_are(seed, groups, p):
    befallen, bits = np.empty(groups.size, np.int64), np.empty((3, MOST_WORDS + 1), np.uint64)
    total = thin(stream_of(seed), groups, 0, groups.size, p, befallen, bits)
    assert total == befallen.sum()
    assert (befallen >= 0).all()
    assert (befallen <= groups).all()


@given(st.integers(0, 2**63 - 1), st.floats(0, 1e4))
def test_poisson_is_never_less_than_none_nor_wildly_more(seed, mean):
    assert 0 <= poisson(stream_of(seed), mean) <= mean + 12 * mean**0.5 + 20
