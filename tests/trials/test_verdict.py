"""The rules of a verdict, each on journals written in words; effects beside the classical tests they must equal."""

import math
import re
from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.weightstats import ttost_ind

from tests.trials.bins import END, REGISTERED, a_bin, a_plan, arms, judged, replace, said, sorts
from underlid.entry import parse_line
from underlid.records import PlanChange
from underlid.trials import telling
from underlid.trials.verdict import FAILS, HOLDS, OPEN, verdict

ALIKE = {"c0": 100, "c1": 110, "c2": 95, "c3": 105, "x0": 102, "x1": 98, "x2": 108, "x3": 96}
FEWER = {"c0": 100, "c1": 110, "c2": 95, "c3": 105, "x0": 22, "x1": 18, "x2": 25, "x3": 20}
WIDE = {"c0": 100, "c1": 40, "c2": 210, "c3": 60, "x0": 150, "x1": 30, "x2": 70, "x3": 190}
FOUR = arms(4, 4)


def test_alike_bins_hold_within_the_margin_and_the_interval_is_that_of_two_one_sided_t_tests():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, ALIKE))
    assert told.word == HOLDS
    logs = {arm: np.log([n for name, n in ALIKE.items() if name[0] == arm]) for arm in "cx"}
    # Schuirmann 1987 as statsmodels has it: both one-sided tests reject exactly where the 90 % interval is inside.
    p, *_ = ttost_ind(logs["x"], logs["c"], -math.log(2), math.log(2))
    assert told.decided_by is not None
    assert told.decided_by.effect is not None
    assert 1 - told.decided_by.effect.inside(-math.log(2), math.log(2)) == pytest.approx(p, abs=2 * p)
    assert p < 0.05
    assert telling.sentence(told).startswith("Holds within the margin: ")
    assert "estimated from 4 changed and 4 control bins" in telling.sentence(told)


def test_a_fifth_as_many_fails():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, FEWER))
    assert told.word == FAILS
    assert telling.sentence(told).startswith("Fails: ")


def test_bins_that_died_out_in_one_arm_fail_too():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, FEWER | {"x0": "no", "x1": "no", "x2": "no", "x3": "no"}))
    assert told.word == FAILS


def test_unlike_bins_cannot_tell_yet_and_are_never_called_alike():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, WIDE))
    assert told.word == OPEN
    sentence = telling.sentence(told)
    assert "not resolved" in sentence
    assert not re.search(r"no (significant )?difference", sentence, re.IGNORECASE)
    assert any("bins in each arm" in one for one in telling.settles(told))


def test_a_difference_that_may_lie_inside_the_margin_is_a_difference_and_not_a_failure():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, {**ALIKE, "x0": 45, "x1": 62, "x2": 50, "x3": 47}))
    assert told.word == OPEN
    assert told.decided_by is not None
    assert told.decided_by.finding == "differs"
    assert "A difference is there" in telling.sentence(told)


def test_vague_counts_widen_the_interval_and_are_told_as_ranges():
    plan = a_plan(FOUR)
    exact, vague = (
        judged(plan, sorts(plan, counts)).decided_by
        for counts in (ALIKE, {name: f"{0.7 * n:.0f} to {1.4 * n:.0f}" for name, n in ALIKE.items()})
    )
    assert exact is not None
    assert vague is not None
    assert exact.narrow is not None
    assert vague.narrow is not None
    assert vague.narrow[0] < exact.narrow[0]
    assert vague.narrow[1] > exact.narrow[1]


def test_one_bin_beside_one_is_described_with_an_assumed_spread_and_decides_nothing():
    plan = a_plan(arms(1, 1))
    told = judged(plan, sorts(plan, {"c0": 400, "x0": 4}))
    assert told.word == OPEN
    assert "assumed" in telling.sentence(told)


def test_arms_not_sorted_alike_decide_nothing():
    plan = a_plan(FOUR)
    lines = sorts(plan, FEWER)
    lines |= {f"x{i}": [(360, f"sample 1 L middle: {2 + i} adults")] for i in range(4)}
    told = judged(plan, lines)
    assert told.word == OPEN
    assert any("looked at alike" in cap for cap in told.caps)
    assert judged(a_plan(FOUR, same_sort=False), sorts(plan, FEWER)).word == OPEN


def test_a_plan_registered_after_the_counts_is_exploratory():
    plan = a_plan(FOUR)
    late = datetime(2026, 4, 15, tzinfo=UTC)
    told = judged(plan, sorts(plan, ALIKE), registered=late)
    assert told.word == OPEN
    assert told.exploratory
    assert "exploratory" in telling.sentence(told)


