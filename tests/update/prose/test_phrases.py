from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.update.sample import INF, amount, sample
from underlid.quantity.amount import VagueAmount
from underlid.update.facts import Range, ReadingFact
from underlid.update.prose import phrases
from underlid.update.story import tell


def plain(text: str) -> str:
    return text.replace(phrases.NB, " ")


def kelvin(low: float, middle: float, high: float) -> Range:
    return Range(low, middle, high, "degC", "estimated")


@pytest.mark.parametrize(
    ("found", "words"),
    [
        # 0 °C is 32 °F and 100 °C is 212 °F by definition; the ends are rounded outward in both units.
        (kelvin(0.0, 50.0, 100.0), "0 to 100 °C (32 to 212 °F)"),
        (kelvin(0.6, 1.4, 2.9), "0.5 to 3 °C (32 to 38 °F)"),
        (kelvin(-0.6, 1.4, 2.9), "−1 to 3 °C (30 to 38 °F)"),
        (kelvin(-7.4, -3.0, 2.2), "−8 to 3 °C (17 to 38 °F)"),
    ],
)
def test_a_range_is_rounded_outward_in_both_units(found: Range, words: str) -> None:
    assert plain(phrases.temperature_range(found)) == words


def test_the_middle_of_a_wide_range_is_told_in_whole_degrees() -> None:
    assert plain(phrases.temperature(kelvin(-3, 1.3, 4))) == "1 °C (34 °F)"
    assert plain(phrases.temperature(kelvin(0, 1.3, 3))) == "1.5 °C (35 °F)"


@given(st.floats(-40, 40), st.floats(0.5, 15))
def test_no_range_is_told_narrower_than_it_is(low: float, width: float) -> None:
    in_c, in_f = phrases.temperature_ends(kelvin(low, low + width / 2, low + width))
    first, last = (float(side) for side in plain(in_c).replace("−", "-").removesuffix(" °C").split(" to "))
    assert first <= low + 1e-5
    assert last >= low + width - 1e-5
    first_f, last_f = (float(side) for side in plain(in_f).replace("−", "-").removesuffix(" °F").split(" to "))
    assert first_f <= 1.8 * low + 32 + 1e-5
    assert last_f >= 1.8 * (low + width) + 32 - 1e-5


def test_minus_zero_is_zero() -> None:
    assert phrases.number(-0.01) == "0"
    assert phrases.number(-0.5) == "−0.5"


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "under 5 %"), (0.02, "under 5 %"), (0.34, "about 35 %"), (1.0, "over 95 %")]
)
def test_a_chance_is_told_to_the_nearest_twentieth(share: float, words: str) -> None:
    assert plain(phrases.chance(share)) == words


def reading(**change: object) -> ReadingFact:
    return replace(tell(sample(), (2026, 1)).readings[0], **change)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("read", "words"),
    [
        (amount(6, 7), "6 to 7 °C (43 to 45 °F)"),
        (amount(5, 7, kind="about"), "about 5 to 7 °C (41 to 45 °F)"),
        (amount(5, INF, kind="at least"), "at least 5 °C (41 °F)"),
        (amount(-INF, 5, kind="at most"), "at most 5 °C (41 °F)"),
        (amount(5.8, 6.2, kind="exact"), "5.8 to 6.2 °C (42.4 to 43.2 °F)"),
        (amount(6.5, 7, "pH"), "6.5 to 7 pH"),
        (amount(-INF, INF, kind="not noted"), "not noted"),
    ],
)
def test_a_reading_is_told_as_vague_as_it_was_meant(read: VagueAmount, words: str) -> None:
    assert plain(phrases.interval(read)) == words


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (datetime(2026, 1, 2, 19), datetime(2026, 1, 2, 22), "2 January, 19:00 to 22:00"),
        (datetime(2026, 1, 2), datetime(2026, 1, 3), "2 January"),
        (datetime(2026, 1, 2), datetime(2026, 1, 4), "2 to 3 January"),
        (datetime(2026, 1, 30), datetime(2026, 2, 2), "30 January to 1 February"),
        (datetime(2026, 1, 2, 22), datetime(2026, 1, 3, 2), "2 January, 22:00 to 3 January, 02:00"),
        (datetime(2026, 1, 2, 7), datetime(2026, 1, 2, 7), "2 January, 07:00"),
        (datetime(2026, 1, 2, 6, 59, 30), datetime(2026, 1, 2, 7, 0, 30), "2 January, 07:00"),
        (datetime(2026, 1, 2, 6, 59, 30), datetime(2026, 1, 2, 7, 0), "2 January, 07:00"),
    ],
)
def test_a_window_of_time_is_told_shortly(start: datetime, end: datetime, words: str) -> None:
    assert phrases.window(start, end) == words


