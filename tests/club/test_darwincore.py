"""The archive, read again by the rules of the Darwin Core text guide: files, columns, ids, terms."""

import io
import re
import zipfile
from dataclasses import replace

import pytest
from hypothesis import given, settings

from tests.club.sample import (
    BINS,
    ENTRIES,
    KEEPERS,
    exactly,
    published,
    sample,
    shared,
    sighting,
    tab_rows,
    unzipped,
    xml,
)
from tests.club.terms import KEPT, PUBLISHED
from tests.journal.examples import journals_of_readings, make_bin, sample_counts
from underlid.club.licences import licence
from underlid.club.publication import ARCHIVE, publication
from underlid.club.telling import About
from underlid.quantity.amount import VagueAmount

TEXT = "{http://rs.tdwg.org/dwc/text/}"
FILES = ("event.txt", "occurrence.txt", "measurementorfact.txt")
ISO_PART = r"\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d)?([+-]\d\d:\d\d)?)?"


@pytest.fixture(scope="module")
def archive():
    return unzipped(published(About(licence=licence("CC-BY-4.0"))))


def tables(archive):
    return [tab_rows(archive[name]) for name in FILES]


def described(archive):
    """What meta.xml says of each file: its part and its columns."""
    root = xml(archive["meta.xml"])
    return {part.findtext(f"{TEXT}files/{TEXT}location"): part for part in root}


# --- as the text guide has it -----------------------------------------------------------------------------


def test_the_archive_holds_what_meta_xml_describes_and_nothing_else(archive):
    root = xml(archive["meta.xml"])
    assert root.tag == f"{TEXT}archive"
    assert root.get("metadata") in archive
    assert [part.tag for part in root] == [f"{TEXT}core", f"{TEXT}extension", f"{TEXT}extension"]
    assert set(described(archive)) | {"meta.xml", "eml.xml"} == set(archive)


def test_every_column_is_declared_in_its_place_by_the_term_it_bears(archive):
    for name, part in described(archive).items():
        assert (part.get("fieldsTerminatedBy"), part.get("linesTerminatedBy")) == (r"\t", r"\n")
        assert (part.get("fieldsEnclosedBy"), part.get("encoding"), part.get("ignoreHeaderLines")) == ("", "UTF-8", "1")
        head = archive[name].decode().split("\n")[0].split("\t")
        fields = part.findall(f"{TEXT}field")
        assert [int(field.get("index", "")) for field in fields] == list(range(len(head)))
        assert [field.get("term", "").rsplit("/", 1)[1] for field in fields] == head


def test_elements_stand_in_the_order_of_the_schema(archive):
    for part in xml(archive["meta.xml"]):
        tags = [each.tag.removeprefix(TEXT) for each in part]
        assert tags[:2] == ["files", "id" if part.tag.endswith("core") else "coreid"]
        assert set(tags[2:]) == {"field"}
        assert part[1].get("index") == "0"


@pytest.mark.parametrize("words", [False, True])
def test_every_term_is_one_of_those_published_for_its_class(words):
    for part in described(unzipped(published(words=words))).values():
        terms = {field.get("term") for field in part.findall(f"{TEXT}field")}
        assert terms <= set(PUBLISHED[part.get("rowType") or ""])


