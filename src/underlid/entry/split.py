"""Cutting a line into its date and clauses, each of which knows where in the line it stands."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from underlid.entry.numbers import WORDED_TEMPERATURE
from underlid.entry.places import blank, find_depth, find_instrument, find_place, only_where
from underlid.quantity import AmountError, Mistake, parse_amount

LONGEST_LINE = 5000

_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?"
_DAY = r"\d{1,2}(?:st|nd|rd|th)?"
_WEEKDAY = r"(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?"
_NUMBER = (
    r"(?:\d|[½¼¾⅓⅔]|an?\s+(?!half)|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fifteen"
    r"|twenty|thirty|forty|fifty)"
)

# What surely begins a date, so that one that cannot be read is refused and not taken for a note.
DATE_BEGINS = re.compile(
    rf"\s*(?:(?:on|about|around|the|from|between|some\s+time)\s+)*(?:"
    rf"\d{{4}}-\d|\d{{1,2}}/\d|{_DAY}(?:\s*(?:[-–]|to|or|and)\s*{_DAY})?\s+(?:of\s+)?{_MONTH}|{_MONTH}\s+\d"
    rf"|(?:early|mid|middle|late|start|beginning|end)(?:\s+of)?[\s-]+{_MONTH}(?!\w)"
    r"|(?:early|earlier|mid|late|start|beginning|end)[\s-]+(?:(?:in|of|the|this|last)\s+)*month\b"
    rf"|today\b|yesterday\b|last\s+(?:night|week|month|evening|{_WEEKDAY})\b|{_WEEKDAY}\b"
    rf"|\w+\s+(?:days?|weeks?|months?|hours?)\s+ago\b)",
    re.IGNORECASE,
)
# Dates that are so only in front of a colon: "7:30", "this morning", "not noted", "January".
_SHORT_DATE = re.compile(
    rf"\s*(?:(?:on|at|about|around)\s+)*(?:\d{{1,2}}[:.]\d\d(?:\s*[ap]m)?|\d{{1,2}}\s*[ap]m|this\s+(?:morning|afternoon|evening|week)"
    rf"|tonight|morning|afternoon|evening|night|noon|midday|midnight|(?:just\s+)?now|not\s+noted|(?:christmas|xmas|new\s+year)\b.*|{_MONTH}(?:\s+\d{{4}})?"
    r"|the\s+\d{1,2}(?:st|nd|rd|th))\s*$",
    re.IGNORECASE,
)
# What begins an amount, in words or digits.
AMOUNT_BEGINS = re.compile(
    rf"(?:ph\s*)?(?:[-−–+~≈<>≤≥]\s*)?(?:{_NUMBER}|about\b|around\b|roughly\b|approx|circa\b|ca\b|just\s+(?:above|over|under|below)"
    rf"|(?:under|over|above|below)\s+(?:(?:[-−–~]\s*|minus\s+)?\d|freezing\b|(?={WORDED_TEMPERATURE}))"
    r"|less\s+than|more\s+than|fewer\s+than|at\s+(?:least|most)|up\s+to"
    r"|no\b|none\b|between\b|minus\b|half\b|several\b|few\b|couple\b|dozens?\b|hundreds?\b|nearly\b|almost\b|some\s+\d"
    r"|not\s+(?:noted|known|measured)|unknown\b|\?|slightly\b|exactly\b|zero\b|nil\b)",
    re.IGNORECASE,
)
_STARTS_CLAUSE = (
    r"(?:fed|gave|added|watered|saw|spotted|found|sampled?|counted|ph|moisture|ec|air|temp(?:erature)?"
    rf"|(?:middle|centre|center|core|edge|side|wall|corner|surface|top)\s+(?:[-−~]?\d|(?={WORDED_TEMPERATURE})))"
)
_OPINION = r"(?:i\s+(?:think|guess|reckon)|maybe|perhaps|probably)(?!\w)"
_ONLY_OPINION = re.compile(rf"\(?{_OPINION}\)?", re.IGNORECASE)
_FIRST_OPINION = re.compile(rf"(?:{_OPINION}[\s,]*)+", re.IGNORECASE)
_LAST_OPINION = re.compile(rf"(?:[\s,]+\(?{_OPINION}\)?)+$", re.IGNORECASE)
# A day, perhaps with a time, that ends a clause; in "since yesterday" and "grounds from this morning" it is no date.
_EARLY = r"(?:(?<!\btoo )(?<!\bso )(?:early|earlier|mid|late)[\s-]{1,2})"
_PART = rf"(?:(?:\s+{_EARLY}(?:(?:in\s+the|at)\s+)?|\s+)(?:morning|afternoon|evening|night))?"
_FULL_WEEKDAY = r"(?:mon|tues|wednes|thurs|fri|satur|sun)day"
LAST_DAY = re.compile(
    r"(?:^|(?<=[\s,]))(?<!\bfrom )(?<!\bsince )(?<!\buntil )(?<!\btill )(?<!\bthan )(?<!\bfor )(?<!\bbefore )"
    r"(?<!\bafter )(?<!\bof )(?<!\bby )(?<!\bas )(?<!\blike )(?<!\bthe )(?<!\band )(?<!\bor )(?P<day>(?:"
    rf"(?:the\s+day\s+before\s+)?yesterday{_PART}|{_EARLY}yesterday\s+(?:morning|afternoon|evening|night)|today|tonight|(?:just\s+)?now|last\s+week"
    rf"|{_EARLY}?last\s+(?:night|evening)"
    rf"|{_EARLY}?this\s+(?:morning|afternoon|evening)|(?:on|last)\s+{_WEEKDAY}{_PART}|{_FULL_WEEKDAY}{_PART}"
    rf"|on\s+(?:the\s+)?{_DAY}\s+(?:of\s+)?{_MONTH}|on\s+{_MONTH}\s+{_DAY}"
    r"|(?:\d{1,2}|an?|one|two|three|four|five|six|a\s+couple\s+of)\s+(?:day|week|hour)s?\s+ago"
    r")(?:\s+(?:at|around|about)\s+(?:\d{1,2}(?:[:.]\d\d)?\s*(?:[ap]m)?|noon|midday|midnight))?)[\s.,!]*$",
    re.IGNORECASE,
)
KEPT = re.compile(r"(?:notes?|nb|ps|remark)\b", re.IGNORECASE)  # what follows is a note, whatever it says
# A dash or a bullet that makes a list of lines; before a number it is a minus.
_BULLET = re.compile(
    r"\s*[-−–—*•]\s*(?=[^\W\d_])(?!(?:one|two|three|four|five|six|seven|eight|nine|ten)\b)", re.IGNORECASE
)
_STOP = re.compile(r";|\n|\.(?=\s+[A-Z]|\s*$)")
_COMMA = re.compile(
    rf"(?<!\d),|,(?!\d)|\s/\s|\s(?:and|&)\s+(?={_STARTS_CLAUSE}\b|{AMOUNT_BEGINS.pattern})", re.IGNORECASE
)
_WITH_NUMBER = re.compile(rf"\d|{WORDED_TEMPERATURE}", re.IGNORECASE)
_OPEN_BETWEEN = re.compile(r"between\b(?!.*\band\b)[^,;]*$", re.IGNORECASE)


class EntryError(Mistake):
    """A line that cannot be understood: what, where in the line (a caret), and how to mend it."""


@dataclass(frozen=True, slots=True)
class Clause:
    """Part of a line: its text without outer spaces, and where it begins in `line`."""

    text: str
    begins: int
    line: str

    def part(self, start: int, end: int | None = None) -> Clause:
        """A part of this clause, without outer spaces."""
        return clause_of(self.line, self.begins + start, self.begins + (len(self.text) if end is None else end))

    def error(self, what: str, at: int, mend: str) -> EntryError:
        """The mistake at a position of this clause, placed in the whole line."""
        return EntryError(what, self.line, self.begins + at, mend)

    def wrapped(self, mistake: Mistake, shift: int = 0) -> EntryError:
        """The mistake that a parser found in this clause, placed in the whole line."""
        return self.error(mistake.what, mistake.position + shift, mistake.mend)


def clause_of(line: str, start: int, end: int) -> Clause:
    """The clause between two positions of the line, without outer spaces and the dash of a list."""
    bullet = _BULLET.match(line, start, end)
    start = bullet.end() if bullet else start
    text = line[start:end]
    return Clause(text.strip(), start + len(text) - len(text.lstrip()), line)


def without_opinion(clause: Clause) -> Clause:
    """The clause without "I think" or "maybe" at its start or end: a keeper's doubt changes no bounds."""
    first, last = _FIRST_OPINION.match(clause.text), _LAST_OPINION.search(clause.text)
    return clause.part(first.end() if first else 0, last.start() if last else None)


