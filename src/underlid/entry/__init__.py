"""A line as a keeper writes it, understood as records: nothing lost, nothing half understood in silence.

    23 Jan around midnight: middle 2-3 C, edge 1 C; about a dozen near the top; fed 150 g pear cores

becomes two readings, a sighting and a feeding. Words that are none of these are kept as a note.
"""

from underlid.entry.clause import looks_like
from underlid.entry.correction import corrected
from underlid.entry.describe import describe
from underlid.entry.line import Understood, parse_line
from underlid.entry.room import inside_l, too_much
from underlid.entry.split import EntryError

__all__ = [
    "EntryError",
    "Understood",
    "corrected",
    "describe",
    "inside_l",
    "looks_like",
    "parse_line",
    "too_much",
]
