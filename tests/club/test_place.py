"""Where bins stand: rounded as the keeper says, and a circle that covers all of the cell."""

import math
from decimal import Decimal

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.journal.examples import make_keeper
from underlid.club.place import GPS_M, STEPS, place_of

latitudes = st.floats(-90, 90).map(lambda x: round(x, 6))
longitudes = st.floats(-180, 180).map(lambda x: round(x, 6))


def at(latitude, longitude, place="0.1 degree"):
    return place_of(make_keeper(latitude=latitude, longitude=longitude, place=place))


@pytest.mark.parametrize(
    ("place", "latitude", "longitude"),
    [("1 degree", "52", "-1"), ("0.1 degree", "52.1", "-1.3"), ("0.01 degree", "52.12", "-1.35"),
     ("as noted", "52.123456", "-1.345678")],
)  # fmt: skip
def test_a_place_is_told_with_as_many_digits_as_its_keeper_says(place, latitude, longitude):
    found = at(52.123456, -1.345678, place)
    assert (f"{found.latitude:f}", f"{found.longitude:f}") == (latitude, longitude)


def test_no_place_is_told_where_it_may_not_be_or_was_not_noted():
    assert at(52.1, -1.3, "not told") is None
    assert at(None, None) is None


def test_what_was_noted_coarsely_is_not_told_more_finely():
    found = at(52.1, -1.3, "0.01 degree")
    assert (found.height, found.width) == (Decimal("0.1"), Decimal("0.1"))
    assert found.uncertainty_m == at(52.1, -1.3, "0.1 degree").uncertainty_m
    assert at(52.0, -1.3, "as noted").height == 1  # whether the 0 was noted cannot be told


def test_a_place_near_nought_and_on_the_meridian_of_180_degrees_has_one_name():
    assert f"{at(-0.04, -0.02).latitude:f}" == "0.0"
    assert at(10.2, 179.99).longitude == at(10.2, -179.99).longitude == -180


@pytest.mark.parametrize(
    ("latitude", "north_south_m", "east_west_m"),
    # The length of a degree on WGS84 (textbook values, recalled): along the meridian, along the parallel.
    [(0.5, 110_574, 111_315), (60.5, 111_417, 54_955)],
)
def test_the_circle_reaches_to_the_corners_of_the_cell_and_hardly_beyond(latitude, north_south_m, east_west_m):
    found = at(latitude, 20.5, "1 degree")
    middle = float(found.latitude)
    wider = east_west_m * math.cos(math.radians(middle - 0.5)) / math.cos(math.radians(latitude))
    corner = math.hypot(north_south_m / 2, wider / 2)
    assert corner <= found.uncertainty_m <= 1.02 * corner + GPS_M


@settings(max_examples=200, deadline=None)
@given(latitude=latitudes, longitude=longitudes, place=st.sampled_from([*STEPS, "as noted"]))
@example(89.97, 12.0, "0.1 degree")
@example(-89.7, -179.9, "1 degree")
def test_the_place_as_noted_is_in_the_cell_and_in_the_circle(latitude, longitude, place):
    """What was noted is never outside of what is told."""
    found = at(latitude, longitude, place)
    assert abs(Decimal(repr(latitude)) - found.latitude) <= found.height / 2
    east = abs(Decimal(repr(longitude)) - found.longitude) % 360
    assert min(east, 360 - east) <= found.width / 2
    assert sphere_m(latitude, longitude, found) <= found.uncertainty_m


@settings(max_examples=200, deadline=None)
@given(
    latitude=latitudes, longitude=longitudes, place=st.sampled_from([*STEPS]), u=st.floats(-1, 1), v=st.floats(-1, 1)
)
def test_every_point_of_the_cell_is_in_the_circle(latitude, longitude, place, u, v):
    found = at(latitude, longitude, place)
    there = max(-90.0, min(90.0, float(found.latitude) + u * float(found.height) / 2))
    assert sphere_m(there, float(found.longitude) + v * float(found.width) / 2, found) <= found.uncertainty_m


def sphere_m(latitude, longitude, place):
    """The distance by vectors on a sphere as large as the ellipsoid is at its equator."""

    def unit(lat, lon):
        lat, lon = math.radians(lat), math.radians(lon)
        return (math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat))

    chord = math.dist(unit(latitude, longitude), unit(float(place.latitude), float(place.longitude)))
    return 6_378_137 * 2 * math.asin(chord / 2)
