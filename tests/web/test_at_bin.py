"""The page at the bin in a real browser: taps, lost contact, and taking back."""

import socket
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import expect, sync_playwright

from underlid.journal.store import Journal
from underlid.records import Reading
from underlid.web.app import create_app
from underlid.web.settings import Settings

CHROMIUM = Path("/usr/bin/chromium")
PATIENCE_MS = 15_000  # the machine may be busy
expect.set_options(timeout=PATIENCE_MS)
pytestmark = pytest.mark.skipif(not CHROMIUM.exists(), reason="there is no Chromium here")
SMALL = """() => [...document.querySelectorAll("#at-bin button, #at-bin a, #at-bin summary, #at-bin .choice label")]
    .filter((one) => one.offsetParent && (one.offsetHeight < 48 || one.offsetWidth < 48)).map((one) => one.outerHTML)"""
WIDER = "() => [document.querySelector('dialog[open]')].map((one) => one.scrollWidth - one.clientWidth)[0]"


class Server:
    """A server of a journal that can be lost and come back under the same address."""

    def __init__(self, folder):
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self):
        """Serve in the background, without the worker for fits."""
        app = create_app(Settings(self.folder, port=self.port, now=lambda: datetime.now(UTC)))
        config = uvicorn.Config(app, host="127.0.0.1", port=self.port, lifespan="off", log_level="warning")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        while not self._server.started:
            assert self._thread.is_alive()
        return self

    def stop(self):
        """Answer nobody any more."""
        self._server.should_exit = self._server.force_exit = True
        self._thread.join()


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture
def phone(browser):
    with browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True) as device:
        device.set_default_timeout(PATIENCE_MS)
        page = device.new_page()
        errors = []
        page.on("pageerror", lambda error: errors.append(error))
        yield page
        assert errors == []


@pytest.fixture
def served(journal):
    server = Server(journal).start()
    yield server
    server.stop()


def words_in(folder):
    with Journal.open(folder) as book:
        return [one.words for one in book.entries("north", superseded=True)]


def write(page, words):
    page.fill("#words", words)
    page.tap("#store")
    expect(page.locator("#toast-text")).to_contain_text(words.split()[0])


def test_from_nothing_to_a_reading_in_five_taps(phone, tmp_path):
    server = Server(tmp_path / "new").start()
    try:
        phone.goto(server.address)
        phone.fill("#name", "north")
        for target in ("#start", "#place-middle", "[data-key='6']", "#pad-add", "#store"):
            phone.tap(target)
        expect(phone.locator("#toast-text")).to_contain_text("Stored: temperature, middle: 6 °C (43 °F)")
        assert words_in(server.folder) == ["middle temp 6 C"]
    finally:
        server.stop()


def test_what_is_written_without_contact_is_stored_once_when_it_is_back(phone, served):
    phone.goto(f"{served.address}/bins/north/enter")
    phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
    phone.reload()  # through the worker, which keeps the page
    served.stop()
    phone.goto(f"{served.address}/bins/north/enter")
    write(phone, "middle 6 C")
    write(phone, "edge 4 C")
    phone.reload()
    expect(phone.locator("#queue")).to_have_text("2 entries wait on this phone")
    served.start()
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    expect(phone.locator("#queue")).to_be_hidden()
    found = words_in(served.folder)
    assert (found.count("middle 6 C"), found.count("edge 4 C")) == (1, 1)


def test_an_answer_that_was_lost_is_asked_for_again(phone, served):
    phone.goto(f"{served.address}/bins/north/enter")
    lost: list[int] = []

    def lose_the_first(route):
        if lost:
            return route.continue_()
        lost.append(route.fetch().status)  # it arrives and is stored, and the answer does not come back
        return route.abort()

    phone.route("**/api/bins/north/entries", lose_the_first)
    with phone.expect_event("requestfailed"):
        write(phone, "middle 6 C")
    expect(phone.locator("#queue")).to_have_text("1 entry waits on this phone")
    assert lost == [200]
    phone.evaluate("window.underlidQueue.flush()")
    expect(phone.locator("#queue")).to_be_hidden()
    assert words_in(served.folder).count("middle 6 C") == 1


def test_what_is_refused_stays_until_it_is_mended(phone, served):
    phone.goto(f"{served.address}/bins/north/enter")
    phone.evaluate("underlidQueue.add('/api/bins/north/entries', {key: underlidQueue.uuid(), words: 'edge 700 C'})")
    phone.reload()
    mending = phone.locator("#mending li")
    expect(mending).to_contain_text("No bin is that cold or hot")
    mending.locator("textarea").fill("edge 7 C")
    mending.get_by_role("button", name="Send again").tap()
    expect(phone.locator("#queue")).to_be_hidden()
    assert "edge 7 C" in words_in(served.folder)


def test_undo_takes_back_and_gives_the_words_back(phone, served):
    phone.goto(f"{served.address}/bins/north/enter")
    write(phone, "middle 36 C")
    expect(phone.locator("#alarms")).to_contain_text("middle 36 C")
    phone.tap("#undo")
    expect(phone.locator("#words")).to_have_value("middle 36 C")
    expect(phone.locator("#alarms")).not_to_contain_text("middle 36 C")
    expect(phone.locator("#latest")).not_to_contain_text("36 °C")
    with Journal.open(served.folder) as book:
        assert book.entries("north", kind=Reading)[-1].amount.kind == "not noted"


def test_a_chip_is_removed_and_mended_by_taps(phone, served):
    phone.goto(f"{served.address}/bins/north/enter")
    phone.fill("#words", "last night: middle 6 C, edge 4 C; fed 150 g pear cores")
    phone.get_by_role("button", name="Remove: temperature, middle").tap()
    expect(phone.locator("#words")).to_have_value("last night: edge 4 C; fed 150 g pear cores")
    phone.get_by_role("button", name="Mend: temperature, edge").tap()
    for key in ("-", "½", "to", "1"):
        phone.tap(f"[data-key='{key}']")
    phone.tap("#pad-add")
    expect(phone.locator("#words")).to_have_value("last night: edge temp -½ to 1 C; fed 150 g pear cores")
    expect(phone.locator("#chips li").first).to_contain_text("temperature, edge: -0.5 to 1 °C (31 to 34 °F)")


@pytest.mark.parametrize("width", [195, 320, 390])
def test_targets_are_large_and_nothing_sticks_out(phone, served, width):
    phone.set_viewport_size({"width": width, "height": 568})
    phone.goto(f"{served.address}/bins/north/enter")
    for sheet in ("#place-middle", "#tap-fed", "#tap-count"):
        phone.tap(sheet)
        assert phone.evaluate(SMALL) == []
        assert phone.evaluate("document.documentElement.scrollWidth") <= width
        assert phone.evaluate(WIDER) == 0
        phone.keyboard.press("Escape")


def test_without_a_worker_the_page_says_what_it_cannot(browser, served):
    with browser.new_context() as device:
        page = device.new_page()
        page.add_init_script("delete Navigator.prototype.serviceWorker; delete Crypto.prototype.randomUUID")
        page.goto(f"{served.address}/bins/north/enter")
        expect(page.locator("#offline-note")).to_contain_text("cannot be reopened without the bin’s computer")
        page.fill("#words", "middle 8 C")
        page.click("#store")
        expect(page.locator("#toast-text")).to_contain_text("Stored")
    assert "middle 8 C" in words_in(served.folder)
