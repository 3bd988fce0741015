"""Several keepers' trials taken together: bins are never thrown together, and unlike questions are refused."""

import math
import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.trials.bins import END, START, a_plan, arms, judged, sorts
from underlid.records import PlanChange
from underlid.trials.arm import CannotCompare
from underlid.trials.together import NotTogether, by_keeper, together
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
    assert told.found.tau[1] > 0.5
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


# --- single bins -------------------------------------------------------------------------------------------

SINGLE = a_plan(arms(1, 1))


def singles(ratio: float, many: int, spread: float = 0.15, plan=SINGLE):
    return {f"single {i}": a_keeper(50 + i, ratio, plan, spread) for i in range(many)}


def test_single_bins_tell_nothing_alone_and_something_together():
    each = singles(1.0, 10)
    assert all(one.word == OPEN and one.caps for one in each.values())
    told = together(each)
    assert told.word == HOLDS
    assert not told.left_out
    assert [one.df for one in told.keepers] == [0] * 10
    assert "estimated from 10 keepers, 90 % interval of the mean over keepers" in told.sentence
    assert "The next keeper, with about as many bins, may find " in told.sentence
    assert "(predicted, 90 % interval)" in told.sentence
    assert any("second bin" in one for one in told.remarks)
    assert together(singles(0.15, 6)).word == FAILS


def test_a_single_bins_keeper_brings_the_log_of_its_ratio():
    each = {
        name: judged(SINGLE, sorts(SINGLE, {"c0": 40, "x0": many})) for name, many in (("a", 80), ("b", 20), ("c", 40))
    }
    assert [one.effect for one in together(each).keepers] == pytest.approx([math.log(2), -math.log(2), 0.0])
    assert sum(together(each).interval) == pytest.approx(0.0, abs=1e-9)


def test_keepers_of_one_bin_and_of_many_go_together():
    alone, joined = together(several(1.0, 3)), together({**several(1.0, 3), **singles(1.0, 4)})
    assert len(joined.keepers) == 7
    assert np.diff(joined.interval) < np.diff(alone.interval)


def test_two_keepers_of_one_bin_each_are_too_few():
    with pytest.raises(CannotCompare, match="three at least are needed, or two with 2 bins in each arm"):
        together(singles(1.0, 2))
    assert len(together(several(1.0, 2)).keepers) == 2


def test_a_single_bin_that_was_not_sorted_alike_or_counted_too_early_is_left_out():
    unlike = judged(a_plan(arms(1, 1), same_sort=False), sorts(SINGLE, {"c0": 40, "x0": 40}))
    late = judged(SINGLE, sorts(SINGLE, {"c0": 40, "x0": 40}), registered=END)
    nothing = judged(SINGLE, {})
    half = judged(SINGLE, sorts(SINGLE, {"c0": 40}))
    others = {"unlike": unlike, "late": late, "nothing": nothing, "half": half}
    told = together({**singles(1.0, 3), **others})
    assert len(told.keepers) == 3
    why = dict(one.split(" is left out: ") for one in told.left_out)
    assert "not sorted alike" in why["unlike"]
    assert why["late"] == "it was registered after its counts."
    assert why["nothing"] == "no count yet."
    assert set(why) == set(others)
    with pytest.raises(CannotCompare, match=r"One keeper cannot.*late is left out: it was registered"):
        together({"only": singles(1.0, 1)["single 0"], "late": late})


def test_a_bin_dropped_when_its_count_was_known_leaves_its_keeper_out():
    plan = a_plan(arms(1, 2))
    dropped = PlanChange(id="d", plan="grit", what="bin dropped", bin="x1", words="looked odd", noted_at=END)
    one = judged(plan, sorts(plan, {"c0": 40, "x0": 40, "x1": 10}), changes=[dropped])
    told = together({**singles(1.0, 3), "dropper": one})
    assert any("dropper is left out: what x1 gave was known before it was dropped" in said for said in told.left_out)


def test_single_bins_count_by_their_last_look_though_an_earlier_one_seemed_to_decide():
    plan = a_plan(arms(1, 1), looks=(120, 360))
    lines = {name: [(120, f"full sort: {early} adults"), (360, "full sort: 60 adults")] for name, early in
             (("c0", 400), ("x0", 4))}  # fmt: skip
    told = together({f"k{i}": judged(plan, lines) for i in range(4)})
    assert [one.effect for one in told.keepers] == pytest.approx([0.0] * 4)


