"""The claims file: what every claim must say, against the sources it rests on, and what damages a keeper's own."""

import copy
import json
import math
import re
import tomllib
from dataclasses import replace
from importlib.resources import files
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from underlid.trials.claims import (
    Claim,
    Comparison,
    Finding,
    Stated,
    UnknownClaim,
    claim,
    every_claim,
    read_claims,
)
from underlid.trials.rows import DamagedClaims
from underlid.trials.stopping import StopRule
from underlid.worms.species import species

EVERY = every_claim()
TESTED = {name: one.design for name, one in EVERY.items() if one.design}
COMPARED = {name: design.against for name, design in TESTED.items() if isinstance(design.against, Comparison)}
RULES = {rule.name: rule for design in TESTED.values() for rule in design.stop}
each_claim = pytest.mark.parametrize("one", EVERY.values(), ids=EVERY)
each_design = pytest.mark.parametrize("design", TESTED.values(), ids=TESTED)

OURS = tomllib.loads(files("underlid.trials").joinpath("data/claims.toml").read_text("utf-8"))
OWN: dict[str, Any] = {
    "caution": {"bees": "Wear gloves."},
    "stop": {
        "cooked": {
            "what": "bedding above", "limit": 28, "unit": "degC", "hours": 3, "because": "Too warm.",
            "then": "end the trial", "source": "our judgement",
        },
        "reek": {"what": "ammonia smell", "then": "look closer", "because": "It stings.", "source": "our judgement"},
    },
    "claim": {
        "tea-leaves": {
            "about": "food", "sentence": "Tea leaves make worms lively.", "test": "yes", "cautions": ["bees", "spores"],
            "statement": "A spoonful of tea leaves a week makes no difference to pH beyond the margin.",
            "published": [{
                "says": "Nothing known to us.", "source": "none found", "mark": "none", "species": "Eisenia",
                "strength": "none",
            }],
            "against": "a control", "control": "no tea leaves", "changed": "tea leaves", "outcome": "pH",
            "scale": "difference", "unit": "pH units", "margin": 0.5, "margin_because": "Strips show no less.",
            "days": 56, "bins_per_arm": 4, "counts": [0, 28, 56], "season": "Any.", "stop": ["cooked", "reek", "sour"],
            "trial": "Deal the founders out in turn. Read pH blind.", "confounders": ["the water"],
        },
        "quick-food": {
            "about": "food", "sentence": "Food is gone in a week.", "test": "yes", "against": "a number",
            "statement": "Food is gone in 5 to 9 days.", "outcome": "food eaten", "days": 14, "bins_per_arm": 3,
            "stated": {"what": "days until the food is gone", "low": 5, "high": 9, "unit": "days"}, "counts": [0, 14],
            "published": [{
                "says": "It took a week.", "source": "a neighbour", "mark": "recalled", "species": "Eisenia",
                "strength": "weak",
            }],
            "season": "Any.", "trial": "Weigh it. Weigh it again.",
        },
        "hot-water": {
            "about": "handling", "sentence": "Hot water does worms good.", "test": "no", "because": "It hurts them.",
            "statement": "Hot water does no harm.",
            "published": [{
                "says": "Worms die in hot water.", "source": "no one source", "mark": "recalled", "species": "all",
                "strength": "strong",
            }],
        },
    },
}  # fmt: skip


