from dataclasses import replace
from datetime import timedelta
from itertools import count
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.fit.cases import BEGIN, VESSEL, at, time_utc
from underlid.bedding.materials import material
from underlid.demo import winter as demo
from underlid.entry import parse_line
from underlid.fit.evidence import (
    MOST_HOURS,
    NoNumber,
    food_kg,
    hours_of,
    moisture_evidence,
    situation,
    temperature_evidence,
)
from underlid.quantity.amount import VagueAmount, parse_amount
from underlid.quantity.when import VagueTime

BIN = replace(
    demo.make_bin(demo.BINS[0]),
    started=VagueTime(BEGIN, BEGIN + timedelta(hours=1), "exact", "1 Nov"),
    timezone="UTC",
)
TIME = time_utc(24 * 60)


def entries(*lines, day=30):
    numbers = count()
    return [
        record
        for line in lines
        for record in parse_line(line, bin=BIN, now=at(24 * day), new_id=lambda: str(next(numbers))).records
    ]


def test_a_bin_becomes_the_box_the_model_sees():
    """17 x 12 x 11 in is 0.4318 x 0.3048 x 0.2794 m (the inch is 25.4 mm by definition)."""
    seen = situation(BIN)
    assert seen.vessel.length_m == pytest.approx(0.4318, abs=0.001)
    assert seen.vessel.width_m == pytest.approx(0.3048, abs=0.001)
    assert seen.vessel.bedding_depth_m == pytest.approx(9 * 0.0254, abs=0.001)
    assert 0.5 < seen.moisture[0] < 0.7 < seen.moisture[1] < 0.9
    assert seen.notes == ()


def test_what_is_not_noted_is_assumed_and_said():
    seen = situation(replace(BIN, layers=()))
    assert len(seen.notes) == 3
    assert seen.vessel.bedding_depth_m == pytest.approx(0.7 * seen.vessel.height_m)
    assert seen.moisture == (0.55, 0.85)


def test_a_layer_without_depth_still_tells_its_material_and_moisture():
    unknown = VagueAmount(-np.inf, np.inf, "m", "not noted", "not noted")
    seen = situation(replace(BIN, layers=(replace(BIN.layers[0], depth=unknown),)))
    assert seen.moisture[0] > 0.5
    assert seen.dry_kg_m3 == pytest.approx(material("leaves").dry_density_kg_m3)
    assert seen.notes == ("The bedding's depth is not noted: seven tenths of the bin's height is assumed.",)


@pytest.mark.parametrize("words", ["0 %", "100 %", "at least 70 %", "70 %", "at most 20 %", "70-71 %"])
def test_any_moisture_gives_a_range_the_prior_can_use(words):
    layer = replace(BIN.layers[0], moisture=parse_amount(words, expect="%"))
    low, high = situation(replace(BIN, layers=(layer,))).moisture
    assert 0.05 < low < high < 0.97
    assert high - low >= 0.039


def test_a_size_without_a_number_is_refused_in_words():
    unknown = VagueAmount(-np.inf, np.inf, "m", "not noted", "not noted")
    with pytest.raises(NoNumber, match="note it roughly"):
        situation(replace(BIN, wall_thickness=unknown))


def test_a_reading_keeps_its_interval_its_hours_and_its_place():
    found = temperature_evidence(entries("5 Nov 20:00: edge 2-3 C"), VESSEL, TIME)
    assert (found.low[0], found.high[0], found.about[0]) == (2.0, 3.0, False)
    assert set(found.hour) <= {4 * 24 + 19, 4 * 24 + 20, 4 * 24 + 21}
    assert found.probes[0].wall_m == pytest.approx(0.03)
    assert found.weight.sum() == pytest.approx(1.0)


def test_the_order_in_which_the_journal_gives_entries_does_not_matter():
    told = entries("5 Nov 20:00: middle 2-3 C, edge 1 C", "4 Nov: surface 5 C")
    one, other = (temperature_evidence(order, VESSEL, TIME) for order in (told, told[::-1]))
    assert [entry.id for entry in one.used] == [entry.id for entry in other.used]
    assert one.low.tobytes() == other.low.tobytes()
    assert one.probes == other.probes


def test_one_sided_words_stay_open():
    found = temperature_evidence(entries("5 Nov: middle under 5 C", "6 Nov: middle at least 2 C"), VESSEL, TIME)
    assert found.low[0] == -np.inf
    assert found.high[1] == np.inf


def test_a_contradiction_enters_with_its_whole_width():
    found = temperature_evidence(entries("5 Nov: middle 1 C, 50 F"), VESSEL, TIME)
    assert found.low[0] < 1 < 10 < found.high[0]


def test_a_place_not_noted_may_be_middle_or_edge():
    found = temperature_evidence(entries("5 Nov 20:00: 4 C"), VESSEL, TIME)
    assert len(found.probes) == 2
    assert found.weight.sum() == pytest.approx(1.0)


