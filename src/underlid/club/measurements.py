"""Measurements: what was read in a bin, how much bedding was searched, and what is known of the bin itself."""

from __future__ import annotations

from collections.abc import Iterator

from underlid.club.amounts import MEANT, interval, says_nothing, value_of
from underlid.club.columns import Column, Row, Table
from underlid.club.names import public_id
from underlid.club.sharing import Shared, SharedBin
from underlid.quantity.amount import VagueAmount
from underlid.records import Reading, SampleCount

_READ = {
    "temperature": "temperature of the bedding",
    "air temperature": "temperature of the air",
    "pH": "pH of the bedding",
    "moisture": "moisture of the bedding, share of wet mass",
    "EC": "electrical conductivity of the bedding",
    "live mass": "live mass of animals",
}
_UNITS = {"degC": "°C", "1": "individuals"}

COLUMNS = (
    Column("eventID", "The event at which it was measured; for what is known of a bin, the bin.", required=True),
    Column("measurementID", "Names the measurement.", required=True),
    Column("measurementType", "What was measured.", required=True),
    Column("measurementValue", "The middle of the range that the words leave open; the range itself, “7/..”, if one "
           "end is open.", required=True),
    Column("measurementAccuracy", "Half the width of the range; empty if it is open.", "number"),
    Column("measurementUnit", "The unit of both.", required=True),
    Column("measurementMethod", "The instrument, if it was noted."),
    Column("measurementDeterminedBy", "The keeper, by the name they chose or by a number; empty for a bin of nobody's, "
           "and for what was noted when the bin was another keeper's."),
    Column("measurementRemarks", "The range, low/high, and what kind of range it is."),
)  # fmt: skip


def measurements(shared: Shared) -> Table:
    """The measurements of what is shared."""
    bins = {each.id: each for each in shared.bins}
    rows = [row for each in shared.bins for row in _of_bin(each, shared.beside(each.id, each).keeper)]
    for entry in shared.entries:
        by = shared.beside(entry.id, bins[entry.bin]).keeper
        match entry:
            case Reading():
                what, method = _READ[entry.quantity], entry.instrument
                rows += _row(entry.id, what, entry.amount, by, method)
                if entry.depth is not None:
                    rows += _row(entry.id, f"depth below the surface of the bedding, of {what}", entry.depth, by)
            case SampleCount():
                rows += _row(entry.id, "volume of bedding searched", entry.volume, by)
    said = "What was read, and what is known of a bin, each as the range that the words leave open."
    return Table("measurements", said, "MeasurementOrFact", "measurementID", COLUMNS, tuple(rows))


def _of_bin(each: SharedBin, by: str) -> Iterator[Row]:
    sides = (("length", each.length), ("width", each.width), ("height", each.height))
    for name, amount in sides:
        yield from _row(each.id, f"inside {name} of the bin", amount, by)
    yield from _row(each.id, "animals put in at the start", each.founders, by)


def _row(event: str, what: str, amount: VagueAmount, by: str, method: str = "") -> Iterator[Row]:
    """One row, or none for an amount that says nothing."""
    if says_nothing(amount):
        return
    value, accuracy = value_of(amount)
    yield {
        "eventID": event,
        "measurementID": public_id(event, what),
        "measurementType": what,
        "measurementValue": value,
        "measurementAccuracy": accuracy,
        "measurementUnit": _UNITS.get(amount.unit, amount.unit),
        "measurementMethod": method,
        "measurementDeterminedBy": by,
        "measurementRemarks": f"{interval(amount)}: {MEANT[amount.kind]}",
    }
