from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.breakdown import FOOD_J_PER_KG
from underlid.bedding.vessel import Insulation, Vessel
from underlid.heat import moisture, properties, reduced
from underlid.heat.films import films
from underlid.heat.grid import FOOD_PLACES, Grid, OutsideBedding, Probe
from underlid.heat.model import GRID, Drive, GapInWeather, Thermal, simulate, standard_probes

from .bins import (
    CALM_AIR,
    EDGE,
    MIDDLE,
    PROBES,
    SIZES,
    STILL,
    SURFACE,
    VESSEL,
    VOLUME_M3,
    drive,
    thermal,
    weather,
)


def rms(difference):
    """Over sets and hours, by probe."""
    return np.sqrt(np.mean(difference**2, axis=(0, 1)))


# ---- the reduced model and the full field


@pytest.mark.parametrize("wind_m_s", [0.0, 3.0, 8.0])
def test_thawed_the_reduced_model_follows_the_full_field(wind_m_s):
    air = drive(weather(60, 14.0), 1.0, wind_m_s=wind_m_s)
    fast, full = simulate(VESSEL, thermal(), air, PROBES), simulate(VESSEL, thermal(), air, PROBES, full=True)
    assert (fast.full_field[0], full.full_field[0]) == (0, 1)
    assert rms(fast.probes_c - full.probes_c).max() < 0.06
    np.testing.assert_allclose(fast.moisture, full.moisture, atol=1e-3)


def test_wind_that_varies_is_followed_nearly():
    wind = np.random.default_rng(4).gamma(2, 2, 24 * 60)
    outdoors = Vessel(*SIZES, siting="outdoors")
    air = drive(weather(60, 14.0), wind_m_s=wind)
    fast, full = simulate(outdoors, thermal(), air, PROBES), simulate(outdoors, thermal(), air, PROBES, full=True)
    mean = simulate(outdoors, thermal(), drive(weather(60, 14.0), wind_m_s=3.0), PROBES, full=True)
    followed = rms(fast.probes_c - full.probes_c)
    assert followed.max() < 0.08
    assert followed[EDGE] < 0.5 * rms(mean.probes_c - full.probes_c)[EDGE]


def test_the_full_field_takes_over_in_frost_and_hands_back_after_it():
    air = np.r_[np.full(240, 8.0), np.full(240, -12.0), np.full(720, 11.0)]
    winter = drive(air)
    hours = {
        until: simulate(VESSEL, thermal(), winter.until(until), PROBES).full_field[0] * (until - 1)
        for until in (240, 480, 900, 1200)
    }
    assert hours[240] == 0
    assert hours[480] > 0.95 * 240
    assert hours[1200] == pytest.approx(hours[900])  # thawed, it is the reduced model's again
    frozen = simulate(VESSEL, thermal(), winter, PROBES).frozen[0]
    assert not frozen[:240].any()
    assert frozen[470:480].min() > 0.9
    assert not frozen[900:].any()


def test_through_frost_too_the_two_agree():
    winter = drive(weather(60, 1.0, spread_k=5.0), 1.0)
    fast, full = simulate(VESSEL, thermal(), winter, PROBES), simulate(VESSEL, thermal(), winter, PROBES, full=True)
    assert 0 < fast.full_field[0] < 1
    assert full.frozen.max() > 0.2
    assert rms(fast.probes_c - full.probes_c).max() < 0.1


def test_a_coarse_grid_stays_near_a_fine_one_through_frost():
    winter = drive(weather(40, -1.0, swing_k=4.0, spread_k=3.0))
    coarse = simulate(VESSEL, thermal(), winter, PROBES)
    fine = simulate(VESSEL, thermal(), winter, PROBES, grid=(5, 5, 8), full=True)
    assert rms(coarse.probes_c - fine.probes_c).max() < 0.3