def test_dropped_bins_are_left_out_and_listed():
    plan = a_plan(FOUR)
    change = PlanChange(
        id="d", plan="grit", what="bin dropped", bin="x3", words="knocked over by a fox",
        noted_at=REGISTERED + timedelta(days=200),
    )  # fmt: skip
    told = judged(plan, sorts(plan, ALIKE), changes=[change])
    assert told.dropped == ("x3",)
    assert told.decided_by is not None
    assert len(told.decided_by.values) == 7
    assert any("x3" in rival for rival in telling.rivals(told))
    assert [row.words for row in telling.rows(told) if row.bin == "x3"] == ["dropped after the plan was registered"]


def test_an_early_look_takes_little_of_the_error_rate_and_the_first_that_decides_stands():
    plan = a_plan(FOUR, looks=(180, 360))
    early = {name: [*lines] for name, lines in sorts(plan, FEWER, 180).items()}
    told = judged(plan, {name: early[name] + sorts(plan, ALIKE)[name] for name in early})
    assert [look.alpha for look in told.looks] == pytest.approx([0.01, 0.04])
    assert told.decided_by is told.looks[0]
    assert told.word == FAILS


def test_an_early_look_never_says_that_it_holds_as_arms_may_part_later():
    plan = a_plan(FOUR, looks=(180, 360))
    early = sorts(plan, ALIKE, 180)
    assert judged(plan, early).word == OPEN
    assert judged(plan, {name: lines + sorts(plan, FEWER)[name] for name, lines in early.items()}).word == FAILS


def test_words_that_may_all_err_the_same_way_in_an_arm_cannot_show_what_is_finer_than_they_are():
    """Thirty-one in every control bin and fifty-nine in every changed one would be written alike."""
    many = arms(10, 10)
    for margin, word in ((1.5, OPEN), (3.0, HOLDS)):
        plan = a_plan(many, margin=margin)
        assert judged(plan, sorts(plan, dict.fromkeys(many, "30 to 60"))).word == word
    plan = a_plan(arms(8, 8), outcome="pH", scale="difference", unit="pH units", margin=1.0)
    assert judged(plan, {name: [(360, "middle pH 6.5 to 8")] for name in plan.arms}).word == OPEN


def test_a_plan_registered_between_two_looks_is_exploratory():
    plan = a_plan(FOUR, looks=(180, 360))
    lines = {name: sorts(plan, WIDE, 180)[name] + sorts(plan, FEWER)[name] for name in FOUR}
    between = datetime(2025, 12, 1, tzinfo=UTC)
    assert judged(plan, lines, registered=between).exploratory
    assert judged(plan, lines, registered=between).word == OPEN


def test_a_bin_dropped_when_its_count_was_known_decides_nothing():
    plan = a_plan(FOUR)
    counts = ALIKE | {"x3": 9}
    assert judged(plan, sorts(plan, counts)).word == OPEN
    when = {"before": datetime(2025, 9, 1, tzinfo=UTC), "after": datetime(2026, 5, 1, tzinfo=UTC)}
    told = {
        name: judged(plan, sorts(plan, counts), changes=[
            PlanChange(id="d", plan="grit", what="bin dropped", bin="x3", words="looked odd", noted_at=at)
        ]) for name, at in when.items()
    }  # fmt: skip
    assert told["before"].word == HOLDS
    assert told["after"].word == OPEN
    assert "x3 gave was known before it was dropped" in told["after"].caps[0]


def test_one_bin_sorted_otherwise_than_the_rest_decides_nothing():
    plan = a_plan(FOUR)
    lines = sorts(plan, FEWER)
    lines["c0"] = [(360, "full sort: 60 adults, 40 juveniles")]
    told = judged(plan, lines)
    assert told.word == OPEN
    assert any("c0" in cap and "looked at alike" in cap for cap in told.caps)


def test_a_look_that_is_not_over_waits_for_its_bins():
    plan = a_plan(FOUR)
    some = {name: lines for name, lines in sorts(plan, FEWER).items() if name not in ("x3", "c3")}
    during = datetime(2026, 3, 28, 12, tzinfo=UTC)
    assert judged(plan, some, now=during).word == OPEN
    assert judged(plan, some).word == FAILS  # once its time has passed, by the bins there are


def test_before_any_count_nothing_can_be_told():
    told = judged(a_plan(FOUR), {})
    assert told.word == OPEN
    assert "nothing that trial" in telling.sentence(told)
    assert telling.rows(told) == ()


