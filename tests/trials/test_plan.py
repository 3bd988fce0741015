"""A plan's text and hash, what is refused of it, and the lot."""

import hashlib
import json
import math
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trials.bins import a_plan, arms
from underlid.trials.claims import every_claim
from underlid.trials.plan import TAKEN, Plan, PlanProblem, as_json, by_lot, canonical, digest, plan_from
from underlid.trials.stopping import StopRule

FOUR = arms(2, 2)
CLAIM = every_claim()["citrus-scraps"]
assert CLAIM.design is not None
RULES = CLAIM.design.stop

WORDS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)
NAMES = WORDS.map(str.strip).filter(bool)
SAID = WORDS.filter(str.strip)
NUMBERS = st.floats(-1e9, 1e9) | st.integers(-1000, 1000)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    outcome = draw(st.sampled_from(sorted(TAKEN)))
    unit = TAKEN[outcome]
    stated = draw(st.none() | st.tuples(st.floats(0, 50), st.floats(51, 900)))
    names = draw(st.lists(NAMES, min_size=2, max_size=6, unique=True))
    lot = by_lot(names, draw(st.integers(0, 99)))
    if stated:
        lot = dict.fromkeys(names, "changed")
    return a_plan(
        lot, name=draw(NAMES), statement=draw(SAID), control="control", changed=draw(SAID) + "!", outcome=outcome,
        scale="difference" if unit else "ratio", unit=unit, margin=draw(st.floats(1.01, 50) | st.integers(2, 9)),
        because=draw(SAID), founders=draw(st.integers(1, 500)), seed=draw(st.integers(0, 2**63)), stated=stated,
        looks=tuple(sorted(draw(st.sets(st.integers(1, 3660), min_size=1, max_size=5)))),
        alpha=draw(st.floats(0.001, 0.4)), assumed_cv=draw(st.none() | st.floats(0.01, 3)),
        expected=draw(st.dictionaries(SAID, NUMBERS, max_size=3)), stop=tuple(draw(st.lists(st.sampled_from(RULES)))),
        same_sort=draw(st.booleans()), blind=draw(st.booleans()),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(plan=plans())
def test_the_text_reads_back_as_the_same_plan_with_the_same_bytes(plan):
    text = canonical(plan)
    again = plan_from(text)
    assert again == plan
    assert canonical(again) == text
    assert digest(plan) == hashlib.sha256(text.encode()).hexdigest()


def test_the_order_and_the_spelling_of_the_same_plan_do_not_change_its_hash():
    plan = a_plan(FOUR, margin=2.0, stop=RULES)
    told = json.loads(canonical(plan))
    turned = json.dumps(dict(reversed(told.items())) | {"margin": 2})
    assert digest(plan_from(turned)) == digest(plan)
    assert digest(a_plan(dict(reversed(FOUR.items())), margin=2, stop=RULES)) == digest(plan)
    assert as_json(plan)["sha256"] == digest(plan)


OTHER: dict[str, Any] = {
    "name": "other", "claim": "other", "statement": "Another.", "control": "sand", "changed": "less grit",
    "outcome": "adults", "margin": 2.5, "because": "another reason", "founders": 31, "starts": "2025-04-02",
    "looks": (359,), "arms": dict(zip(FOUR, ("changed", "control", "control", "changed"), strict=True)), "seed": 2,
    "same_sort": False, "blind": False, "stop": RULES[:1], "alpha": 0.04, "assumed_cv": 0.3,
    "stated": (1.0, 2.0), "expected": {"trials": 100.0},
}  # fmt: skip


@pytest.mark.parametrize("name", [one.name for one in fields(Plan)])
def test_a_change_of_any_field_changes_the_hash(name):
    plan = a_plan(FOUR)
    if name in ("scale", "unit"):  # they go with the outcome
        other = replace(plan, outcome="pH", scale="difference", unit="pH units")
    elif name == "stated":
        plan = replace(plan, arms=dict.fromkeys(FOUR, "changed"))
        other = replace(plan, stated=OTHER[name])
    else:
        other = replace(plan, **{name: OTHER[name]})
    assert digest(other) != digest(plan)


def test_a_plan_cannot_be_changed_once_it_stands():
    plan = a_plan(FOUR)
    with pytest.raises(TypeError):
        plan.arms["c0"] = "changed"  # type: ignore[index]
    with pytest.raises(AttributeError):
        plan.margin = 3.0  # type: ignore[misc]


CHANGED = dict.fromkeys(FOUR, "changed")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"name": " grit"}, "needs a name without a space at either end"),
        ({"name": ""}, "needs a name"),
        ({"statement": "  "}, "needs a statement"),
        ({"control": "No Grit "}, "two arms that differ; say what is done in each"),
        ({"outcome": "food eaten"}, "“food eaten”, which the journal does not hold; choose of worms, adults"),
        ({"outcome": "pH"}, "must compare pH as a difference in pH units; write so"),
        ({"scale": "difference"}, "must compare worms as a ratio"),
        ({"stated": (90.0, 60.0), "arms": CHANGED}, "from its lower to its higher end"),
        ({"stated": (math.nan, 60.0), "arms": CHANGED}, "from its lower to its higher end"),
        ({"stated": (60.0, 90.0)}, "none is a control; give all of them as “changed”"),
        ({"margin": 1.0}, "a margin above 1, as 1.5"),
        ({"margin": math.nan}, "without one nothing can be called alike"),
        ({"margin": math.inf}, "without one nothing can be called alike"),
        ({"outcome": "pH", "scale": "difference", "unit": "pH units", "margin": 0.0}, "a margin above 0 pH units"),
        ({"because": ""}, "needs a reason for its margin (“because”)"),
        ({"arms": {"a": "control", "b": "treated"}}, "one of the arms control and changed"),
        ({"arms": {" ": "control", "b": "changed"}}, "one of the arms control and changed"),
        ({"arms": dict.fromkeys(FOUR, "control")}, "at least one bin with the change"),
        ({"arms": {}}, "at least one bin with the change"),
        ({"looks": ()}, "needs days on which the outcome is taken"),
        ({"looks": (0, 90)}, "rising from 1 or more"),
        ({"looks": (90, 90)}, "rising from 1 or more"),
        ({"looks": (3661,)}, "more than ten years; give fewer days"),
        ({"founders": 0}, "at least one founder"),
        ({"seed": -1}, "a seed of 0 or more"),
        ({"alpha": 0.5}, "above 0 and below 0.5"),
        ({"alpha": math.nan}, "above 0 and below 0.5"),
        ({"assumed_cv": 0.0}, "or null; 0.3 means 30 %"),
        ({"assumed_cv": math.nan}, "or null; 0.3 means 30 %"),
        ({"expected": {"trials": math.nan}}, "under “expected” that is none; make it anew"),
        ({"starts": "1 May 2026"}, "“1 May 2026”, which is no day; write it as 2026-04-01"),
        ({"starts": "9999-12-31"}, "no day; write it as 2026-04-01"),
    ],
)
def test_an_impossible_plan_is_refused_with_what_to_mend(changes, says):
    with pytest.raises(PlanProblem) as told:
        a_plan(changes.pop("arms", FOUR), **changes)
    assert says in str(told.value)
    assert str(told.value).startswith(f"The plan “{changes.get('name', 'grit')}” ")


