"""Trim a TMY3 file to the columns underlid reads, in the TMY3 layout.

    python tools/trim_weather.py 703165TY.csv src/underlid/weather/data/sand_point.csv

The station line, the headings, the rows and every kept cell stay as they were, so the result is
still read as TMY3; only whole columns are left out.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

KEPT = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "GHI (W/m^2)", "Dry-bulb (C)", "RHum (%)", "Wspd (m/s)")


def trim(source: Path, target: Path) -> None:
    """Write the kept columns of `source` to `target`."""
    text = source.read_text(encoding="ascii")
    station, rest = text.split("\n", 1)
    rows = list(csv.reader(rest.splitlines()))
    keep = [rows[0].index(heading) for heading in KEPT]
    lines = [station.rstrip("\r"), *(",".join(row[i] for i in keep) for row in rows)]
    target.write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    trim(Path(sys.argv[1]), Path(sys.argv[2]))
