"""A month's update composed in a real browser: what is typed stays, the work is followed, and its outcome is seen."""

from __future__ import annotations

import contextlib
import re
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import expect

from tests.browser import kept
from tests.browser.conftest import DESK, PHONES
from tests.browser.serving import PATIENCE_S, free_port
from tests.browser.test_desk import tab_to
from tests.web.test_views import _census, _unfitted
from underlid import monthly
from underlid.weather.files import demo_weather
from underlid.web import app as web
from underlid.web import composed
from underlid.web.settings import Settings
from underlid.web.work import Worker, answered

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)
OPENING = "It froze.\n\nThey lived."
CURIOUS = """<!doctype html><html lang="en"><title>Curious</title><h1>Curious</h1><p></p><script>
const p = document.querySelector("p");
fetch("/api/bins").then(() => p.append("the journal; "), () => p.append("no answer; ")).then(() => {
  try { p.append(document.cookie, "a cookie; "); } catch { p.append("no cookie; "); }
  try { p.append(parent.document.title); } catch { p.append("no parent"); }
});
</script></html>"""


def clock():
    return NOW


class Beside(Worker):
    """Works in a thread of this process, so that a test can hold it up; nothing else is different."""

    def _answered(self, job):
        settings = replace(self._settings, now=clock)
        state, said = answered(job.kind, settings, lambda done: self._set(job.id, progress=done), job.args)
        return (state, said, None) if state == "done" else (state, None, said)


class Gate:
    """What the work waits for when it is half done."""

    def __init__(self):
        self.open = threading.Event()

    def answer(self, book, case, seed=1, progress=lambda done: None):
        progress(0.5)
        assert self.open.wait(PATIENCE_S)
        return _unfitted(book, case, seed, progress)


@contextlib.contextmanager
def served(app):
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=free_port(), log_level="error", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + PATIENCE_S
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        assert time.monotonic() < until, "the server did not start"
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{server.config.port}"
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)


@pytest.fixture(scope="module")
def gate():
    return Gate()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A journal with a picture, and an update of December with a page that would reach what it should not."""
    found = kept.build(tmp_path_factory.mktemp("composed") / "journal", NOW)
    drawn = (found.parent / "worms.png").read_bytes()
    files = {"north-2025-12.html": CURIOUS.encode(), "cards/tall/01-title.png": drawn}
    asked = {"title": "", "keeper": "", "accent": "#123456", "words": {}, "photos": [], "formats": ["html", "cards"]}
    about = {"made_at": NOW.isoformat(), "notes": ["There is no film."], "entries": 1, "asked": asked}
    composed.keep(found, "north", "2025-12", files, about)
    return found


@pytest.fixture(scope="module")
def here(folder, gate):
    """A server of that journal, whose fits are only the prior's draws."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(web, "Worker", Beside)
        patch.setattr(composed, "answer", gate.answer)
        patch.setattr(monthly, "census_of", _census)
        with served(web.create_app(Settings(folder, weather=demo_weather(), now=clock))) as address:
            yield address
            gate.open.set()


@pytest.fixture
def composing(here, opened):
    """Open the page: `composing(month, size)`."""
    return lambda month="2026-02", size=DESK, **more: opened(
        f"{here}/bins/north/update?month={month}", size, touch=size != DESK, **more
    )


def told(page):
    return page.locator("#compose .told")


def test_it_is_made_by_keyboard_alone_and_nothing_typed_is_lost_meanwhile(composing, gate):
    page = composing("2026-01")
    expect(page.locator("#made")).to_contain_text("Nothing was made of this month yet.")
    tab_to(page, "#title")
    page.keyboard.type("My first winter")
    tab_to(page, "#words-opening")
    page.keyboard.type(OPENING)
    tab_to(page, '[name=format][value="notes"]')
    page.keyboard.press("Space")
    tab_to(page, "#compose button.main")
    page.keyboard.press("Enter")
    expect(told(page)).to_contain_text("Making it")
    expect(page.locator("progress")).to_have_js_property("value", 0.2)  # the fit is two fifths, and half of it is done
    page.reload()
    expect(page.locator("progress")).to_be_visible()
    expect(told(page)).to_contain_text("Making it")
    assert page.locator("#title").input_value() == "My first winter"
    page.locator("#keeper").fill("typed meanwhile")
    gate.open.set()
    expect(told(page)).to_contain_text("It is made.")
    assert page.locator("#keeper").input_value() == "typed meanwhile"
    assert page.locator("#words-opening").input_value() == OPENING
    expect(page.locator("progress")).to_be_hidden()
    expect(page.locator("#made")).to_contain_text("Made just now.")

    shown = page.frame_locator("iframe.preview")
    expect(shown.get_by_role("heading", name="My first winter")).to_be_visible()
    expect(shown.get_by_text("They lived.").first).to_be_visible()
    shown.get_by_role("button", name="In plain words").click()  # its script runs within its sandbox
    expect(shown.locator("#plain")).to_be_visible()
    with page.context.expect_page() as alone:
        page.get_by_role("link", name="Open the page by itself").click()
    expect(alone.value.get_by_role("heading", name="My first winter")).to_be_visible()
    with page.expect_download() as taken:
        page.get_by_role("link", name="notes.md").click()
    assert taken.value.suggested_filename == "notes.md"


