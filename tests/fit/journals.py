"""Invented journals from the heat model itself, and their posterior without a sampler: weighted draws of the prior.

The truth of each is one draw of the prior, its readings stray as the model has it, and the words are as vague as the
likelihood takes them, so whatever judges a fit must find that all is well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np

from tests.update.sample import BIN
from underlid.fit.likelihood import INSTRUMENT_K, log_likelihood, log_likelihood_of_moisture
from underlid.fit.outlook import stray
from underlid.fit.posterior import PARAMETERS, Posterior
from underlid.fit.study import Case, Study, lay_out
from underlid.heat.model import simulate, standard_probes
from underlid.quantity.amount import NINETY, VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import AnyEntry, Measured, Place, Reading
from underlid.weather.series import Weather

ZONE = ZoneInfo("America/New_York")
BEGIN = datetime(2025, 9, 1, tzinfo=ZONE)
DAYS = 24
POOL = 3000
SPOTS: tuple[Place, ...] = ("middle", "edge", "surface")
HOME = replace(BIN, started=VagueTime(BEGIN, BEGIN, "exact", "1 Sep"))
INF = float("inf")


def weather() -> Weather:
    """A mild autumn: far from freezing, where stepping is quick."""
    hours = (DAYS + 10) * 24
    rng = np.random.default_rng(0)
    fronts = np.repeat(rng.normal(0, 3, hours // 48 + 1), 48)[:hours]
    air_c = 13 + fronts + 4 * np.sin(2 * np.pi * (np.arange(hours) - 9) / 24)
    time_utc = int(BEGIN.timestamp()) + 3600 * np.arange(hours, dtype=np.int64)
    return Weather(time_utc, air_c, np.zeros(hours, bool), "an invented autumn", utc_offset_h=-5.0)


def laid(entries: tuple[AnyEntry, ...], days: int = DAYS) -> Case:
    now = BEGIN + timedelta(days=days)
    return lay_out(HOME, entries, weather(), now, now)


@dataclass(frozen=True)
class Pool:
    """Draws of the prior, run once: parameters, bedding at the standard places [degC] and moisture."""

    parameters: dict[str, np.ndarray]
    bedding_c: dict[str, np.ndarray]
    moisture: np.ndarray


@cache
def pool(seed: int = 1, size: int = POOL) -> Pool:
    case = laid(())
    parameters = case.prior.parameters(np.random.default_rng(seed).standard_normal((size, len(PARAMETERS))))
    probes = standard_probes(case.situation.vessel)
    found = simulate(case.situation.vessel, case.prior.thermal(parameters), case.drive, [probes[p] for p in SPOTS])
    return Pool(parameters, {place: found.probes_c[:, :, i] for i, place in enumerate(SPOTS)}, found.moisture)


def reading(
    hour: float, place: Place, amount: VagueAmount, window_h: float = 0.0, of: Measured = "temperature"
) -> Reading:
    start = BEGIN + timedelta(hours=hour)
    when = VagueTime(start, start + timedelta(hours=window_h), "about", f"hour {hour:g}")
    words = f"{place} {amount.words}"
    return Reading(
        id=f"{hour:g}-{place}-{of}", bin=HOME.name, when=when, words=words, quantity=of, amount=amount, place=place
    )


def between(low: float, high: float, unit: str = "degC") -> VagueAmount:
    return VagueAmount(low, high, unit, "between", f"{low:g} to {high:g}")


def amount(shown: float, kind: str, rng: np.random.Generator) -> VagueAmount:
    """Words for what is shown, such as the likelihood takes them to be made."""
    if kind == "about":
        centre = shown + 1.5 / NINETY * rng.standard_normal()
        return VagueAmount(centre - 1.5, centre + 1.5, "degC", "about", f"about {centre:.1f}")
    if kind == "side":
        limit = 12.0
        low, high = (limit, INF) if shown > limit else (-INF, limit)
        return VagueAmount(low, high, "degC", "at least" if shown > limit else "at most", "either side of 12")
    width = float(kind)
    low = np.floor(shown / width) * width
    return VagueAmount(float(low), float(low + width), "degC", "between", f"{low:g} to {low + width:g}")


def journal(seed: int, count: int = 10, spoil=lambda shown, hour, place: shown) -> tuple[Reading, ...]:
    """Readings of a truth drawn from the prior; `spoil` makes what the thermometer shows something else."""
    rng = np.random.default_rng([seed, 11])
    world, truth = pool(99, 400), seed % 400
    own = {name: values[[truth]] for name, values in world.parameters.items()}
    case = laid(())
    thermometer = case.prior.thermometer(own)
    strays = stray(np.repeat(own["scatter"], len(SPOTS)), len(case.time_utc), rng)
    found = []
    for hour in np.sort(rng.choice(np.arange(24, DAYS * 24 - 30), count, replace=False)):
        spot = int(rng.integers(3))
        place = SPOTS[spot]
        window = int(rng.choice([0, 0, 0, 12]))
        at = hour + int(rng.integers(window + 1))
        bedding = world.bedding_c[place][[truth], at] + strays[spot, at]
        shown = thermometer.shown(bedding, case.drive.air_c[at])[0] + INSTRUMENT_K * rng.standard_normal()
        kind = str(rng.choice(["0.5", "1", "4", "about", "side"]))
        lost = place != "surface" and rng.random() < 0.2
        found.append(
            reading(int(hour), "not noted" if lost else place, amount(spoil(shown, hour, place), kind, rng), window)
        )
    return tuple(found)


def posterior(case: Case, size: int = 256, seed: int = 4) -> Posterior:
    """Draws of the posterior: those of the pool, taken as often as the readings make them probable."""
    world = pool()
    log_weight = np.zeros(POOL)
    if len(case.evidence):
        probes = standard_probes(case.situation.vessel)
        names = {probe: place for place, probe in probes.items()}
        probes_c = np.stack([world.bedding_c[names[probe]] for probe in case.evidence.probes], axis=2)
        thermometer = case.prior.thermometer(world.parameters)
        log_weight = log_weight + log_likelihood(case.evidence, probes_c, case.drive.air_c, thermometer)
    log_weight = log_weight + log_likelihood_of_moisture(case.moist, world.moisture)
    weight = np.exp(log_weight - log_weight.max())
    kept = np.random.default_rng(seed).choice(POOL, size, p=weight / weight.sum())
    draws = {name: values[kept] for name, values in world.parameters.items()}
    return Posterior(draws, 200.0, 0.01, len(case.evidence) + len(case.moist), 0.0, seed, ())


def study_of(entries: tuple[Reading, ...], size: int = 256, seed: int = 4) -> Study:
    """A study without its outlook, which no check of the fit looks at."""
    case = laid(entries)
    return Study(case, posterior(case, size, seed), None)  # type: ignore[arg-type]
