"""Run the fitted bin forward: bedding temperature and refuge, hour by hour, with ranges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from underlid.fit.evidence import STRAY_MEMORY_H
from underlid.fit.posterior import Posterior, Prior
from underlid.heat.fading import fading
from underlid.heat.model import Drive, simulate, standard_probes
from underlid.quantity.points import PERCENT, points, three

Array = NDArray[np.float64]

PLACES = ("middle", "edge", "surface")

#: Error of a weather forecast: grows from nothing to FORECAST_SD_K over FORECAST_MEMORY_H, about 1.7 K after
#: a day and 2.8 K after five (our judgement, near the usual skill of public forecasts).
FORECAST_SD_K = 3.0
FORECAST_MEMORY_H = 120.0
BLEND_H = 24  # hours over which a forecast gives way to past years: our judgement


@dataclass(frozen=True, slots=True)
class Coldest:
    """The coldest hour of a place within a span: temperature [degC] and time, each 5, 50 and 95 %."""

    place: str
    temperature_c: tuple[float, float, float]
    time_utc: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the model and the readings together say about every hour.

    time_utc : (hours,) seconds; bedding_c : place -> (hours, 3) [degC]; air_c, refuge, frozen : (hours, 3);
    widest_refuge : (hours, 3), the same in the tolerated band as wide as any source has it; moisture : (hours, 3),
    fraction of wet mass.
    The last axis holds the 5, 50 and 95 % points. Hours up to and including `now_index` are estimated from
    observed weather, later ones predicted; `forecast_until` is the first hour that rests on past years only
    (or the number of hours). `draws_c` (place -> (draws, hours)),
    `refuge_draws` and `outside_k` (draws, hours, 2: tolerated and widest band; how far outside it the best place is
    [K]), `frozen_draws` and `moisture_draws` (draws, hours) keep the draws for questions about spans.
    """

    time_utc: NDArray[np.int64]
    bedding_c: dict[str, Array]
    air_c: Array
    refuge: Array
    widest_refuge: Array
    frozen: Array
    moisture: Array
    now_index: int
    forecast_until: int
    draws_c: dict[str, Array]
    refuge_draws: Array
    outside_k: Array
    frozen_draws: Array
    moisture_draws: Array
    band_c: tuple[float, float]
    widest_band_c: tuple[float, float]

    def coldest(self, first: int, last: int, place: str = "middle") -> Coldest:
        """The coldest hour of a place from hour `first` up to `last` (left out)."""
        if not 0 <= first < last <= len(self.time_utc):
            raise ValueError(f"The outlook holds hours 0 to {len(self.time_utc)}, not {first} to {last}.")
        span = self.draws_c[place][:, first:last]
        when = self.time_utc[first + span.argmin(axis=1)]
        early, usual, late = np.percentile(when, PERCENT, method="nearest")
        return Coldest(place, three(span.min(axis=1)), (int(early), int(usual), int(late)))

    def least_refuge(self, first: int, last: int) -> tuple[float, float, float]:
        """The smallest share of the bedding in the tolerated band from hour `first` up to `last`, 5, 50 and 95 %."""
        return three(self.refuge_draws[:, first:last, 0].min(axis=1))

    def without_refuge(self, first: int, last: int) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """Hours with no refuge at all, and the degree-hours by which the best place misses the band, 5, 50, 95 %."""
        away = self.outside_k[:, first:last, 0]
        return three((away > 0).sum(axis=1)), three(away.sum(axis=1))

    def chance_of_moisture(self, first: int, last: int, low: float, high: float) -> tuple[float, float]:
        """Chances that the bedding is at some hour drier than `low`, and wetter than `high`, fractions of wet mass."""
        span = self.moisture_draws[:, first:last]
        return float((span.min(axis=1) < low).mean()), float((span.max(axis=1) > high).mean())