def toml(value):
    """A value in TOML, tables inline."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {toml(what)}" for key, what in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def written(tmp_path, tables):
    path = tmp_path / "mine.toml"
    path.write_text("".join(f"{json.dumps(key)} = {toml(what)}\n" for key, what in tables.items()), "utf-8")
    return path


def texts(one):
    """All words of a claim but the statement under test, which is no finding."""
    yield one.sentence
    yield from one.cautions
    yield one.not_tested_because or ""
    for finding in one.published:
        yield from (finding.says, finding.source, finding.species)
    if one.design:
        yield from (one.design.season, one.design.trial, *one.design.confounders)
        for rule in one.design.stop:
            yield from (rule.because, rule.source)
        if isinstance(one.design.against, Comparison):
            yield from (one.design.against.control, one.design.against.changed, one.design.against.margin_because)


def test_what_keepers_repeat_is_there():
    assert len(EVERY) >= 28
    for word in (
        "grit", "eggshell", "citrus", "onion", "tomato", "pineapple", "coffee", "meat", "mould", "wrapping", "indoors",
        "light", "lid", "holes", "layer", "ink", "cardboard", "leaves", "manure", "sponge", "depth", "small", "pound",
        "crowding", "half-body", "doubling", "cut", "digging", "freezing", "frost", "above-15", "music", "soil-needed",
        "bury", "mix", "castings", "harvest", "garden",
    ):  # fmt: skip
        assert any(word in name for name in EVERY), word


@each_claim
def test_a_claim_has_every_part(one):
    assert one.sentence.endswith(".")
    assert one.statement.endswith(".")
    assert one.published
    assert one.cautions
    assert (one.design is None) == (one.not_tested_because is not None) == (not one.test)


@each_design
def test_a_trial_can_be_done_fairly(design):
    assert 14 <= design.days <= 365
    assert design.counts[0] == 0
    assert design.counts[-1] == design.days
    assert design.bins_per_arm >= 3, "B5 rule 7: fewer cannot answer"
    assert 2 <= len(re.findall(r"\.(?:\s|$)", design.trial)) <= 5
    assert len(design.confounders) >= 5
    assert len(set(design.confounders)) == len(design.confounders)
    assert len(design.stop) >= 3


@each_design
def test_every_trial_stops_for_deaths_and_for_flight(design):
    watched = {rule.what: rule.then for rule in design.stop}
    assert {"deaths share", "escape"} <= watched.keys()
    assert "end the trial" in {rule.then for rule in design.stop}


def test_sentences_and_statements_are_said_once():
    assert len({one.sentence.lower() for one in EVERY.values()}) == len(EVERY)
    assert len({one.statement.lower() for one in EVERY.values()}) == len(EVERY)


@each_claim
def test_no_claim_links_anywhere(one):
    assert not [text for text in texts(one) if re.search(r"https?:|www\.|\bdoi\b|#\d", text)]


@each_claim
def test_celsius_and_fahrenheit_stand_side_by_side(one):
    for text in (*texts(one), one.statement):
        celsius = re.findall(r"(-?[\d.]+) °C", text)
        fahrenheit = re.findall(r"(-?[\d.]+) °F", text)
        # where a range is written "3 to 35 °C (37 to 95 °F)" its ends answer each other too
        assert len(celsius) == len(fahrenheit), text
        for c, f in zip(celsius, fahrenheit, strict=True):
            assert float(f) == pytest.approx(float(c) * 1.8 + 32, abs=0.6), text


@each_claim
def test_no_difference_is_never_told_as_found(one):
    """B5 rule 1: p > .05 is "not resolved"; only an equivalence result may be told as "no difference"."""
    told = re.compile(
        r"\bno (\w+ )?(difference|effect|influence|change|harm)s?\b|\b(not|never) (differ|matter|affect)|\bharmless\b"
        r"|\bthe same (result|outcome)|\bas (many|good) as\b|\bequally\b|\bunaffected\b",
        re.I,
    )
    found = [text for text in texts(one) if told.search(text)]
    assert found == [finding.says for finding in one.published if finding.equivalence]


def test_only_a_margin_tested_by_the_source_is_told_as_equivalence():
    """None of the sources read so far tested one; who adds the first must look at the test above."""
    assert not [one.name for one in EVERY.values() for finding in one.published if finding.equivalence]


@each_claim
def test_a_finding_says_who_found_it_or_that_nobody_is_known(one):
    for finding in one.published:
        if finding.mark == "none":
            assert finding.strength == "none"
            assert "known to us" in finding.says
        elif finding.mark in ("published", "seen second-hand"):
            vague = "not seen" in finding.source or "recalled" in finding.source
            assert vague or re.search(r"(19|20)\d\d|Earthworm Ecology|extension text|quoted", finding.source), finding


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_a_stop_rule_says_why_and_who_says_so(rule):
    assert re.search(r"(19|20)\d\d|judgement", rule.source)
    assert rule.because.endswith(".")
    assert (rule.limit is None) == (rule.unit is None)


def test_stop_rules_act_before_what_the_species_tolerates_is_left():
    """Edwards 1988, Dominguez & Edwards 1997 and Holmstrup et al. 1999 as the species file has them."""
    worm = species("Eisenia fetida")
    limit = {name: rule.limit for name, rule in RULES.items() if rule.limit is not None}
    assert limit["hot"] < worm.tolerated_high_c.low
    assert limit["frozen"] > worm.adults_freeze_c.high
    assert limit["dry"] >= worm.tolerated_low_moisture_pct.value
    assert limit["wet"] < worm.tolerated_high_moisture_pct.value
    assert limit["sour"] >= worm.tolerated_low_ph.value
    assert limit["alkaline"] < worm.tolerated_high_ph.value
    assert limit["deaths"] == 0.1, "OECD 222 (2016): at most a tenth of the control's adults in four weeks"
    assert RULES["deaths"].hours == 28 * 24


def test_the_rules_fit_what_may_go_wrong():
    watched = {name: {rule.what for rule in design.stop} for name, design in TESTED.items()}
    assert all("pH below" in watched[name] for name in ("citrus-scraps", "tomatoes", "pineapple", "crushed-eggshell"))
    assert all("refuge below" in watched[name] for name in ("winter-wrapping", "indoors-for-winter", "small-bins-fail"))
    assert all("bedding below" in watched[name] for name in ("winter-wrapping", "indoors-for-winter", "only-above-15"))
    assert {"ammonia smell", "bedding above"} <= watched["fresh-horse-manure"]
    assert any("worming" in caution for caution in EVERY["fresh-horse-manure"].cautions)
    assert any("herbicide" in caution for caution in EVERY["fresh-horse-manure"].cautions)
    assert all(any("release" in caution for caution in one.cautions) for one in EVERY.values())


def test_what_would_hurt_animals_or_people_is_not_tested():
    untested = {name for name, one in EVERY.items() if not one.test}
    assert untested == {"meat-and-dairy", "cut-worm", "freezing-kills", "cocoons-outlive-frost", "garden-soil"}


@pytest.mark.parametrize("against", COMPARED.values(), ids=COMPARED)
def test_a_margin_is_sensible_and_says_why(against):
    assert against.control != against.changed
    assert against.margin_because.endswith(".")
    if against.scale == "ratio":
        assert 1.25 <= against.margin <= 3
        assert against.unit is None
    else:
        assert against.margin > 0
        assert against.unit


def test_a_number_that_people_state_has_a_range():
    stated = {name: one.against for name, one in TESTED.items() if isinstance(one.against, Stated)}
    assert (stated["doubling-time"].low, stated["doubling-time"].high) == (60, 90)
    assert stated["half-body-weight"].low < 0.5 < stated["half-body-weight"].high
    assert all(one.low < one.high and one.unit for one in stated.values())


def equivalence_power(bins, margin, cv):
    """Chance that two one-sided t tests (5 %) on logs find two equal arms equivalent, by quadrature."""
    df, error = 2 * bins - 2, math.sqrt(math.log(1 + cv**2) * 2 / bins)
    needs = stats.t.ppf(0.95, df)

    def within(share):  # of the true spread, as estimated
        room = (math.log(margin) - needs * share * error) / error
        return max(0.0, 2 * stats.norm.cdf(room) - 1) * stats.chi.pdf(share * math.sqrt(df), df) * math.sqrt(df)

    return integrate.quad(within, 0, math.log(margin) / (needs * error), limit=200)[0]


def test_the_power_is_that_of_the_table():
    """Margin 1.5 and 2 at a CV of 0.3, four bins an arm: .197 and .804, computed elsewhere to three figures."""
    assert equivalence_power(4, 1.5, 0.3) == pytest.approx(0.197, abs=0.002)
    assert equivalence_power(4, 2.0, 0.3) == pytest.approx(0.804, abs=0.002)


@pytest.mark.parametrize("name", [name for name, against in COMPARED.items() if against.scale == "ratio"])
def test_the_bins_suggested_can_answer(name):
    assert equivalence_power(TESTED[name].bins_per_arm, COMPARED[name].margin, 0.3) >= 0.8


def test_a_claim_is_found_by_name_and_by_sentence():
    one = EVERY["citrus-scraps"]
    assert claim("citrus-scraps") is one
    assert claim(" Citrus  Scraps ") is one
    assert claim("citrus peel sours the bin and kills worms") is one


@pytest.mark.parametrize(("asked", "near"), [("citrus", "citrus-scraps"), ("tomatos", "tomatoes"), ("lids", "lid")])
def test_an_unknown_claim_names_what_is_near(asked, near):
    with pytest.raises(UnknownClaim, match=rf"named '{asked}'. Near it: .*{near}"):
        claim(asked)


def test_an_unknown_claim_with_nothing_near_names_all():
    with pytest.raises(UnknownClaim, match=r"Known: citrus-scraps, .*garden-soil"):
        claim("zzz")
    with pytest.raises(UnknownClaim, match="Known: "):
        claim("")


def test_a_keepers_own_file_is_read_beside_ours(tmp_path):
    known = read_claims(written(tmp_path, OWN))
    assert known.keys() == EVERY.keys() | OWN["claim"].keys()
    assert {name: known[name] for name in EVERY} == EVERY
    tea = known["tea-leaves"]
    assert tea.published == (Finding("Nothing known to us.", "none found", "none", "Eisenia", "none"),)
    assert tea.cautions[-2:] == ("Wear gloves.", OURS["caution"]["spores"])
    assert tea.design is not None
    assert tea.design.against == Comparison(
        "no tea leaves", "tea leaves", "difference", "pH units", 0.5, "Strips show no less."
    )
    assert tea.design.counts == (0, 28, 56)
    cooked, reek, sour = tea.design.stop[-3:]
    assert cooked == StopRule("cooked", "bedding above", 28, "degC", 3, "end the trial", "Too warm.", "our judgement")
    assert (reek.limit, reek.hours) == (None, None)
    assert sour is not cooked
    assert sour.limit == 5
    assert known["quick-food"].design is not None
    assert known["quick-food"].design.against == Stated("days until the food is gone", 5, 9, "days")
    assert (known["hot-water"].test, known["hot-water"].not_tested_because) == (False, "It hurts them.")
    assert claim("tea leaves", known) is tea


def test_ours_written_out_and_read_again_is_ours(tmp_path):
    assert read_claims(written(tmp_path, {"claim": OURS["claim"]})) == EVERY


def test_a_claim_named_as_ours_takes_its_place(tmp_path):
    lid = {**OURS["claim"]["lid"], "margin": 1.7}
    known = read_claims(written(tmp_path, {"claim": {"lid": lid}}))
    was = EVERY["lid"].design
    assert was is not None
    assert isinstance(was.against, Comparison)
    now = replace(was, against=replace(was.against, margin=1.7))
    assert known["lid"] == replace(EVERY["lid"], design=now)
    assert every_claim()["lid"].design == was, "ours stays as it is for others"


def test_no_file_can_loosen_a_rule_of_ours(tmp_path):
    own = copy.deepcopy(OWN)
    own["stop"]["deaths"] = {**OURS["stop"]["deaths"], "limit": 0.9}
    with pytest.raises(DamagedClaims, match=r"mine.toml, stop.deaths: is a name of ours, .* choose another"):
        read_claims(written(tmp_path, own))


WRONG = [
    (("margin",), 0, "tea-leaves: margin must be above 0"),
    (("margin",), "half", "tea-leaves: margin must be a number, without quotes"),
    (("margin",), True, "tea-leaves: margin must be a number"),
    (("scale",), "ratio", "tea-leaves: pH is compared as a difference, with unit = 'pH units'"),
    (("unit",), "K", "tea-leaves: unit must be 'pH units' for pH"),
    (("changed",), "No tea leaves.", "tea-leaves: control and changed are the same"),
    (("counts",), [0, 28], "tea-leaves: counts must rise and end on the last day, 56"),
    (("counts",), [28, 0, 56], "tea-leaves: counts must rise"),
    (("counts",), [0.5, 56], "tea-leaves: needs counts, a list of days"),
    (("days",), 5000, "tea-leaves: days must be a whole number from 1 to 730"),
    (("days",), 5.5, "tea-leaves: days must be a whole number"),
    (("bins_per_arm",), 0, "tea-leaves: bins_per_arm must be a whole number"),
    (("outcome",), "mood", "tea-leaves: outcome must be one of: worms, adults"),
    (("test",), True, "tea-leaves: test must be one of: yes, no"),
    (("test",), "no", "tea-leaves: 'against' is not known for a claim with test = \"no\""),
    (("statement",), "Tea is fine.", "tea-leaves: statement must say '... makes no difference to ... beyond"),
    (("stop",), ["cookd"], "tea-leaves, stop: 'cookd' is not known; use some of deaths"),
    (("cautions",), ["wasps"], "tea-leaves, cautions: 'wasps' is not known"),
    (("published",), [], "tea-leaves: published must be a list of tables"),
    (("published", 0, "mark"), "recalled", "tea-leaves, published: mark and strength are both 'none'"),
    (("published", 0, "says"), "There was no difference.", "published: says 'no difference'; write that .* not resol"),
    (("published", 0, "equivalence"), "yes", "published: equivalence must be true or false"),
    (("sentence",), "Music or a rumbling machine makes worms leave.", None),
    (("sentence",), "food is gone in a week.", "quick-food: says the same sentence as tea-leaves"),
]


@pytest.mark.parametrize(("key", "value", "says"), WRONG)
def test_what_is_wrong_is_named_with_its_mend(tmp_path, key, value, says):
    own = copy.deepcopy(OWN)
    at = own["claim"]["tea-leaves"]
    for step in key[:-1]:
        at = at[step]
    at[key[-1]] = value
    path = written(tmp_path, own)
    if says is None:  # the same words as a claim of ours: allowed, as it may be a trial of another kind
        assert read_claims(path)["tea-leaves"].sentence == value
        return
    with pytest.raises(DamagedClaims, match="mine.toml, .*" + says):
        read_claims(path)


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("limit", "28", "limit must be a number"),
        ("unit", "degF", "unit must be 'degC' for bedding above"),
        ("hours", 0, "hours must be above 0, or left out"),
        ("then", "panic", "then must be one of: end the trial"),
        ("what", "sadness", "what must be one of: deaths share"),
        ("what", "foul smell", "'limit' is not known"),
        ("source", " ", "source must be words in quotes"),
        ("limits", 3, "'limits' is not known"),
    ],
)
def test_a_wrong_stop_rule_is_named(tmp_path, key, value, says):
    own = copy.deepcopy(OWN)
    own["stop"]["cooked"][key] = value
    with pytest.raises(DamagedClaims, match=r"mine.toml, stop.cooked: .*" + says):
        read_claims(written(tmp_path, own))


def test_a_share_is_below_one(tmp_path):
    own = copy.deepcopy(OWN)
    own["stop"]["cooked"] = {**OURS["stop"]["deaths"], "limit": 10}
    with pytest.raises(DamagedClaims, match=r"stop.cooked: limit is a share of the animals put in, between 0 and 1"):
        read_claims(written(tmp_path, own))


def test_ratios_need_a_margin_above_one(tmp_path):
    for margin in (1, 0.8, 11):
        own = {"claim": {"lid-again": {**OURS["claim"]["lid"], "sentence": "Lids.", "margin": margin}}}
        with pytest.raises(DamagedClaims, match="lid-again: margin is a ratio, above 1 and at most 10"):
            read_claims(written(tmp_path, own))


def test_a_stated_number_needs_its_range(tmp_path):
    own = copy.deepcopy(OWN)
    own["claim"]["quick-food"]["stated"]["high"] = 5
    with pytest.raises(DamagedClaims, match="quick-food, stated: low must be below high"):
        read_claims(written(tmp_path, own))


@pytest.mark.parametrize("content", [b"\xff\xfe", b"claim = ", b"a = " + b"[" * 3000, b"x" * 50])
def test_what_is_no_toml_is_said_so(tmp_path, content):
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(DamagedClaims, match=r"mine.toml is not TOML in UTF-8"):
        read_claims(path)


def places(value, at=()):
    """Every key and index within."""
    for key in value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ():
        yield (*at, key)
        yield from places(value[key], (*at, key))


PLACES = list(places(OWN))
LEFT_OUT = {"cautions", "confounders", "stop", "hours", "claim", "caution"}
WORDS = st.text("aB- .'°é", max_size=8)
ODD = st.one_of(
    st.booleans(), st.integers(-9, 9), st.floats(-9, 9), WORDS, st.lists(st.integers(), max_size=2),
    st.dictionaries(WORDS, st.integers(), max_size=2),
)  # fmt: skip


def refused(path):
    """What the file was refused with; None where it was read, and holds claims."""
    try:
        known = read_claims(path)
    except DamagedClaims as told:
        return str(told)
    assert all(isinstance(one, Claim) for one in known.values())
    assert known.keys() >= EVERY.keys()
    return None


@settings(max_examples=80)
@given(place=st.sampled_from(PLACES), how=st.sampled_from(["drop", "rename", "swap"]), odd=ODD)
def test_a_slip_of_the_pen_is_named_and_never_crashes(tmp_path_factory, place, how, odd):
    own = copy.deepcopy(OWN)
    at: Any = own
    for step in place[:-1]:
        at = at[step]
    last = place[-1]
    if how == "swap" or isinstance(last, int):
        at[last] = odd
    else:
        was = at.pop(last)
        if how == "rename":
            at[f"{last}z"] = was
    path = written(tmp_path_factory.mktemp("own"), own)
    told = refused(path)
    if told is None:
        if how == "drop" and isinstance(last, str):
            assert LEFT_OUT & set(place), f"{place} was left out, and nobody noticed"
        return
    assert told.startswith("mine.toml")
    assert told.endswith(".")
    assert any(str(step) in told for step in place) or any(name in told for name in OWN["claim"])


@settings(max_examples=80)
@given(cut=st.integers(0, 10_000), put=st.text(max_size=3))
def test_a_damaged_text_is_named_and_never_crashes(tmp_path_factory, cut, put):
    path = written(tmp_path_factory.mktemp("own"), OWN)
    text = path.read_text("utf-8")
    cut %= len(text)
    path.write_text(text[:cut] + put + text[cut + 2 :], "utf-8", errors="replace")
    told = refused(path)
    assert told is None or told.startswith("mine.toml")
