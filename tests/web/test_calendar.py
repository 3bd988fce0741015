"""The calendar file, read back by a library of its own and checked by the rules of RFC 5545."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from tests.trials.bins import a_plan
from tests.web.conftest import HERE, NOW
from underlid.journal.store import Journal
from underlid.records import RegisteredPlan
from underlid.trials.plan import canonical, digest
from underlid.web import calendar
from underlid.web.kept import form, keep
from underlid.web.settings import Settings


def plan(**changes):
    usual = {"starts": "2026-01-20", "looks": (7, 90, 180)}
    return a_plan({"north": "control", "south": "changed"}, **(usual | changes))


def register(folder, one):
    with Journal.open(folder) as book:
        book.register(RegisteredPlan(name=one.name, text=canonical(one), sha256=digest(one), registered_at=NOW))


@pytest.fixture
def fetch(client, journal):
    def get(now=NOW):
        client.app.state.settings = Settings(journal, now=lambda: now)
        answer = client.get("/calendar.ics")
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
        return answer.content

    return get


def events(data):
    return {str(one["summary"]): one for one in Calendar.from_ical(data).walk("VEVENT")}


def test_it_keeps_the_rules_of_rfc_5545(fetch, journal):
    register(journal, plan())
    data = fetch()
    lines = data.split(b"\r\n")
    assert lines[-1] == b""  # every line ends in CRLF, the last one too
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)  # long ones are folded
    read = Calendar.from_ical(data)
    assert read["version"] == "2.0"
    assert str(read["prodid"]).startswith("-//underlid//")
    found = read.walk("VEVENT")
    assert len(found) == 4
    for one in found:
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "URL"} <= one.keys()
        assert one.decoded("dtstamp") == NOW.astimezone(UTC)
        assert type(one.decoded("dtstart")) is date  # whole days need no time zone
        assert one.decoded("dtend") > one.decoded("dtstart")
        assert str(one["url"]) in str(one["description"])
    assert len({str(one["uid"]) for one in found}) == len(found)


def test_a_reading_is_due_a_week_after_the_last_and_never_in_the_past(fetch):
    late = events(fetch())["Reading: north"]
    assert late.decoded("dtstart") == date(2026, 2, 3)  # the last was on 23 January
    early = events(fetch(datetime(2026, 1, 25, 12, tzinfo=UTC)))["Reading: north"]
    assert early.decoded("dtstart") == date(2026, 1, 30)
    assert "The last reading is of 23 Jan 2026." in str(early["description"])
    assert early["uid"] == late["uid"]


def test_a_count_is_due_ninety_days_after_the_start(fetch):
    one = events(fetch())["Count: north"]
    assert one.decoded("dtstart") == date(2025, 12, 1) + timedelta(days=90)


def test_looks_span_the_days_on_which_they_may_be_taken_and_past_ones_are_left_out(fetch, journal):
    register(journal, plan())
    found = events(fetch())
    assert "Trial grit: worms, day 7" not in found  # 27 January, give or take two days
    one = found["Trial grit: worms, day 90"]
    # A third of the shortest gap, 83 days, is more than the three weeks that are allowed at most.
    assert one.decoded("dtstart") == date(2026, 4, 20) - timedelta(days=21)
    assert one.decoded("dtend") == date(2026, 4, 20) + timedelta(days=21 + 1)
    assert "20 Apr 2026" in str(one["description"])
    assert str(one["url"]) == f"{HERE}/trials/grit"


def test_nights_of_frost_come_from_the_kept_view_and_days_in_a_row_are_one_event(fetch, journal):
    assert not [title for title in events(fetch()) if "Frost" in title]
    days = [
        {"day": f"day {n}", "date": f"2026-02-{n:02}", "middle": "1 to 3 °C (34 to 37 °F)", "frost": "1 in 3",
         "frost_share": share}
        for n, share in ((2, 0.9), (4, 0.3), (5, 0.5), (6, 0.05), (8, 0.2))
    ]  # fmt: skip
    view = {"made_at": NOW.isoformat(), "form": form(), "entries": 1, "weather": {}, "days": days}
    keep(journal, "north", view)
    read = Calendar.from_ical(fetch()).walk("VEVENT")
    frost = [(one.decoded("dtstart"), one.decoded("dtend")) for one in read if "Frost" in str(one["summary"])]
    assert frost == [(date(2026, 2, 4), date(2026, 2, 6)), (date(2026, 2, 8), date(2026, 2, 9))]
    spell = next(one for one in read if "Frost" in str(one["summary"]))
    assert "°C" in str(spell["description"])
    assert "°F" in str(spell["description"])
    assert "Predicted" in str(spell["description"])


def test_a_view_of_another_shape_leaves_the_warnings_out(fetch, journal):
    keep(journal, "north", {"made_at": NOW.isoformat(), "form": form(), "entries": 1, "weather": {}})
    assert not [title for title in events(fetch()) if "Frost" in title]


def test_names_cannot_add_lines_of_their_own(fetch, journal):
    odd = "grit\u2028;,\\ END:VCALENDAR ü" + "ß" * 60
    register(journal, plan(name=odd))
    data = fetch()
    assert data.count(b"END:VCALENDAR\r\n") == 1
    assert max(map(len, data.split(b"\r\n"))) <= 75
    data.decode()  # no letter is cut in two by folding, once unfolded or not
    titles = [title for title in events(data) if title.startswith("Trial")]
    assert titles[0] == f"Trial {odd}: worms, day 90"


def test_the_day_is_that_of_the_bin_and_leads_to_its_page(fetch, journal):
    with Journal.open(journal) as book:
        record = book.bin("north")
    late = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)  # half an hour after midnight in London
    assert late.astimezone(ZoneInfo(record.timezone)).date() == date(2026, 7, 1)
    with Journal.open(journal) as book:
        found = {one.title: one for one in calendar.due(book, late)}
    assert found["Reading: north"].first == date(2026, 7, 1)
    assert str(events(fetch(late))["Reading: north"]["url"]).endswith("/bins/north/enter")