def test_longer_steps_stay_near_hours_and_spend_the_same_food():
    food = np.zeros(24 * 40)
    food[101::168] = 0.1  # kg in one hour of each week, of odd number too
    winter = Drive(weather(40, 1.0, swing_k=4.0, spread_k=3.0), food, 3.0, 8.0)
    hourly, longer = simulate(VESSEL, thermal(), winter, PROBES), simulate(VESSEL, thermal(), winter, PROBES, step_h=2)
    assert longer.probes_c.shape[1] == 24 * 40 // 2
    assert rms(longer.probes_c - hourly.probes_c[:, ::2]).max() < 0.1
    np.testing.assert_allclose(longer.moisture, hourly.moisture[:, ::2], atol=1e-3)
    np.testing.assert_allclose(longer.end.food_j, hourly.end.food_j, rtol=0.02)


@settings(max_examples=40, deadline=None)
@given(
    air=st.lists(st.floats(-25, 35), min_size=5, max_size=60),
    start_c=st.floats(-10, 25),
    loss=st.floats(0.3, 3),
    base=st.floats(0.2, 12),
)
def test_without_heat_of_its_own_the_bedding_stays_between_its_surroundings(air, start_c, loss, base):
    """Cells do (test_field.py); the parabola a probe reads overshoots by up to 2 % of a jump, and the reduced model
    follows its cells within its bound.
    """
    sets, low, high = thermal(loss=loss, base=base, **STILL), min(*air, start_c), max(*air, start_c)
    nodes = [Probe(0.15, 0.11)]
    for full, slack in ((True, 0.02), (False, 0.05)):
        result = simulate(VESSEL, sets, drive(air, start_c=start_c), nodes, bands_c=[(0.0, 25.0)], full=full)
        assert result.probes_c.min() >= low - slack * (high - low) - 1e-6
        assert result.probes_c.max() <= high + slack * (high - low) + 1e-6
        assert ((result.refuge >= 0) & (result.refuge <= 1)).all()
        assert ((result.frozen >= 0) & (result.frozen <= 1)).all()
        assert ((result.outside_k == 0) | (result.refuge == 0)).all()


# ---- sets and hours


def test_each_set_of_a_batch_is_what_it_is_alone():
    rng = np.random.default_rng(5)
    ranges = [(80, 250), (0.5, 0.8), (0.5, 2), (0.5, 2), (0.5, 6), (0.3, 3), (0.3, 3)]
    batch = [rng.uniform(low, high, 7) for low, high in ranges]
    air = drive(rng.normal(1, 4, (7, 300)), 1.0)
    together = simulate(VESSEL, Thermal(*batch), air, PROBES, bands_c=[(5.0, 25.0)])
    assert (together.full_field > 0).any()
    for i in range(7):
        own = drive(air.air_c[i], 1.0)
        alone = simulate(VESSEL, Thermal(*(one[i : i + 1] for one in batch)), own, PROBES, bands_c=[(5.0, 25.0)])
        for name in ("probes_c", "frozen", "moisture", "refuge", "outside_k", "full_field"):
            np.testing.assert_allclose(getattr(alone, name)[0], getattr(together, name)[i], atol=1e-9, err_msg=name)


@pytest.mark.parametrize("base", ["slab", "soil", "feet"])
def test_the_past_does_not_depend_on_how_far_one_looks_ahead(base):
    vessel = Vessel(*SIZES, base=base, siting="outdoors")
    hours = 1040
    rng = np.random.default_rng(8)
    far = Drive(
        np.r_[np.full(240, 8.0), np.full(800, -6.0)], rng.uniform(0, 0.01, hours), rng.uniform(0, 8, hours), 8.0,
        rng.uniform(40, 100, hours), rng.uniform(0, 600, hours), rng.uniform(0, 0.02, hours),
    )  # fmt: skip
    long = simulate(vessel, thermal(2), far, PROBES, bands_c=[(5.0, 25.0)])
    short = simulate(vessel, thermal(2), far.until(300), PROBES, bands_c=[(5.0, 25.0)])
    for name in ("probes_c", "frozen", "moisture", "refuge", "outside_k"):
        np.testing.assert_allclose(getattr(long, name)[:, :300], getattr(short, name), atol=1e-9, err_msg=name)


