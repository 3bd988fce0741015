"""The reference functions themselves, against numbers computed apart from them with 30 digits.

Unless said otherwise the bedding conducts 0.35 W/mK and holds 2.4 MJ/m3K, starts at 10 degC, and meets -10 degC.
Numbers stand as printed, and are met within half a unit of their last digit.
"""

import math

import numpy as np
import pytest

from . import closed_forms as exact

CONDUCTIVITY, CAPACITY = 0.35, 2.4e6
DIFFUSIVITY = CONDUCTIVITY / CAPACITY
HOUR_S = 3600.0
DAY_S, YEAR_S = 24 * HOUR_S, 365.25 * 24 * HOUR_S
BEDDING = {"conductivity": CONDUCTIVITY, "diffusivity": DIFFUSIVITY}
SIZE_M = (0.45, 0.32, 0.29)
ICE = {"conductivity": 2.22, "capacity": 917 * 2100.0, "latent": 917 * 334e3}


def as_printed(number: str):
    """Within half a unit of the last digit printed."""
    digits = len(number.partition(".")[2].partition("e")[0])
    exponent = int(number.partition("e")[2] or 0)
    return pytest.approx(float(number), rel=1e-12, abs=0.5000001 * 10.0 ** (exponent - digits))


def test_as_printed_tells_a_wrong_last_digit():
    assert as_printed("0.4540656") == 0.45406564
    assert as_printed("0.4540656") != 0.45406566
    assert as_printed("1.4583333e-7") != 1.4583334e-7


def test_diffusivity():
    assert as_printed("1.4583333e-7") == DIFFUSIVITY


@pytest.mark.parametrize(
    ("depth_m", "hours", "there_c"),
    [(0.05, 6, "-0.5746665"), (0.05, 24, "-5.055683"), (0.10, 24, "-0.5746665"), (0.145, 72, "-1.958874")],
)
def test_semi_infinite_forced(depth_m, hours, there_c):
    found = exact.semi_infinite_forced(depth_m, hours * HOUR_S, diffusivity=DIFFUSIVITY, start_c=10, surface_c=-10)
    assert found == as_printed(there_c)


@pytest.mark.parametrize(
    ("depth_m", "hours", "there_c"), [(0.0, 6, "-6.632348"), (0.05, 24, "-3.455592"), (0.10, 24, "0.7603357")]
)
def test_semi_infinite_convection(depth_m, hours, there_c):
    found = exact.semi_infinite_convection(depth_m, hours * HOUR_S, **BEDDING, film=20, start_c=10, air_c=-10)
    assert found == as_printed(there_c)


@pytest.mark.parametrize(
    ("biot", "roots"),
    [
        (0.1, ("0.311052848", "3.17309718", "6.29905936", "9.43537598")),
        (1.0, ("0.860333589", "3.42561846", "6.43729818", "9.52933441")),
        (10.0, ("1.42887001", "4.30580141", "7.22810977", "10.2002626")),
    ],
)
def test_plane_wall_roots(biot, roots):
    assert list(exact.plane_wall_roots(biot, 4)) == [as_printed(root) for root in roots]


@pytest.mark.parametrize(
    ("film", "hours", "walls", "product", "centre_c", "corner_c"),
    [
        (10, 6, (".99625887", ".95888738", ".93424585"), ".89248511", "7.849702", "-9.430465"),
        (10, 12, (".94965917", ".81149335", ".75441598"), ".58138472", "1.627694", "-9.765759"),
        (10, 24, (".78286052", ".54141169", ".46615058"), ".19757785", "-6.048443", "-9.932832"),
        (10, 48, (".49652614", ".23728869", ".17658645"), ".020805422", "-9.583892", "-9.993094"),
        (20, 6, (".99465454", ".94359770", ".91073670"), ".85477533", "7.095507", "-9.904608"),
        (20, 12, (".93503848", ".76447438", ".69561121"), ".49723191", "-0.0553618", "-9.965924"),
        (20, 24, (".74248598", ".46899065", ".38661391"), ".13462630", "-7.307474", "-9.992103"),
        (20, 48, (".43943181", ".17458003", ".11883267"), ".0091163691", "-9.817673", "-9.999475"),
    ],
)
def test_brick(film, hours, walls, product, centre_c, corner_c):
    seconds = hours * HOUR_S
    for side, wall in zip(SIZE_M, walls, strict=True):
        centre = exact.plane_wall(
            0.0, seconds, half_m=side / 2, conductivity=CONDUCTIVITY, diffusivity=DIFFUSIVITY, film=film
        )
        assert centre == as_printed(wall)
    middle = exact.brick((0, 0, 0), seconds, size_m=SIZE_M, **BEDDING, film=film)
    corner = exact.brick([s / 2 for s in SIZE_M], seconds, size_m=SIZE_M, **BEDDING, film=film)
    assert middle == as_printed(product)
    assert -10 + 20 * middle == as_printed(centre_c)
    assert -10 + 20 * corner == as_printed(corner_c)


def test_slowest_time_constant_of_the_brick():
    rate = sum(exact.plane_wall_roots(20 * s / 2 / CONDUCTIVITY, 1)[0] ** 2 / (s / 2) ** 2 for s in SIZE_M)
    assert 1 / (DIFFUSIVITY * rate) / HOUR_S == as_printed("8.898675")


def test_damping_depth():
    assert exact.damping_depth(DIFFUSIVITY, DAY_S) == as_printed("0.0633301")
    assert exact.damping_depth(DIFFUSIVITY, YEAR_S) == as_printed("1.210335")


