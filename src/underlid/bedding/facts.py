"""A value of the materials file: what is best known, how far it may be off, and who says so.

    moisture_pct = { value = 72, low = 59, high = 79 }

Source and mark stand once for the whole table the value is in, unless a value has its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, cast, get_args

Mark = Literal["published", "seen second-hand", "recalled", "judgement", "measured"]
MARKS: tuple[Mark, ...] = get_args(Mark)

Table = Mapping[str, object]


class DamagedMaterials(ValueError):
    """A file of materials does not say what it must."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A value with the spread its sources leave; the unit is told by `Of`.

    `mark` says how the value came to us: published (read there), seen second-hand (quoted elsewhere), recalled (from
    the source named, not re-read), judgement (ours, or common practice) or measured (by the keeper).
    """

    value: float
    low: float
    high: float
    cited: str
    mark: Mark

    @property
    def source(self) -> str:
        """Who says so, and how it came to us."""
        return f"{self.cited} ({self.mark})"


@dataclass(frozen=True, slots=True)
class Of:
    """What a value is called, its unit, and the numbers that are possible."""

    label: str
    unit: str = ""
    at_least: float = 0.0
    at_most: float = math.inf


def read_fact(table: object, of: Of, where: str, credit: Table) -> Fact:
    """A value from its table; `where` names file, material and field, `credit` has source and mark for want of own."""
    row = read_table(table, where)
    only(row, {"value", "low", "high", "source", "mark"}, where)
    value, low, high = (_number(row, key, where) for key in ("value", "low", "high"))
    if not low <= value <= high:
        raise DamagedMaterials(f"{where}: must have low <= value <= high, but has {low:g}, {value:g}, {high:g}.")
    if not (of.at_least <= low and high <= of.at_most):
        limits = f"at least {of.at_least:g}" + (f" and at most {of.at_most:g}" if math.isfinite(of.at_most) else "")
        raise DamagedMaterials(f"{where}: {low:g} to {high:g} {of.unit} is not possible; it must be {limits}.")
    return Fact(value, low, high, read_words({**credit, **row}, "source", where), _mark({**credit, **row}, where))


def read_table(table: object, where: str) -> Table:
    """The table itself, if it is one."""
    if not isinstance(table, dict):
        raise DamagedMaterials(f"{where}: must be a table, such as {{ value = 72, low = 59, high = 79 }} for a value.")
    return cast("Table", table)


def read_words(table: Table, key: str, where: str) -> str:
    """Words that must be there and say something."""
    words = table.get(key)
    if not (isinstance(words, str) and words.strip()):
        raise DamagedMaterials(f"{where}: needs {key} as words in quotes.")
    return words.strip()


def read_list(table: Table, key: str, where: str) -> tuple[str, ...]:
    """A list of words; none where there is no such key."""
    words = table.get(key, [])
    if not (isinstance(words, list) and all(isinstance(word, str) and word.strip() for word in words)):
        raise DamagedMaterials(f"{where}: {key} must be a list of words in quotes.")
    return tuple(word.strip() for word in words)


def only(table: Table, known: set[str], where: str) -> None:
    """Refuse a key that is not known, for it is a slip of the pen."""
    if unknown := sorted(table.keys() - known):
        raise DamagedMaterials(f"{where}: {unknown[0]!r} is not known; known: {', '.join(sorted(known))}.")


def _number(table: Table, key: str, where: str) -> float:
    written = table.get(key)
    # true is an int to Python; nan and inf are TOML, but no facts
    if isinstance(written, int | float) and not isinstance(written, bool) and abs(written) < 1e9:
        return float(written)
    raise DamagedMaterials(f"{where}: needs the numbers value, low and high; {key} is missing or no number.")


def _mark(table: Table, where: str) -> Mark:
    for mark in MARKS:
        if table.get("mark") == mark:
            return mark
    raise DamagedMaterials(f"{where}: needs mark, one of: {', '.join(MARKS)}.")
