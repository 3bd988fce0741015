"""The grammar of dates: text to points in a calendar, before any of them has been given a year or a zone.

The grammar stands in when.lark; this module builds its LALR parser once, and turns its trees into the few
dataclasses below. Positions count characters of the text as it was written.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Literal

from lark import Lark, Token, Transformer, UnexpectedCharacters, UnexpectedToken, v_args
from lark.exceptions import VisitError

from underlid.quantity.mistake import LONGEST, plain, word_at
from underlid.quantity.phrase import NUMBER_WORDS
from underlid.quantity.when import WhenError

EXAMPLES = "Write for example '23 Jan', '2026-01-23 23:40', 'mid November', 'yesterday evening' or 'not noted'."
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip


# "Earlier this evening" is some time in it before now, and so the whole of it.
_PARTS = {"early": "early", "earlier": "", "mid": "mid", "middle": "mid", "late": "late"}


@dataclass(frozen=True, slots=True)
class Day:
    """A day of a month; `month` 0 and `year` 0 are not written, `weekday` counts from Monday 0."""

    day: int
    month: int
    year: int
    weekday: int | None
    at: int
    ordinal: bool = False


@dataclass(frozen=True, slots=True)
class Iso:
    """A date or an instant in ISO 8601; `step` is the last digit of the clock in seconds, None for a date."""

    value: datetime
    step: float | None
    at: int


@dataclass(frozen=True, slots=True)
class Month:
    """A month or a part of it; `month` 0 is the latest that has begun: "early in the month"."""

    part: str
    month: int
    year: int
    at: int


@dataclass(frozen=True, slots=True)
class Ago:
    """From `low` to `high` whole spans before now."""

    low: int
    high: int
    span: str
    at: int


@dataclass(frozen=True, slots=True)
class Named:
    """A day or days named from now: "yesterday", "last night", "this week", "last tuesday"."""

    which: str
    name: str
    at: int


@dataclass(frozen=True, slots=True)
class TimeOfDay:
    """A clock time in seconds from midnight with the step it is read to, or a named part of the day."""

    seconds: int
    step: int
    name: str
    at: int
    part: str = ""  # early, mid or late in the part of the day that is named


Date = Day | Iso | Month | Ago | Named


@dataclass(frozen=True, slots=True)
class Point:
    """A date, a time of day, or both; `about` when either was called so."""

    date: Date | None
    time: TimeOfDay | None
    about: bool
    at: int


@dataclass(frozen=True, slots=True)
class Statement:
    """One point, or two with the span between them, or none when not noted."""

    kind: Literal["", "exactly", "not noted"]
    points: tuple[Point, ...]


def read_when(text: str) -> Statement:
    """The statement a text makes, or WhenError."""
    if len(text) > LONGEST:
        raise WhenError(f"that is {len(text)} characters, more than a date needs", text, LONGEST, EXAMPLES)
    if not text.strip():
        raise WhenError("there is nothing written", text, 0, EXAMPLES)
    lower = plain(text)
    slash = re.search(r"(?<![0-9])[0-9]{1,2}[/.][0-9]{1,2}(?:[/.](?:[0-9]{4}|[0-9]{2}))?(?![0-9:])", lower)
    if slash and ("/" in slash[0] or slash[0].count(".") == 2):
        mend = "Write the month as a word, '5 Feb', or the date as 2026-02-05."
        what = f"'{slash[0]}' is one day in some countries and another elsewhere"
        raise WhenError(what, text, slash.start(), mend)
    try:
        tree = _parser().parse(lower)
        return _Reader(text).transform(tree)  # type: ignore[no-any-return]
    except UnexpectedCharacters as error:
        at = error.pos_in_stream or 0
        raise WhenError(f"'{word_at(text, at)}' has no place in a date", text, at, EXAMPLES) from None
    except UnexpectedToken as error:
        token, at = error.token, error.token.start_pos
        if token.type == "$END" or at is None:
            raise WhenError("something is missing at the end", text, len(text.rstrip()), EXAMPLES) from None
        word = text[at : at + len(token)].strip()
        raise WhenError(f"'{word}' was not expected here", text, at, EXAMPLES) from None
    except VisitError as error:
        if isinstance(error.orig_exc, WhenError):
            raise error.orig_exc from None
        raise


@cache
def _parser() -> Lark:
    return Lark.open("when.lark", rel_to=__file__, parser="lalr", maybe_placeholders=False)


def _at(token: Token) -> int:
    return token.start_pos or 0


@v_args(inline=True)
class _Reader(Transformer[Token, Any]):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def error(self, what: str, token: Token, mend: str = EXAMPLES) -> WhenError:
        return WhenError(what, self.text, _at(token), mend)

    def start(self, part: Token | Point) -> Statement:
        return Statement("", (part,)) if isinstance(part, Point) else Statement("not noted", ())

    def span(self, first: Point, _to: Token, last: Point) -> Statement:
        return Statement("", (first, last))

    def between(self, _between: Token, first: Point, _and: Token, last: Point) -> Statement:
        return Statement("", (first, last))

    def exactly(self, _exactly: Token, first: Point, _to: Token, last: Point) -> Statement:
        return Statement("exactly", (first, last))

    def not_noted_span(self, _not: Token, first: Point, _to: Token, last: Point) -> Statement:
        return Statement("not noted", (first, last))

    def about(self, token: Token) -> Token:
        return token

    def point(self, *parts: Any) -> Point:
        date = next((p for p in parts if isinstance(p, Date)), None)
        words = [p for p in parts if isinstance(p, Token) and p.type != "ABOUT"]
        time = self._time(words) if words else None
        about = any(isinstance(p, Token) and p.type == "ABOUT" for p in parts)
        at = date.at if date else time.at if time else 0
        return Point(date, time, about, at)

    def part_of_a_named_day(self, part: Token, which: Token, name: Token) -> Point:
        """The day, and a part of its evening or night: "late last night"."""
        yesterday = which.type == "YESTERDAY"
        date = Named("", " ".join(which.split()), _at(part)) if yesterday else Named(str(which), str(name), _at(part))
        return Point(date, self._time([part, name]), False, _at(part))

    def day(self, *tokens: Token) -> Day:
        by = {token.type: token for token in tokens}
        token = by.get("INT") or by["ORDINAL"]
        number = int(re.sub("[a-z]", "", token))
        if not 1 <= number <= 31:
            raise self.error(f"no month has a day {number}", token)
        month = _index(MONTHS, by["MONTH"]) + 1 if "MONTH" in by else 0
        weekday = _index(WEEKDAYS, by["WEEKDAY"]) if "WEEKDAY" in by else None
        year = self._year(by["YEAR"]) if "YEAR" in by else 0
        return Day(number, month, year, weekday, _at(token), token.type == "ORDINAL")

    month_day = day
    bare_day = day

    def feast(self, token: Token, year: Token | None = None) -> Day:
        eve = token.endswith("eve")
        if token.startswith("new"):
            day, month = (31, 12) if eve else (1, 1)
        else:
            day, month = 24 if eve else 25, 12
        return Day(day, month, self._year(year) if year else 0, None, _at(token))

    def month(self, *tokens: Token) -> Month:
        by = {token.type: token for token in tokens}
        part = _part(by["PART"]) if "PART" in by else ""
        year = self._year(by["YEAR"]) if "YEAR" in by else 0
        return Month(part, _index(MONTHS, by["MONTH"]) + 1, year, _at(tokens[0]))

    def month_near(self, *tokens: Token) -> Named:
        part = _part(tokens[0]) if len(tokens) == 3 else ""
        return Named(str(tokens[-2]), f"{part} month".strip(), _at(tokens[0]))

    def month_part(self, part: Token, _word: Token) -> Month:
        return Month(_part(part), 0, 0, _at(part))

    def weekday(self, *tokens: Token) -> Named:
        which = str(tokens[0]) if len(tokens) == 2 else ""
        return Named(which, WEEKDAYS[_index(WEEKDAYS, tokens[-1])], _at(tokens[0]))

    def named(self, *tokens: Token) -> Named:
        which = str(tokens[0]) if len(tokens) == 2 else ""
        return Named(which, " ".join(tokens[-1].split()), _at(tokens[0]))

    def ago(self, count: Token, span: Token, _ago: Token) -> Ago:
        name = {"min": "minute", "hr": "hour"}.get(span.removesuffix("s"), span.removesuffix("s"))
        if count.type == "COUPLE":
            return Ago(2, 3, name, _at(count))
        number = int(count) if count.type == "INT" else 1 if count.type == "A" else NUMBER_WORDS[count]
        return Ago(number, number, name, _at(count))

    def iso(self, token: Token) -> Iso:
        try:
            value = datetime.fromisoformat(token.upper())
        except ValueError:
            raise self.error(f"'{token.upper()}' is no day or time of the calendar", token) from None
        self._year(token)
        clock = token.partition("t")[2]
        colons = re.split("[z+-]", clock)[0].count(":")
        step = None if not clock else 0.0 if "." in clock else 60.0 if colons == 1 else 1.0
        return Iso(value, step, _at(token))

    def _year(self, token: Token) -> int:
        year = int(token[:4])
        if not 1900 <= year < 2200:
            raise self.error(f"the year {year} is none that a bin has seen", token)
        return year

    def _time(self, tokens: list[Token]) -> TimeOfDay:
        token = tokens[-1]
        if len(tokens) == 2:
            part = _PARTS.get(tokens[0].rstrip("-"))
            if part is None:
                raise self.error(f"'{tokens[0]}' is no part of a day", tokens[0], "Write early, mid or late.")
            return TimeOfDay(0, 0, str(token), _at(tokens[0]), part)
        if token.type not in ("CLOCK", "HOUR"):
            return TimeOfDay(0, 0, str(token), _at(token))
        numbers = [int(n) for n in re.findall("[0-9]+", token)]
        hour, minute, second = (*numbers, 0, 0)[:3]
        half = re.search("[ap](?=\\.?m)", token)
        if minute > 59 or second > 59 or (hour, minute) > (24, 0) or (half and not 1 <= hour <= 12):
            raise self.error(f"no clock shows '{token}'", token)
        if half:
            hour = hour % 12 + (12 if half[0] == "p" else 0)
        step = 3600 if token.type == "HOUR" else 60 if len(numbers) == 2 else 1
        return TimeOfDay(3600 * hour + 60 * minute + second, step, "", _at(token))


def _part(token: Token) -> str:
    return token.rstrip("-").replace("earlier", "early")


def _index(names: tuple[str, ...], token: Token) -> int:
    return next(n for n, name in enumerate(names) if name.startswith(token[:3]))
