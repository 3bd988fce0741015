"""What can go wrong with a journal. Each error's docstring is the sentence that the keeper reads."""

from __future__ import annotations

from pathlib import Path


class JournalError(ValueError):
    """The journal refused this; nothing was stored."""

    def __init__(self, **facts: object) -> None:
        sentence = " ".join((type(self).__doc__ or type(self).__name__).split())
        super().__init__(sentence.format(**facts))
        self.facts = facts


class UnreadableRow(ValueError):
    """A row holds what no record could have put there; the journal says where as a DamagedJournal."""


# --- the folder and the file ------------------------------------------------------------------------


class NoJournal(JournalError):
    """There is no journal in {folder}: create one there first, or name the folder that holds journal.sqlite."""


class JournalExists(JournalError):
    """There is already a journal in {folder}: open it, or choose another folder for a new one."""


class NotAJournal(JournalError):
    """{path} is not an underlid journal ({detail}): name the folder that holds the right one,
    or keep it as it is and go on from your latest backup (underlid restore BACKUPS --replace)."""


class NewerJournal(JournalError):
    """{path} was written by a newer underlid (its layout is {found}, this one knows up to {known}):
    update underlid, then open it again."""


class DamagedJournal(JournalError):
    """{path} is damaged ({detail}): go on from your latest backup with underlid restore BACKUPS --replace,
    which keeps the damaged one beside it."""


class DamagedDatabase(DamagedJournal):
    """{path} is damaged ({detail}): put your latest backup into another folder with underlid restore BACKUPS
    --journal FOLDER, then take it into an empty database with underlid move --to."""


class UnwritableFolder(JournalError):
    """Nothing can be written in {folder} ({detail}): choose a folder of your own, or make this one writable."""


class DiskFull(JournalError):
    """The disk that holds {folder} is full, so nothing was stored: free some space, then try again."""


class DiskFailed(JournalError):
    """The disk that holds {folder} did not take the writing ({detail}), so nothing was stored:
    check the disk, then try again."""


class JournalBusy(JournalError):
    """{path} is being written by another program, so nothing was stored: try again in a moment."""


class Collided(JournalBusy):
    """{path} was changed by another program at the same moment, so nothing was stored: try again in a moment."""


# --- a database on a server: nobody who writes has done anything wrong, and the same again later is right ------------


class ServerTrouble(JournalBusy):
    """{path} could not do this ({detail}), so nothing was stored: ask whoever keeps the server, then try again."""


class ServerAway(ServerTrouble):
    """{path} is not reached ({detail}), so nothing was stored:
    see that the server runs and that the network is there, then try again."""


class StoringUnsure(ServerTrouble):
    """The connection to {path} was lost at the moment of storing, so it is not known whether this was stored:
    do the same again, which is harmless, since what is there already is known by its id."""


class WrongPassword(ServerTrouble):
    """{path} did not let this program in ({detail}): see that the name in the url is right, and that its password
    is in ~/.pgpass, in PGPASSWORD or in a service file."""


class NoDatabase(ServerTrouble):
    """There is no database at {path} ({detail}): have it made with createdb, or mend the url."""


class NotAllowed(ServerTrouble):
    """{path} did not allow this ({detail}), so nothing was stored:
    ask whoever keeps the server for the right to read and to add."""


class JournalMoved(JournalBusy):
    """The records of {folder} were moved while this was open, so nothing was stored: do it again."""


class NoDriver(JournalError):
    """{path} is a PostgreSQL database, and the package that reaches it is missing:
    install underlid[postgres], then try again."""


class BadUrl(JournalError):
    """{url} is not the url of a PostgreSQL database ({detail}): write it as postgresql://keeper@db.example/worms."""


class PasswordInUrl(JournalError):
    """The url {path} came with a password, which would lie open in a file: leave it out, and put the password
    into ~/.pgpass, PGPASSWORD or a service file."""


class BadPointer(JournalError):
    """{path} does not say where the records are ({detail}): write one line into it,
    url = "postgresql://keeper@db.example/worms"."""


class NotUtf8(JournalError):
    """{path} keeps text as {encoding}, which cannot hold every letter: have a database made with UTF8."""


# --- moving -----------------------------------------------------------------------------------------


