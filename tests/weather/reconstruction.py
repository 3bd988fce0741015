"""How far the methods are from real hours: the tables in docs/weather.md.

    python -m tests.weather.reconstruction    # writes the tables into docs/weather.md

Nothing here is random, so the same code and data give the same tables.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from underlid.weather import Weather, cesaraccio, fill_gaps, parton_logan, sun_times
from underlid.weather.hourly import Method
from underlid.weather.series import Floats

from .samples import GREENSBORO, SAND_POINT, newark, pvlib_year

DOCS = Path(__file__).parents[2] / "docs" / "weather.md"
METHODS: dict[str, Method] = {"Parton & Logan 1981": parton_logan, "Cesaraccio et al. 2001": cesaraccio}
STATIONS: dict[str, Callable[[], Weather]] = {
    "Sand Point AK, typical year": lambda: pvlib_year(SAND_POINT),
    "Greensboro NC, typical year": lambda: pvlib_year(GREENSBORO),
    "Newark NJ, 2013": newark,
}
GAP_HOURS = (3, 6, 9, 12, 24, 48)


@dataclass(frozen=True)
class Score:
    """Errors of made hours against read hours [degC]; winter is December to February."""

    days: int
    rmse: float
    bias: float
    winter_rmse: float
    squares: Floats


def whole_days(weather: Weather) -> tuple[Floats, Floats]:
    """Hours 0 to 23 of each local day, (days, 24), NaN in days that lack an hour; and days of the year."""
    local = weather.local_time
    hour = (local - local.astype("datetime64[D]")).astype(np.int64) // 3600
    start = int(np.flatnonzero(hour == 0)[0])
    count = (len(hour) - start) // 24
    air = weather.air_c[start : start + 24 * count].reshape(count, 24).copy()
    air[np.isnan(air).any(axis=1)] = np.nan
    days = local[start : start + 24 * count : 24].astype("datetime64[D]")
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) + 1
    return air, of_year


def made_again(weather: Weather, method: Method) -> tuple[Floats, Floats, Floats]:
    """Read hours, the hours made from their daily minimum and maximum, and the days of the year."""
    air, of_year = whole_days(weather)
    assert weather.latitude is not None
    assert weather.longitude is not None
    sun = sun_times(of_year.astype(np.int64), weather.latitude, weather.longitude, weather.utc_offset_h)
    made = method(air.min(axis=1), air.max(axis=1), *sun).reshape(air.shape)
    return air, made, of_year


def score(weather: Weather, method: Method) -> Score:
    air, made, of_year = made_again(weather, method)
    known = ~np.isnan(air).any(axis=1)
    error = (made - air)[known]
    winter = ((of_year < 60) | (of_year > 334))[known]
    return Score(
        days=int(known.sum()),
        rmse=float(np.sqrt(np.mean(error**2))),
        bias=float(error.mean()),
        winter_rmse=float(np.sqrt(np.mean(error[winter] ** 2))),
        squares=error.ravel() ** 2,
    )


def hours_table() -> str:
    lines = ["| station | days | method | RMSE °C | bias °C | RMSE Dec-Feb °C |", "|---|---|---|---|---|---|"]
    for station, weather in STATIONS.items():
        for name, method in METHODS.items():
            s = score(weather(), method)
            lines.append(f"| {station} | {s.days} | {name} | {s.rmse:.2f} | {s.bias:+.2f} | {s.winter_rmse:.2f} |")
    for name, method in METHODS.items():
        squares = np.concatenate([score(weather(), method).squares for weather in STATIONS.values()])
        lines.append(f"| all three | {len(squares) // 24} | {name} | {np.sqrt(squares.mean()):.2f} | | |")
    return "\n".join(lines)


def fill_rmse(weather: Weather, hours: int, *, linear: bool) -> float:
    """RMSE of filling a gap of `hours` cut into whole weather at every 37th hour, one gap at a time."""
    squares = []
    for first in range(100, len(weather.air_c) - 200, 37):
        piece = slice(first - 96, first + hours + 96)
        air = weather.air_c[piece].copy()
        if np.isnan(air).any():
            continue
        air[96 : 96 + hours] = np.nan
        cut = replace(
            weather,
            time_utc=weather.time_utc[piece],
            air_c=air,
            filled=weather.filled[piece],
            wind_m_s=None,
            humidity_pct=None,
            radiation_w_m2=None,
        )
        made = fill_gaps(cut, max_hours=hours, linear_hours=hours if linear else 0).air_c
        squares.append(np.mean((made - weather.air_c[piece])[96 : 96 + hours] ** 2))
    return float(np.sqrt(np.mean(squares)))


def gaps_table() -> str:
    head = " | ".join(f"{hours} h" for hours in GAP_HOURS)
    lines = [f"| station | filled by | {head} |", "|---|---|" + "---|" * len(GAP_HOURS)]
    for station, weather in STATIONS.items():
        for name, linear in (("a straight line", True), ("the daily course", False)):
            cells = " | ".join(f"{fill_rmse(weather(), hours, linear=linear):.2f}" for hours in GAP_HOURS)
            lines.append(f"| {station} | {name} | {cells} |")
    return "\n".join(lines)


TABLES = {"hours": hours_table, "gaps": gaps_table}


def with_tables(text: str) -> str:
    """The page with each table between its marks made anew."""
    for name, table in TABLES.items():
        before, found = f"<!-- table: {name} -->\n", "<!-- end -->"
        head, rest = text.split(before)
        text = head + before + table() + "\n" + rest[rest.index(found) :]
    return text


if __name__ == "__main__":
    DOCS.write_text(with_tables(DOCS.read_text(encoding="utf-8")), encoding="utf-8")
