"""What a club publishes, as files: the same rows in each of the standards that were asked for, and a README."""

from __future__ import annotations

from collections.abc import Collection

from underlid.club.darwincore import archive
from underlid.club.events import events
from underlid.club.measurements import measurements
from underlid.club.occurrences import occurrences
from underlid.club.package import package
from underlid.club.sharing import Shared
from underlid.club.telling import About, readme

DARWIN_CORE, FRICTIONLESS = "darwin-core", "frictionless"
FORMATS = (DARWIN_CORE, FRICTIONLESS)
ARCHIVE = "darwin-core-archive.zip"
FOLDER = "data-package"
README = "README.txt"


def publication(shared: Shared, about: About, formats: Collection[str] = FORMATS) -> dict[str, bytes]:
    """The files by their path in the folder that is published; the same records give the same bytes."""
    rows = (
        events(shared, about.licence.url if about.licence else ""), occurrences(shared), measurements(shared),
    )  # fmt: skip
    made: dict[str, bytes] = {}
    says: dict[str, str] = {}
    if DARWIN_CORE in formats:
        made[ARCHIVE] = archive(shared, rows, about)
        says[ARCHIVE] = "A Darwin Core Archive (TDWG): events, occurrences and measurements, and what they are."
    if FRICTIONLESS in formats:
        made |= {f"{FOLDER}/{name}": data for name, data in package(shared, rows, about).items()}
        says[FOLDER] = "The same rows as CSV, and the shared photos by fingerprint: a Frictionless Data Package."
    return made | {README: readme(shared, about, says)}
