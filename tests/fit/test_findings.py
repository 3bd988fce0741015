from dataclasses import replace

import pytest

from tests.fit.cases import at
from tests.fit.test_evidence import BIN, entries
from tests.fit.test_study import weather
from underlid.fit.findings import findings
from underlid.quantity.amount import VagueAmount


def sentences(lines=(), bin=BIN, air=None, day=30):
    return {finding.sentence: finding.weight for finding in findings(bin, entries(*lines), at(24 * day), air)}


def find(told, part):
    return [weight for sentence, weight in told.items() if part in sentence]


@pytest.mark.parametrize(
    ("line", "part", "weight"),
    [
        ("5 Nov: middle 1 C, 50 F", "33.8", "look"),
        ("5 Nov 20:00: 4 C", "place is not noted", "know"),
        ("5 Nov: middle 60 C", "hardly possible", "look"),
    ],
)
def test_odd_readings_are_cited_with_their_words(line, part, weight):
    assert find(sentences([line]), part) == [weight]


def test_two_readings_of_one_spot_that_cannot_both_be_right():
    told = sentences(["5 Nov 20:00: middle 2 C", "5 Nov 20:20: middle 12 C"])
    assert find(told, "far apart") == ["look"]
    assert not find(sentences(["5 Nov 20:00: middle 2 C", "5 Nov 20:20: edge 12 C"]), "far apart")
    assert not find(sentences(["5 Nov 20:00: middle 2 C", "6 Nov 20:20: middle 12 C"]), "far apart")


def test_a_note_that_looks_like_a_temperature_is_told():
    assert find(sentences(["5 Nov 20:00: middel 2 C"]), "looks like a temperature") == ["look"]


@pytest.mark.parametrize(
    ("words", "looks"), [("100 g lemon peel", "a feeding: “fed 100 g lemon peel”"), ("12 wriggly worms", "a sighting")]
)
def test_other_notes_that_hold_more_are_told_with_an_example(words, looks):
    assert find(sentences([f"5 Nov 20:00: {words}"]), f"it looks like {looks}") == ["look"]


@pytest.mark.parametrize("words", ["note: middle 6 C", "two dead worms", "harvested 2 kg of castings"])
def test_what_is_meant_as_a_note_is_left_in_peace(words):
    assert not find(sentences([f"5 Nov 20:00: {words}"]), "looks like")


def test_a_feeding_that_the_bin_cannot_hold_is_to_be_looked_at():
    inside_l = 1000 * BIN.length.high * BIN.width.high * BIN.height.high
    more, less = (f"5 Nov 20:00: fed {kg:.0f} kg lemons" for kg in (inside_l + 2, 1))
    assert find(sentences([more]), "hardly possible") == ["look"]
    assert not find(sentences([less]), "possible")


def test_an_unknown_food_is_told_once_with_what_it_is_kept_from():
    told = sentences(["5 Nov 20:00: fed 100 g quince", "6 Nov 20:00: fed 50 g quince"])
    assert find(told, "No properties are known for the material 'quince'") == ["know"]
    assert find(told, "castings and feedcheck cannot reckon with it") == ["know"]
    assert not any("Known:" in sentence for sentence in told)
    assert not find(sentences(["5 Nov 20:00: fed 100 g zucchini", "5 Nov 21:00: watered 1 L"]), "No properties")


def test_a_line_entered_twice_is_told():
    assert find(sentences(["5 Nov 20:00: middle 2 C", "5 Nov 20:00: middle 2 C"]), "entered twice") == ["look"]


def test_long_silence_is_told():
    assert find(sentences(["5 Nov 20:00: middle 2 C"], day=40), "No bedding temperature for")
    assert not find(sentences(["5 Nov 20:00: middle 2 C"], day=12), "No bedding temperature for")


def test_a_bin_that_cannot_be_is_to_be_mended():
    low = replace(BIN, height=VagueAmount(0.1, 0.1, "m", "exact", "10 cm"))
    assert find(sentences(bin=low), "smaller bedding depth") == ["mend"]


def test_gaps_in_the_weather_and_air_that_disagrees_with_it():
    air = weather(30, gap=(50, 51))
    told = sentences(["5 Nov 20:00: air 25 C", "6 Nov 20:00: air 6 C"], air=air)
    assert find(told, "gap of 2 hours") == ["look"]
    assert len(find(told, "the weather file has the air at")) == 1


def test_a_sound_journal_gives_nothing_to_mend_and_gravest_comes_first():
    told = findings(BIN, entries("5 Nov: middle 80 C", "5 Nov 20:00: 4 C"), at(24 * 12))
    assert [finding.weight for finding in told] == sorted(
        (finding.weight for finding in told), key=["mend", "look", "know"].index
    )
    sound = findings(BIN, entries("5 Nov 20:00: middle 4 C"), at(24 * 12), weather(30))
    assert sound == ()


def test_filled_hours_are_counted():
    air = weather(30)
    filled = air.filled.copy()
    filled[10:13] = True
    told = sentences(air=replace(air, filled=filled), day=12)
    assert find(told, "3 hours of the weather are filled")
