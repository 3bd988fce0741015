"""A study of one bin: its journal and the weather in, the fitted bin and its outlook out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid import __version__
from underlid.fit.evidence import (
    Evidence,
    Situation,
    food_kg,
    hours_needed,
    moisture_evidence,
    situation,
    temperature_evidence,
    water_kg,
)
from underlid.fit.outlook import Outlook, outlook
from underlid.fit.posterior import Posterior, Prior, fit
from underlid.heat.model import Drive
from underlid.records import AnyEntry, Bin
from underlid.weather.climate import climate, members
from underlid.weather.series import HOUR_S, Weather, first_hour, lay_over
from underlid.worms.species import Species, UnknownSpecies, species

FORECAST_DAYS = 7  # a file is believed as a forecast for this long, then past years take over: our judgement
#: What a fit of the bedding is made by: all of a package, or some of its modules.
MADE_BY = (("bedding", None), ("heat", None), ("fit", frozenset({"evidence", "likelihood", "posterior", "sampler"})))
METHOD = "full field with freezing, reduced while thawed"  # the model in words
ENCLOSED = {
    "indoors": "indoors: give the room's air as the weather",
    "unheated shed": "in a shed, where nights are milder",
}
FAR_DEGREES = 2.0  # of latitude or longitude beyond which weather counts as of another place: our judgement
OTHER_SPECIES = "Eisenia fetida"  # stands in where a species has no facts yet


class WeatherDoesNotFit(ValueError):
    """The weather does not cover the time that the bin needs."""


@dataclass(frozen=True, slots=True)
class Case:
    """Everything a fit of one bin rests on, laid on one hourly grid.

    time_utc : (hours,) seconds; drive.air_c : observed, forecast, and NaN beyond; members_c : (members, hours)
    now_index : last hour whose weather is observed; forecast_until : first hour resting on past years alone
    """

    bin: Bin
    entries: tuple[AnyEntry, ...]
    now: datetime
    situation: Situation
    evidence: Evidence
    moist: Evidence
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
        seen = self.drive.until(hours_needed(self.evidence, self.moist))
        digest = hashlib.blake2b(digest_size=16)
        digest.update(repr((__version__, seed)).encode() + model_text(MADE_BY))
        digest.update(repr((self.situation, seen.start_c, self.evidence.probes)).encode())
        for rows in (self.evidence, self.moist):
            for array in (
                rows.low, rows.high, rows.about, rows.reading, rows.hour, rows.probe, rows.weight, rows.worth
            ):  # fmt: skip
                digest.update(np.ascontiguousarray(array).tobytes())
        for name in ("air_c", "food_kg", "wind_m_s", "humidity_pct", "radiation_w_m2", "water_kg"):
            digest.update(name.encode() + np.ascontiguousarray(getattr(seen, name)).astype(float).tobytes())
        return digest.hexdigest()


@cache
def model_text(made_by: tuple[tuple[str, frozenset[str] | None], ...]) -> bytes:
    """A digest of a model's own source and data: a fit is remembered only for the model that made it.

    made_by : packages, each with those of its modules that count, None for all
    """
    digest = hashlib.blake2b(digest_size=16)
    for package, names in made_by:
        for path in sorted(Path(str(files(f"underlid.{package}"))).rglob("*")):
            if path.suffix in (".py", ".toml") and (names is None or path.stem in names):
                digest.update(path.read_bytes())
    return digest.digest()


@dataclass(frozen=True, slots=True)
class Study:
    """A case with its answer; `notes` say what was taken for granted."""

    case: Case
    posterior: Posterior
    outlook: Outlook
    notes: tuple[str, ...] = field(default=())

    @property
    def careful(self) -> tuple[str, ...]:
        """What must be said before any figure that rests on this is read."""
        return self.posterior.notes

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
    tz = ZoneInfo(bin.timezone)
    notes = [*weather.notes]
    if now <= bin.started.start:
        raise WeatherDoesNotFit(f"Bin {bin.name!r} was started after the present; give a later --now.")
    if bin.siting in ENCLOSED:
        notes.append(f"The weather is taken as the air around the bin, though it stands {ENCLOSED[bin.siting]}.")
    if weather.typical:
        past = past or (weather,)
        weather = lay_over(weather, bin.started.start, until + timedelta(hours=1))
        notes.append("The weather is a typical year laid over these dates: what the air really did then may differ.")
    span = _span(bin, weather, now, until, bool(past), tz, notes)
    time_utc = span.time_utc
    air = _on(time_utc, weather, weather.air_c)
    _refuse_gaps(air[: span.forecast_until], time_utc, weather, tz)
    past_air = np.empty((0, len(time_utc)))
    if span.forecast_until < len(time_utc):
        years = climate(past)
        past_air = members(years, datetime.fromtimestamp(int(time_utc[0]), UTC), len(time_utc))
        notes += [*years.notes, *_far_away(weather, past)]
    placed = situation(bin)
    kept = tuple(entry for entry in entries if entry.when.start <= now)
    food, food_notes = food_kg(kept, time_utc)
    seen = slice(0, span.now_index + 1)
    wind = _filled(time_utc, weather, weather.wind_m_s, seen)
    if wind is None:
        notes.append("The weather has no wind: calm air is assumed, and the readings correct what that gets wrong.")
    humidity = _filled(time_utc, weather, weather.humidity_pct, seen)
    if humidity is None:
        notes.append("The weather has no humidity: 80 % is assumed, which matters to drying only.")
    sun = _filled(time_utc, weather, weather.radiation_w_m2, seen)
    if placed.vessel.siting == "outdoors":
        what = (
            "reach its lid and sides, the sky as if clear half of the time"
            if sun is not None
            else "are left out, as the weather has no radiation"
        )
        notes.append(f"The bin stands in the open: sun and sky {what}.")
    if span.forecast_until < len(time_utc) and (wind is not None or humidity is not None):
        notes.append("Beyond the forecast, wind, humidity and sun are the mean of the hours seen so far.")
    try:
        kind = species(bin.species)
    except UnknownSpecies as unknown:
        kind = species(OTHER_SPECIES)
        notes.append(f"{unknown} {OTHER_SPECIES} stands in.")
    return Case(
        bin, kept, now, placed, temperature_evidence(kept, placed.vessel, time_utc[seen]),
        moisture_evidence(kept, time_utc[seen]), Prior(placed),
        Drive(
            air, food, 0.0 if wind is None else wind, float(air[: min(48, span.forecast_until)].mean()), humidity, sun,
            water_kg(kept, time_utc),
        ),
        time_utc, span.now_index, span.forecast_until, past_air, kind, weather.source, weather.typical,
        (*placed.notes, *food_notes, *notes),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Span:
    time_utc: NDArray[np.int64]
    now_index: int
    forecast_until: int


def _span(
    bin: Bin, weather: Weather, now: datetime, until: datetime, past: bool, tz: ZoneInfo, notes: list[str]
) -> _Span:
    """The hours from the bin's start to `until`, and where observed weather and forecast end in them."""
    if until < now:
        raise WeatherDoesNotFit(f"The last day to look at, {until:%-d %b %Y}, is before the present; give a later one.")
    begins, ends = int(weather.time_utc[0]), int(weather.time_utc[-1])
    start = first_hour(bin.started.start, weather.utc_offset_h)
    first, now_s = max(start, begins), int(now.timestamp())
    if now_s < start + HOUR_S:
        raise WeatherDoesNotFit(f"Bin {bin.name!r} has no whole hour behind it yet; ask again in an hour or two.")
    if now_s < first + HOUR_S:
        raise WeatherDoesNotFit(
            f"The weather from {weather.source} begins {_day(begins, tz)}, but bin {bin.name!r} needs it before "
            f"{_day(now_s, tz)}; give a file that starts earlier."
        )
    if first > start + HOUR_S:
        notes.append(f"The weather begins {_day(first, tz)}, after the bin: the bedding's start then is a guess.")
    if ends < now_s:
        notes.append(f"The weather ends {_day(ends, tz)}: what came later is not observed.")
    forecast_ends = min(ends, now_s + FORECAST_DAYS * 24 * HOUR_S)
    last = int(until.timestamp())
    if not past and last > forecast_ends:
        notes.append(f"No past years were given, so the outlook ends with the weather on {_day(forecast_ends, tz)}.")
        last = forecast_ends
    time_utc = np.arange(first, last + 1, HOUR_S, dtype=np.int64)
    if len(time_utc) < 3:
        raise WeatherDoesNotFit(
            f"The weather from {weather.source} covers {_day(begins, tz)} to {_day(ends, tz)}, which leaves no hours "
            f"for bin {bin.name!r} from {_day(start, tz)}; give weather of that time."
        )
    return _Span(
        time_utc,
        now_index=int(min(max(0, (min(now_s, ends) - first) // HOUR_S), len(time_utc) - 1)),
        forecast_until=int(min(len(time_utc), (forecast_ends - first) // HOUR_S + 1)),
    )


def study(case: Case, posterior: Posterior) -> Study:
    """The outlook of a case whose posterior is known."""
    result = outlook(
        case.prior, posterior, case.drive, case.time_utc, case.now_index, case.forecast_until,
        case.members_c, case.species.band_c, case.species.widest_band_c,
    )  # fmt: skip
    return Study(case, posterior, result, (*case.notes, *case.evidence.left_out, *case.moist.left_out))


def fit_case(case: Case, seed: int, progress: Callable[[float], None] = lambda done: None) -> Posterior:
    """Fit a case; the same case and seed give the same draws."""
    return fit(case.prior, case.evidence, case.moist, case.drive, seed, progress=progress)


def _on(time_utc: NDArray[np.int64], weather: Weather, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """A series of the weather on other hours, NaN where it has none."""
    at = (time_utc - weather.time_utc[0]) // HOUR_S
    inside = (at >= 0) & (at < len(weather.time_utc))
    found = np.full(len(time_utc), np.nan)
    found[inside] = values[at[inside]]
    return found


def _filled(
    time_utc: NDArray[np.int64], weather: Weather, values: NDArray[np.float64] | None, seen: slice
) -> NDArray[np.float64] | None:
    """A series of the weather on other hours; where it has none, the mean of the hour of the day as seen so far."""
    if values is None:
        return None
    found = _on(time_utc, weather, values)
    known = np.isfinite(found[seen])
    if not known.any():
        return None
    hour = (time_utc // HOUR_S) % 24
    count = np.bincount(hour[seen][known], minlength=24)
    mean = np.bincount(hour[seen][known], found[seen][known], minlength=24) / np.maximum(count, 1)
    mean = np.where(count > 0, mean, found[seen][known].mean())
    return np.where(np.isfinite(found), found, mean[hour])


def _refuse_gaps(air: NDArray[np.float64], time_utc: NDArray[np.int64], weather: Weather, tz: ZoneInfo) -> None:
    missing = np.flatnonzero(~np.isfinite(air))
    if len(missing):
        hours = "1 hour" if len(missing) == 1 else f"{len(missing)} hours"
        raise WeatherDoesNotFit(
            f"The air temperature from {weather.source} is missing for {hours}, the first on "
            f"{_day(time_utc[missing[0]], tz)}; fill short gaps on request (--fill-gaps HOURS) or give a fuller file. "
            "A single hour missing in spring or autumn may be the change of the clocks."
        )


def _far_away(weather: Weather, past: Sequence[Weather]) -> list[str]:
    """A sentence for each past file that is of another place, where both say where they are."""
    said = []
    for other in past:
        if None in (weather.latitude, weather.longitude, other.latitude, other.longitude):
            continue
        apart = max(abs(weather.latitude - other.latitude), abs(weather.longitude - other.longitude))  # type: ignore[operator]
        if apart > FAR_DEGREES:
            said.append(f"The past years from {other.source} are of another place: their winters may not be yours.")
    return said


def _day(seconds: float, tz: ZoneInfo) -> str:
    return datetime.fromtimestamp(float(seconds), tz).strftime("%-d %b %Y %H:%M")
