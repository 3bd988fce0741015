"""When something was, as an interval of ISO 8601 on the bin's own clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from underlid.quantity.when import VagueTime


def iso_interval(when: VagueTime, zone: ZoneInfo, *, offset: bool) -> str:
    """The whole time in which it may have been: "2026-01-05", "2026-01-05/2026-01-09" or with hours.

    Days stand where it was whole days, the last of them included, as Darwin Core's eventDate has it.

    offset : whether the distance of the clock from UTC is told; it gives away about how far east a bin stands
    """
    start, end = when.start.astimezone(zone), when.end.astimezone(zone)
    if _midnight(start) and _midnight(end) and start.date() < end.date():
        return _joined(start.date().isoformat(), (end.date() - timedelta(days=1)).isoformat())
    early = start.replace(microsecond=0)
    late = (when.end.astimezone(UTC) + timedelta(microseconds=-when.end.microsecond % 1_000_000)).astimezone(zone)
    if not offset and early.replace(tzinfo=None) > late.replace(tzinfo=None):
        # The clock was set back meanwhile: without its offset only the days are sure.
        return _joined(*sorted((start.date().isoformat(), end.date().isoformat())))
    return _joined(_moment(early, offset), _moment(late, offset))


def _midnight(moment: datetime) -> bool:
    return (moment.hour, moment.minute, moment.second, moment.microsecond) == (0, 0, 0, 0)


def _moment(moment: datetime, offset: bool) -> str:
    told = moment if offset else moment.replace(tzinfo=None)
    return told.isoformat(timespec="seconds" if moment.second else "minutes")


def _joined(start: str, end: str) -> str:
    return start if start == end else f"{start}/{end}"
