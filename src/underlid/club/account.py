"""What is shared and what is withheld, how much of each, and why: told to whoever publishes, and to whoever reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from underlid.club.amounts import presence, says_nothing
from underlid.club.names import plain
from underlid.club.place import place_of
from underlid.quantity.amount import VagueAmount
from underlid.records import AnyEntry, Bin, Claim, Feeding, Keeper, Note, Photo, Reading, SampleCount, Sighting

CHOSEN = "as the keeper's settings say"
NO_NAME = "the keeper gave none to be shown"
NO_KEEPERS = "the journal names no keepers, so nobody has said that it may be told"
NOBODYS = "the bin is nobody's in particular"
ANOTHERS = "noted when the bin was another keeper's"
WORDS = "words may name people and places"
ASKED_FOR = "words were asked for"


@dataclass(frozen=True, slots=True)
class Item:
    """One kind of thing that is shared or withheld, how many there are of it, and why so."""

    what: str
    count: int
    why: str


@dataclass(frozen=True, slots=True)
class Account:
    """What is shared, and what is withheld."""

    told: tuple[Item, ...]
    withheld: tuple[Item, ...]


def account(
    bins: Sequence[Bin], standing: Sequence[AnyEntry], keeper_of: Mapping[str, Keeper | None], *, keepers: bool,
    pictures: int, instruments: int, species: int, anothers: int, elsewhere: int, words: bool,
) -> Account:  # fmt: skip
    """Of these bins and the entries that stand in them, what is shared and what is not.

    keepers : whether the journal names any; pictures : how many photos are shared
    instruments, species : how many are withheld, since a name stands in them or for want of a scientific name
    anothers : how many bins and entries were noted when the bin was another keeper's; elsewhere : of those, how many
        have no place though that of their bin now is told
    """
    mine = [keeper_of[each.name] for each in bins]
    nobodys = NOBODYS if keepers else NO_KEEPERS
    photos = _of(standing, Photo)
    told = [
        Item("bins", len(bins), "species, inside size, founders, siting and what they stand on"),
        *(Item(what, sum(not silent(e) for e in standing if isinstance(e, kind)), "as vague as they were noted")
          for kind, what in ((Reading, "readings"), (SampleCount, "sample counts"), (Sighting, "sightings"))),
        *_grouped("places of bins", mine, _place_told),
        Item("bins whose keeper is named", sum(_named(each) for each in mine), CHOSEN),
        Item("photos", pictures, "shared by their keepers: time and SHA-256, no picture is copied"),
    ]  # fmt: skip
    withheld = [
        *_grouped("places of bins", mine, lambda each: nobodys if each is None else _place_withheld(each)),
        *_grouped(
            "bins whose keeper is not named", mine,
            lambda each: nobodys if each is None else "" if _named(each) else NO_NAME,
        ),
        Item("names of who noted bins and entries", anothers, ANOTHERS),
        Item("places of bins and entries", elsewhere, ANOTHERS),
        Item("photos", photos - pictures, "private"),
        Item("instruments", instruments, "the name of a keeper or a bin stands in them"),
        Item("species of bins", species, "not noted as a scientific name of two words"),
        Item("feedings", _of(standing, Feeding), "no observation of animals or bedding"),
        Item("claims under watch", _of(standing, Claim), "no observation of animals or bedding"),
        Item("entries", sum(map(silent, standing)), "they say nothing, or were taken back"),
        Item("counts", sum(map(_unsure, standing)), "they leave open whether there were any; that one looked is told"),
    ]  # fmt: skip
    wordy = [
        Item("names of bins", len(bins), ASKED_FOR if words else WORDS),
        Item("words of readings, counts and sightings", _wordy(standing), ASKED_FOR if words else WORDS),
        Item("notes", _of(standing, Note), ASKED_FOR if words else WORDS),
    ]
    (told if words else withheld).extend(wordy)
    return Account(*(tuple(item for item in items if item.count) for items in (told, withheld)))


def silent(entry: AnyEntry) -> bool:
    """Whether an entry leaves everything open, as one does that was taken back."""
    match entry:
        case Reading() | Sighting():
            return says_nothing(entry.amount)
        case SampleCount():
            return all(says_nothing(amount) for _, amount in entry.counts)
        case _:
            return False


def _of(entries: Iterable[AnyEntry], kind: type[AnyEntry]) -> int:
    return sum(isinstance(each, kind) for each in entries)


def _wordy(entries: Iterable[AnyEntry]) -> int:
    return sum(isinstance(each, Reading | SampleCount | Sighting) and bool(plain(each.words)) for each in entries)


def _unsure(entry: AnyEntry) -> int:
    """How many counts of an entry do not become an occurrence."""
    amounts: Iterator[VagueAmount] = iter(())
    match entry:
        case Sighting():
            amounts = iter((entry.amount,))
        case SampleCount():
            amounts = (amount for _, amount in entry.counts)
    counted = isinstance(entry, SampleCount)
    return sum(presence(amount, counted=counted) is None for amount in amounts if not says_nothing(amount))


def _grouped(
    what: str, keepers: Sequence[Keeper | None], why: Callable[[Keeper | None], str]
) -> Iterator[Item]:  # fmt: skip
    """An item for each reason, of as many bins as have it; "" is none."""
    reasons = Counter(reason for each in keepers if (reason := why(each)))
    yield from (Item(what, count, reason) for reason, count in sorted(reasons.items()))


def _named(keeper: Keeper | None) -> bool:
    return keeper is not None and bool(plain(keeper.shown_as))


def _place_told(keeper: Keeper | None) -> str:
    place = None if keeper is None else place_of(keeper)
    if place is None:
        return ""
    return f"to a cell of {place.step}, {CHOSEN}" if place.step else f"as noted, {CHOSEN}"


def _place_withheld(keeper: Keeper) -> str:
    if keeper.latitude is None or keeper.longitude is None:
        return "none was noted"
    return CHOSEN if keeper.place == "not told" else ""