def test_that_it_holds_is_said_at_the_last_look_only():
    plan = a_plan(arms(2, 2), looks=(120, 360))
    after = datetime.combine(START, datetime.min.time(), UTC) + timedelta(days=200)
    counts = {"c0": 60, "c1": 62, "x0": 61, "x1": 59}
    each = {f"k{i}": judged(plan, sorts(plan, counts, 120), now=after) for i in range(5)}
    told = together(each)
    assert told.word == OPEN
    assert "inside the margin" in told.sentence
    assert "it is not resolved" in told.sentence
    assert told.remarks[-1].startswith("Counted at a look before the last: k0, k1, k2, k3, k4.")
    at_last = {f"k{i}": judged(plan, sorts(plan, counts)) for i in range(5)}
    assert together(at_last).word == HOLDS
    missing = a_plan(arms(1, 2))  # one bin is still to be counted
    still = judged(missing, sorts(missing, {"c0": 40, "x0": 40}), now=after + timedelta(days=161))
    assert any("is not over yet" in one for one in together({**singles(1.0, 3), "still": still}).left_out)


def test_vague_words_widen_and_a_value_without_an_end_is_not_guessed():
    def club(words):
        return {f"k{i}": judged(SINGLE, sorts(SINGLE, dict.fromkeys(SINGLE.arms, words))) for i in range(5)}

    exact, ranges = together(club("60")), together(club("50 to 72"))
    shift = (math.log(72) - math.log(50)) / 2  # all words of one arm may be at their low ends
    assert ranges.interval[1] > exact.interval[1] + 2 * shift - 0.01
    open_ended = judged(SINGLE, sorts(SINGLE, {"c0": 60, "x0": "at least 60"}))
    told = together({**club("60"), "open": open_ended})
    assert told.left_out == (
        "open is left out: a bin's value has no upper or no lower end yet, and there is no other to tell it by: what "
        "is found without it may be too small.",
    )
    plan = a_plan(arms(2, 3))
    counts = {"c0": 50, "c1": 70, "x0": 60, "x1": 55, "x2": "at least 60"}
    told = together({**club("60"), "open": judged(plan, sorts(plan, counts))})
    assert told.keepers[-1].bins == (2, 3)
    assert told.keepers[-1].effect > 0


def test_single_bins_are_taken_together_on_other_scales_too():
    plan = a_plan(arms(1, 1), outcome="pH", scale="difference", unit="pH units", margin=1.0)
    lines = {"c0": [(360, "pH 7.0")], "x0": [(360, "pH 6.9")]}
    told = together({f"k{i}": judged(plan, lines) for i in range(5)})
    assert len(told.keepers) == 5
    assert told.interval[0] < -0.1 < told.interval[1]
    assert told.word == HOLDS


# --- one journal -------------------------------------------------------------------------------------------


def test_trials_of_one_journal_go_by_the_keeper_of_their_bins():
    plans = {
        "ours": a_plan({"a": "control", "b": "changed"}), "theirs": a_plan({"c": "control", "d": "changed"}),
        "again": a_plan({"e": "control", "f": "changed"}), "mixed": a_plan({"a": "control", "c": "changed"}),
        "nobody": a_plan({"g": "control", "h": "changed"}),
        "other": a_plan({"e": "control", "f": "changed"}, margin=3.0),
        "unlike": a_plan({"e": "control", "f": "changed"}, claim="citrus-scraps"),
    }  # fmt: skip
    keepers = {"a": "Ann", "b": "Ann", "c": "Bo", "d": "Bo", "e": "Ann", "f": "Ann", "g": "Bo"}
    chosen, said = by_keeper("theirs", plans, keepers)
    assert chosen == {"Ann": "ours", "Bo": "theirs", "nobody": "nobody"}
    assert said == (
        "The trial “again” is left out: Ann registered “ours” before it.",
        "The trial “mixed” is left out: its bins are of several keepers (Ann, Bo).",
        "Whose all bins of “nobody” are is not noted: it is taken for a keeper of its own.",
        "The trial “other” is left out: it has another margin (3.0, not 2.0).",
    )


def test_a_journal_whose_only_trial_is_of_two_keepers_gives_no_keeper():
    chosen, said = by_keeper("mixed", {"mixed": a_plan({"a": "control", "b": "changed"})}, {"a": "Ann", "b": "Bo"})
    with pytest.raises(
        CannotCompare, match=r"No keeper.s trial can be used.* its bins are of several keepers \(Ann, Bo\)"
    ):
        together({}, said)
    assert not chosen
