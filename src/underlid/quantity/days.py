"""From a date as written to a stretch of wall time: which year, which Tuesday, which part of the month."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from underlid.quantity.amount import Kind
from underlid.quantity.dates import EXAMPLES, WEEKDAYS, Ago, Day, Iso, Month, Named
from underlid.quantity.when import WhenError

DAY = timedelta(days=1)
PARTS_OF_DAY = {"morning": (4, 12), "afternoon": (12, 18), "evening": (18, 23), "night": (20, 30)}
FIRST_DAYS = {"early": (1, 10), "mid": (11, 20), "middle": (11, 20), "start": (1, 7), "beginning": (1, 7)}
AGO_SHARE = 0.25
_SPANS = {"minute": DAY / 1440, "hour": DAY / 24, "week": 7 * DAY, "month": 30.4 * DAY}
_LEAP_SEARCH = 8  # years that surely hold a 29 February


@dataclass(frozen=True, slots=True)
class Clock:
    """What the keeper's calendar and clock show: now, the zone, and when the bin was started."""

    now: datetime
    tz: ZoneInfo
    start: datetime | None
    allow_future: bool

    @property
    def local(self) -> datetime:
        """Now as the keeper's wall clock shows it, without a zone."""
        return self.now.astimezone(self.tz).replace(tzinfo=None)

    @property
    def floor(self) -> datetime | None:
        """The earliest wall time that an entry may have: a day before the bin was started."""
        return None if self.start is None else self.start.astimezone(self.tz).replace(tzinfo=None) - DAY

    def shown(self, wall: datetime) -> int:
        """How many times the wall clock showed that time: once, twice, or never."""
        here = wall.replace(tzinfo=self.tz)
        # PEP 495: of the two readings of a doubtful time, the first has the larger offset when it came twice.
        first, second = (here.replace(fold=fold).utcoffset() or timedelta() for fold in (0, 1))
        return 1 if first == second else 2 if first > second else 0

    def zoned(self, wall: datetime, fold: int) -> datetime:
        """The wall time with its zone: the first (`fold` 0) or second time it came; a skipped one moves on."""
        fold = fold if self.shown(wall) == 2 else 0
        return wall.replace(tzinfo=self.tz, fold=fold).astimezone(UTC).astimezone(self.tz)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Wall times from `start` to `end`; `day` is the one day that a time of day may be added to."""

    start: datetime
    end: datetime
    kind: Kind = "between"
    day: date | None = None
    night: bool = False
    flags: tuple[str, ...] = ()


def part_of_day(day: date, name: str) -> Stretch:
    """The morning, afternoon, evening or night of a day; the night ends on the next."""
    begin, end = PARTS_OF_DAY[name]
    midnight = datetime.combine(day, time())
    hour = timedelta(hours=1)
    return Stretch(midnight + begin * hour, midnight + end * hour, day=day, night=name == "night")


def whole_day(day: date, flags: tuple[str, ...] = ()) -> Stretch:
    """Midnight to midnight."""
    midnight = datetime.combine(day, time())
    return Stretch(midnight, midnight + DAY, day=day, flags=flags)


@dataclass(frozen=True, slots=True)
class Almanac:
    """Dates looked up as seen from `before`, the wall time that none may begin after."""

    text: str
    clock: Clock
    before: datetime

    def error(self, what: str, at: int, mend: str = EXAMPLES) -> WhenError:
        """The mistake with its place in the text."""
        return WhenError(what, self.text, at, mend)

    def stretch(self, written: Day | Iso | Month | Ago | Named) -> Stretch:
        """The wall time that a date covers."""
        match written:
            case Iso(value):
                return whole_day(value.date())
            case Day():
                return self._day(written)
            case Month():
                return self._month(written)
            case Ago():
                return self._ago(written)
            case Named():
                return self._named(written)

    def _latest(self, make: Callable[[int, int], Stretch | None], year: int, month: int, at: int) -> Stretch:
        """The latest year (and month, when none is written) that fits between the bin's start and `before`."""
        floor, first = self.clock.floor, self.before
        years = [year] if year else range(first.year, first.year - _LEAP_SEARCH - 1, -1)
        found = [s for y in years for m in ([month] if month else range(12, 0, -1)) if (s := make(y, m))]
        if not found:
            raise self.error("there is no such day", at, "Check the day and the month.")
        if year:
            return found[0]
        past = [s for s in found if s.start <= first and (floor is None or s.end > floor)]
        if past:
            return past[0]
        if self.clock.allow_future:
            coming = (s for y in range(first.year, first.year + _LEAP_SEARCH) if (s := make(y, month or 1)))
            return next((s for s in coming if s.start > first), found[0])
        since = f" and since the bin was started ({self.clock.start:%Y-%m-%d})" if self.clock.start else ""
        raise self.error(f"there was no such day up to now{since}", at, "Write the year, or check the date.")

    def _day(self, written: Day) -> Stretch:
        if not written.month and not written.ordinal:
            mend = f"Write '{written.day} Jan' for a day, '{written.day}:00' for a time."
            raise self.error(f"'{written.day}' may be a day or an hour", written.at, mend)

        def make(year: int, month: int) -> Stretch | None:
            try:
                return whole_day(date(year, month, written.day))
            except ValueError:
                return None

        found = self._latest(make, written.year, written.month, written.at)
        weekday = found.start.weekday()
        if written.weekday is None or weekday == written.weekday:
            return found
        names = (WEEKDAYS[weekday].capitalize(), WEEKDAYS[written.weekday].capitalize())
        return whole_day(found.start.date(), (f"{found.start:%Y-%m-%d} is a {names[0]}, not a {names[1]}",))

    def _month(self, written: Month) -> Stretch:
        def make(year: int, month: int) -> Stretch:
            begin, after = datetime(year, month, 1), datetime(year + month // 12, month % 12 + 1, 1)
            match written.part:
                case "":
                    return Stretch(begin, after)
                case "late":
                    return Stretch(begin + 20 * DAY, after, "about")
                case "end":
                    return Stretch(after - 7 * DAY, after, "about")
                case part:
                    first, last = FIRST_DAYS[part]
                    return Stretch(begin + (first - 1) * DAY, begin + last * DAY, "about")

        return self._latest(make, written.year, written.month, written.at)

    def _ago(self, written: Ago) -> Stretch:
        today = self.before.date()
        if written.span == "day":
            first, last = today - written.high * DAY, today - written.low * DAY
            if first == last:
                return whole_day(first)
            return Stretch(datetime.combine(first, time()), datetime.combine(last, time()) + DAY, "about")
        # Counted on the wall clock; summer time is an hour at most, well inside the quarter for long spans.
        span = _SPANS[written.span]
        longest, shortest = written.high * (1 + AGO_SHARE) * span, written.low * (1 - AGO_SHARE) * span
        return Stretch(self.before - longest, self.before - shortest, "about")

    def _named(self, written: Named) -> Stretch:
        today = self.before.date()
        match written.which, written.name:
            case _, "today":
                return whole_day(today)
            case _, "yesterday":
                return whole_day(today - DAY)
            case _, "day before yesterday":
                return whole_day(today - 2 * DAY)
            case _, "now":
                return Stretch(self.before, self.before, "exact")
            case _, "just now":
                return Stretch(self.before - timedelta(minutes=15), self.before, "about")
            case _, "tonight":
                small_hours = self.before.hour < PARTS_OF_DAY["night"][1] - 24
                return part_of_day(today - DAY if small_hours else today, "night")
            case which, "week":
                monday = datetime.combine(today, time()) - today.weekday() * DAY
                begin = monday - 7 * DAY if which == "last" else monday
                return Stretch(begin, begin + 7 * DAY)
            case which, name if name.endswith("month"):
                near = today.replace(day=1) - DAY if which == "last" else today
                return self._month(Month(name.removesuffix("month").strip(), near.month, near.year, written.at))
            case _, name if name in WEEKDAYS:
                return whole_day(today - ((today.weekday() - WEEKDAYS.index(name) - 1) % 7 + 1) * DAY)
            case "this", "morning" if self.before.hour < PARTS_OF_DAY["morning"][0]:
                return whole_day(today)  # in the small hours, morning began at midnight
            case which, name:
                return part_of_day(today - DAY if which == "last" else today, name)
