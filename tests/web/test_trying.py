"""Claims, plans and verdicts as pages and as JSON: the same functions as the commands, with the same answers."""

import json
import re
from datetime import UTC, datetime, timedelta
from html import unescape
from itertools import count
from uuid import uuid4

import pytest

from tests.trials.bins import a_bin, a_plan, arms
from tests.web.conftest import NOW, clock
from underlid import answer
from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.records import OwnClaims
from underlid.trials.claims import every_claim, welfare_rules
from underlid.trials.plan import canonical, digest, plan_from
from underlid.web.settings import Settings
from underlid.web.work import Job, TooMuchAsked, answered

PLAN = {"claim": "citrus-scraps", "bins": ["a", "b", "c", "d"], "looks": [90], "founders": 20, "outcome": "pH",
        "margin": 0.5, "because": "half a unit is felt", "like": "north", "at": "16-18 C"}  # fmt: skip
EVIL = "<script>alert(1)</script>"


class AtOnce:
    """Works on what is asked while one waits, with the function that the process beside would call."""

    def __init__(self, settings, *, works=True):
        self.settings, self.works, self.jobs = settings, works, {}

    def ask(self, kind, **args):
        job = Job(uuid4().hex, kind, args, NOW)
        if self.works:
            state, told = answered(kind, self.settings, lambda share: None, args)
            result, error = (told, None) if state == "done" else (None, told)
            job = Job(job.id, kind, args, NOW, state, 1.0, result, error, NOW)  # type: ignore[arg-type]
        self.jobs[job.id] = job
        return job.id

    def job(self, id):
        return self.jobs.get(id)

    def stop(self):
        pass


@pytest.fixture
def worker(client, journal):
    client.app.state.worker = AtOnce(Settings(journal, now=clock))
    return client.app.state.worker


@pytest.fixture
def trial(journal):
    """A registered trial of four bins that are counted alike."""
    plan = a_plan(arms(2, 2), looks=(90, 180), stop=welfare_rules())
    ids = count()
    with Journal.open(journal) as book:
        answer.register(book, plan, datetime(2025, 3, 20, 12, tzinfo=UTC))
        for name in plan.arms:
            record = a_bin(name)
            book.add_bin(record)
            for day, many in ((90, 40), (180, 100 + ord(name[1]))):
                at = datetime(2025, 4, 1, 20, tzinfo=UTC) + timedelta(days=day)
                line = f"full sort: {many} adults"
                book.add(parse_line(line, bin=record, now=at, new_id=lambda: f"t{next(ids)}").records)
    return plan


def hidden(page, name):
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, name
    return unescape(found[1])


# --- claims --------------------------------------------------------------------------------------------------


def test_every_claim_is_listed_by_topic_and_those_not_to_be_tested_say_so(client):
    page = client.get("/claims").text
    for one in every_claim().values():
        assert f'href="/claims/{one.name}"' in page
    assert page.count("not to be tested") == sum(not one.test for one in every_claim().values())
    assert {one["name"] for one in client.get("/api/claims").json()} == set(every_claim())


def test_a_claim_tells_what_is_published_how_to_test_it_and_when_to_stop(client):
    one = every_claim()["citrus-scraps"]
    page = unescape(client.get("/claims/citrus-scraps").text)
    assert one.design is not None
    for words in (one.sentence, one.statement, one.design.trial, *one.design.confounders):
        assert words in page
    for found in one.published:
        assert found.says in page
        assert found.source in page
        assert f"evidence: {found.strength}" in page
    for rule in one.design.stop:
        assert rule.watched in page
    assert 'href="/trials/new?claim=citrus-scraps"' in page


def test_a_claim_not_to_be_tested_says_why_and_offers_no_plan(client):
    page = unescape(client.get("/claims/cut-worm").text)
    because = every_claim()["cut-worm"].not_tested_because
    assert because is not None
    assert because in page
    assert "Plan a trial" not in page
    assert client.get("/api/claims/cut-worm").json()["test"] is False


def test_every_claim_has_a_page(client):
    for name in every_claim():
        page = client.get(f"/claims/{name}")
        assert page.status_code == 200
        assert " style=" not in page.text
        assert client.get(f"/api/claims/{name}").json()["name"] == name


def test_an_unknown_claim_is_told_with_those_near_it(client):
    answer = client.get("/api/claims/citrus")
    assert answer.status_code == 404
    assert "citrus-scraps" in answer.json()["error"]
    assert client.get(f"/claims/{EVIL}").status_code == 404
    assert EVIL not in client.get(f"/claims/{EVIL.replace('/', ' ')}").text


