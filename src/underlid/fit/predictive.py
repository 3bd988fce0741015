"""Does the fitted bin produce readings like the keeper's? A posterior predictive check of a whole journal.

Every reading is judged by the fit to the others (see `underlid.fit.leftout`). How far the figures vary by luck where
model and readings agree is simulated, with spots that stray for a day as the model has them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from underlid.fit.evidence import STRAY_MEMORY_H, hours_needed, spot_of
from underlid.fit.leftout import FARTHEST_Z, INSIDE, Predicted, judged, share_between
from underlid.fit.likelihood import (
    BLUNDER_RANGE_K,
    INSTRUMENT_K,
    MOISTURE_SLIP_RANGE,
    expected_moisture,
    expected_reading,
)
from underlid.fit.study import Study
from underlid.heat.model import simulate
from underlid.weather.series import HOUR_S

Array = NDArray[np.float64]

LUCK = 0.99  # share of journals that agree with the model which lie within the ranges given for luck
LUCKS = 4000  # simulated journals behind those ranges
FEW = 8.0  # readings' worth below which agreement says little: our judgement
STRETCHED = 0.005  # a parameter that ends beyond this share of its prior on either side was stretched: our judgement
DRIFT_NEEDS = 5  # temperatures below which a drift is not asked for: our judgement
MONTH_S = 30 * 24 * HOUR_S  # drift is given per thirty days


@dataclass(frozen=True, slots=True)
class Check:
    """A figure of the readings and the range it has by luck where model and readings agree."""

    value: float
    low: float
    high: float

    @property
    def agrees(self) -> bool:
        """Whether luck explains it."""
        return self.low <= self.value <= self.high


@dataclass(frozen=True, slots=True)
class Group:
    """The temperatures of one place or month: how many, how many in their 90 % range, their mean residual [K]."""

    name: str
    count: int
    inside: Check
    residual_k: Check


@dataclass(frozen=True, slots=True)
class Predictive:
    """What the check found.

    readings : temperatures, then moisture, each in order of time
    inside : how many lie in their 90 % range, one that lies across its edge in part; spread : of the residuals, as a
        multiple of what is predicted
    residual_k, drift_k : mean residual of the temperatures [K] and its change in thirty days, where there are any
    places, months : the temperatures by place and by month (year-month in the bin's time zone)
    parts, part : readings in equal parts of their predicted distribution, lowest first, and the range of each by luck
    stretched : parameters that the readings moved to the end of what was thought possible, and to which end (-1, 1)
    """

    bin: str
    timezone: str
    readings: tuple[Predicted, ...]
    inside: Check
    spread: Check
    residual_k: Check | None
    drift_k: Check | None
    places: tuple[Group, ...]
    months: tuple[Group, ...]
    parts: Array
    part: tuple[float, float]
    stretched: tuple[tuple[str, int], ...]
    trusted: bool
    misfit: bool
    seed: int

    @property
    def temperatures(self) -> tuple[Predicted, ...]:
        """The readings of temperature."""
        return tuple(one for one in self.readings if one.reading.quantity == "temperature")

    @property
    def surprises(self) -> tuple[Predicted, ...]:
        """Readings wholly outside their 90 % range, the least likely first."""
        return tuple(sorted((one for one in self.readings if one.surprise), key=lambda one: one.chance))

    @property
    def few(self) -> bool:
        """Whether agreement says little, as the readings together are worth only a few."""
        return sum(one.worth for one in self.readings) < FEW

    @property
    def seen(self) -> int:
        """How many readings could not be left out, and so are judged by a fit that has seen them."""
        return sum(not one.unseen for one in self.readings)


def predictive(study: Study) -> Predictive:
    """Judge every used reading by the fit to the others; the same study gives the same answer."""
    case, draws = study.case, study.posterior.draws
    rng = np.random.default_rng([study.posterior.seed, 3])
    found: list[Predicted] = []
    if len(case.evidence) or len(case.moist):
        seen = case.drive.until(hours_needed(case.evidence, case.moist))
        bedding = simulate(case.situation.vessel, case.prior.thermal(draws), seen, case.evidence.probes)
        shown, sd = expected_reading(case.evidence, bedding.probes_c, seen.air_c, case.prior.thermometer(draws))
        moisture, moisture_sd = expected_moisture(case.moist, bedding.moisture)
        found += judged(case.evidence, shown, sd, BLUNDER_RANGE_K, case.time_utc, rng)
        found += judged(case.moist, moisture, moisture_sd, MOISTURE_SLIP_RANGE, case.time_utc, rng)
    return _summed(study, tuple(found), rng)


def _summed(study: Study, found: tuple[Predicted, ...], rng: np.random.Generator) -> Predictive:
    """The figures of the check, each beside what luck makes of it."""
    luck = np.clip(_luck(study, found, rng), -FARTHEST_Z, FARTHEST_Z)
    z = np.array([one.z for one in found])
    zone = ZoneInfo(study.case.bin.timezone)
    warm = np.array([one.reading.quantity == "temperature" for one in found], bool)
    spread_k = np.array([one.spread for one in found])
    time_s = np.array([one.time_utc for one in found])

    def residual(mine: NDArray[np.bool_]) -> Check:
        return _check(lambda values: (values[..., mine] * spread_k[mine]).mean(axis=-1), z, luck)

    def groups(name_of: Callable[[Predicted], str], order: Iterable[str]) -> tuple[Group, ...]:
        names = np.array([name_of(one) for one in found])
        return tuple(
            Group(name, int(mine.sum()), _inside(found, luck, mine), residual(mine))
            for name in order
            if (mine := warm & (names == name)).any()
        )

    def month(one: Predicted) -> str:
        return f"{datetime.fromtimestamp(one.time_utc, zone):%Y-%m}"

    def slope(values: Array) -> Array:
        since = (time_s[warm] - time_s[warm].mean()) / MONTH_S
        return np.asarray((values[..., warm] * spread_k[warm]) @ since / (since @ since))

    parts = 10 if len(found) >= 50 else 5
    edges = np.linspace(0, 1, parts + 1)
    counted = np.array([share_between(one.pit, edges[:-1], edges[1:]) for one in found]).reshape(-1, parts).sum(axis=0)
    lucky = [np.histogram(ndtr(one), edges)[0] for one in luck]
    return Predictive(
        bin=study.case.bin.name,
        timezone=study.case.bin.timezone,
        readings=found,
        inside=_inside(found, luck, np.ones(len(found), bool)),
        spread=_check(lambda values: np.sqrt((values**2).sum(axis=-1) / max(1, len(found))), z, luck),
        residual_k=residual(warm) if warm.any() else None,
        drift_k=_check(slope, z, luck) if warm.sum() >= DRIFT_NEEDS and np.ptp(time_s[warm]) > 0 else None,
        places=groups(lambda one: one.reading.place, ("middle", "edge", "surface", "not noted")),
        months=groups(month, sorted({month(one) for one in found})),
        parts=counted,
        part=_between(np.array(lucky)),
        stretched=_stretched(study),
        trusted=study.posterior.trusted,
        misfit=study.posterior.misfit,
        seed=study.posterior.seed,
    )


def _luck(study: Study, found: tuple[Predicted, ...], rng: np.random.Generator) -> Array:
    """Standard normal residuals of journals that agree, (LUCKS, readings): those of one spot stray together."""
    scatter = float(np.median(study.posterior.draws["scatter"]))
    strays = scatter**2 / (scatter**2 + INSTRUMENT_K**2)  # the share of a temperature's variance that lasts
    luck, lasting = rng.standard_normal((2, len(found), LUCKS))
    before: dict[str, int] = {}
    for i in np.argsort([one.time_utc for one in found], kind="stable"):
        spot = spot_of(found[i].reading)
        if (last := before.get(spot)) is not None:
            keep = np.exp((found[last].time_utc - found[i].time_utc) / (STRAY_MEMORY_H * HOUR_S))
            lasting[i] = keep * lasting[last] + np.sqrt(1 - keep**2) * lasting[i]
        before[spot] = i
    share = np.array([strays if one.reading.quantity == "temperature" else 1.0 for one in found])[:, None]
    return np.asarray(np.sqrt(share) * lasting + np.sqrt(1 - share) * luck).T


def _check(figure: Callable[[Array], Array], z: Array, luck: Array) -> Check:
    return Check(float(figure(z)), *_between(figure(luck)))


def _inside(found: tuple[Predicted, ...], luck: Array, mine: NDArray[np.bool_]) -> Check:
    held = sum(one.inside for one, counts in zip(found, mine, strict=True) if counts)
    lucky = (np.abs(luck[:, mine]) <= ndtri(INSIDE[1])).sum(axis=1)
    return Check(float(held), *_between(lucky))


def _between(values: Array | NDArray[np.int64]) -> tuple[float, float]:
    low, high = np.percentile(values, [50 * (1 - LUCK), 50 * (1 + LUCK)])
    return float(low), float(high)


def _stretched(study: Study) -> tuple[tuple[str, int], ...]:
    """Parameters whose median lies at the far end of what was thought possible: the fit hides a fault there."""
    draws = study.posterior.draws
    # Each parameter rises with one standard normal, so the ends of the normal give the ends of all of them.
    ends = study.case.prior.parameters(np.outer(ndtri([STRETCHED, 1 - STRETCHED]), np.ones(len(draws))))
    found = []
    for name, (low, high) in ends.items():
        middle = np.median(draws[name])
        if not low <= middle <= high:
            found.append((name, 1 if middle > high else -1))
    return tuple(found)