class AlreadyThere(JournalError):
    """The records of {folder} are in {path} already, so nothing was moved."""


class OtherJournal(JournalError):
    """{path} holds records that are not in {folder} ({detail}), so nothing was moved: name an empty database."""


class NotTheSame(JournalError):
    """What arrived in {path} is not what left {folder} ({detail}), so the journal stays where it was:
    keep it as it is, and tell whoever keeps the server."""


# --- bins -------------------------------------------------------------------------------------------


class UnknownBin(JournalError):
    """There is no bin named '{name}'. {known}"""

    def __init__(self, *, name: str, known: str, suggestion: str | None = None) -> None:
        super().__init__(name=name, known=known)
        self.suggestion = suggestion


class DuplicateBin(JournalError):
    """There is already a bin named '{name}': give the new one another name."""


class UnknownTimezone(JournalError):
    """Bin '{name}' has the time zone '{timezone}', which is not known: use a name such as Europe/Paris or UTC."""


# --- entries ----------------------------------------------------------------------------------------


class Unstorable(JournalError):
    """The {field} of {what} cannot be stored: {detail}."""


class DuplicateEntry(JournalError):
    """{what} has the id of an entry that is already in the journal and says something else:
    give it a new id, or, if it is a correction, name that entry in 'corrects'."""


class EntryBeforeBin(JournalError):
    """{what} is dated {when}, before bin '{bin}' was started ({started}): check the date."""


class UnknownEntry(JournalError):
    """There is no entry with the id '{id}' in the journal: check the id."""


class AlreadyCorrected(JournalError):
    """Entry '{id}' was already corrected by '{by}': correct '{by}' instead."""


class OtherKind(JournalError):
    """A {kind} cannot correct entry '{id}', which is a {other}: correct it with a {other}."""


class OtherBin(JournalError):
    """An entry of bin '{bin}' cannot correct entry '{id}', which belongs to bin '{other}':
    correct it in bin '{other}'."""


class Misfit(JournalError):
    """Parts of this do not fit together ({detail}), so nothing was stored: check ids and positions."""


# --- trial plans -------------------------------------------------------------------------------------


class UnknownPlan(JournalError):
    """There is no registered plan named '{name}'. {known}"""


class PlanExists(JournalError):
    """There is already a plan named '{name}', registered {when}, and a registered plan is never changed:
    record a change to it, or register this one under another name."""


class TakenId(JournalError):
    """The id of {what} belongs to one that says something else: give this one a new id."""


# --- keepers -----------------------------------------------------------------------------------------


class UnknownKeeper(JournalError):
    """There is no keeper named '{name}'. {known}"""


class KeeperExists(JournalError):
    """There is already a keeper named '{name}': write the name with the same capitals, or choose another."""


class FirstSteward(JournalError):
    """'{name}' would be the first keeper of this journal, and somebody has to look after it:
    make the first one a steward."""


class LastSteward(JournalError):
    """'{name}' is the last steward of this journal, and somebody has to look after it:
    make another keeper a steward first."""


class UnknownPhoto(JournalError):
    """There is no photo with the id '{id}' in the journal: check the id."""


# --- photos -----------------------------------------------------------------------------------------


class NoPhoto(JournalError):
    """{path} cannot be read as a file ({detail}): check the name of the picture."""


class NotAPhoto(JournalError):
    """{path} is not a picture that the journal keeps ({detail}): give a {allowed} file."""


class PhotoTooLarge(JournalError):
    """{path} is larger than {limit_mb} MB: make the picture smaller, then add it again."""


# --- CSV --------------------------------------------------------------------------------------------


class UnreadableCsv(JournalError):
    """The file cannot be read as CSV: {detail}. Nothing was stored."""


class BadMapping(JournalError):
    """The columns do not fit the file: {detail}. Nothing was stored."""


class BadCell(JournalError):
    """{column} '{value}': {detail}."""


def disk_error(error: OSError, folder: Path) -> JournalError:
    """Return what a failed write in `folder` says to a keeper."""
    import errno

    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return DiskFull(folder=folder)
    detail = error.strerror or str(error)
    if error.errno == errno.EIO:
        return DiskFailed(folder=folder, detail=detail)
    return UnwritableFolder(folder=folder, detail=detail)
