"""Several keepers, one journal: what each may do by their own device.

On the journal's own computer everything is allowed: whoever can open its folder can read and write it anyway. A paired
device is its keeper's. Of the bins of others it shows what was noted and estimated, and leaves out pictures that are
private, as are those in its keeper's own bins from before they were theirs. It stores only in its keeper's own bins,
unless that keeper is a steward; a reader's stores nothing. A device that was paired before there were keepers stores
nothing until it is paired anew.

By the address alone `permitted` decides; where a request names bins in what it sends, its route asks `own_among`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fastapi import Request

from underlid.club.sharing import is_shared, pictures_before
from underlid.journal.errors import NoJournal
from underlid.journal.store import Journal
from underlid.records import Keeper, Photo
from underlid.web.guard import SAFE, device_of
from underlid.web.parts import settings_of
from underlid.web.settings import Settings

#: Nothing is stored by these: they say what words mean, or what would be.
COMPUTES = frozenset({
    "/api/bins/{bin}/parse", "/api/bins/{bin}/view", "/api/bins/{bin}/feedcheck", "/api/bins/{bin}/whatif",
    "/api/plans", "/trials/new",
})  # fmt: skip
#: What any keeper may: start bins of their own, look at all bins anew, register trials of their own bins and what
#: changed in them.
OPEN = frozenset({
    "/fleet/look", "/fleet/stop",
    "/new", "/api/bins", "/trials", "/api/trials", "/trials/{name:path}/changes", "/api/trials/{name:path}/changes",
})  # fmt: skip
#: Holds pictures, or words of the keeper's own: only for whose bin it is.
OWN = ("/bins/{bin}/update", "/api/bins/{bin}/update")
PICTURE = ("/photos/{sha256}", "/api/photos/{sha256}")


class NotYours(ValueError):
    """A keeper asked for what another has not shared, or would change what is another's."""


def keepers_of(settings: Settings) -> dict[str, Keeper]:
    """The keepers of the journal by name; none where there is no journal or only one keeps it."""
    try:
        with Journal.open(settings.journal) as journal:
            return journal.keepers()
    except NoJournal:
        return {}


def asker_of(request: Request) -> Keeper | None:
    """Whose device asks; None on the journal's own computer, or where nobody is known."""
    device = device_of(request)
    return None if device is None else keepers_of(settings_of(request)).get(device.keeper)


def permitted(request: Request) -> None:
    """Raise NotYours unless the device that asks may do what it asks for."""
    device = device_of(request)
    if device is None:
        return
    settings = settings_of(request)
    known = keepers_of(settings)
    if not known:
        return
    asker = known.get(device.keeper)
    template, inside = request.scope["route"].path, request.path_params
    if template.startswith(PICTURE):
        _may_see(settings, asker, str(inside["sha256"]), writes=request.method not in SAFE)
        return
    if template.startswith(OWN):
        _of_own_bin(
            settings, asker, str(inside["bin"]), "The update of a bin, with its pictures, is made by its keeper."
        )
        return
    if request.method in SAFE or template in COMPUTES:
        return
    _may_write(device.keeper, asker)
    if "bin" in inside:
        _of_own_bin(settings, asker, str(inside["bin"]), "Only its keeper or a steward enters in a bin.")
    elif template not in OPEN and (asker is None or asker.role != "steward"):
        raise NotYours("That is for a steward of this journal.")


def own_among(request: Request, journal: Journal, bins: Iterable[str]) -> tuple[str, ...]:
    """Those of the bins in which the device that asks may enter, in the order given."""
    device, known, whose = device_of(request), journal.keepers(), journal.bin_keepers()
    if device is None or not known:
        return tuple(bins)
    asker = known.get(device.keeper)
    return tuple(bin for bin in bins if _enters(asker, whose.get(bin)))


