"""What things are called in public: by ids that say nothing, by numbers, and in plain text."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from uuid import UUID, uuid5

from underlid.records import Bin, Keeper

#: Names the ids of things that have none of their own.
NAMESPACE = UUID("5f1f1d57-6c1c-4e0b-9a3c-0c9f2b1d7a44")
_FIRST = datetime.min.replace(tzinfo=UTC)


def public_id(id: str, *part: object, kind: str = "entry") -> str:
    """An id that holds everywhere, the same each time: the record's own if that is a UUID that says nothing.

    Else it is made from the record's own: a UUID that is not random may hold a clock and the number of a machine.
    """
    try:
        own = UUID(id)
    except ValueError:
        own = uuid5(NAMESPACE, f"{kind}/{id}")
    if own.version not in (4, 5):
        own = uuid5(NAMESPACE, f"{kind}/{own}")
    return (uuid5(own, "/".join(map(str, part))) if part else own).urn


def plain(text: str) -> str:
    """Text on one line, without signs that XML does not allow; white space of any kind is one space."""
    kept = "".join(sign for sign in text if sign.isspace() or unicodedata.category(sign) not in ("Cc", "Cs", "Cn"))
    return " ".join(kept.split())


def in_order(bins: Iterable[Bin]) -> list[Bin]:
    """The bins as they came into the journal: the place of one in it never changes, for a journal only grows."""
    return sorted(bins, key=lambda each: (each.noted_at or _FIRST, each.id))


def keeper_labels(bins: Sequence[Bin], whose: Mapping[str, str], keepers: Mapping[str, Keeper]) -> dict[str, str]:
    """What to call each keeper who has a bin: the name they chose to be shown as, else "keeper" and a number.

    The number is that of the first bin of theirs, so nobody's changes because somebody else comes, goes or is named.
    It is told by the journal's order alone: a hash of a name would give the name away to whoever tries a few.
    """
    labels: dict[str, str] = {}
    for place, each in enumerate(bins, start=1):
        name = whose.get(each.name, "")
        if name in keepers and name not in labels:
            labels[name] = plain(keepers[name].shown_as) or f"keeper {place}"
    return labels


class Private:
    """The names that are not told: in no text that a keeper wrote may one of them stand."""

    def __init__(self, bins: Iterable[Bin], keepers: Mapping[str, Keeper]) -> None:
        names = {each.name for each in bins} | {each.name for each in keepers.values()}
        shown = {plain(each.shown_as).casefold() for each in keepers.values()}
        self._names = {plain(name).casefold() for name in names} - shown - {""}

    def names_somebody(self, text: str) -> bool:
        """Whether any of the names stands in the text, in capitals or not."""
        low = plain(text).casefold()
        return any(name in low for name in self._names)
