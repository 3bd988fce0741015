"""The bin's page and what it asks: quick, honest about its age, and never a fit in the way of a page."""

import multiprocessing
import re
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from starlette.testclient import TestClient

from tests.web.conftest import HERE, NOW
from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.web import views
from underlid.web.app import create_app
from underlid.web.kept import keep, kept
from underlid.web.settings import Settings
from underlid.web.work import CRASHED, Job, TooMuchAsked

MADE = "underlid.web.views:made"


class Idle:
    """A worker that writes down what it is asked and never works."""

    def __init__(self):
        self.asked, self.jobs = [], {}

    def ask(self, kind, *, first=False, **args):
        known = self.last(kind, **args)
        if known is not None and not known.over:
            return known.id
        self.asked.append((kind, args))
        job = Job(f"job{len(self.jobs)}", kind, args, NOW)
        self.jobs[job.id] = job
        return job.id

    def job(self, id):
        return self.jobs.get(id)

    def last(self, kind, **args):
        return next((job for job in reversed(self.jobs.values()) if (job.kind, job.args) == (kind, args)), None)

    def end(self, id, **changed):
        self.jobs[id] = replace(self.jobs[id], **changed)

    def stop(self):
        pass


@pytest.fixture
def worker(client):
    client.app.state.worker.stop()
    client.app.state.worker = idle = Idle()
    return idle


@pytest.fixture
def seen(settings):
    """A view of the bin, made at the clock of the tests from readings alone."""
    views.made(settings, lambda done: None, "north")
    return kept(settings.journal, "north")


def noted(folder, line, id, corrects=None):
    with Journal.open(folder) as book:
        record = book.bin("north")
        said = parse_line(line, bin=record, now=NOW, new_id=lambda: id).records
        book.add([replace(one, corrects=corrects) for one in said])


def test_a_page_without_a_view_shows_the_journal_and_asks_for_one(client, worker):
    page = client.get("/bins/north")
    assert page.status_code == 200
    assert "Nothing has been worked out for this bin yet." in page.text
    assert "fed pear cores: 150 g" in page.text
    assert worker.asked == [(MADE, {"bin": "north"})]
    client.get("/bins/north")
    assert len(worker.asked) == 1
    assert multiprocessing.active_children() == []  # nothing computes for it


def test_a_kept_view_is_shown_at_once_with_its_age(client, worker, seen, settings):
    page = client.get("/bins/north").text
    assert "Made just now." in page
    assert "No weather was given to the server" in page
    assert page.count("<svg") > 2
    assert worker.asked == []
    noted(settings.journal, "3 Feb 20:00: middle 1 C", "later")
    assert "Made just now, before 1 newer entry." in client.get("/bins/north").text
    assert worker.asked == [(MADE, {"bin": "north"})]


def test_the_page_obeys_a_strict_policy(client, worker, seen):
    page = client.get("/bins/north?span=whole").text
    assert not re.search(r"\sstyle=|\son\w+=|<script(?![^>]*src=)|https?://", page.replace("http://www.w3.org", ""))


def test_what_went_wrong_lately_is_told_and_not_tried_again_at_once(client, worker):
    client.get("/bins/north")
    worker.end("job0", state="refused", error="The weather begins too late.", made_at=NOW)
    assert "The weather begins too late." in client.get("/bins/north").text
    assert len(worker.asked) == 1
    worker.end("job0", made_at=NOW - timedelta(minutes=11))
    client.get("/bins/north")
    assert len(worker.asked) == 2


def test_corrections_stay_visible_and_newest_come_first(client, worker, settings):
    noted(settings.journal, "16 Dec: middle about 4 C", "mended", corrects="entry-3")
    page = client.get("/bins/north").text
    assert "<del>" in page
    assert page.index("fed pear cores") < page.index("<del>") < page.index("edge: ")
    assert "corrects=mended" in page
    assert "corrects=entry-3" not in page


def test_entries_are_told_by_pages(client, worker, settings):
    with Journal.open(settings.journal) as book:
        record = book.bin("north")
        for i in range(30):
            line = f"{i + 1} Jan: note number {i}."
            book.add(parse_line(line, bin=record, now=NOW, new_id=iter([f"n{i}"]).__next__).records)
    first, second, beyond = (client.get(f"/bins/north?leaf={leaf}").text for leaf in (1, 2, 99))
    assert "1 of 2, 35 entries" in first
    assert "number 29" in first
    assert "number 29" not in second
    assert "pear cores" in first
    assert "2 of 2" in second
    assert "2 of 2" in beyond


def test_the_keepers_words_are_never_markup(client, worker, settings):
    noted(settings.journal, "2 Feb: note <script>alert(1)</script> & so", "odd")
    views.made(settings, lambda done: None, "north")
    assert "<script>alert" not in client.get("/bins/north").text


@pytest.mark.parametrize("path", ["/bins/nowhere", "/api/bins/nowhere/view", "/api/jobs/none"])
def test_what_is_not_there_is_not_found(client, worker, path):
    assert client.get(path).status_code == 404


