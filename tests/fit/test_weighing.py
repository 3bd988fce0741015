"""The compiled likelihood beside the one by arrays."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.fit.evidence import Evidence
from underlid.fit.likelihood import MOISTURE_SD, MOISTURE_SLIP_RANGE, log_likelihood_of_moisture
from underlid.fit.weighing import Words, log_probability, summed


def _readings(rng: np.random.Generator) -> Evidence:
    """closed and open intervals and "abouts" [% of wet mass], each spread over one to five hours."""
    count = 40
    low = rng.uniform(20, 90, count)
    high = low + rng.choice([0.5, 1.0, 5.0, 20.0], count)
    about = (high > low) & (rng.random(count) < 0.4)
    low[rng.random(count) < 0.1] = -np.inf
    high[rng.random(count) < 0.1] = np.inf
    reading = np.repeat(np.arange(count), rng.integers(1, 6, count))
    parts = np.bincount(reading)
    return Evidence(
        low, high, about, reading, np.arange(len(reading)), np.zeros(len(reading), int), 1 / parts[reading],
        rng.uniform(0.3, 1.0, count), (), (None,) * count, (),  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
def test_readings_are_as_probable_as_by_arrays(seed: int) -> None:
    rng = np.random.default_rng(seed)
    readings = _readings(rng)
    moisture = rng.uniform(0.0, 1.0, (30, len(readings.hour)))
    words = Words.of(readings, MOISTURE_SLIP_RANGE)
    found = log_probability(words, 100 * moisture, np.full(30, MOISTURE_SD))
    assert found == pytest.approx(log_likelihood_of_moisture(readings, moisture), rel=1e-9)


def test_what_cannot_be_is_improbable_not_unknown() -> None:
    readings = _readings(np.random.default_rng(5))
    words = Words.of(readings, MOISTURE_SLIP_RANGE)
    found = log_probability(words, np.full((1, len(readings.hour)), np.nan), np.full(1, MOISTURE_SD))
    assert found[0] == -np.inf


def test_a_sum_over_runs_is_a_product_of_matrices() -> None:
    rng = np.random.default_rng(6)
    alike, pull, usual = rng.normal(size=(7, 5)), rng.normal(size=(5, 9)), rng.normal(size=9)
    assert summed(alike, pull, usual) == pytest.approx(alike @ pull + usual)
