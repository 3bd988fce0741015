from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.quantity import VagueTime, WhenError, parse_when
from underlid.quantity.days import PARTS_OF_DAY
from underlid.quantity.moments import PARTS_OF_PARTS

ZONE = ZoneInfo("America/New_York")
NOW = datetime(2026, 2, 10, 21, 15, tzinfo=ZONE)
STARTED = datetime(2025, 10, 18, tzinfo=ZONE)
WORDS = [
    "23", "3", "31", "30", "1st", "Jan", "Feb", "March", "May", "2025", "2026", "9999", "2026-01-23", "T23:40",
    "Z", "+99:99", "23:40", "7:30", "7pm", "25:61", "around", "about", "midnight", "noon", "morning", "night",
    "last", "this", "week", "month", "Monday", "Tue", "today", "yesterday", "tonight", "now", "just now", "two",
    "a", "999", "days", "months", "ago", "early", "mid", "end", "of", "the", "on", "at", "to", "-", "and",
    "between", "from", "not noted", "?", ",", "exactly", "late", "earlier", "evening",
]  # fmt: skip
PHRASE_LIKE = st.lists(st.sampled_from(WORDS), max_size=8).map(" ".join)


def when(text: str, *, now: datetime = NOW, zone: ZoneInfo = ZONE, start: datetime | None = STARTED) -> VagueTime:
    return parse_when(text, now=now, tz=zone, start=start)


def wall(text: str, **given: datetime) -> tuple[str, str]:
    found = when(text, **given)  # type: ignore[arg-type]
    return f"{found.start:%Y-%m-%d %H:%M}", f"{found.end:%Y-%m-%d %H:%M}"


def test_json_carries_the_offset() -> None:
    assert when("23 Jan around midnight").as_json() == {
        "start": "2026-01-23T22:30:00-05:00",
        "end": "2026-01-24T01:30:00-05:00",
        "kind": "about",
        "words": "23 Jan around midnight",
        "flags": [],
    }


def test_the_year_is_the_latest_that_fits() -> None:
    later = NOW.replace(year=2027)
    assert when("23 Jan", now=later).start.year == 2027
    assert when("23 Dec", now=later).start.year == 2026


def test_a_date_on_the_eve_of_the_start_is_allowed_and_no_earlier() -> None:
    assert when("17 Oct").start.day == 17
    with pytest.raises(WhenError, match="since the bin was started"):
        when("16 Oct")


def test_a_leap_day_without_a_year_is_found() -> None:
    assert when("29 Feb", start=None).start.year == 2024


def test_the_future_is_refused_unless_allowed() -> None:
    with pytest.raises(WhenError, match="in the future"):
        when("2026-03-01")
    assert parse_when("2026-03-01", now=NOW, tz=ZONE, allow_future=True).start.month == 3
    coming = parse_when("1 March", now=NOW, tz=ZONE, start=STARTED, allow_future=True)
    assert (coming.start.year, coming.start.month) == (2026, 3)


def test_nothing_was_noted_after_now() -> None:
    assert when("today").end == NOW
    assert when("around 9pm").end == NOW
    assert parse_when("today", now=NOW, tz=ZONE, allow_future=True).end.hour == 0


def test_the_small_hours_belong_to_the_night_before() -> None:
    small_hours = NOW.replace(hour=1)
    assert wall("tonight", now=small_hours) == ("2026-02-09 20:00", "2026-02-10 01:15")
    assert wall("last night", now=small_hours) == ("2026-02-09 20:00", "2026-02-10 01:15")
    assert wall("this morning", now=small_hours) == ("2026-02-10 00:00", "2026-02-10 01:15")


def test_a_day_has_23_or_25_hours_when_the_clock_changes() -> None:
    spring, autumn = (when(day, now=NOW.replace(month=12)) for day in ("2026-03-08", "2026-11-01"))
    assert spring.end.timestamp() - spring.start.timestamp() == 23 * 3600
    assert autumn.end.timestamp() - autumn.start.timestamp() == 25 * 3600


def test_a_time_that_came_twice_keeps_both() -> None:
    found = when("2 Nov 1:30")
    assert found.kind == "between"
    assert found.end.timestamp() - found.start.timestamp() == 3600 + 60
    assert "twice" in found.flags[0]