def written(**changes: Any) -> str:
    return json.dumps(json.loads(canonical(a_plan(FOUR, stop=RULES[:1]))) | changes)


def without(name: str) -> str:
    told = json.loads(written())
    del told[name]
    return json.dumps(told)


RULE = json.loads(written())["stop"][0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not JSON"),
        ("{", "not JSON"),
        ("[" * 20_000, "not JSON"),
        ("[]", "one JSON object, as `underlid plan` writes it"),
        (written(format=2), "newer underlid"),
        (written(colour="red"), "“colour”, which is no part of a plan; take it out"),
        (without("seed"), "lacks “seed”; make it anew, or write it in"),
        (written(name=3), "“name” must be words, but is 3"),
        (written(founders=30.5), "“founders” must be a whole number, but is 30.5"),
        (written(founders=True), "“founders” must be a whole number, but is true"),
        (written(margin="2"), "“margin” must be a number, but is \"2\""),
        (written(margin=10**400), "too large to reckon with"),
        (written(blind="no"), "“blind” must be true or false"),
        (written(looks="90"), "“looks” must be a list"),
        (written(looks=[90, 180.5]), "whole days after the start, as [90, 180, 360]"),
        (written(arms=["a"]), "“arms” must be an object"),
        (written(arms={"a": ["control"]}), "one of the arms control and changed"),
        (written(assumed_cv="0.3"), "“assumed_cv” must be a number or null"),
        (written(stated=[60]), "“stated” must be two numbers, as [60, 90], or null"),
        (written(stated=[60, True]), "“stated” must be two numbers"),
        (written(expected={"trials": "100"}), "“expected” must hold numbers"),
        (written(expected={"trials": math.nan}), "under “expected” that is none"),
        (written(stop=["deaths"]), "must be an object with a name; copy one from a claim"),
        (written(stop=[RULE | {"limit": 3}]), "limit is a share of the animals put in, between 0 and 1"),
        (written(stop=[RULE | {"what": "joy"}]), "what must be one of"),
        (written(statement="\ud800"), "write its words anew"),
    ],
)  # fmt: skip
def test_a_text_that_is_no_plan_is_refused_with_where_it_is_wrong(text, says):
    with pytest.raises(PlanProblem) as told:
        plan_from(text)
    assert says in str(told.value)
    assert "\n" not in str(told.value)