def test_claims_of_the_keepers_own_are_shown_and_escaped(client, journal):
    text = f"""
[claim.my-own]
about = "food"
sentence = "They love {EVIL}."
statement = "It is no test."
test = "no"
because = "It is mine."
[[claim.my-own.published]]
says = "Nothing."
source = "none"
mark = "none"
species = "any"
strength = "none"
"""
    with Journal.open(journal) as book:
        book.keep_claims(OwnClaims(id="own", text=text, noted_at=NOW))
    for path in ("/claims", "/claims/my-own"):
        page = client.get(path).text
        assert EVIL not in page
        assert "&lt;script&gt;" in page


# --- planning ------------------------------------------------------------------------------------------------


def test_a_trial_is_planned_and_registered_in_two_posts_without_script(client, worker, journal):
    page = client.get("/trials/new?claim=citrus-scraps").text
    assert 'value="north"' in page
    form = {
        "csrf": hidden(page, "csrf"), "claim": hidden(page, "claim"), "bins": ["north"], "more": "ash, beech,elder",
        "founders": "20", "looks": "90, 180", "margin": "0,5", "because": "half a unit is felt", "blind": "yes",
        "outcome": "pH",
        "at": "61-64 F", "feed": "200 g", "name": "citrus",
    }  # fmt: skip
    told = client.post("/trials/new", data=form)  # followed to the page of the job
    assert told.status_code == 200
    assert "/trials/new/" in str(told.url)
    plan = plan_from(hidden(told.text, "plan"))
    assert sorted(plan.arms) == ["ash", "beech", "elder", "north"]
    assert sorted(plan.arms.values()) == ["changed"] * 2 + ["control"] * 2
    assert (plan.looks, plan.margin, plan.blind, plan.same_sort) == ((90, 180), 0.5, True, True)
    text = unescape(told.text)
    job = next(iter(worker.jobs.values()))
    assert text.index(job.result["said"][0]) < text.index("The arms") < text.index("When to stop")  # the answer first
    assert "Not in the journal yet: ash, beech, elder" in text
    kept = client.post("/trials", data={"csrf": form["csrf"], "plan": hidden(told.text, "plan")})
    assert kept.status_code == 200
    assert digest(plan) in kept.text
    assert "Write this down" in kept.text
    with Journal.open(journal) as book:
        assert book.plan("citrus").sha256 == digest(plan)
        assert book.plan("citrus").registered_at == NOW


def test_while_it_is_simulated_the_page_looks_again_by_itself_and_tells_how_far_it_is(client, journal):
    client.app.state.worker = AtOnce(Settings(journal, now=clock), works=False)
    page = client.post("/trials/new", data={"claim": "citrus-scraps", "bins": ["north"], "more": "ash"}).text
    assert '<noscript><meta http-equiv="refresh"' in page
    assert 'role="status"' in page
    assert '<progress id="done" max="100" value="0"' in page


def test_a_trial_that_cannot_answer_says_so_first(client, worker):
    form = {"claim": "citrus-scraps", "bins": ["north"], "more": "ash", "looks": "20", "founders": "5"}
    page = client.post("/trials/new", data=form).text
    assert plan_from(hidden(page, "plan")).expected["trials"] == 400
    assert page.index("cannot answer the question") < page.index("Register</button>")


CANNOT_BE_PLANNED: tuple[tuple[dict[str, object], str], ...] = (
    ({"bins": [], "more": ""}, "Choose the bins"),
    ({"looks": "spring"}, "whole days"),
    ({"margin": "0.5", "because": "so"}, "needs a margin above 1"),
    ({"margin": "a lot"}, "smallest effect"),
    ({"margin": "3"}, "under “Why that much”"),
    ({"outcome": "pH"}, "“Smallest effect”"),
    ({"founders": "0"}, "founders"),
    ({"starts": "someday"}, "someday"),
    ({"at": "hot"}, "hot"),
    ({"at": "50-60 C"}, "“Bedding temperature” “50-60 C” must be a bedding temperature with both ends"),
    ({"feed": "-3 g"}, "3 g"),
    ({"claim": "cut-worm"}, "not to be tested on animals"),
    ({"claim": "nobody-said"}, "There is no claim"),
    ({"more": "north"}, "named twice"),
    ({"name": "a/b"}, "trial's name"),
    ({"name": "New"}, "another name"),
    ({"name": ".."}, "another name"),
)


def test_what_cannot_be_planned_is_said_above_the_form_which_keeps_what_was_typed(client, worker):
    for changes, says in CANNOT_BE_PLANNED:
        form = {"claim": "citrus-scraps", "bins": ["north"], "more": "ash, <b>beech</b>"} | changes
        page = client.post("/trials/new", data=form)
        assert page.status_code == 422, changes
        assert says in unescape(page.text)
        assert 'role="alert"' in page.text
        assert "<b>beech" not in page.text
        if "more" not in changes:
            assert 'value="ash, &lt;b&gt;beech&lt;/b&gt;"' in page.text
    assert not worker.jobs


