from __future__ import annotations

import pytest

from underlid.weather.headings import KNOWN, meaning


@pytest.mark.parametrize("heading", ["air_c", "Air Temp. (°C)", "temperature [degC]", "T_c", "Temperature, Celsius"])
def test_celsius_headings(heading: str) -> None:
    found = meaning(heading)
    assert found is not None
    assert (found.quantity, found.assumed) == ("air_c", "")
    assert found.convert(12.5) == 12.5


@pytest.mark.parametrize(
    ("heading", "value", "quantity", "ours"),
    [
        ("temp_f", 212.0, "air_c", 100.0),
        ("TMIN (°F)", -40.0, "tmin_c", -40.0),
        ("wind_km_h", 36.0, "wind_m_s", 10.0),
        ("Wind speed [mph]", 1.0, "wind_m_s", 0.44704),
        ("RH (%)", 80.0, "humidity_pct", 80.0),
        ("GHI (W/m²)", 500.0, "radiation_w_m2", 500.0),
    ],
)
def test_units_become_ours(heading: str, value: float, quantity: str, ours: float) -> None:
    found = meaning(heading)
    assert found is not None
    assert found.quantity == quantity
    assert found.convert(value) == pytest.approx(ours)


def test_a_missing_unit_is_remembered() -> None:
    found = meaning("temp_max")
    assert found is not None
    assert (found.quantity, found.assumed) == ("tmax_c", "°C")


def test_strangers_mean_nothing() -> None:
    assert meaning("battery") is None
    assert meaning("") is None
    assert meaning("temp_k") is None


def test_limits_are_the_same_in_every_unit() -> None:
    for heading, known in KNOWN.items():
        if known.quantity in ("air_c", "tmin_c", "tmax_c"):
            assert known.convert(known.low) == pytest.approx(-90.0), heading
            assert known.convert(known.high) == pytest.approx(60.0), heading
