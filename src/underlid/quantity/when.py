"""Vague dates: a keeper's words become an interval of time with a time zone.

What a phrase means is set by the conventions at the top of `underlid.quantity.moments`, and shown phrase by
phrase in docs/phrases.md, which the tests read.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from underlid.quantity.amount import Kind
from underlid.quantity.mistake import Mistake


@dataclass(frozen=True, slots=True)
class VagueTime:
    """A moment as the keeper knew it: somewhere from `start` up to `end`, both with a zone.

    `kind` uses the same words as a vague amount (exact, between, about, not noted).
    """

    start: datetime
    end: datetime
    kind: Kind
    words: str
    flags: tuple[str, ...] = ()

    def as_json(self) -> dict[str, object]:
        """Plain JSON types; times in ISO 8601 with their offset."""
        return {
            "start": self.start.isoformat(),
            "end": self.end.isoformat(),
            "kind": self.kind,
            "words": self.words,
            "flags": list(self.flags),
        }


class WhenError(Mistake):
    """The words are no date, or none that can be; the caret shows where, and the last line how to mend it."""


def parse_when(
    text: str, *, now: datetime, tz: ZoneInfo, start: datetime | None = None, allow_future: bool = False
) -> VagueTime:
    """When a keeper's words were, as an interval in `tz`.

    Parameters
    ----------
    text : the words, such as "23 Jan around midnight", "mid November", "last Tuesday", "not noted"
    now : the clock when the words were written, with a zone
    tz : the zone of the keeper's clock
    start : when the bin was started; a date without a year is the latest one not after `now`, and none may
        be before this (by more than a day); "not noted" reaches from here to now
    allow_future : take dates after `now`, which are refused otherwise

    Raises
    ------
    WhenError : with the position of what could not be understood
    """
    if now.tzinfo is None or (start is not None and start.tzinfo is None):
        raise ValueError("now and start need a time zone")
    # Lark is heavy to import, and most commands parse nothing.
    from underlid.quantity.dates import read_when
    from underlid.quantity.days import Clock
    from underlid.quantity.moments import moment_of

    return moment_of(read_when(text), text, Clock(now, tz, start, allow_future))
