"""The Darwin Core terms that are used, each with the published list that it was looked up in.

EVENT, OCCURRENCE and MEASUREMENT are lists of TDWG's own distribution (dwc_event_core_horizontal.csv,
dwc_occurrence_core_horizontal.csv and measurements_or_facts_extension_horizontal.csv, as of 2026); EVENT_GBIF is the
Event core that the Global Biodiversity Information Facility registers (dwc_event_2025-07-10.xml). Only the terms that
are used here are noted, with the name space that the lists give them.
"""

EVENT = "TDWG Event core, 2026"
EVENT_GBIF = "GBIF Event core, 2025-07-10"
OCCURRENCE = "TDWG Occurrence core, 2026"
MEASUREMENT = "TDWG Measurements or Facts extension, 2026"

_DWC = "http://rs.tdwg.org/dwc/terms/"

#: By the class of the row: the address of a term, and where it was looked up.
PUBLISHED = {
    f"{_DWC}Event": {
        **{f"{_DWC}{name}": EVENT for name in (
            "eventID", "parentEventID", "eventType", "eventDate", "verbatimEventDate", "habitat", "fieldNotes",
            "eventRemarks", "decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters",
            "dataGeneralizations", "informationWithheld",
        )},
        **{f"{_DWC}{name}": EVENT_GBIF for name in ("samplingProtocol", "sampleSizeValue", "sampleSizeUnit")},
        "http://purl.org/dc/terms/license": EVENT,
    },
    f"{_DWC}Occurrence": {f"{_DWC}{name}": OCCURRENCE for name in (
        "eventID", "occurrenceID", "basisOfRecord", "scientificName", "lifeStage", "occurrenceStatus",
        "individualCount", "organismQuantity", "organismQuantityType", "degreeOfEstablishment", "recordedBy",
        "occurrenceRemarks",
    )},
    f"{_DWC}MeasurementOrFact": {
        **{f"{_DWC}{name}": MEASUREMENT for name in (
            "measurementID", "measurementType", "measurementValue", "measurementAccuracy", "measurementUnit",
            "measurementDeterminedBy", "measurementMethod", "measurementRemarks",
        )},
        f"{_DWC}eventID": EVENT,  # the column that ties a row to its event
    },
}  # fmt: skip

#: degreeOfEstablishment's controlled values (TDWG Degree of Establishment Controlled Vocabulary, 2025-07-10), those of
#: kept organisms.
KEPT = {"captive", "cultivated", "released"}