def test_a_rule_without_a_limit_reads_back():
    smell = next(rule for rule in RULES if rule.limit is None)
    plan = a_plan(FOUR, stop=(smell,))
    assert plan_from(canonical(plan)).stop == (smell,)
    assert isinstance(smell, StopRule)


# --- the lot -----------------------------------------------------------------------------------------------

BINS = st.lists(st.text("abcdefgh", min_size=1, max_size=3), min_size=1, max_size=12, unique=True)


@settings(max_examples=60, deadline=None)
@given(bins=BINS, seed=st.integers(0, 2**40))
def test_the_lot_halves_the_bins_whatever_order_they_are_named_in(bins, seed):
    lot = by_lot(bins, seed)
    assert set(lot) == set(bins)
    changed = sum(arm == "changed" for arm in lot.values())
    assert changed == math.ceil(len(bins) / 2)  # the odd one is changed
    assert by_lot(bins[::-1], seed) == lot


def test_each_bin_is_changed_as_often_as_not():
    lots = [by_lot("abcdef", seed) for seed in range(400)]
    for name in "abcdef":
        assert sum(lot[name] == "changed" for lot in lots) == pytest.approx(200, abs=50)  # 5 standard deviations
    assert len({tuple(sorted(lot.items())) for lot in lots}) == math.comb(6, 3)


@settings(max_examples=40, deadline=None)
@given(sizes=st.lists(st.integers(1, 5), min_size=1, max_size=4), seed=st.integers(0, 999))
def test_groups_of_bins_that_are_alike_are_halved_each(sizes, seed):
    ends = [sum(sizes[:i]) for i in range(len(sizes) + 1)]
    groups = [[f"b{n}" for n in range(a, b)] for a, b in pairwise(ends)]
    lot = by_lot([name for group in groups for name in group], seed, alike=groups)
    for group in groups:
        assert abs(2 * sum(lot[name] == "changed" for name in group) - len(group)) <= 1
    assert abs(2 * sum(arm == "changed" for arm in lot.values()) - len(lot)) <= 1  # odd ones make up for one another


@pytest.mark.parametrize(("bins", "alike"), [("aab", []), ("ab", [["a"]]), ("ab", [["a", "b"], ["b"]])])
def test_a_bin_named_twice_or_in_no_group_is_refused(bins, alike):
    with pytest.raises(PlanProblem, match="named once"):
        by_lot(bins, 1, alike=alike)
