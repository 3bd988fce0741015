from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.update.sample import INF, amount, sample
from underlid.quantity.amount import VagueAmount
from underlid.update import phrases
from underlid.update.facts import Range, ReadingFact
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
