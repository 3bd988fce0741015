"""How heavy one worm is at an age: curves fitted to published series (`data/growth.csv`), by food and temperature.

The curve is the logistic that Neuhauser, Hartenstein & Kaplan (1980) describe: slow, fastest at `bend` where the worm
has half of its final mass, then levelling off. A Gompertz curve fits three of the seven series better and four worse.
The series are of well-fed, uncrowded animals: read them as a limit, not as what a bin does.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.worms.facts import DamagedFacts

COLUMNS = ("species", "temperature_C", "food", "age_day", "live_mass_g", "source")


@dataclass(frozen=True, slots=True)
class Series:
    """One published series: live mass [g] at ages [days], at a bedding temperature [degC] on a food."""

    species: str
    bedding_c: float
    food: str
    age_days: tuple[float, ...]
    mass_g: tuple[float, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Growth:
    """A fitted curve: final mass [g], age at half of it and time scale [days]; `misfit_g` is the rms left over."""

    series: Series
    final_g: float
    bend_days: float
    time_days: float
    misfit_g: float

    def mass_g(self, age_days: ArrayLike) -> NDArray[np.float64]:
        """Live mass [g] at ages [days] of any shape."""
        return _logistic(np.asarray(age_days, dtype=np.float64), self.final_g, self.bend_days, self.time_days)

    def age_at(self, mass_g: float) -> float:
        """Age [days] at which that mass [g], above zero, is reached; inf where it never is."""
        if mass_g >= self.final_g:
            return math.inf
        return self.bend_days + self.time_days * math.log(mass_g / (self.final_g - mass_g))


def fit(series: Series) -> Growth:
    """The curve that leaves the smallest sum of squared differences in mass."""
    from scipy.optimize import curve_fit

    age, mass = np.array(series.age_days), np.array(series.mass_g)
    start = (max(float(mass.max()), 0.02), float(age.mean()), 20.0)
    try:
        found, _ = curve_fit(_logistic, age, mass, p0=start, bounds=([0.01, -100, 1], [20, 10_000, 1000]))
    except RuntimeError as error:  # no end in sight
        raise DamagedFacts(f"growth.csv: {series.species} on {series.food} follows no curve of growth.") from error
    final, bend, time = (float(x) for x in found)
    misfit = float(np.sqrt(np.mean((_logistic(age, final, bend, time) - mass) ** 2)))
    return Growth(series, final, bend, time, misfit)


def growths(species_name: str) -> tuple[Growth, ...]:
    """The curves of a species by its full name, coldest first; none where nothing is published."""
    genus, epithet = species_name.split()
    return tuple(fit(one) for one in all_series() if one.species == f"{genus[0]}. {epithet}")


@cache
def all_series() -> tuple[Series, ...]:
    """Every published series, coldest first."""
    return read_series(files(__package__).joinpath("data/growth.csv").read_text("utf-8").splitlines(), "growth.csv")


def read_series(lines: Iterable[str], file_name: str) -> tuple[Series, ...]:
    """Series from the lines of a CSV file; a sentence names the row that is wrong."""
    told = (line for line in lines if line.strip() and not line.startswith("#"))
    try:
        header, *rows = list(csv.reader(told)) or [[]]
    except csv.Error as error:
        raise DamagedFacts(f"{file_name} is not valid CSV: {error}.") from error
    if tuple(header) != COLUMNS:
        raise DamagedFacts(f"{file_name}: its first row must be {','.join(COLUMNS)}.")
    points: dict[tuple[str, float, str, str], list[tuple[float, float]]] = {}
    for row in rows:
        key, point = _point(row, file_name)
        points.setdefault(key, []).append(point)
    made = []
    for (kind, at_c, food, source), found in points.items():
        if len(found) < 4 or any(last[0] <= first[0] for first, last in pairwise(found)):
            raise DamagedFacts(f"{file_name}: {kind} on {food} at {at_c:g} degC needs four rows, from young to old.")
        ages, masses = zip(*found, strict=True)
        made.append(Series(kind, at_c, food, ages, masses, source))
    return tuple(sorted(made, key=lambda one: (one.species, one.bedding_c)))


def _point(row: list[str], file_name: str) -> tuple[tuple[str, float, str, str], tuple[float, float]]:
    """Which series a row belongs to, and its age [days] and mass [g]."""
    try:
        kind, bedding, food, age, mass, source = row
        at_c, age_days, mass_g = float(bedding), float(age), float(mass)
    except ValueError:
        raise DamagedFacts(f"{file_name}: {','.join(row)!r} is not six columns with three numbers.") from None
    if not (-10 <= at_c <= 45 and 0 <= age_days < 10_000 and 0 <= mass_g < 50 and kind and source.strip()):
        raise DamagedFacts(f"{file_name}: {','.join(row)!r} has a number that is not possible, or no source.")
    return (kind, at_c, food, source), (age_days, mass_g)


def _logistic(age: NDArray[np.float64], final: float, bend: float, time: float) -> NDArray[np.float64]:
    return np.asarray(final / (1.0 + np.exp(-(age - bend) / time)), dtype=np.float64)
