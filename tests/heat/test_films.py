import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from underlid.bedding.vessel import Insulation, Vessel
from underlid.heat.films import WIND_SHARE, films

SIZES = (0.43, 0.30, 0.28, 0.22)
VESSEL = Vessel(*SIZES)
FULL = Vessel(0.43, 0.30, 0.22, 0.22)  # the lid lies on the bedding
WRAP = Insulation("expanded polystyrene", 0.05, ("sides", "lid", "base"))
SUN = np.array([0.0, 50.0, 800.0])


def bare(siting):
    """A bin whose wall takes no part, so that its coefficient is the outside film."""
    return Vessel(*SIZES, wall_thickness_m=0.0, siting=siting)


def test_films_of_a_sheltered_bin_lie_where_they_are_measured():
    """Sheltered in calm 7-12 W/m2K outside (recalled); plastic walls of 3 mm hardly add to it."""
    calm = films(VESSEL)
    assert 7 <= calm.side[0] <= 12
    assert calm.top[0] < calm.side[0]


@pytest.mark.parametrize("wind_m_s", [0.0, 1.0, 5.0])
@pytest.mark.parametrize(("siting", "share"), WIND_SHARE.items())
def test_outside_film_by_iso_6946(siting, share, wind_m_s):
    """Convection 4 + 4 v, radiation 4.5 W/m2K (ISO 6946, recalled), with the wind that reaches the bin."""
    assert films(bare(siting), wind_m_s).side[0] == pytest.approx(4.5 + 4 + 4 * wind_m_s * share)


def test_outside_resistance_in_four_metres_a_second():
    """ISO 6946 tables 0.04 m2K/W for a wind of 4 m/s at the wall (recalled)."""
    outdoors = films(bare("outdoors"), 4.0 / WIND_SHARE["outdoors"])
    assert 1 / outdoors.side[0] == pytest.approx(0.04, abs=0.002)


def test_wind_takes_heat_hour_by_hour_but_not_indoors():
    wind = np.array([0.0, 2.0, 8.0])
    sheltered, indoors = films(VESSEL, wind), films(Vessel(*SIZES, siting="indoors"), wind)
    for film in (sheltered.side, sheltered.top):
        assert (np.diff(film) > 0).all()
    assert np.ptp(indoors.side) == np.ptp(indoors.top) == 0
    assert films(VESSEL, 8.0).base == films(VESSEL, 0.0).base


def test_a_wall_adds_its_resistance():
    """3 mm of polypropylene, 0.2 W/mK: 0.015 m2K/W."""
    assert 1 / films(VESSEL).side[0] == pytest.approx(1 / 8.5 + 0.015)


def test_a_lid_on_the_bedding_is_a_wall_and_headspace_is_a_still_layer_more():
    """By hand: 0.10 up to the air, then the lid (0.10 + 0.015 + 1/8.5) beside bare walls (0.13 + 0.015 + 1/8.5).

    Bare walls 2 (0.43 + 0.30) 0.06 m2 over 0.129 m2 of bedding: 0.679.
    """
    assert 1 / films(FULL).top[0] == pytest.approx(0.015 + 1 / 8.5)
    through = 1 / (0.115 + 1 / 8.5) + 0.0876 / 0.129 / (0.145 + 1 / 8.5)
    assert 1 / films(VESSEL).top[0] == pytest.approx(0.10 + 1 / through)
    assert films(VESSEL).top[0] < films(FULL).top[0]


def test_more_headspace_shows_more_wall():
    high = Vessel(0.43, 0.30, 0.40, 0.22)
    assert films(high).top[0] > films(VESSEL).top[0]


@settings(deadline=None)
@given(wind_m_s=st.floats(0, 30), thickness_m=st.floats(0.001, 0.3))
def test_insulation_adds_its_resistance_exactly(wind_m_s, thickness_m):
    layer = Insulation("straw", thickness_m, ("sides", "lid", "base"))
    plain, wrapped = films(FULL, wind_m_s), films(Vessel(0.43, 0.30, 0.22, 0.22, insulation=(layer,)), wind_m_s)
    for before, after in ((plain.side, wrapped.side), (plain.top, wrapped.top), (plain.base, wrapped.base)):
        assert 1 / after - 1 / before == pytest.approx(thickness_m / 0.060)


def test_insulation_works_on_the_faces_it_covers():
    plain = films(VESSEL)
    lid = films(Vessel(*SIZES, insulation=(Insulation("quilt", 0.05, ("lid",)),)))
    sides = films(Vessel(*SIZES, insulation=(Insulation("quilt", 0.05, ("sides",)),)))
    base = films(Vessel(*SIZES, insulation=(Insulation("quilt", 0.05, ("base",)),)))
    assert (lid.side[0], lid.base) == (plain.side[0], plain.base)
    assert lid.top[0] < plain.top[0]
    assert sides.side[0] < plain.side[0]
    assert sides.top[0] < plain.top[0]  # the headspace has sides
    assert sides.base == plain.base
    assert (base.side[0], base.top[0]) == (plain.side[0], plain.top[0])
    assert base.base < plain.base


@pytest.mark.parametrize("siting", sorted(set(WIND_SHARE) - {"outdoors"}))
def test_under_a_roof_there_is_neither_sun_nor_sky(siting):
    found = films(Vessel(*SIZES, siting=siting), 2.0, SUN)
    assert not found.side_gain_k.any()
    assert not found.top_gain_k.any()


def test_outdoors_the_sky_cools_the_lid_by_night_and_the_sun_warms_it_by_day():
    """The sol-air form of ASHRAE (recalled): (absorbed sun - 63 W/m2) / film, the sky clear half of the time."""
    found = films(bare("outdoors"), 0.0, SUN)
    assert found.top_gain_k == pytest.approx((0.7 * SUN - 63 / 2) / 8.5)
    assert found.top_gain_k[0] < 0 < found.top_gain_k[2]
    assert found.side_gain_k == pytest.approx(0.25 * 0.7 * SUN / 8.5)
    assert (films(bare("outdoors"), 5.0, SUN).top_gain_k[2] < found.top_gain_k[2]).all()  # wind carries it off


def test_without_radiation_sun_and_sky_are_left_out():
    found = films(Vessel(*SIZES, siting="outdoors"), 2.0)
    assert not found.side_gain_k.any()
    assert not found.top_gain_k.any()


def test_the_ground_follows_slowly_and_air_under_feet_at_once():
    memory = {base: films(Vessel(*SIZES, base=base)).ground_memory_h for base in ("feet", "slab", "soil")}
    assert memory["feet"] == 0 < memory["slab"] < memory["soil"]


@pytest.mark.parametrize("wind", [-1.0, 100.0, float("nan"), [3.0, -2.0]])
def test_an_impossible_wind_is_refused(wind):
    with pytest.raises(ValueError, match="metres per second"):
        films(VESSEL, wind)