def test_the_address_of_the_form_is_bounded(client):
    assert client.get(f"/trials/new?claim={'x' * 201}").status_code == 422
    assert "There is no claim named" in unescape(client.get("/trials/new?claim=nobody-said").text)


def test_a_plan_that_is_forgotten_is_asked_for_again(client, worker):
    page = client.get("/trials/new/0123456789abcdef")
    assert page.status_code == 404
    assert "make it anew" in page.text


def test_work_of_another_kind_is_no_plan(client, worker):
    worker.jobs["view"] = Job("view", "underlid.web.views:made", {"bin": "north"}, NOW, "done", 1.0, {"made": 1})
    page = client.get("/trials/new/view")
    assert page.status_code == 404
    assert "make it anew" in page.text


def test_a_program_plans_and_registers_as_the_pages_do(client, worker, journal):
    made = client.post("/api/plans", json=PLAN | {"seed": 3})
    assert made.status_code == 202, made.text
    told = worker.job(made.json()["job"]).result
    plan = plan_from(told["plan"])
    assert plan.arms == plan_from(json.dumps({k: v for k, v in made.json()["plan"].items() if k != "sha256"})).arms
    assert plan.seed == 3
    kept = client.post("/api/trials", json={"plan": told["plan"]})
    assert kept.status_code == 201
    assert kept.json()["sha256"] == digest(plan)
    assert "Not in the journal yet: a, b, c, d." in kept.json()["remarks"][0]
    again = client.post("/api/trials", json={"plan": told["plan"]})
    assert again.json()["registered_at"] == kept.json()["registered_at"]
    other = client.post(
        "/api/trials", json={"plan": canonical(plan_from(told["plan"])).replace("half a unit", "a unit")}
    )
    assert other.status_code == 409
    assert [one["name"] for one in client.get("/api/trials").json()] == ["citrus-scraps"]
    with Journal.open(journal) as book:
        again = answer.foretell(book, told["plan"], "north", "16-18 C", "300 g")
    assert again == told  # the same seed, the same answer


UNBOUNDED: tuple[dict[str, object], ...] = (
    {"bins": []}, {"bins": ["a"] * 61}, {"bins": ["a", "a"]}, {"founders": 10**9}, {"margin": 1e999}, {"margin": -1},
    {"looks": [0]}, {"looks": list(range(1, 20))}, {"looks": [4000]}, {"because": "x" * 1001}, {"name": "a\0"},
    {"seed": -1}, {"seed": 2**40}, {"joy": 1}, {"starts": "\ud800"}, {"like": "south"}, {"outcome": "joy"},
)  # fmt: skip


def test_what_programs_ask_is_bounded(client, worker):
    for changes in UNBOUNDED:
        asked = json.dumps(PLAN | changes)
        given = client.post("/api/plans", content=asked, headers={"Content-Type": "application/json"})
        assert given.status_code in (404, 422), changes
        assert given.json()["error"]
    assert not worker.jobs


def test_texts_that_are_no_plans_are_refused_and_nothing_is_registered(client, journal):
    for text in ("{}", "[]", "no json", "[" * 5000, '{"name": NaN}', "x" * 70_000):
        assert client.post("/api/trials", json={"plan": text}).status_code == 422
    with Journal.open(journal) as book:
        assert not book.plans()


@pytest.mark.parametrize("name", ["new", "new/x", "..", "a/../b", "a/changes", "x/verdict", "a\\b", "a\nb"])
def test_a_name_that_no_page_could_have_is_refused(client, journal, name):
    text = canonical(a_plan(arms(1, 1), name=name))
    refused = client.post("/api/trials", json={"plan": text})
    assert (refused.status_code, "cannot be the name of a trial" in refused.json()["error"]) == (422, True)
    with Journal.open(journal) as book:
        assert not book.plans()


def test_when_too_much_is_asked_the_form_says_so(client, worker, monkeypatch):
    def full(*_, **__):
        raise TooMuchAsked("40 questions wait already; ask again when some are answered.")

    monkeypatch.setattr(worker, "ask", full)
    page = client.post("/trials/new", data={"claim": "citrus-scraps", "bins": ["north"], "more": "ash"})
    assert "40 questions wait already" in page.text


# --- trials --------------------------------------------------------------------------------------------------


