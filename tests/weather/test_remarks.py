from __future__ import annotations

import pytest

from underlid.weather.remarks import MARK, head, place_in, remarks_of


def test_what_is_written_is_read() -> None:
    remarks = (("place", "52.1,-1.3"), ("note", "One."), ("note", "Two: with a colon."))
    text = head(remarks)
    assert text.splitlines()[0] == MARK
    assert remarks_of(text + "time,air_c\n") == remarks
    assert remarks_of(text.replace("\n", "\r\n")) == remarks


def test_a_remark_stays_on_its_line() -> None:
    assert remarks_of(head([("note", "two\nlines")])) == (("note", "two lines"),)


def test_remarks_of_another_file_are_nothing_to_us() -> None:
    assert remarks_of("# place: 52.1,-1.3\ntime,air_c\n") == ()
    assert remarks_of("") == ()


@pytest.mark.parametrize(
    ("words", "place"),
    [
        ("52.1,-1.3", (52.1, -1.3)),
        ("-36.8,174.8,,,,", (-36.8, 174.8)),
        ("91.0,0.0", (None, None)),
        ("0.0,181.0", (None, None)),
        ("by the larch", (None, None)),
        ("52.1", (None, None)),
    ],
)
def test_places(words: str, place: tuple[float, float]) -> None:
    assert place_in([("place", words)]) == place
    assert place_in([]) == (None, None)
