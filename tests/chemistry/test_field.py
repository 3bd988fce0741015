"""The field against closed forms, quadrature by SciPy, and simulated bins whose truth is known."""

from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from tests.chemistry.bedding import SHARES, taken
from underlid.chemistry.field import (
    SLIP,
    ImpossibleShares,
    field,
    outside,
    ph_of_mean_acidity,
)
from underlid.chemistry.readings import EC, PH, evidence
from underlid.quantity.amount import NINETY
from underlid.quantity.points import three

NODES = np.linspace(-2.5, 2.5, 13)
WEIGHTS = stats.norm.pdf(NODES) / stats.norm.pdf(NODES).sum()


INSTRUMENTS: tuple[Literal["strip", "meter", ""], ...] = ("strip", "meter", "")


def said(*words, scale=PH):
    return field([evidence(one) for one in words], SHARES, scale)


def quadrature(likelihood, scale=PH):
    """5, 50 and 95 % of one place's level, by SciPy's normal on a fine grid, with the shared error by Gauss-Hermite."""
    differ, spots = (
        m * np.exp(sd * NODES) for m, sd in ((scale.places, scale.places_sd), (scale.spots, scale.spots_sd))
    )
    level = np.linspace(0.0, 14.0, 2801)
    prior = WEIGHTS @ stats.norm.pdf(level, scale.usual, np.hypot(scale.usual_sd, differ)[:, None])
    seen = WEIGHTS @ np.array([likelihood(level, spot) for spot in spots])
    density = prior * seen
    shown = np.cumsum(density) / density.sum()

    def below(x):  # the level shown less the error that all readings share
        return np.interp(x + scale.shared * ERRORS, level, shown) @ ERROR_WEIGHTS

    grid = np.linspace(3, 11, 1601)
    return np.interp((0.05, 0.5, 0.95), [below(x) for x in grid], grid)


ERRORS, ERROR_WEIGHTS = np.polynomial.hermite_e.hermegauss(31)
ERROR_WEIGHTS = ERROR_WEIGHTS / ERROR_WEIGHTS.sum()


def between(level, spot, low, high, stray):
    sd = np.hypot(spot, stray)
    width = min(1.0, (high - low) / 14) if np.isfinite(high - low) else 0.5
    return (1 - SLIP) * (stats.norm.cdf(high, level, sd) - stats.norm.cdf(low, level, sd)) + SLIP * width


@pytest.mark.parametrize(
    ("words", "instrument", "low", "high", "stray"),
    [
        ("pH 6.52", "meter", 6.515, 6.525, 0.15),
        ("pH 7.5 to 8.5", "", 7.5, 8.5, 0.2),
        ("pH 6", "strip", 5.5, 6.5, 0.1),
        ("pH at most 6", "", -np.inf, 6.0, 0.2),  # censored
        ("pH at least 7.5", "meter", 7.5, np.inf, 0.15),
    ],
)
def test_one_reading_at_one_place_agrees_with_quadrature(words, instrument, low, high, stray):
    found = said(taken(words, instrument=instrument))
    expected = quadrature(lambda level, spot: between(level, spot, low, high, stray))
    assert three(found.levels["middle"]) == pytest.approx(expected, abs=0.03)


def test_about_is_a_density_with_its_spread():
    def density(level, spot):
        sd = np.sqrt(spot**2 + 0.2**2 + (0.5 / NINETY) ** 2)
        return (1 - SLIP) * stats.norm.pdf(7.0, level, sd) + SLIP / 14

    assert three(said(taken("about pH 7")).levels["middle"]) == pytest.approx(quadrature(density), abs=0.03)


def test_two_readings_of_one_place_multiply():
    found = said(taken("pH 6.3"), taken("pH 7.1"))
    expected = quadrature(lambda x, s: between(x, s, 6.25, 6.35, 0.2) * between(x, s, 7.05, 7.15, 0.2))
    assert three(found.levels["middle"]) == pytest.approx(expected, abs=0.03)


def test_without_readings_the_level_is_as_uncertain_as_judged():
    found = field([], {"middle": 1.0}, PH)
    differ = PH.places * np.exp(PH.places_sd * NODES)
    sd = np.sqrt(PH.usual_sd**2 + WEIGHTS @ differ**2 + PH.shared**2)
    assert found.whole.mean() == pytest.approx(PH.usual, abs=0.02)
    assert found.whole.std() == pytest.approx(sd, rel=0.03)


def test_a_place_not_read_is_as_uncertain_as_places_differ():
    found = said(*[taken("pH 6.5", instrument="meter")] * 12)
    low, middle, high = three(found.levels["edge"])
    near = three(found.levels["middle"])
    assert middle == pytest.approx(6.5, abs=0.1)
    assert high - low > 2 * (near[2] - near[0])
    assert near[0] < found.whole.mean() < near[2]


