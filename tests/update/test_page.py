from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser

import pytest

from tests.update.sample import ENTRIES, NOW, READINGS, ZONE, sample, truth
from underlid.records import Note
from underlid.update import words
from underlid.update.page import page
from underlid.update.story import tell

VOID = {"meta", "br", "hr", "img", "input", "link", "path", "rect", "circle"}


class Outline(HTMLParser):
    """Open tags balanced, every attribute seen, every heading and text kept."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[tuple[str, str]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text += data
            if self.open[-1] in ("h1", "h2", "h3"):
                self.headings.append((self.open[-1], data))


@pytest.fixture(scope="module")
def html() -> str:
    return page(tell(sample(), (2026, 1), keeper="M. Example", truth=truth(sample())))


@pytest.fixture(scope="module")
def outline(html: str) -> Outline:
    return Outline(html)


def test_the_page_needs_nothing_from_outside(html: str, outline: Outline) -> None:
    assert "://" not in html
    assert "@import" not in html
    tags = {tag for tag, _, _ in outline.attributes}
    assert not tags & {"script", "link", "iframe", "object", "img", "a"}
    for _, name, value in outline.attributes:
        assert name not in ("src", "srcset", "data", "action")
        assert not name.startswith("on")
        if name in ("href", "xlink:href"):
            assert value.startswith("#")
    assert all(found.startswith("#") for found in re.findall(r"url\(([^)]*)", html))


def test_the_page_is_well_formed(outline: Outline) -> None:
    assert outline.open == []
    ids = [value for _, name, value in outline.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    assert ("html", "lang", "en") in outline.attributes


def test_every_chart_is_labelled_at_both_sizes(outline: Outline) -> None:
    labels = [value for tag, name, value in outline.attributes if tag == "svg" and name == "aria-label"]
    assert len(labels) == 6
    assert len(set(labels)) == 3


def test_the_sections_stand_in_order(outline: Outline) -> None:
    assert [text for tag, text in outline.headings if tag in ("h1", "h2")] == [
        "Porch tote", "The month in short", "How close was it? (demo only)", "Air and bedding", "The refuge",
        "What comes next", "What was noted", "What is not known", "What the fit learned", "The bin", "Take care",
        "Sources",
    ]  # fmt: skip


def test_every_sentence_of_the_words_is_on_the_page(outline: Outline) -> None:
    story = tell(sample(), (2026, 1), truth=truth(sample()))
    for sentence in (*words.in_short(story), *words.truth(story), *words.unknown(story)):
        assert sentence in outline.text


def test_words_of_the_keeper_stay_words(html: str) -> None:
    assert "&lt;grounds&gt;" in html
    nasty = "</style><script>alert(1)</script>"
    note = Note(id="n", bin="Porch tote", when=READINGS[1].when, words=nasty)
    told = page(tell(sample((note, replace(READINGS[1], words=nasty))), (2026, 1), title=nasty, keeper=nasty))
    assert "<script" not in told
    assert "&lt;script&gt;" in told


def test_the_same_story_gives_the_same_bytes(html: str) -> None:
    assert page(tell(sample(), (2026, 1), keeper="M. Example", truth=truth(sample()))) == html


def test_a_real_bin_shows_no_truth() -> None:
    assert "invented truth" not in page(tell(sample(), (2026, 1)))


def test_a_bare_journal_still_makes_a_page() -> None:
    text = Outline(page(tell(sample(()), (2026, 1)))).text
    assert "No readings were noted this month, nor in any month before it." in text
    assert "No feeding was noted." in text
    assert "without readings the ranges stay as they were" in text


def test_a_month_without_readings_says_so_for_that_month_alone() -> None:
    text = Outline(page(tell(sample(READINGS[:1]), (2026, 1)))).text
    assert "No readings were noted this month." in text


def test_three_readings_are_enough_for_a_page() -> None:
    assert Outline(page(tell(sample(READINGS[:3]), (2026, 1)))).text.count("Porch tote") >= 1


def test_an_outlook_that_ends_early_leaves_its_chart_out() -> None:
    short = sample(end=datetime(2026, 1, 28, 12, tzinfo=ZONE), members=0)
    outline = Outline(page(tell(short, (2026, 1))))
    assert "What comes next" not in [text for _, text in outline.headings]
    assert "The account ends on 28 January 2026, before the month does." in outline.text
    none = Outline(page(tell(sample(end=NOW, members=0), (2026, 1)))).text
    assert "Nothing is predicted" in none


def test_the_lede_tells_the_keeper_and_the_bin(outline: Outline) -> None:
    assert "Kept by M. Example. About 42 litres of bedding in an open shelter, Eisenia fetida" in outline.text
    assert "three dozen or more" in outline.text


def test_entries_carry_their_words(outline: Outline) -> None:
    for entry in ENTRIES:
        if entry.when.start >= datetime(2026, 1, 1, tzinfo=ZONE):
            assert entry.words in outline.text