def day_and_rest(clause: Clause) -> tuple[Clause | None, Clause]:
    """The day that a clause ends in, but for where and with what, and the clause with the day blanked out."""
    said = find_place(find_instrument(find_depth(clause.text)[0])[0])[0]
    found = None if KEPT.match(clause.text) else LAST_DAY.search(said)
    if found is None or not clause.text[: found.start()].strip(" ,"):
        return None, clause
    day = clause.part(*found.span("day"))
    line = blank(clause.line, day.begins, day.begins + len(day.text))
    rest = clause_of(line, clause.begins, clause.begins + len(clause.text))
    return day, rest.part(0, len(rest.text.rstrip(" ,")))


def date_and_rest(line: str, is_date: Callable[[str], bool]) -> tuple[Clause | None, Clause]:
    """The date before the first colon that a space follows, if one stands there, and the rest.

    What only looks like a date counts as one, so that a slip in it is refused and not taken for a note.
    """
    whole = clause_of(line, 0, len(line))
    colon = re.search(r":(?=\s|$)", line)
    head = line[: colon.start()] if colon else ""
    if colon and (DATE_BEGINS.match(line) or _SHORT_DATE.match(head) or is_date(head)):
        return clause_of(line, 0, colon.start()), clause_of(line, colon.end(), len(line))
    if DATE_BEGINS.match(line):
        what = "a date begins this line, but no colon ends it"
        raise EntryError(what, line, 0, "Write a colon and a space after the date, as '23 Jan: middle 6 C'.")
    return None, whole


