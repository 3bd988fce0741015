"""Temperatures in words: what is one, and what must stay a note.

Source of none of these lines: they are how keepers might say it, common practice.
"""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.test_entry import only, reading, understood
from underlid.entry import EntryError, describe
from underlid.entry.numbers import NUMBER_WORD
from underlid.quantity.phrase import NUMBER_WORDS
from underlid.records import Note, Reading

TENS = [word for word, n in NUMBER_WORDS.items() if n >= 20]
ONES = [word for word, n in NUMBER_WORDS.items() if 1 <= n <= 9]
WORD_OF = {n: word for word, n in NUMBER_WORDS.items()} | {
    NUMBER_WORDS[ten] + NUMBER_WORDS[one]: f"{ten}-{one}" for ten in TENS for one in ONES
}
SIGNED = st.tuples(st.booleans(), st.integers(0, 30))
UNITS = st.sampled_from([" C", " °C", " F", " degrees", " degrees C", " deg F", "°"])
FORMS = st.sampled_from(
    [
        "{} in the middle",
        "middle {}",
        "the edge is at {}",
        "top: {}",
        "{}, 5 cm down",
        "about {} at the side",
        "{}",
        "air {}",
        "temp was {}",
        "at least {} in the corner",
        "under {} at the edge",
        "between {} and 60 F in the middle",
    ]
)


@pytest.mark.parametrize("word", [*NUMBER_WORDS, "twenty-one", "thirty five"])
def test_every_number_word_of_the_grammar_is_one_in_a_line(word: str) -> None:
    assert re.fullmatch(NUMBER_WORD, word)
    assert reading(f"middle {word} F").amount == reading(f"middle {word} F ").amount


@settings(deadline=None, max_examples=120)
@given(SIGNED, UNITS, FORMS)
def test_a_temperature_in_words_is_the_one_in_digits(number: tuple[bool, int], unit: str, form: str) -> None:
    below, n = number
    words, digits = (f"{'minus ' if below else ''}{one}{unit}" for one in (WORD_OF[n], n))
    in_words, in_digits = (_told(form.format(said)) for said in (words, digits))
    assert in_words == in_digits


def _told(line: str) -> str:
    try:
        (record,) = understood(line).records
    except EntryError as error:  # "air 30 °F to -3" and the like are refused in both forms
        return error.what
    assert isinstance(record, Reading)
    return f"{describe(record)} {record.amount.low} {record.amount.high} {record.amount.kind}"


@pytest.mark.parametrize(
    ("line", "place", "low", "high"),
    [
        ("six C in the middle", "middle", 5.5, 6.5),
        ("minus three C at the edge", "edge", -3.5, -2.5),
        ("six to seven degrees in the middle", "middle", 6, 7),
        ("five or six C at the top", "surface", 5, 6),
        ("six and a half C in the middle", "middle", 6.25, 6.75),
        ("six-ish C in the middle", "middle", 4.5, 7.5),
        ("just above three C at the edge", "edge", 3, 4),
        ("six C, middle", "middle", 5.5, 6.5),
        ("Middle: six degrees I think", "middle", 5.5, 6.5),
    ],
)
def test_words_with_a_unit_and_a_place_on_either_side(line: str, place: str, low: float, high: float) -> None:
    found = reading(line)
    assert (found.quantity, found.place, found.amount.low, found.amount.high) == ("temperature", place, low, high)
    assert found.words == line


def test_words_divide_clauses_and_give_depths_as_digits_do() -> None:
    middle, edge = understood("middle 3 C and edge two C").records
    assert isinstance(middle, Reading)
    assert isinstance(edge, Reading)
    assert (middle.place, edge.place, edge.amount.low) == ("middle", "edge", 1.5)
    depth = reading("six C two inches down").depth
    assert depth is not None
    assert (depth.words, depth.unit) == ("two inches", "m")
    lent = understood("middle 2 C, edge minus three").records[1]
    assert isinstance(lent, Reading)
    assert lent.amount.high == -2.5


@pytest.mark.parametrize(
    "line",
    [
        "six degrees colder than the air",
        "6 degrees colder than the air",
        "3 C warmer in the middle than at the edge",
        "two degrees above the air",
        "five C lower than yesterday",
        "middle one degree up",
        "one C battery",
        "two C batteries in the probe",
        "grade three C compost",
        "two cups",
        "two cups in the corner",
        "half six",
        "at six the sun was gone",
        "six feet from the fence",
        "one for each corner",
        "twelve finches",
        "a difference of six degrees",
        "dropped six degrees",
        "six of one",
        "one faint smell at the edge",
        "often C shaped at the edge",
    ],
)
def test_what_is_no_temperature_stays_a_note(line: str) -> None:
    assert isinstance(only(line), Note)


@pytest.mark.parametrize("line", ["minus three at the edge", "-3 at the edge", "six in the middle"])
def test_a_number_without_a_unit_is_refused_in_words_as_in_digits(line: str) -> None:
    with pytest.raises(EntryError, match="no unit"):
        understood(line)


AFTER = st.sampled_from(
    ["battery", "cups", "clamp", "worms", "of them", "holes", "side up", "clay", "am", "o'clock", "6"]
)


@settings(deadline=None, max_examples=80)
@given(st.sampled_from(sorted(NUMBER_WORDS)), st.sampled_from([" C ", " F ", " degrees "]), AFTER)
def test_words_that_go_on_after_the_unit_are_no_temperature(word: str, unit: str, after: str) -> None:
    assert not isinstance(only(f"{word}{unit}{after}"), Reading)
