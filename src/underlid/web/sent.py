"""What a phone sends under a key of its own: stored once, however often it arrives.

The ids of the entries come from the key, and the journal stores all of one line or nothing. So a phone that never saw
the answer sends the same again, and is told what was stored the first time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from underlid.answer import rules_of
from underlid.bedding.materials import unknown_food
from underlid.entry import corrected, parse_line
from underlid.entry.withdrawal import withdrawn
from underlid.journal.errors import DuplicateEntry, UnknownEntry
from underlid.journal.store import Journal
from underlid.quantity import Mistake
from underlid.records import AnyEntry, Bin, Feeding
from underlid.trials.watch import alarms
from underlid.web.parts import TURN

AHEAD = timedelta(minutes=10)  # clocks differ by so much without anyone being wrong: our judgement
EARLIEST = datetime(1970, 1, 2, tzinfo=UTC)


class WrongClock(ValueError):
    """The time sent cannot be when the words were written."""


class SeveralEntries(ValueError):
    """A correction that makes several entries."""


class KeyTaken(ValueError):
    """The key is that of other words, which are stored."""

    def __init__(self, stored: Sequence[AnyEntry], offered: str) -> None:
        self.stored = tuple(one.words for one in stored)
        self.offered = offered
        super().__init__(
            f"This was sent before with other words: “{'; '.join(self.stored)}” is stored, “{offered}” is not. "
            "Send it as a new entry, or correct the stored one."
        )


@dataclass(frozen=True, slots=True)
class Stored:
    """What stands in the journal under a key, what was assumed, the alarms, and whether it stood there before."""

    entries: tuple[AnyEntry, ...]
    notes: tuple[str, ...]
    alarms: tuple[str, ...]
    repeated: bool


def entry_id(key: UUID, index: int) -> str:
    """The id of the n-th entry of a line that was sent under a key."""
    return str(uuid5(key, str(index)))


def stored_under(journal: Journal, key: UUID) -> tuple[AnyEntry, ...]:
    """The entries that were sent under a key; none if it never arrived."""
    found: list[AnyEntry] = []
    while (one := _entry(journal, entry_id(key, len(found)))) is not None:
        found.append(one)
    return tuple(found)


def moment_of(record: Bin, at: datetime | None, now: datetime) -> datetime:
    """When the words were written: the phone's clock if it told, else ours, to the second. Raises WrongClock."""
    if at is None:
        return now
    if at < EARLIEST or at > now + AHEAD:
        raise WrongClock(
            f"The time {at:%Y-%m-%d %H:%M} is not one to write at: it is {now:%Y-%m-%d %H:%M} for bin {record.name}. "
            "Mend the time, or the clock of the phone."
        )
    return at.astimezone(now.tzinfo).replace(microsecond=0)


def read_words(
    journal: Journal, record: Bin, key: UUID, words: str, moment: datetime, corrects: str | None = None
) -> tuple[tuple[AnyEntry, ...], tuple[str, ...]]:
    """The entries that words make, with what was assumed; nothing is stored."""
    count = iter(range(len(words) + 1))
    understood = parse_line(
        words, bin=record, now=moment, new_id=lambda: entry_id(key, next(count)), containers=journal.containers()
    )
    if corrects is None:
        return understood.records, (*understood.notes_on, *_unknown(understood.records))
    if len(understood.records) != 1:
        what = f"A correction mends one entry, but the line makes {len(understood.records)}"
        raise SeveralEntries(f"{what}; write that one alone.")
    earlier = next(one for one in journal.history(corrects) if one.id == corrects)
    if earlier.bin != record.name:  # whose bin it is was asked of this one
        raise UnknownEntry(id=corrects)
    mended, notes = corrected(understood, earlier)
    return (mended,), (*notes, *_unknown((mended,)))


def _unknown(entries: Iterable[AnyEntry]) -> Iterator[str]:
    """Sentences on food of which nothing is known."""
    said = (unknown_food(one.material) for one in entries if isinstance(one, Feeding))
    return (sentence for sentence in said if sentence is not None)


def store(
    journal: Journal,
    record: Bin,
    key: UUID,
    words: str,
    at: datetime | None,
    now: datetime,
    corrects: str | None = None,
) -> Stored:
    """Store a line once under its key. Raises KeyTaken if other words are stored under it."""

    def made(standing: tuple[AnyEntry, ...]) -> tuple[tuple[AnyEntry, ...], tuple[str, ...]]:
        # Without a time of its own a line that arrives again is read by the clock of the first time.
        first = standing[0].noted_at if standing and at is None else None
        return read_words(journal, record, key, words, first or moment_of(record, at, now), corrects)

    try:
        return _once(journal, record, key, words, made, now)
    except DuplicateEntry:  # it arrived twice at the same moment, and the other came first
        return _once(journal, record, key, words, made, now)


def withdraw(journal: Journal, record: Bin, key: UUID, of: UUID, now: datetime) -> Stored:
    """Take back once all that was sent under the key `of`: what it corrected stands again."""
    entries = stored_under(journal, of)
    if not entries or entries[0].bin != record.name:
        raise UnknownEntry(id=str(of))

    def made(standing: tuple[AnyEntry, ...]) -> tuple[tuple[AnyEntry, ...], tuple[str, ...]]:
        back = [
            withdrawn(one, _entry(journal, one.corrects), entry_id(key, index), now)
            for index, one in enumerate(entries)
        ]
        return tuple(back), ("taken back; the earlier words stay in the journal",)

    return _once(journal, record, key, "taken back", made, now)


def alarms_of(journal: Journal, record: Bin, entries: Sequence[AnyEntry], now: datetime) -> tuple[str, ...]:
    """What stop rules say of entries of a bin."""
    return tuple(alarm.sentence for alarm in alarms(rules_of(journal, record.name), record, entries, now))


# --- inside ----------------------------------------------------------------------------------------------

Made = Callable[[tuple[AnyEntry, ...]], tuple[tuple[AnyEntry, ...], tuple[str, ...]]]


def _once(journal: Journal, record: Bin, key: UUID, words: str, made: Made, now: datetime) -> Stored:
    standing = stored_under(journal, key)
    try:
        entries, notes = made(standing)
    except (Mistake, SeveralEntries, WrongClock) as error:
        if standing:
            raise KeyTaken(standing, words) from error
        raise
    if standing:
        if [_said(one) for one in standing] != [_said(one) for one in entries]:
            raise KeyTaken(standing, words)
        entries = standing
    else:
        with TURN:
            journal.add(entries)
    return Stored(entries, notes, _news(journal, record, entries, now), repeated=bool(standing))


def _news(journal: Journal, record: Bin, new: Sequence[AnyEntry], now: datetime) -> tuple[str, ...]:
    """The alarms of new entries, also where they break a rule only together with earlier ones."""
    by_then = max([now, *(one.when.start for one in new)])  # a phone's clock may be ahead by a little
    rules = rules_of(journal, record.name)
    ids = {one.id for one in new}
    found = alarms(rules, record, new, by_then) + alarms(rules, record, journal.entries(record.name), by_then)
    return tuple(dict.fromkeys(alarm.sentence for alarm in reversed(found) if alarm.entry.id in ids))


def _said(one: AnyEntry) -> tuple[object, ...]:
    return one.bin, one.words, one.when.start, one.when.end, one.corrects


def _entry(journal: Journal, id: str | None) -> AnyEntry | None:
    if id is None:
        return None
    try:
        return next(one for one in journal.history(id) if one.id == id)
    except UnknownEntry:
        return None
