"""What all data packages have in common: tables as CSV, and what a Frictionless descriptor says of such a file."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable, Sequence


def csv_of(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """A table as CSV (RFC 4180) in UTF-8, its headings first."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows(rows)
    return out.getvalue().encode()


def resource(name: str, says: str, data: bytes, schema: dict[str, object]) -> dict[str, object]:
    """A file of `csv_of`, named after its table, as a tabular data resource (Data Package v1, Frictionless)."""
    return {
        "profile": "tabular-data-resource",
        "name": name,
        "path": f"{name}.csv",
        "description": says,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": schema,
    }
