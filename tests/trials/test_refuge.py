"""Stop rules on refuge, by runs of hours in the draws of an outlook."""

from dataclasses import replace
from itertools import groupby
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from underlid.trials.claims import welfare_rules
from underlid.trials.refuge import WATCHED, longest, shrinking

(RULE,) = (rule for rule in welfare_rules() if rule.what == WATCHED)


def study(refuge, now, until=None, *, misfit=False, readings=4):
    draws = np.repeat(np.asarray(refuge, float)[..., None], 2, axis=2)
    told = SimpleNamespace(
        time_utc=np.arange(draws.shape[1]) * 3600, now_index=now, forecast_until=until or draws.shape[1],
        refuge_draws=draws,
    )  # fmt: skip
    return SimpleNamespace(outlook=told, posterior=SimpleNamespace(misfit=misfit, readings=readings))


@given(arrays(bool, st.tuples(st.integers(1, 4), st.integers(1, 40))))
def test_the_longest_run_is_that_of_counting(true):
    counted = [max((len(list(run)) for value, run in groupby(row) if value), default=0) for row in true.tolist()]
    assert longest(true).tolist() == counted


def test_a_refuge_that_shrank_for_long_enough_is_told_with_its_chance():
    refuge = np.ones((10, 400))
    refuge[:4, 200:230] = 0.1  # 30 h in four draws of ten
    (found,) = shrinking([RULE], study(refuge, now=300))
    assert found.lately == pytest.approx(0.4)
    assert found.ahead == 0.0
    assert "40%" in found.sentence
    assert "estimated" in found.sentence
    assert "predicted" not in found.sentence, "of what is as good as impossible nothing is said"
    assert "thermometer" not in found.sentence


def test_a_fit_that_contradicts_the_readings_is_not_told_as_if_it_were_sound():
    (found,) = shrinking([RULE], study(np.zeros((3, 400)), now=300, misfit=True))
    assert "do not fit together" in found.sentence
    assert "thermometer" in found.sentence
    assert "over 99%" in found.sentence, "what all draws say is not told as certain"
    assert "100%" not in found.sentence


def test_without_a_reading_it_is_told_that_there_is_none():
    (found,) = shrinking([RULE], study(np.zeros((3, 400)), now=300, readings=0))
    assert "No reading of the bedding is in that" in found.sentence


def test_too_short_a_time_too_long_ago_or_beyond_the_forecast_is_not_told():
    refuge = np.ones((10, 1000))
    refuge[:, 500 : 500 + 23] = 0.1  # an hour short
    refuge[:, 10:60] = 0.1  # weeks ago
    refuge[:, 900:] = 0.0  # where only past years reach
    assert shrinking([RULE], study(refuge, now=600, until=760)) == ()


def test_a_run_that_has_begun_may_end_in_the_hours_to_come():
    refuge = np.ones((10, 400))
    refuge[:, 290:320] = 0.1
    (found,) = shrinking([RULE], study(refuge, now=300))
    assert (found.lately, found.ahead) == (0.0, 1.0)


def test_other_rules_are_none_of_its_business():
    assert shrinking([replace(RULE, what="pH below")], study(np.zeros((3, 200)), now=100)) == ()
