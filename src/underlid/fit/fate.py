"""The same fate for two bins: the air and the straying that each draw meets, whatever the bin is like."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlid.fit.outlook import PLACES, Fate, fate
from underlid.fit.posterior import Posterior
from underlid.fit.study import Case
from underlid.heat.model import BeddingTemperature, Drive, State, Thermal, simulate, standard_probes

Array = NDArray[np.float64]


def fate_of(case: Case, posterior: Posterior) -> Fate:
    """The fate behind the outlook of a case."""
    observed = np.asarray(case.drive.air_c, float)
    return fate(observed, case.now_index, case.forecast_until, case.members_c, posterior)


def run(case: Case, thermal: Thermal, lots: Fate, span: slice, start: State | None = None) -> BeddingTemperature:
    """The bedding of a case through a span of hours, from a state or from its beginning."""
    vessel = case.situation.vessel
    probes = standard_probes(vessel)
    drive = replace(during(case.drive, span), air_c=lots.air_c[:, span])
    return simulate(
        vessel, thermal, drive, [probes[place] for place in PLACES],
        bands_c=(case.species.band_c,), strays_k=np.ascontiguousarray(lots.whole[:, span]), start=start,
    )  # fmt: skip


def during(drive: Drive, span: slice) -> Drive:
    """What acts on the bin in a span of hours: every hourly series cut to it."""
    hours = len(drive.food_kg)
    cut = {}
    for field in fields(drive):
        values = getattr(drive, field.name)
        if np.ndim(values) and hours in (values.shape[0], values.shape[-1]):
            cut[field.name] = values[span] if values.shape[0] == hours else values[..., span]
    return replace(drive, **cut)


def of_sets(of: Any, sets: NDArray[np.int64]) -> Any:
    """Some of the parameter sets of a Thermal or a State, whose fields all have the sets first."""
    return replace(of, **{field.name: getattr(of, field.name)[sets] for field in fields(of)})
