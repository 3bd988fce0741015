"""Moisture by feel, and "-ish" words: common practice without a source; how much vaguer is our convention."""

import math

import pytest

from tests.test_entry import only, reading, understood
from underlid.entry import EntryError
from underlid.entry.feel import FLAG, moisture_by_feel
from underlid.records import Note

ISH_FLAG = "'-ish' taken 5 points wider"


@pytest.mark.parametrize(
    ("ish", "plain", "drier", "wetter"),
    [("wettish", "wet", 5, 0), ("dampish", "damp", 5, 5), ("moist-ish", "moist", 5, 5), ("dryish", "dry", 0, 5)],
)
def test_ish_is_a_little_vaguer_than_the_plain_word_and_flagged(
    ish: str, plain: str, drier: float, wetter: float
) -> None:
    vague, sharp = moisture_by_feel(ish), moisture_by_feel(plain)
    assert vague is not None
    assert sharp is not None
    assert (vague.low, vague.high, vague.kind) == (sharp.low - drier, sharp.high + wetter, sharp.kind)
    assert (vague.flags, sharp.flags) == ((FLAG, ISH_FLAG), (FLAG,))


@pytest.mark.parametrize(
    ("line", "place", "low", "high"),
    [
        ("wettish", "not noted", 65, 90),
        ("bedding dampish", "not noted", 45, 80),
        ("moisture: wettish in the middle", "middle", 65, 90),
        ("the edge felt dryish", "edge", -math.inf, 55),
        ("bedding is wet", "not noted", 70, 90),
        ("moisture damp", "not noted", 50, 75),
    ],
)
def test_feel_words_are_moistures(line: str, place: str, low: float, high: float) -> None:
    found = reading(line)
    assert (found.quantity, found.place, found.amount.low, found.amount.high) == ("moisture", place, low, high)


@pytest.mark.parametrize(
    "line", ["wet", "damp", "dry", "wettish on top", "wettish leaves", "bedding wet newspaper", "a wet night", "fish"]
)
def test_words_that_may_be_of_something_else_stay_notes(line: str) -> None:
    assert isinstance(only(line), Note)


def test_a_moisture_without_percent_is_told_and_a_mark_on_a_dial_refused() -> None:
    assert "no % written" in " ".join(understood("moisture 70").notes_on)
    assert "no % written" not in " ".join(understood("moisture 70 %").notes_on)
    for line in ("moisture 7", "moisture meter says 7", "middle moisture 10"):
        with pytest.raises(EntryError, match="mark on a meter's dial"):
            understood(line)
