"""The posterior of what is uncertain about a bin's heat, given its readings.

Each parameter is a transform of a standard normal, so the prior is a unit ball and the sampler needs no tuning per
bin. The same inputs and seed give the same draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from underlid.fit.evidence import Evidence, Situation, hours_needed
from underlid.fit.likelihood import (
    Thermometer,
    log_likelihood,
    log_likelihood_of_moisture,
    slip_chance,
)
from underlid.fit.sampler import sample, settled
from underlid.heat.films import films
from underlid.heat.model import BeddingTemperature, Drive, Thermal, simulate
from underlid.quantity.amount import NINETY
from underlid.quantity.points import three

Array = NDArray[np.float64]

PARAMETERS = ("loss", "lid", "base", "moisture", "heat", "drying", "bias", "lag", "scatter")  # see Prior.parameters

#: Log spreads of the priors. Films of a sheltered bin run from 7 to 12 W/m2K in calm (recalled), more in
#: wind; the base path is unknown by a factor of three; heat of a worm bin by a factor of about three
#: either way (0.05-0.5 g O2 per kg and hour, recalled); vapour through a lid by a factor of three. Bias, lag (read
#: before it has settled: a thirtieth of the way still to go, seldom a tenth) and scatter of cheap thermometers: our
#: judgement.
LOSS_LOG_SD = 0.35
LID_LOG_SD = 0.35
DRYING_LOG_SD = float(np.log(3.0)) / NINETY
LAG_MEDIAN, LAG_LOG_SD = 0.03, 0.7
BASE_LOG_SD = float(np.log(3.0)) / NINETY
HEAT_LOG_SD = float(np.log(3.2)) / NINETY
BIAS_SD_K = 0.7
SCATTER_MEDIAN_K, SCATTER_LOG_SD = 0.5, 0.5

FARTHEST = 6.0  # standard deviations from the prior's middle beyond which a parameter is held
SETS = 400  # drawn in a round of the sampling
DRAWS = 80  # kept of a chain: the ends of a range are steady to a fifteenth of its width; twice as many cost twice
MOST_SLIPS = 0.15  # share of slips beyond which not the keeper but the weather or the bin is wrong: our judgement


@dataclass(frozen=True, slots=True)
class Prior:
    """The prior of one bin: maps standard normals to parameters."""

    situation: Situation

    def parameters(self, z: Array) -> dict[str, Array]:
        """Parameters by name, each (sets,), from standard normals of shape (sets, 9).

        loss, lid : factors on the nominal coefficients beyond sides and surface; base : coefficient of the base path
        [W/m2K]; moisture : at the start, fraction of wet mass; heat : factor on the heat of breakdown; drying :
        factor on how fast vapour leaves; bias, lag, scatter : see Thermometer
        """
        z = np.clip(z, -FARTHEST, FARTHEST)  # where the sampler only passes through, nothing may overflow
        low, high = logit(self.situation.moisture)
        loss, lid, base, moisture, heat, drying, bias, lag, scatter = z.T
        return {
            "loss": np.exp(LOSS_LOG_SD * loss),
            "lid": np.exp(LID_LOG_SD * lid),
            "base": films(self.situation.vessel).base * np.exp(BASE_LOG_SD * base),
            "moisture": expit((low + high) / 2 + (high - low) / 2 / NINETY * moisture),
            "heat": np.exp(HEAT_LOG_SD * heat),
            "drying": np.exp(DRYING_LOG_SD * drying),
            "bias": BIAS_SD_K * bias,
            "lag": np.minimum(LAG_MEDIAN * np.exp(LAG_LOG_SD * lag), 1.0),
            "scatter": SCATTER_MEDIAN_K * np.exp(SCATTER_LOG_SD * scatter),
        }

    def thermal(self, parameters: dict[str, Array]) -> Thermal:
        """The parameters that the heat model needs."""
        dry = np.full_like(parameters["loss"], self.situation.dry_kg_m3)
        names = ("moisture", "loss", "lid", "base", "heat", "drying")
        return Thermal(dry, *(parameters[name] for name in names))

    @staticmethod
    def thermometer(parameters: dict[str, Array]) -> Thermometer:
        """The parameters that say how the thermometer shows what it is held in."""
        return Thermometer(parameters["bias"], parameters["lag"], parameters["scatter"])


@dataclass(frozen=True, slots=True)
class Posterior:
    """Draws of the parameters, by name, each (draws,), and what speaks for or against trusting them.

    slips : share of the readings that are likelier slips of the pen than what a thermometer showed
    effective : how many sets of like weight are behind the draws; largest : share of the weight that one set carries
    readings : how many readings the fit used
    """

    draws: dict[str, Array]
    effective: float
    largest: float
    readings: int
    slips: float
    seed: int
    notes: tuple[str, ...]

    @property
    def trusted(self) -> bool:
        """Whether enough sets carry the weight to show ranges without a warning."""
        return settled(self.effective, self.largest)

    @property
    def misfit(self) -> bool:
        """Whether readings and weather contradict each other.

        That is when spots stray from the model by more than 95 of 100 bins would by the prior, or when more
        readings than chance allows can only be explained as slips.
        """
        strays = np.median(self.draws["scatter"]) > SCATTER_MEDIAN_K * np.exp(SCATTER_LOG_SD * NINETY)
        return bool(strays or (self.slips > MOST_SLIPS and self.slips * self.readings >= 2))

    def range_of(self, name: str) -> tuple[float, float, float]:
        """The 5, 50 and 95 % points of one parameter."""
        return three(self.draws[name])


def fit(
    prior: Prior,
    evidence: Evidence,
    moist: Evidence,
    drive: Drive,
    seed: int,
    *,
    draws: int = DRAWS,
    progress: Callable[[float], None] = lambda done: None,
) -> Posterior:
    """Sample the posterior given temperatures and moisture readings; without any, the prior itself.

    `progress` is called with the share of the work done.
    """
    rng, size = np.random.default_rng(seed), len(PARAMETERS)
    if not len(evidence) and not len(moist):
        found = prior.parameters(rng.standard_normal((draws, size)))
        alone = "No reading was used: the ranges rest on the weather and the bin's description alone."
        return Posterior(found, float(draws), 1 / draws, 0, 0.0, seed, (alone,))

    seen = drive.until(hours_needed(evidence, moist))

    def course(parameters: dict[str, Array]) -> BeddingTemperature:
        return simulate(prior.situation.vessel, prior.thermal(parameters), seen, evidence.probes)

    def heard(z: Array) -> Array:
        parameters = prior.parameters(z)
        bedding = course(parameters)
        likelihood = log_likelihood(evidence, bedding.probes_c, seen.air_c, prior.thermometer(parameters))
        return likelihood + log_likelihood_of_moisture(moist, bedding.moisture)

    weighted = sample(heard, size, SETS, rng, progress=progress)
    progress(1.0)
    found = prior.parameters(weighted.z[weighted.drawn(draws, rng)])
    slip = slip_chance(evidence, course(found).probes_c, seen.air_c, prior.thermometer(found)) > 0.5
    slips = float(slip.mean()) if len(evidence) else 0.0
    posterior = Posterior(found, weighted.effective, weighted.largest, len(evidence) + len(moist), slips, seed, ())
    return replace(posterior, notes=tuple(_warnings(posterior)))


def _warnings(posterior: Posterior) -> list[str]:
    """What must be said before any range of this posterior is read."""
    said = []
    if posterior.misfit:
        low, _, high = posterior.range_of("scatter")
        slips = f", and {posterior.slips:.0%} of the readings look like slips of the pen" if posterior.slips else ""
        said.append(
            "The readings and this weather do not fit together: places in the bedding lie off the model by some "
            f"{low:.1f} to {high:.1f} °C ({1.8 * low:.1f} to {1.8 * high:.1f} °F), more than is usual{slips}. Check "
            "the weather's place, units and time zone, the bin's description, and the readings."
        )
    if not posterior.trusted:
        signs = f"{posterior.effective:.0f} effective sets, one carries {posterior.largest:.0%} of the weight"
        said.append(f"The fit has not settled ({signs}): read its ranges with doubt.")
    return said
