"""Events: each bin is one that lasts, and every sample count, sighting and reading is one within it."""

from __future__ import annotations

from collections.abc import Iterator

from underlid.club.amounts import MEANT, interval, number
from underlid.club.columns import Column, Row, Table
from underlid.club.dates import iso_interval
from underlid.club.names import plain
from underlid.club.sharing import Observed, Shared, SharedBin
from underlid.quantity.when import VagueTime
from underlid.records import Note, Reading, SampleCount, Sighting

STANDS = {"slab": "on a slab", "soil": "on soil", "feet": "on feet"}

_COLUMNS = (
    Column("eventID", "Names the event.", required=True),
    Column("parentEventID", "The bin that it was at; empty for a bin itself."),
    Column("eventType", "Whether it is a bin, or a sample, an observation or a reading in one.", required=True),
    Column("eventDate", "All the time in which it may have been, ISO 8601, on the bin's own clock.", required=True),
    Column("habitat", "What kind of bin it is, and where it stands."),
    Column("samplingProtocol", "What was done."),
    Column("sampleSizeValue", "How much bedding was searched: the middle of what the words leave open.", "number"),
    Column("sampleSizeUnit", "The unit of that."),
    Column("decimalLatitude", "Of the middle of the cell in which the bin stands; empty if not told, and for what was "
           "noted when the bin was another keeper's.", "number"),
    Column("decimalLongitude", "Of the same.", "number"),
    Column("geodeticDatum", "What latitude and longitude refer to, taken for granted: nobody noted it."),
    Column("coordinateUncertaintyInMeters", "Around that point, it covers the whole cell.", "integer"),
    Column("dataGeneralizations", "How the place was made coarser."),
    Column("informationWithheld", "What is known but not told."),
    Column("license", "Under which the data may be used; empty if none was given."),
    Column("eventRemarks", "How vague the time and the amount of bedding are, and where in the bin it was."),
)  # fmt: skip
_WORDS = (
    Column("verbatimEventDate", "The time in the words of whoever noted it."),
    Column("fieldNotes", "The entry in the words of whoever noted it; for a bin its name."),
)
_PROTOCOL = {
    SampleCount: ("Sample", "Animals sorted out of a known volume of bedding, and counted by stage"),
    Sighting: ("Observation", "Seen without searching a known volume: at least so many, no count"),
    Note: ("Observation", "Noted in words"),
}


def events(shared: Shared, licence: str) -> Table:
    """The events of what is shared; `licence` is the address of one, "" for none."""
    columns = _COLUMNS + (_WORDS if shared.words else ())
    within: dict[str, list[Observed]] = {each.id: [] for each in shared.bins}
    for entry in shared.entries:
        within[entry.bin].append(entry)
    rows: list[Row] = []
    for each in shared.bins:
        told = shared.beside(each.id, each)
        rows.append(_bin(told, within[each.id]) | _about(told, licence))
        for entry in within[each.id]:
            told = shared.beside(entry.id, each)
            rows.append(_event(entry, told) | _about(told, licence))
    said = "Bins, and what was counted, seen or read in them."
    return Table("events", said, "Event", "eventID", columns, tuple(rows))


def _bin(each: SharedBin, entries: list[Observed]) -> Row:
    """A bin from its start to the last that is known of it."""
    last = max([each.started, *(entry.when for entry in entries)], key=lambda when: when.end)
    lasted = VagueTime(each.started.start, last.end, "between", "")
    return {
        "eventID": each.id,
        "eventType": "Bin",
        "eventDate": _date(lasted, each),
        "habitat": f"Bedding of a worm-composting bin; {each.siting}, {STANDS[each.base]}",
        "eventRemarks": f"Bin {each.number} of the journal, from its start to the last that is shared of it.",
        "verbatimEventDate": plain(each.started.words),
        "fieldNotes": each.name,
    }


def _event(entry: Observed, each: SharedBin) -> Row:
    return {
        "eventID": entry.id,
        "parentEventID": each.id,
        "eventDate": _date(entry.when, each),
        "verbatimEventDate": plain(entry.when.words),
        "fieldNotes": entry.words,
        "eventRemarks": " ".join(_remarks(entry)),
        **_done(entry),
    }


def _done(entry: Observed) -> Row:
    if isinstance(entry, Reading):
        method = f"Read with: {entry.instrument}" if entry.instrument else "Read with an instrument that is not named"
        return {"eventType": "Reading", "samplingProtocol": method}
    kind, protocol = _PROTOCOL[type(entry)]
    done = {"eventType": kind, "samplingProtocol": protocol}
    if isinstance(entry, SampleCount) and entry.volume.high < float("inf") and entry.volume.low > float("-inf"):
        middle = entry.volume.low / 2 + entry.volume.high / 2
        done |= {"sampleSizeValue": number(middle), "sampleSizeUnit": "litre"}
    return done


def _remarks(entry: Observed) -> Iterator[str]:
    if not isinstance(entry, Note) and entry.place != "not noted":
        yield f"Place in the bin: {entry.place}."
    if entry.when.kind != "exact":
        yield f"The time is noted as {entry.when.kind}." if entry.when.kind != "not noted" else "The time is not noted."
    if isinstance(entry, SampleCount):
        yield f"Bedding searched, in litres: {interval(entry.volume)}, {MEANT[entry.volume.kind]}."


def _date(when: VagueTime, each: SharedBin) -> str:
    return iso_interval(when, each.zone, offset=each.place is not None)


def _about(each: SharedBin, licence: str) -> Row:
    return _place(each) | {"license": licence, "informationWithheld": each.withheld}


def _place(each: SharedBin) -> Row:
    place = each.place
    if place is None:
        return {}
    coarser = f"Latitude and longitude are those of the middle of a cell of {place.step}." if place.step else ""
    return {
        "decimalLatitude": f"{place.latitude:f}",
        "decimalLongitude": f"{place.longitude:f}",
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": str(place.uncertainty_m),
        "dataGeneralizations": coarser,
    }
