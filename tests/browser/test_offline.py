"""What was written down without contact, or with contact lost at the worst moment, stands in the journal once."""

import itertools

import pytest
from playwright.sync_api import expect

from tests.browser.kept import words_held

BIN = "west"
ENTER = f"/bins/{BIN}/enter"
POST = f"POST /api/bins/{BIN}/entries".encode()
LOST_S = 30
_grams = itertools.count(81)


@pytest.fixture
def line():
    """A line of two entries that no other test writes."""
    return f"middle 4.{next(_grams)} C; fed {next(_grams)} g apple cores"


def write_down(page, words):
    page.fill("#words", words)
    page.click("#store")
    expect(page.locator("#toast")).to_contain_text(words)


def waits(page, many):
    expect(page.locator("#queue")).to_contain_text(f"{many} entr")


def all_sent(page):
    """Said by the page's script, not by a page whose script has not looked yet."""
    expect(page.locator("#queue")).to_have_attribute("data-said", "")
    expect(page.locator("#queue")).to_be_hidden()


def held(server, line):
    """How often each part of a line stands in the journal."""
    words = words_held(server.folder, BIN)
    return [words.count(part) for part in line.split("; ")]


def kept_on_device(page):
    """Wait until the page can be opened without contact."""
    page.evaluate("""async () => {
        await navigator.serviceWorker.ready;
        while (!(await caches.match(location.pathname))) await new Promise((go) => setTimeout(go, 50));
    }""")


def test_what_is_written_without_contact_is_stored_once_when_contact_returns(reading, opened, line):
    page = opened(reading.here + ENTER)
    page.context.set_offline(True)
    write_down(page, line)
    waits(page, 1)
    assert held(reading, line) == [0, 0]
    page.context.set_offline(False)
    all_sent(page)
    assert held(reading, line) == [1, 1]
    expect(page.locator("#latest li").first).to_contain_text("apple cores")


def test_a_server_killed_between_storing_and_answering_stores_once(own, wired, opened, line):
    own.start()
    wire = wired(own)
    page = opened(wire.here + ENTER)
    wire.lose(POST, then=own.kill)
    write_down(page, line)
    assert wire.lost.wait(LOST_S)
    waits(page, 1)
    assert held(own, line) == [1, 1]  # stored, but the phone does not know
    page.reload()  # by the service worker or not at all
    own.start()
    page.goto(wire.here + ENTER)
    all_sent(page)
    assert held(own, line) == [1, 1]


def test_a_page_loaded_anew_still_sends_what_waits_and_once(reading, wired, opened, line):
    wire = wired(reading)
    page = opened(wire.here + ENTER)
    wire.lose(POST)
    write_down(page, line)
    assert wire.lost.wait(LOST_S)
    page.reload()
    all_sent(page)
    assert held(reading, line) == [1, 1]


def test_entries_outlast_the_server_and_the_page(own, opened):
    own.start()
    page = opened(own.here + ENTER)
    kept_on_device(page)
    own.kill()
    write_down(page, "edge 3 C")
    write_down(page, "edge 4 C")
    waits(page, 2)
    page.reload()  # from the device, as no server is there
    waits(page, 2)
    write_down(page, "edge 5 C")
    waits(page, 3)
    page.close()
    own.start()
    again = page.context.new_page()
    again.goto(own.here + ENTER)
    all_sent(again)
    assert held(own, "edge 3 C; edge 4 C; edge 5 C") == [1, 1, 1]


def test_contact_that_returns_while_a_sending_still_fails_is_used_at_once(reading, opened, line):
    page = opened(reading.here + ENTER)
    page.evaluate("""() => {
        const fetched = window.fetch;
        window.begun = new Promise((begun) => {
            window.fetch = () => new Promise((_, fail) => {
                window.lose = () => { window.fetch = fetched; fail(); };
                begun();
            });
        });
    }""")
    write_down(page, line)
    page.evaluate("() => window.begun")
    page.evaluate("window.dispatchEvent(new Event('online')); window.lose()")
    expect(page.locator("#queue")).to_be_hidden(timeout=20_000)  # by itself it would try again after 30 s
    assert held(reading, line) == [1, 1]


def test_the_page_opens_without_contact_and_takes_entries(reading, opened, line):
    page = opened(reading.here + ENTER)
    kept_on_device(page)
    page.goto(f"{reading.here}/")
    kept_on_device(page)
    context = page.context
    page.close()
    context.set_offline(True)
    again = context.new_page()
    again.goto(f"{reading.here}/")
    again.get_by_role("link", name=f"At the bin {BIN}").click()
    expect(again.get_by_role("heading", name=f"At the bin: {BIN}")).to_be_visible()
    expect(again.locator("#taps")).to_be_visible()  # its script is there too
    write_down(again, line)
    waits(again, 1)
    context.set_offline(False)
    again.evaluate("underlidQueue.flush()")
    all_sent(again)
    assert held(reading, line) == [1, 1]


def test_what_two_open_pages_send_is_stored_once(reading, opened, line):
    one = opened(reading.here + ENTER)
    other = one.context.new_page()
    other.goto(f"{reading.here}/")
    one.context.set_offline(True)
    write_down(one, line)
    one.context.set_offline(False)
    other.evaluate("underlidQueue.flush()")
    all_sent(other)
    one.evaluate("underlidQueue.flush()")
    all_sent(one)
    assert held(reading, line) == [1, 1]


def test_what_the_server_refuses_stays_with_its_sentence_until_it_is_mended(reading, opened):
    page = opened(reading.here + ENTER)
    page.context.set_offline(True)
    write_down(page, "middle 900 C")
    waits(page, 1)
    page.context.set_offline(False)
    mending = page.locator("#mending li")
    expect(mending.locator(".alarm")).to_contain_text("from -40 to 90 °C")
    page.reload()
    expect(mending.locator("textarea")).to_have_value("middle 900 C")
    expect(mending.locator(".alarm")).to_contain_text("from -40 to 90 °C")
    expect(page.locator("#queue")).to_contain_text("1 entry needs mending")
    mending.locator("textarea").fill("middle 9.75 C")
    mending.get_by_role("button", name="Send again").click()
    expect(page.locator("#mending")).to_be_hidden()
    all_sent(page)
    assert held(reading, "middle 900 C; middle 9.75 C") == [0, 1]


@pytest.mark.parametrize("sent", [True, False], ids=["stored", "waiting"])
def test_undo_takes_it_back_whether_it_was_sent_or_not(reading, opened, line, sent):
    page = opened(reading.here + ENTER)
    if not sent:
        page.context.set_offline(True)
    write_down(page, line)
    expect(page.locator("#toast-text")).to_contain_text("Stored" if sent else "Kept")
    page.click("#undo")
    expect(page.locator("#words")).to_have_value(line)
    page.context.set_offline(False)
    page.evaluate("underlidQueue.flush()")
    all_sent(page)
    assert held(reading, line) == ([1, 1] if sent else [0, 0])
    standing = page.request.get(f"{reading.here}/api/bins/{BIN}/entries").json()
    assert [one["words"] for one in standing if one["words"] in line.split("; ")] == []


def test_entries_over_a_bad_line_are_stored_once_each(reading, wired, opened):
    wire = wired(reading)
    page = opened(wire.here + ENTER)
    lines = [f"surface 6.{n} C" for n in range(1, 4)]
    for each in lines:
        wire.lose(POST)
        write_down(page, each)
        assert wire.lost.wait(LOST_S)
        page.evaluate("underlidQueue.flush()")
        all_sent(page)
    assert held(reading, "; ".join(lines)) == [1, 1, 1]
