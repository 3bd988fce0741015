"""The rows of a weather file, and the one way a bad file is refused."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from underlid.weather.series import HOUR_S, Floats, Weather

#: Air temperatures outside this were never measured at the ground (-89.2, 56.7 degC are the WMO records, recalled).
AIR_LIMITS_C = (-90.0, 60.0)

#: Longest stretch one file may cover: a mistyped year otherwise asks for a grid that fills the memory.
MAX_YEARS = 200

#: Largest file that is read, in bytes: some four years of a reading a minute.
MAX_BYTES = 50_000_000

#: Years a weather file may name: a mistyped one is better refused than believed.
YEARS = range(1800, 2200)

MISSING = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--", "m", "missing"})

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?")


class WeatherFileError(ValueError):
    """A weather file cannot be read: which file, which line and column, what was found, how to mend it."""

    def __init__(self, path: Path, found: str, *, line: int | None = None, column: str | None = None) -> None:
        self.path, self.line, self.column = path, line, column
        where = "".join((f", line {line}" if line else "", f", column {column}" if column else ""))
        super().__init__(f"{path.name or path}{where}: {found}")


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a file: its line number, counted from 1, and its cells without surrounding blanks."""

    path: Path
    line: int
    cells: tuple[str, ...]

    def error(self, found: str, column: str | None = None) -> WeatherFileError:
        """The refusal of this row."""
        return WeatherFileError(self.path, found, line=self.line, column=column)

    def number(self, index: int, column: str, *, low: float, high: float, missing_from: float = np.inf) -> float:
        """The number in a cell, NaN for an empty one or for a missing code of `missing_from` or more.

        A decimal comma is understood.
        """
        text = self.cells[index]
        if text.lower() in MISSING:
            return float("nan")
        if not _NUMBER.fullmatch(text):
            raise self.error(f"found {text[:40]!r} where a number belongs; mend the cell or leave it empty.", column)
        value = float(text.replace(",", "."))
        if value >= missing_from or value <= -9900.0:  # -9900 is the missing code of TMY3
            return float("nan")
        if not low <= value <= high:
            raise self.error(
                f"found {text[:40]}, outside {low:g} to {high:g}; mend the cell or leave it empty.", column
            )
        return value

    def whole(self, index: int, column: str, low: int, high: int) -> int:
        """The whole number in a cell, which may not be empty."""
        value = self.number(index, column, low=low, high=high)
        if value != value or value != int(value):
            raise self.error(f"found {self.cells[index][:40]!r} where a whole number belongs; mend the cell.", column)
        return int(value)


def read_text(path: Path) -> str:
    """The file's text, or a refusal if it is not UTF-8 text that can be read."""
    try:
        with path.open("rb") as source:
            data = source.read(MAX_BYTES + 1)
    except OSError as problem:
        reason = problem.strerror or "it could not be opened"
        raise WeatherFileError(path, f"the file cannot be read ({reason}); check its name and permissions.") from None
    if len(data) > MAX_BYTES:
        raise WeatherFileError(path, f"the file is larger than {MAX_BYTES // 1_000_000} MB; export fewer years.")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise WeatherFileError(path, "the text is UTF-16; save it again as “CSV UTF-8”.")
    if b"\0" in data or data.startswith((b"PK\x03\x04", b"\x1f\x8b", b"%PDF")):
        raise WeatherFileError(path, "this is not a text file; unpack it, or export it as CSV, and try again.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise WeatherFileError(
            path,
            f"found byte 0x{data[problem.start]:02x}, which is not UTF-8; save it again as “CSV UTF-8”.",
            line=line,
        ) from None
    if not text.strip():
        raise WeatherFileError(path, "the file is empty; fetch or export it again.")
    return text


def read_rows(path: Path, text: str, delimiter: str = ",") -> Iterator[Row]:
    """The rows of delimited text; blank lines and lines that start with # are passed over."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    before = 0
    try:
        for cells in reader:
            line, before = before + 1, reader.line_num
            stripped = tuple(cell.strip() for cell in cells)
            if any(stripped) and not stripped[0].startswith("#"):
                yield Row(path, line, stripped)
    except csv.Error as problem:
        found = f"the row cannot be split into cells ({problem}); look for a stray quotation mark."
        raise WeatherFileError(path, found, line=before + 1) from None


def on_grid(
    path: Path, times: list[int], columns: dict[str, list[float]]
) -> tuple[NDArray[np.int64], dict[str, Floats]]:
    """Rising whole-hour times and their columns on an unbroken hourly grid, NaN where no row stands."""
    stamps = np.asarray(times, dtype=np.int64)
    years = (stamps[-1] - stamps[0]) / (365.25 * 24 * HOUR_S)
    if years > MAX_YEARS:
        raise WeatherFileError(path, f"the rows span {years:.0f} years; look for a mistyped year.")
    grid = np.arange(stamps[0], stamps[-1] + HOUR_S, HOUR_S, dtype=np.int64)
    where = (stamps - stamps[0]) // HOUR_S
    out: dict[str, Floats] = {}
    for name, values in columns.items():
        out[name] = np.full(len(grid), np.nan)
        out[name][where] = values
    return grid, out


def as_weather(
    path: Path,
    times: list[int],
    columns: dict[str, list[float]],
    *,
    source: str,
    utc_offset_h: float,
    typical: bool = False,
    latitude: float | None = None,
    longitude: float | None = None,
    notes: tuple[str, ...] = (),
) -> Weather:
    """The Weather of a file's rows; a column without a single value is left out."""
    if not times:
        raise WeatherFileError(path, "there are headings but no rows of data; fetch or export the file again.")
    grid, on = on_grid(path, times, columns)
    air = on.pop("air_c")
    if np.isnan(air).all():
        raise WeatherFileError(path, "not one row holds an air temperature; check the temperature column.")
    kept = {name: values for name, values in on.items() if not np.isnan(values).all()}
    return Weather(
        time_utc=grid,
        air_c=air,
        filled=np.zeros(len(grid), dtype=np.bool_),
        source=source,
        typical=typical,
        utc_offset_h=utc_offset_h,
        latitude=latitude,
        longitude=longitude,
        wind_m_s=kept.get("wind_m_s"),
        humidity_pct=kept.get("humidity_pct"),
        radiation_w_m2=kept.get("radiation_w_m2"),
        notes=notes,
    )