@pytest.mark.parametrize(("edge", "word"), [("4.2-4.4", FAILS), ("7.0-7.2", HOLDS)])
def test_ph_is_compared_as_a_difference(edge, word):
    plan = a_plan(FOUR, outcome="pH", scale="difference", unit="pH units", margin=1.0)
    lines = {name: [(360, "middle pH 7 to 7.2")] for name in FOUR if name[0] == "c"}
    lines |= {name: [(360, f"middle pH {edge}")] for name in FOUR if name[0] == "x"}
    assert judged(plan, lines).word == word


def test_the_first_hatchling_lies_between_the_last_search_in_vain_and_the_find():
    plan = a_plan(FOUR, outcome="days to first hatchling", scale="difference", unit="days", margin=14.0)
    lines = {
        name: [(30, "full sort: 0 hatchlings"), (40 + late, "full sort: 3 hatchlings")]
        for name, late in zip(FOUR, (0, 2, 1, 3, 60, 63, 61, 62), strict=True)
    }
    told = judged(plan, lines)
    assert told.decided_by is not None
    assert next((one.low, one.high) for one in told.decided_by.values) == (30.0, 40.0)
    assert told.word in (OPEN, FAILS)
    never = {**lines, "x3": [(200, "full sort: 0 hatchlings")]}
    last = judged(plan, never).decided_by
    assert last is not None
    assert math.isinf({one.bin: one for one in last.values}["x3"].high)


COUNT = st.one_of(st.integers(0, 5000).map(str), st.sampled_from(["about 40", "at least 30", "10 to 15", "no"]))
LINE = st.one_of(
    COUNT.map(lambda n: f"full sort: {n} adults"), COUNT.map(lambda n: f"sample 1 L middle: {n} adults, {n} juveniles"),
    st.just("middle pH 4"), st.just("saw a dozen worms"), st.just("20 dead worms"),
)  # fmt: skip
JOURNAL = st.lists(st.tuples(st.integers(1, 380), LINE), max_size=8)


@settings(max_examples=60, deadline=None)
@given(changed=JOURNAL, control=st.none() | JOURNAL, forecast=st.booleans(), margin=st.floats(1.01, 5))
def test_one_bin_never_yields_a_verdict_on_a_claim_in_general(changed, control, forecast, margin):
    """Neither alone nor beside one other, whatever its journal says: the bin is what is repeated."""
    stated = {"day 360 p5": 10.0, "day 360 p50": 20.0, "day 360 p95": 40.0} if forecast else {}
    plan = a_plan(arms(0 if control is None else 1, 1), margin=margin, looks=(180, 360), expected=stated)
    lines = {"x0": sorted(changed)} | ({} if control is None else {"c0": sorted(control)})
    told = judged(plan, lines)
    assert told.word == OPEN
    said = " ".join([telling.sentence(told), *telling.settles(told), *telling.rivals(told)])
    assert said.startswith("Cannot tell yet")
    assert not re.search(r"no (significant )?difference", said, re.IGNORECASE)


def test_a_lone_bin_is_judged_against_the_forecast_that_was_registered():
    stated = {"day 360 p5": 100.0, "day 360 p50": 200.0, "day 360 p95": 400.0}
    plan = a_plan(arms(0, 1), expected=stated)
    assert "outside the 100 to 400" in telling.sentence(judged(plan, sorts(plan, {"x0": 12})))
    assert "inside the 100 to 400" in telling.sentence(judged(plan, sorts(plan, {"x0": 240})))


def corrected(plan, words, late_days, *, day=None, more=(), old="full sort: 102 adults"):
    """The verdict on alike bins of which x0's count got other words, so many days later; `more` entries of x0."""
    records = {name: a_bin(name) for name in plan.arms}
    entries = {name: said(records[name], on, line) for name, lines in sorts(plan, ALIKE).items() for on, line in lines}
    (first,) = said(records["x0"], plan.days if day is None else day, old)
    first = replace(first, noted_at=first.when.start)
    (new,) = said(records["x0"], plan.days, words)
    noted = None if late_days is None else first.when.start + timedelta(days=late_days)
    others = [replace(one, noted_at=one.when.start) for line in more for one in said(records["x0"], plan.days, line)]
    entries["x0"] = (replace(new, corrects=first.id, noted_at=noted), *others)
    return verdict(plan, REGISTERED, records, entries, (), END, (first,))