@pytest.mark.parametrize(("size", "dark"), [(DESK, False), (PHONES["phone"], True)], ids=["desk", "phone, dark"])
@pytest.mark.parametrize("month", ["2025-12", "2026-02"], ids=["made", "with a photo"])
def test_axe_finds_nothing_and_nothing_runs_out_at_the_side(chromium, here, month, size, dark):
    # Without the fixture `opened`: what is refused to the curious page is told in the console.
    page = chromium.new_page(
        viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if dark else "light"
    )  # fmt: skip
    try:
        page.goto(f"{here}/bins/north/update?month={month}")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") == size[0]
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["target"]) for one in found] == []
    finally:
        page.close()


def test_a_script_in_a_made_page_reaches_nothing_of_the_journal(chromium, here):
    page = chromium.new_page()
    try:
        page.goto(f"{here}/bins/north/update?month=2025-12")
        expect(page.frame_locator("iframe.preview").locator("p")).to_have_text("no answer; no cookie; no parent")
        page.goto(f"{here}/bins/north/update/2025-12/north-2025-12.html")
        expect(page.locator("p")).to_have_text(re.compile("^no answer; no cookie; "))
    finally:
        page.close()


@pytest.mark.parametrize("section", ["opening", "animals"])
def test_words_that_cannot_be_set_are_told_where_they_are(composing, section):
    page = composing()
    page.locator("#title").fill("Kept")
    page.locator("#beside").evaluate("one => { one.open = true; }")
    page.locator(f"#words-{section}").fill("Fine.\n# nowhere\nNot fine.")
    page.locator("#beside").evaluate("one => { one.open = false; }")
    page.locator("#compose button.main").click()
    field = page.locator(f"#words-{section}")
    expect(field).to_be_focused()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(page.locator(f"#words-{section} + .wrong")).to_contain_text('Line 2 of your words begins a part "nowhere"')
    assert page.locator("#title").input_value() == "Kept"
    page.reload()
    assert page.locator("#title").input_value() == "Kept"
    assert page.locator(f"#words-{section}").input_value().startswith("Fine.\n# nowhere")


def test_at_least_one_thing_is_to_be_made(composing):
    page = composing()
    for box in page.locator("[name=format]:checked").all():
        box.uncheck()
    page.locator("#compose button.main").click()
    expect(page.locator("#formats .wrong")).to_have_text("Choose at least one thing to make.")


def test_a_server_that_stopped_is_told_and_the_form_stays(composing):
    page = composing()
    page.locator("#title").fill("Kept")
    page.route("**/api/**", lambda route: route.abort("connectionrefused"))
    page.locator("#compose button.main").click()
    expect(told(page)).to_contain_text("The server does not answer. What you wrote stays here")
    assert page.locator("#title").input_value() == "Kept"
    expect(page.locator("progress")).to_be_hidden()


JOB = '{"id": "one", "state": "%s", "progress": 0, "error": %s, "asked_at": "2026-02-03T21:00:00Z"}'


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ((404, '{"error": "There is no such job."}'), "started anew, and the work ended with it; make it again"),
        ((200, JOB % ("refused", '"The weather ends before."')), "The weather ends before."),
    ],
    ids=["the server was started anew", "the work cannot be done"],
)
def test_work_that_came_to_nothing_is_told(composing, answer, says):
    page = composing()
    page.locator("#title").fill("Kept")
    page.route("**/api/bins/north/update", lambda route: route.fulfill(status=202, body=JOB % ("waiting", "null")))
    page.route("**/api/jobs/one", lambda route: route.fulfill(status=answer[0], body=answer[1]))
    page.locator("#compose button.main").click()
    expect(told(page)).to_contain_text(says)
    expect(page.locator("progress")).to_be_hidden()
    assert page.locator("#title").input_value() == "Kept"


def test_a_touch_sets_what_stays_in_sight_of_a_photo_and_keys_move_it(composing):
    page = composing(size=PHONES["phone"])
    photo = page.locator("[data-photo]")
    picture, point = photo.locator("img"), photo.locator(".point")
    picture.scroll_into_view_if_needed()
    expect(picture).to_have_js_property("complete", True)
    box = picture.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.75)
    across, down = photo.locator("[data-axis=x]"), photo.locator("[data-axis=y]")
    assert (across.input_value(), down.input_value()) == ("25", "75")
    across.focus()
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    assert across.input_value() == "35"
    expect(photo.locator("output").first).to_have_text("35")
    spot, box = point.bounding_box(), picture.bounding_box()
    assert spot["x"] + spot["width"] / 2 == pytest.approx(box["x"] + 0.35 * box["width"], abs=2)
    assert spot["y"] + spot["height"] / 2 == pytest.approx(box["y"] + 0.75 * box["height"], abs=2)
    with page.expect_request("**/api/bins/north/update") as sent:
        page.route("**/api/bins/north/update", lambda route: route.abort())
        page.locator("#compose button.main").click()
    assert [(one["x"], one["y"]) for one in sent.value.post_data_json["photos"]] == [(0.35, 0.75)]
    photo.locator(".pick input").uncheck()
    expect(point).to_be_hidden()


def test_without_weather_the_page_says_so_beforehand(reading, opened):
    page = opened(f"{reading.here}/bins/north/update", DESK, touch=False)
    expect(page.locator("#compose .alarm")).to_contain_text("start it with --weather FILE")
    expect(page.locator("#compose button.main")).to_be_disabled()
