"""The remarks at the head of a weather file that underlid fetched: where it is from, and what to know of it.

    # underlid weather fetch
    # place: 52.1,-1.3
    # note: ...

Only a file that begins with the first of these lines speaks to us; in any other, a remark is a remark.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

MARK = "# underlid weather fetch"

_REMARK = re.compile(r"# ([a-z]+): (.*)")
_NUMBER = r"-?[0-9]{1,3}(?:\.[0-9]+)?"
_PLACE = re.compile(rf"({_NUMBER}),({_NUMBER}),*")  # a spreadsheet adds commas


def head(remarks: Iterable[tuple[str, str]]) -> str:
    """The lines that begin a fetched file, from (word, text) pairs."""
    return "".join(f"{line}\n" for line in (MARK, *(f"# {word}: {' '.join(text.split())}" for word, text in remarks)))


def remarks_of(text: str) -> tuple[tuple[str, str], ...]:
    """The (word, text) pairs that begin a fetched file; none if it is no such file."""
    first, *lines = text.split("\n", 50)
    if first.rstrip("\r,") != MARK:
        return ()
    found = (_REMARK.fullmatch(line.rstrip()) for line in lines)
    return tuple((match[1], match[2]) for match in found if match)


def place_in(remarks: Iterable[tuple[str, str]]) -> tuple[float, float] | tuple[None, None]:
    """Latitude and longitude in degrees, if the remarks name a place on Earth."""
    match = _PLACE.fullmatch(dict(remarks).get("place", ""))
    if match is None:
        return None, None
    latitude, longitude = float(match[1]), float(match[2])
    return (latitude, longitude) if abs(latitude) <= 90 and abs(longitude) <= 180 else (None, None)
