"""From a keeper's line to records: the date first, then clause by clause."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from underlid.entry.clause import each_said
from underlid.entry.room import inside_l
from underlid.entry.said import Known, Said
from underlid.entry.split import KEPT, LONGEST_LINE, Clause, EntryError, date_and_rest
from underlid.quantity import VagueAmount, VagueTime, WhenError, parse_when
from underlid.records import AnyEntry, Bin, Note


@dataclass(frozen=True, slots=True)
class Understood:
    """The records a line holds, sentences on what was assumed, and whether the line had a date of its own."""

    records: tuple[AnyEntry, ...]
    notes_on: tuple[str, ...]
    dated: bool


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
    known = Known(containers or {}, _bedding_m(bin), bin.height.high, _bedding_l(bin), inside_l(bin))
    found = list(each_said(rest, known)) if rest.text else []
    if not found:
        raise EntryError("there is nothing written", text, len(text), "Write what you saw, as 'middle 6 C'.")
    when = _when(date, read_date, now.astimezone(zone))
    records: list[AnyEntry] = []
    notes_on: list[str] = list(when.flags)
    if date is None and any(said.day is None for _, said in found):
        notes_on.append("no date written: taken as now")
    if date is None:
        _refuse_other_head(rest, found, known)
    for clause, said in found:
        own = when if said.day is None or _kept_undated(date, said) else _when(said.day, read_date, when.start)
        notes_on += own.flags
        shared: dict[str, Any] = {
            "id": new_id(),
            "bin": bin.name,
            "when": own,
            "words": clause.text,
            "noted_at": now,
        }
        records.append(said.kind(**shared, **said.fields))
        notes_on += (f"'{clause.text}': {note}" for note in said.notes)
    dated = date is not None or all(said.day is not None for _, said in found)
    return Understood(tuple(records), tuple(dict.fromkeys(notes_on)), dated)


def _kept_undated(date: Clause | None, said: Said) -> bool:
    """Whether the line's date holds for a clause with a day of its own: for a note it does, others are refused."""
    if date is None or said.day is None:
        return False
    if said.kind is Note:
        return True
    what = f"the line begins with a date, and here is another: '{said.day.text}'"
    raise said.day.error(what, 0, "Write one of them, in front or at the end.")


def _bedding_m(bin: Bin) -> float | None:
    """How deep the bedding was laid, if every layer's depth was noted."""
    depth = sum((layer.depth.low + layer.depth.high) / 2 for layer in bin.layers)
    return depth if math.isfinite(depth) and depth > 0 else None


def _bedding_l(bin: Bin) -> float | None:
    """The most the bedding may have been as laid [L], if its sides and depths were noted."""
    litres = 1000 * bin.length.high * bin.width.high * sum(layer.depth.high for layer in bin.layers)
    return math.ceil(10 * litres) / 10 if math.isfinite(litres) and litres > 0 else None


def _refuse_other_head(rest: Clause, found: list[tuple[Clause, Said]], known: Known) -> None:
    """Refuse "checked at dusk: middle 6 C", which as a note would lose a reading and its date."""
    colon = re.search(r":\s", rest.text)
    if colon is None or KEPT.match(rest.text):
        return
    begun = [said for clause, said in found if clause.begins <= rest.begins + colon.start()]
    if all(said.kind is Note for said in begun) and _says_more_than_a_note(rest.part(colon.end()), known):
        what = f"'{rest.text[: colon.start()].strip()}' is no date that is understood"
        mend = "Write for example '31 Dec: middle 1 C', or begin with 'note:' to keep the line as a note."
        raise rest.error(what, 0, mend)


def _says_more_than_a_note(tail: Clause, known: Known) -> bool:
    try:
        first = next(each_said(tail, known), None)
    except EntryError:
        return True  # a slip in what is meant for a record
    return first is not None and first[1].kind is not Note


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