def test_a_time_that_was_skipped_moves_on() -> None:
    found = when("8 March 2:30", now=NOW.replace(month=3, day=20))
    assert found.start.isoformat() == "2026-03-08T03:29:30-04:00"
    assert "skipped" in found.flags[0]


def test_an_instant_with_an_offset_is_moved_to_the_keepers_zone() -> None:
    assert wall("2026-01-23T23:40:00Z") == ("2026-01-23 18:39", "2026-01-23 18:40")


def test_now_in_another_zone_is_the_same_now() -> None:
    assert when("yesterday", now=NOW.astimezone(UTC)) == when("yesterday")


def test_not_noted_needs_a_start() -> None:
    with pytest.raises(WhenError, match="when the bin was started"):
        when("not noted", start=None)


def test_a_clock_without_a_zone_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="time zone"):
        parse_when("now", now=datetime(2026, 1, 1), tz=ZONE)


def test_the_error_points_at_the_place() -> None:
    with pytest.raises(WhenError) as caught:
        when("23 Jan around noonish")
    assert caught.value.position == 14
    assert "'noonish'" in str(caught.value)


def test_a_long_span_is_flagged() -> None:
    assert "days long" in when("1 Feb 2025 to 1 Feb 2026", start=None).flags[0]


@pytest.mark.parametrize(
    "text", ["", "  ", "0 Jan", "32 Jan", "31 June", "2026-02-30", "24:30", "13pm", "week ago", "last week 7pm"]
)
def test_what_no_calendar_holds_is_refused(text: str) -> None:
    with pytest.raises(WhenError):
        when(text)


def test_early_mid_and_late_lie_in_their_part_of_the_day_in_that_order() -> None:  # our convention
    assert {name for _, name in PARTS_OF_PARTS} == set(PARTS_OF_DAY)
    for name, (begin, end) in PARTS_OF_DAY.items():
        spans = [PARTS_OF_PARTS[part, name] for part in ("early", "mid", "late")]
        assert all(begin <= first < last <= end for first, last in spans)
        if name != "night":  # "late at night" is before midnight as well, "the middle of the night" is not
            assert spans == sorted(spans)
            assert (spans[0][0], spans[2][1]) == (begin, end)


@pytest.mark.parametrize("part", ["early", "mid", "late"])
@pytest.mark.parametrize("name", ["morning", "afternoon", "evening", "night"])
def test_a_part_of_a_part_may_be_said_in_any_order(part: str, name: str) -> None:
    said = wall(f"23 Jan {part} {name}")
    assert (
        said == wall(f"{part} {name}, 23 Jan") == wall(f"23 Jan, {part} in the {name}") == wall(f"23 Jan {part}-{name}")
    )
    assert when(f"23 Jan {part} {name}").kind == "about"


def test_in_the_small_hours_early_this_morning_is_since_midnight() -> None:
    small = NOW.replace(hour=2)
    for text in ("early this morning", "earlier this morning"):
        assert wall(text, now=small) == ("2026-02-10 00:00", "2026-02-10 02:15")
    with pytest.raises(WhenError, match="in the future"):
        when("late this evening", now=NOW.replace(hour=19))


def read(text: str, now: datetime, zone: ZoneInfo, start: datetime | None) -> VagueTime | WhenError:
    try:
        return parse_when(text, now=now, tz=zone, start=start)
    except WhenError as error:
        return error


@settings(deadline=None, max_examples=400)
@given(
    st.one_of(st.text(max_size=60), PHRASE_LIKE),
    st.sampled_from([ZONE, ZoneInfo("Europe/London"), ZoneInfo("Australia/Lord_Howe"), ZoneInfo("Pacific/Apia")]),
    st.datetimes(datetime(2001, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC)),
    st.one_of(st.none(), st.integers(0, 3000)),
)
def test_no_words_break_the_parser(text: str, zone: ZoneInfo, now: datetime, days: int | None) -> None:
    start = None if days is None else now - timedelta(days=days)
    found = read(text, now, zone, start)
    if isinstance(found, WhenError):
        assert 0 <= found.position <= len(text)
    else:
        assert found.start.timestamp() <= found.end.timestamp() <= now.timestamp()
        assert found.words == text
