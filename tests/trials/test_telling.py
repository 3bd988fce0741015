"""A verdict in words: what may be said, over invented journals of every kind."""

import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trials.bins import REGISTERED, a_plan, arms, judged, sorts
from underlid.records import PlanChange
from underlid.trials import shown, telling
from underlid.trials.plan import ArmName, Plan
from underlid.trials.verdict import FAILS, HOLDS, OPEN, Verdict

FOUR = arms(4, 4)
ALIKE = {"c0": 100, "c1": 110, "c2": 95, "c3": 105, "x0": 102, "x1": 98, "x2": 108, "x3": 96}
FEWER = ALIKE | {"x0": 22, "x1": 18, "x2": 25, "x3": 20}
NEVER = re.compile(r"\b(no|without|any) (significant |statistical )?(difference|effect)\b|\b(proves?|proven)\b", re.I)
INTERVAL = re.compile(r"[\d.]+ to [\d.+-]+|or more|or less")
PH = {"outcome": "pH", "scale": "difference", "unit": "pH units", "margin": 1.0}
WARMTH = {"outcome": "bedding temperature", "scale": "difference", "unit": "K", "margin": 2.0}
FIRST = {"outcome": "days to first hatchling", "scale": "difference", "unit": "days", "margin": 14.0}
MASS = {"outcome": "live mass", "margin": 1.5}


def everything(told: Verdict) -> str:
    rows = [f"{row.outcome} {row.day}" for row in telling.rows(told)]
    looks = [f"{row.effect} {row.level} {row.found}" for row in telling.looks(told)]
    return "\n".join([telling.sentence(told), *telling.settles(told), *telling.rivals(told), *rows, *looks])


COUNT = st.one_of(st.integers(0, 5000).map(str), st.sampled_from(["about 40", "at least 30", "10 to 15", "no"]))
LINE = st.one_of(
    COUNT.map(lambda n: f"full sort: {n} adults"),
    COUNT.map(lambda n: f"sample 1 L middle: {n} adults, {n} hatchlings"),
    st.just("full sort: no hatchlings, 12 cocoons"),
    st.sampled_from(["middle pH 4", "edge pH about 7", "middle 6 to 8 C", "live mass 300 g", "live mass about 1 kg"]),
    st.sampled_from(["saw a dozen worms", "20 dead worms", "saw 2 hatchlings"]),
)
WHEN = st.one_of(st.integers(1, 400), st.integers(355, 365), st.integers(175, 185))
JOURNALS = st.fixed_dictionaries({name: st.lists(st.tuples(WHEN, LINE), max_size=4) for name in arms(2, 2)})
ALL_CHANGED: dict[str, ArmName] = dict.fromkeys(arms(2, 2), "changed")
KINDS = st.sampled_from([{}, {"outcome": "young"}, PH, WARMTH, FIRST, MASS, {"stated": (60.0, 90.0)}])


@settings(max_examples=200, deadline=None)
@given(
    journals=JOURNALS, kind=KINDS, looks=st.sampled_from([(360,), (180, 360)]), margin=st.floats(1.02, 30),
    now=st.integers(100, 420), sloppy=st.booleans(),
)  # fmt: skip
def test_whatever_the_journal_says_no_sentence_claims_too_much(journals, kind, looks, margin, now, sloppy):
    lot = ALL_CHANGED if "stated" in kind else arms(2, 2)
    plan = a_plan(lot, **({"margin": margin, "looks": looks, "same_sort": not sloppy, "blind": False} | kind))
    told = judged(
        plan, {name: sorted(lines) for name, lines in journals.items()},
        now=datetime(2025, 4, 1, 21, tzinfo=UTC) + timedelta(days=now),
    )  # fmt: skip
    sentence, said = telling.sentence(told), everything(told)
    assert not NEVER.search(said), said
    assert "nan" not in said
    assert not re.search(r"\binf\b|\de[+-]\d", said), said
    assert sentence.endswith(".")
    assert not sentence.endswith("..")
    assert telling.settles(told)
    start = {HOLDS: "Holds within the margin: ", FAILS: "Fails: ", OPEN: "Cannot tell yet: "}[told.word]
    assert sentence.startswith(start)
    if told.word != OPEN:
        assert not sloppy
        assert "estimated from" in sentence
        assert "% interval" in sentence
        assert f"day {plan.looks[told.decided_by.number]}" in sentence  # type: ignore[union-attr]
    if told.decided_by is not None and told.decided_by.narrow is not None and told.controlled:
        assert INTERVAL.search(sentence), sentence
        assert "% interval" in sentence