def check_ids(archive):
    events, occurrences, measured = tables(archive)
    known = {row["eventID"] for row in events}
    for rows, key in ((events, "eventID"), (occurrences, "occurrenceID"), (measured, "measurementID")):
        ids = [row[key] for row in rows]
        assert len(set(ids)) == len(ids)
        assert all(re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", id) for id in ids)
    assert {row["parentEventID"] for row in events} <= known | {""}
    assert {row["eventID"] for row in (*occurrences, *measured)} <= known


def check_cells(archive):
    events, occurrences, measured = tables(archive)
    for row in events:
        assert re.fullmatch(f"{ISO_PART}(/{ISO_PART})?", row["eventDate"])
        assert bool(row["sampleSizeValue"]) == bool(row["sampleSizeUnit"])
        place = [row[name] for name in ("decimalLatitude", "decimalLongitude", "geodeticDatum",
                                        "coordinateUncertaintyInMeters")]  # fmt: skip
        assert all(place) or not any(place)
    for row in occurrences:
        assert row["basisOfRecord"] == "HumanObservation"
        assert row["degreeOfEstablishment"] in KEPT
        assert row["occurrenceStatus"] in ("present", "absent")
        assert bool(row["organismQuantity"]) == bool(row["organismQuantityType"]) is True
        if row["individualCount"]:
            assert row["individualCount"] == row["organismQuantity"]
            assert (row["individualCount"] == "0") == (row["occurrenceStatus"] == "absent")
    for row in measured:
        assert row["measurementType"]
        assert row["measurementValue"]
        assert bool(row["measurementAccuracy"]) != (".." in row["measurementValue"])


def test_ids_are_unique_and_lead_somewhere_and_cells_are_of_their_kind(archive):
    check_ids(archive)
    check_cells(archive)


@settings(max_examples=25, deadline=None)
@given(readings=journals_of_readings(), counted=sample_counts())
def test_any_journal_makes_an_archive_that_can_be_read_again(readings, counted):
    bins = (make_bin(), make_bin("south, by the wall", 2))
    found = shared(bins, (*readings, counted), words=True)
    made = publication(found, About())
    assert made == publication(found, About())
    again = unzipped(made)
    check_ids(again)
    check_cells(again)
    assert len(tables(again)[0]) == len(found.bins) + len(found.entries)


def test_the_same_journal_gives_the_same_bytes_and_another_one_another_id():
    assert published() == published()
    assert published(entries=ENTRIES[::-1]) == published()
    ids = {xml(unzipped(published(entries=entries))["eml.xml"]).get("packageId") for entries in (ENTRIES, ENTRIES[:2])}
    assert len(ids) == 2


def test_nothing_in_the_zip_depends_on_the_clock_or_the_machine():
    with zipfile.ZipFile(io.BytesIO(published()[ARCHIVE])) as packed:
        for entry in packed.infolist():
            assert entry.date_time == (1980, 1, 1, 0, 0, 0)
            assert (entry.compress_type, entry.create_system) == (zipfile.ZIP_STORED, 3)


# --- as the journal has it --------------------------------------------------------------------------------


def occurred(*entries, bins=BINS):
    return tables(unzipped(published(entries=entries, bins=bins)))[1]


def test_each_bin_is_an_event_and_each_count_sighting_and_reading_one_within_it(archive):
    events = tables(archive)[0]
    bins = [row for row in events if row["eventType"] == "Bin"]
    assert len(bins) == 3
    assert sorted(row["eventType"] for row in events if row["parentEventID"]) == [
        "Observation", "Observation", "Reading", "Sample", "Sample",
    ]  # fmt: skip
    assert bins[0]["eventDate"] == "2025-11-01/2026-01-08"
    assert {row["license"] for row in events} == {"https://creativecommons.org/licenses/by/4.0/legalcode"}


def test_a_place_is_told_with_what_was_done_to_it(archive):
    north, south = (next(row for row in tables(archive)[0] if f"Bin {n} " in row["eventRemarks"]) for n in (1, 2))
    assert (north["decimalLatitude"], north["decimalLongitude"]) == ("52.1", "-1.3")
    assert 6_000 < int(north["coordinateUncertaintyInMeters"]) < 7_000
    assert "0.1 degree" in north["dataGeneralizations"]
    assert north["informationWithheld"] == "Withheld: exact place, words written freely."
    assert (south["decimalLatitude"], south["dataGeneralizations"]) == ("", "")
    assert south["informationWithheld"] == "Withheld: place, keeper's name, words written freely."


def test_an_exact_count_is_a_number_and_a_vague_one_is_not():
    rows = occurred(
        sample("c", ("adult", exactly(3)), ("juvenile", VagueAmount(2, 4, "1", "between", "")),
               ("cocoon", VagueAmount(9.6, 14.4, "1", "about", ""))),
    )  # fmt: skip
    assert [(row["lifeStage"], row["individualCount"], row["organismQuantity"]) for row in rows] == [
        ("adult", "3", "3"), ("juvenile", "", "2/4"), ("cocoon", "", "10/14"),
    ]  # fmt: skip
    assert "nine in ten" in rows[2]["occurrenceRemarks"]
    assert {row["recordedBy"] for row in rows} == {"keeper 2"}


def test_absent_is_told_only_where_none_were_counted():
    rows = occurred(
        sample("c", ("adult", exactly(0)), ("juvenile", VagueAmount(0, 2, "1", "between", ""))),
        sighting("s", VagueAmount(0, 0, "1", "exact", "none")),
    )  # fmt: skip
    assert [(row["lifeStage"], row["occurrenceStatus"], row["individualCount"]) for row in rows] == [
        ("adult", "absent", "0")
    ]


def test_a_sighting_is_a_least_number_and_never_a_count():
    (row,) = occurred(sighting("s", exactly(5), stage="not noted"))
    assert (row["individualCount"], row["organismQuantity"], row["lifeStage"]) == ("", "5/..", "")
    assert row["occurrenceStatus"] == "present"


@pytest.mark.parametrize(("base", "told"), [("feet", "captive"), ("slab", "captive"), ("soil", "cultivated")])
def test_animals_that_could_leave_into_the_soil_are_not_told_as_captive(base, told):
    (row,) = occurred(sample("c", ("adult", exactly(1))), bins=(replace(BINS[1], base=base),))
    assert row["degreeOfEstablishment"] == told


def test_readings_are_the_middle_half_the_width_and_the_kind(archive):
    rows = tables(archive)[2]
    (temperature,) = (row for row in rows if row["measurementType"] == "temperature of the bedding")
    assert (temperature["measurementValue"], temperature["measurementAccuracy"]) == ("6.5", "0.5")
    assert (temperature["measurementUnit"], temperature["measurementMethod"]) == ("°C", "kitchen probe")
    assert temperature["measurementRemarks"].startswith("6/7: noted as a range")
    assert temperature["measurementDeterminedBy"] == KEEPERS["Ada"].shown_as
    founders = [row for row in rows if row["measurementType"] == "animals put in at the start"]
    assert {(row["measurementValue"], row["measurementAccuracy"]) for row in founders} == {("24/..", "")}


def test_a_volume_that_was_not_noted_is_no_sample_size():
    unknown = VagueAmount(0, float("inf"), "L", "not noted", "")
    (row,) = (
        each for each in tables(unzipped(published(entries=(sample("c", ("adult", exactly(1)), volume=unknown),))))[0]
        if each["eventType"] == "Sample"
    )  # fmt: skip
    assert (row["sampleSizeValue"], row["sampleSizeUnit"]) == ("", "")
