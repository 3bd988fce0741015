"""A fit of a bin's heat for fleets: the posterior of `posterior.fit` from about a hundred runs instead of thousands.

What the readings should show bends little with the thermal parameters, so a smooth surface through a few runs (a
Gaussian process with a linear trend; Rasmussen & Williams 2006, recalled) stands in for the model: first through runs
around the prior's middle and around where a Gauss-Newton step leads, then through all runs so far. Sets are drawn in
rounds from what the surface makes probable, evened out by a power and with a share of the prior (importance sampling
after resampling, Rubin 1987, recalled), run through the model, and weighted by the model's likelihood over the mixture
of what they were drawn from. Where the surface misleads, the weights say so. Runs go no further than the last reading,
on a coarser grid and in longer steps; docs/fleet.md says what that costs.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import logsumexp

from underlid.fit.evidence import Evidence, hours_needed, moisture_evidence, temperature_evidence
from underlid.fit.likelihood import BLUNDER_RANGE_K, INSTRUMENT_K, MOISTURE_SD, MOISTURE_SLIP_RANGE, slip_chance
from underlid.fit.outlook import PLACES, Outlook, fate
from underlid.fit.posterior import PARAMETERS, Posterior, Prior
from underlid.fit.sampler import Weighted, sample
from underlid.fit.study import Case, Study
from underlid.fit.weighing import Words, log_probability, summed
from underlid.heat.model import BeddingTemperature, Drive, State, simulate, standard_probes
from underlid.quantity.points import points

Array = NDArray[np.float64]

QUICK_GRID = (2, 2, 4)  # cells; off the usual grid by 0.2 to 0.3 K in the root mean square over a year
STEP_H = 2  # of a run up to the last reading
THERMAL = 6  # of the parameters act on the bedding; the others on the thermometer alone
DRAWS = 40  # kept
SETS = 15  # run and weighted in a round
LEAST_ROUNDS, MOST_ROUNDS = 2, 7
SETTLED = 20.0  # effective sets at which no more rounds are needed
ENOUGH = 12.0  # effective sets below which the fit is not trusted: our judgement
LARGEST_SHARE = 0.2  # of the weight, on one set, beyond which it is not either: our judgement
FROM_PRIOR = 0.1  # of the sets, so that no weight can run away
EVENED = 0.8  # power of the surface's likelihood that is drawn from
STEP = 0.25  # of the differences, in standard deviations of the prior
LONGEST_STEP = 1.5  # of the Gauss-Newton step in each parameter
SMALL = 1e-4  # of differences along the surface, which need no run
SEARCH = {"maxiter": 12}  # along the surface
REACH = 4.0  # standard deviations of the prior over which the surface bends: our judgement, as are the next two
TREND = 0.3  # how much of it is a slope
ROUGH = 1e-3  # what the surface need not follow: freezing makes runs a little uneven
MOIST_SCALE = 10.0  # brings shares of water to the size of degrees
POOL, POOL_ROUNDS = 300, 3  # sets in a round of sampling by the surface, which needs no run
SLIP = 0.5  # chance beyond which a reading counts as a slip
KEPT_BEFORE_H = 24 * 14  # before the last reading a state is kept, so that what was of late is known to an outlook


@dataclass(frozen=True, slots=True)
class QuickPosterior(Posterior):
    """A posterior from a few dozen weighted sets, and the bin some time before its last reading to go on from.

    sets : run; hour : of the case's grid; end : the state of each draw then, on QUICK_GRID, None for the first hour
    """

    sets: int = DRAWS
    hour: int = 0
    end: State | None = None

    @property
    def trusted(self) -> bool:
        """Whether enough of the sets carry the weight; fewer are asked for than of a full fit."""
        return self.effective >= ENOUGH and self.largest <= LARGEST_SHARE


def quick_fit(
    prior: Prior,
    evidence: Evidence,
    moist: Evidence,
    drive: Drive,
    seed: int,
    *,
    draws: int = DRAWS,
) -> QuickPosterior:
    """Sample the posterior given temperatures and moisture readings; without any, the prior itself."""
    rng, size = np.random.default_rng(seed), len(PARAMETERS)
    if not len(evidence) and not len(moist):
        found = prior.parameters(rng.standard_normal((draws, size)))
        alone = "No reading was used: the ranges rest on the weather and the bin's description alone."
        return QuickPosterior(found, float(draws), 1 / draws, 0, 0.0, seed, (alone,), draws)
    heard = _Heard(prior, evidence, moist, drive.until(hours_needed(evidence, moist)))
    at = np.zeros(size)
    for _ in range(2):
        heard.run(at + np.vstack([np.zeros((1, size)), STEP * np.eye(THERMAL, size)]))
        at = heard.likeliest(heard.surface(), at)
    before, proposals, weights = len(heard.z), list[_Proposal](), np.empty(0)
    for number in range(MOST_ROUNDS):
        proposal = _Proposal.of(heard, heard.surface(), rng)
        proposals.append(proposal)
        heard.run(proposal.draw(rng))
        z = heard.z[before:]
        drawn_from = logsumexp([each.log_density(z) for each in proposals], axis=0)
        weights = heard.log_likelihood[before:] - drawn_from
        if number + 1 >= LEAST_ROUNDS and 1 / (_shares(weights) ** 2).sum() >= SETTLED:
            break
    share = _shares(weights)
    kept = np.searchsorted(np.cumsum(share), (rng.random() + np.arange(draws)) / draws).clip(0, len(share) - 1)
    found, slips = prior.parameters(heard.z[before + kept]), 0.0
    if len(evidence):
        chance = slip_chance(
            heard.parts, heard.bedding[before:][kept][:, :, None], heard.air_c, prior.thermometer(found)
        )
        slips = float((chance > SLIP).mean())
    posterior = QuickPosterior(
        found, float(1 / (share**2).sum()), float(share.max()), len(evidence) + len(moist), slips, seed, (),
        len(heard.z), heard.cut, heard.state(before + kept),
    )  # fmt: skip
    return replace(posterior, notes=tuple(_warnings(posterior)))


def quick_fit_case(case: Case, seed: int) -> QuickPosterior:
    """Fit a case quickly; the same case and seed give the same draws."""
    return quick_fit(case.prior, case.evidence, case.moist, case.drive, seed)


def quick_study(case: Case, posterior: QuickPosterior) -> Study:
    """The outlook of a quickly fitted case from the hour on whose state is kept, two weeks before the last reading.

    The case of the study begins there too, and holds no readings: those have been heard. Where worms could be is not
    kept: at that hour they may be anywhere.
    """
    first = posterior.hour
    rest = replace(
        case, drive=case.drive.during(slice(first, None)), time_utc=case.time_utc[first:],
        now_index=case.now_index - first, forecast_until=case.forecast_until - first,
        members_c=case.members_c[:, first:], evidence=temperature_evidence((), case.situation.vessel, case.time_utc),
        moist=moisture_evidence((), case.time_utc),
    )  # fmt: skip
    lots = fate(np.asarray(rest.drive.air_c, float), rest.now_index, rest.forecast_until, rest.members_c, posterior)
    vessel, bands = case.situation.vessel, (case.species.band_c, case.species.widest_band_c)
    start = posterior.end
    if start is not None:
        anywhere = np.ones((len(start.field_c), len(bands), start.field_c.shape[1]), bool)
        start = replace(start, could_be=anywhere)
    probes = standard_probes(vessel)
    bedding = simulate(
        vessel, case.prior.thermal(posterior.draws), replace(rest.drive, air_c=lots.air_c),
        [probes[place] for place in PLACES], bands_c=bands, strays_k=lots.whole, grid=QUICK_GRID, start=start,
    )  # fmt: skip
    draws_c = {place: bedding.probes_c[:, :, i] + lots.spots[place] for i, place in enumerate(PLACES)}
    told = Outlook(
        time_utc=rest.time_utc,
        bedding_c={place: points(values).T for place, values in draws_c.items()},
        air_c=points(lots.air_c).T,
        refuge=points(bedding.refuge[:, :, 0]).T,
        widest_refuge=points(bedding.refuge[:, :, 1]).T,
        frozen=points(bedding.frozen).T,
        moisture=points(bedding.moisture).T,
        now_index=rest.now_index,
        forecast_until=rest.forecast_until,
        draws_c=draws_c,
        refuge_draws=bedding.refuge,
        outside_k=bedding.outside_k,
        frozen_draws=bedding.frozen,
        moisture_draws=bedding.moisture,
        band_c=bands[0],
        widest_band_c=bands[1],
    )
    return Study(rest, posterior, told, (*posterior.notes, *case.notes, *case.evidence.left_out, *case.moist.left_out))


# --- inside ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Surface:
    """What each part of the readings rests on as a smooth function of the thermal parameters."""

    runs: Array  # (runs, THERMAL)
    pull: Array  # (runs, parts) of both quantities
    usual: Array  # (parts,)

    @classmethod
    def through(cls, z: Array, values: Array) -> _Surface:
        runs, usual = z[:, :THERMAL], values.mean(axis=0)
        near = _alike(runs, runs) + ROUGH * np.eye(len(runs))
        return cls(runs, np.linalg.solve(near, values - usual), usual)

    def at(self, z: Array) -> Array:
        # Not `@`, whose threads cost more than they save here.
        return np.asarray(summed(_alike(z[:, :THERMAL], self.runs), self.pull, self.usual))


def _alike(one: Array, other: Array) -> Array:
    squared = ((one[:, None] - other[None]) ** 2).sum(axis=2)
    return np.asarray(1.0 + TREND * np.einsum("ai,bi->ab", one, other) + np.exp(-squared / (2 * REACH**2)))


class _Heard:
    """One bin's readings, and all runs of the model so far with how probable the readings are by them."""

    def __init__(self, prior: Prior, evidence: Evidence, moist: Evidence, drive: Drive) -> None:
        self.prior, self.evidence, self.moist, self.drive = prior, evidence, moist, drive
        self.air_c = np.asarray(drive.air_c, float)[evidence.hour]
        # The same readings, told of their own parts instead of all hours.
        self.parts = replace(evidence, hour=np.arange(len(evidence.hour)), probe=np.zeros_like(evidence.probe))
        self.words, self.wet_words = Words.of(evidence, BLUNDER_RANGE_K), Words.of(moist, MOISTURE_SLIP_RANGE)
        self.cut = max(0, len(drive.air_c) - 1 - KEPT_BEFORE_H) // STEP_H * STEP_H
        self.z, self.log_likelihood = np.empty((0, len(PARAMETERS))), np.empty(0)
        self.bedding, self.moisture = np.empty((0, len(evidence.hour))), np.empty((0, len(moist.hour)))
        self.states: list[State] = []

    def run(self, z: Array) -> None:
        """Run sets through the model up to the last reading, and keep what the readings are of."""
        thermal, start, runs = self.prior.thermal(self.prior.parameters(z)), None, list[BeddingTemperature]()
        for span in (slice(0, self.cut + 1), slice(self.cut, None)) if self.cut else (slice(0, None),):
            drive = self.drive.during(span)
            run = simulate(
                self.prior.situation.vessel, thermal, drive, self.evidence.probes,
                grid=QUICK_GRID, step_h=STEP_H, start=start,
            )  # fmt: skip
            runs.append(run)
            start = runs[-1].end
        probes = np.concatenate([runs[0].probes_c, *(run.probes_c[:, 1:] for run in runs[1:])], axis=1)
        moisture = np.concatenate([runs[0].moisture, *(run.moisture[:, 1:] for run in runs[1:])], axis=1)
        bedding = _between(probes, self.evidence.hour, self.evidence.probe)
        moist = _between(moisture[:, :, None], self.moist.hour, np.zeros_like(self.moist.hour))
        heard = self._weigh(z, bedding, moist)
        self.z, self.log_likelihood = np.vstack([self.z, z]), np.append(self.log_likelihood, heard)
        self.bedding, self.moisture = np.vstack([self.bedding, bedding]), np.vstack([self.moisture, moist])
        self.states.append(_rows(runs[0].end, np.arange(len(z))))

    def state(self, sets: NDArray[np.int64]) -> State | None:
        """The bin at `cut` in some of the sets; None where that is the first hour."""
        if not self.cut:
            return None
        joined = (np.concatenate([getattr(one, each.name) for one in self.states]) for each in fields(State))
        return _rows(State(*joined), sets)

    def surface(self) -> _Surface:
        """A smooth surface through all runs so far."""
        return _Surface.through(self.z, np.hstack([self.bedding, MOIST_SCALE * self.moisture]))

    def by_surface(self, surface: _Surface, z: Array) -> Array:
        """Log likelihood of sets by a surface, which needs no run."""
        values, parts = surface.at(z), len(self.evidence.hour)
        return self._weigh(z, values[:, :parts], np.clip(values[:, parts:] / MOIST_SCALE, 0.0, 1.0))

    def likeliest(self, surface: _Surface, start: Array) -> Array:
        """Where the surface's posterior is highest, no further off than LONGEST_STEP in any parameter."""
        around = np.vstack([np.zeros((1, len(start))), SMALL * np.eye(len(start))])

        def falls(z: Array) -> tuple[float, Array]:
            near = z + around
            value = 0.5 * (near**2).sum(axis=1) - self.by_surface(surface, near)
            return float(value[0]), (value[1:] - value[0]) / SMALL

        bounds = [(at - LONGEST_STEP, at + LONGEST_STEP) for at in start]
        found = minimize(falls, start, jac=True, method="L-BFGS-B", bounds=bounds, options=SEARCH)  # type: ignore[call-overload]
        return np.asarray(found.x)

    def _weigh(self, z: Array, bedding: Array, moisture: Array) -> Array:
        """Log likelihood of sets, given the bedding at each part of the readings; never NaN."""
        thermometer = self.prior.thermometer(self.prior.parameters(z))
        shown = thermometer.shown(bedding, self.air_c)
        likelihood = log_probability(self.words, shown, np.hypot(thermometer.scatter_k, INSTRUMENT_K))
        wet = log_probability(self.wet_words, 100.0 * moisture, np.full(len(z), MOISTURE_SD))
        return np.asarray(likelihood + wet)