def test_readings_without_a_place_do_not_stand_for_a_part():
    found = said(*[taken("pH 7.5", place="not noted")] * 5)
    assert set(found.levels) == {"middle", "edge", "not noted"}
    widths = {name: three(level)[2] - three(level)[0] for name, level in found.levels.items()}
    assert widths["middle"] > 1.5 * widths["not noted"]
    assert three(found.whole)[1] > PH.usual


# --- what is asked of the field ------------------------------------------------------------------------------


def test_the_mean_of_acidity_is_not_the_mean_of_ph():
    ph, half = np.array([[5.0], [7.0]]), np.array([0.5, 0.5])
    # (1e-5 + 1e-7) / 2 = 5.05e-6 mol/L, by hand
    assert ph_of_mean_acidity(ph, half) == pytest.approx([-np.log10(5.05e-6)])
    assert ph_of_mean_acidity(ph, half) == pytest.approx([5.2967], abs=1e-4)
    assert half @ ph == pytest.approx([6.0])
    sharp = [taken("pH 5.00", place, instrument="meter") for place in ("middle", "edge") for _ in range(20)]
    high = [taken("pH 7.00", "edge", instrument="meter")] * 20
    found = field([evidence(one) for one in (*sharp[:20], *high)], {"middle": 0.5, "edge": 0.5}, PH)
    assert three(found.whole)[1] == pytest.approx(6.0, abs=0.1)
    assert three(found.acid)[1] == pytest.approx(5.3, abs=0.1)


@given(st.lists(st.tuples(st.floats(0, 14), st.floats(0.01, 1)), min_size=1, max_size=4).map(np.array))
def test_the_mean_acidity_lies_between_the_lowest_and_the_mean(parts):
    ph, shares = parts[:, :1], parts[:, 1] / parts[:, 1].sum()
    (acid,) = ph_of_mean_acidity(ph, shares)
    assert ph.min() - 1e-9 <= acid <= shares @ ph[:, 0] + 1e-9


def test_conductivity_is_averaged_as_it_is_and_not_by_its_logarithm():
    readings = [evidence(taken(f"EC {x} mS/cm", place, instrument="meter")) for x, place in
                ((1.0, "middle"), (4.0, "edge")) for _ in range(20)]  # fmt: skip
    found = field(readings, {"middle": 0.5, "edge": 0.5}, EC)
    assert np.exp(three(found.whole)[1]) == pytest.approx(2.5, rel=0.08)
    np.testing.assert_allclose(np.exp(found.whole), np.exp(found.parts).mean(axis=0))


def test_lowest_and_highest_hold_the_parts():
    found = said(taken("pH 6"), taken("pH 7", "edge"), taken("pH 9", "not noted"))
    np.testing.assert_array_equal(found.lowest, np.minimum(found.levels["middle"], found.levels["edge"]))
    assert (found.lowest <= found.acid + 1e-9).all()
    assert (found.acid <= found.whole + 1e-9).all()
    assert (found.whole <= found.highest + 1e-9).all()


def test_the_chance_outside_agrees_with_quadrature():
    found = field([], {"middle": 1.0}, PH)
    low, high = (4.5, 5.0, 5.5), (8.5, 9.0, 9.5)
    chance = outside(found, low, high)
    sd = np.sqrt(PH.usual_sd**2 + (PH.places * np.exp(PH.places_sd * NODES)) ** 2 + PH.shared**2)
    limit = 0.5 / NINETY
    below, _ = integrate.quad(lambda x: WEIGHTS @ stats.norm.pdf(x, PH.usual, sd) * stats.norm.sf(x, 5.0, limit), 0, 7)
    above, _ = integrate.quad(
        lambda x: WEIGHTS @ stats.norm.pdf(x, PH.usual, sd) * stats.norm.cdf(x, 9.0, limit), 7, 14
    )
    assert (chance.below, chance.above) == pytest.approx((below, above), abs=0.01)
    assert max(chance.below, chance.above) <= chance.either <= chance.below + chance.above + 1e-9
    sure = outside(found, (14.5, 14.5, 14.5), (15, 15, 15))
    assert (sure.below, sure.above) == (1.0, 0.0)


# --- what must hold of any readings --------------------------------------------------------------------------

WORDS = ["pH 6", "pH 6.5", "about pH 7", "pH 5 to 7", "pH at least 6", "pH 8.2"]
ANY = st.lists(st.tuples(st.sampled_from(WORDS), st.sampled_from(["middle", "edge", "surface", "not noted"])),
               min_size=1, max_size=6)  # fmt: skip


