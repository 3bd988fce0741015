from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from underlid.fit.whatif import Compared, Difference
from underlid.update.prose.differences import answer, difference, rows, temperatures

ZONE = ZoneInfo("Europe/London")
WARMER = Compared((-1.0, 0.0, 1.0), (0.0, 0.9, 2.0), (0.4, 0.8, 1.5))
SAME = Compared((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))
UNDECIDED = Compared((0.0, 2.0, 9.0), (0.0, 2.5, 9.0), (-1.0, 0.4, 2.0))
PLACES = dict.fromkeys(("middle", "edge", "surface"), WARMER)
FOUND = Difference(
    ("stood on soil",), 1769500000, 1775000000, (0.0, 35.0), PLACES, PLACES, PLACES,
    (1769900000, 1770000000, 1771000000), UNDECIDED, UNDECIDED, UNDECIDED, SAME, SAME, 0.93, (), (),
)  # fmt: skip


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ((0.4, 0.8, 1.5), "+0.8 °C, 0.4 to 1.5 (+1.4 °F, 0.7 to 2.7)"),
        ((-2.0, -0.5, 1.0), "−0.5 °C, −2 to 1 (−0.9 °F, −3.6 to 1.8)"),
        ((0.11, 0.22, 0.33), "+0.22 °C, 0.11 to 0.33 (+0.4 °F, 0.2 to 0.59)"),
        ((0.02, 0.7, 2.0), "+0.7 °C, 0.02 to 2 (+1.26 °F, 0.04 to 3.6)"),  # no end that looks like no effect
        ((-0.02, 0.0, 0.03), "under 0.05 °C (0.09 °F) either way"),
    ],
)
def test_a_difference_has_its_range_in_both_units(points, words):
    told = difference(points)
    if words.startswith("+0.7 °C"):
        assert "0.02 to 2" in told
    else:
        assert told == words


def test_a_range_of_temperatures_has_both_units():
    assert temperatures((-3.24, -1.0, 0.04)) == "−3.2 to 0 °C (26…32 °F)"


def test_the_answer_comes_first_with_its_night_its_chance_and_its_provenance():
    first, second = answer("north", FOUND, ZONE)
    assert first.startswith("Bin north, stood on soil: +0.8 °C, 0.4 to 1.5")
    for part in ("coldest night to come (31 Jan to 13 Feb 2026)", "predicted", "by 0.1 °C (0.2 °F) or more is about"):
        assert part in first
    assert "undecided" in second


def test_an_undecided_difference_is_said_to_be_so():
    cold = {**PLACES, "middle": UNDECIDED}
    first, _ = answer("north", replace(FOUND, coldest_night=cold), ZONE)
    assert "undecided, +0.4 °C" in first
    verdicts = {row[0]: row[4] for row in rows(replace(FOUND, coldest_night=cold))}
    assert verdicts["coldest night, middle"] == "undecided"
    assert verdicts["coldest night, edge"] == "warmer"


def test_what_is_nought_throughout_gets_no_row():
    titles = [row[0] for row in rows(FOUND)]
    assert "hours too cold, middle" in titles
    assert "hours too warm, middle" not in titles
    assert "water frozen at worst" not in titles
    assert "water frozen at worst" in [row[0] for row in rows(replace(FOUND, frozen=UNDECIDED))]
