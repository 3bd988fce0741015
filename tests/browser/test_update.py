"""The monthly account in a real browser, opened as a file: with its script and without, by mouse, finger and keys."""

from __future__ import annotations

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONES
from tests.update import filmed, living
from tests.update.forms.test_page import ranged
from underlid.update.forms.page import page as account
from underlid.update.prose import phrases, telling


@pytest.fixture(scope="module")
def story():
    return living.story(cut=filmed.coarse_cut())


@pytest.fixture(scope="module")
def address(story, tmp_path_factory):
    file = tmp_path_factory.mktemp("account") / "south-2026-01.html"
    file.write_text(account(story), "utf-8")
    return file.as_uri()


def reader(page, chart):
    """The slider and the words of a chart."""
    figure = page.locator("figure.chart", has=page.locator(f"svg.{chart}-desk")).first
    return figure.get_by_role("slider"), figure.locator(".said-of")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONES["phone"]], ids=["desk", "phone"])
def test_axe_finds_nothing(address, opened, size, dark):
    page = opened(address, size, dark=dark, touch=False)
    for reading in ("Full", "In plain words"):
        page.get_by_role("button", name=reading).click()
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["target"]) for one in found] == []


@pytest.mark.parametrize("width", [320, 390, 700, 1200])
def test_nothing_runs_out_at_the_side(address, opened, width):
    page = opened(address, (width, 800), touch=False)
    assert page.evaluate("document.documentElement.scrollWidth") == width


def test_pictures_and_fonts_are_shown_under_the_pages_own_policy(address, opened, story):
    page = opened(address, DESK, touch=False)
    widths = page.evaluate("[...document.images].map(one => one.naturalWidth)")
    assert widths == [one.width for one in story.own.pictures]
    assert (
        page.evaluate("document.fonts.ready.then(all => [...all].filter(one => one.status === 'loaded').length)") == 2
    )


def test_the_arrow_keys_read_the_chart_off(address, opened, story):
    page = opened(address, DESK, touch=False)
    slider, said = reader(page, "month")
    slider.focus()
    page.keyboard.press("Home")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    hours, hour = story.hours, 5
    moment = datetime.fromtimestamp(int(hours.time_utc[hour]), ZoneInfo(story.timezone))
    middle = ranged(hours.middle_c[hour], "degC")
    litres = ranged(hours.refuge_pct[hour] * story.refuge.bedding_litres / 100, "L")
    text = said.text_content().replace("\xa0", " ")
    for part in (
        phrases.hour(moment), "estimated", phrases.temperature(middle), phrases.temperature_range(middle),
        phrases.litres(litres), phrases.litres_range(litres), phrases.warmth(round(2 * hours.air_c[hour, 1]) / 2),
    ):  # fmt: skip
        assert part.replace("\xa0", " ") in text
    assert slider.get_attribute("aria-valuetext").replace("\xa0", " ") == phrases.hour(moment)
    page.keyboard.press("End")
    expect(said).to_contain_text("predicted")


def test_the_pointer_reads_the_chart_off_where_it_is(address, opened):
    page = opened(address, DESK, touch=False)
    slider, said = reader(page, "refuge")
    page.locator("svg.refuge-desk").scroll_into_view_if_needed()
    box = page.locator("svg.refuge-desk").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 4, box["y"] + box["height"] / 2)
    early = int(slider.input_value())
    page.mouse.move(box["x"] + box["width"] * 0.75, box["y"] + box["height"] / 2)
    assert int(slider.input_value()) > 2 * early
    line = page.locator("figure:has(svg.refuge-desk) .desk .line").bounding_box()
    assert line["x"] == pytest.approx(box["x"] + box["width"] * 0.75, abs=2)
    expect(said).to_contain_text("Refuge about")


def test_a_finger_reads_the_animals_off(address, opened, story):
    page = opened(address, PHONES["phone"])
    drawing = page.locator("svg.animals-phone")
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
    slider, said = reader(page, "animals")
    low, middle, high = (int(value) for value in story.animals.daily.worms[int(slider.input_value())])
    assert f"About {middle} worms, nine in ten {low} to {high};" in said.text_content().replace("\xa0", " ")


def test_the_cut_is_moved_and_read(address, opened):
    page = opened(address, DESK, touch=False)
    cut = page.locator("#cut")
    words, part = cut.locator(".live .said-of").all()
    first, colours = words.text_content(), "[...document.querySelectorAll('#cut g text')].map(one => one.textContent)"
    cells = page.evaluate(colours)
    cut.get_by_role("slider").focus()
    page.keyboard.press("Home")
    assert words.text_content() != first
    assert page.evaluate(colours) != cells
    cut.get_by_role("group").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(part).to_contain_text(re.compile(r"Part 2 of \d from the left, 1 of \d from the top: about .*°C.*°F"))
    assert not cut.get_by_role("button", name="Play").is_visible()  # who asked for less motion has the slider


def test_the_cut_is_played_to_its_end(address, opened):
    page = opened(address, DESK, touch=False)
    page.emulate_media(reduced_motion="no-preference")
    page.reload()
    cut = page.locator("#cut")
    cut.get_by_role("button", name="Play").click()
    expect(cut.get_by_role("button", name="Stop")).to_be_visible()
    expect(cut.get_by_role("button", name="Play")).to_be_visible()
    slider = cut.get_by_role("slider")
    assert slider.input_value() == slider.get_attribute("max")


def test_the_way_it_is_told_is_switched_and_kept_in_the_address(address, opened, story):
    page = opened(address, DESK, touch=False)
    plain, full = page.locator("#plain"), page.locator("#full")
    assert full.is_visible()
    assert not plain.is_visible()
    button = page.get_by_role("button", name="In plain words")
    button.click()
    assert button.get_attribute("aria-pressed") == "true"
    assert page.url.endswith("#plain")
    assert plain.locator("p").all_text_contents() == list(telling.short(story))
    assert not full.is_visible()
    page.reload()
    assert not full.is_visible()
    page.evaluate("location.hash = 'fit'")  # evidence is of the full account
    expect(page.locator("#fit")).to_be_visible()


def test_without_its_script_the_page_says_everything(address, opened, story):
    page = opened(address, PHONES["phone"], java_script_enabled=False)
    for section in telling.sections(story):
        assert page.locator(f"#{section.name}").is_visible()
    assert page.locator("#plain").is_visible()
    assert page.locator("#cut .still").is_visible()
    assert page.get_by_role("slider").count() == 0
    assert not page.locator(".switch").is_visible()


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without"])
def test_a_photo_is_enlarged_and_closed(address, opened, script):
    page = opened(address, DESK, touch=False, java_script_enabled=script)
    picture = page.locator("#photo-1 img")
    small = picture.bounding_box()["width"]
    page.locator("#photo-1 .open").click()
    expect(page.locator("#photo-1 .close")).to_be_visible()
    assert picture.bounding_box()["width"] > small
    page.locator("#photo-1 .close").click()
    assert picture.bounding_box()["width"] == small
