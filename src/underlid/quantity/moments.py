"""What a date phrase means: from points in the calendar to an interval of time with a zone.

The conventions. All are this program's own; calendars and clocks give no source for "early" or "evening".

* A date without a year is its latest occurrence not after now, and never before the bin was started.
* A day runs from midnight to midnight: *between*. Nothing has been noted after now, so an interval that
  reaches into the future ends now, and one that lies in it is refused.
* A clock time is *exact* to half of its last digit: "23:40" is half a minute each way, "7pm" half an hour.
  "Noon" and "midnight" are half an hour each way. *About* a time with minutes is half an hour each way, about
  a whole hour 1 h, about noon or midnight 1 ½ h.
* Midnight belongs to the evening before: "23 Jan around midnight" is the night of 23 to 24 Jan.
* Morning is 4:00 to 12:00, afternoon to 18:00, evening 18:00 to 23:00, night 20:00 to 6:00 of the next day.
* Early, mid and late in a part of the day: see PARTS_OF_PARTS; they are *about*, for nobody looked at a clock.
* Early, mid and late are the 1st to 10th, 11th to 20th and 21st to last day of a month; start (beginning) and
  end its first and last 7 days: *about*. About a day is 2 days each way; about anything longer, half of its
  length each way.
* A weekday, "last" or not, is the latest such day before today. Last week is Monday to Sunday.
* So many days ago is that calendar day; minutes, hours, weeks or months ago are a quarter of the span each
  way: *about*.
* "Not noted" is from the bin's start to now.
* A clock time that came twice when summer time ended keeps both; one that was skipped moves on. Both flagged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

from underlid.quantity.amount import Kind
from underlid.quantity.dates import EXAMPLES, Day, Iso, Named, Point, Statement, TimeOfDay
from underlid.quantity.days import DAY, PARTS_OF_DAY, Almanac, Clock, Stretch, part_of_day
from underlid.quantity.when import VagueTime, WhenError

NAMED_HOURS = {"noon": 12, "midday": 12, "midnight": 24}
NAMED_EITHER_WAY, HOUR_EITHER_WAY, MINUTE_EITHER_WAY = 5400, 3600, 1800  # s, for "about" a time
# Hours from midnight, within those of PARTS_OF_DAY; past 24 is the next day.
PARTS_OF_PARTS = {
    ("early", "morning"): (4, 8),
    ("mid", "morning"): (9, 11),
    ("late", "morning"): (10, 12),
    ("early", "afternoon"): (12, 14),
    ("mid", "afternoon"): (14, 16),
    ("late", "afternoon"): (16, 18),
    ("early", "evening"): (18, 20),
    ("mid", "evening"): (19, 22),
    ("late", "evening"): (21, 23),
    ("early", "night"): (20, 23),
    ("mid", "night"): (24, 28),
    ("late", "night"): (22, 27),
}
ABOUT_PART_OF_DAY = timedelta(hours=1)
ABOUT_DAY = 2 * DAY
LONG_SPAN = 180 * DAY  # "from ... to" is seldom longer


@dataclass(frozen=True, slots=True)
class _Moment:
    """Times with a zone; `centre` is the clock time as written, for the ends of a span."""

    start: datetime
    end: datetime
    kind: Kind
    flags: tuple[str, ...] = ()
    centre: datetime | None = None
    day: date | None = None


def moment_of(statement: Statement, text: str, clock: Clock) -> VagueTime:
    """The interval that a statement stands for."""
    reckoning = _Reckoning(text, clock)
    at = statement.points[0].at if statement.points else 0
    try:
        return reckoning.allowed(reckoning.statement(statement), at)
    except (OverflowError, ValueError) as error:
        if isinstance(error, WhenError):
            raise
        raise reckoning.error("that is further than the calendar goes", at) from None


@dataclass(frozen=True, slots=True)
class _Reckoning:
    text: str
    clock: Clock

    def error(self, what: str, at: int, mend: str = EXAMPLES) -> WhenError:
        return WhenError(what, self.text, at, mend)

    def statement(self, statement: Statement) -> _Moment:
        match statement.points:
            case ():
                if self.clock.start is None:
                    raise self.error("'not noted' needs to know when the bin was started", 0, "Write a date.")
                start = self.clock.start.astimezone(self.clock.tz)
                return _Moment(start, self.clock.now.astimezone(self.clock.tz), "not noted")
            case (point,):
                return self.point(point, self.clock.local)
            case (first, last):
                kinds: dict[str, Kind] = {"exactly": "exact", "not noted": "not noted", "": "between"}
                kind: Kind = "about" if first.about or last.about else kinds[statement.kind]
                return replace(self.span(first, last), kind=kind)
            case _:
                raise AssertionError(statement)

    def span(self, first: Point, last: Point) -> _Moment:
        """From one point to another, each lending the other what it leaves out: "3-5 Feb", "22:00 to 23:00"."""
        now = self.clock.local
        if isinstance(first.date, Day) and not first.date.month and isinstance(last.date, Day):
            end = self.point(last, now)
            day = end.day or now.date()
            begin = self.point(replace(first, date=replace(first.date, month=day.month, year=day.year)), now)
        elif isinstance(last.date, Day) and not last.date.month and isinstance(first.date, Day):
            begin = self.point(first, now)
            day = begin.day or now.date()
            end = self.point(replace(last, date=replace(last.date, month=day.month, year=day.year)), now)
        elif last.date is None and last.time is not None:
            begin = self.point(first, now)
            end = self._same_day(begin, last.time, last.at)
        else:
            end = self.point(last, now)
            begin = self.point(first, (end.centre or end.start).replace(tzinfo=None))
        low, high = begin.centre or begin.start, end.centre or end.end
        if high.timestamp() < low.timestamp():
            raise self.error("that ends before it begins", last.at, "Write the earlier one first.")
        flags = begin.flags + end.flags
        if high - low > LONG_SPAN:
            flags += (f"that is {(high - low).days} days long: please check",)
        return _Moment(low, high, "between", flags)

    def _same_day(self, begin: _Moment, until: TimeOfDay, at: int) -> _Moment:
        if begin.day is None:
            raise self.error("a time needs one day", at, "Write the day, as '23 Jan 22:00 to 23:00'.")
        end = self._time(begin.day, until, about=False)
        if (end.centre or end.end).timestamp() < (begin.centre or begin.start).timestamp():
            end = self._time(begin.day + DAY, until, about=False)
        return end

    def point(self, point: Point, before: datetime) -> _Moment:
        """One date, time of day, or both."""
        if isinstance(point.date, Iso) and point.date.step is not None:
            if point.time is not None:
                raise self.error("there are two times here", point.time.at, "Keep one of them.")
            return self._instant(point.date, about=point.about)
        if point.date is None:
            assert point.time is not None
            today = before.date()
            moment = self._time(today, point.time, about=point.about)
            if moment.start.replace(tzinfo=None) > before and not self.clock.allow_future:
                return self._time(today - DAY, point.time, about=point.about)
            return moment
        stretch = Almanac(self.text, self.clock, before).stretch(point.date)
        if point.time is None:
            return self._zoned(_loosened(stretch) if point.about else stretch)
        if stretch.day is None:
            raise self.error("a time needs one day", point.time.at, "Write the day, as '23 Jan 22:00'.")
        next_day = stretch.night and not point.time.name and point.time.seconds < 12 * 3600
        day = stretch.day + DAY if next_day else stretch.day
        moment = self._time(day, point.time, about=point.about)
        still_to_come = moment.start.replace(tzinfo=None) > before
        if still_to_come and isinstance(point.date, Named) and point.date.name == "morning":
            return self._zoned(stretch)  # in the small hours "early this morning" is since midnight
        return replace(moment, flags=stretch.flags + moment.flags)

    def _time(self, day: date, written: TimeOfDay, *, about: bool) -> _Moment:
        if written.part:
            begin, end = PARTS_OF_PARTS[written.part, written.name]
            midnight, hour = datetime.combine(day, time()), timedelta(hours=1)
            part = Stretch(midnight + begin * hour, midnight + end * hour, "about", day)
            return self._zoned(_loosened(part, ABOUT_PART_OF_DAY) if about else part)
        if written.name in PARTS_OF_DAY:
            part = part_of_day(day, written.name)
            return self._zoned(_loosened(part, ABOUT_PART_OF_DAY) if about else part)
        if written.name:
            seconds, step, either_way = 3600 * NAMED_HOURS[written.name], 3600, NAMED_EITHER_WAY
        else:
            seconds, step = written.seconds, written.step
            either_way = HOUR_EITHER_WAY if step == 3600 else MINUTE_EITHER_WAY
        centre = datetime.combine(day, time()) + timedelta(seconds=seconds)
        half = timedelta(seconds=either_way if about else step / 2)
        moment = self._zoned(Stretch(centre - half, centre + half, "about" if about else "exact", day))
        moment = replace(moment, centre=self.clock.zoned(centre, 0))
        match self.clock.shown(centre):
            case 2:
                twice = (self.clock.zoned(centre - half, 0), self.clock.zoned(centre + half, 1))
                kind: Kind = "about" if about else "between"
                flag = f"the clock showed {centre:%H:%M} twice that night; both are kept"
                return replace(moment, start=twice[0], end=twice[1], kind=kind, flags=(flag,))
            case 0:
                shown = self.clock.zoned(centre, 0)
                flag = f"the clock skipped {centre:%H:%M} that night; taken as {shown:%H:%M}"
                return replace(moment, start=shown - half, end=shown + half, flags=(flag,))
            case _:
                return moment

    def _instant(self, iso: Iso, *, about: bool) -> _Moment:
        if iso.value.tzinfo is None:
            seconds = iso.value.hour * 3600 + iso.value.minute * 60 + iso.value.second
            if iso.value.microsecond == 0:
                clock = TimeOfDay(seconds, int(iso.step or 1), "", iso.at)
                return self._time(iso.value.date(), clock, about=about)
            centre = self.clock.zoned(iso.value, 0)
        else:
            centre = iso.value.astimezone(self.clock.tz)
        half = timedelta(seconds=MINUTE_EITHER_WAY if about else (iso.step or 0) / 2)
        utc = centre.astimezone(UTC)
        start, end = ((utc + way * half).astimezone(self.clock.tz) for way in (-1, 1))
        return _Moment(start, end, "about" if about else "exact", (), centre, centre.date())

    def _zoned(self, stretch: Stretch) -> _Moment:
        start, end = self.clock.zoned(stretch.start, 0), self.clock.zoned(stretch.end, 1)
        return _Moment(start, end, stretch.kind, stretch.flags, day=stretch.day)

    def allowed(self, moment: _Moment, at: int) -> VagueTime:
        """The moment cut off at now, unless it lies wholly in the future or before the bin."""
        now, start, end = self.clock.now, moment.start, moment.end
        if not self.clock.allow_future:
            if start.timestamp() > now.timestamp():
                what = f"{start:%Y-%m-%d %H:%M} is in the future"
                raise self.error(what, at, "Check the date, and the clock of this computer.")
            if end.timestamp() > now.timestamp():
                end = now.astimezone(self.clock.tz)
        began = self.clock.start
        if began is not None and end.timestamp() <= began.timestamp() - DAY.total_seconds():
            what = f"{start:%Y-%m-%d} is before the bin was started ({began:%Y-%m-%d})"
            raise self.error(what, at, "Check the date, or the bin's own start.")
        return VagueTime(start, end, moment.kind, self.text, moment.flags)


def _loosened(stretch: Stretch, either_way: timedelta | None = None) -> Stretch:
    if either_way is None:
        length = stretch.end - stretch.start
        either_way = ABOUT_DAY if length == DAY else length / 2
    return replace(stretch, start=stretch.start - either_way, end=stretch.end + either_way, kind="about")