def test_a_span_names_a_shared_month_once() -> None:
    assert phrases.days(date(2026, 1, 3), date(2026, 1, 9)) == "3 to 9 January"
    assert phrases.days(date(2025, 1, 3), date(2026, 1, 9)) == "3 January to 9 January"


@pytest.mark.parametrize(
    ("found", "middle", "ends"),
    [
        (Range(319, 320, 321, "g", "read"), "320 g", "319 to 321 g"),
        (Range(0.73, 1.79, 4.56, "g", "estimated"), "1.8 g", "0.7 to 4.6 g"),
        (Range(6.1, 14.7, 33.2, "g", "predicted"), "15 g", "6 to 34 g"),
        (Range(1480, 1520, 1561, "g", "read"), "1.52 kg", "1.48 to 1.57 kg"),
        (Range(902, 951, 1104, "g", "read"), "1 kg", "0.9 to 1.2 kg"),
        (Range(0, 0, 0, "g", "read"), "0 g", "0 g"),
    ],
)
def test_masses_keep_the_figures_their_range_bears(found: Range, middle: str, ends: str) -> None:
    assert plain(phrases.mass(found)) == middle
    assert plain(phrases.mass_range(found)) == ends


@pytest.mark.parametrize(
    ("low", "middle", "high", "told", "ends"),
    [
        (3, 6.5, 18.95, "7 worms", "3 to 19"), (1, 1, 1, "1 worm", "1"), (0, 0, 2, "0 worms", "0 to 2"),
        (1204, 1713, 2388, "1700 worms", "1200 to 2400"), (88, 97, 105, "100 worms", "80 to 110"),
    ],
)  # fmt: skip
def test_animals_are_whole_and_of_two_figures(low: float, middle: float, high: float, told: str, ends: str) -> None:
    found = Range(low, middle, high, "1", "estimated")
    assert plain(phrases.animals(found)) == told
    assert plain(phrases.animals_range(found)) == ends


def test_levels_stand_on_their_scale() -> None:
    assert plain(phrases.level(Range(6.31, 6.84, 7.22, "pH", "estimated"))) == "pH 6.8"
    assert plain(phrases.level_range(Range(6.31, 6.84, 7.22, "pH", "estimated"))) == "pH 6.3 to 7.3"
    assert plain(phrases.level_range(Range(0.84, 1.13, 1.62, "mS/cm", "estimated"))) == "0.8 to 1.7 mS/cm"


def test_small_shares_and_volumes_are_told_finer() -> None:
    assert plain(phrases.percent_range(Range(0.31, 0.5, 0.82, "%", "estimated"))) == "0.3 to 0.9 %"
    assert plain(phrases.percent(Range(55.2, 68.9, 80.1, "%", "estimated"))) == "69 %"
    assert plain(phrases.litres(Range(0.08, 0.14, 0.24, "L", "estimated"))) == "0.1 litres"
    assert plain(phrases.litres(Range(1, 1, 1, "L", "estimated"))) == "1 litre"
    assert plain(phrases.hours_range(Range(1, 1, 1, "h", "estimated"))) == "1 hour"


UNITS = st.sampled_from(["degC", "%", "L", "1", "g", "g/m2", "pH", "mS/cm", "K", "h"])


@given(st.tuples(st.floats(0, 5000), st.floats(0, 5000), st.floats(0, 5000)).map(sorted), UNITS)
def test_ends_are_rounded_outward_and_the_middle_stays_within(sides: list[float], unit: str) -> None:
    found = Range(sides[0], sides[1], sides[2], unit, "estimated")
    low, high = phrases.outward(found)
    by = phrases.step(found)
    middle = phrases.nearest(found.middle, by)
    tiny = 1e-5 * max(1.0, by)
    assert found.low - by - tiny <= low <= found.low + tiny
    assert found.high - tiny <= high <= found.high + by + tiny
    assert low - tiny <= middle <= high + tiny


def test_spans_of_days_name_the_year_only_where_it_differs() -> None:
    now = date(2026, 1, 27)
    assert phrases.span(date(2026, 2, 2), date(2026, 2, 5), now) == "2 to 5 February"
    assert phrases.span(date(2026, 2, 2), date(2026, 2, 2), now) == "2 February"
    assert phrases.span(date(2026, 12, 30), date(2027, 1, 2), now) == "30 December to 2 January 2027"


def test_nine_in_ten_is_from_an_end_to_another_or_at_one() -> None:
    assert plain(phrases.nine_in_ten(phrases.ends(3, 19))) == "nine in ten from 3 to 19"
    assert plain(phrases.nine_in_ten(phrases.ends(3, 3))) == "nine in ten at 3"
