from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.update import living
from tests.update.sample import NOW, sample
from underlid.fit.cut import Cut
from underlid.update.facts import Range, Story
from underlid.update.forms import printed, typeset
from underlid.update.lifefacts import Own, Picture
from underlid.update.prose import telling, words
from underlid.update.story import tell

PDFTOTEXT = shutil.which("pdftotext")
needs_pdftotext = pytest.mark.skipif(PDFTOTEXT is None, reason="pdftotext, which reads a PDF back, is not installed")

MARKUP = "#let x = 1 $y$ *a* _b_ @c \\d <e> `f` // g [h] ~ -- ... 'i' \"j\""
ENDLESS = "W" * 150


def picture(width: int, height: int) -> Picture:
    data = io.BytesIO()
    Image.new("RGB", (width, height), "#7a8a5a").save(data, "JPEG")
    return Picture("lid", "The lid, lifted", NOW, data.getvalue(), width, height)


def a_cut() -> Cut:
    """An invented cut through the whole time of the sample."""
    grid = sample().case.time_utc
    hour = np.arange(0, len(grid), 24)
    middle = 2.0 * np.sin(hour / 50)[:, None, None] + np.linspace(-1, 2, 54).reshape(6, 9)
    bedding = np.stack([middle - 1, middle, middle + 1], axis=-1)
    return Cut(hour, grid[hour], np.linspace(0.02, 0.36, 9), np.linspace(0.02, 0.2, 6), bedding, 0.38, 0.22)


@pytest.fixture(scope="module")
def plain() -> Story:
    return tell(sample(()), (2026, 1))


@pytest.fixture(scope="module")
def rich() -> Story:
    own = Own(
        title="A *bin* behind school #7", keeper="Class 5b", accent="#ffcc00",
        words=(("", (MARKUP, ENDLESS)), ("animals", ("They like 🐛 coffee.",))),
        pictures=(picture(160, 120), picture(90, 160), picture(100, 100)),
    )  # fmt: skip
    return tell(sample(), (2026, 1), own=own, cut=a_cut())


@pytest.fixture(scope="module")
def account(rich: Story) -> bytes:
    return printed.account(rich)


@pytest.fixture(scope="module")
def poster(rich: Story) -> bytes:
    return printed.poster(rich)


def text_of(pdf: bytes, *options: str) -> str:
    assert PDFTOTEXT is not None
    return subprocess.run([PDFTOTEXT, *options, "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def pages(pdf: bytes) -> int:
    return text_of(pdf).count("\f")


def boxes(pdf: bytes) -> list[tuple[str, float, float, float, float]]:
    """Each word with the left, top, right and bottom of its box [pt]."""
    found = re.findall(
        r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', text_of(pdf, "-bbox")
    )
    return [(word, *map(float, ends)) for *ends, word in found]


def test_both_are_tagged_pdfs_with_their_title(account: bytes, poster: bytes):
    for made in (account, poster):
        assert made.startswith(b"%PDF-")
        assert b"pdfuaid:part>1<" in made
        assert b"A *bin* behind school #7, January 2026" in made


def test_the_same_story_gives_the_same_bytes(rich: Story, account: bytes, poster: bytes):
    assert printed.account(rich) == account
    assert printed.poster(rich) == poster


def test_a_chart_drawn_anew_is_the_same(plain: Story):
    first = printed._chart(plain, "outlook")
    printed._drawn.cache_clear()
    assert printed._chart(plain, "outlook") == first


@needs_pdftotext
def test_the_account_holds_every_sentence_and_the_keepers_words(rich: Story, account: bytes):
    read = squeezed(text_of(account, "-layout"))
    for section in telling.sections(rich):
        assert squeezed(section.title) in read
        for one in section.said:
            for part in one.full.split():
                assert part in read
    for key in words.key_figures(rich):
        assert squeezed(key.figure) in read
    assert squeezed(MARKUP) in read
    assert squeezed("A *bin* behind school #7") in read
    for fact in rich.readings:
        assert squeezed(fact.when_words) in read


@needs_pdftotext
@pytest.mark.parametrize("make", [printed.account, printed.poster])
def test_an_endless_word_stays_on_the_page(make, rich: Story):
    shown = replace(rich, own=replace(rich.own, title=ENDLESS))
    made = make(shown)
    wide = 595.3 if make is printed.account else 1190.6
    assert ENDLESS in squeezed(text_of(made, "-layout"))
    assert all(left >= 0 and right <= wide for _, left, _, right, _ in boxes(made))


@needs_pdftotext
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.text(alphabet="#$*_@\\<>`/[](){}~=+-'\"&|^%!;:.,aZ9äßñЖΩ→漢🐛", min_size=1, max_size=12), min_size=1,
             max_size=6)
)  # fmt: skip
def test_a_keepers_words_come_out_as_they_are(plain: Story, said: list[str]):
    shown = replace(plain, own=Own(words=(("done", (" ".join(said),)),)))
    read = squeezed(text_of(printed.account(shown), "-layout"))
    for word in said:
        for drawable in re.split("[漢🐛]", word):  # these two have a box with their number in their place
            assert drawable in read