@settings(max_examples=12, deadline=None)
@given(ANY.flatmap(lambda found: st.tuples(st.just(found), st.permutations(found))))
def test_the_order_of_readings_does_not_matter(both):
    one, other = ([evidence(taken(*each)) for each in found] for found in both)
    shares = {"middle": 0.5, "edge": 0.3, "surface": 0.2}
    a, b = field(one, shares, PH), field(other, shares, PH)
    assert a.levels.keys() == b.levels.keys()
    for place, level in a.levels.items():
        np.testing.assert_array_equal(level, b.levels[place])
        assert 0 - 1 <= level.min() <= level.max() <= 14 + 1
    assert all(0 <= chance <= 1 for chance in a.slips)


def test_vagueness_widens():
    def width(words):
        low, _, high = three(said(taken(words)).levels["middle"])
        return high - low

    widths = [width(words) for words in ("pH 6.80", "about pH 6.8", "pH 6 to 7.6", "pH 5 to 8.6")]
    assert widths == sorted(widths)
    assert widths[0] < 0.8 * widths[-1]


def test_more_readings_narrow_but_never_below_what_all_share():
    widths = []
    for n in (1, 4, 16, 64):
        low, _, high = three(said(*[taken("pH 6.50", instrument="meter")] * n).levels["middle"])
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] > 2 * NINETY * PH.shared * 0.95


def test_readings_that_contradict_leave_a_wide_range_and_an_outlier_is_told():
    both = three(said(taken("pH 5"), taken("pH 8")).levels["middle"])
    alike = three(said(taken("pH 6.4"), taken("pH 6.6")).levels["middle"])
    assert both[2] - both[0] > 2 * (alike[2] - alike[0])
    found = said(*[taken("pH 6.5")] * 5, taken("pH 10"))
    assert found.slips[-1] > 0.9
    assert max(found.slips[:-1]) < 0.1


@pytest.mark.parametrize("shares", [{}, {"middle": 0.5}, {"middle": 1.5, "edge": -0.5}])
def test_shares_that_are_none_are_refused(shares):
    with pytest.raises(ImpossibleShares):
        field([], shares, PH)


# --- coverage ------------------------------------------------------------------------------------------------


def simulated(rng):
    """A bin out of what is judged beforehand, and a few readings of it, rounded as a keeper does."""
    differ = PH.places * np.exp(PH.places_sd * rng.standard_normal())
    spot = PH.spots * np.exp(PH.spots_sd * rng.standard_normal())
    mean = PH.usual + PH.usual_sd * rng.standard_normal()
    truth = {place: mean + differ * rng.standard_normal() for place in ("middle", "edge", "not noted")}
    shared = PH.shared * rng.standard_normal()
    readings = []
    for _ in range(rng.integers(1, 7)):
        place = str(rng.choice(["middle", "middle", "edge", "not noted"]))
        instrument = INSTRUMENTS[int(rng.integers(3))]
        shown = truth[place] + shared + np.hypot(spot, PH.strays[instrument]) * rng.standard_normal()
        shown = min(max(shown, 0.0), 13.9)
        words = {
            "strip": f"pH {np.floor(shown):g} to {np.floor(shown) + 1:g}",
            "meter": f"pH {shown:.1f}",
            "": f"about pH {min(max(shown + 0.5 / NINETY * rng.standard_normal(), 0.0), 13.9):.1f}",
        }[instrument]
        readings.append(evidence(taken(words, place, instrument=instrument)))
    return truth, readings


def test_ranges_hold_the_truth_as_often_as_they_say():
    rng, runs = np.random.default_rng(7), 250
    held = dict.fromkeys(("middle", "edge", "whole", "lowest", "acid"), 0)
    for _ in range(runs):
        truth, readings = simulated(rng)
        found = field(readings, SHARES, PH, count=1024)
        parts = np.array([[truth["middle"]], [truth["edge"]]])
        weights = np.array(list(SHARES.values()))
        for name, values, true in (
            ("middle", found.levels["middle"], truth["middle"]),
            ("edge", found.levels["edge"], truth["edge"]),
            ("whole", found.whole, (weights @ parts)[0]),
            ("lowest", found.lowest, parts.min()),
            ("acid", found.acid, ph_of_mean_acidity(parts, weights)[0]),
        ):
            low, _, high = three(values)
            held[name] += low <= true <= high
    for name, times in held.items():
        # 90 % of the runs, to within what chance leaves in 999 of 1000 such tests
        assert stats.binom.ppf(0.0005, runs, 0.9) <= times <= stats.binom.ppf(0.9995, runs, 0.9), (name, times)
