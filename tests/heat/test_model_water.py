"""The model's water and refuge."""

from __future__ import annotations

import numpy as np
import pytest

from underlid.heat import moisture, properties
from underlid.heat.model import simulate

from .bins import AREA_M2, CALM_AIR, EDGE, PROBES, SEALED, STILL, VESSEL, VOLUME_M3, drive, thermal, weather

# ---- water


def water_kg(result, dry_kg_m3=150.0):
    """Water in the bedding [kg], (hours,)."""
    return result.moisture[0] / (1 - result.moisture[0]) * dry_kg_m3 * VOLUME_M3


@pytest.mark.parametrize("full", [False, True])
def test_water_given_is_water_held_and_neither_warms_nor_cools(full):
    given_kg = np.zeros(48)
    given_kg[[3, 20]] = 1.0, 2.5
    result = simulate(VESSEL, thermal(moisture=0.5, **STILL), drive(CALM_AIR, water_kg=given_kg), PROBES, full=full)
    gained = water_kg(result) - water_kg(result)[0]
    assert gained == pytest.approx(np.r_[0.0, np.cumsum(given_kg)[:-1]])
    assert result.probes_c == pytest.approx(8.0)


def test_what_bedding_cannot_hold_drains_away():
    """It holds 0.8 of its pores, 1 - 150/1300 of the volume; of what is above, exp(-1) is left after a day."""
    given_kg = np.r_[18.0, np.zeros(47)]
    result = simulate(VESSEL, thermal(moisture=0.5, **STILL), drive(CALM_AIR, water_kg=given_kg), PROBES)
    holds = 0.8 * (1 - 150 / 1300) * 1000 * VOLUME_M3
    above = 150 * VOLUME_M3 + 18.0 - holds
    assert above > 1
    assert water_kg(result)[[1, 24, 47]] - holds == pytest.approx(above * np.exp(-np.array([1, 24, 47]) / 24))


def test_bedding_never_holds_more_than_its_pores():
    flood = np.full(48, 30.0)
    result = simulate(VESSEL, thermal(), drive(CALM_AIR, water_kg=flood), PROBES)
    assert water_kg(result).max() <= (1 - 150 / 1300) * 1000 * VOLUME_M3 + 1e-9


@pytest.mark.parametrize(("humidity_pct", "drying"), [(100.0, 1.0), (50.0, 1.0), (50.0, 3.0), (20.0, 0.5)])
def test_evaporation_follows_the_deficit_of_the_air(humidity_pct, drying):
    """Bedding and air at 10 degC, where saturated air holds 9.38 g/m3."""
    air = drive(np.full(3, 10.0), start_c=10.0, humidity_pct=np.full(3, humidity_pct))
    result = simulate(VESSEL, thermal(heat=0.0, drying=drying), air, PROBES)
    lost = -np.diff(water_kg(result))[0]
    expected = 3600 * moisture.VAPOUR_M_S * drying * AREA_M2 * (1 - humidity_pct / 100) * 9.383e-3
    assert lost == pytest.approx(expected, rel=1e-3, abs=1e-12)


def test_evaporation_takes_its_heat_from_the_bedding():
    """Sealed against all but vapour, bedding in drier air cools until it has none to give: C V dT = 2.5 MJ/kg dm."""
    hours = 24 * 60
    air = drive(np.full(hours, 10.0), start_c=10.0, humidity_pct=np.full(hours, 60.0))
    result = simulate(VESSEL, thermal(heat=0.0, drying=3.0, **SEALED), air, PROBES)
    lost = water_kg(result)[0] - water_kg(result)[-1]
    capacity = float(properties.heat_capacity(150.0, properties.water_fraction(150.0, 0.7)))
    end = result.probes_c[0, -1]
    assert np.ptp(end) < 0.01
    assert moisture.vapour_kg_m3(end[0]) == pytest.approx(0.6 * moisture.vapour_kg_m3(10.0), rel=1e-2)
    assert capacity * VOLUME_M3 * (10.0 - end[0]) == pytest.approx(lost * moisture.VAPORISATION_J_KG, rel=0.01)


def test_a_humidity_that_is_missing_counts_as_damp():
    known, missing, none = (
        simulate(VESSEL, thermal(), drive(CALM_AIR, humidity_pct=humidity), PROBES).moisture
        for humidity in (np.full(48, 80.0), np.full(48, np.nan), None)
    )
    assert np.array_equal(known, missing)
    assert np.array_equal(known, none)


def test_bedding_that_gets_wetter_swings_less():
    """The bedding's properties follow its water: after watering it holds more heat."""
    air, given_kg = weather(40, 14.0, spread_k=0.0), np.zeros(24 * 40)
    given_kg[24 * 20] = 8.0
    result = simulate(VESSEL, thermal(moisture=0.3, **STILL), drive(air, water_kg=given_kg), PROBES)
    edge = result.probes_c[0, :, EDGE]
    assert np.ptp(edge[-24:]) < 0.9 * np.ptp(edge[24 * 19 : 24 * 20])
    assert abs(np.diff(edge[24 * 20 : 24 * 20 + 3])).max() < 1.0  # no jump as the properties are taken anew


# ---- refuge


def test_all_is_refuge_while_all_is_tolerated():
    result = simulate(VESSEL, thermal(), drive(weather(20, 14.0)), PROBES, bands_c=[(-50.0, 60.0)])
    assert result.refuge == pytest.approx(1)
    assert not result.outside_k.any()


def test_worms_that_nowhere_is_tolerated_are_caught_as_far_outside_as_it_is():
    air = np.full(24, 2.0)
    result = simulate(
        VESSEL, thermal(**STILL), drive(air, start_c=2.0), PROBES, bands_c=[(5.0, 25.0), (-10.0, 0.5), (0.0, 25.0)]
    )
    assert result.outside_k[0] == pytest.approx(np.tile([3.0, 1.5, 0.0], (24, 1)))
    assert result.refuge[0] == pytest.approx(np.tile([0.0, 0.0, 1.0], (24, 1)))


def test_in_a_cold_spell_the_refuge_shrinks_to_nothing_and_grows_again():
    air = np.r_[np.full(120, 12.0), np.full(200, -3.0), np.full(300, 14.0)]
    result = simulate(VESSEL, thermal(), drive(air, start_c=12.0), PROBES, bands_c=[(5.0, 25.0)])
    refuge, outside_k = result.refuge[0, :, 0], result.outside_k[0, :, 0]
    assert refuge[:110] == pytest.approx(1)
    cold = refuge[120:320]
    assert ((cold > 0) & (cold < 1)).any()
    assert cold[-1] == 0
    assert outside_k[319] > 3
    assert refuge[-1] == pytest.approx(1)
    assert ((refuge > 0) == (outside_k == 0)).all()


def test_the_field_may_stray_by_set_and_hour():
    strays = np.zeros((2, 48))
    strays[1, 24:] = -9.0
    result = simulate(VESSEL, thermal(2, **STILL), drive(CALM_AIR), PROBES, bands_c=[(0.0, 25.0)], strays_k=strays)
    assert result.refuge[0, :, 0] == pytest.approx(1)
    assert result.refuge[1, :24, 0] == pytest.approx(1)
    assert result.outside_k[1, 24:, 0] == pytest.approx(1)
