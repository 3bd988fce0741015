"""eml.xml: in the order that EML 2.2.0 has its elements, and with what everybody has to know."""

import pytest

from tests.club.sample import BINS, ENTRIES, HILL, published, unzipped, xml
from tests.journal.examples import make_keeper
from underlid.club.licences import LICENCES, UnknownLicence, licence
from underlid.club.telling import About

#: The elements of a dataset in the order of EML 2.2.0 (eml-resource.xsd, eml-dataset.xsd), those that are used.
ORDER = (
    "title", "creator", "pubDate", "language", "abstract", "keywordSet", "additionalInfo", "intellectualRights",
    "licensed", "coverage", "contact", "methods",
)  # fmt: skip


def dataset(about=About(), **more):  # noqa: B008  # frozen
    found = xml(unzipped(published(about, **more))["eml.xml"]).find("dataset")
    assert found is not None
    return found


def test_elements_stand_in_the_order_of_the_schema():
    root = xml(unzipped(published())["eml.xml"])
    assert root.tag == "{https://eml.ecoinformatics.org/eml-2.2.0}eml"
    assert {"packageId", "system"} <= set(root.keys())
    for about in (About(), About("Ours", licence("CC0-1.0"))):
        tags = [each.tag for each in dataset(about)]
        assert tags == sorted(tags, key=ORDER.index)
        assert {"title", "creator", "contact"} <= set(tags)


def test_it_says_that_they_are_kept_and_what_is_withheld():
    said = dataset()
    abstract = " ".join(said.find("abstract").itertext())
    assert "none is a wild occurrence" in abstract
    assert "as vague as they were noted" in abstract
    assert "does not show that it is true in general" in abstract
    more = " ".join(said.find("additionalInfo").itertext())
    assert "feedings: 1 (no observation of animals or bedding)" in more
    assert "our judgement" in " ".join(said.find("methods").itertext())


def test_keepers_who_chose_a_name_are_its_authors_and_the_others_are_not_named():
    found = [each.text for creator in dataset().findall("creator") for each in creator.iter() if each.tag != "creator"]
    assert [text for text in found if text and text.strip()] == [
        HILL.shown_as, "Keepers of worm-composting bins who are not named",
    ]  # fmt: skip


def test_the_cells_that_are_told_bound_it_and_no_others():
    (box,) = dataset().iter("boundingCoordinates")
    assert [each.text for each in box] == ["-1.35", "-1.25", "52.15", "52.05"]
    quiet = make_keeper("Ada", place="not told", latitude=52.1, longitude=-1.3)
    assert not list(dataset(keepers={"Ada": quiet}).iter("geographicCoverage"))


def test_bounds_stop_at_the_pole_and_the_meridian_of_180_degrees():
    polar = make_keeper("Ada", latitude=89.9, longitude=179.9, place="1 degree")
    (box,) = dataset(keepers={"Ada": polar}).iter("boundingCoordinates")
    west, east, north, south = (float(each.text or "nan") for each in box)
    assert -180 <= west < east <= 180
    assert (south, north) == (89.5, 90)


def test_it_reaches_from_the_first_day_to_the_last():
    days = [each.text for each in dataset(bins=BINS, entries=ENTRIES).iter("calendarDate")]
    assert days == ["2025-11-01", "2026-02-04"]


def test_a_title_and_a_name_from_anywhere_leave_it_well_formed():
    odd = make_keeper("Ada", shown_as="a\x00\x1b[31m<b>&\u2028\ufffe]]>")
    said = dataset(About("T\x07i<t>le\n&"), keepers={"Ada": odd})
    assert said.findtext("title") == "Ti<t>le &"
    assert said.findtext("creator/individualName/surName") == "a[31m<b>& ]]>"
    assert dataset(About(" \n")).findtext("title") == About().title


@pytest.mark.parametrize("name", LICENCES)
def test_a_licence_is_told_with_its_name_and_address(name):
    said = dataset(About(licence=licence(name.lower())))
    assert said.findtext("licensed/identifier") == name
    assert said.findtext("licensed/url", "").startswith("https://creativecommons.org/")
    assert name in " ".join(said.find("intellectualRights").itertext())


def test_without_a_licence_it_says_to_ask():
    assert dataset().find("licensed") is None
    assert "ask the keepers" in " ".join(dataset().find("intellectualRights").itertext())


def test_a_licence_of_another_name_is_refused_with_those_there_are():
    with pytest.raises(UnknownLicence, match=r"no licence 'mine' here; give one of CC0-1.0, .*CC-BY-SA-4.0, or none"):
        licence("mine")
