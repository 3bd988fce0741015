import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.breakdown import FOOD_J_PER_KG
from underlid.bedding.vessel import Vessel
from underlid.heat import properties
from underlid.heat.box import Box
from underlid.heat.films import films
from underlid.heat.reduced import Drive, GapInWeather, Thermal, march, simulate, standard_probes

VESSEL = Vessel(0.43, 0.30, 0.28, 0.22)
PROBES = list(standard_probes(VESSEL).values())


def thermal(sets=1, *, loss=1.0, base=2.0, heat=1.0, moisture=0.7):
    full = np.ones(sets)
    return Thermal(150.0 * full, moisture * full, loss * full, base * full, heat * full)


def drive(air_c, food_kg=0.0, start_c=8.0):
    food = np.zeros(len(air_c))
    food[0] = food_kg
    return Drive(np.asarray(air_c, float), food, 3.0, start_c)


# One-phase Stefan problem: water at 0 degC, surface at Ts; front depth after 24 h from lambda exp(lambda^2)
# erf(lambda) = Ste / sqrt(pi) (Carslaw & Jaeger 1959, ch. 11).
@pytest.mark.parametrize(("surface_c", "front_m"), [(-5, 0.0787265), (-10, 0.1107702), (-20, 0.1551061)])
def test_freezing_front_of_still_water(surface_c, front_m):
    one = np.ones(1)
    depth = 0.30
    box = Box.of(
        (1.0, 1.0, depth), (1, 1, 40), conductivity=2.22 * one, capacity=917 * 2100 * one, latent=917 * 334e3 * one,
        side=0 * one, top=1e6 * one, base=0 * one,
    )  # fmt: skip
    air = np.full((1, 25), float(surface_c))
    result = march(
        box, air, air, food_kg=np.zeros(25), start_c=0.0, bedding_w=0 * one, heat=one,
        weights=np.zeros((0, 40)), freezing_c=-1e-4,
    )  # fmt: skip
    assert result.frozen[0, 24] * depth == pytest.approx(front_m, rel=0.05)


@given(seed=st.integers(0, 200), spread=st.floats(0.5, 15))
@settings(max_examples=25, deadline=None)
def test_heat_is_conserved_while_part_of_the_bedding_freezes(seed, spread):
    one = np.ones(1)
    water = properties.water_fraction(150.0, 0.7)
    capacity, latent = float(properties.heat_capacity(150.0, water)), float(properties.latent_heat(water))
    box = Box.of(
        (0.43, 0.30, 0.22), (3, 3, 5), conductivity=0.3 * one, capacity=capacity * one, latent=latent * one,
        side=0 * one, top=0 * one, base=0 * one,
    )  # fmt: skip
    start = np.random.default_rng(seed).uniform(-spread, spread, 45)
    still = np.zeros((1, 49))
    result = march(
        box, still, still, food_kg=np.zeros(49), start_c=start, bedding_w=0 * one, heat=one, weights=np.eye(45)
    )

    def held(field):
        return sum(
            share * properties.enthalpy(t, capacity, latent, properties.FIRST_FREEZING_C)
            for share, t in zip(box.share, field, strict=True)
        )

    before = held(start)
    for hour in (1, 12, 48):
        assert held(result.probes_c[0, hour]) == pytest.approx(before, abs=1e-9 * latent)


def test_food_gives_up_its_energy_and_no_more():
    """An insulated bin: the bedding gains at most the energy of the feeding, and in the end nearly all of it."""
    one = np.ones(1)
    capacity = 1e9 * one  # so heavy that it hardly warms: the rate stays that of 25 degC
    box = Box.of(
        (0.43, 0.30, 0.22), (3, 3, 5), conductivity=0.3 * one, capacity=capacity, latent=0 * one,
        side=0 * one, top=0 * one, base=0 * one,
    )  # fmt: skip
    hours = 24 * 90
    still = np.zeros((1, hours))
    food = np.zeros(hours)
    food[0] = 0.5
    result = march(
        box, still, still, food_kg=food, start_c=25.0, bedding_w=0 * one, heat=one, weights=box.share[None, :]
    )
    gained = (result.probes_c[0, :, 0] - 25.0) * capacity[0] * box.volume_m3
    assert (np.diff(gained) >= 0).all()
    assert gained[-1] == pytest.approx(0.5 * FOOD_J_PER_KG * (1 - np.exp(-0.08 * 90)), rel=0.01)


