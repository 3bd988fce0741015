"""What more samples, or a trial, would do."""

import numpy as np
import pytest

from tests.counting.bins import BEDDING, FOUR, SHARP, sample
from underlid.counting.detection import Recovery, chances
from underlid.counting.narrowing import narrowing, needed
from underlid.counting.samples import estimate


def tell(samples, bedding=SHARP, known=None):
    known = known or chances()
    now = estimate(samples, bedding, known, np.random.default_rng(1), draws=600)
    return now, narrowing(samples, bedding, known, now, np.random.default_rng(2), futures=6, more=(3, 12))


def test_more_samples_narrow_and_many_more_narrow_more():
    _, found = tell([sample("middle", adult=4), sample("edge", adult=2)])
    assert found.with_samples[12] < found.with_samples[3] < 1
    assert found.volume.words == "0.5 L"


def test_where_sorting_overlooks_most_a_trial_does_more_than_samples():
    _, found = tell([sample(place, volume="3 L", hatchling=20) for place in ("middle", "edge") * 3])
    assert found.with_trial < found.with_samples.get(3, 1.0)
    _, known = tell([sample("middle", adult=4), sample("edge", adult=2)], known=chances([Recovery("adult", 900, 1000)]))
    assert known.with_trial > 0.9


def test_no_more_samples_than_there_is_bedding():
    _, whole = tell([sample(volume="25 L", adult=100)])
    assert whole.with_samples == {}
    _, nearly = tell([sample(volume="4 L", adult=10), sample("edge", "4 L", adult=10)])
    assert list(nearly.with_samples) == [3]


def test_the_textbook_asks_for_more_where_more_precision_is_wanted():
    now, found = tell(FOUR, BEDDING)
    asked = [needed(now, found.volume, precision) for precision in (0.5, 0.2, 0.1)]
    assert asked == sorted(asked)
    assert asked[-1] < 50  # a bin of 25 litres makes no more than fifty half litres


def test_the_same_seed_gives_the_same_answer():
    assert tell(FOUR, BEDDING)[1] == tell(FOUR, BEDDING)[1]


@pytest.mark.parametrize("counts", [{"adult": 0}, {"cocoon": 3}])
def test_nothing_found_or_only_cocoons_is_answered_too(counts):
    _, found = tell([sample(**counts), sample("edge", **counts)])
    assert all(0 < share <= 1 for share in found.with_samples.values())
