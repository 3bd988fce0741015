"""At the bin with a phone in one wet hand: everything in reach, large enough, and few taps."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONES
from tests.browser.kept import words_held
from tests.browser.serving import Served

ENTER = "/bins/south/enter"
LEAST_PX = 44
FEW_TAPS = 6
SHEETS = ("place-middle", "tap-ph", "tap-moisture", "tap-fed", "tap-seen", "tap-count", "tap-note", "tap-photo")
PAGES = (
    "/", "/new", ENTER, "/bins/north", "/fleet", "/claims", "/claims/citrus-scraps", "/trials",
    "/trials/new?claim=citrus-scraps", "/trials/citrus", "/devices", "/pair",
)  # fmt: skip

# What is too small for a thumb. A link inside a sentence is as high as its line, as everywhere; a box is tapped by its
# label; what a sheet hides is not there to be tapped.
TOO_SMALL = """least => [...document.querySelectorAll("a, button, input, select, textarea, summary")].map((one) => {
  const target = one.matches("input[type=checkbox], input[type=radio]") ? one.closest("label") || one : one;
  const { width, height } = target.getBoundingClientRect();
  const hidden = !target.checkVisibility({ visibilityProperty: true }) || one.disabled || one.closest(".skip");
  const others = [...(one.parentElement?.childNodes || [])].filter((node) => node !== one);
  const alone = others.every((node) => !node.textContent.trim());
  const inSentence = one.matches("a") && getComputedStyle(one).display === "inline" && !alone;
  const small = !hidden && !inSentence && (width < least - 0.5 || height < least - 0.5);
  return small ? `${one.outerHTML.slice(0, 90)} is ${Math.round(width)} × ${Math.round(height)}` : "";
}).filter(Boolean)"""
WIDER = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def fits(page):
    assert page.evaluate(WIDER) <= 0
    assert page.evaluate(TOO_SMALL, LEAST_PX) == []


def stored(page, says):
    """Store the line, and see what the journal understood."""
    page.tap("#store")
    expect(page.locator("#toast-text")).to_contain_text("Stored")
    expect(page.locator("#toast-text")).to_contain_text(says)


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("size", PHONES.values(), ids=PHONES)
def test_no_page_scrolls_sideways_and_everything_can_be_hit_with_a_thumb(reading, opened, path, size):
    fits(opened(reading.here + path, size))


@pytest.mark.parametrize("size", PHONES.values(), ids=PHONES)
def test_every_sheet_fits_and_closes(reading, opened, size):
    page = opened(reading.here + ENTER, size)
    for sheet in SHEETS:
        page.tap(f"#{sheet}")
        shown = page.locator("dialog[open]")
        expect(shown).to_be_visible()
        fits(page)
        box = shown.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= size[0]
        assert box["height"] <= size[1]
        shown.locator("[data-close]").tap()
        expect(shown).to_have_count(0)


def test_a_beginner_logs_the_first_reading_in_few_taps(tmp_path, opened):
    server = Served(tmp_path / "journal", tmp_path / "server.log")
    try:
        server.start()
        page = opened(f"{server.here}/")
        expect(page.get_by_role("heading", name="Start a bin")).to_be_visible()
        page.fill("#name", "my first")
        taps = 0
        for target in ("#start", "#place-middle", '[data-key="6"]', "#pad-add", "#store"):
            page.tap(target)
            taps += 1
        expect(page.locator("#toast-text")).to_contain_text("Stored")
        assert taps <= FEW_TAPS
        assert words_held(server.folder, "my first") == ["middle temp 6 C"]
    finally:
        server.stop()


def test_a_place_is_tapped_on_the_drawing_and_its_temperature_typed_as_read(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#place-edge")
    expect(page.locator("#pad-title")).to_have_text("Temperature, edge")
    for key in ("-", "1", "½", "to", "3", "back", "2"):
        page.tap(f'[data-key="{key}"]')
    expect(page.locator("#pad-shown")).to_have_text("−1½ to 2 °C")
    page.tap("#pad-add")
    expect(page.locator("#chips li")).to_have_count(1)
    expect(page.locator("#chips")).to_contain_text("1.5 to 2 °C (29 to 36 °F)")
    stored(page, "1.5 to 2 °C (29 to 36 °F)")
    expect(page.locator("#words")).to_have_value("")
    page.tap("#place-edge")
    expect(page.locator("#pad-last")).to_have_text("as last time: −1½ to 2 °C")


def test_fahrenheit_is_remembered_and_both_are_shown(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#place-middle")
    page.tap("#pad-unit")
    for key in ("4", "1"):
        page.tap(f'[data-key="{key}"]')
    page.tap("#pad-add")
    expect(page.locator("#words")).to_have_value("middle temp 41 F")
    stored(page, "5 °C")
    page.reload()
    page.tap("#place-middle")
    page.tap('[data-key="9"]')
    expect(page.locator("#pad-shown")).to_have_text("9 °F")


def test_ph_off_a_strip(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#tap-ph")
    expect(page.locator("#pad-minus")).to_be_disabled()
    for key in ("6", ".", "5", "to", "7", "strip"):
        page.tap(f'[data-key="{key}"]')
    page.get_by_role("dialog").get_by_label("edge").check()
    page.tap("#pad-add")
    expect(page.locator("#words")).to_have_value("edge pH 6.5 to 7 (strip)")
    stored(page, "6.5 to 7")


def test_a_feeding_with_what_was_fed_before_one_tap_away(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#tap-fed")
    page.fill("#fed-material", "carrot peel")
    for _ in range(3):
        page.locator('[data-of="fed-amount"][data-step="50"]').tap()
    page.locator('[data-of="fed-amount"][data-step="-50"]').tap()
    expect(page.locator("#fed-amount")).to_have_text("100")
    page.tap("#fed-add")
    expect(page.locator("#words")).to_have_value("fed about 100 g carrot peel")
    stored(page, "carrot peel")
    page.tap("#tap-fed")
    page.locator("#fed-recent").get_by_role("button", name="carrot peel").tap()
    expect(page.locator("#fed-material")).to_have_value("carrot peel")


def test_a_sighting_by_counter(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#tap-seen")
    page.get_by_role("button", name="Ten animals more").tap()
    page.get_by_role("button", name="One animals more").tap()
    page.get_by_role("button", name="One animals more").tap()
    page.get_by_role("button", name="One animals less").tap()
    page.get_by_role("dialog").get_by_label("at least").check()
    page.get_by_role("dialog").get_by_label("surface").check()
    page.tap("#seen-add")
    expect(page.locator("#words")).to_have_value("saw at least 11 worms at the surface")
    stored(page, "11")


def test_a_sample_is_counted_with_plus_and_minus_and_nothing_found_is_not_the_same_as_not_looked_for(reading, opened):
    page = opened(reading.here + ENTER)
    page.tap("#tap-count")
    sheet = page.locator("#sheet-count")
    sheet.get_by_role("button", name="1 L").tap()
    for _ in range(3):
        sheet.locator('[data-of="count-adult"][data-step="1"]').tap()
    sheet.locator('[data-of="count-adult"][data-step="-1"]').tap()
    sheet.locator('[data-of="count-cocoon"][data-step="-1"]').tap()
    expect(page.locator("#count-cocoon")).to_have_text("0")
    expect(page.locator("#count-juvenile")).to_have_text("–")
    page.tap("#count-add")
    assert set(page.input_value("#words").split(": ")[1].split(", ")) == {"2 adults", "0 cocoons"}
    stored(page, "2 adults")


def test_chips_are_removed_and_mended_before_anything_is_stored(reading, opened):
    page = opened(reading.here + ENTER)
    page.fill("#words", "middle 6 C, edge 44 C; fed 120 g pear cores")
    chips = page.locator("#chips li")
    expect(chips).to_have_count(3)
    chips.nth(2).get_by_role("button", name="Remove").tap()
    expect(chips).to_have_count(2)
    chips.nth(1).locator(".chip-words").tap()
    expect(page.locator("#pad-title")).to_have_text("Temperature, edge")
    page.tap('[data-key="4"]')
    page.tap("#pad-add")
    expect(chips.nth(1)).to_contain_text("4 °C")
    expect(chips).to_have_count(2)
    stored(page, "4 °C")
    words = words_held(reading.folder, "south")
    assert [one for one in words if "44" in one or "120 g" in one] == []


def test_what_cannot_be_understood_is_said_beside_the_line_and_not_sent(reading, opened):
    page = opened(reading.here + ENTER)
    page.fill("#words", "middle 700 C")
    expect(page.locator("#line-status")).to_contain_text("from -40 to 90 °C")
    expect(page.locator("#words")).to_have_attribute("aria-invalid", "")
    page.tap("#store")
    expect(page.locator("#line-status")).to_contain_text("from -40 to 90 °C")
    expect(page.locator("#words")).to_have_value("middle 700 C")
    assert [one for one in words_held(reading.folder, "south") if "700" in one] == []


def test_without_script_a_line_is_checked_stored_and_taken_back(reading, opened):
    page = opened(reading.here + ENTER, java_script_enabled=False)
    page.fill("#words", "middle 5.25 C")
    page.get_by_role("button", name="Check only").click()
    expect(page.locator("#form-read")).to_contain_text("5.25")
    page.get_by_role("button", name="Store").click()
    expect(page.locator("#just-stored")).to_contain_text("5.25")
    page.get_by_role("button", name="Take it back").click()
    expect(page.locator("#just-stored")).not_to_contain_text("5.25")
    assert words_held(reading.folder, "south").count("middle 5.25 C") == 1


def test_the_desk_scrolls_sideways_neither(reading, opened):
    for path in PAGES:
        assert opened(reading.here + path, DESK, touch=False).evaluate(WIDER) <= 0
