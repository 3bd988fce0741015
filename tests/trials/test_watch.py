"""Stop rules watched: readings beyond a limit, words in notes, and what must not raise an alarm."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trials.bins import a_bin, a_plan, arms, said
from underlid.quantity.amount import parse_amount
from underlid.quantity.when import VagueTime
from underlid.records import Note
from underlid.trials.claims import every_claim, welfare_rules
from underlid.trials.stopping import WATCHED, StopRule
from underlid.trials.watch import NOTED, READ, Alarm, alarms, rules_for

BIN = a_bin("x0")  # 30 founders
DAY = 100
NOW = datetime(2025, 4, 1, 21, tzinfo=UTC) + timedelta(days=DAY)


def rule(what: str, limit: float | None = None, hours: float | None = None, name: str = "") -> StopRule:
    return StopRule(name or what, what, limit, WATCHED[what], hours, "look closer", "Because.", "our judgement")


def raised(one: StopRule, *lines: str, day: int = DAY, bin=BIN) -> tuple[Alarm, ...]:
    entries = [entry for words in lines for entry in said(bin, day, words)]
    return alarms([one], bin, entries, NOW)


def note(words: str) -> Note:
    return Note(id="n", bin="x0", when=VagueTime(NOW - timedelta(hours=1), NOW, "exact", "now"), words=words)


@pytest.mark.parametrize(
    ("one", "beyond", "straddling", "within"),
    [
        (rule("bedding above", 30), "middle 31 to 33 C", "middle 29 to 31 C", "middle 20 to 25 C"),
        (rule("bedding below", 0), "middle -3 to -2 C", "edge -1 to 1 C", "middle 2 to 3 C"),
        (rule("moisture below", 50), "moisture 30 to 40 %", "moisture 45 to 55 %", "moisture 70 %"),
        (rule("moisture above", 85), "moisture 90 to 95 %", "moisture 80 to 90 %", "moisture 70 %"),
        (rule("pH below", 5), "middle pH 4 to 4.5", "edge pH 4.5 to 5.5", "middle pH 6"),
        (rule("pH above", 9), "middle pH 9.5", "middle pH 8 to 10", "middle pH 7"),
    ],
    ids=lambda given: given.what if isinstance(given, StopRule) else "",
)
def test_a_reading_breaks_a_rule_for_sure_where_all_of_it_is_beyond(one, beyond, straddling, within):
    (sure,) = raised(one, beyond)
    assert sure.sure
    assert f"“{beyond}”" in sure.sentence
    assert f"breaks the stop rule “{one.watched}”: look closer. Because." in sure.sentence
    (perhaps,) = raised(one, straddling)
    assert not perhaps.sure
    assert "may break the stop rule" in perhaps.sentence
    assert raised(one, within) == ()


def test_an_about_is_never_sure_and_an_open_end_is_not_beyond():
    assert not raised(rule("bedding above", 30), "middle about 35 C")[0].sure
    assert raised(rule("bedding above", 30), "middle at least 35 C")[0].sure
    assert raised(rule("bedding below", 0), "middle at most -2 C")[0].sure
    assert raised(rule("bedding above", 30), "middle at least 5 C") == ()


def test_one_reading_does_not_show_how_long_it_lasts():
    (one,) = raised(rule("pH below", 5, hours=48), "middle pH 4")
    assert "breaks, if it lasts, the stop rule “pH below 5 for 48 h”" in one.sentence
    (smelt,) = raised(rule("foul smell", hours=24), "it stinks")
    assert "if it lasts" in smelt.sentence
    (dead,) = raised(rule("deaths share", 0.1, hours=672), "20 dead worms")
    assert "breaks the stop rule “deaths share 10 % of the animals put in within 28 days”" in dead.sentence


DEATHS = rule("deaths share", 0.2)  # 6 of 30


@pytest.mark.parametrize(
    ("words", "sure"),
    [
        ("20 dead worms", True),
        ("a dozen worms died", True),
        ("found 7 adults dead at the edge", True),
        ("some dead worms", False),
        ("dead worms on the lid", False),
        ("4 to 9 dead worms", False),
        ("I did not look for a week and 20 worms died", True),
        ("no dead worms in the corner, 12 dead at the edge", True),
    ],
)
def test_deaths_are_judged_by_the_number_that_stands_before_the_word(words, sure):
    (one,) = alarms([DEATHS], BIN, [note(words)], NOW)
    assert one.sure is sure


@pytest.mark.parametrize(
    "words",
    [
        "no dead worms", "none died", "found no worm dead", "not one of the worms is dead", "never saw a dead worm",
        "2 dead worms", "one dead worm", "put dead leaves on top", "5 dead flies", "didn't see any dead worms",
    ],
)  # fmt: skip
def test_no_deaths_or_few_raise_no_alarm(words):
    assert alarms([DEATHS], BIN, [note(words)], NOW) == ()


def test_a_share_is_of_founders_who_may_be_known_vaguely_or_not_at_all():
    vague = replace(BIN, founders=parse_amount("20 to 60", expect="1"))  # a fifth: 4 to 12
    for many, sure in ((3, None), (8, False), (13, True)):
        found = alarms([DEATHS], vague, [note(f"{many} dead worms")], NOW)
        assert [one.sure for one in found] == ([] if sure is None else [sure])
    unknown = replace(BIN, founders=parse_amount("not noted", expect="1"))
    (one,) = alarms([DEATHS], unknown, [note("3 dead worms")], NOW)
    assert not one.sure


@pytest.mark.parametrize(
    ("one", "words", "alarm"),
    [
        (rule("ammonia smell"), "smells of ammonia", True),
        (rule("ammonia smell"), "does not smell of ammonia", False),
        (rule("ammonia smell"), "no ammonia", False),
        (rule("ammonia smell"), "doesn't smell of ammonia any more", False),
        (rule("foul smell"), "rotten smell at the bottom", True),
        (rule("foul smell"), "nothing foul, no rotten smell", True),  # the first is not understood: better one too many
        (rule("foul smell"), "without a foul smell", False),
        (rule("escape", 0.15), "10 worms crawled out", True),
        (rule("escape", 0.15), "20 worms outside the bin", True),
        (rule("escape", 0.15), "no worm escaped", False),
        (rule("escape", 0.15), "2 worms escaped", False),
    ],
)
def test_smells_and_escapes_are_found_in_the_words(one, words, alarm):
    assert bool(alarms([one], BIN, [note(words)], NOW)) is alarm


def test_only_the_last_two_weeks_count_and_nothing_after_now():
    assert raised(DEATHS, "20 dead worms", day=DAY - 13)
    assert raised(DEATHS, "20 dead worms", day=DAY - 15) == ()
    assert raised(DEATHS, "20 dead worms", day=DAY + 2) == ()


def test_each_rule_warns_once_by_the_surest_and_latest_entry():
    one = rule("pH below", 5)
    early, late = said(BIN, DAY - 3, "middle pH 4"), said(BIN, DAY - 1, "edge pH 4.2")
    perhaps = said(BIN, DAY, "middle pH 4.5 to 5.5")
    (found,) = alarms([one], BIN, [*early, *perhaps, *late], NOW)
    assert found.sure
    assert found.entry.words == "edge pH 4.2"
    both = alarms([one, DEATHS], BIN, [*late, note("20 dead worms")], NOW)
    assert [each.rule.what for each in both] == ["deaths share", "pH below"]  # the latest first


def test_the_sentence_names_the_bin():
    assert raised(DEATHS, "20 dead worms")[0].sentence.startswith("Bin x0: “20 dead worms”")


ALL = tuple(
    rule(what, None if unit is None else 0.2 if unit.startswith("of the") else 5.0) for what, unit in WATCHED.items()
)
SAID = st.text(max_size=60) | st.lists(
    st.sampled_from(["a few", "dead", "worms", "died", "escaped", "ammonia", "not", "no", "20", "-3", "1e9", "½",
                     "dozen", "about", "at least", "to", ",", ".", "%", "outside the bin", "nan", "(", "\\"]),
    max_size=9,
).map(" ".join)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(words=SAID, founders=st.sampled_from(["30", "about 30", "not noted", "at least 5", "0"]))
def test_no_note_crashes_the_watch(words, founders):
    bin = replace(BIN, founders=parse_amount(founders, expect="1"))
    for one in alarms(ALL, bin, [note(words)], NOW):
        assert one.rule.what in NOTED
        assert words in one.sentence


def test_every_rule_but_the_refuge_can_be_watched_in_the_journal():
    assert set(READ) | set(NOTED) | {"refuge below"} == set(WATCHED)


# --- which rules hold --------------------------------------------------------------------------------------

CLAIM = every_claim()["citrus-scraps"]
assert CLAIM.design is not None
STOP = CLAIM.design.stop


def kinds(rules):
    return {(one.what, one.limit, one.hours) for one in rules}


def test_a_bin_in_no_trial_has_the_rules_of_every_bin():
    assert rules_for("x0", []) == welfare_rules()
    assert rules_for("other", [a_plan(arms(1, 1), stop=STOP)]) == welfare_rules()


def test_in_a_trial_a_rule_says_what_the_trial_does_then():
    rules = rules_for("x0", [a_plan(arms(1, 1), stop=STOP)])
    assert kinds(rules) == kinds(welfare_rules())
    assert {one.then for one in rules if one.name == "many-deaths"} == {"end the trial"}


def test_no_plan_loosens_a_rule_that_protects_animals():
    loose = tuple(replace(one, limit=0.9) if one.what == "deaths share" else one for one in STOP)
    rules = rules_for("x0", [a_plan(arms(1, 1), stop=loose)])
    assert kinds(welfare_rules()) < kinds(rules)
    assert alarms(rules, BIN, [note("7 dead worms")], NOW)
