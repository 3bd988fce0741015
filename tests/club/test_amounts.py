"""Vague amounts as cells."""

import math

import pytest
from hypothesis import given, settings

from tests.journal.examples import amounts
from underlid.club.amounts import animals, count_of, presence, value_of, whole
from underlid.quantity.amount import VagueAmount, parse_amount


def vague(low, high, kind="between"):
    return VagueAmount(low, high, "1", kind, "")


@pytest.mark.parametrize(
    ("words", "range", "count", "counted", "seen"),
    [
        ("3", "3", 3, "present", "present"),
        ("2 to 4", "2/4", None, "present", "present"),
        ("0", "0", 0, "absent", None),
        ("0 to 2", "0/2", None, None, None),
        ("at least 3", "3/..", None, "present", "present"),
        ("at most 4", "0/4", None, None, None),
    ],
)
def test_counts_say_no_more_than_the_words(words, range, count, counted, seen):
    many = parse_amount(words, expect="1")
    assert animals(*whole(many)) == range
    assert count_of(many) == count
    assert presence(many, counted=True) == counted
    assert presence(many, counted=False) == seen


def test_about_a_dozen_is_whole_animals_and_no_count():
    least, most = whole(parse_amount("about a dozen", expect="1"))
    assert most is not None
    assert 0 < least < 12 < most
    assert count_of(vague(12, 12, "about")) is None
    assert presence(vague(0, 0, "about"), counted=True) is None


def test_a_value_is_the_middle_with_half_the_width():
    assert value_of(parse_amount("6 or 7 C")) == ("6.5", "0.5")
    assert value_of(vague(7, math.inf, "at least")) == ("7/..", "")
    assert value_of(vague(-math.inf, 7, "at most")) == ("../7", "")
    assert value_of(vague(0.1 + 0.2, 0.5)) == ("0.4", "0.1")


@settings(max_examples=100, deadline=None)
@given(amount=amounts())
def test_a_bounded_amount_is_had_again_from_its_value_and_accuracy(amount):
    value, accuracy = value_of(amount)
    if not (math.isfinite(amount.low) and math.isfinite(amount.high)):
        assert ".." in value
        assert accuracy == ""
        return
    for end, told in ((amount.low, float(value) - float(accuracy)), (amount.high, float(value) + float(accuracy))):
        size = max(abs(amount.low), abs(amount.high))
        assert math.isclose(end, told, abs_tol=1e-8 * size) or not math.isfinite(told)
