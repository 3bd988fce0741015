"""A journal from elsewhere brought into this one: what is new comes in, what stands here stays, the rest is told.

    incoming = read_incoming(folder)
    told = merge(journal, incoming)                     # a dry run: nothing is stored
    merge(journal, incoming, {"north": "anna-north"}, dry_run=False)

Records are the same by their ids. Merging twice brings nothing the second time; a bin that came in earlier is known
again by its id, whatever it is called here, and takes what it has grown since. Nothing that stands here is changed, and
in the incoming journal nothing is written. With a conflict nothing is stored, unless it is to be skipped.
"""

from __future__ import annotations

from underlid.journal.merging.comparison import compare
from underlid.journal.merging.conflicts import (
    BinNameTaken,
    Conflict,
    KeeperNameTaken,
    Merge,
    NoStewardHere,
    NothingToRename,
    NotTaken,
    OtherContent,
    PictureWanting,
    PlanNameTaken,
    PlanOfOtherBins,
    TwoCorrections,
)
from underlid.journal.merging.held import Held
from underlid.journal.merging.reading import Incoming, OlderDatabase, UnreadableIncoming, read_incoming
from underlid.journal.merging.storing import merge

__all__ = [
    "BinNameTaken",
    "Conflict",
    "Held",
    "Incoming",
    "KeeperNameTaken",
    "Merge",
    "NoStewardHere",
    "NotTaken",
    "NothingToRename",
    "OlderDatabase",
    "OtherContent",
    "PictureWanting",
    "PlanNameTaken",
    "PlanOfOtherBins",
    "TwoCorrections",
    "UnreadableIncoming",
    "compare",
    "merge",
    "read_incoming",
]
