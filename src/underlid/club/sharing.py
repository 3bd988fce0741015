"""What of a journal may leave it: decided here once, so that whatever is written later holds nothing else.

What a keeper has said of themselves governs it: how exactly the place is told, under which name, and which photos are
shared. Where nobody has said anything, nothing of the kind is told. Words written freely are left out unless they are
asked for, since they may name people and places; so are the names of bins, and feedings, whose materials are such
words. Clocks that are told with their distance from UTC tell about how far east a bin stands, so they are only where
the place is.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TypeGuard, TypeVar
from zoneinfo import ZoneInfo

from underlid.club.account import Account, account, silent
from underlid.club.names import Private, in_order, keeper_labels, plain, public_id
from underlid.club.place import Place, place_of
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.quantity.zones import zone
from underlid.records import (
    AnyEntry,
    Base,
    Bin,
    Keeper,
    Note,
    Photo,
    PhotosShown,
    Reading,
    SampleCount,
    Sighting,
    Siting,
)

Observed = Reading | SampleCount | Sighting | Note
Kept = TypeVar("Kept", Photo, Reading, SampleCount, Sighting, Note)

_SCIENTIFIC = re.compile(r"[A-Z][a-z]+ [a-z][a-z-]+")  # genus and species


@dataclass(frozen=True, slots=True)
class SharedBin:
    """A bin as others may see it.

    id : holds everywhere; number : its place among all bins of the journal
    name : "" unless words are shared; keeper : what to call them, "" for a bin that is nobody's in particular
    place : None if it is not told; species : "" unless it is a scientific name
    named : whether that is the name they chose; withheld : a sentence on what is not told of this bin
    """

    id: str
    number: int
    name: str
    keeper: str
    named: bool
    place: Place | None
    zone: ZoneInfo
    started: VagueTime
    length: VagueAmount
    width: VagueAmount
    height: VagueAmount
    founders: VagueAmount
    siting: Siting
    base: Base
    species: str
    withheld: str


@dataclass(frozen=True, slots=True)
class Shared:
    """All that may leave. Entries are bare: ids that hold everywhere, the bin's id for its name, no words.

    anothers : ids of bins, entries and photos that were noted when the bin was another keeper's than now
    until : when the newest of it was noted, None if that is not known
    """

    bins: tuple[SharedBin, ...]
    entries: tuple[Observed, ...]
    anothers: frozenset[str]
    photos: tuple[Photo, ...]
    account: Account
    words: bool
    until: datetime | None

    def beside(self, id: str, bin: SharedBin) -> SharedBin:
        """The bin as it is told beside itself or an entry in it: without its keeper and where it stands if that was
        noted when the bin was another keeper's, for it was another place then."""
        if id not in self.anothers:
            return bin
        return replace(bin, keeper="", named=False, place=None, withheld=_withheld_of(None, None, words=self.words))


def share(
    bins: Sequence[Bin], entries: Sequence[AnyEntry], keepers: Mapping[str, Keeper], whose: Mapping[str, str],
    photos: Mapping[str, PhotosShown], *, chosen: Collection[str] | None = None, words: bool = False,
    as_of: datetime | None = None, taken_over: Mapping[str, datetime] | None = None,
) -> Shared:  # fmt: skip
    """What may leave of a journal.

    Parameters
    ----------
    bins, entries : all of the journal, entries that others correct among them
    keepers : by name; whose : the name of a bin to that of its keeper; photos : how single ones are marked, by id
    chosen : names of the bins to share; None for all
    words : share what was written freely too, and the bins' names
    as_of : leave out what was noted later; what keepers say of themselves is always that of today
    taken_over : since when a bin is its keeper's, by its name, if it was another's; what was noted before is nobody's
    """
    ordered = in_order(bins)
    labels = keeper_labels(ordered, whose, keepers)
    private = Private(bins, keepers)
    keeper_of = {each.name: keepers.get(whose.get(each.name, "")) for each in ordered}
    public: dict[str, SharedBin] = {}
    for number, each in enumerate(ordered, start=1):
        if (chosen is None or each.name in chosen) and _noted_by(each.noted_at, as_of):
            keeper = keeper_of[each.name]
            label = "" if keeper is None else labels[keeper.name]
            public[each.name] = _shared_bin(each, number, label, keeper, private, words=words)
    mine = [each for each in ordered if each.name in public]
    standing = [each for each in _standing(entries, as_of) if each.bin in public]
    observed = [each for each in standing if _is_observed(each, words=words)]
    bare = tuple(_bare(each, public[each.bin].id, private, words=words) for each in observed)
    before = pictures_before((each for each in entries if isinstance(each, Photo)), taken_over or {})
    taken = [
        each for each in standing if isinstance(each, Photo) and is_shared(each, keeper_of[each.bin], photos, before)
    ]
    pictures = tuple(replace(_bare_entry(each, public[each.bin].id, words=words), file="") for each in taken)
    others = [each for each in (*mine, *observed) if _by_another(each, taken_over or {})]
    anothers = frozenset(
        [public[each.name].id if isinstance(each, Bin) else public_id(each.id) for each in others]
        + [public_id(each.id) for each in taken if _picture(each) in before]
    )
    noted = [each.noted_at for each in (*mine, *observed) if each.noted_at is not None]
    said = account(
        mine, standing, keeper_of, keepers=bool(keepers), pictures=len(pictures), words=words,
        instruments=sum(map(_lost_instrument, observed, bare)),
        species=sum(bool(each.species) != bool(public[each.name].species) for each in mine), anothers=len(others),
        elsewhere=sum(public[each.name if isinstance(each, Bin) else each.bin].place is not None for each in others),
    )  # fmt: skip
    until = max(noted).astimezone(UTC) if noted else None
    return Shared(tuple(public.values()), bare, anothers, pictures, said, words, until)


