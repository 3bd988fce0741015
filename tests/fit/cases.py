"""Invented cases for the tests of the fit: a known truth under synthetic air."""

from datetime import UTC, datetime, timedelta

import numpy as np

from underlid.bedding.vessel import Vessel
from underlid.fit.evidence import Evidence, Situation
from underlid.fit.posterior import PARAMETERS, Prior
from underlid.heat.model import Drive, simulate, standard_probes

BEGIN = datetime(2025, 11, 1, tzinfo=UTC)
VESSEL = Vessel(0.43, 0.30, 0.28, 0.22)
PRIOR = Prior(Situation(VESSEL, 150.0, (0.6, 0.8), ()))
PROBES = tuple(standard_probes(VESSEL).values())
NOTHING = Evidence(
    np.empty(0), np.empty(0), np.empty(0, bool), np.empty(0, int), np.empty(0, int), np.empty(0, int), np.empty(0),
    np.empty(0), (), (), (),
)  # fmt: skip


def z_of(**values):
    """Standard normals of one parameter set, 0 where nothing is said."""
    return np.array([values.get(name, 0.0) for name in PARAMETERS])


def air(days, seed=0, mean_c=6.0):
    """Synthetic air: a daily wave on fronts that last a few days."""
    rng = np.random.default_rng(seed)
    fronts = np.repeat(rng.normal(0, 3, days // 2 + 1), 48)[: days * 24]
    return mean_c + fronts + 4 * np.sin(2 * np.pi * (np.arange(days * 24) - 9) / 24)


def time_utc(hours):
    return int(BEGIN.timestamp()) + 3600 * np.arange(hours, dtype=np.int64)


def at(hour):
    return BEGIN + timedelta(hours=hour)


def drive(air_c):
    return Drive(air_c, np.zeros(len(air_c)), 3.0, float(air_c[:48].mean()))


def readings(z, air_c, count, half_width_k, seed=0, **changes):
    """Evidence of `count` readings whose words are an interval of that half width around the true reading."""
    rng = np.random.default_rng(seed)
    parameters = PRIOR.parameters(np.atleast_2d(z))
    probes_c = simulate(VESSEL, PRIOR.thermal(parameters), drive(air_c), PROBES).probes_c[0]
    hour = np.sort(rng.choice(np.arange(24, len(air_c)), count, replace=False))
    probe = rng.integers(0, 3, count)
    bedding = probes_c[hour, probe]
    shown = bedding + parameters["lag"][0] * (air_c[hour] - bedding) + parameters["bias"][0]
    shown = shown + rng.standard_normal(count) * np.hypot(parameters["scatter"][0], 0.3)
    low = np.floor(shown / (2 * half_width_k)) * 2 * half_width_k
    given = {
        "low": low, "high": low + 2 * half_width_k, "about": np.zeros(count, bool), "reading": np.arange(count),
        "hour": hour, "probe": probe, "weight": np.ones(count), "worth": np.ones(count),
        "probes": PROBES, "used": (None,) * count,
        "left_out": (),
    }  # fmt: skip
    return Evidence(**{**given, **changes}), probes_c