def test_a_decided_sentence_has_its_interval_level_bins_day_and_margin():
    told = judged(a_plan(FOUR), sorts(a_plan(FOUR), ALIKE))
    low, high = told.decided_by.narrow  # type: ignore[misc, union-attr]
    assert telling.sentence(told) == (
        f"Holds within the margin: with “no grit” there were {math.exp(low):.2g} to {math.exp(high):.2g} times as many "
        "worms as with “a handful of grit” (estimated from 4 changed and 4 control bins, 90 % interval, day 360; "
        "adults alone were counted), all of it inside the margin of 0.5 to 2 times, which was set beforehand."
    )


def test_a_small_difference_inside_the_margin_is_both():
    few = {name: round(n * (0.8 if name[0] == "x" else 1)) for name, n in ALIKE.items()}
    told = judged(a_plan(FOUR), sorts(a_plan(FOUR), few))
    assert told.word == HOLDS
    assert told.decided_by is not None
    assert told.decided_by.finding == "both"
    assert telling.sentence(told).endswith("which was set beforehand. A difference is there, but a small one.")
    assert telling.looks(told)[0].found == "both"


def test_a_decided_look_that_waits_for_bins_is_not_said_to_reach_beyond_the_margin():
    plan = a_plan(FOUR)
    some = {name: lines for name, lines in sorts(plan, ALIKE).items() if name != "x3"}
    told = judged(plan, some, now=datetime(2026, 3, 28, 12, tzinfo=UTC))
    sentence = telling.sentence(told)
    assert "not all bins are counted yet: it is not resolved" in sentence
    assert "reaches" not in sentence
    assert "not all bins are counted yet" in telling.looks(told)[0].found


@pytest.mark.parametrize("counts", [ALIKE, FEWER])
def test_a_decided_trial_speaks_of_this_place_and_asks_for_another(counts):
    told = judged(a_plan(FOUR), sorts(a_plan(FOUR), counts))
    assert telling.settles(told) == (
        "The same trial by another keeper, elsewhere, would show whether it is so in general.",
    )
    assert any("elsewhere it may be otherwise" in one for one in telling.rivals(told))


def test_bins_that_differ_beyond_all_reason_still_get_an_answer():
    plan = a_plan(arms(2, 2))
    told = judged(plan, sorts(plan, {"c0": 1, "c1": 5000, "x0": 1, "x1": 5000}))
    assert told.word == OPEN
    assert any("no trial of a size that anybody keeps" in one for one in telling.settles(told))


def test_looks_to_come_are_named_and_the_number_of_bins_that_would_do():
    plan = a_plan(FOUR, looks=(180, 360))
    told = judged(plan, sorts(plan, {**ALIKE, "x0": 300, "x1": 30}, 180), now=datetime(2025, 11, 1, tzinfo=UTC))
    assert told.word == OPEN
    assert "The looks still to come: day 360." in telling.settles(told)
    assert any(re.search(r"About \d+ bins in each arm would show", one) for one in telling.settles(told))


@pytest.mark.parametrize(
    ("plan", "lines"),
    [
        (a_plan(FOUR, **PH), {name: [(360, "middle pH 5 to 9")] for name in FOUR}),
        (a_plan(arms(0, 2), stated=(60.0, 90.0)), {f"x{i}": [(360, "full sort: 30 to 99 adults")] for i in (0, 1)}),
    ],
)  # fmt: skip
def test_an_open_trial_without_a_ratio_is_told_what_would_settle_it(plan, lines):
    told = judged(plan, lines)
    assert told.word == OPEN
    assert telling.settles(told) == ("More bins, counted or read less vaguely: either makes the interval narrower.",)


