"""Words and colours that a keeper brings."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageColor

from underlid.update.lifefacts import Own
from underlid.update.own import (
    MOST_WORDS,
    NoColour,
    NoSuchSection,
    UnfitWords,
    accent_from,
    contrast,
    readable,
    words_from,
)
from underlid.update.prose.said import SECTIONS

# The W3C's example page for its technique G183 ("Links with a 3:1 contrast ratio with surrounding text", WCAG 2) lists
# these as passing at 3:1 against black and at 5:1 against white.
WEB_SAFE = (
    "#cc0000", "#cc0033", "#cc0066", "#cc0099", "#9900cc", "#6600ff", "#9900ff", "#cc3300", "#cc3333",
    "#993366", "#993399", "#9933cc", "#3333ff", "#6633ff", "#336600", "#666600", "#336633", "#666633",
    "#006666", "#336666", "#666666", "#006699", "#336699", "#666699", "#0066cc", "#3366cc",
)  # fmt: skip
hexes = st.integers(0, 0xFFFFFF).map(lambda number: f"#{number:06x}")


# --- words ------------------------------------------------------------------------------------------------


def test_words_go_to_the_part_their_heading_names():
    text = "Hello.\n\nIt was cold.\n\n# animals\nThey hid\nunder the card.\n\n# What comes NEXT:\nStraw.\n"
    assert words_from(text) == (
        ("", ("Hello.", "It was cold.")),
        ("animals", ("They hid under the card.",)),
        ("next", ("Straw.",)),
    )


@pytest.mark.parametrize(("name", "title"), SECTIONS.items())
def test_a_part_is_named_by_its_short_name_or_its_title_in_any_case(name, title):
    assert words_from(f"# {name.upper()}\nx") == words_from(f"#   {title.lower()}  \nx") == ((name, ("x",)),)


def test_words_of_one_part_that_stand_in_two_places_belong_together():
    own = Own(words=words_from("# care\none\n# next\ntwo\n# care\nthree"))
    assert own.paragraphs("care") == ("one", "three")
    assert own.paragraphs("next") == ("two",)
    assert own.paragraphs("") == ()


def test_a_sign_of_number_without_a_space_is_text():
    assert words_from("#animals are here\n\na # animals") == (("", ("#animals are here", "a # animals")),)


@pytest.mark.parametrize("text", ["", "\n \n\t\n", "# animals\n\n# care\n"])
def test_no_words_are_no_words(text):
    assert words_from(text) == ()


def test_markup_of_any_kind_stays_the_text_it_is():
    said = '<b onclick="x()">&amp; #set page() *bold* {{ x }} =1+1'
    assert words_from(said) == (("", (said,)),)


@pytest.mark.parametrize("ends", ["\r\n", "\r", "\n", "\u2028"])
def test_line_ends_of_any_system(ends):
    assert words_from("\ufeff" + ends.join(["a", "", "b", "c"])) == (("", ("a", "b c")),)


@pytest.mark.parametrize("heading", ["# worms", "# ", "#", "## Animals of the wood"])
def test_an_unknown_part_is_refused_with_those_that_exist(heading):
    with pytest.raises(NoSuchSection, match=r"Line 3 of your words.*month.*animals \(The animals\).*care") as caught:
        words_from(f"a\n\n{heading}\nb")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("sign", ["\0", "\x07", "\x1b", "\x7f", "\x85", "\u202e", "\u2066", "\ufdd0", "\ud800"])
def test_signs_that_are_no_text_are_refused_where_they_stand(sign):
    with pytest.raises(UnfitWords, match=rf"Line 2 .*U\+{ord(sign):04X}, sign 3 ") as caught:
        words_from(f"one\nab{sign}c")
    assert str(caught.value).isprintable()


def test_other_scripts_accents_and_joined_signs_are_text():
    said = "Zoë’s Würmer – 蚯蚓 ☔ 👩🏽‍🌾 می‌خواهم"
    assert words_from(said) == (("", (said,)),)


def test_too_many_words_are_refused():
    assert words_from("x" * MOST_WORDS)
    with pytest.raises(UnfitWords, match="20001 characters and 20000 is the most"):
        words_from("x" * (MOST_WORDS + 1))


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_refused_by_name_or_taken_with_every_word(text):
    try:
        found = words_from(text)
    except (NoSuchSection, UnfitWords):
        return
    kept = [word for _, paragraphs in found for paragraph in paragraphs for word in paragraph.split()]
    given_words = [
        word for line in text.removeprefix("\ufeff").replace("\r", "\n").splitlines()
        if not line.lstrip().startswith("#") for word in line.split()
    ]  # fmt: skip
    assert [word for word in kept if not word.startswith("#")] == [w for w in given_words if not w.startswith("#")]


# --- colours ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "colour"),
    [("#24485c", "#24485c"), ("#2BC", "#22bbcc"), (" Teal ", "#008080"), ("RebeccaPurple", "#663399"),
     ("#ABCDEF", "#abcdef"), ("lightgrey", "#d3d3d3")],
)  # fmt: skip
def test_a_colour_by_its_numbers_or_its_name(said, colour):
    assert accent_from(said) == colour


def test_every_name_of_css_is_known():
    # CSS Color Module Level 4 (W3C 2022) names 148 colours.
    assert len({name for name in ImageColor.colormap if accent_from(name)}) == 148


@pytest.mark.parametrize(
    "said", ["", "#12", "#12345", "#ggg", "worm", "rgb(1,2,3)", "#12345g", "#١٢٣", "url(x);", "teal;"]
)
def test_what_is_no_colour_is_refused(said):
    with pytest.raises(NoColour, match="is no colour; write one as") as caught:
        accent_from(said)
    assert f'"{said}"' in str(caught.value)


@pytest.mark.parametrize(
    ("colour", "on_black"),
    [("#3366cc", 3.9), ("#3333ff", 3.1), ("#5e5e00", 3.1), ("#5a5a5a", 3.0), ("#ffffff", 21.0), ("#000000", 1.0)],
)
def test_contrast_as_the_w3c_gives_it(colour, on_black):
    # W3C, Techniques for WCAG 2.2, G183, text and example page; 21 and 1 are the ends of the definition's own scale.
    assert round(contrast(colour, "#000000"), 1) == on_black
    assert contrast(colour, "#000000") == contrast("#000000", colour)


@pytest.mark.parametrize("colour", WEB_SAFE)
def test_colours_that_the_w3c_lists_as_passing_on_black_and_on_white(colour):
    assert contrast(colour, "#000000") >= 3
    assert contrast(colour, "#ffffff") >= 5
    assert readable(colour) == colour


@settings(max_examples=200, deadline=None)
@given(hexes, hexes)
def test_any_accent_is_readable_on_any_paper(accent, paper):
    assert contrast(readable(accent, paper), paper) >= 4.5


@settings(max_examples=100, deadline=None)
@given(hexes)
def test_on_white_an_accent_only_darkens_and_no_further_than_it_must(accent):
    found = readable(accent)
    assert all(int(found[i : i + 2], 16) <= int(accent[i : i + 2], 16) for i in (1, 3, 5))
    assert found == accent or contrast(found, "#ffffff") < 5


def test_on_dark_paper_an_accent_is_made_lighter():
    assert contrast(readable("#24485c", "#15161a"), "#15161a") >= 4.5
    assert readable("#24485c", "#15161a") != "#000000"