def test_the_view_as_json(client, worker, seen, settings):
    told = client.get("/api/bins/north/view").json()
    assert (told["state"], told["newer"], told["job"]) == ("fresh", 0, None)
    assert datetime.fromisoformat(told["view"]["made_at"]) == NOW
    assert told["view"].keys().isdisjoint({"charts", "weather", "form"})
    noted(settings.journal, "3 Feb 20:00: middle 1 C", "later")
    stale = client.get("/api/bins/north/view").json()
    assert (stale["state"], stale["newer"], stale["job"]) == ("stale", 1, "job0")


def test_a_view_can_be_asked_for_anew(client, worker, seen):
    begun = client.post("/api/bins/north/view", json={})
    assert begun.status_code == 202
    assert client.get(f"/api/jobs/{begun.json()['id']}").json()["state"] == "waiting"


def test_a_feeding_is_put_to_the_worker_in_the_keepers_words(client, worker):
    asked = {"amount": "300 g", "food": "lemon peel", "heaps": 2, "ph": "6.5-7"}
    assert client.post("/api/bins/north/feedcheck", json=asked).status_code == 202
    (kind, args) = worker.asked[-1]
    assert kind == "underlid.web.beforehand:feedcheck"
    assert args == {"bin": "north", "words": "300 g lemon peel", "heaps": 2, "ph": "6.5-7"}


@pytest.mark.parametrize(
    "asked",
    [
        {}, {"amount": "300 g"}, {"amount": "300 g", "food": "plutonium"}, {"amount": "lots", "food": "lemon peel"},
        {"amount": "-3 g", "food": "lemon peel"}, {"amount": "300 g", "food": "lemon peel", "heaps": 0},
        {"amount": "300 g", "food": "lemon peel", "ph": "sour"}, {"amount": "x" * 200, "food": "lemon peel"},
        {"amount": "300 g", "food": "lemon peel", "more": 1}, {"amount": "300 g", "food": "lemon\u0000peel"},
        {"amount": "300 g", "food": "pear; fed 2 kg leaves"},
    ],
)  # fmt: skip
def test_a_feeding_that_cannot_be_is_refused_in_a_sentence(client, worker, asked):
    answer = client.post("/api/bins/north/feedcheck", json=asked)
    assert answer.status_code == 422
    assert answer.json().keys() >= {"error"}
    assert worker.asked == []


@pytest.mark.parametrize(
    "asked",
    [
        {}, {"insulate_cm": 0}, {"insulate_cm": 1e9}, {"litres": 0}, {"siting": "the moon"}, {"siting": "indoors"},
        {"insulate_cm": 3, "more": True}, {"room_c": 20},
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_is_refused(client, worker, asked):
    assert client.post("/api/bins/north/whatif", json=asked).status_code == 422
    assert worker.asked == []


def test_a_change_needs_the_weather(client, worker):
    answer = client.post("/api/bins/north/whatif", json={"insulate_cm": 3})
    assert answer.status_code == 422
    assert "weather" in answer.json()["error"]


def test_too_much_at_once_is_told_so(client, worker, monkeypatch):
    def full(kind, *, first=False, **args):
        raise TooMuchAsked("40 questions wait already; ask again when some are answered.")

    monkeypatch.setattr(worker, "ask", full)
    assert client.post("/api/bins/north/view", json={}).status_code == 429
    assert client.get("/bins/north").status_code == 200  # the page is shown all the same


def test_a_page_is_shown_whatever_the_file_of_a_view_holds(client, worker, settings):
    keep(settings.journal, "north", {"form": "of another time"})
    assert "Nothing has been worked out" in client.get("/bins/north").text


def test_the_routes_are_documented(client):
    paths = client.get("/api/openapi.json").json()["paths"]
    for path in ("/api/bins/{bin}/view", "/api/bins/{bin}/feedcheck", "/api/bins/{bin}/whatif", "/api/jobs/{id}"):
        for route in paths[path].values():
            assert route["summary"]
            assert "404" in route["responses"]


def test_from_question_to_answer(journal):
    """The only one here with a worker at work: readings alone, so that nothing is fitted."""
    app = create_app(Settings(journal, now=lambda: NOW))
    with TestClient(app, base_url=HERE, client=("127.0.0.1", 50000)) as browser:
        token = re.search(r'name="csrf" content="([^"]+)"', browser.get("/bins/north").text)
        assert token is not None
        browser.headers["X-CSRF-Token"] = token[1]
        job = browser.get("/api/bins/north/view").json()["job"]
        assert app.state.worker.wait(job, 60).state == "done"
        asked = browser.post("/api/bins/north/feedcheck", json={"amount": "50 g", "food": "pear"}).json()["id"]
        told = app.state.worker.wait(asked, 60)
        assert told.error is None or told.error != CRASHED
        assert "temperature" in (told.error or "temperature")  # none was read in the last two weeks, or it is told
        assert browser.get("/api/bins/north/view").json()["state"] == "fresh"
