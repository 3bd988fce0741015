"""The parts of a day at the end of a clause, and before a colon: our convention."""

import pytest

from tests.test_entry import NOW, ZONE, only
from underlid.entry import EntryError
from underlid.quantity import parse_when
from underlid.records import Feeding, Note, Reading


@pytest.mark.parametrize(
    "day", ["late last night", "early this morning", "late yesterday evening", "earlier this evening"]
)
@pytest.mark.parametrize("line", ["{}: middle 6 C", "middle 6 C {}"])
def test_early_and_late_belong_to_the_day(line: str, day: str) -> None:
    record = only(line.format(day))
    assert isinstance(record, Reading)
    assert record.when == parse_when(day, now=NOW, tz=ZONE)


@pytest.mark.parametrize("day", ["late evening", "mid-morning", "early afternoon", "late at night"])
def test_a_part_of_today_stands_before_the_colon(day: str) -> None:
    record = only(f"{day}: fed 100 g peel")
    assert isinstance(record, Feeding)
    assert record.when == parse_when(day, now=NOW, tz=ZONE)


@pytest.mark.parametrize(
    ("line", "day"),
    [
        ("came late to the top last night", "last night"),
        ("it was too late yesterday", "yesterday"),
        ("so late last night", "last night"),
    ],
)
def test_a_late_that_is_no_part_of_a_day_stays_in_the_words(line: str, day: str) -> None:
    record = only(line)
    assert isinstance(record, Note)
    assert record.when == parse_when(day, now=NOW, tz=ZONE)


def test_a_late_day_without_its_part_is_no_date() -> None:
    with pytest.raises(EntryError, match="'c late' is no unit"):
        only("middle 6 C late yesterday")
