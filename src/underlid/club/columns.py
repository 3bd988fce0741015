"""Tables whose columns bear the names of terms, and how they are written as text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["string", "number", "integer"]
Row = dict[str, str]  # a cell for each column that says something

#: The terms of Darwin Core are of TDWG; that for the licence is one it borrows from the Dublin Core.
DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: the term whose name it bears, what it means here, and what its cells hold.

    values : the only ones there are, () for any
    """

    name: str
    says: str
    kind: Kind = "string"
    required: bool = False
    values: tuple[str, ...] = ()

    @property
    def iri(self) -> str:
        """The address of the term."""
        return f"{DCTERMS if self.name == 'license' else DWC}{self.name}"


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `key` is the column that no two rows have in common, `term` the class of thing that a row is."""

    name: str
    says: str
    term: str
    key: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]

    @property
    def headings(self) -> list[str]:
        """The names of the columns, in order."""
        return [column.name for column in self.columns]

    def cells(self) -> list[list[str]]:
        """The rows as lists of cells, in the order of the columns."""
        return [[row.get(column.name, "") for column in self.columns] for row in self.rows]


def tabbed(table: Table) -> bytes:
    """The table with tabs between cells and nothing around them, its headings first; no cell holds a tab."""
    lines = [table.headings, *table.cells()]
    return "".join("\t".join(cells) + "\n" for cells in lines).encode()
