"""The rates at a bedding temperature, against the published ones."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.worms.rates import FAST_END, draw, eased, expected, hatching_share, rates
from underlid.worms.species import all_species, species

KINDS = list(all_species().values())
GRID = np.arange(-5.0, 45.0, 0.1)

# One row a source: days or cocoons per adult and week, with the range where the source gives one.
PUBLISHED = [
    ("E. fetida", "incubation", 10, 100, 80, 120, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "incubation", 15, 50, 40, 60, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "incubation", 20, 30, 25, 35, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "incubation", 20, 25, None, None, "CEH laboratory series 2016, in a public data file"),
    ("E. fetida", "incubation", 25, 22, 18, 26, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "incubation", 25, 21, 18, 26, "Neuhauser, Hartenstein & Kaplan 1980, abstract"),
    ("E. fetida", "maturation", 10, 160, 120, 200, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "maturation", 15, 85, 70, 100, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "maturation", 20, 50, 40, 60, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "maturation", 20, 60, None, None, "CEH laboratory series 2016, in a public data file"),
    ("E. fetida", "maturation", 25, 32, 25, 40, "Tsukamoto & Watanabe 1977 (shape), recalled"),
    ("E. fetida", "maturation", 25, 64, 53, 76, "Edwards 1988, second-hand"),
    ("E. fetida", "laying", 10, 0.5, 0.3, 0.7, "Reinecke & Kriel 1981; Loehr et al. 1985 (shape), recalled"),
    ("E. fetida", "laying", 15, 1.25, 1, 1.5, "Reinecke & Kriel 1981; Loehr et al. 1985 (shape), recalled"),
    ("E. fetida", "laying", 20, 2.5, 2, 3, "Reinecke & Kriel 1981; Loehr et al. 1985 (shape), recalled"),
    ("E. fetida", "laying", 20, 2.3, None, None, "CEH laboratory series 2016, in a public data file"),
    ("E. fetida", "laying", 25, 3.5, 3, 4, "Reinecke & Kriel 1981; Loehr et al. 1985 (shape), recalled"),
    ("E. fetida", "laying", 25, 3.8, 1.4, 5.1, "Edwards 1988, second-hand"),
    ("E. fetida", "laying", 30, 2.2, 1.5, 3, "Reinecke & Kriel 1981; Loehr et al. 1985 (shape), recalled"),
    ("E. andrei", "incubation", 25, 22, 18, 26, "Dominguez & Edwards 2010, recalled"),
    ("E. andrei", "laying", 25, 3.75, 2.5, 5, "Edwards 1988 table, recalled"),
    ("D. veneta", "incubation", 15, 71, None, None, "Viljoen & Reinecke 1992, in a public data file"),
    ("D. veneta", "incubation", 20, 42, 40, 128, "Edwards 1988, second-hand; over all temperatures"),
    ("D. veneta", "incubation", 25, 42.1, 15, 65, "Viljoen & Reinecke 1991, in a public data file"),
    ("D. veneta", "maturation", 15, 77, None, None, "Viljoen & Reinecke 1992, in a public data file"),
    ("D. veneta", "maturation", 20, 65, 57, 86, "Edwards 1988, second-hand"),
    ("D. veneta", "maturation", 25, 65, 30, 120, "Viljoen & Reinecke 1991, in a public data file"),
    ("D. veneta", "maturation", 25, 65, 57, 86, "Lofs-Holmin 1986, quoted"),
    ("D. veneta", "laying", 15, 2.59, None, None, "Fayolle et al. 1997 table 2, horse manure"),
    ("D. veneta", "laying", 15, 3.99, None, None, "Fayolle et al. 1997 table 2, paper sludge"),
    ("D. veneta", "laying", 20, 2.45, None, None, "Fayolle et al. 1997 table 2, horse manure"),
    ("D. veneta", "laying", 20, 4.76, None, None, "Fayolle et al. 1997 table 2, paper sludge"),
    ("D. veneta", "laying", 20, 1.6, 1.0, 2.2, "Edwards 1988, recalled"),
    ("D. veneta", "laying", 25, 3.99, None, None, "Fayolle et al. 1997 table 2, horse manure"),
    ("D. veneta", "laying", 25, 5.18, None, None, "Fayolle et al. 1997 table 2, paper sludge"),
    ("D. veneta", "laying", 25, 1.96, 1.6, 2.03, "Viljoen et al. 1991, quoted"),
]
TABLES = {"incubation": "incubation_days", "maturation": "maturation_days", "laying": "cocoons_per_week"}


def amount(curve, at_c, rate):
    """Days, or cocoons a week, of a curve at one temperature."""
    per_day = float(curve(at_c))
    return 7 * per_day if rate == "laying" else 1 / per_day


@pytest.mark.parametrize(("name", "rate", "at_c", "value", "low", "high", "source"), PUBLISHED)
def test_a_published_value_lies_in_the_spread_at_its_temperature(name, rate, at_c, value, low, high, source):
    kind = species(name)
    best, *ends = (amount(getattr(rates(kind, (ease,) * 3), rate), at_c, rate) for ease in (0, -FAST_END, FAST_END))
    least, most = sorted(ends)
    assert least * (1 - 1e-9) <= value <= most * (1 + 1e-9), source
    if low is not None:
        told = getattr(kind, TABLES[rate]).near(at_c, at_c)
        assert low <= best <= high or any(fact.conflict for fact in told), f"{source}: excluded without a word"


def test_incubation_takes_about_as_many_degree_days_as_recalled():
    """350 to 450 above a threshold near 8 degC, reckoned from Tsukamoto & Watanabe 1977 (shape), recalled.

    The straight line through the rates between 10 and 25 degC has that slope, with its zero a little lower.
    """
    at_c = np.array([10.0, 15.0, 20.0, 25.0])
    slope, offset = np.polyfit(at_c, rates(species("E. fetida")).incubation(at_c), 1)
    assert 350 < 1 / slope < 450
    assert 5 < -offset / slope < 8


def test_egg_to_mature_takes_what_is_recalled_for_the_best_conditions():
    """45-51 days at best near 25 degC, recalled; 85-149 in the table of Edwards 1988, second-hand."""
    found = expected(species("E. fetida"), 25, 25)
    span = [found.incubation_days.low + 7 * found.maturation_weeks.low,
            found.incubation_days.high + 7 * found.maturation_weeks.high]  # fmt: skip
    assert span[0] < 45
    assert span[1] > 51
    assert 85 < span[1] < 149


def test_young_per_adult_and_week_agree_with_the_same_table():
    """10.4 young per adult and week: Edwards 1988, a figure of its own beside cocoons, viability and hatchlings."""
    kind = species("E. fetida")
    young = 7 * float(rates(kind).laying(25)) * kind.hatching_share.value * kind.hatchlings_per_cocoon.value
    assert young == pytest.approx(10.4, rel=0.02)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_curves_pass_through_the_tables_at_each_end_of_their_spread(kind):
    for rate, table in TABLES.items():
        rows = getattr(kind, table)
        for ease, end in ((0, "value"), (FAST_END, "high" if rate == "laying" else "low")):
            curve = getattr(rates(kind, (ease,) * 3), rate)
            found = [amount(curve, at_c, rate) for at_c in rows.at_c]
            assert found == pytest.approx([getattr(fact, end) for fact in rows.facts])


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@pytest.mark.parametrize("rate", TABLES)
def test_slow_is_never_faster_than_fast(kind, rate):
    slow, best, fast = (getattr(rates(kind, (ease,) * 3), rate)(GRID) for ease in (-FAST_END, 0, FAST_END))
    assert (slow <= best + 1e-12).all()
    assert (best <= fast + 1e-12).all()


@given(st.sampled_from(KINDS), st.floats(-5, 5), st.floats(-60, 80))
def test_a_rate_is_zero_outside_the_thresholds_and_never_negative(kind, ease, at_c):
    found = rates(kind, (ease,) * 3)
    for rate, starts in (("incubation", kind.develops_above_c), ("laying", kind.lays_above_c)):
        per_day = float(getattr(found, rate)(at_c))
        assert 0 <= per_day < math.inf
        if at_c <= starts.low or at_c >= kind.tolerated_high_c.high:
            assert per_day == 0
        if starts.high < at_c < kind.tolerated_high_c.low:
            assert per_day > 0


def test_warmer_is_faster_up_to_the_warmest_published_row():
    found = rates(species("E. fetida"))
    at_c = np.arange(5, 25.1, 0.25)
    assert (np.diff(found.incubation(at_c)) > 0).all()
    assert (np.diff(found.maturation(at_c)) > 0).all()
    assert (np.diff(found.laying(at_c[at_c >= 6])) > 0).all()


def test_rates_take_any_shape_and_keep_what_is_missing():
    curve = rates(species("E. fetida")).incubation
    at_c = np.array([[15.0, np.nan], [2.0, 25.0]])
    assert curve(at_c) == pytest.approx(np.array([[1 / 50, np.nan], [0.0, 1 / 22]]), nan_ok=True)


def test_draws_cover_the_published_spread_and_follow_the_seed():
    kind = species("E. fetida")
    rng = np.random.default_rng(7)
    drawn = [draw(kind, rng) for _ in range(400)]
    days = np.array([1 / float(one.incubation(15)) for one in drawn])
    laid = np.array([7 * float(one.laying(15)) for one in drawn])
    assert 0.85 < np.mean((days >= 40) & (days <= 60)) < 0.95  # 90 %, and three standard errors
    assert 0.85 < np.mean((laid >= 1) & (laid <= 1.5)) < 0.95
    assert abs(np.corrcoef(days, laid)[0, 1]) < 0.2
    assert draw(kind, np.random.default_rng(7)) == drawn[0]


def test_ease_moves_a_fact_between_its_ends():
    fact = species("E. fetida").cocoons_per_week.facts[0]
    assert [eased(fact, ease) for ease in (-FAST_END, 0, FAST_END)] == pytest.approx([0.3, 0.5, 0.7])


def test_hatching_fails_in_the_heat():
    """Poor at 30 degC and failing above: recalled; none live at 37 degC, the highest end of the upper limit."""
    kind = species("E. fetida")
    at_c = [15, 25, 30, 37]
    found = hatching_share(kind, at_c)
    assert found[:2] == pytest.approx([0.832, 0.832])
    assert 0 < found[2] < 0.4
    assert found[3] == 0
    assert (hatching_share(kind, at_c, 6.0) <= 1).all()


def test_what_is_expected_holds_best_values_inside_their_ranges():
    for kind in KINDS:
        for low_c in np.arange(-4.0, 38.0, 1.5):
            found = expected(kind, low_c, low_c + 1)
            for span in (found.incubation_days, found.maturation_weeks, found.cocoons_per_week, found.hatching_share):
                assert span.low <= span.value * (1 + 1e-9)
                assert span.value <= span.high * (1 + 1e-9)


def test_what_lies_beyond_the_sources_is_named():
    kind = species("E. fetida")
    assert expected(kind, 12, 13).beyond == ()
    assert expected(kind, 27, 28).beyond == ("incubation_days", "maturation_days")
    cold = expected(kind, 2, 3)
    assert len(cold.beyond) == 3
    assert cold.incubation_days.value == math.inf
    assert cold.cocoons_per_week.value == 0