def test_one_bin_beside_one_is_labelled_as_assumed_wherever_it_is_told():
    plan = a_plan(arms(1, 1))
    told = judged(plan, sorts(plan, {"c0": 40, "x0": 60}))
    assert "only assumed here (30 %)" in telling.sentence(told)
    assert "assumed CV 30 %" in telling.looks(told)[0].level


def test_a_lone_bin_is_inside_its_forecast_only_if_all_of_its_interval_is():
    stated = {"day 360 p5": 100.0, "day 360 p50": 200.0, "day 360 p95": 400.0}
    plan = a_plan(arms(0, 1), expected=stated)
    for many, where in (("150 to 300", "inside"), ("50 to 150", "across an end of"), ("20 to 90", "outside")):
        sentence = telling.sentence(judged(plan, sorts(plan, {"x0": many})))
        assert f"{where} the 100 to 400 that the model forecast" in sentence
        assert "possible here" in sentence
    rivals = telling.rivals(judged(plan, sorts(plan, {"x0": 200})))
    assert any("Season" in one and "growth" in one for one in rivals)
    assert any("possible, not that it is true in general" in one for one in rivals)
    bare = telling.sentence(judged(replace(plan, expected={}), sorts(plan, {"x0": 200})))
    assert "no forecast that was registered" in bare


def test_who_counted_and_what_was_lost_are_rivals():
    plan = a_plan(FOUR, blind=False)
    gone = PlanChange(id="d", plan="grit", what="bin dropped", bin="x3", words="fox", noted_at=REGISTERED)
    told = judged(plan, sorts(plan, {name: n for name, n in ALIKE.items() if name != "c1"}), changes=[gone])
    rivals = " ".join(telling.rivals(told))
    assert "knew which bins were changed" in rivals
    assert "c1: no sample with worms" in rivals
    assert "x3: dropped" in rivals
    assert {row.bin: row.outcome for row in telling.rows(told)}["c1"] == "nothing"
    assert "knew which" not in " ".join(telling.rivals(judged(a_plan(FOUR), sorts(plan, ALIKE))))


def test_a_stated_range_holds_fails_or_stays_open():
    plan = a_plan(dict.fromkeys(("a", "b", "c"), "changed"), stated=(60.0, 90.0))
    for counts, word in (((74, 75, 76), HOLDS), ((300, 310, 320), FAILS), ((60, 75, 95), OPEN)):
        told = judged(plan, sorts(plan, dict(zip("abc", counts, strict=True))))
        assert told.word == word
        sentence = telling.sentence(told)
        assert "the 60 to 90 that is stated" in sentence
        assert "estimated from 3 bins, 90 % interval of their mean, day 360" in sentence


# --- figures -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plan", "line", "outcome"),
    [
        (a_plan(FOUR), "full sort: 41 adults", "41, read"),
        (a_plan(FOUR), "full sort: 30 to 40 adults", "30 to 40, read"),
        (a_plan(FOUR), "full sort: no adults", "none found, read"),
        (a_plan(FOUR), "full sort: at least 30 adults", "30 or more, read"),
        (a_plan(FOUR), "full sort: 4321 adults", "4321, read"),
        (a_plan(FOUR, **MASS), "live mass 400 to 500 g", "0.4 to 0.5 kg, read"),
        (a_plan(FOUR, **PH), "middle pH 6.5 to 7", "6.5 to 7 pH, read"),
        (a_plan(FOUR, **WARMTH), "middle 10 to 20 C", "10 to 20 °C (50 to 68 °F), read"),
        (a_plan(FOUR, **FIRST), "full sort: no hatchlings", "not by 360 days, read"),
    ],
)
def test_what_a_bin_gave_has_its_range_unit_and_how_it_was_had(plan, line, outcome):
    told = judged(plan, {"c0": [(360, line)]})
    assert {row.bin: row.outcome for row in telling.rows(told)}["c0"] == outcome


def test_an_about_is_told_as_the_range_that_holds_nine_in_ten():
    told = judged(a_plan(FOUR), {"c0": [(360, "full sort: about 40 adults")]})
    said = telling.rows(told)[0].outcome
    low, high = (float(end) for end in re.findall(r"[\d.]+", said)[:2])
    assert low < 40 < high
    assert said.endswith("estimated")


