"""Occurrences: the animals of one stage that were counted in a sample, or seen.

They are kept animals, which Darwin Core (TDWG) tells apart by degreeOfEstablishment: "captive" where they are given
conditions that suit them and are held in, "cultivated" where little holds them in. A bin holds them in; through the
floor of one that stands on soil they may leave, and a journal does not say whether it has one, so that is "cultivated"
(our judgement of the definitions). By which means they came to where the bin stands (establishmentMeans) is left out:
it asks whether that is within the natural range of the species, which no journal says.
"""

from __future__ import annotations

from collections.abc import Iterator

from underlid.club.amounts import MEANT, animals, count_of, presence, says_nothing, whole
from underlid.club.columns import Column, Row, Table
from underlid.club.names import public_id
from underlid.club.sharing import Shared, SharedBin
from underlid.quantity.amount import VagueAmount
from underlid.records import STAGES, SampleCount, Sighting

INDIVIDUALS = "individuals"
RANGE = "individuals, least/most"

COLUMNS = (
    Column("eventID", "The event at which it was.", required=True),
    Column("occurrenceID", "Names the occurrence.", required=True),
    Column("basisOfRecord", "Somebody saw it.", required=True, values=("HumanObservation",)),
    Column("scientificName", "The species that was put into the bin; nobody looked again. Empty if not told."),
    Column("lifeStage", "Stage, empty if it was not noted.", values=STAGES),
    Column("occurrenceStatus", "Absent only where none were counted in a sample.", required=True,
           values=("present", "absent")),
    Column("individualCount", "How many, where that is beyond doubt.", "integer"),
    Column("organismQuantity", "How many, or the range that the words leave open: “2/4”, “3/..” with no most.",
           required=True),
    Column("organismQuantityType", "Which of both it is.", required=True, values=(INDIVIDUALS, RANGE)),
    Column("degreeOfEstablishment", "Kept animals: held in a bin, or in one that may be open to the soil.",
           required=True, values=("captive", "cultivated")),
    Column("recordedBy", "The keeper, by the name they chose or by a number; empty for a bin of nobody's, and for what "
           "was noted when the bin was another keeper's."),
    Column("occurrenceRemarks", "How vague the number is."),
)  # fmt: skip


def occurrences(shared: Shared) -> Table:
    """The occurrences of what is shared. A count that leaves open whether there were any makes none."""
    bins = {each.id: each for each in shared.bins}
    rows = [row for entry in shared.entries if isinstance(entry, SampleCount | Sighting)
            for row in _rows(entry, bins[entry.bin], shared.beside(entry.id, bins[entry.bin]).keeper)]  # fmt: skip
    said = "Animals of one stage at one event. All are kept in bins: none is a wild occurrence."
    return Table("occurrences", said, "Occurrence", "occurrenceID", COLUMNS, tuple(rows))


def _rows(entry: SampleCount | Sighting, each: SharedBin, by: str) -> Iterator[Row]:
    counted = isinstance(entry, SampleCount)
    counts = entry.counts if isinstance(entry, SampleCount) else ((entry.stage, entry.amount),)
    for place, (stage, amount) in enumerate(counts):
        status = None if says_nothing(amount) else presence(amount, counted=counted)
        if status is None:
            continue
        yield {
            "eventID": entry.id,
            "occurrenceID": public_id(entry.id, place),
            "basisOfRecord": "HumanObservation",
            "scientificName": each.species,
            "lifeStage": "" if stage == "not noted" else stage,
            "occurrenceStatus": status,
            "degreeOfEstablishment": "cultivated" if each.base == "soil" else "captive",
            "recordedBy": by,
            **_how_many(amount, counted=counted, stage=stage),
        }


def _how_many(amount: VagueAmount, *, counted: bool, stage: str) -> Row:
    least, most = whole(amount)
    meant = f"{'Counted' if counted else 'Seen'}, {MEANT[amount.kind]}."
    if not counted:
        # Whoever sees some has not counted all.
        said = "A sighting: at least so many were there."
        return {
            "organismQuantity": animals(least, None), "organismQuantityType": RANGE, "occurrenceRemarks": said,
        }  # fmt: skip
    exact = count_of(amount)
    if exact is None:
        return {
            "organismQuantity": animals(least, most), "organismQuantityType": RANGE, "occurrenceRemarks": meant,
        }  # fmt: skip
    none = f"None of stage “{stage}” in this sample; there may have been others." if exact == 0 else ""
    return {
        "individualCount": str(exact), "organismQuantity": str(exact), "organismQuantityType": INDIVIDUALS,
        "occurrenceRemarks": none,
    }  # fmt: skip
