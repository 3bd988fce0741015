"""The saddle (clitellum) marks an adult earthworm: OECD 222 (2016) calls adult worms clitellate."""

import pytest

from tests.test_entry import only, understood
from underlid.records import Note, SampleCount, Sighting


@pytest.mark.parametrize(
    ("line", "place", "low", "high"),
    [
        ("two with a saddle", "not noted", 2, 2),
        ("saw two clitellate worms", "not noted", 2, 2),
        ("three saddled", "not noted", 3, 3),
        ("two worms with saddles near the top", "surface", 2, 2),
        ("3 adult worms with a clitellum in the middle", "middle", 3, 3),
        ("a couple with visible saddles", "not noted", 2, 3),
        ("two of them have a saddle", "not noted", 2, 2),
        ("at least 5 saddled worms", "not noted", 5, float("inf")),
        ("none with a saddle", "not noted", 0, 0),
    ],
)
def test_worms_with_a_saddle_are_adults(line: str, place: str, low: float, high: float) -> None:
    record = only(line)
    assert isinstance(record, Sighting)
    assert (record.stage, record.place, record.amount.low, record.amount.high) == ("adult", place, low, high)


@pytest.mark.parametrize("line", ["two without a saddle", "two with no saddle", "no saddle to be seen", "2 saddles"])
def test_worms_without_one_are_not(line: str) -> None:
    for record in understood(line).records:
        assert isinstance(record, Note) or (isinstance(record, Sighting) and record.stage != "adult")


def test_a_sample_counts_them_too() -> None:
    record = only("sample 0.5 L middle: 2 with a saddle, 3 juveniles")
    assert isinstance(record, SampleCount)
    assert {stage: count.low for stage, count in record.counts} == {"adult": 2, "juvenile": 3}
