"""What a merge brings, and what may stand in its way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from underlid.journal.errors import JournalError
from underlid.journal.merging.held import Held


class NothingToRename(JournalError):
    """In the incoming journal there is nothing to rename so: {detail}"""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something that cannot come in as it is. Each kind's docstring is the sentence that the keeper reads."""

    what: str  # of the incoming journal

    @property
    def sentence(self) -> str:
        """What cannot come in, why, and how to mend it."""
        return " ".join((type(self).__doc__ or "").split()).format(**asdict(self))


@dataclass(frozen=True, slots=True)
class BinNameTaken(Conflict):
    """Bin '{what}' cannot come in as '{name}', since another bin is named '{taken}': give it a name of its own with
    --rename "{what}=another-{what}", or leave it out with --skip-conflicts."""

    name: str
    taken: str


@dataclass(frozen=True, slots=True)
class OtherContent(Conflict):
    """{what} has the id {id} of one that is here and {how}: what is here stays; correct that here if the incoming one
    is right, and leave the incoming one out with --skip-conflicts."""

    id: str
    how: str


@dataclass(frozen=True, slots=True)
class TwoCorrections(Conflict):
    """{what} (id {id}) corrects entry '{corrects}', which '{by}' corrects already: correct '{by}' here if the incoming
    one is right, and leave that out with --skip-conflicts."""

    id: str
    corrects: str
    by: str


@dataclass(frozen=True, slots=True)
class PlanNameTaken(Conflict):
    """Plan '{what}' is another than '{taken}', which was registered here on {on}, and neither can be changed: leave the
    incoming one out, with its changes, with --skip-conflicts; `underlid verdict --with FOLDER` takes its trial in from
    where it is."""

    taken: str
    on: str


@dataclass(frozen=True, slots=True)
class PlanOfOtherBins(Conflict):
    """Plan '{what}' names bin '{bin}', which {why}, and a registered plan is never changed: leave it out, with its
    changes, with --skip-conflicts; `underlid verdict --with FOLDER` takes its trial in from where it is."""

    bin: str
    why: str


@dataclass(frozen=True, slots=True)
class PictureWanting(Conflict):
    """{what} (id {id}) cannot come in. {why} Bring the picture back from a backup, or leave the entry out with
    --skip-conflicts."""

    id: str
    why: str


@dataclass(frozen=True, slots=True)
class KeeperNameTaken(Conflict):
    """Keeper '{what}' cannot come in, since one here is named '{taken}': hand the incoming bins to somebody who is here
    with --keeper, or leave this keeper out with --skip-conflicts."""

    taken: str


@dataclass(frozen=True, slots=True)
class NoStewardHere(Conflict):
    """Keepers come in ({what}) and this journal names none: name one who looks after it, with
    `underlid keeper NAME --role steward`, or leave them out with --skip-conflicts."""


@dataclass(frozen=True, slots=True)
class NotTaken(Conflict):
    """{what} cannot come in. {why} Mend that there, or leave it out with --skip-conflicts."""

    why: str


@dataclass(frozen=True, slots=True)
class Merge:
    """What a merge brings: `comes` is new here, `here` stands already; `called` are the bins' names, there to here.

    `left_out` are sentences on what depends on a conflict, `notes` on what differs and does no harm.
    """

    comes: Held
    here: Held
    called: Mapping[str, str]
    conflicts: tuple[Conflict, ...]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    stored: bool = False