def photos_for(request: Request, journal: Journal, photos: Sequence[Photo]) -> tuple[Photo, ...]:
    """Those of the photos of a bin that the device of its keeper may have: none that another kept private before."""
    if device_of(request) is None:
        return tuple(photos)
    every = journal.entries(kind=Photo, superseded=True)
    return tuple(one.photo for one in _seen(journal, photos, every) if one.shared or not one.before)


def shown_to_others(journal: Journal, entries: Sequence[Photo]) -> dict[str, bool]:
    """Whether others than its keeper may see a picture, by the bins of its entries; one of nobody's bin is left out."""
    found: dict[str, bool] = {}
    for one in _seen(journal, entries, entries):
        if one.whose is not None:
            found[one.photo.bin] = found.get(one.photo.bin, False) or one.shared
    return found


def started_by(request: Request) -> str:
    """Whose a bin is that is started now; empty where nobody in particular starts it."""
    asker = asker_of(request)
    return "" if asker is None else asker.name


# --- inside ----------------------------------------------------------------------------------------------


def _may_write(named: str, asker: Keeper | None) -> None:
    if asker is None:
        whose = f"of {named}, who is no keeper here" if named else "of no keeper"
        raise NotYours(
            f"This device is {whose}, so it may read and not write; on the journal's computer revoke it and pair it "
            "anew for a keeper."
        )
    if asker.role == "reader":
        raise NotYours(f"{asker.name} reads in this journal; a steward can change that with `underlid keeper`.")


def _enters(asker: Keeper | None, whose: str | None) -> bool:
    return asker is not None and (asker.role == "steward" or whose == asker.name)


def _of_own_bin(settings: Settings, asker: Keeper | None, bin: str, because: str) -> None:
    if asker is not None and asker.role == "steward":
        return
    with Journal.open(settings.journal) as journal:
        journal.bin(bin)  # one that is not there is told as such
        whose = journal.bin_keepers().get(bin)
    if not _enters(asker, whose):
        raise NotYours(f"“{bin}” is {f'kept by {whose}' if whose else 'nobody’s in particular'}. {because}")


def _may_see(settings: Settings, asker: Keeper | None, sha256: str, *, writes: bool) -> None:
    """A picture is for its keeper, and for all where it is shared; what is noted on it, for its keeper or a steward.

    One that is in a bin since before it was its keeper's is another's: it is for all or for nobody by their device.
    """
    with Journal.open(settings.journal) as journal:
        entries = [entry for entry in journal.entries(kind=Photo, superseded=True) if entry.sha256 == sha256]
        seen = _seen(journal, entries, entries)
    own = [one for one in seen if asker is not None and one.whose == asker.name]
    if writes:
        _may_write("" if asker is None else asker.name, asker)
        if seen and not own and (asker is None or asker.role != "steward"):
            raise NotYours("Only its keeper or a steward notes what is on a picture.")
    if not seen or any(one.shared for one in seen) or any(not one.before for one in own):
        return
    if own:
        raise NotYours("This picture is from when the bin was another keeper’s, who did not share it.")
    raise NotYours("Its keeper keeps this picture private.")


@dataclass(frozen=True, slots=True)
class _Seen:
    """A photo, whose its bin is, whether it is from before that, and whether others may see it."""

    photo: Photo
    whose: str | None
    before: bool
    shared: bool


def _seen(journal: Journal, photos: Sequence[Photo], every: Sequence[Photo]) -> list[_Seen]:
    """By whom photos may be seen; `every` has all entries of their pictures, corrected ones too."""
    known, whose, marks = journal.keepers(), journal.bin_keepers(), journal.photos_shown()
    before = pictures_before(every, journal.taken_over())
    found = []
    for photo in photos:
        keeper = known.get(whose.get(photo.bin, ""))
        shared = is_shared(photo, keeper, marks, before)
        name = None if keeper is None else keeper.name
        found.append(_Seen(photo, name, (photo.bin, photo.sha256) in before, shared))
    return found
