"""Several keepers' trials taken together: bins are never thrown together, and unlike questions are refused."""

import math
import re

import numpy as np
import pytest

from tests.trials.bins import a_plan, arms, judged, sorts
from underlid.trials.arm import CannotCompare
from underlid.trials.together import NotTogether, together
from underlid.trials.verdict import FAILS, HOLDS, OPEN

PLAN = a_plan(arms(3, 3))


def a_keeper(seed: int, ratio: float, plan=PLAN, spread=0.25):
    rng = np.random.default_rng(seed)
    usual = rng.lognormal(4, 0.7)  # keepers differ widely in how many live there
    counts = {
        name: round(usual * (ratio if name[0] == "x" else 1.0) * math.exp(rng.normal(0, spread))) for name in plan.arms
    }
    return judged(plan, sorts(plan, counts))


def several(ratio: float, many: int = 6, spread: float = 0.25):
    return {f"keeper {i}": a_keeper(i, ratio, spread=spread) for i in range(many)}


def test_many_small_trials_tell_what_none_tells_alone():
    each = several(1.0, many=8, spread=0.4)
    assert sum(one.word == OPEN for one in each.values()) >= 4
    told = together(each)
    assert told.word == HOLDS
    assert told.sentence.startswith("Holds within the margin: ")
    assert "8 keepers" in told.sentence


def test_a_quarter_as_many_fails_for_all():
    assert together(several(0.2)).word == FAILS


def test_keepers_who_disagree_leave_it_open_though_their_bins_thrown_together_would_not():
    each = {f"more {i}": a_keeper(i, 3.0) for i in range(3)} | {f"fewer {i}": a_keeper(9 + i, 1 / 3) for i in range(3)}
    told = together(each)
    assert told.word == OPEN
    assert told.pooled.tau > 0.5
    assert not re.search(r"no (significant )?difference", told.sentence, re.IGNORECASE)


def test_what_is_not_fair_by_itself_is_left_out_and_named():
    unlike = judged(a_plan(arms(3, 3), same_sort=False), sorts(PLAN, dict.fromkeys(PLAN.arms, 50)))
    told = together({**several(1.0), "elsewhere": unlike})
    assert len(told.keepers) == 6
    assert any(one.startswith("elsewhere is left out: ") for one in told.left_out)


def test_one_keeper_is_not_keepers_in_general():
    with pytest.raises(CannotCompare, match="in general"):
        together({"alone": a_keeper(1, 1.0)})


def test_another_question_is_refused():
    other = a_plan(arms(3, 3), margin=1.5)
    with pytest.raises(NotTogether, match="another margin"):
        together({"a": a_keeper(1, 1.0), "b": a_keeper(2, 1.0, other)})
