"""Command: several keepers of one journal, whose each bin is, and what is published of each keeper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Annotated
from uuid import uuid4
from zoneinfo import ZoneInfo

import typer

from underlid.cli.keeping import SHOWN, one_of
from underlid.cli.options import (
    DEFAULT_JOURNAL,
    WIDTH,
    JournalOption,
    JsonOption,
    NotOneOf,
    NowOption,
    clock,
    console,
    place_of,
    show_json,
)
from underlid.records import PHOTOS_SHOWN, PLACES_SHOWN, ROLES

if TYPE_CHECKING:
    from underlid.journal.store import Journal
    from underlid.records import Keeper, Photo, PhotosShown

FOLDER = (
    "Whoever can read the journal's folder can read everything in it: this governs what is published and what the "
    "pages show. Who may open files is for the operating system to say."
)
NO_PLACE = "none"


@dataclass(frozen=True, slots=True)
class Told:
    """A keeper with the bins that are theirs, and the photos in them that are shown otherwise than their usual."""

    keeper: Keeper
    bins: tuple[str, ...]
    otherwise: tuple[str, ...]


def keeper(
    name: Annotated[str | None, typer.Argument(help="The keeper's name; all are listed if not given.")] = None,
    role: Annotated[
        str | None,
        typer.Option(
            help="steward (looks after the journal), keeper (enters in own bins) or reader (stores nothing); a new one "
            "needs it, and the first must be a steward."
        ),
    ] = None,
    shown_as: Annotated[str | None, typer.Option(help="Name to publish; an empty one publishes none.")] = None,
    place: Annotated[
        str | None,
        typer.Option(
            help="Where the bins stand, “52.1,-1.3”, or “none” from now on; what was said before stays in the journal."
        ),
    ] = None,
    place_shown: Annotated[
        str | None,
        typer.Option(
            help="How exactly that is published: “as noted”, “0.01 degree” (about 1 km), “0.1 degree” (about 11 km), "
            "“1 degree” (about 110 km) or “not told”, which it is until something else is said."
        ),
    ] = None,
    photos: Annotated[
        str | None, typer.Option(help="Whether the photos of own bins are private or shared, unless marked.")
    ] = None,
    bins: Annotated[
        list[str] | None, typer.Option(help="Names of bins to hand over to this keeper, e.g. “north,south”.")
    ] = None,
    share_photo: Annotated[
        list[str] | None,
        typer.Option(help="Id of one photo to share, or its beginning; `underlid entries` lists them."),
    ] = None,
    hide_photo: Annotated[list[str] | None, typer.Option(help="Id of one photo to keep private.")] = None,
    journal: JournalOption = DEFAULT_JOURNAL,
    now: NowOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the keepers of a journal, or make or change one: role, bins, and what others are shown of them.

    Whoever can read the journal's folder can read everything in it. These settings govern what is published and what
    the pages show; who may open files is for the operating system to say.
    """
    from underlid.journal.store import Journal

    asked = (role, shown_as, place, place_shown, photos, bins, share_photo, hide_photo)
    changes = any(each is not None for each in asked)
    if name is None and changes:
        raise NotOneOf("These options are about one keeper: name the keeper first, as in “underlid keeper Ada ...”.")
    with Journal.open(journal) as book:
        if name is not None:
            _refuse_unknown(name, role, book)
        if name is not None and changes:
            said = _settings(role, shown_as, place, place_shown, photos)
            _store(book, name, said, bins or (), share_photo or (), hide_photo or (), now)
        told, nobodys = _all(book)
    if name is not None:
        one = told[name]
        show_json(_json(one)) if as_json else _print_one(one)
    elif as_json:
        show_json({"keepers": [_json(one) for one in told.values()], "bins_of_nobody": nobodys, "note": FOLDER})
    else:
        _print_all(told.values(), nobodys)


# --- storing ------------------------------------------------------------------------------------------------


def _refuse_unknown(name: str, role: str | None, book: Journal) -> None:
    """A name that is not there is taken for a slip, unless a role says that somebody new is meant."""
    from underlid.journal.rules import unknown_keeper

    known = book.keepers()
    if name not in known and role is None:
        raise NotOneOf(f"{unknown_keeper(name, known)} To make a new one, say which --role.")


def _settings(
    role: str | None, shown_as: str | None, place: str | None, place_shown: str | None, photos: str | None
) -> dict[str, object]:
    """The fields of a keeper that are to be other than they are."""
    said: dict[str, object] = {}
    if role is not None:
        said["role"] = one_of(role, ROLES, "--role")
    if shown_as is not None:
        said["shown_as"] = shown_as.strip()
    if place is not None:
        said["latitude"], said["longitude"] = place_of(None if place.strip() == NO_PLACE else place)
    if place_shown is not None:
        said["place"] = one_of(place_shown, PLACES_SHOWN, "--place-shown")
    if photos is not None:
        said["photos"] = one_of(photos, PHOTOS_SHOWN, "--photos")
    return said


