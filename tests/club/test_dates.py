"""Vague times as intervals of ISO 8601."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings

from tests.journal.examples import times
from underlid.club.dates import iso_interval
from underlid.quantity.when import VagueTime

PARIS = ZoneInfo("Europe/Paris")


def when(start, end):
    return VagueTime(datetime.fromisoformat(start), datetime.fromisoformat(end), "between", "")


@pytest.mark.parametrize(
    ("start", "end", "told", "with_offset"),
    [
        ("2026-01-05T00:00+01:00", "2026-01-06T00:00+01:00", "2026-01-05", "2026-01-05"),
        ("2026-01-04T23:00+00:00", "2026-01-09T23:00+00:00", "2026-01-05/2026-01-09", "2026-01-05/2026-01-09"),
        ("2026-01-05T20:00+01:00", "2026-01-05T20:00+01:00", "2026-01-05T20:00", "2026-01-05T20:00+01:00"),
        ("2026-07-05T18:00+00:00", "2026-07-05T19:30:20+00:00", "2026-07-05T20:00/2026-07-05T21:30:20",
         "2026-07-05T20:00+02:00/2026-07-05T21:30:20+02:00"),
        # The clock is set back in the night to 25 October 2026: 2:40 in summer time is before 2:10 in winter time.
        ("2026-10-25T00:40+00:00", "2026-10-25T01:10+00:00", "2026-10-25",
         "2026-10-25T02:40+02:00/2026-10-25T02:10+01:00"),
    ],
)  # fmt: skip
def test_times_are_told_on_the_bins_own_clock(start, end, told, with_offset):
    assert iso_interval(when(start, end), PARIS, offset=False) == told
    assert iso_interval(when(start, end), PARIS, offset=True) == with_offset


@settings(max_examples=200, deadline=None)
@given(time=times())
def test_the_interval_holds_all_of_the_time_and_less_than_two_seconds_more(time):
    told = iso_interval(time, PARIS, offset=True)
    first, _, last = told.partition("/")
    if "T" not in first:
        start, end = (datetime.fromisoformat(each).replace(tzinfo=PARIS) for each in (first, last or first))
        end += timedelta(days=1)
    else:
        start, end = (datetime.fromisoformat(each) for each in (first, last or first))
    assert start <= time.start <= time.end <= end
    assert (end.astimezone(UTC) - start.astimezone(UTC)) - (time.end - time.start) < timedelta(seconds=2)
    assert "+" not in iso_interval(time, PARIS, offset=False)
