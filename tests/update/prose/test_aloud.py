from __future__ import annotations

import re
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.update.facts import Range
from underlid.update.prose import phrases
from underlid.update.prose.aloud import sentences, spoken


def kelvin(low: float, middle: float, high: float) -> Range:
    return Range(low, middle, high, "degC", "estimated")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("about 1.5 °C (35 °F), we think.", "about 1.5 degrees Celsius, 35 Fahrenheit, we think."),
        ("−3 to −0.5 °C (26 to 32 °F)", "minus 3 to minus 0.5 degrees Celsius, 26 to 32 Fahrenheit"),
        ("1 °C (34 °F) or 0 to 1 °C", "1 degree Celsius, 34 Fahrenheit, or 0 to 1 degrees Celsius"),
        ("55 to 81 % water (estimated); dry.", "55 to 81 per cent water, estimated; dry."),
        ("“middle -8 C” (6 Jan)", "middle minus 8 degrees Celsius, 6 January"),
        ("Wed 14 January, 07:00", "Wednesday 14 January, 07:00"),
        ("pH 6.5 (6.1 to 7)", "p H 6.5, 6.1 to 7"),
        ("1.1 mS/cm, 320 g, 1 kg, 1.5 kg", "1.1 millisiemens per centimetre, 320 grams, 1 kilogram, 1.5 kilograms"),
        ("33-36 F & <damp> ~5", "33 to 36 Fahrenheit and damp about 5"),
        ("about −1.5 °C (29 °F), then", "about minus 1.5 degrees Celsius, 29 Fahrenheit, then"),
        ("from −2 to 0.5 °C (28 to 33 °F)", "from minus 2 to 0.5 degrees Celsius, 28 to 33 Fahrenheit"),
        ("(0 to 35 °C, 32 to 95 °F)", "0 to 35 degrees Celsius, 32 to 95 Fahrenheit"),
        ("−1 °C, −2 to −1 °C", "minus 1 degree Celsius, minus 2 to minus 1 degrees Celsius"),
        ("−1 to 1 °C", "minus 1 to 1 degrees Celsius"),
        ("0.1 L, 1 L, 0 to 1 g, 0.1 litres", "0.1 litres, 1 litre, 0 to 1 grams, 0.1 litres"),
        ("EC 1.2 mS/cm", "conductivity 1.2 millisiemens per centimetre"),
        ("nine in ten from 3 to 19", "nine in ten from 3 to 19"),
        ("It is so (here).", "It is so, here."),
    ],
)  # fmt: skip
def test_a_text_is_read_aloud_in_words(text: str, said: str) -> None:
    assert spoken(text) == said
    assert spoken(text.replace(" ", phrases.NB)) == said


def digits(text: str) -> list[str]:
    signed = text.replace("minus ", "−").replace(phrases.NB, " ")
    return re.findall(r"(?:(?<![\w.])[−-])?\d+(?:[.:]\d+)?", signed.replace("-", "−"))


FIGURES = st.one_of(
    st.tuples(st.floats(-40, 40), st.floats(0, 10), st.floats(0, 10)).map(
        lambda t: phrases.temperature_range(kelvin(t[0], t[0] + t[1], t[0] + t[1] + t[2]))
    ),
    st.floats(0, 1).map(phrases.chance),
    st.dates(date(2026, 1, 1), date(2027, 1, 1)).map(phrases.day),
    st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)).map(phrases.hour),
    st.floats(0, 5000).map(lambda x: phrases.mass(Range(x, x, x, "g", "read"))),
    st.floats(3, 10).map(lambda x: phrases.level(Range(x, x, x, "pH", "estimated"))),
    st.floats(0, 100).map(lambda x: phrases.percent_range(Range(x, x, x, "%", "estimated"))),
)
BETWEEN = st.sampled_from([" (", ") ", "; ", ", ", " and “", "” or ", ": ", ". "])


@given(st.lists(st.tuples(FIGURES, BETWEEN), min_size=1, max_size=5))
def test_what_is_read_aloud_keeps_every_number(parts: list[tuple[str, str]]) -> None:
    text = "".join(part for pair in parts for part in pair)
    assert digits(spoken(text)) == digits(text)


@given(st.text(max_size=60))
def test_nothing_is_read_aloud_that_cannot_be_spoken(text: str) -> None:
    said = spoken(text)
    assert not re.search(r"[()\[\]{}<>“”\"°%&+=~@#*|\\^$_]", said)
    assert "  " not in said
    assert said == said.strip()


def test_sentences_are_told_apart_by_their_ends_and_not_by_points_in_numbers():
    assert sentences(" It was 1.5 °C. Was it? Yes … and\nno!  ") == ["It was 1.5 °C.", "Was it?", "Yes …", "and\nno!"]
    assert sentences("  ") == []
