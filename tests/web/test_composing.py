"""Composing an update: what may be asked, that it is kept whole, and that what is shown reaches nothing else."""

import io
import re
import zipfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import get_args
from uuid import UUID

import pytest
from PIL import Image

from tests.web.conftest import NOW
from tests.web.test_binpage import Idle
from underlid.monthly import MOST_PICTURES
from underlid.update.forms.formats import FORMATS
from underlid.update.prose.said import SECTIONS
from underlid.web import composed
from underlid.web.composed import UnknownFile, file_of, keep, made_of, text_of, zip_of
from underlid.web.composing import MAKE, FormatName, SectionName

FILES = {"north-2026-01.html": b"<!doctype html><title>x</title>", "cards/wide/01-title.png": b"\x89PNG"}
ASKED = {"title": "My <winter>", "keeper": "", "accent": "#123456", "words": {"": "It was cold."}, "photos": []}
MADE_WITH = {**ASKED, "formats": ["html", "cards"]}
ABOUT = {"made_at": NOW.isoformat(), "notes": ["No film."], "entries": 5, "asked": MADE_WITH}


@pytest.fixture
def worker(client):
    client.app.state.worker.stop()
    client.app.state.worker = idle = Idle()
    client.app.state.settings = replace(client.app.state.settings, weather=Path("winter.csv"))
    return idle


@pytest.fixture
def made(settings):
    keep(settings.journal, "north", "2026-01", FILES, ABOUT)
    return settings.journal


def test_what_may_be_asked_is_what_there_is():
    assert set(get_args(FormatName)) == set(FORMATS)
    assert set(get_args(SectionName)) == {"", *SECTIONS}


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
    (frame,) = re.findall("<iframe[^>]*>", page)
    assert ' src="/bins/north/update/2026-01/north-2026-01.html"' in frame
    assert ' sandbox="allow-scripts"' in frame


def test_a_form_for_photos_is_offered_whether_or_not_they_were_asked_for(client, worker, made):
    photos = [_photo(client, number) for number in range(MOST_PICTURES + 1)]
    fresh = rows(client.get("/bins/north/update?month=2026-02").text)
    assert [row["id"] for row in fresh] == photos
    assert [row["picked"] for row in fresh] == [True] * MOST_PICTURES + [False]  # no more than can be shown
    assert {(row["x"], row["y"]) for row in fresh} == {("50", "50")}
    asked = {**MADE_WITH, "photos": [{"id": photos[2], "x": 0.25, "y": 0.75}, {"id": "of-old", "x": 0, "y": 0}]}
    keep(made, "north", "2026-02", FILES, {**ABOUT, "asked": asked})
    again = rows(client.get("/bins/north/update?month=2026-02").text)
    assert [row["id"] for row in again if row["picked"]] == [photos[2]]
    assert (again[2]["x"], again[2]["y"]) == ("25", "75")
    keep(made, "north", "2026-02", FILES, ABOUT)  # none were wanted
    assert not any(row["picked"] for row in rows(client.get("/bins/north/update?month=2026-02").text))


def _photo(client, number):
    drawn = io.BytesIO()
    Image.new("RGB", (8, 8), (number, 0, 0)).save(drawn, "PNG")
    answer = client.post(
        "/api/bins/north/photos", data={"key": str(UUID(int=number)), "when": f"2 Feb {number:02d}:00", "words": "<b>"},
        files={"picture": ("p.png", drawn.getvalue(), "image/png")},
    )  # fmt: skip
    assert answer.status_code == 201, answer.text
    return answer.json()["entry"]


def rows(text):
    """The photos of the form."""
    assert "<b>" not in text
    axes = r'.*?data-axis="x".*?value="(\d+)".*?data-axis="y".*?value="(\d+)"'
    found = re.findall(r'data-photo="(.+?)".*?type="checkbox"( checked)?' + axes, text, re.DOTALL)
    return [{"id": id, "picked": bool(picked), "x": x, "y": y} for id, picked, x, y in found]


def test_who_opens_the_page_again_is_shown_how_far_the_work_is(client, worker, made):
    body = {"month": "2026-01", "title": "New title", "words": {"": "\n# animals\nFew."}, "formats": ["pdf"]}
    id = client.post("/api/bins/north/update", json=body).json()["id"]
    worker.end(id, state="running", progress=0.25)
    page = client.get("/bins/north/update?month=2026-01").text
    assert f'data-job="{id}"' in page
    assert '<progress max="1" value="0.25" aria-label' in page
    assert 'value="New title"' in page
    assert ">\n\n# animals\nFew.</textarea>" in page  # HTML drops the first line break of an area
    assert 'value="pdf" checked' in page
    assert 'value="html" checked' not in page
    assert "data-job" not in client.get("/bins/north/update?month=2025-12").text
    worker.end(id, state="refused", error="It cannot be <made>.")
    page = client.get("/bins/north/update?month=2026-01").text
    assert "It cannot be &lt;made&gt;." in page
    assert 'value="New title"' in page
    assert "data-job" not in page
    worker.end(id, state="done")
    page = client.get("/bins/north/update?month=2026-01").text
    assert "data-job" not in page
    assert 'value="My &lt;winter&gt;"' in page  # as what is kept was asked for