@pytest.mark.parametrize(
    ("depth_m", "film", "ratio", "lag_h"),
    [
        (0.05, math.inf, "0.4540656", "3.015720"),
        (0.145, math.inf, "0.1013080", "8.745589"),
        (0.0, 20.0, "0.7657552", "0.8144126"),
    ],
)
def test_daily_wave_into_a_half_space(depth_m, film, ratio, lag_h):
    response = exact.half_space_response(depth_m, **BEDDING, period_s=DAY_S, film=film)
    found, lag_s = exact.ratio_and_lag(response, DAY_S)
    assert found == as_printed(ratio)
    assert lag_s / HOUR_S == as_printed(lag_h)


def test_daily_wave_in_the_middle_of_a_slab():
    response = exact.slab_response(0.0, half_m=0.145, **BEDDING, period_s=DAY_S, film=20)
    ratio, lag_s = exact.ratio_and_lag(response, DAY_S)
    assert ratio == as_printed("0.1547466")
    assert lag_s / HOUR_S == as_printed("9.580938")


def test_a_thick_slab_answers_as_a_half_space():
    slab = exact.slab_response(0.95, half_m=1.0, **BEDDING, period_s=DAY_S, film=20)
    space = exact.half_space_response(0.05, **BEDDING, period_s=DAY_S, film=20)
    assert slab == pytest.approx(space, rel=1e-9)


@pytest.mark.parametrize(
    ("surface_c", "stefan", "root", "front_m", "quasi_steady_m"),
    [
        (-5, ".0314371", ".124724592", ".0787265", ".0791362"),
        (-10, ".0628743", ".175490642", ".1107702", ".1119156"),
        (-20, ".1257485", ".245730985", ".1551061", ".1582725"),
    ],
)
def test_one_phase_stefan(surface_c, stefan, root, front_m, quasi_steady_m):
    number = ICE["capacity"] * -surface_c / ICE["latent"]
    found = exact.stefan_root(number)
    assert number == as_printed(stefan)
    assert found == as_printed(root)
    assert exact.front_m(found, ICE["conductivity"] / ICE["capacity"], DAY_S) == as_printed(front_m)
    quasi_steady = exact.quasi_steady_front_m(ICE["conductivity"], -surface_c, ICE["latent"], DAY_S)
    assert quasi_steady == as_printed(quasi_steady_m)


def bedding_freezes(surface_c, start_c):
    return exact.Neumann(0.6, 1.5e6, CONDUCTIVITY, CAPACITY, 1.67e8, surface_c, start_c)


@pytest.mark.parametrize(
    ("surface_c", "start_c", "root", "one_day_m", "three_days_m", "days_to_the_middle"),
    [
        (-10, 0, ".208852433", ".0776526715", ".134498372", "3.486769"),
        (-10, 5, ".193016144", ".0717646380", ".124299999", "4.082395"),
        (-5, 5, ".134284933", ".0499279977", ".0864778287", "8.434274"),
        (-20, 10, ".258085686", ".0959579101", ".166203976", "2.283360"),
    ],
)
def test_two_phase_neumann(surface_c, start_c, root, one_day_m, three_days_m, days_to_the_middle):
    freezing = bedding_freezes(surface_c, start_c)
    assert freezing.root == as_printed(root)
    assert freezing.front_m(DAY_S) == as_printed(one_day_m)
    assert freezing.front_m(3 * DAY_S) == as_printed(three_days_m)
    assert freezing.seconds_to(0.145) / DAY_S == as_printed(days_to_the_middle)


@pytest.mark.parametrize(("surface_c", "start_c"), [(-10, 0), (-10, 5), (-5, 5), (-20, 10)])
def test_neumann_profile_keeps_the_balance_at_the_front(surface_c, start_c):
    """Heat to the front and heat away from it differ by the heat that freezing sets free (Stefan's condition)."""
    freezing, step = bedding_freezes(surface_c, start_c), 1e-6
    front = freezing.front_m(DAY_S)
    at = freezing.temperature_c([0.0, front - step, front, front + step, 2.0], DAY_S)
    speed = (freezing.front_m(DAY_S + 1) - freezing.front_m(DAY_S - 1)) / 2
    assert at[[0, 2, 4]] == pytest.approx([surface_c, 0.0, start_c], abs=1e-9)
    away, towards = 0.6 * (at[2] - at[1]) / step, CONDUCTIVITY * (at[3] - at[2]) / step
    assert away - towards == pytest.approx(1.67e8 * speed, rel=1e-4)


@pytest.mark.parametrize(("depth_m", "diffusivity"), [(0.03, 0.6 / 1.5e6), (0.12, DIFFUSIVITY)])
def test_neumann_profile_conducts_on_both_sides(depth_m, diffusivity):
    freezing, dx, dt = bedding_freezes(-10, 5), 1e-3, 60.0
    before, now, after = (freezing.temperature_c(depth_m + np.array([-dx, 0, dx]), DAY_S + s) for s in (-dt, 0.0, dt))
    bend = (now[0] - 2 * now[1] + now[2]) / dx**2
    assert (after[1] - before[1]) / (2 * dt) == pytest.approx(diffusivity * bend, rel=1e-3)


def test_lumped_body():
    volume, surface = math.prod(SIZE_M), 2 * (0.45 * 0.32 + 0.45 * 0.29 + 0.32 * 0.29)
    time_s = exact.lumped_time_s(CAPACITY, volume, surface, film=5)
    assert volume == as_printed(".04176")
    assert surface == as_printed(".7346")
    assert volume / surface == as_printed(".05684726")
    assert time_s / HOUR_S == as_printed("7.579635")
    assert exact.lumped_c(DAY_S, time_s=time_s, start_c=10, air_c=-10) == as_printed("-9.156881")
    assert 5 * volume / surface / CONDUCTIVITY == as_printed(".812104")
    assert CAPACITY * volume / 1e3 == as_printed("100.224")
    assert 1.67e8 * volume / 1e6 == as_printed("6.97392")
