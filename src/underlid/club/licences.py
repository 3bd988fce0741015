"""The licences that data can be given away under, by their names of the SPDX list."""

from __future__ import annotations

from dataclasses import dataclass


class UnknownLicence(ValueError):
    """The licence has no such name."""


@dataclass(frozen=True, slots=True)
class Licence:
    """A licence: its name of the SPDX list, its title, and the address of its text."""

    name: str
    title: str
    url: str


_CC = "https://creativecommons.org"
#: The first three are those that the Global Biodiversity Information Facility takes (its data publisher agreement,
#: recalled); the addresses are those of Creative Commons.
LICENCES = {
    each.name: each
    for each in (
        Licence("CC0-1.0", "Creative Commons Zero 1.0 Universal", f"{_CC}/publicdomain/zero/1.0/legalcode"),
        Licence("CC-BY-4.0", "Creative Commons Attribution 4.0 International", f"{_CC}/licenses/by/4.0/legalcode"),
        Licence(
            "CC-BY-NC-4.0", "Creative Commons Attribution Non Commercial 4.0 International",
            f"{_CC}/licenses/by-nc/4.0/legalcode",
        ),
        Licence(
            "CC-BY-SA-4.0", "Creative Commons Attribution Share Alike 4.0 International",
            f"{_CC}/licenses/by-sa/4.0/legalcode",
        ),
    )
}  # fmt: skip


def licence(name: str) -> Licence:
    """The licence of that name, in capitals or not."""
    for each in LICENCES.values():
        if each.name.casefold() == name.strip().casefold():
            return each
    raise UnknownLicence(f"There is no licence {name!r} here; give one of {', '.join(LICENCES)}, or none.")