def test_the_page_of_a_trial_tells_what_the_command_tells(client, journal, trial):
    with Journal.open(journal) as book:
        told, alarms = answer.trial_of(book, "grit", NOW)
        plain = answer.verdict_json(told, alarms)
    page = unescape(client.get("/trials/grit").text)
    assert str(plain["sentence"]) in page
    for part in ("settles", "rivals", "caps"):
        for sentence in plain[part]:  # type: ignore[attr-defined]
            assert sentence in page
    assert digest(trial) in page
    for name in trial.arms:
        assert f'href="/bins/{name}"' in page
    assert " style=" not in page
    given = client.get("/api/trials/grit/verdict").json()
    assert given["sentence"] == plain["sentence"]
    assert given["verdict"] == told.word
    assert [look["day"] for look in given["looks"]] == [90, 180]
    listed = client.get("/trials")
    assert str(plain["sentence"]) in unescape(listed.text)


def test_charts_are_pictures_that_bear_no_script_and_no_style_of_their_own(client, trial):
    for which in ("effect", "bins"):
        for size in ("desk", "phone"):
            drawn = client.get(f"/drawings/{which}-{size}/grit")
            assert drawn.status_code == 200
            assert drawn.headers["content-type"].startswith("image/svg+xml")
            assert drawn.text.startswith('<svg xmlns="http://www.w3.org/2000/svg"')
            assert not re.search(r"<script|<style|\sstyle=|\son\w+=|href=\"http", drawn.text)
            assert f"/drawings/{which}-{size}/grit" in client.get("/trials/grit").text
    assert client.get("/drawings/effect-wall/grit").status_code in (404, 422)


def test_a_trial_without_counts_has_a_page_and_no_charts(client, journal):
    plan = a_plan(arms(2, 2), name="to come", starts="2026-01-01", looks=(90,))
    with Journal.open(journal) as book:
        answer.register(book, plan, NOW)
    page = client.get("/trials/to%20come")
    assert page.status_code == 200
    assert "nothing that trial" in page.text
    assert "1 Apr 2026" in page.text
    assert "<picture" not in page.text
    assert client.get("/drawings/bins-desk/to%20come").status_code in (404, 422)


def test_a_dropped_bin_stays_visible_with_its_reason(client, trial):
    page = client.get("/trials/grit").text
    form = {"csrf": hidden(page, "csrf"), "key": hidden(page, "key"), "bin": "c1", "words": f"the fox {EVIL}"}
    after = client.post("/trials/grit/changes", data=form)
    assert after.status_code == 200
    assert "bin dropped (c1)" in after.text
    assert "the fox &lt;script&gt;" in after.text
    assert EVIL not in after.text
    client.post("/trials/grit/changes", data=form)  # sent twice, kept once
    changes = client.get("/api/trials/grit/verdict").json()["changes"]
    assert [(one["what"], one["bin"]) for one in changes] == [("bin dropped", "c1")]
    caps = client.get("/api/trials/grit/verdict").json()["caps"]
    assert any(one.startswith("What c1 gave was known before it was dropped") for one in caps)


def test_changes_need_a_reason_a_bin_of_the_trial_and_a_trial(client, trial):
    key = str(uuid4())
    for body, status in (
        ({"words": " ", "key": key}, 422), ({"words": "x"}, 422), ({"words": "x", "bin": "oak", "key": key}, 422),
        ({"words": "x" * 1001, "key": key}, 422),
    ):  # fmt: skip
        assert client.post("/api/trials/grit/changes", json=body).status_code == status
    assert client.post("/api/trials/none/changes", json={"words": "x", "key": key}).status_code == 404
    assert client.post("/api/trials/grit/changes", json={"words": "other food", "key": key}).status_code == 201
    assert client.post("/api/trials/grit/changes", json={"words": "another", "key": key}).status_code == 409


def test_a_broken_stop_rule_is_told_at_the_top(client, journal, trial):
    with Journal.open(journal) as book:
        record = book.bin("c0")
        book.add(parse_line("middle 38 C", bin=record, now=NOW, new_id=lambda: "hot").records)
    page = unescape(client.get("/trials/grit").text)
    (alarm,) = client.get("/api/trials/grit/verdict").json()["alarms"]
    assert alarm["sure"] is True
    assert page.index(alarm["sentence"]) < page.index("What would settle it")
    assert "1 stop rule broken" in client.get("/trials").text


def test_unknown_trials_are_told(client):
    assert client.get("/trials/none").status_code == 404
    assert client.get("/api/trials/none/verdict").status_code == 404
    assert EVIL not in client.get(f"/trials/{EVIL.replace('/', '')}").text


def test_every_json_route_is_documented(client):
    paths = client.get("/api/openapi.json").json()["paths"]
    for path in ("/api/claims", "/api/claims/{name}", "/api/plans", "/api/trials", "/api/trials/{name}/changes",
                 "/api/trials/{name}/verdict", "/api/bins/{bin}/photos", "/api/photos/{sha256}/tallies",
                 "/api/photos/{sha256}/sightings"):  # fmt: skip
        assert path in paths
        for how in paths[path].values():
            assert how["summary"]
            assert how["description"]
            assert any(code.startswith("2") for code in how["responses"])