@pytest.mark.parametrize(
    ("words", "more"),
    [
        ("full sort: 101 adults", ()), ("note: a slip", ()), ("middle 12 C", ()),
        ("sample 0.5 L: 6 adults", ("sample 0.5 L: 5 adults",)),
    ],
)  # fmt: skip
def test_a_count_corrected_after_the_look_takes_a_verdict_back_and_is_told(words, more):
    old = "sample 0.5 L: 5 adults" if more else "full sort: 102 adults"
    told = corrected(a_plan(FOUR), words, 59, more=more, old=old)
    assert told.word == OPEN
    cap = next(one for one in told.caps if "corrected" in one)
    assert "What x0 gave on day 360 was corrected after the last day of that look was over: from " in cap
    assert old in cap
    assert told.corrected == (cap,)


def test_a_correction_of_an_unknown_time_counts_as_late():
    assert corrected(a_plan(FOUR), "full sort: 101 adults", None).word == OPEN


def test_a_slip_mended_in_time_is_told_and_does_no_harm():
    told = corrected(a_plan(FOUR), "full sort: 101 adults", 1)
    assert (told.word, told.caps) == (HOLDS, ())
    (said_so,) = told.corrected
    assert (
        "before the last day of that look was over: from “full sort: 102 adults” to “full sort: 101 adults”" in said_so
    )
    assert said_so in telling.rivals(told)


def test_an_early_look_that_was_corrected_late_is_told_whatever_decides():
    plan = a_plan(FOUR, looks=(180, 360))
    records = {name: a_bin(name) for name in plan.arms}
    early, late = (
        {name: said(records[name], on, line) for name, lines in sorts(plan, ALIKE, day).items() for on, line in lines}
        for day in (180, 360)
    )
    old = replace(early["x0"][0], noted_at=early["x0"][0].when.start)
    (new,) = said(records["x0"], 180, "full sort: 12 adults")
    early["x0"] = (replace(new, corrects=old.id, noted_at=old.when.start + timedelta(days=170)),)
    entries = {name: (*early[name], *late[name]) for name in records}
    told = verdict(plan, REGISTERED, records, entries, (), END, (old,))
    assert told.word == OPEN
    assert any("gave on day 180 was corrected after" in one for one in told.caps)


def test_what_was_known_before_the_plan_is_not_made_new_by_a_correction():
    plan = a_plan(FOUR)
    records = {name: a_bin(name) for name in plan.arms}
    entries = {
        name: said(records[name], day, line) for name, lines in sorts(plan, ALIKE).items() for day, line in lines
    }
    (old,) = entries["x0"]
    old = replace(old, noted_at=REGISTERED - timedelta(days=1))
    entries["x0"] = (replace(old, id="new", corrects=old.id, noted_at=REGISTERED + timedelta(days=200)),)
    assert not verdict(plan, REGISTERED, records, entries, (), END).exploratory
    assert verdict(plan, REGISTERED, records, entries, (), END, (old,)).exploratory


@pytest.mark.parametrize(
    ("zone", "registered", "exploratory"),
    [
        # Counted on 27 March at 20:00 by the bin's clock, which in Los Angeles is the 28th in UTC.
        ("America/Los_Angeles", datetime(2026, 3, 28, 2, tzinfo=UTC), False),
        ("America/Los_Angeles", datetime(2026, 3, 28, 8, tzinfo=UTC), True),
        ("Pacific/Auckland", datetime(2026, 3, 27, 10, tzinfo=UTC), False),
        ("Pacific/Auckland", datetime(2026, 3, 27, 13, tzinfo=UTC), True),
    ],
)
def test_whether_a_count_came_before_the_plan_is_told_by_the_clock_of_its_bin(zone, registered, exploratory):
    plan = a_plan(FOUR)
    records = {name: replace(a_bin(name), timezone=zone) for name in plan.arms}
    evening = datetime(2026, 3, 27, 20, tzinfo=ZoneInfo(zone))
    entries = {
        name: tuple(
            replace(one, noted_at=None)
            for one in parse_line(
                f"full sort: {many} adults", bin=records[name], now=evening, new_id=lambda: uuid4().hex
            ).records
        )
        for name, many in ALIKE.items()
    }
    assert verdict(plan, registered, records, entries, (), END).exploratory == exploratory


def test_stages_that_were_not_looked_for_are_told_beside_the_verdict():
    plan = a_plan(FOUR)
    told = judged(plan, sorts(plan, ALIKE))
    assert "; adults alone were counted)" in telling.sentence(told)
    said_so = "“Worms” are here those that were counted: hatchlings, juveniles and sub-adults were not looked for."
    assert said_so in telling.rivals(told)
    adults = a_plan(FOUR, outcome="adults")
    assert not any("not looked for" in one for one in telling.rivals(judged(adults, sorts(adults, ALIKE))))
