"""The dates and times in a plain CSV, as instants in UTC."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from underlid.weather.rows import YEARS, Row
from underlid.weather.series import HOUR_S

_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?![0-9])")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})[-/.]([0-9]{4})(?![0-9])")
_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.[0-9]*)?)?(?: ?([ap])\.?m\.?)?", re.IGNORECASE)
_ZONE = re.compile(r"(?:Z|UTC)|([+-])([0-9]{2}):?([0-9]{2})?")


@dataclass(frozen=True, slots=True)
class Stamp:
    """A date and time as written: seconds into the day, and the offset from UTC if one is written [s]."""

    day: date
    second: int
    offset_s: int | None


def day_first(rows: Iterable[Row], column: int, heading: str) -> bool:
    """Whether dates written 1/2/2024 put the day first, told by the first row that shows it.

    True where no row is written that way, or all are parted by full stops, as is done where the day
    comes first.
    """
    unclear: Row | None = None
    for row in rows:
        found = _YEAR_LAST.match(row.cells[column])
        if found is None or found[2] == ".":
            continue
        unclear = unclear or row
        if (int(found[1]) > 12) != (int(found[3]) > 12):
            return int(found[1]) > 12
    if unclear is not None:
        raise unclear.error(
            f"found {unclear.cells[column][:20]!r}, and no row shows which number is the day; write 2024-01-31.",
            heading,
        )
    return True


def read_date(row: Row, text: str, heading: str, *, day_comes_first: bool) -> tuple[date, str]:
    """The date a cell begins with, and what follows it."""
    if found := _YEAR_FIRST.match(text):
        year, month, day = int(found[1]), int(found[2]), int(found[3])
    elif found := _YEAR_LAST.match(text):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        day, month = (first, second) if day_comes_first or found[2] == "." else (second, first)
    else:
        raise row.error(f"found {text[:40]!r} where a date belongs; write it as 2024-01-31.", heading)
    if year not in YEARS:
        raise row.error(f"found the year {year}; mend it, or leave the row out.", heading)
    try:
        return date(year, month, day), text[found.end() :].lstrip(" T,")
    except ValueError:
        raise row.error(f"found the date {text[:20]!r}, which is not in the calendar; mend it.", heading) from None


def read_clock(row: Row, day: date, text: str, heading: str) -> Stamp:
    """The time of day in `text`, with its zone if one is written."""
    found = _CLOCK.match(text)
    zone = _ZONE.fullmatch(text[found.end() :].strip()) if found else None
    if found is None or (zone is None and text[found.end() :].strip()):
        raise row.error(f"found {text[:40]!r} where a time of day belongs; write it as 13:00.", heading)
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[4]:
        if not 1 <= hour <= 12:
            raise row.error(f"found the time {text[:20]!r}; with am or pm, hours run from 1 to 12.", heading)
        hour = hour % 12 + 12 * (found[4].lower() == "p")
    total = hour * HOUR_S + minute * 60 + second
    if minute > 59 or second > 59 or total > 24 * HOUR_S:
        raise row.error(f"found {text[:20]!r}, which is no time of day; mend it.", heading)
    offset_s = None
    if zone is not None:
        size = int(zone[2] or 0) * HOUR_S + int(zone[3] or 0) * 60
        if size > 14 * HOUR_S:
            raise row.error(f"found the UTC offset {zone[0]!r}; offsets reach 14 hours.", heading)
        offset_s = -size if zone[1] == "-" else size
    return Stamp(day, total, offset_s)


@dataclass(slots=True)
class Clock:
    """Turns stamps, row by row, into rising instants.

    `zone` is an IANA zone, a fixed offset in hours, or None where every stamp must name its own.
    When clocks go back, the hour that stands twice is taken first as summer, then as winter time.
    """

    zone: ZoneInfo | float | None
    last: int | None = None

    def instant(self, row: Row, stamp: Stamp, heading: str) -> int:
        """Seconds since 1970 UTC, later than any given before."""
        wall = int(datetime(stamp.day.year, stamp.day.month, stamp.day.day, tzinfo=UTC).timestamp()) + stamp.second
        if stamp.offset_s is not None:
            time = wall - stamp.offset_s
        elif isinstance(self.zone, ZoneInfo):
            time = self._in_zone(row, wall, heading, self.zone)
        elif self.zone is not None:
            time = wall - round(self.zone * HOUR_S)
        else:
            raise row.error(
                "the time names no zone; give the place's zone, such as Europe/Berlin, or the hours from UTC.", heading
            )
        if self.last is not None and time <= self.last:
            what = "stands twice" if time == self.last else "is earlier than the row before"
            fixed = stamp.offset_s is None and not isinstance(self.zone, ZoneInfo)
            hint = " (if the clocks went back here, give the zone by name)" if fixed else ""
            raise row.error(f"the time {_words(wall)} {what}; put the rows in order, once each{hint}.", heading)
        self.last = time
        return time

    def _in_zone(self, row: Row, wall: int, heading: str, zone: ZoneInfo) -> int:
        naive = datetime(1970, 1, 1) + timedelta(seconds=wall)
        first, second = (int(naive.replace(tzinfo=zone, fold=fold).timestamp()) for fold in (0, 1))
        if second < first:  # only at a clock change in spring, where the wall clock skips this hour
            raise row.error(
                f"the time {_words(wall)} was skipped when the clocks went forward in {zone.key}; "
                "if the logger keeps one time all year, give its hours from UTC instead of the zone.",
                heading,
            )
        return second if self.last is not None and first <= self.last < second else first


def standard_offset_h(zone: ZoneInfo, year: int) -> float:
    """Local standard time minus UTC [h]: the smaller of the offsets in January and July."""
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return min(offset.total_seconds() / HOUR_S for offset in offsets if offset is not None)


def _words(wall: int) -> str:
    return (datetime(1970, 1, 1) + timedelta(seconds=wall)).strftime("%Y-%m-%d %H:%M")
