"""From a bin's records to what is asked before a feeding."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.update.sample import BIN
from underlid.bedding.materials import UnknownMaterial, material
from underlid.entry import parse_line
from underlid.fit.feedbed import (
    NoTemperature,
    NotInReach,
    amount_of,
    bed_of,
    bedding_c_of,
    food_of,
    live_of,
    one_feeding,
)
from underlid.fit.feeding import NoFood
from underlid.quantity import parse_amount

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)


def said(line, now=NOW, containers=None):
    return parse_line(line, bin=BIN, now=now, new_id=lambda: "x", containers=containers or {}).records


def fed(words, **other):
    return one_feeding(said(f"fed {words}", **other), words)


def test_words_become_a_food_and_a_mass():
    fresh = fed("2 kg fresh poultry manure")
    assert food_of(fresh) == material("chicken manure")
    assert amount_of(fresh, food_of(fresh)).middle == pytest.approx(2.0)
    assert food_of(fed("100 g egg shells")).kind == "mineral"
    half = fed("half a bucket of coffee grounds", containers={"bucket": parse_amount("10 L")})
    grounds = food_of(half)
    mass = amount_of(half, grounds)
    assert mass.low == pytest.approx(half.amount.low * grounds.bulk_kg_m3.low / 1000)
    assert mass.low < 5 * grounds.bulk_kg_m3.value / 1000 < mass.high


def test_what_is_no_feeding_is_refused():
    with pytest.raises(UnknownMaterial, match="Did you mean 'lemon peel'"):
        food_of(fed("100 g lemmon peel"))
    with pytest.raises(UnknownMaterial, match="'gravel'"):
        food_of(fed("100 g fresh gravel"))
    for words in ("2 lemons", "some lemon", "more than 2 kg lemon"):
        with pytest.raises(NoFood, match="both ends"):
            amount_of(fed(words), material("lemon"))
    with pytest.raises(NoFood, match="not one feeding"):
        one_feeding(said("middle 7 C"), "middle 7 C")
    with pytest.raises(NoFood, match="not one feeding"):
        one_feeding(said("fed 100 g lemon, edge 6 C"), "100 g lemon, edge 6 C")


def test_the_bed_is_that_of_the_bin():
    bed, notes = bed_of(BIN, None)
    assert [one.name for one, _ in bed.layers] == [material(layer.material).name for layer in BIN.layers]
    assert (bed.ph.low, bed.ph.high) == (6.0, 8.0)
    assert any("No --ph" in note for note in notes)
    assert bed.moisture_pct.low <= bed.moisture_pct.value <= bed.moisture_pct.high
    told, fewer = bed_of(BIN, parse_amount("6.5-7", expect="pH"))
    assert (told.ph.low, told.ph.high) == (6.5, 7.0)
    assert len(fewer) == len(notes) - 1
    bare, assumed = bed_of(replace(BIN, layers=()), None)
    assert len(bare.layers) == 3
    assert any("No bedding is noted" in note for note in assumed)
    with pytest.raises(NotInReach, match="--ph"):
        bed_of(BIN, parse_amount("above 5", expect="pH"))


def test_live_mass_is_that_of_the_founders():
    live, words = live_of(replace(BIN, founders=parse_amount("20 to 30", expect="1")))
    assert live == pytest.approx((20 * 0.25e-3, 30 * 0.5e-3))  # 1 kg of mixed ages is 2,000 to 4,000 animals
    assert "founders" in words
    nobody, words = live_of(replace(BIN, founders=parse_amount("not noted", expect="1")))
    assert nobody is None
    assert "not noted" in words


def test_the_temperature_is_that_said_or_that_read_of_late():
    assert bedding_c_of(parse_amount("10-12 C", expect="degC"), (), NOW)[0] == (10.0, 12.0)
    old = said("middle 20 C", now=NOW - timedelta(days=20))
    late = (*said("middle 7-8 C", now=NOW - timedelta(days=9)), *said("edge 6 C", now=NOW - timedelta(days=2)))
    (low, high), words = bedding_c_of(None, (*old, *late), NOW)
    assert low == pytest.approx(6.0, abs=0.6)
    assert high == 8.0
    assert "2 readings" in words
    assert "°F" in words
    with pytest.raises(NoTemperature, match="--at"):
        bedding_c_of(None, old, NOW)
    with pytest.raises(NotInReach, match="--at"):
        bedding_c_of(parse_amount("above 5 C", expect="degC"), (), NOW)
