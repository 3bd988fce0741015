"""What the data set is, in the Ecological Metadata Language (EML 2.2.0): the eml.xml of an archive."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal
from xml.etree import ElementTree as XML

from underlid.club.place import Place
from underlid.club.sharing import Shared
from underlid.club.telling import About, licence_sentence, listed, methods, sentences

NAMESPACE = "https://eml.ecoinformatics.org/eml-2.2.0"
SCHEMA = "https://eml.ecoinformatics.org/eml-2.2.0/eml.xsd"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
UNNAMED = "Keepers of worm-composting bins who are not named"


def eml(shared: Shared, about: About, package_id: str) -> bytes:
    """The metadata as XML.

    package_id : names just this version of the data, so that other data have another one
    """
    XML.register_namespace("eml", NAMESPACE)
    XML.register_namespace("xsi", _XSI)
    root = XML.Element(
        f"{{{NAMESPACE}}}eml",
        {f"{{{_XSI}}}schemaLocation": f"{NAMESPACE} {SCHEMA}", "packageId": package_id, "system": "uuid"}
        | {"scope": "system"},
    )  # fmt: skip
    dataset = _add(root, "dataset")
    # EML has its elements in this order.
    _add(dataset, "title", about.heading)
    keepers = sorted({each.keeper for each in shared.bins if each.named})
    for keeper in keepers:
        _add(_add(_add(dataset, "creator"), "individualName"), "surName", keeper)
    if not keepers or not all(each.named for each in shared.bins):
        _add(_add(dataset, "creator"), "organizationName", UNNAMED)
    if shared.until is not None:
        _add(dataset, "pubDate", shared.until.date().isoformat())
    _add(dataset, "language", "en")
    _paras(_add(dataset, "abstract"), sentences())
    words = _add(dataset, "keywordSet")
    for word in ("Sampling event", "vermicomposting", "earthworms", "captive animals"):
        _add(words, "keyword", word)
    told, withheld = (map(listed, items) for items in (shared.account.told, shared.account.withheld))
    _paras(_add(dataset, "additionalInfo"), ["What is told:", *told, "What is withheld:", *withheld])
    _paras(_add(dataset, "intellectualRights"), [licence_sentence(about)])
    if about.licence is not None:
        licensed = _add(dataset, "licensed")
        _add(licensed, "licenseName", about.licence.title)
        _add(licensed, "url", about.licence.url)
        _add(licensed, "identifier", about.licence.name)
    _coverage(dataset, shared)
    _add(_add(dataset, "contact"), "organizationName", UNNAMED if not keepers else ", ".join(keepers))
    how = _add(dataset, "methods")
    for sentence in methods():
        _paras(_add(_add(how, "methodStep"), "description"), [sentence])
    return written(root)


def _coverage(dataset: XML.Element, shared: Shared) -> None:
    """Where the cells that are told lie, when it was, and which species were kept."""
    bins = {each.id: each for each in shared.bins}
    noted = [(each.id, each) for each in shared.bins] + [(one.id, bins[one.bin]) for one in shared.entries]
    places = list({each.id: each.place for id, each in noted if each.place and id not in shared.anothers}.values())
    species = sorted({each.species for each in shared.bins} - {""})
    times = [each.started for each in shared.bins] + [each.when for each in shared.entries]
    if not (places or species or times):
        return
    coverage = _add(dataset, "coverage")
    if places:
        where = _add(coverage, "geographicCoverage")
        _add(where, "geographicDescription", f"Cells in which {len(places)} of {len(shared.bins)} bins stand")
        bounds = _add(where, "boundingCoordinates")
        for name, value in zip(("west", "east", "north", "south"), _bounds(places), strict=True):
            _add(bounds, f"{name}BoundingCoordinate", f"{value:f}")
    if times:
        dates = _add(_add(coverage, "temporalCoverage"), "rangeOfDates")
        first, last = min(each.start for each in times), max(each.end for each in times)
        _add(_add(dates, "beginDate"), "calendarDate", first.date().isoformat())
        _add(_add(dates, "endDate"), "calendarDate", (last - timedelta(microseconds=1)).date().isoformat())
    if species:
        kept = _add(coverage, "taxonomicCoverage")
        for name in species:
            one = _add(kept, "taxonomicClassification")
            _add(one, "taxonRankName", "species")
            _add(one, "taxonRankValue", name)


def _bounds(places: list[Place]) -> tuple[Decimal, Decimal, Decimal, Decimal]:
    """West, east, north and south of all cells, none beyond the poles or the meridian of 180 degrees."""
    west = max(min(each.longitude - each.width / 2 for each in places), Decimal(-180))
    east = min(max(each.longitude + each.width / 2 for each in places), Decimal(180))
    north = min(max(each.latitude + each.height / 2 for each in places), Decimal(90))
    south = max(min(each.latitude - each.height / 2 for each in places), Decimal(-90))
    return west, east, north, south


def written(root: XML.Element) -> bytes:
    """A document as indented XML in UTF-8."""
    XML.indent(root)
    text: str = XML.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def _add(parent: XML.Element, name: str, text: str | None = None) -> XML.Element:
    element = XML.SubElement(parent, name)
    element.text = text
    return element


def _paras(parent: XML.Element, texts: Iterable[str]) -> None:
    for text in texts:
        _add(parent, "para", text)