@given(
    air=st.lists(st.floats(-25, 35), min_size=5, max_size=60),
    start=st.floats(-10, 25),
    loss=st.floats(0.3, 3),
    base=st.floats(0.2, 12),
)
@settings(max_examples=40, deadline=None)
def test_without_heat_of_its_own_the_bedding_stays_between_its_surroundings(air, start, loss, base):
    result = simulate(VESSEL, thermal(loss=loss, base=base, heat=0.0), drive(air, start_c=start), PROBES)
    low, high = min(*air, start), max(*air, start)
    assert result.probes_c.min() >= low - 1e-6
    assert result.probes_c.max() <= high + 1e-6
    assert ((result.refuge >= 0) & (result.refuge <= 1)).all()
    assert ((result.frozen >= 0) & (result.frozen <= 1)).all()


def test_latent_heat_holds_the_middle_at_freezing_for_days():
    air = np.full(24 * 6, -6.0)
    wet = simulate(VESSEL, thermal(moisture=0.75), drive(air, start_c=4.0), PROBES).probes_c[0, :, 0]
    at_freezing = (wet < 0) & (wet > -1.5)
    assert at_freezing.sum() > 24


def test_a_bigger_loss_a_colder_night_and_food_a_warmer_middle():
    air = 4 + 5 * np.sin(np.arange(240) * 2 * np.pi / 24)
    nominal = simulate(VESSEL, thermal(), drive(air), PROBES).probes_c[0, :, 0]
    leaky = simulate(VESSEL, thermal(loss=2.0), drive(air), PROBES).probes_c[0, :, 0]
    fed = simulate(VESSEL, thermal(), drive(air, food_kg=2.0), PROBES).probes_c[0, :, 0]
    assert leaky[48:].min() < nominal[48:].min()
    assert (fed[1:] > nominal[1:]).all()


def test_each_set_of_a_batch_is_what_it_is_alone():
    rng = np.random.default_rng(5)
    air = rng.normal(0, 4, 200)
    batch = Thermal(*(rng.uniform(low, high, 7) for low, high in [(80, 250), (0.5, 0.8), (0.5, 2), (0.5, 6), (0.3, 3)]))
    together = simulate(VESSEL, batch, drive(air), PROBES)
    for i in range(7):
        alone = Thermal(
            *(getattr(batch, name)[i : i + 1] for name in ("dry_kg_m3", "moisture", "loss", "base", "heat"))
        )
        np.testing.assert_allclose(
            simulate(VESSEL, alone, drive(air), PROBES).probes_c[0], together.probes_c[i], atol=1e-9
        )


def test_a_coarse_grid_stays_near_a_fine_one_through_frost():
    rng = np.random.default_rng(1)
    air = -1 + 4 * np.sin(np.arange(24 * 40) * 2 * np.pi / 24) + np.repeat(rng.normal(0, 3, 40), 24)
    coarse = simulate(VESSEL, thermal(), drive(air), PROBES)
    fine = simulate(VESSEL, thermal(), drive(air), PROBES, grid=(7, 7, 11))
    rms = np.sqrt(((coarse.probes_c - fine.probes_c) ** 2).mean(axis=(0, 1)))
    assert rms.max() < 0.5


def test_ground_under_a_slab_lags_and_under_feet_is_air():
    air = np.r_[np.full(200, 10.0), np.full(200, -10.0)]
    on_feet = Vessel(0.43, 0.30, 0.28, 0.22, base="feet")
    slab = simulate(VESSEL, thermal(base=8.0), drive(air, start_c=10.0), PROBES).probes_c[0, 220:320, 0]
    feet = simulate(on_feet, thermal(base=8.0), drive(air, start_c=10.0), PROBES).probes_c[0, 220:320, 0]
    assert (slab > feet).all()


@pytest.mark.parametrize("base", ["slab", "soil", "feet"])
def test_the_past_does_not_depend_on_how_far_one_looks_ahead(base):
    vessel = Vessel(0.43, 0.30, 0.28, 0.22, base=base)
    air = np.r_[np.full(240, 8.0), np.full(800, -6.0)]
    short = simulate(vessel, thermal(), drive(air[:240]), PROBES).probes_c
    far = simulate(vessel, thermal(), drive(air), PROBES).probes_c
    np.testing.assert_allclose(far[:, :240], short)


def test_a_gap_in_the_air_is_refused():
    air = np.full(48, 3.0)
    air[17] = np.nan
    with pytest.raises(GapInWeather, match="hour 17"):
        simulate(VESSEL, thermal(), drive(air), PROBES)


def test_films_of_a_sheltered_bin_lie_where_they_are_measured():
    """Sheltered in calm 7-12 W/m2K outside (recalled); plastic walls of 3 mm hardly add to it."""
    calm = films(VESSEL)
    assert 7 <= calm.side <= 12
    assert calm.top < calm.side
    assert films(VESSEL, 6.0).side > calm.side


@pytest.mark.parametrize("wind", [-1.0, 100.0, float("nan")])
def test_an_impossible_wind_is_refused(wind):
    with pytest.raises(ValueError, match="metres per second"):
        films(VESSEL, wind)
