"""The same fate for two bins: the air and the straying that each draw meets, whatever the bin is like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from underlid.fit.outlook import PLACES, Fate, fate
from underlid.fit.posterior import Posterior
from underlid.fit.study import Case
from underlid.heat.model import BeddingTemperature, State, Thermal, simulate, standard_probes

Array = NDArray[np.float64]


def fate_of(case: Case, posterior: Posterior) -> Fate:
    """The fate behind the outlook of a case."""
    observed = np.asarray(case.drive.air_c, float)
    return fate(observed, case.now_index, case.forecast_until, case.members_c, posterior)


def run(case: Case, thermal: Thermal, lots: Fate, span: slice, start: State | None = None) -> BeddingTemperature:
    """The bedding of a case through a span of hours, from a state or from its beginning."""
    vessel = case.situation.vessel
    probes = standard_probes(vessel)
    drive = replace(case.drive.during(span), air_c=lots.air_c[:, span])
    return simulate(
        vessel, thermal, drive, [probes[place] for place in PLACES],
        bands_c=(case.species.band_c,), strays_k=np.ascontiguousarray(lots.whole[:, span]), start=start,
    )  # fmt: skip


def of_sets(of: Any, sets: NDArray[np.int64]) -> Any:
    """Some of the parameter sets of a Thermal or a State, whose fields all have the sets first."""
    return replace(of, **{field.name: getattr(of, field.name)[sets] for field in fields(of)})


def gathered(parts: Sequence[Any], sets: Sequence[NDArray[np.int64]]) -> Any:
    """Results of some parameter sets each, such as `of_sets` has dealt out, as one with all sets in their order."""
    back = np.argsort(np.concatenate(sets))

    def join(values: list[Any]) -> Any:
        return np.concatenate(values)[back] if isinstance(values[0], np.ndarray) else gathered(values, sets)

    joined = {field.name: join([getattr(part, field.name) for part in parts]) for field in fields(parts[0])}
    return replace(parts[0], **joined)
