from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.quantity import AmountError, VagueAmount, VagueSize, VagueTime, WhenError, parse_amount, parse_any

ZONE = ZoneInfo("Europe/London")
NOW = datetime(2026, 2, 10, 21, 15, tzinfo=ZONE)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("6 or 7 C", VagueAmount),
        ("half a bucket", VagueAmount),
        ("17 x 12 x 11 in", VagueSize),
        ("43 by 30 by 28 cm", VagueSize),
        ("23 Jan around midnight", VagueTime),
        ("2026-01-23", VagueTime),
        ("7:30", VagueTime),
    ],
)
def test_each_kind_is_recognised(text: str, kind: type) -> None:
    assert isinstance(parse_any(text, now=NOW, tz=ZONE, containers={"bucket": parse_amount("10 L")}), kind)


def test_words_that_are_neither_are_told_how_to_write_both() -> None:
    with pytest.raises(AmountError) as caught:
        parse_any("blue", now=NOW, tz=ZONE)
    assert "6 to 7 C" in caught.value.mend
    assert "23 Jan" in caught.value.mend


def test_the_error_is_that_of_the_reading_that_got_further() -> None:
    with pytest.raises(WhenError, match="noonish"):
        parse_any("23 Jan around noonish", now=NOW, tz=ZONE)
    with pytest.raises(AmountError, match="handful"):
        parse_any("half a handful", now=NOW, tz=ZONE)


def mend_of(text: str) -> str | None:
    try:
        parse_any(text, now=NOW, tz=ZONE)
    except (AmountError, WhenError) as error:
        return error.mend
    return None


@settings(deadline=None)
@given(st.text(max_size=80))
def test_no_words_break_it(text: str) -> None:
    assert mend_of(text) != ""
