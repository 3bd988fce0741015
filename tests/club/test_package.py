"""The data package, read again by a validator of the standard; and the README that lies beside it."""

import json

import pytest

from tests.club.sample import BINS, KEEPERS, csv_rows, published, shared, tab_rows, unzipped
from underlid.club.licences import licence
from underlid.club.publication import DARWIN_CORE, FRICTIONLESS, publication
from underlid.club.telling import About


@pytest.fixture(scope="module")
def files():
    return published(About("Bins of the hill", licence("CC-BY-4.0")))


def validated(files, folder):
    from frictionless import validate

    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    return validate(str(folder / "data-package" / "datapackage.json")).flatten(["name", "rowNumber", "type", "message"])


@pytest.mark.parametrize("more", [{}, {"words": True}, {"entries": ()}, {"keepers": {}, "whose": {}}])
def test_the_descriptor_and_every_row_are_valid(tmp_path, more):
    assert validated(published(**more), tmp_path) == []


@pytest.mark.parametrize(
    ("name", "old", "new", "fault"),
    [("events", b"52.1,", b"52.x,", "type-error"), ("occurrences", b"present", b"perhaps", "constraint-error"),
     ("measurements", b"\r\nurn:uuid:", b"\r\nurn:uuid:0", "foreign-key")],
)  # fmt: skip
def test_what_was_changed_afterwards_is_found(files, tmp_path, name, old, new, fault):
    path = f"data-package/{name}.csv"
    assert old in files[path]
    found = validated({**files, path: files[path].replace(old, new, 1)}, tmp_path)
    assert fault in {row[2] for row in found}


def test_its_rows_are_those_of_the_archive(files):
    archive = unzipped(files)
    for name, file in (("events", "event"), ("occurrences", "occurrence"), ("measurements", "measurementorfact")):
        assert csv_rows(files, name) == tab_rows(archive[f"{file}.txt"])


def test_the_descriptor_says_who_what_and_under_which_licence(files):
    said = json.loads(files["data-package/datapackage.json"])
    assert said["title"] == "Bins of the hill"
    assert said["contributors"] == [{"title": KEEPERS["Ada"].shown_as, "role": "author"}]
    assert said["licenses"][0]["name"] == "CC-BY-4.0"
    assert said["created"] == "2026-03-01T20:30:00+00:00"  # in UTC: it says nothing of where
    assert "none is a wild occurrence" in said["description"]
    fields = {field["name"]: field for field in said["resources"][0]["schema"]["fields"]}
    assert fields["eventDate"]["rdfType"] == "http://rs.tdwg.org/dwc/terms/eventDate"
    assert fields["license"]["rdfType"] == "http://purl.org/dc/terms/license"
    assert all(field["description"].endswith(".") for each in said["resources"] for field in each["schema"]["fields"])
    nobody = json.loads(published(keepers={}, whose={})["data-package/datapackage.json"])
    assert not {"contributors", "licenses"} & nobody.keys()


def test_shared_photos_are_listed_by_fingerprint(files):
    (photo,) = csv_rows(files, "photos")
    assert (photo["sha256"], photo["taken"]) == ("ab", "2026-01-10")
    assert photo["eventID"] == csv_rows(files, "events")[0]["eventID"]


def test_words_are_columns_only_where_they_are_asked_for(files):
    assert "fieldNotes" not in csv_rows(files, "events")[0]
    rows = csv_rows(published(words=True), "events")
    assert rows[0]["fieldNotes"] == "north"
    assert "smells of forest ☘ and a 'second' line" in {row["fieldNotes"] for row in rows}
    assert "5/1" in {row["verbatimEventDate"] for row in rows}


@pytest.mark.parametrize(
    ("formats", "there", "missing"),
    [((DARWIN_CORE,), "darwin-core-archive.zip", "data-package/events.csv"),
     ((FRICTIONLESS,), "data-package/events.csv", "darwin-core-archive.zip")],
)  # fmt: skip
def test_only_the_formats_that_were_asked_for_are_made(formats, there, missing):
    made = publication(shared(), About(), formats)
    assert there in made
    assert missing not in made
    assert missing.split("/")[0] not in made["README.txt"].decode()


def test_the_readme_tells_what_is_there_what_is_withheld_and_why(files):
    said = files["README.txt"].decode()
    assert said.startswith("Bins of the hill\r\n")
    assert "none is a wild occurrence" in said.replace("\r\n", " ")
    assert "photos: 2 (private)" in said
    assert "names of bins: 3 (words may name people and places)" in said
    assert "degF = 1.8 x degC + 32" in said
    assert "= + - or @" in said
    assert max(map(len, said.splitlines())) <= 120
    assert "names of bins" not in published(bins=BINS[:0], entries=())["README.txt"].decode()
