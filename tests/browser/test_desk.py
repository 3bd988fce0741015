"""At a desk: by keyboard alone, with a pointer over the charts, and a trial from its claim to its hash."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK
from tests.browser.kept import words_held

FAR = 60  # presses of Tab after which nothing is to be hoped for
SCHEMES = {"light": False, "dark": True}
PLAN_MS = 120_000  # some hundred trials are simulated, with compiling where nothing is compiled yet


@pytest.fixture(params=SCHEMES.values(), ids=list(SCHEMES))
def at_desk(reading, opened, request):
    """Open a page at the desk, in light and in dark."""
    return lambda path: opened(reading.here + path, DESK, dark=request.param, touch=False)


def tab_to(page, wanted):
    """Press Tab until the focus is there, and see that it can be seen."""
    for _ in range(FAR):
        page.keyboard.press("Tab")
        if page.locator(wanted).evaluate("one => one === document.activeElement"):
            outline = page.locator(wanted).evaluate("one => getComputedStyle(one).outlineStyle")
            assert outline != "none", wanted
            return
    raise AssertionError(f"{FAR} presses of Tab do not lead to {wanted}")


def test_a_line_is_written_and_stored_with_the_keyboard_alone(at_desk, reading):
    page = at_desk("/")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    page.keyboard.press("Enter")
    tab_to(page, 'a[aria-label="At the bin south"]')
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="At the bin: south")).to_be_visible()
    before = words_held(reading.folder, "south").count("middle 3.5 C")
    tab_to(page, "#words")
    page.keyboard.type("middle 3.5 C")
    expect(page.locator("#chips li")).to_have_count(1)
    tab_to(page, "#store")
    page.keyboard.press("Enter")
    expect(page.locator("#toast-text")).to_contain_text("Stored")
    assert words_held(reading.folder, "south").count("middle 3.5 C") == before + 1


def test_a_sheet_is_used_with_the_keyboard_alone_and_escape_leaves_it(at_desk):
    page = at_desk("/bins/south/enter")
    tab_to(page, "#place-surface")
    page.keyboard.press("Enter")
    expect(page.locator("#sheet-pad")).to_be_visible()
    tab_to(page, '[data-key="8"]')
    page.keyboard.press("Enter")
    tab_to(page, "#pad-add")
    page.keyboard.press("Enter")
    expect(page.locator("#words")).to_have_value("surface temp 8 C")
    expect(page.locator("#store")).to_be_focused()
    page.locator("#tap-seen").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#sheet-seen")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#sheet-seen")).to_be_hidden()
    expect(page.locator("#tap-seen")).to_be_focused()
    page.fill("#words", "")


def test_the_time_is_scrubbed_by_keyboard_and_the_values_and_the_cut_follow(at_desk):
    page = at_desk("/bins/north")
    values, cut = page.locator("#values"), page.locator("#cut-says")
    expect(values).to_contain_text("Estimated, nine chances in ten")
    expect(values).to_contain_text("°F")
    now, of_now = values.inner_text(), cut.inner_text()
    tab_to(page, "#when")
    for key in ("PageDown", "PageDown", "ArrowLeft"):
        page.keyboard.press(key)
    expect(values).not_to_have_text(now, use_inner_text=True)
    expect(values).to_contain_text("Estimated")
    expect(cut).not_to_have_text(of_now, use_inner_text=True)
    page.keyboard.press("End")
    expect(values).to_contain_text("Predicted, nine chances in ten")
    expect(page.locator("#cut-from")).to_have_text("predicted")
    assert page.locator("#when").get_attribute("aria-valuetext") == page.locator("#when-shown").inner_text()


def test_a_pointer_over_a_chart_moves_the_time(at_desk):
    page = at_desk("/bins/north")
    values = page.locator("#values")
    expect(values).to_contain_text("Estimated")
    chart = page.locator('[data-panel="temperature"] .desk svg')
    seen = set()
    for share in (0.2, 0.5, 0.95):
        box = chart.bounding_box()
        chart.hover(position={"x": share * box["width"], "y": box["height"] / 2}, force=True)
        at = chart.locator(".crosshair").evaluate("line => Number(line.getAttribute('x1'))")
        assert at == pytest.approx(share * chart.evaluate("svg => svg.viewBox.baseVal.width"), rel=0.03)
        seen.add(page.locator("#when-shown").inner_text())
    assert len(seen) == 3
    expect(values).to_contain_text("Predicted")


def test_the_cut_is_stepped_played_and_asked_part_by_part(at_desk):
    page = at_desk("/bins/north")
    says = page.locator("#cut-says")
    drawn = page.locator("#cut-drawn")
    expect(page.locator("#player")).to_be_visible()
    page.locator("#step").focus()
    page.keyboard.press("Home")
    expect(page.locator("#cut-from")).to_have_text("estimated")
    first = drawn.text_content()
    page.keyboard.press("End")
    expect(page.locator("#cut-from")).to_have_text("predicted")
    assert drawn.text_content() != first
    drawn.locator("g[data-row='0'][data-column='0'] .cell").click(position={"x": 3, "y": 3}, force=True)  # or its hatch
    expect(says).to_have_text(re.compile(r"2 cm from the wall, 2 cm deep: .* to .* °C \(.* to .* °F\), nine chances"))
    celsius = drawn.locator("text").first.text_content()
    page.check("#fahrenheit")
    expect(drawn.locator("text").first).not_to_have_text(celsius)
    page.click("#play")
    expect(page.locator("#play")).to_have_attribute("aria-pressed", "true")
    page.click("#play")
    expect(page.locator("#play")).to_have_attribute("aria-pressed", "false")


def test_a_bin_is_read_without_script(reading, opened):
    page = opened(f"{reading.here}/bins/north", DESK, touch=False, java_script_enabled=False)
    expect(page.locator(".panel svg").first).to_be_visible()
    expect(page.locator("#cut-drawn")).to_be_visible()
    page.get_by_text("The cut as a table, with ranges").click()
    expect(page.locator("#cut-table")).to_contain_text("°F")
    expect(page.locator(".entries")).to_contain_text("pear cores")


def test_a_trial_is_planned_simulated_and_frozen_and_its_page_shows_the_hash(reading, opened):
    page = opened(f"{reading.here}/claims", DESK, touch=False)
    page.fill("#filter", "citrus")
    expect(page.locator("#found")).to_contain_text("of")
    page.get_by_role("link", name="Citrus peel sours the bin").click()
    page.get_by_role("link", name="Plan a trial").click()
    for name in ("north", "south", "east bin", "west"):
        page.check(f'input[name="bins"][value="{name}"]')
    page.fill("#looks", "20")
    page.fill("#margin", "nonsense")
    page.get_by_role("button", name="What can it tell?").click()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.locator("#looks")).to_have_value("20")  # what was typed stays
    expect(page.locator('input[name="bins"][value="east bin"]')).to_be_checked()
    page.fill("#margin", "2")
    page.fill("#because", "half as many would matter")
    page.fill("#name", "peel")
    page.get_by_role("button", name="What can it tell?").click()
    expect(page.get_by_role("heading", name="What “peel” can tell")).to_be_visible(timeout=PLAN_MS)
    expect(page.locator("main")).to_contain_text("by simulation")
    promised = page.locator(".hash code").inner_text()
    assert re.fullmatch("[0-9a-f]{64}", promised)
    page.get_by_role("button", name="Register").click()
    expect(page.get_by_role("heading", name="Registered", exact=True)).to_be_visible()
    expect(page.locator(".good .hash")).to_have_text(promised)
    page.goto(f"{reading.here}/trials/peel")
    expect(page.locator("main")).to_contain_text(f"SHA-256 {promised}")
    expect(page.locator("main")).to_contain_text("Cannot tell yet")
    page.get_by_text("Record a change").click()
    page.fill("#words", "the shelter was moved")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator("#changes")).to_contain_text("the shelter was moved")
    expect(page.locator("main")).to_contain_text(f"SHA-256 {promised}")
