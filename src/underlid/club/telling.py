"""Sentences that go with what is shared: what it is, how far to trust it, what is told and what is not."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from underlid.club.account import Item
from underlid.club.licences import Licence
from underlid.club.names import plain
from underlid.club.sharing import Shared

TITLE = "Worm-composting bins, as their keepers noted them"

KEPT = (
    "These are animals that people keep in bins: none is a wild occurrence, and nothing here says that a species lives "
    "free at any place."
)
AS_NOTED = (
    "Counts and readings stand as vague as they were noted, each as a range and what kind of range it is. A sighting "
    "says that at least so many were there, and is no count; absent stands only where none were counted in a sample."
)
SPECIES = "The species is the one that was put into the bin, as its keeper knew it; nobody determined it again."
ONE_BIN = "What one bin shows is possible; it does not show that it is true in general."
ESTABLISHMENT = (
    "Animals in a bin are told as captive, those in a bin that stands on soil, which may be open to it, as cultivated: "
    "our judgement of the definitions. Whether a species is native where its bin stands is not said."
)
PLACES = (
    "Latitude and longitude are those of the middle of a cell that holds the place, and their uncertainty covers all "
    "of it; they are taken as WGS84, as maps and phones give them. Where no place is told, neither is a clock's "
    "distance from UTC. Temperatures and dates still say something of a climate."
)
NO_LICENCE = "No licence was given: ask the keepers before you use the data for anything but reading."


@dataclass(frozen=True, slots=True)
class About:
    """What whoever publishes says of it: a title, and the licence if the data are given away under one."""

    title: str = TITLE
    licence: Licence | None = None

    @property
    def heading(self) -> str:
        """The title on one line."""
        return plain(self.title) or TITLE


def sentences() -> tuple[str, ...]:
    """What everybody has to know who uses any of it."""
    return KEPT, AS_NOTED, SPECIES, ONE_BIN


def methods() -> tuple[str, ...]:
    """How it was come by, and how it was written down."""
    return (
        "Keepers noted in their own words what they read, counted and saw; the words were taken as intervals.",
        ESTABLISHMENT,
        PLACES,
    )


def listed(item: Item) -> str:
    """An item as a line of a list."""
    return f"{item.what}: {item.count} ({item.why})"


def licence_sentence(about: About) -> str:
    """Under which licence it is, or what to do without one."""
    if about.licence is None:
        return NO_LICENCE
    return f"Given away under {about.licence.title} ({about.licence.name})."


def readme(shared: Shared, about: About, files: dict[str, str]) -> bytes:
    """The README that lies beside the files, which are told by name; in plain text of 118 columns."""
    blocks = [about.heading, "", *map(_wrapped, sentences()), "", "What is here", ""]
    blocks += [f"{name}\n{_wrapped(says, '    ')}" for name, says in files.items()]
    blocks += ["", "What is told", "", *(_wrapped(listed(item), hang="    ") for item in shared.account.told)]
    nothing = "Nothing that was asked for."
    withheld = [_wrapped(listed(item), hang="    ") for item in shared.account.withheld] or [nothing]
    blocks += ["", "What is withheld, and why", "", *withheld]
    blocks += ["", "How it was made", "", *map(_wrapped, methods())]
    blocks += ["Temperatures are in degrees Celsius: degF = 1.8 x degC + 32.", _wrapped(_CELLS)]
    blocks += ["", "Under which terms", "", licence_sentence(about)]
    return ("\n".join(blocks) + "\n").replace("\n", "\r\n").encode()


_CELLS = (
    "Text stands on one line: line breaks in it became spaces. It may begin with = + - or @, which a spreadsheet takes "
    "for a formula: open the files with their columns set to text."
)


def _wrapped(text: str, indent: str = "", hang: str = "") -> str:
    return textwrap.fill(text, 118, initial_indent=indent, subsequent_indent=indent + hang)
