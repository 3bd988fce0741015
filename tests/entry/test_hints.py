"""What a note may have been meant for: an example in the keeper's own figures that is understood."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.test_entry import BUCKET, only, understood
from underlid.entry import looks_like
from underlid.entry.said import Known
from underlid.records import Note


@pytest.mark.parametrize(
    ("line", "what", "example"),
    [
        ("minus three", "a temperature", "middle minus three C"),
        ("one C battery", "a temperature", "middle one C"),
        ("maybe at the edge it was about 6 C", "a temperature", "edge about 6 C"),
        ("felt like six C at the edge", "a temperature", "edge six C"),
        ("the pH paper went to 6", "a pH", "pH 6"),
        ("something like 1.2 mS/cm", "a reading of EC", "EC 1.2 mS/cm"),
        ("70 %", "a moisture", "moisture 70 %"),
        ("looked like 70 percent in the middle", "a moisture", "moisture 70 % in the middle"),
        ("12 wriggly worms", "a sighting", "saw 12 worms"),
        ("two baby worms were on the lid walking about", "a sighting", "saw two baby worms at the surface"),
        ("two worms without a saddle", "a sighting", "saw two worms"),
        ("100 g coffee grounds", "a feeding", "fed 100 g coffee grounds"),
        ("coffee grounds 100 g", "a feeding", "fed 100 g coffee grounds"),
        ("put in fifty grams of peel at the edge", "a feeding", "fed fifty grams of peel"),
        ("poured 500 ml of water in", "a feeding", "added 500 ml of water"),
        ("half a bucket of leaves", "a feeding", "fed half a bucket of leaves"),
        ("two cups", "a feeding", "fed two cups of coffee grounds"),
        ("Feeding: coffee grounds", "a feeding", "fed coffee grounds"),
    ],
)
def test_a_note_with_a_number_says_how_to_write_it(line: str, what: str, example: str) -> None:
    found = understood(line, BUCKET)
    assert isinstance(found.records[0], Note)
    said = f"'{line}': kept as a note although it looks like {what}; write it as '{example}' if it is one"
    assert found.notes_on[-1] == said
    assert not any(isinstance(record, Note) for record in understood(example, BUCKET).records)


@pytest.mark.parametrize(
    "line",
    [
        "note: middle 6 C",
        "NB 12 wriggly worms",
        "two dead worms",
        "added 20 worms",
        "3 worms escaped",
        "worms weigh little",
        "day 12 worms look fine",
        "at 7 worms were up",
        "harvested 2 kg of castings",
        "emptied half the bin",
        "bedding sank 3 cm",
        "30 % of the leaves are gone",
        "six degrees colder than the air",
        "Feeding: skipped",
        "Feeding: 2 days late",
        "fed nothing",
        "7pm at the edge",
        "3 mites",
        "felt like 300 C",  # an example that would be refused is none
    ],
)
def test_other_notes_get_no_hint(line: str) -> None:
    assert isinstance(only(line), Note)
    assert "looks like" not in " ".join(understood(line).notes_on)
    assert looks_like(line) is None


PIECES = st.sampled_from(
    [
        "six",
        "6",
        "½",
        "half a",
        "C",
        "°F",
        "%",
        "g",
        "kg",
        "ml",
        "bucket",
        "cups",
        "of",
        "worms",
        "cocoons",
        "with a",
        "saddle",
        "pH",
        "mS/cm",
        "peel",
        "water",
        "in the",
        "middle",
        "edge",
        "felt like",
        "put in",
        ":",
        "feeding:",
        "-",
    ]
)


@settings(deadline=None, max_examples=200)
@given(st.lists(PIECES, min_size=1, max_size=7).map(" ".join))
def test_every_example_is_understood_as_what_it_is_said_to_be(text: str) -> None:
    hint = looks_like(text, Known(BUCKET))
    if hint is not None:
        (record,) = understood(hint.example, BUCKET).records
        assert isinstance(record, hint.kind)