def future_air(
    observed_c: Array,
    now_index: int,
    forecast_until: int,
    members_c: Array,
    draws: int,
    rng: np.random.Generator,
) -> Array:
    """Air for every draw, (draws, hours): as observed up to now, then forecast with growing error, then past years.

    observed_c : (hours,) air, of which hours beyond `forecast_until` are not used
    members_c : (members, hours) past years laid on the same hours; may have no rows when the forecast reaches
        to the end
    """
    hours = observed_c.shape[0]
    error = np.zeros((draws, hours))
    keep = float(np.exp(-1.0 / FORECAST_MEMORY_H))
    ahead = (draws, max(0, hours - now_index - 1))
    error[:, now_index + 1 :] = fading(FORECAST_SD_K * np.sqrt(1 - keep**2) * rng.standard_normal(ahead), keep)
    if forecast_until >= hours:
        return np.asarray(observed_c + error)
    # Each draw follows one past year: real weather keeps its own cold spells whole.
    year = members_c[rng.integers(members_c.shape[0], size=draws)]
    trust = np.clip((forecast_until - np.arange(hours)) / BLEND_H, 0.0, 1.0)
    trust[: now_index + 1] = 1.0
    forecast = np.where(trust > 0, observed_c, 0.0) + error
    return np.asarray(trust * forecast + (1 - trust) * year)


def stray(sd_k: Array, hours: int, rng: np.random.Generator) -> Array:
    """How spots stray from the model, one slow random walk that returns for each of `sd_k`, (spots, hours) [K]."""
    keep = float(np.exp(-1.0 / STRAY_MEMORY_H))
    kicks = rng.standard_normal((len(sd_k), hours)) * sd_k[:, None]
    kicks[:, 1:] *= np.sqrt(1 - keep**2)
    return np.asarray(fading(kicks, keep))


@dataclass(frozen=True, slots=True)
class Fate:
    """What befalls each draw whatever the bin is like: air (draws, hours) [degC] and how it strays from the model.

    whole : of the field as a whole [K]; spots : place -> (draws, hours) [K]
    """

    air_c: Array
    whole: Array
    spots: dict[str, Array]


def fate(observed_c: Array, now_index: int, forecast_until: int, members_c: Array, posterior: Posterior) -> Fate:
    """Air and strays for every draw, from the posterior's seed; see `future_air` and `stray`."""
    rng = np.random.default_rng(posterior.seed + 1)
    sd_k = posterior.draws["scatter"]
    air = future_air(observed_c, now_index, forecast_until, members_c, len(sd_k), rng)
    whole, *spots = (stray(sd_k, air.shape[1], rng) for _ in range(1 + len(PLACES)))
    return Fate(air, whole, dict(zip(PLACES, spots, strict=True)))


def outlook(
    prior: Prior,
    posterior: Posterior,
    drive: Drive,
    time_utc: NDArray[np.int64],
    now_index: int,
    forecast_until: int,
    members_c: Array,
    band_c: tuple[float, float],
    widest_band_c: tuple[float, float],
) -> Outlook:
    """The bin from the first hour of `time_utc` to the last, for every draw of the posterior.

    Each draw and place strays from the model by its own slow random walk, so that a range covers the bedding
    itself and not only the model's idea of it.
    """
    lots = fate(np.asarray(drive.air_c, float), now_index, forecast_until, members_c, posterior)
    vessel, air = prior.situation.vessel, lots.air_c
    probes = standard_probes(vessel)
    bedding = simulate(
        vessel, prior.thermal(posterior.draws), replace(drive, air_c=air), [probes[place] for place in PLACES],
        bands_c=(band_c, widest_band_c), strays_k=lots.whole,
    )  # fmt: skip
    draws_c = {place: bedding.probes_c[:, :, i] + lots.spots[place] for i, place in enumerate(PLACES)}
    return Outlook(
        time_utc=time_utc,
        bedding_c={place: _range(values) for place, values in draws_c.items()},
        air_c=_range(air),
        refuge=_range(bedding.refuge[:, :, 0]),
        widest_refuge=_range(bedding.refuge[:, :, 1]),
        frozen=_range(bedding.frozen),
        moisture=_range(bedding.moisture),
        now_index=now_index,
        forecast_until=forecast_until,
        draws_c=draws_c,
        refuge_draws=bedding.refuge,
        outside_k=bedding.outside_k,
        frozen_draws=bedding.frozen,
        moisture_draws=bedding.moisture,
        band_c=band_c,
        widest_band_c=widest_band_c,
    )


def _range(values: Array) -> Array:
    return points(values).T
