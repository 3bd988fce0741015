"""A usual small bin, parameter sets and weather for the tests of the model."""

from __future__ import annotations

import numpy as np

from underlid.bedding.vessel import Vessel
from underlid.heat.grid import FOOD_PLACES
from underlid.heat.model import Drive, Thermal, standard_probes

SIZES = (0.43, 0.30, 0.28, 0.22)
VESSEL = Vessel(*SIZES)
VOLUME_M3, AREA_M2 = 0.43 * 0.30 * 0.22, 0.43 * 0.30
PROBES = list(standard_probes(VESSEL).values())
MIDDLE, EDGE, SURFACE = range(3)
CALM_AIR = np.full(48, 8.0)


def thermal(sets=1, **changed):
    """Parameter sets that are alike, as they are expected to be unless told."""
    usual = {"dry_kg_m3": 150.0, "moisture": 0.7, "loss": 1.0, "lid": 1.0, "base": 2.0, "heat": 1.0, "drying": 1.0}
    return Thermal(**{name: np.full(sets, value) for name, value in (usual | changed).items()})


STILL = {"heat": 0.0, "drying": 0.0}  # neither warmed by breakdown nor cooled by evaporation
SEALED = {"loss": 1e-9, "lid": 1e-9, "base": 1e-9}  # hardly anything passes the faces


def drive(air_c, food_kg=0.0, *, wind_m_s=3.0, start_c=8.0, place="not noted", **more):
    food = np.zeros((np.shape(air_c)[-1], len(FOOD_PLACES)))
    food[0, FOOD_PLACES.index(place)] = food_kg
    return Drive(np.asarray(air_c, float), food, wind_m_s, start_c, **more)


def weather(days, mean_c, seed=1, swing_k=5.0, spread_k=2.5):
    """Air with a daily wave and days that differ."""
    daily = swing_k * np.sin(np.arange(24 * days) * 2 * np.pi / 24)
    return mean_c + daily + np.repeat(np.random.default_rng(seed).normal(0, spread_k, days), 24)
