"""What a species file may say: facts with spread and source, tables of them by temperature, and notes in words.

A table in the file is one fact. Where a fact depends on bedding temperature its rows are named by it:

    [hatching_share]                        [incubation_days]
    value = 0.832                           source = "Tsukamoto & Watanabe 1977 (shape)"
    low = 0.7                               mark = "recalled"
    high = 0.9                              10 = { value = 100, low = 80, high = 120 }
    source = "Edwards 1988"                 15 = { value = 50, low = 40, high = 60 }
    mark = "seen second-hand"

A row may have its own source, mark and conflict. `conflict = true` says that sources disagree: the source text states
what each says, and low to high holds them all.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, cast, get_args

Mark = Literal["published", "seen second-hand", "recalled", "judgement"]
MARKS: tuple[Mark, ...] = get_args(Mark)

Table = Mapping[str, object]

CREDIT = {"source", "mark", "conflict"}
NUMBERS = {"value", "low", "high"}
COLDEST_C, WARMEST_C = -10.0, 45.0  # no row of a table lies outside


class DamagedFacts(ValueError):
    """A species file does not say what it must."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A published value with the spread its sources leave; the unit is told by `Of`.

    `mark` says how its value came to us: published (read there), seen second-hand (quoted elsewhere), recalled
    (from the source named, not re-read) or judgement (ours, or common practice).
    """

    value: float
    low: float
    high: float
    cited: str
    mark: Mark
    conflict: bool = False

    @property
    def source(self) -> str:
        """Who says so, and how it came to us."""
        return f"{self.cited} ({self.mark})"


@dataclass(frozen=True, slots=True)
class Response:
    """A fact at each of several bedding temperatures [degC], coldest first."""

    at_c: tuple[float, ...]
    facts: tuple[Fact, ...]

    def near(self, low_c: float, high_c: float) -> tuple[Fact, ...]:
        """The rows that bear on bedding from `low_c` to `high_c` [degC]: those within and the next to each side."""
        first = max(bisect_right(self.at_c, low_c) - 1, 0)
        return self.facts[first : max(bisect_left(self.at_c, high_c) + 1, first + 1)]


@dataclass(frozen=True, slots=True)
class Note:
    """What is known in words and not as a number."""

    text: str
    cited: str
    mark: Mark

    @property
    def source(self) -> str:
        """Who says so, and how it came to us."""
        return f"{self.cited} ({self.mark})"


@dataclass(frozen=True, slots=True)
class Of:
    """What a field of a species is called, its unit ("degC" for a temperature), and the numbers that are possible."""

    label: str
    unit: str = ""
    at_least: float = 0.0
    at_most: float = math.inf


def read_fact(table: object, of: Of, where: str) -> Fact:
    """A fact from its table; `where` names file and fact in any complaint."""
    return _fact(_table(table, where), of, where, NUMBERS | CREDIT)


def read_response(table: object, of: Of, where: str) -> Response:
    """A fact by temperature: at least two rows, each named by its bedding temperature in degC."""
    rows = _table(table, where)
    shared = {key: rows[key] for key in rows.keys() & CREDIT}
    found: dict[float, Fact] = {}
    for key in rows.keys() - CREDIT:
        at_c = _temperature(key, where)
        if at_c in found:
            raise DamagedFacts(f"{where}: {at_c:g} degC has two rows; keep one.")
        here = f"{where} at {at_c:g} degC"
        found[at_c] = _fact({**shared, **_table(rows[key], here)}, of, here, NUMBERS | CREDIT)
    if len(found) < 2:
        raise DamagedFacts(f"{where}: needs rows for two temperatures at least, such as 20 = {{ value, low, high }}.")
    at = tuple(sorted(found))
    return Response(at, tuple(found[at_c] for at_c in at))


def read_note(table: object, where: str) -> Note:
    """A note from its table."""
    rows = _table(table, where)
    _only(rows, {"text", "source", "mark"}, where)
    return Note(read_words(rows, "text", where), read_words(rows, "source", where), _mark(rows, where))


def read_words(table: Table, key: str, where: str) -> str:
    """Words that must be there and say something."""
    words = table.get(key)
    if not (isinstance(words, str) and words.strip()):
        raise DamagedFacts(f"{where}: needs {key} as words in quotes.")
    return words.strip()


def _table(table: object, where: str) -> Table:
    if not isinstance(table, dict):
        raise DamagedFacts(f"{where}: must be a table with value, low, high, source and mark (or text for a note).")
    return cast("Table", table)


def _only(table: Table, known: set[str], where: str) -> None:
    if unknown := sorted(table.keys() - known):
        raise DamagedFacts(f"{where}: {unknown[0]!r} is not known; known: {', '.join(sorted(known))}.")


def _fact(table: Table, of: Of, where: str, known: set[str]) -> Fact:
    _only(table, known, where)
    value, low, high = (_number(table, key, where) for key in ("value", "low", "high"))
    if not low <= value <= high:
        raise DamagedFacts(f"{where}: must have low <= value <= high, but has {low:g}, {value:g}, {high:g}.")
    if not (of.at_least <= low and high <= of.at_most):
        unit = f" {of.unit}" if of.unit else ""
        limits = f"at least {of.at_least:g}" + (f" and at most {of.at_most:g}" if math.isfinite(of.at_most) else "")
        raise DamagedFacts(f"{where}: {low:g} to {high:g}{unit} is not possible; it must be {limits}.")
    conflict = table.get("conflict", False)
    if not isinstance(conflict, bool):
        raise DamagedFacts(f"{where}: conflict must be true or false.")
    return Fact(value, low, high, read_words(table, "source", where), _mark(table, where), conflict)


def _number(table: Table, key: str, where: str) -> float:
    written = table.get(key)
    # true is an int to Python; a whole number of 400 digits is none to a float; nan and inf are TOML, but no facts
    if isinstance(written, int | float) and not isinstance(written, bool) and abs(written) < 1e9:
        return float(written)
    raise DamagedFacts(f"{where}: needs the numbers value, low and high, and a source; {key} is missing or no number.")


def _mark(table: Table, where: str) -> Mark:
    for mark in MARKS:
        if table.get("mark") == mark:
            return mark
    raise DamagedFacts(f"{where}: needs mark, one of: {', '.join(MARKS)}.")


def _temperature(key: str, where: str) -> float:
    if re.fullmatch(r"-?[0-9]{1,2}(\.[0-9]{1,3})?", key) and COLDEST_C <= float(key) <= WARMEST_C:
        return float(key)
    raise DamagedFacts(
        f"{where}: {key!r} is no bedding temperature from {COLDEST_C:g} to {WARMEST_C:g} degC; "
        'name a row 12, or "12.5" in quotes.'
    )