# --- photos --------------------------------------------------------------------------------------------------


def pictures_before(photos: Iterable[Photo], taken_over: Mapping[str, datetime]) -> frozenset[tuple[str, str]]:
    """The pictures, by bin and SHA-256, that are in a bin since before it was its keeper's.

    Corrected entries belong among the photos: a later one of the same picture makes it nobody else's. One that was
    noted nobody knows when counts as from before.
    """
    return frozenset(
        _picture(each)
        for each in photos
        if each.bin in taken_over and (each.noted_at is None or each.noted_at < taken_over[each.bin])
    )


def is_shared(
    photo: Photo, keeper: Keeper | None, marks: Mapping[str, PhotosShown], before: Collection[tuple[str, str]]
) -> bool:
    """Whether others than its keeper may have a photo: its mark holds, else what its keeper says of photos.

    What the keeper says is of their own photos: one from `before` the bin was theirs is private unless it is marked. A
    photo of nobody's bin is private.
    """
    if keeper is None:
        return False
    return marks.get(photo.id, "private" if _picture(photo) in before else keeper.photos) == "shared"


def _picture(photo: Photo) -> tuple[str, str]:
    return photo.bin, photo.sha256


# --- what stands ---------------------------------------------------------------------------------------------


def _noted_by(noted_at: datetime | None, as_of: datetime | None) -> bool:
    return as_of is None or noted_at is None or noted_at <= as_of


def _standing(entries: Sequence[AnyEntry], as_of: datetime | None) -> list[AnyEntry]:
    """The entries noted by then that none noted by then corrects, in order of time."""
    known = [each for each in entries if _noted_by(each.noted_at, as_of)]
    corrected = {each.corrects for each in known}
    standing = [each for each in known if each.id not in corrected]
    return sorted(standing, key=lambda each: (each.when.start, each.when.end, each.id))


def _is_observed(entry: AnyEntry, *, words: bool) -> TypeGuard[Observed]:
    """Whether an entry says something of a bin or its animals that may be told."""
    if isinstance(entry, Note):
        return words
    return isinstance(entry, Reading | SampleCount | Sighting) and not silent(entry)


def _by_another(one: Bin | Observed, taken_over: Mapping[str, datetime]) -> bool:
    """Whether it was noted before the bin was its keeper's; what was noted nobody knows when counts as its keeper's."""
    since = taken_over.get(one.name if isinstance(one, Bin) else one.bin)
    return since is not None and one.noted_at is not None and one.noted_at < since


# --- bare records --------------------------------------------------------------------------------------------


def _amount(amount: VagueAmount, *, words: bool) -> VagueAmount:
    return amount if words else replace(amount, words="", flags=())


def _time(when: VagueTime, *, words: bool) -> VagueTime:
    return when if words else replace(when, words="", flags=())


def _bare_entry(entry: Kept, bin_id: str, *, words: bool) -> Kept:
    return replace(
        entry, id=public_id(entry.id), bin=bin_id, when=_time(entry.when, words=words),
        words=plain(entry.words) if words else "", corrects=None, noted_at=None,
    )  # fmt: skip


def _bare(entry: Observed, bin_id: str, private: Private, *, words: bool) -> Observed:
    match entry:
        case Reading():
            instrument = plain(entry.instrument)
            return replace(
                _bare_entry(entry, bin_id, words=words), amount=_amount(entry.amount, words=words),
                depth=None if entry.depth is None else _amount(entry.depth, words=words),
                instrument="" if not words and private.names_somebody(instrument) else instrument,
            )  # fmt: skip
        case SampleCount():
            return replace(
                _bare_entry(entry, bin_id, words=words), volume=_amount(entry.volume, words=words),
                counts=tuple((stage, _amount(many, words=words)) for stage, many in entry.counts),
            )  # fmt: skip
        case Sighting():
            return replace(_bare_entry(entry, bin_id, words=words), amount=_amount(entry.amount, words=words))
        case Note():
            return _bare_entry(entry, bin_id, words=words)


def _lost_instrument(entry: Observed, bare: Observed) -> bool:
    if not (isinstance(entry, Reading) and isinstance(bare, Reading)):
        return False
    return plain(entry.instrument) != bare.instrument


def _shared_bin(
    each: Bin, number: int, label: str, keeper: Keeper | None, private: Private, *, words: bool
) -> SharedBin:  # fmt: skip
    species = plain(each.species)
    if not _SCIENTIFIC.fullmatch(species) or private.names_somebody(species):
        species = ""
    place = None if keeper is None else place_of(keeper)
    return SharedBin(
        id=public_id(each.id, kind="bin"), number=number, name=plain(each.name) if words else "", keeper=label,
        named=keeper is not None and bool(plain(keeper.shown_as)), place=place,
        zone=zone(each.timezone), started=_time(each.started, words=words),
        length=_amount(each.length, words=words), width=_amount(each.width, words=words),
        height=_amount(each.height, words=words), founders=_amount(each.founders, words=words),
        siting=each.siting, base=each.base, species=species,
        withheld=_withheld_of(keeper, place, words=words),
    )  # fmt: skip


def _withheld_of(keeper: Keeper | None, place: Place | None, *, words: bool) -> str:
    """A sentence or two on what is not told of a bin, as Darwin Core's informationWithheld has it."""
    parts = []
    if place is None:
        parts.append("place")
    elif place.step:
        parts.append("exact place")
    if keeper is None or not plain(keeper.shown_as):
        parts.append("keeper's name")
    if not words:
        parts.append("words written freely")
    return f"Withheld: {', '.join(parts)}." if parts else ""