def sentences(rest: Clause) -> Iterator[Clause]:
    """The parts that semicolons, line ends and full stops divide."""
    yield from _cut(rest, [m.span() for m in _STOP.finditer(rest.text)])


def clauses(sentence: Clause) -> list[Clause]:
    """The parts that commas and "and" divide; a decimal comma and one amount in two units stay whole."""
    cuts = [found.span() for found in _COMMA.finditer(sentence.text) if _divides(found, sentence.text)]
    parts: list[Clause] = []
    for part in _cut(sentence, cuts):
        both = clause_of(part.line, parts[-1].begins, part.begins + len(part.text)) if parts else part
        doubt = _ONLY_OPINION.fullmatch(part.text) or LAST_DAY.match(part.text)
        if parts and (doubt or _one_amount_twice(both, part) or _where_of(parts[-1], part)):
            parts[-1] = both
        else:
            parts.append(part)
    return parts


def _divides(found: re.Match[str], text: str) -> bool:
    """Whether a comma, "and" or slash divides clauses: not in "between 6 and 7", nor in "43 F / 6 C"."""
    before, after = text[: found.start()], re.split("[,/]", text[found.end() :], maxsplit=1)[0]
    if "/" in found[0]:
        return find_place(re.split("[,/]", before)[-1])[2] >= 0 and find_place(after)[2] >= 0
    return "," in found[0] or not _OPEN_BETWEEN.search(before)


def _where_of(one: Clause, other: Clause) -> bool:
    """Whether "6 C, 5 cm down" or "middle, 6 C" were cut apart: one says where and the other what."""
    if only_where(one.text):
        return bool(AMOUNT_BEGINS.match(other.text)) and find_place(other.text)[2] < 0
    placed = find_place(one.text)[2] >= 0 and find_place(other.text)[2] >= 0
    return only_where(other.text) and not placed and _WITH_NUMBER.search(one.text) is not None


def _one_amount_twice(both: Clause, last: Clause) -> bool:
    """Whether "middle 1 C, 50 F" ends in one amount written in two units."""
    before = last.begins - both.begins
    tail = max(0, before - 40)  # no amount is longer, and a long line stays quick to search
    amount = re.search(r"[-−]?\d\S{0,12}\s?\S{0,12}\s*,\s*$", both.text[tail:before])
    if amount is None:
        return False
    # "1 C, 50 F middle" and "middle 1 C, 50 F" are one reading, "middle 1 C, 50 F edge" is two.
    placed = [find_place(text)[2] >= 0 for text in (both.text[:before], last.text)]
    if all(placed):
        return False
    try:
        parse_amount(find_place(last.text)[0])
        parse_amount(find_place(both.text[tail + amount.start() :])[0])
    except AmountError:
        return False
    return True


def _cut(whole: Clause, cuts: list[tuple[int, int]]) -> Iterator[Clause]:
    starts = [0, *(end for _, end in cuts)]
    ends = [*(start for start, _ in cuts), len(whole.text)]
    for start, end in zip(starts, ends, strict=True):
        part = whole.part(start, end)
        if part.text:
            yield part