def test_the_first_hour_is_the_start():
    result = simulate(VESSEL, thermal(3), drive(weather(3, 5.0), start_c=7.5), PROBES)
    assert result.probes_c.shape == (3, 72, 3)
    assert result.probes_c[:, 0] == pytest.approx(7.5)
    assert result.moisture[:, 0] == pytest.approx(0.7)


def test_without_probes_and_bands_there_is_still_water():
    result = simulate(VESSEL, thermal(), drive(CALM_AIR), [])
    assert result.probes_c.shape == (1, 48, 0)
    assert result.refuge.shape == (1, 48, 0)
    assert (result.moisture > 0).all()


def test_a_gap_in_the_air_is_refused():
    air = CALM_AIR.copy()
    air[17] = np.nan
    with pytest.raises(GapInWeather, match="hour 17"):
        simulate(VESSEL, thermal(), drive(air), PROBES)


def test_a_probe_outside_the_bedding_is_refused():
    with pytest.raises(OutsideBedding, match=r"0\.25 m deep"):
        simulate(VESSEL, thermal(), drive(CALM_AIR), [Probe(0.1, 0.25)])


# ---- what warms and cools


@pytest.mark.parametrize("place", FOOD_PLACES)
def test_food_gives_up_its_energy_and_its_water_and_no_more(place):
    """Warmth over all hours is energy times what a steady watt would do, by the cells' own conduction.

    At 25 degC breakdown is at its fastest, 0.08 a day, so 90 days leave exp(-7.2) of it; what is fed makes it
    warmer, and the bedding itself then respires a little less.
    """
    hours, share = 24 * 90, 1 - np.exp(-0.08 * 90)
    air = np.full(hours, 25.0)
    dry = {"dry_kg_m3": 60.0, "moisture": 0.8, "drying": 0.0}
    unfed, fed = (
        simulate(VESSEL, thermal(**dry), drive(air, kg, start_c=25.0, place=place), PROBES, full=True)
        for kg in (0.0, 0.2)
    )
    water = properties.water_fraction(60.0, 0.8)
    k, grid = float(properties.conductivity(water)), Grid.of((0.43, 0.30, 0.22), GRID)
    conduct, outer = reduced.operator(grid)
    nominal, (x, y, z) = films(VESSEL, 3.0), grid.widths
    loss = k * conduct
    for face, film, half in zip(
        outer, (nominal.side[0], nominal.side[0], nominal.top[0], 2.0), (x[-1] / 2, y[-1] / 2, z[-1] / 2, z[0] / 2),
        strict=True,
    ):  # fmt: skip
        loss = loss + np.diag(face / (1 / film + half / k))
    per_watt = grid.weights(PROBES) @ np.linalg.solve(loss, grid.patterns()[1 + FOOD_PLACES.index(place)]) / VOLUME_M3
    warmth = (fed.probes_c - unfed.probes_c)[0]
    assert (warmth[24:] > 0).all()
    assert warmth.sum(axis=0) * 3600 == pytest.approx(0.2 * FOOD_J_PER_KG * share * per_watt, rel=0.02)
    held = fed.moisture[0, -1] / (1 - fed.moisture[0, -1]) - unfed.moisture[0, -1] / (1 - unfed.moisture[0, -1])
    assert held * 60.0 * VOLUME_M3 == pytest.approx(0.2 * moisture.FOOD_WATER * share, rel=0.01)


