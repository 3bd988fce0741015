"""A Darwin Core Archive: the tables as text, meta.xml that says what their columns are, and eml.xml.

As the Darwin Core text guide (TDWG 2023) has it: events are the core, and what occurred and was measured at them are
its extensions. The archive is not compressed, so that the same data make the same bytes on every machine.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from uuid import UUID, uuid5
from xml.etree import ElementTree as XML

from underlid.club.columns import DWC, Table, tabbed
from underlid.club.metadata import eml, written
from underlid.club.names import NAMESPACE
from underlid.club.sharing import Shared
from underlid.club.telling import About

TEXT = "http://rs.tdwg.org/dwc/text/"
SCHEMA = "http://rs.tdwg.org/dwc/text/tdwg_dwc_text.xsd"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
FILES = {"events": "event.txt", "occurrences": "occurrence.txt", "measurements": "measurementorfact.txt"}
EPOCH = (1980, 1, 1, 0, 0, 0)  # the first moment that a ZIP file can tell


def archive(shared: Shared, tables: tuple[Table, Table, Table], about: About) -> bytes:
    """The archive of events, occurrences and measurements, a ZIP file."""
    made = {FILES[table.name]: tabbed(table) for table in tables}
    made["meta.xml"] = meta(tables)
    digest = hashlib.sha256(b"".join(made.values())).hexdigest()
    made["eml.xml"] = eml(shared, about, str(version_of(digest)))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as packed:
        for name, data in sorted(made.items()):
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.create_system, entry.external_attr = 3, 0o644 << 16  # a plain file, whichever system wrote it
            packed.writestr(entry, data)
    return out.getvalue()


def version_of(digest: str) -> UUID:
    """An id for data that have this digest, and for no others."""
    return uuid5(NAMESPACE, f"version/{digest}")


def meta(tables: tuple[Table, Table, Table]) -> bytes:
    """meta.xml: which file is the core, which are its extensions, and what every column is."""
    XML.register_namespace("", TEXT)
    XML.register_namespace("xsi", _XSI)
    root = XML.Element(
        f"{{{TEXT}}}archive", {"metadata": "eml.xml", f"{{{_XSI}}}schemaLocation": f"{TEXT} {SCHEMA}"}
    )  # fmt: skip
    for place, table in enumerate(tables):
        kind, id = ("extension", "coreid") if place else ("core", "id")
        part = XML.SubElement(
            root, f"{{{TEXT}}}{kind}",
            {"encoding": "UTF-8", "fieldsTerminatedBy": r"\t", "linesTerminatedBy": r"\n", "fieldsEnclosedBy": "",
             "ignoreHeaderLines": "1", "rowType": f"{DWC}{table.term}"},
        )  # fmt: skip
        files = XML.SubElement(part, f"{{{TEXT}}}files")
        XML.SubElement(files, f"{{{TEXT}}}location").text = FILES[table.name]
        XML.SubElement(part, f"{{{TEXT}}}{id}", {"index": "0"})
        for index, column in enumerate(table.columns):
            XML.SubElement(part, f"{{{TEXT}}}field", {"index": str(index), "term": column.iri})
    return written(root)