def test_a_whole_day_is_spread_over_its_hours_and_a_week_over_at_most_a_day_of_them():
    day = temperature_evidence(entries("5 Nov: middle 4 C"), VESSEL, TIME)
    assert len(set(day.hour)) == 25
    part = temperature_evidence(entries("early November: middle 4 C"), VESSEL, TIME)
    assert len(set(part.hour)) == MOST_HOURS
    assert np.ptp(part.hour) > 5 * 24
    assert len(set(part.hour % 24)) > 10  # not one hour of the day over and over


@pytest.mark.parametrize("minutes", [0, 20, 45])
def test_a_reading_just_taken_and_one_of_the_first_day_are_used(minutes):
    hours = TIME[: 24 * 5 + 22]  # the weather seen ends on the full hour before now
    now = at(24 * 5 + 21) + timedelta(minutes=minutes)
    for line in ("middle 3 C", "today: middle 3 C", "tonight: middle 3 C", "1 Nov: middle 12 C"):
        told = parse_line(line, bin=BIN, now=now, new_id=lambda: "1").records
        assert len(temperature_evidence(told, VESSEL, hours)) == 1, line


def test_an_interval_without_width_is_widened_to_what_an_instrument_can_tell():
    found = temperature_evidence(entries("5 Nov: middle between 2 and 2 C"), VESSEL, TIME)
    assert found.high[0] - found.low[0] == pytest.approx(0.1)


def test_readings_close_together_count_little_more_than_one():
    far = temperature_evidence(entries("5 Nov 20:00: middle 3 C", "25 Nov 20:00: middle 3 C"), VESSEL, TIME)
    near = temperature_evidence(entries("5 Nov 20:00: middle 3 C", "5 Nov 21:00: middle 3 C"), VESSEL, TIME)
    apart = temperature_evidence(entries("5 Nov 20:00: middle 3 C, edge 2 C"), VESSEL, TIME)
    assert far.worth.sum() == pytest.approx(2, abs=0.01)
    assert near.worth.sum() == pytest.approx(2 / (1 + np.exp(-1 / 24)))
    assert apart.worth.sum() == pytest.approx(2)
    hours = np.arange(100)
    lines = (f"{2 + h // 24} Nov {h % 24:02d}:00: middle 3 C" for h in hours)
    logger = temperature_evidence(entries(*lines), VESSEL, TIME)
    kept = np.exp(-np.abs(hours[:, None] - hours) / 24)
    assert np.sort(logger.worth) == pytest.approx(np.sort(1 / kept.sum(axis=1)), rel=0.02)


def test_moisture_at_three_places_in_one_hour_counts_as_one():
    """It speaks of the whole bedding wherever it is taken."""
    (told,) = entries("5 Nov 20:00: moisture 70 %")
    here = [replace(told, id=place, place=place) for place in ("middle", "edge", "surface")]
    assert moisture_evidence(here, TIME).worth == pytest.approx([1 / 3] * 3)


def test_a_whole_month_in_a_zone_with_summer_time_is_used():
    """October in most of Europe has 745 hours."""
    assert isinstance(hours_of(at(0), at(745), TIME), np.ndarray)


def test_readings_that_cannot_be_used_are_named_with_the_reason():
    found = temperature_evidence(entries("5 Nov: middle 4 C"), VESSEL, time_utc(48))
    assert len(found) == 0
    assert "no weather for that time" in found.left_out[0]
    assert hours_of(at(0), at(24 * 40), TIME) == "the time is known no better than a month"


def test_what_was_not_noted_or_is_not_bedding_says_nothing():
    assert len(temperature_evidence(entries("5 Nov: air 4 C", "6 Nov: pH 6.5"), VESSEL, TIME)) == 0
    unknown = replace(entries("5 Nov: middle 4 C")[0], amount=VagueAmount(-np.inf, np.inf, "degC", "not noted", "?"))
    assert len(temperature_evidence([unknown], VESSEL, TIME)) == 0


def test_food_is_spread_over_a_vague_time_and_none_is_lost():
    food, notes = food_kg(entries("5 Nov 18:00: fed 150 g pear cores", "8 Nov: fed 0.5 L leaves"), TIME)
    assert food.sum() == pytest.approx(0.15 + 0.25, rel=0.05)
    assert notes == ()
    _, notes = food_kg(entries("5 Nov: fed some pear cores"), TIME)
    assert len(notes) == 1
    assert "without heat" in notes[0].lower()


def test_watering_is_no_food():
    food, _ = food_kg(entries("5 Nov: watered 500 ml"), TIME)
    assert food.sum() == 0


def test_zone_of_the_bin_decides_what_an_evening_is():
    away = replace(BIN, timezone="America/Anchorage")
    told = parse_line("5 Nov 20:00: middle 4 C", bin=away, now=at(24 * 30), new_id=lambda: "1").records
    found = temperature_evidence(told, VESSEL, TIME)
    local = told[0].when.start.astimezone(ZoneInfo("America/Anchorage"))
    assert (local.day, local.hour) in {(5, 19), (5, 20)}
    assert abs(int(found.hour[0]) - (5 * 24 + 5)) <= 1
