"""One row of a CSV file to one entry, cell by cell."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from underlid.journal.errors import BadCell
from underlid.journal.rows import SHAPES, choices, is_amount
from underlid.journal.rules import unknown_bin
from underlid.quantity.amount import VagueAmount, parse_amount
from underlid.quantity.mistake import Mistake, plain
from underlid.quantity.units import DEGREES, KIND_OF_UNIT, find_unit
from underlid.quantity.when import VagueTime, parse_when
from underlid.records import Bin, Claim, Feeding, Measured, Note, Reading, Sighting

#: Kinds of entry that fit one row each.
Exchanged = Reading | Feeding | Sighting | Note | Claim

Cells = Mapping[str, str]  # our columns, those that hold something

#: The unit that each measured quantity is read in.
UNIT_OF: dict[Measured, str] = {
    "temperature": "degC",
    "air temperature": "degC",
    "pH": "pH",
    "moisture": "%",
    "EC": "mS/cm",
    "live mass": "kg",
}


#: A column of files from elsewhere: the unit of amounts without one.
UNIT = "unit"


@dataclass(frozen=True, slots=True)
class RowReader:
    """What is known around the rows of one file."""

    kind: type[Exchanged]
    bins: Mapping[str, Bin]
    containers: Mapping[str, VagueAmount]
    now: datetime
    headings: Mapping[str, str]  # our columns to the file's headings, which may name a unit: "Temp (F)"
    decimal_comma: bool

    def entry(self, cells: Cells) -> Exchanged:
        """Return the entry in `cells`, with an empty id if the row has none.

        Raises BadCell, whose `facts` name the column, or UnknownBin.
        """
        name = cells.get("bin", "").strip()
        if name not in self.bins:
            raise unknown_bin(name, self.bins)
        values = {
            field.name: self._value(field.name, field.default, cells, self.bins[name]) for field in fields(self.kind)
        }
        return self.kind(**values | {"bin": name})  # type: ignore[arg-type]  # each value is of its hint

    def _value(self, name: str, default: object, cells: Cells, home: Bin) -> object:
        hint = SHAPES[self.kind][name]
        taken = f"{name}_kind" in cells  # what the words mean stands beside them
        if is_amount(hint):
            if taken:
                return _exact_amount(name, cells)
            if name not in cells and default is None:
                return None
            amount = self._read_amount(name, cells)
            if name == "depth" and amount.low > home.height.high:
                detail = f"the bin is at most {100 * home.height.high:.0f} cm high; check the depth and its unit"
                raise BadCell(column=name, value=cells[name], detail=detail)
            return amount
        if hint is VagueTime:
            return _exact_time(name, cells) if taken else self._read_time(name, cells, home)
        if name == "noted_at":
            if "noted_at" not in self.headings:
                return self.now
            return _moment(name, cells) if name in cells else None
        if choices(hint):
            return _choice(name, default, choices(hint), cells)
        return cells.get(name, None if default is None else "")

    def _read_amount(self, name: str, cells: Cells) -> VagueAmount:
        words = _filled(name, cells)
        expect = "m" if name == "depth" else "1" if self.kind is Sighting else None
        if name == "amount" and self.kind is Reading:
            expect = UNIT_OF[_choice("quantity", MISSING, tuple(UNIT_OF), cells)]
        written = words.replace(",", ".") if self.decimal_comma else words
        unit = self._unit(name, expect, cells)
        try:
            amount = parse_amount(written, expect=expect, unit=unit, containers=self.containers)
            bare = not unit and expect in _NEEDS_UNIT and parse_amount(written, containers=self.containers).unit == "1"
        except ValueError as error:
            raise BadCell(column=name, value=words, detail=_said(error)) from error
        if bare and amount.kind != "not noted":
            fixed = f", or give -f unit={expect}" if name == "amount" else ""
            detail = f"this number has no unit; write it in the cell or the heading{fixed}"
            raise BadCell(column=name, value=words, detail=detail)
        return replace(amount, words=words)

    def _unit(self, name: str, expect: str | None, cells: Cells) -> str:
        """The spelling of the unit that a number without one has: from the row, or else from the heading."""
        told = cells.get(UNIT, "").strip() if name == "amount" else ""
        if not told or expect is None:
            return unit_in(self.headings.get(name, ""), expect)
        unit = find_unit(plain(told))
        if unit is None or unit.canonical != expect:
            detail = f"it is no unit of {KIND_OF_UNIT[expect]}, such as {expect}"
            raise BadCell(column=UNIT, value=told, detail=detail)
        return plain(told)

    def _read_time(self, name: str, cells: Cells, home: Bin) -> VagueTime:
        words = _filled(name, cells)
        try:
            return parse_when(words, now=self.now, tz=ZoneInfo(home.timezone), start=home.started.start)
        except ValueError as error:
            raise BadCell(column=name, value=words, detail=_said(error)) from error


# The others are counts and pH, which are written without.
_NEEDS_UNIT = ("degC", "%", "mS/cm", "m")


def unit_in(heading: str, expect: str | None) -> str:
    """The spelling of the one unit of the kind expected that a heading names, or "" for none or several.

    >>> unit_in("Temp (F)", "degC"), unit_in("Depth in cm", "m"), unit_in("C or F", "degC")
    ('f', 'cm', '')
    """
    words = re.split(r"[\s_,;:()\[\]]+", plain(heading))
    found = {}
    for word in words:
        unit = find_unit(word)
        if unit is not None and unit is not DEGREES and unit.canonical == expect:
            found[unit] = word
    # "Depth in cm" has a word that is a unit too.
    if len(found) > 1 and "in" in words:
        found = {unit: word for unit, word in found.items() if word != "in"}
    return next(iter(found.values())) if len(found) == 1 else ""


def _exact_amount(name: str, cells: Cells) -> VagueAmount:
    return VagueAmount(
        low=_number(f"{name}_low", cells, -math.inf),
        high=_number(f"{name}_high", cells, math.inf),
        unit=_filled(f"{name}_unit", cells),
        kind=cells[f"{name}_kind"],  # type: ignore[arg-type]  # the store checks it
        words=cells.get(name, ""),
        flags=_flags(f"{name}_flags", cells),
    )


def _exact_time(name: str, cells: Cells) -> VagueTime:
    return VagueTime(
        start=_moment(f"{name}_start", cells),
        end=_moment(f"{name}_end", cells),
        kind=cells[f"{name}_kind"],  # type: ignore[arg-type]  # the store checks it
        words=cells.get(name, ""),
        flags=_flags(f"{name}_flags", cells),
    )


def _choice(column: str, default: object, allowed: tuple[str, ...], cells: Cells) -> Any:
    word = cells.get(column, "").strip()
    if not word and default is not MISSING:
        return default
    found = {each.casefold(): each for each in allowed}.get(word.casefold())
    if found is None:
        raise BadCell(column=column, value=word, detail=f"it must be one of {', '.join(allowed)}")
    return found


def _number(column: str, cells: Cells, empty: float) -> float:
    text = cells.get(column, "")
    try:
        return float(text) if text else empty
    except ValueError as error:
        raise BadCell(column=column, value=text, detail="it is not a number such as 12.5") from error


def _moment(column: str, cells: Cells) -> datetime:
    text = _filled(column, cells)
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        detail = "it is not a moment such as 2026-01-05T08:30:00+01:00"
        raise BadCell(column=column, value=text, detail=detail) from error


def _flags(column: str, cells: Cells) -> tuple[str, ...]:
    text = cells.get(column, "[]")
    try:
        flags = json.loads(text)
        if not isinstance(flags, list) or not all(isinstance(flag, str) for flag in flags):
            raise ValueError("no list of texts")
    except (ValueError, RecursionError) as error:
        raise BadCell(column=column, value=text, detail='it is not a list such as ["unit assumed"]') from error
    return tuple(flags)


def _filled(column: str, cells: Cells) -> str:
    text = cells.get(column, "")
    if not text.strip():
        raise BadCell(column=column, value=text, detail="the cell is empty, fill it or leave the row out")
    return text


def _said(error: ValueError) -> str:
    return f"{error.what}. {error.mend.rstrip('.')}" if isinstance(error, Mistake) else str(error)