@dataclass(frozen=True, slots=True)
class _Proposal:
    """What a round is drawn from: the posterior of a surface's evened-out likelihood, and a share of the prior."""

    heard: _Heard
    surface: _Surface
    pool: Weighted

    @classmethod
    def of(cls, heard: _Heard, surface: _Surface, rng: np.random.Generator) -> _Proposal:
        def evened(z: Array) -> Array:
            return EVENED * heard.by_surface(surface, z)

        return cls(heard, surface, sample(evened, len(PARAMETERS), POOL, rng, rounds=POOL_ROUNDS))

    def draw(self, rng: np.random.Generator) -> Array:
        prior = round(FROM_PRIOR * SETS)
        near = self.pool.z[self.pool.drawn(SETS - prior, rng)]
        return np.vstack([near, rng.standard_normal((prior, len(PARAMETERS)))])

    def log_density(self, z: Array) -> Array:
        """Of a set, over that of the prior."""
        near = EVENED * self.heard.by_surface(self.surface, z) - self.pool.log_evidence
        return np.asarray(np.logaddexp(near + np.log(1 - FROM_PRIOR), np.log(FROM_PRIOR)))


def _between(series: Array, hour: NDArray[np.int64], which: NDArray[np.int64]) -> Array:
    """Series (sets, steps, kinds) at some hours, straight between two steps; after the last, as at the last."""
    at = np.minimum(hour / STEP_H, series.shape[1] - 1)
    low = np.floor(at).astype(int)
    high, share = np.ceil(at).astype(int), at - low
    return np.asarray((1 - share) * series[:, low, which] + share * series[:, high, which])


def _shares(log_weights: Array) -> Array:
    """Shares of the weight, summing to 1; equal ones where nothing is possible."""
    possible = np.isfinite(log_weights).any()
    even = np.full(len(log_weights), 1 / len(log_weights))
    return np.exp(log_weights - logsumexp(log_weights)) if possible else even


def _rows(state: State, sets: NDArray[np.int64]) -> State:
    """The state of some of the sets, in arrays of its own, which do not hold on to a whole run."""
    return State(*(getattr(state, each.name)[sets] for each in fields(State)))


def _warnings(posterior: QuickPosterior) -> list[str]:
    """What must be said before any range of this posterior is read."""
    said = []
    if posterior.misfit:
        low, _, high = posterior.range_of("scatter")
        said.append(
            f"The readings and this weather do not fit together: places in the bedding lie off the model by some "
            f"{low:.1f} to {high:.1f} °C ({1.8 * low:.1f} to {1.8 * high:.1f} °F). Fit this bin by itself, to see more."
        )
    if not posterior.trusted:
        said.append(
            f"The quick fit has not settled ({posterior.effective:.0f} effective of {posterior.sets} sets, one carries "
            f"{posterior.largest:.0%} of the weight): fit this bin by itself."
        )
    return said
