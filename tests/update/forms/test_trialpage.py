"""The page of a trial: whole, self-contained, escaped, and with a chart for every kind of comparison."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.trials.bins import END, REGISTERED, a_bin, a_plan, arms, judged, said, sorts
from tests.update.forms.test_page import Outline, without_fonts
from underlid.records import PlanChange
from underlid.trials import shown, telling
from underlid.trials.claims import every_claim, welfare_rules
from underlid.trials.plan import digest
from underlid.trials.verdict import FAILS, HOLDS, Verdict
from underlid.trials.watch import alarms
from underlid.update.drawn import trialcharts
from underlid.update.forms.trialpage import page

FOUR = arms(4, 4)
CLAIM = every_claim()["mineral-grit"]
ALIKE = {"c0": 100, "c1": 110, "c2": 95, "c3": 105, "x0": 102, "x1": 98, "x2": 108, "x3": 96}
HARMFUL = "</q><script>alert('worms')</script>&amp;"


def counted(**changes: Any) -> Verdict:
    plan = a_plan(FOUR, **changes)
    return judged(plan, sorts(plan, ALIKE))


def cold(name: str) -> int:
    return 5 + int(name[1]) + (3 if name[0] == "x" else 0)


def of_difference() -> Verdict:
    plan = a_plan(FOUR, outcome="bedding temperature", scale="difference", unit="K", margin=2.0)
    return judged(plan, {name: [(360, f"middle {cold(name)} to {cold(name) + 1} C")] for name in FOUR})


def of_stated() -> Verdict:
    plan = a_plan(dict.fromkeys(("a", "b", "c"), "changed"), stated=(60.0, 90.0))
    return judged(plan, sorts(plan, {"a": 70, "b": 75, "c": 72}))


def of_censored() -> Verdict:
    plan = a_plan(FOUR, outcome="days to first hatchling", scale="difference", unit="days", margin=14.0)
    lines = {
        name: [(30, "full sort: no hatchlings"), (40 + i, "full sort: 3 hatchlings")] for i, name in enumerate(FOUR)
    }
    return judged(plan, lines | {"x3": [(200, "full sort: no hatchlings")]})


def of_open_counts() -> Verdict:
    plan = a_plan(FOUR)
    return judged(plan, sorts(plan, ALIKE | {"x0": "at least 60", "x1": "no"}))


def far_away() -> Verdict:
    plan = a_plan(FOUR, margin=1.05)
    return judged(plan, sorts(plan, {name: n if name[0] == "c" else n * 40 for name, n in ALIKE.items()}))


def drawn(told: Verdict, **more: Any) -> tuple[str, Outline]:
    html = page(told, more.get("claim", CLAIM), more.get("alarms", ()), more.get("now", END))
    outline = Outline(html)
    assert outline.open == []
    return html, outline


def charts(outline: Outline) -> set[str]:
    return {str(value) for tag, name, value in outline.attributes if tag == "svg" and name == "aria-label"}


CASES = [counted, of_difference, of_stated, of_censored, of_open_counts, far_away]


@pytest.mark.parametrize("case", CASES)
def test_both_charts_are_drawn_of_every_kind_of_comparison(case):
    told = case()
    assert told.decided_by is not None
    assert told.decided_by.narrow is not None
    html, outline = drawn(told)
    assert charts(outline) == {telling.sentence(told), "What each bin gave, by arm."}
    assert telling.sentence(told) in outline.text
    assert "NaN" not in html
    assert not re.search(r"\binf(inity)?\b", outline.text, re.IGNORECASE)


def test_no_chart_and_no_table_where_nothing_is_known():
    told = judged(a_plan(FOUR), {})
    assert not trialcharts.has_effect(told)
    _, outline = drawn(told)
    assert charts(outline) == set()
    assert "Look by look" not in outline.text
    assert "The bins" not in outline.text
    assert "Nothing." in outline.text  # nothing changed


def test_a_lone_bin_has_no_effect_to_draw():
    plan = a_plan(arms(0, 1))
    _, outline = drawn(judged(plan, sorts(plan, {"x0": 50})))
    assert charts(outline) == {"What each bin gave, by arm."}
    assert "drawn by lot" not in outline.text


def test_the_page_needs_nothing_from_outside():
    for case in (counted, of_censored):
        html, outline = drawn(case())
        assert "://" not in html
        assert not {tag for tag, _, _ in outline.attributes} & {"script", "link", "iframe", "object", "img", "a"}
        ids = [value for _, name, value in outline.attributes if name == "id"]
        assert len(ids) == len(set(ids))
        assert all(one.startswith("#") for one in re.findall(r"url\(([^)]*)", without_fonts(html)))


def test_a_keepers_words_are_never_markup():
    plan = a_plan(FOUR, name=HARMFUL, statement=HARMFUL, control=HARMFUL, changed=HARMFUL + "!", because=HARMFUL)
    told = judged(plan, sorts(plan, ALIKE))
    values = tuple(replace(one, words=(HARMFUL,)) for one in told.looks[0].values)
    look = replace(told.looks[0], values=values)
    change = PlanChange(id="d", plan=HARMFUL, what="other", bin=HARMFUL, words=HARMFUL, noted_at=REGISTERED)
    told = replace(told, looks=(look,), decided_by=look, changes=(change,))
    rules = alarms(welfare_rules(), a_bin("x0"), said(a_bin("x0"), 420, f"20 dead worms {HARMFUL}"), END)
    html, outline = drawn(told, alarms=rules)
    assert "<script" not in html
    assert outline.text.count(HARMFUL) >= 8


def test_the_same_verdict_gives_the_same_bytes():
    for case in (counted, of_difference):
        assert page(case(), CLAIM, (), END) == page(case(), CLAIM, (), END)


def test_the_page_holds_all_that_the_verdict_rests_on():
    gone = PlanChange(
        id="d", plan="grit", what="bin dropped", bin="x3", words="knocked over by a fox",
        noted_at=REGISTERED + timedelta(days=100),
    )  # fmt: skip
    plan = a_plan(
        FOUR, looks=(180, 360), blind=False,
        expected={"holds if nothing": 0.8, "holds at margin": 0.04, "fails at twice the margin": 0.9},
    )  # fmt: skip
    early = {name: [(180, f"full sort: {30 + i} adults")] for i, name in enumerate(FOUR)}
    told = judged(plan, {name: early[name] + sorts(plan, ALIKE)[name] for name in FOUR}, changes=[gone])
    assert told.decided_by is told.looks[1]  # only the last look says that it holds
    html, outline = drawn(told)
    text = outline.text
    assert digest(plan) in html
    for said_so in (
        *telling.settles(told), *telling.rivals(told), shown.margin_words(plan), telling.expected(plan),
        "knocked over by a fox", "bin dropped (x3)", "who counted knew the arm", "2025-03-20 12:00",
        "full sort: 110 adults",
        CLAIM.sentence, "day 180", "day 360", "98 % interval", "90 % interval", "One trial in one place",
    ):  # fmt: skip
        assert said_so in text, said_so
    for finding in CLAIM.published:
        assert finding.says in text


def test_the_legend_speaks_of_what_is_compared():
    for case, words in ((counted, "Changed over control."), (of_difference, "Changed less control."),
                        (of_stated, "The mean of the bins.")):  # fmt: skip
        assert words in drawn(case())[1].text
    assert "no effect" not in drawn(of_stated())[1].text


def test_an_alarm_stands_first_and_names_its_bin():
    found = alarms(welfare_rules(), a_bin("x0"), said(a_bin("x0"), 420, "20 dead worms"), END)
    assert found
    _, outline = drawn(counted(), alarms=found)
    heads = [text for tag, text in outline.headings if tag == "h2"]
    assert heads[0] == "For the animals’ sake"
    assert found[0].sentence in outline.text
    assert found[0].sentence.startswith("Bin x0: ")


def test_a_trial_of_an_unknown_claim_has_its_page_too():
    _, outline = drawn(counted(), claim=None, now=datetime(2026, 6, 1, tzinfo=UTC))
    assert "What is published" not in outline.text
    assert "told on 1 June 2026" in outline.text


# --- charts ------------------------------------------------------------------------------------------------


def marks(told: Verdict) -> list[dict[str, Any]]:
    chart = trialcharts.effect_chart(told).to_dict()
    sets = chart["datasets"]
    return [row for layer in chart["layer"] for row in sets[layer["data"]["name"]]]


def test_the_interval_is_drawn_where_it_is_and_cut_where_it_leaves_the_chart():
    told = counted()
    assert told.word == HOLDS
    assert told.decided_by is not None
    assert told.decided_by.narrow is not None
    rows = [row for row in marks(told) if "middle" in row]
    assert {(row["x"], row["end"]) for row in rows} == {told.decided_by.narrow}
    assert {row["colour"] for row in rows} == {trialcharts.WORD_COLOURS[HOLDS]}
    far = far_away()
    assert far.word == FAILS
    rows = [row for row in marks(far) if "middle" in row]
    assert any(1 in row["over"] for row in rows)
    assert {row["colour"] for row in rows} == {trialcharts.WORD_COLOURS[FAILS]}
