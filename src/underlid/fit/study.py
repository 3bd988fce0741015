"""A study of one bin: its journal and the weather in, the fitted bin and its outlook out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from underlid.fit.evidence import HOUR_S, Situation, TemperatureEvidence, food_kg, situation, temperature_evidence
from underlid.fit.outlook import Outlook, outlook
from underlid.fit.posterior import Posterior, Prior, fit
from underlid.heat.reduced import Drive
from underlid.records import AnyEntry, Bin
from underlid.weather.climate import climate, members
from underlid.weather.series import Weather, lay_over
from underlid.worms.species import Species, UnknownSpecies, species

FORECAST_DAYS = 7  # a weather file is believed as a forecast for this long, then past years take over
METHOD = "reduced-1"  # changes whenever the same inputs would give other draws; part of a fit's key
OTHER_SPECIES = "Eisenia fetida"  # stands in where a species has no facts yet


class WeatherDoesNotFit(ValueError):
    """The weather does not cover the time that the bin needs."""


@dataclass(frozen=True, slots=True)
class Case:
    """Everything a fit of one bin rests on, laid on one hourly grid.

    time_utc : (hours,) seconds; air_c : (hours,) observed, forecast, and NaN beyond; members_c : (members, hours)
    now_index : last hour whose weather is observed; forecast_until : first hour resting on past years alone
    """

    bin: Bin
    entries: tuple[AnyEntry, ...]
    now: datetime
    situation: Situation
    evidence: TemperatureEvidence
    prior: Prior
    drive: Drive
    time_utc: NDArray[np.int64]
    now_index: int
    forecast_until: int
    members_c: NDArray[np.float64]
    species: Species
    weather_source: str
    typical: bool
    notes: tuple[str, ...]

    def key(self, seed: int) -> str:
        """A digest of what the posterior depends on: the same key means the same draws."""
        seen = slice(0, self.now_index + 1)
        digest = hashlib.blake2b(digest_size=16)
        digest.update(repr((METHOD, seed, self.situation, self.drive.wind_m_s, self.drive.start_c)).encode())
        digest.update(repr(self.evidence.probes).encode())
        for array in (
            self.evidence.low_c, self.evidence.high_c, self.evidence.about, self.evidence.reading, self.evidence.hour,
            self.evidence.probe, self.evidence.weight, self.drive.air_c[seen], self.drive.food_kg[seen],
        ):  # fmt: skip
            digest.update(np.ascontiguousarray(array).tobytes())
        return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class Study:
    """A case with its answer."""

    case: Case
    posterior: Posterior
    outlook: Outlook
    notes: tuple[str, ...] = field(default=())

    def index(self, moment: datetime) -> int:
        """The hour of the grid nearest to a moment, kept within it."""
        hour = round((moment.timestamp() - int(self.case.time_utc[0])) / HOUR_S)
        return int(np.clip(hour, 0, len(self.case.time_utc) - 1))


def lay_out(
    bin: Bin,
    entries: Sequence[AnyEntry],
    weather: Weather,
    now: datetime,
    until: datetime,
    past: Sequence[Weather] = (),
) -> Case:
    """Lay a bin's records and the weather on one hourly grid from the bin's start to `until`.

    `past` are earlier years for the time beyond the forecast; a typical-year file serves as its own.
    Raises WeatherDoesNotFit with what is missing.
    """
    notes: list[str] = []
    start = bin.started.start
    if weather.typical:
        past = past or (weather,)
        weather = lay_over(weather, start, until + timedelta(hours=1))
        notes.append("The weather is a typical year laid over these dates: what the air really did then may differ.")
    first = max(_ceil_hour(start), int(weather.time_utc[0]))
    if first > _ceil_hour(start) + HOUR_S:
        notes.append(f"The weather begins {_day(first)}, after the bin: the bedding's start then is a guess.")
    now_s = int(_seconds(now) // HOUR_S * HOUR_S)
    if now_s < first + HOUR_S:
        raise WeatherDoesNotFit(
            f"The weather from {weather.source} begins {_day(first)}, but it is needed before {_day(now_s)} for "
            f"bin {bin.name!r}; give a file that starts earlier."
        )
    weather_end = int(weather.time_utc[-1])
    if weather_end < now_s:
        notes.append(f"The weather ends {_day(weather_end)}: later hours rest on past years.")
    members_from = min(weather_end, now_s + FORECAST_DAYS * 24 * HOUR_S)
    last = int(_seconds(until) // HOUR_S * HOUR_S)
    if not past and last > members_from:
        notes.append(f"No past years were given, so the outlook ends with the forecast on {_day(members_from)}.")
        last = members_from
    time_utc = np.arange(first, last + 1, HOUR_S, dtype=np.int64)
    if len(time_utc) < 3:
        raise WeatherDoesNotFit(
            f"The weather from {weather.source} covers {_day(weather.time_utc[0])} to {_day(weather_end)}, which "
            f"leaves no hours for bin {bin.name!r} from {_day(_ceil_hour(start))}; give weather of that time."
        )
    air = _on(time_utc, weather, weather.air_c)
    now_index = min(max(0, (min(now_s, weather_end) - first) // HOUR_S), len(time_utc) - 1)
    forecast_until = min(len(time_utc), (members_from - first) // HOUR_S + 1)
    _refuse_gaps(air[:forecast_until], time_utc, weather)
    past_air = np.empty((0, len(time_utc)))
    if forecast_until < len(time_utc):
        years = climate(past)
        past_air = members(years, datetime.fromtimestamp(first, UTC), len(time_utc))
        notes.extend(years.notes)
    placed = situation(bin)
    kept = tuple(entry for entry in entries if _seconds(entry.when.start) <= now_s)
    food, food_notes = food_kg(kept, time_utc)
    # Of the hours seen only, so that looking further ahead does not change what the past is taken to be.
    winds = np.full(1, np.nan)
    if weather.wind_m_s is not None:
        winds = _on(time_utc, weather, weather.wind_m_s)[: now_index + 1]
    wind = 0.0
    if np.isfinite(winds).any():
        wind = float(np.nanmean(winds))
    else:
        notes.append("The weather has no wind: calm air is assumed and the fit corrects it.")
    try:
        kind = species(bin.species)
    except UnknownSpecies as unknown:
        kind = species(OTHER_SPECIES)
        notes.append(f"{unknown} {OTHER_SPECIES} stands in.")
    evidence = temperature_evidence(kept, placed.vessel, time_utc[: now_index + 1])
    return Case(
        bin, kept, now, placed, evidence, Prior(placed, wind),
        Drive(air, food, wind, float(air[: min(48, forecast_until)].mean())),
        time_utc, now_index, forecast_until, past_air, kind, weather.source, weather.typical,
        (*placed.notes, *food_notes, *notes),
    )  # fmt: skip


def study(case: Case, posterior: Posterior) -> Study:
    """The outlook of a case whose posterior is known."""
    result = outlook(
        case.prior, posterior, case.drive, case.time_utc, case.now_index, case.forecast_until,
        case.members_c, case.species.band_c,
    )  # fmt: skip
    return Study(case, posterior, result, (*case.notes, *posterior.notes))


def fit_case(case: Case, seed: int, progress: Callable[[float], None] = lambda done: None) -> Posterior:
    """Fit a case; the same case and seed give the same draws."""
    return fit(case.prior, case.evidence, case.drive, seed, progress=progress)


def _on(time_utc: NDArray[np.int64], weather: Weather, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """A series of the weather on other hours, NaN where it has none."""
    at = (time_utc - weather.time_utc[0]) // HOUR_S
    inside = (at >= 0) & (at < len(weather.time_utc))
    found = np.full(len(time_utc), np.nan)
    found[inside] = values[at[inside]]
    return found


def _refuse_gaps(air: NDArray[np.float64], time_utc: NDArray[np.int64], weather: Weather) -> None:
    missing = np.flatnonzero(~np.isfinite(air))
    if len(missing):
        raise WeatherDoesNotFit(
            f"The air temperature from {weather.source} is missing for {len(missing)} hours, the first on "
            f"{_day(time_utc[missing[0]])}; fill short gaps on request (--fill-gaps HOURS) or give a fuller file."
        )


def _seconds(moment: datetime) -> float:
    return moment.timestamp()


def _ceil_hour(moment: datetime) -> int:
    return int(-(-moment.timestamp() // HOUR_S) * HOUR_S)


def _day(seconds: float) -> str:
    return datetime.fromtimestamp(float(seconds), UTC).strftime("%Y-%m-%d %H:%M UTC")