def _store(
    book: Journal, name: str, said: dict[str, object], bins: Sequence[str], share: Sequence[str], hide: Sequence[str],
    now: str | None,
) -> None:  # fmt: skip
    """Store what is other than before; whatever is wrong with any of it is said before."""
    from underlid.records import BinKeeper, Keeper, PhotoShown

    moment = book.just_after(clock(now, ZoneInfo("UTC")))
    handed = _bins(book, bins)
    whose = book.bin_keepers() | dict.fromkeys(handed, name)
    marks = _marks(book, name, whose, share, hide)
    standing = book.keepers().get(name)
    new = {"id": str(uuid4()), "noted_at": moment}
    if standing is None:
        book.keep_keeper(Keeper(name=name, **new, **said))  # type: ignore[arg-type]
    elif replace(standing, **said) != standing:  # type: ignore[arg-type]
        book.keep_keeper(replace(standing, **new, **said))  # type: ignore[arg-type]
    before = book.bin_keepers()
    for bin_name in handed:
        if before.get(bin_name) != name:
            book.hand_bin(BinKeeper(id=str(uuid4()), bin=bin_name, keeper=name, noted_at=moment))
    shown = book.photos_shown()
    for photo, mark in marks.items():
        if shown.get(photo) != mark:
            book.show_photo(PhotoShown(id=str(uuid4()), photo=photo, shown=mark, noted_at=moment))


def _bins(book: Journal, given: Sequence[str]) -> list[str]:
    """The names of the bins that are there, each given whole or with others between commas."""
    known = {each.name for each in book.bins()}
    named: list[str] = []
    for words in given:
        parts = [words] if words in known else [part.strip() for part in words.split(",") if part.strip()]
        if not parts:
            raise NotOneOf("--bins names no bin; write them as “north,south”.")
        named += [book.bin(part).name for part in parts]
    return list(dict.fromkeys(named))


def _marks(
    book: Journal, name: str, whose: dict[str, str], share: Sequence[str], hide: Sequence[str]
) -> dict[str, PhotosShown]:
    from underlid.records import Photo

    if not share and not hide:
        return {}
    known = book.entries(kind=Photo, superseded=True)
    marks: dict[str, PhotosShown] = {_photo(each, known, name, whose): "shared" for each in share}
    for each in hide:
        id = _photo(each, known, name, whose)
        if id in marks:
            raise NotOneOf(f"Photo {id[:SHOWN]} cannot be shared and kept private; give it once.")
        marks[id] = "private"
    return marks


def _photo(beginning: str, known: Sequence[Photo], name: str, whose: dict[str, str]) -> str:
    """The id of the one photo that begins so, in a bin of this keeper."""
    found = [one for one in known if beginning and one.id.startswith(beginning)]
    found = [one for one in found if one.id == beginning] or found
    if not found:
        raise NotOneOf(f"No photo has an id that begins with {beginning!r}; “underlid entries BIN” lists them.")
    if len(found) > 1:
        raise NotOneOf(f"{len(found)} photos have an id that begins with {beginning!r}; give more of it.")
    bin_name = found[0].bin
    if whose.get(bin_name) != name:
        of = f"of {whose[bin_name]}" if bin_name in whose else "nobody's in particular"
        raise NotOneOf(f"Photo {found[0].id[:SHOWN]} is of bin “{bin_name}”, which is {of} and not of {name}.")
    return found[0].id


# --- telling ------------------------------------------------------------------------------------------------


def _all(book: Journal) -> tuple[dict[str, Told], list[str]]:
    """Every keeper by name, and the bins that are nobody's in particular."""
    from underlid.records import Photo

    whose, marks = book.bin_keepers(), book.photos_shown()
    taken = book.entries(kind=Photo) if marks else ()
    every = [each.name for each in book.bins()]
    told = {}
    for name, one in book.keepers().items():
        own = tuple(each for each in every if whose.get(each) == name)
        otherwise = tuple(
            photo.id for photo in taken if photo.bin in own and marks.get(photo.id, one.photos) != one.photos
        )
        told[name] = Told(one, own, otherwise)
    return told, [each for each in every if each not in whose]


def _json(one: Told) -> dict[str, object]:
    keeper = asdict(one.keeper)
    del keeper["id"]
    keeper["place_shown"] = keeper.pop("place")
    keeper["noted_at"] = one.keeper.noted_at.isoformat()
    return {**keeper, "bins": list(one.bins), "photos_shown_otherwise": list(one.otherwise)}


def _place_words(one: Keeper) -> str:
    return "none noted" if one.latitude is None else one.place


def _photo_words(one: Told) -> str:
    usual = one.keeper.photos
    other = "shared" if usual == "private" else "private"
    return f"{usual}, but {len(one.otherwise)} {other}" if one.otherwise else usual


def _print_one(one: Told) -> None:
    out, who = console(WIDTH), one.keeper
    out.print(f"{who.name}: {who.role}; shown as {f'“{who.shown_as}”' if who.shown_as else 'nobody by name'}.")
    out.print(f"  bins: {', '.join(one.bins) or 'none'}")
    noted = "" if who.latitude is None else f" (noted as {who.latitude:g},{who.longitude:g})"
    out.print(f"  place shown: {_place_words(who)}{noted}")
    out.print(f"  photos: {_photo_words(one)}")
    if who.role == "reader" and one.bins:
        out.print("  A reader's own device stores nothing, so only a steward's enters in these bins.")
    out.print(FOLDER)


def _print_all(told: Iterable[Told], nobodys: Sequence[str]) -> None:
    from rich.table import Table

    out, every = console(WIDTH), list(told)
    if not every:
        out.print("This journal names no keepers: it is one keeper's. `underlid keeper NAME --role steward` names one.")
    else:
        table = Table("Keeper", "Role", "Bins", "Shown as", "Place shown", "Photos", box=None, pad_edge=False)
        for one in every:
            who = one.keeper
            table.add_row(
                who.name, who.role, str(len(one.bins)), who.shown_as or "nobody by name", _place_words(who),
                _photo_words(one),
            )  # fmt: skip
        out.print(table)
        if nobodys:
            out.print(f"Nobody's in particular: {', '.join(nobodys)}.")
    out.print(FOLDER)
