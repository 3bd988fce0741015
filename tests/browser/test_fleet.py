"""All bins looked at anew from a phone: begun, waited for, and shown when its reader says so."""

import shutil

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONES
from tests.browser.serving import Served
from tests.browser.test_phone import fits
from underlid.weather.files import demo_weather

FITTED_MS = 90_000


@pytest.fixture
def weathered(built, tmp_path):
    """A server that knows the weather, of a typical year."""
    folder = shutil.copytree(built, tmp_path / "journal")
    server = Served(folder, tmp_path / "server.log", ("--weather", str(demo_weather())))
    try:
        server.start()
        yield server
    finally:
        server.stop()


def test_a_round_is_begun_followed_and_shown(weathered, opened):
    page = opened(f"{weathered.here}/fleet", PHONES["small phone"])
    expect(page.locator("main")).to_contain_text("1 not looked at yet")
    page.get_by_role("button", name="Look at all 4 again").tap()
    expect(page.locator("#share")).to_be_visible()
    expect(page.locator("#told")).to_contain_text("All 4 bins looked at", timeout=FITTED_MS)
    expect(page.locator("#said")).to_contain_text("All 4 bins looked at")
    expect(page.locator("#share")).to_be_hidden()
    page.get_by_role("link", name="Show the new list").tap()
    expect(page.get_by_role("button", name="Look at all 4 again")).to_be_visible()
    expect(page.locator("main")).not_to_contain_text("not looked at yet")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    fits(page)


def test_the_list_is_there_without_script(reading, opened):
    page = opened(f"{reading.here}/fleet", java_script_enabled=False)
    expect(page.get_by_role("heading", name="north")).to_be_visible()
    page.get_by_role("link", name="without a warning").tap()
    expect(page.get_by_role("rowheader", name="south")).to_be_visible()
