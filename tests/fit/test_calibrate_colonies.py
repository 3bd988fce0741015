"""The law by which tools/invented_counts.py invents counts and words is the one that the fit assumes."""

import importlib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.fit.flocks import counted, looking, sure
from underlid.counting.found import possible
from underlid.quantity.amount import parse_amount

TOOLS = Path(__file__).parents[2] / "tools"
ANIMALS, FOUND, SHARES, CLUMPED = 40, 0.7, (0.1, 0.25), 3.0


@pytest.fixture(scope="module")
def tool():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(TOOLS))
        return importlib.import_module("invented_counts")


def weights(phrase):
    values, weight = possible(parse_amount(phrase, expect="1"))
    return dict(zip(values.astype(int).tolist(), weight.tolist(), strict=True))


def test_a_vague_phrase_is_as_likely_as_the_fit_weighs_its_meanings(tool):
    phrases, chance = tool.vague()
    assert chance.sum(axis=0).max() == pytest.approx(1.0)
    for phrase, said in zip(phrases, chance, strict=True):
        meant = weights(phrase)
        assert set(np.flatnonzero(said)) == {n for n in meant if n < tool.LARGEST_SAID}
        ratio = [said[n] / weight for n, weight in meant.items() if n < tool.LARGEST_SAID]
        np.testing.assert_allclose(ratio, ratio[0])


def test_words_of_any_count_are_true_of_it(tool):
    rng = np.random.default_rng(1)
    for n in range(300):
        assert all(n in weights(tool.in_words(n, rng)) for _ in range(5))


@pytest.mark.parametrize(("ratio", "offset"), [(1.3, 0.0), (1.6, 0.7), (2.0, 0.99)])
def test_the_intervals_of_a_keeper_leave_no_number_out_and_take_none_twice(tool, ratio, offset):
    intervals = [interval for interval, _ in zip(tool.partition(ratio, offset), range(12), strict=False)]
    assert intervals[0][0] == 0
    assert all(high >= low for low, high in intervals)
    assert [low for low, _ in intervals[1:]] == [high + 1 for _, high in intervals[:-1]]


def test_samples_of_a_day_hold_what_the_fit_thinks_they_hold(tool):
    rows = sure(counted(0, {"adult": 1}), counted(0, {"adult": 1}, place="edge"))
    look = looking(SHARES, found=FOUND, concentration=CLUMPED)
    rng = np.random.default_rng(2)
    animals = np.array([0, 0, 0, 0, ANIMALS])
    drawn = [tool.counted(rows, 0, look, animals, rng) for _ in range(20_000)]
    findable = np.arange(ANIMALS + 1)
    for i, share in enumerate(SHARES):
        law = [
            stats.binom.pmf(findable, ANIMALS, FOUND)
            @ stats.betabinom.pmf(y, findable, CLUMPED * share, CLUMPED * (1 - share))
            for y in range(12)
        ]
        seen = Counter(counts[i][0] for counts in drawn)
        observed = np.array([seen[y] for y in range(12)])
        expected = len(drawn) * np.array(law)
        rest = len(drawn) - observed.sum(), len(drawn) - expected.sum()
        assert stats.chisquare([*observed, rest[0]], [*expected, rest[1]]).pvalue > 0.001
    together = np.corrcoef([[counts[0][0], counts[1][0]] for counts in drawn], rowvar=False)[0, 1]
    assert together < -0.05  # what one sample holds is not in the other


def test_a_full_sort_finds_each_animal_by_its_chance(tool):
    rows = sure(counted(0, {"adult": 1, "cocoon": 1}))
    rng = np.random.default_rng(3)
    animals = np.array([10, 0, 0, 0, ANIMALS])
    drawn = [tool.counted(rows, 0, looking([1.1], found=FOUND), animals, rng)[0] for _ in range(4_000)]
    adults, cocoons = np.array(drawn).T
    assert adults.mean() == pytest.approx(FOUND * ANIMALS, abs=0.2)
    assert adults.var() == pytest.approx(FOUND * (1 - FOUND) * ANIMALS, rel=0.1)
    assert cocoons.mean() == pytest.approx(FOUND * 10, abs=0.1)
