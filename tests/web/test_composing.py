"""Composing an update: what may be asked, that it is kept whole, and that what is shown reaches nothing else."""

import io
import zipfile
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.web.conftest import NOW
from tests.web.test_binpage import Idle
from underlid.update.formats import FORMATS
from underlid.update.said import SECTIONS
from underlid.web import composed
from underlid.web.composed import UnknownFile, file_of, keep, made_of, text_of, zip_of
from underlid.web.composing import MAKE, FormatName, SectionName

FILES = {"north-2026-01.html": b"<!doctype html><title>x</title>", "cards/wide/01-title.png": b"\x89PNG"}
ASKED = {"title": "My <winter>", "keeper": "", "accent": "#123456", "words": {"": "It was cold."}, "photos": []}
ABOUT = {"made_at": NOW.isoformat(), "notes": ["No film."], "asked": {**ASKED, "formats": ["html", "cards"]}}


@pytest.fixture
def worker(client):
    client.app.state.worker.stop()
    client.app.state.worker = idle = Idle()
    client.app.state.settings = replace(client.app.state.settings, weather=composed.Path("winter.csv"))
    return idle


@pytest.fixture
def made(settings):
    keep(settings.journal, "north", "2026-01", FILES, ABOUT)
    return settings.journal


def test_what_may_be_asked_is_what_there_is():
    assert set(FormatName.__args__) == set(FORMATS)
    assert set(SectionName.__args__) == {"", *SECTIONS}


def test_the_page_offers_months_formats_and_places_for_words(client, worker):
    page = client.get("/bins/north/update")
    assert page.status_code == 200
    assert 'value="2026-01" selected' in page.text
    assert 'value="2025-12"' in page.text
    assert "Nothing was made of this month yet." in page.text
    for name in FORMATS:
        assert f'name="format" value="{name}"' in page.text
    for section in SECTIONS:
        assert f'data-section="{section}"' in page.text


def test_what_was_made_is_shown_with_its_age_and_the_form_remembers(client, worker, made):
    page = client.get("/bins/north/update?month=2026-01").text
    assert "Made just now." in page
    assert "No film." in page
    assert 'value="My &lt;winter&gt;"' in page
    assert "It was cold." in page
    assert "/bins/north/update/2026-01/cards/wide/01-title.png" in page


def test_a_made_page_is_shown_alone_and_may_be_framed_by_ours_only(client, worker, made):
    page = client.get("/bins/north/update/2026-01/north-2026-01.html")
    assert page.content == FILES["north-2026-01.html"]
    policy = page.headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts; default-src 'none'")
    assert "allow-same-origin" not in policy
    assert "connect-src" not in policy  # default-src 'none' stands: no reach into the journal
    assert "frame-ancestors 'self'" in policy
    assert page.headers["x-frame-options"] == "SAMEORIGIN"
    own = client.get("/bins/north/update")
    assert "frame-ancestors 'none'" in own.headers["content-security-policy"]
    assert own.headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize(
    "name", ["asked.json", "../../journal.sqlite3", "%2e%2e/%2e%2e/journal.sqlite3", "cards", "cards/", "nothing.png"]
)
def test_only_files_of_the_update_are_given_out(client, worker, made, name):
    assert client.get(f"/bins/north/update/2026-01/{name}").status_code == 404


def test_all_files_come_in_one_archive_that_is_the_same_each_time(client, worker, made):
    answer = client.get("/bins/north/update/2026-01.zip")
    assert answer.headers["content-type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == FILES
    assert zip_of(made, "north", "2026-01") == answer.content


def test_it_is_put_to_the_worker_as_asked(client, worker):
    body = {
        "month": "2026-01", "title": " My winter ", "words": {"animals": "Few."}, "formats": ["html", "pdf", "html"],
        "photos": [{"id": "p1", "x": 0.2}],
    }  # fmt: skip
    answer = client.post("/api/bins/north/update", json=body)
    assert answer.status_code == 202, answer.text
    (kind, args) = worker.asked[-1]
    assert kind == MAKE
    assert args["formats"] == ["html", "pdf"]
    assert args["own"]["title"] == "My winter"
    assert args["own"]["words"] == {"animals": "Few."}
    assert args["own"]["photos"] == [{"id": "p1", "x": 0.2, "y": 0.5}]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"accent": "no such colour"}, "no colour"),
        ({"month": "2026-13"}, "month"),
        ({"formats": []}, "formats"),
        ({"formats": ["gif"]}, "formats"),
        ({"words": {"nowhere": "x"}}, "words"),
        ({"words": {"": "# nowhere\nx"}}, "nowhere"),
        ({"photos": [{"id": "a", "x": 2}]}, "photos"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(client, worker, changed, says):
    answer = client.post("/api/bins/north/update", json={"month": "2026-01", **changed})
    assert answer.status_code == 422
    assert says in answer.json()["error"]
    assert worker.asked == []


def test_an_update_needs_the_weather(client):
    answer = client.post("/api/bins/north/update", json={"month": "2026-01"})
    assert answer.status_code == 422
    assert "--weather" in answer.json()["error"]


def test_the_interface_tells_what_was_made(client, worker, made):
    told = client.get("/api/bins/north/update/2026-01").json()
    assert told["files"] == {name: len(data) for name, data in FILES.items()}
    assert client.get("/api/bins/north/update/2025-12").json()["made_at"] is None
    assert client.get("/api/bins/south/update/2026-01").status_code == 404


def test_a_new_update_leaves_nothing_of_the_old_one(made):
    keep(made, "north", "2026-01", {"north-2026-01.pdf": b"%PDF"}, ABOUT)
    assert set(made_of(made, "north", "2026-01").files) == {"north-2026-01.pdf"}
    folder = made / composed.FOLDER / "north-2026-01"
    assert sorted(path.name for path in folder.rglob("*") if path.is_file()) == ["asked.json", "north-2026-01.pdf"]
    with pytest.raises(UnknownFile):
        file_of(made, "north", "2026-01", "north-2026-01.html")


def test_one_that_was_interrupted_counts_as_not_made(made, monkeypatch):
    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(composed, "write_whole", full)
    with pytest.raises(OSError, match="No space"):
        keep(made, "north", "2026-01", {"north-2026-01.pdf": b"%PDF"}, ABOUT)
    assert made_of(made, "north", "2026-01") is None


def test_words_by_section_are_one_text():
    assert text_of({"animals": "Few.", "": "Cold."}) == "Cold.\n\n# animals\nFew."


def test_ages_are_told(client, worker, made):
    client.app.state.settings = replace(client.app.state.settings, now=lambda: NOW + timedelta(hours=5))
    assert "Made 5 hours ago." in client.get("/bins/north/update?month=2026-01").text
