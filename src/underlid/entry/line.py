"""From a keeper's line to records: the date first, then clause by clause."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from underlid.entry.clause import Reader, Said
from underlid.entry.split import LONGEST_LINE, Clause, EntryError, clauses, date_and_rest, sentences
from underlid.quantity import VagueAmount, VagueTime, WhenError, parse_when
from underlid.records import AnyEntry, Bin


@dataclass(frozen=True, slots=True)
class Understood:
    """The records a line holds, and sentences on what was assumed, flagged or kept as a note."""

    records: tuple[AnyEntry, ...]
    notes_on: tuple[str, ...]


def parse_line(
    text: str,
    *,
    bin: Bin,
    now: datetime,
    new_id: Callable[[], str],
    containers: Mapping[str, VagueAmount] | None = None,
) -> Understood:
    """The records that one line of a keeper's words holds.

    Parameters
    ----------
    text : an optional date before the first colon, then clauses divided by semicolons, commas or "and"
    bin : the bin the line is about; its zone and start settle the date
    now : the clock when the line was written, with a zone; the date of a line that has none
    new_id : gives a fresh id for each record
    containers : what the keeper's own measures hold, by name

    Raises
    ------
    EntryError : with the position in the line; no record is made of any part of it
    """
    if len(text) > LONGEST_LINE:
        what = f"that line has {len(text)} characters"
        raise EntryError(what, text, LONGEST_LINE, f"Keep a line under {LONGEST_LINE}, and write several.")
    zone = ZoneInfo(bin.timezone)

    def read_date(words: str) -> VagueTime:
        return parse_when(words, now=now, tz=zone, start=bin.started.start)

    date, rest = date_and_rest(text, lambda head: _is_date(head, read_date))
    if not rest.text:
        raise EntryError("there is nothing written", text, len(text), "Write what you saw, as 'middle 6 C'.")
    when = _when(date, read_date, now.astimezone(zone))
    records: list[AnyEntry] = []
    notes_on: list[str] = list(when.flags)
    if date is None:
        notes_on.append("no date written: taken as now")
    reader = Reader(containers or {})
    for sentence in sentences(rest):
        previous: Said | None = None
        for clause in (sentence,) if reader.is_sample(sentence) else clauses(sentence):
            said = reader.read(clause, previous)
            previous = said
            shared: dict[str, Any] = {
                "id": new_id(),
                "bin": bin.name,
                "when": when,
                "words": clause.text,
                "noted_at": now,
            }
            records.append(said.kind(**shared, **said.fields))
            notes_on += (f"'{clause.text}': {note}" for note in said.notes)
    return Understood(tuple(records), tuple(dict.fromkeys(notes_on)))


def _is_date(words: str, read_date: Callable[[str], VagueTime]) -> bool:
    try:
        read_date(words)
    except WhenError:
        return False
    return True


def _when(date: Clause | None, read_date: Callable[[str], VagueTime], here: datetime) -> VagueTime:
    if date is None:
        return VagueTime(here, here, "exact", "now")
    try:
        return read_date(date.text)
    except WhenError as error:
        raise date.wrapped(error) from None