@pytest.mark.parametrize(
    ("changes", "margin"),
    [
        ({}, "the margin of 0.5 to 2 times"),
        (PH, "the margin of 1 pH units either way"),
        (WARMTH, "the margin of 2 K (3.6 °F) either way"),
    ],
)
def test_the_margin_is_told_as_a_range(changes, margin):
    assert shown.margin_words(a_plan(FOUR, **changes)) == margin


@pytest.mark.parametrize(
    ("changes", "ends", "words"),
    [
        ({}, (math.log(0.5), math.log(1.25)), "0.5 to 1.2 times"),
        ({}, (math.log(1.5), math.inf), "1.5 times or more"),
        ({}, (math.log(0.5), math.log(12345)), "0.5 to 12000 times"),
        (FIRST, (5.0, math.inf), "+5 days or more"),
        (FIRST, (-104.0, 38.0), "-100 to +38 days"),
        (FIRST, (-math.inf, -5.0), "-5 days or less"),
        (FIRST, (-math.inf, math.inf), "an unknown amount"),
        (WARMTH, (-0.5, 2.0), "-0.5 to +2 K (-0.9 to +3.6 °F)"),
    ],
)
def test_an_effect_is_told_without_infinities_and_powers_of_ten(changes, ends, words):
    assert shown.effect_words(a_plan(FOUR, **changes), ends) == words


@settings(max_examples=100)
@given(value=st.floats(1e-5, 1e9))
def test_plain_numbers_have_three_figures_and_no_power(value):
    said = shown.plain(value)
    assert re.fullmatch(r"\d+(\.\d+)?", said)
    assert float(said) == pytest.approx(value, rel=0.006, abs=1e-6)


def expecting(**expected: float) -> Plan:
    return a_plan(FOUR, expected={name.replace("_", " "): value for name, value in expected.items()})


def test_what_was_expected_is_told_with_all_three_chances_or_not_at_all():
    whole = expecting(holds_if_nothing=0.8, holds_at_margin=0.049, fails_at_twice_the_margin=0.91)
    said = telling.expected(whole)
    assert "hold in 80 % of them" in said
    assert "wrongly so in 4.9 %" in said
    assert "fail in 91 %" in said
    assert "found to hold in 80 % of such trials" in telling.expected(expecting(holds_if_nothing=0.8))
    assert telling.expected(expecting()) == ""


def test_live_mass_is_as_much_and_not_as_many():
    plan = a_plan(FOUR, **MASS)
    rng = np.random.default_rng(2)
    told = judged(plan, {name: [(360, f"live mass {500 + int(rng.integers(-20, 20))} g")] for name in FOUR})
    assert "there was" in telling.sentence(told)
    assert "as much live mass as with" in telling.sentence(told)


def test_a_forecast_registered_after_the_count_is_called_exploratory():
    plan = a_plan(arms(0, 1), expected={"day 360 p5": 100.0, "day 360 p50": 200.0, "day 360 p95": 400.0})
    late = datetime(2026, 4, 15, tzinfo=UTC)
    assert "so it is exploratory" in telling.sentence(judged(plan, sorts(plan, {"x0": 200}), registered=late))
    assert "exploratory" not in telling.sentence(judged(plan, sorts(plan, {"x0": 200})))


def test_a_look_without_an_effect_names_no_interval():
    plan = a_plan(arms(0, 1))
    (look,) = telling.looks(judged(plan, sorts(plan, {"x0": 200})))
    assert (look.effect, look.level, look.found) == ("", "", "nothing can be told")


@pytest.mark.parametrize("stated", [None, (60.0, 190.0)])
def test_a_sentence_says_which_bins_it_leaves_out(stated):
    plan = a_plan(FOUR if stated is None else ALL_CHANGED | {"x2": "changed"}, stated=stated)
    counts = {name: ALIKE[name] for name in plan.arms}
    gone = PlanChange(id="d", plan="grit", what="bin dropped", bin="x1", words="fox", noted_at=REGISTERED)
    told = judged(plan, sorts(plan, counts), changes=[gone])
    assert told.word == HOLDS
    assert "day 360; without x1, dropped after registration" in telling.sentence(told)
    assert "without" not in telling.sentence(judged(plan, sorts(plan, counts)))
