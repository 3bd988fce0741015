"""A vague count keeps its width."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.counting.bins import HALF_LITRE
from underlid.counting.found import exactly, possible, quantile, samples_of
from underlid.quantity import parse_amount
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import SampleCount

WHEN = VagueTime(datetime(2026, 2, 2, tzinfo=UTC), datetime(2026, 2, 3, tzinfo=UTC), "exact", "2 Feb")


def entry(volume, counts):
    return SampleCount(id="1", bin="north", when=WHEN, words="a sample", volume=volume, counts=counts)


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [("3", 3, 3), ("3 to 5", 3, 5), ("none", 0, 0), ("fewer than 5 worms", 0, 4), ("at least 10", 10, 60)],
)
def test_the_numbers_a_count_may_mean(words, low, high):
    values, weights = possible(parse_amount(words, expect="1"))
    assert (values[0], values[-1], len(values)) == (low, high, high - low + 1)
    assert (weights == weights[0]).all()


def test_about_holds_the_true_number_with_ninety_percent():
    count = VagueAmount(40, 60, "1", "about", "about 50")
    values, weights = possible(count)
    inside = weights[(values >= 40) & (values <= 60)].sum() / weights.sum()
    assert inside == pytest.approx(0.9, abs=0.02)


@given(st.floats(0, 5000), st.floats(0, 3000), st.sampled_from(["about", "between", "at least"]))
def test_some_number_is_always_possible(low, width, kind):
    high = math.inf if kind == "at least" else low + width
    values, weights = possible(VagueAmount(low, high, "1", kind, ""))
    assert len(values) >= 1
    assert (values >= 0).all()
    assert (np.diff(values) > 0).all()
    assert (weights > 0).all()


def test_volumes_by_shares_of_their_distribution():
    shares = np.array([0.05, 0.5, 0.95])
    assert quantile(VagueAmount(0.4, 0.6, "L", "between", ""), shares) == pytest.approx([0.41, 0.5, 0.59])
    assert quantile(VagueAmount(0.4, 0.6, "L", "about", ""), shares) == pytest.approx([0.4, 0.5, 0.6])
    assert quantile(HALF_LITRE, shares) == pytest.approx([0.5] * 3)


def test_entries_that_cannot_be_used_are_named():
    open_volume = VagueAmount(0.5, math.inf, "L", "at least", "at least 0.5 L")
    not_noted = VagueAmount(-math.inf, math.inf, "1", "not noted", "not noted")
    kept, left_out = samples_of(
        [
            entry(HALF_LITRE, (("adult", exactly(3)), ("juvenile", not_noted))),
            entry(open_volume, (("adult", exactly(3)),)),
            entry(HALF_LITRE, (("adult", not_noted),)),
        ]
    )
    assert [dict(sample.counts) for sample in kept] == [{"adult": exactly(3)}]
    assert ["volume" in left_out[0], "nothing was counted" in left_out[1]] == [True, True]
