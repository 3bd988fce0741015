"""No page has a serious fault that a machine can find for those who cannot see, or see otherwise."""

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]

from tests.browser.conftest import DESK, PHONES

PAGES = {
    "bins": "/", "new": "/new", "at the bin": "/bins/south/enter", "bin": "/bins/north", "fleet": "/fleet",
    "claims": "/claims", "claim": "/claims/citrus-scraps", "claim not to be tested": "/claims/cut-worm",
    "trials": "/trials", "new trial": "/trials/new?claim=citrus-scraps", "trial": "/trials/citrus",
    "devices": "/devices", "pair": "/pair", "nothing there": "/bins/nowhere",
}  # fmt: skip
SCHEMES = {"light": False, "dark": True}
SHEETS = ("place-middle", "tap-ph", "tap-moisture", "tap-fed", "tap-seen", "tap-count", "tap-note", "tap-photo")
GRAVE = ("serious", "critical")


def faults(page):
    """What is grave, each with where it is."""
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {', '.join(str(node['target'][0]) for node in one['nodes'][:5])}"
        for one in found if one["impact"] in GRAVE
    ]  # fmt: skip


@pytest.mark.parametrize("dark", SCHEMES.values(), ids=SCHEMES)
@pytest.mark.parametrize("path", PAGES.values(), ids=PAGES)
def test_a_page_has_no_grave_fault(reading, opened, path, dark):
    # Axe is let in by the page itself, so the page's policy on scripts stays as it is for everybody else.
    page = opened(reading.here + path, DESK, dark=dark, touch=False)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert faults(page) == []


@pytest.mark.parametrize("dark", SCHEMES.values(), ids=SCHEMES)
def test_the_picture_to_count_on_has_no_grave_fault(reading, opened, dark):
    sha256 = next((reading.folder / "photos").glob("*.png")).stem
    assert faults(opened(f"{reading.here}/photos/{sha256}/tally", DESK, dark=dark, touch=False)) == []


@pytest.mark.parametrize("dark", SCHEMES.values(), ids=SCHEMES)
def test_no_sheet_has_a_grave_fault(reading, opened, dark):
    page = opened(f"{reading.here}/bins/south/enter", PHONES["phone"], dark=dark)
    for sheet in SHEETS:
        page.tap(f"#{sheet}")
        assert faults(page) == [], sheet
        page.locator("dialog[open] [data-close]").tap()
