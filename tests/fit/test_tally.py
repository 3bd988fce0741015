"""What of a journal becomes a tally: which day, how vague, of whom, and what is left out and why."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fit.flocks import DAYS, amount, at, counted, hours, seen, told
from underlid.fit.tally import LONGEST_WINDOW_DAYS, MOST_DAYS, SAMPLE_SLIP, SIGHTING_SLIP, tally
from underlid.records import STAGES, Note, SampleCount, Sighting


def days_of(found, occasion=0):
    return found.rows.part_state[found.rows.part_occasion == occasion].tolist()


def values_of(found, count=0):
    first, after = found.rows.values[count : count + 2]
    return found.rows.value[first:after], found.rows.weight[first:after]


def same(one, other):
    return all(np.array_equal(a, b) for a, b in zip(one.rows, other.rows, strict=True))


def test_nothing_noted_is_an_empty_tally():
    for entries in ((), (Note(id="n", bin="b", when=at(3), words="it smells of woods"),)):
        found = told(*entries)
        assert (len(found), found.days, found.places, found.left_out) == (0, 0, set(), ())
        assert found.rows.who.shape == (0, 5)
        assert found.rows.samples.tolist() == found.rows.sightings.tolist() == [0]


def test_samples_of_one_day_are_one_occasion():
    found = told(
        counted(4, {"adult": 3}), counted(4, {"adult": 5, "cocoon": 1}, place="edge"), counted(9, {"adult": 2})
    )
    assert len(found) == 2
    assert found.rows.samples.tolist() == [0, 2, 3]
    assert [days_of(found, i) for i in (0, 1)] == [[4], [9]]
    assert found.rows.ends.tolist() == [4, 9]
    assert found.days == 9
    assert found.places == {"edge", "middle"}
    assert found.rows.counts.tolist() == [0, 2, 3, 4]
    assert [STAGES[stage] for stage in found.rows.stage] == ["adult", "cocoon", "adult", "adult"]
    assert found.rows.value.tolist() == [5, 1, 3, 2]
    assert len(found.volumes) == 3
    assert (found.rows.slip == SAMPLE_SLIP).all()


def test_all_hours_of_a_calendar_day_are_one_day():
    """A sort before noon and one after, and one of which only the day is known: the same bedding on the same day."""
    morning, night = counted(3.6, {"adult": 3}), counted(4.45, {"adult": 5}, place="edge")
    somewhen = counted(3.5, {"adult": 4}, place="surface", window_days=1)  # from midnight to midnight
    for begin in (0, 7, 12, 13, 23):  # whatever hour the bin was laid
        grid = hours()[begin:]
        found = tally((morning, night, somewhen), grid)
        assert len(found) == 1
        assert len(days_of(found)) == 1
        noon = grid[0] + 86400 * days_of(found)[0]
        assert abs(noon - at(4).start.timestamp()) <= 12 * 3600


@pytest.mark.parametrize(("window", "days"), [(0.9, [10, 11]), (3, [10, 11, 12, 13]), (2.5, [10, 11, 12])])
def test_a_vague_time_may_be_each_of_its_days(window, days):
    found = told(counted(10, {"adult": 3}, window_days=window))
    assert days_of(found) == days
    assert found.rows.part_weight == pytest.approx(1 / len(days))
    assert found.rows.ends.tolist() == [days[-1]]


@given(day=st.floats(-20, DAYS + 20), window=st.floats(0, 90), begin=st.integers(0, 23))
def test_days_are_within_the_bin_and_weigh_one_in_all(day, window, begin):
    grid = hours()[begin:]
    found = tally((seen(day, 3, window_days=window),), grid)
    assert len(found) + len(found.left_out) == 1
    if len(found):
        assert found.rows.part_weight.sum() == pytest.approx(1)
        days = days_of(found)
        assert days == sorted(set(days))
        assert len(days) <= MOST_DAYS
        assert 0 <= days[0] <= days[-1] == found.days <= (len(grid) - 1) // 24


def test_what_has_no_day_or_no_weather_is_left_out_with_a_sentence():
    months = counted(5, {"adult": 3}, window_days=LONGEST_WINDOW_DAYS + 3)
    before, after = counted(-4, {"adult": 4}), seen(DAYS + 3, 12)
    found = told(months, before, after)
    assert len(found) == 0
    assert len(found.left_out) == 3
    for entry in (months, before, after):
        [said] = [each for each in found.left_out if entry.words in each]
        assert said.startswith("Left out, as its day is not known or has no weather")
    assert len(told(counted(5, {"adult": 3}, window_days=LONGEST_WINDOW_DAYS - 10))) == 1


def test_what_says_nothing_is_left_out():
    uncounted, unmeasured = counted(5, {"adult": ""}), counted(6, {"adult": 3}, litres="")
    found = told(uncounted, unmeasured, seen(7, ""), counted(8, {"adult": "", "juvenile": 2}))
    assert len(found) == 1
    assert [STAGES[stage] for stage in found.rows.stage] == ["juvenile"]
    assert len(found.left_out) == 2
    assert any("nothing was counted" in said for said in found.left_out)
    assert any("volume" in said for said in found.left_out)


def test_a_vague_count_keeps_all_it_may_mean():
    found = told(counted(5, {"cocoon": "10-15", "juvenile": "about 20-30", "adult": "20+", "hatchling": 0}))
    between, between_weight = values_of(found, 0)
    assert between.tolist() == [10, 11, 12, 13, 14, 15]
    assert (between_weight == 1).all()
    about, weight = values_of(found, 1)
    assert weight.argmax() == list(about).index(25)
    assert weight[(about >= 20) & (about <= 30)].sum() / weight.sum() == pytest.approx(0.9, abs=0.04)
    at_least, _ = values_of(found, 2)
    assert (at_least[0], at_least[-1]) == (20, 80)
    assert values_of(found, 3)[0].tolist() == [0]


def test_a_sighting_is_a_lower_bound_on_whom_it_names():
    found = told(seen(1, "12-20", "adult"), seen(2, "7+"), seen(3, 2, "cocoon"))
    assert len(found) == 3
    assert found.rows.least.tolist() == [12, 7, 2]
    named = [{stage for stage, meant in zip(STAGES, row, strict=True) if meant} for row in found.rows.who]
    assert named == [{"adult"}, set(STAGES) - {"cocoon"}, {"cocoon"}]
    assert found.rows.sightings.tolist() == [0, 1, 2, 3]
    assert (found.rows.slip == SIGHTING_SLIP).all()
    assert found.rows.samples.tolist() == [0, 0, 0, 0]
    assert len(told(seen(1, 0))) == 0  # none seen bounds nothing


def test_sightings_of_one_day_stay_apart():
    """Each may be a slip by itself, and the larger says all that the smaller does."""
    assert len(told(seen(1, 5), seen(1, 9))) == 2


def test_order_and_ids_do_not_matter():
    entries: list[SampleCount | Sighting] = [
        counted(4, {"adult": 3}), counted(4, {"adult": 5}, place="edge"), seen(4, 9), counted(20, {"cocoon": "2+"}),
        seen(11, "6-9", "juvenile", window_days=3), counted(30, {"adult": 1}, litres="about 1-2", window_days=9),
    ]  # fmt: skip
    first = told(*entries)
    for seed in range(5):
        other = [replace(entry, id=f"{seed}-{i}") for i, entry in enumerate(entries)]
        random.Random(seed).shuffle(other)
        assert same(first, told(*other))


def test_parts_come_by_day():
    found = told(seen(11, 5, window_days=4), seen(12, 6), counted(10, {"adult": 1}, window_days=9))
    assert (np.diff(found.rows.part_state) >= 0).all()


def test_a_slip_is_the_less_to_be_thought_of_the_more_was_counted():
    one, more = told(counted(4, {"adult": 3})), told(counted(4, {"adult": 3, "juvenile": 6, "cocoon": 2}))
    vague = told(counted(4, {"adult": "0-50"}))
    assert 0 < more.rows.slip_chance[0] < one.rows.slip_chance[0] < vague.rows.slip_chance[0] <= 1


def test_a_volume_stays_as_vague_as_it_was():
    [volume] = told(counted(4, {"adult": 3}, litres="1-2")).volumes
    assert volume == amount("1-2", "L")