def test_food_warms_where_it_lies_more_than_elsewhere():
    air = np.full(24 * 20, 15.0)
    plain = simulate(VESSEL, thermal(), drive(air, start_c=15.0), PROBES).probes_c[0]
    warmth = {}
    for place in FOOD_PLACES:
        fed = simulate(VESSEL, thermal(), drive(air, 1.0, start_c=15.0, place=place), PROBES)
        warmth[place] = fed.probes_c[0, 240] - plain[240]
    assert warmth["middle"][MIDDLE] > warmth["not noted"][MIDDLE] > warmth["edge"][MIDDLE]
    at_edge, at_surface = (
        {place: felt[probe] / felt[MIDDLE] for place, felt in warmth.items()} for probe in (EDGE, SURFACE)
    )
    assert at_edge["edge"] > at_edge["not noted"] > at_edge["middle"]
    assert at_surface["surface"] > at_surface["not noted"]


def lowest(vessel=VESSEL, **changed):
    """The lowest temperature at each probe of a week of cold nights after two days."""
    air = drive(weather(9, 5.0, spread_k=1.0), start_c=10.0)
    return (
        simulate(vessel, thermal(**changed), air, list(standard_probes(vessel).values())).probes_c[0, 48:].min(axis=0)
    )


@pytest.mark.parametrize(
    "better",
    [
        lambda: lowest(Vessel(*SIZES, insulation=(Insulation("straw", 0.1),))),
        lambda: lowest(Vessel(*SIZES, wall="wood", wall_thickness_m=0.03)),
        lambda: lowest(loss=0.5),
        lambda: lowest(lid=0.5),
        lambda: lowest(heat=3.0),
        lambda: lowest(Vessel(*SIZES, siting="unheated shed")),
    ],
)
def test_nights_are_milder_with_less_loss_or_more_heat(better):
    assert (better() > lowest()).all()


def test_a_deeper_bin_swings_less_in_its_middle():
    swing = []
    for depth_m in (0.10, 0.22, 0.40):
        vessel = Vessel(0.43, 0.30, depth_m + 0.06, depth_m)
        result = simulate(vessel, thermal(**STILL), drive(weather(20, 12.0, spread_k=0.0)), [Probe(0.15, depth_m / 2)])
        swing.append(np.ptp(result.probes_c[0, -24:, 0]))
    assert swing[0] > swing[1] > swing[2]


def test_latent_heat_holds_the_middle_at_freezing_for_days():
    held = [
        simulate(VESSEL, thermal(moisture=wet), drive(np.full(24 * 6, -6.0), start_c=4.0), PROBES).probes_c[
            0, :, MIDDLE
        ]
        for wet in (0.75, 0.3)
    ]
    hours = [((middle < 0) & (middle > -1.5)).sum() for middle in held]
    assert hours[0] > 24
    assert hours[0] > 2 * hours[1]


def test_ground_under_a_slab_lags_and_under_feet_is_air():
    air = np.r_[np.full(200, 20.0), np.full(200, 4.0)]
    on_feet = Vessel(*SIZES, base="feet")
    slab, feet = (
        simulate(one, thermal(base=8.0), drive(air, start_c=20.0), PROBES).probes_c[0, 220:320, MIDDLE]
        for one in (VESSEL, on_feet)
    )
    assert (slab > feet + 0.2).all()


def test_outdoors_the_sun_warms_and_the_night_sky_cools():
    outdoors = Vessel(*SIZES, siting="outdoors")
    sun = np.clip(600 * np.sin(np.arange(24 * 6) * 2 * np.pi / 24), 0, None)
    air = np.full(24 * 6, 15.0)
    plain = simulate(outdoors, thermal(**STILL), drive(air, start_c=15.0), PROBES).probes_c[0, :, SURFACE]
    bright = simulate(outdoors, thermal(**STILL), drive(air, start_c=15.0, radiation_w_m2=sun), PROBES)
    dark = simulate(outdoors, thermal(**STILL), drive(air, start_c=15.0, radiation_w_m2=0 * sun), PROBES)
    assert bright.probes_c[0, -24:, SURFACE].max() > plain[-1] + 1
    assert dark.probes_c[0, -1, SURFACE] < plain[-1] - 1
    roofed = simulate(VESSEL, thermal(**STILL), drive(air, start_c=15.0, radiation_w_m2=sun), PROBES)
    assert roofed.probes_c[0] == pytest.approx(15.0)