@needs_pdftotext
def test_pages_are_numbered_and_bear_a_running_head(account: bytes):
    read = text_of(account, "-layout")
    parts = read.split("\f")[:-1]
    assert len(parts) > 2
    for number, part in enumerate(parts, 1):
        assert f"{number} of {len(parts)}" in part
        if number > 1:
            assert part.lstrip().startswith("A *bin* behind school #7")


@needs_pdftotext
@pytest.mark.parametrize("name", ["plain", "rich", "full"])
def test_a_poster_is_one_page_on_which_nothing_overlaps(name: str, plain: Story, poster: bytes):
    made = poster
    if name != "rich":
        full = replace(living.story(), own=Own(pictures=(picture(160, 120),)), cut=a_cut())
        made = printed.poster(plain if name == "plain" else full)
    assert pages(made) == 1
    # A box is as high as the font's line; letters fill its middle.
    found = [
        (word, left, top + 0.25 * (bottom - top), right, bottom - 0.2 * (bottom - top))
        for word, left, top, right, bottom in boxes(made)
    ]
    assert len(found) > 100
    for number, (word, left, top, right, bottom) in enumerate(found):
        assert 0 <= left < right <= 1190.6
        assert 0 <= top < bottom <= 1683.8
        for other, left_2, top_2, right_2, bottom_2 in found[number + 1 :]:
            across, along = min(right, right_2) - max(left, left_2), min(bottom, bottom_2) - max(top, top_2)
            assert across < 1 or along < 1, (word, other, left, top)


@needs_pdftotext
def test_a_poster_says_the_month_in_three_sentences_and_what_is_not_known(rich: Story, poster: bytes):
    read = text_of(poster, "-layout")
    for title in ("What comes next", "What is not known", "Take care", "Inside, at the hour thought the coldest"):
        assert title in read
    sentences = telling.sections(rich)[0].said
    assert len(sentences) == 3
    flat = squeezed(read)
    for one in sentences:
        assert squeezed(one.full) in flat or squeezed(one.short) in flat


@needs_pdftotext
def test_photos_are_shown_whole_with_their_captions(account: bytes, poster: bytes):
    assert text_of(account).count("The lid, lifted") == 3
    assert text_of(poster).count("The lid, lifted") == 1


@needs_pdftotext
def test_a_month_without_readings_says_so(plain: Story):
    read = squeezed(text_of(printed.account(plain)))
    assert squeezed("No readings were noted this month, nor in any month before it.") in read
    assert squeezed("No feeding was noted.") in read
    assert "Expected" not in read


def test_a_chart_is_drawn_anew_when_its_facts_change(plain: Story):
    other = replace(plain, coldest=replace(plain.coldest, temperature=Range(0, 1, 2, "degC", "estimated")))
    days = replace(plain, hours=replace(plain.hours, air_c=plain.hours.air_c + 3))
    assert printed._chart(other, "month") == printed._chart(plain, "month")
    assert printed._chart(days, "month") != printed._chart(plain, "month")


def test_characters_without_a_glyph_are_found():
    assert typeset.undrawn(["plain – “words” 5 °C", "Ж and Ω"]) == []
    assert typeset.undrawn(["a 🐛 and 漢字", "🐛"]) == sorted("🐛漢字")