def test_a_made_page_is_shown_alone_and_may_be_framed_by_ours_only(client, worker, made):
    page = client.get("/bins/north/update/2026-01/north-2026-01.html")
    assert page.content == FILES["north-2026-01.html"]
    policy = page.headers["content-security-policy"]
    assert policy.startswith("sandbox allow-scripts; default-src 'none'")
    assert "allow-same-origin" not in policy
    assert "connect-src" not in policy  # default-src 'none' stands: no reach into the journal
    assert "frame-ancestors 'self'" in policy
    assert page.headers["x-frame-options"] == "SAMEORIGIN"
    assert page.headers["cross-origin-opener-policy"] == "unsafe-none"
    own = client.get("/bins/north/update")
    assert "frame-ancestors 'none'" in own.headers["content-security-policy"]
    assert own.headers["x-frame-options"] == "DENY"
    assert own.headers["cross-origin-opener-policy"] == "same-origin"
    picture = client.get("/bins/north/update/2026-01/cards/wide/01-title.png")
    assert picture.headers["x-frame-options"] == "DENY"


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
    ("changed", "says", "at"),
    [
        ({"accent": "no such colour"}, "no colour", "accent"),
        ({"words": {"": "x", "animals": "Few.\n\n# nowhere\nx"}}, "Line 3 of your words", "words.animals"),
        ({"words": {"": "# nowhere"}}, "Line 1 of your words", "words."),
        ({"words": dict.fromkeys(["", "month", "done", "care"], "x" * 5999)}, "20000 is the most", None),
    ],
)
def test_what_cannot_be_shown_is_refused_in_a_sentence_and_its_place(client, worker, changed, says, at):
    answer = client.post("/api/bins/north/update", json={"month": "2026-01", **changed})
    assert answer.status_code == 422
    assert says in answer.json()["error"]
    assert answer.json()["at"] == at
    assert worker.asked == []


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"month": "2026-13"}, "month"),
        ({"formats": []}, "formats"),
        ({"formats": ["gif"]}, "formats"),
        ({"words": {"nowhere": "x"}}, "words"),
        ({"photos": [{"id": "a", "x": 2}]}, "photos"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_a_sentence(client, worker, changed, says):
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
    now = made_of(made, "north", "2026-01")
    assert now is not None
    assert set(now.files) == {"north-2026-01.pdf"}
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


@pytest.mark.parametrize("text", ["{", "[]", "{}", '{"made_at": "x"}'])
def test_a_damaged_note_of_what_was_made_counts_as_none(client, worker, made, text):
    (made / composed.FOLDER / "north-2026-01" / composed.ASKED).write_text(text)
    assert made_of(made, "north", "2026-01") is None
    assert client.get("/bins/north/update?month=2026-01").status_code == 200
    assert client.get("/bins/north/update/2026-01.zip").status_code == 404


def test_part_of_a_film_can_be_asked_for(client, worker, made):
    keep(made, "north", "2026-01", {"film.mp4": bytes(range(100))}, ABOUT)
    part = client.get("/bins/north/update/2026-01/film.mp4", headers={"Range": "bytes=10-19"})
    assert (part.status_code, part.content) == (206, bytes(range(10, 20)))
    assert part.headers["content-type"] == "video/mp4"


def test_it_is_found_from_the_bins_and_from_the_bin(client, worker):
    for path in ("/", "/bins/north"):
        assert 'href="/bins/north/update"' in client.get(path).text


def test_words_by_section_are_one_text():
    assert text_of({"animals": "Few.", "": "Cold."}) == "Cold.\n\n# animals\nFew."


def test_ages_are_told_and_what_was_written_down_since(client, worker, made):
    client.app.state.settings = replace(client.app.state.settings, now=lambda: NOW + timedelta(hours=5))
    assert "Made 5 hours ago." in client.get("/bins/north/update?month=2026-01").text
    _photo(client, 1)
    assert "Made 5 hours ago, before 1 newer entry." in client.get("/bins/north/update?month=2026-01").text
