from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tests.fit.cases import BEGIN, air, at, time_utc
from tests.fit.test_evidence import BIN, entries
from underlid.fit.study import FORECAST_DAYS, WeatherDoesNotFit, fit_case, lay_out, study
from underlid.weather.files import demo_weather, read_weather
from underlid.weather.series import Weather

LINES = ("5 Nov 20:00: middle 5-6 C", "8 Nov: edge about 4 C", "10 Nov 7:00: surface 2 C; fed 150 g pear cores")


def weather(days, *, begin=BEGIN, source="a test file", gap=()):
    air_c = air(days)
    air_c[list(gap)] = np.nan
    first = int(begin.timestamp())
    return Weather(first + 3600 * np.arange(days * 24), air_c, np.zeros(days * 24, bool), source)


def case(days=30, now_day=14, until_day=40, past=(), lines=LINES, **options):
    return lay_out(BIN, entries(*lines), weather(days, **options), at(24 * now_day), at(24 * until_day), past)


def test_without_past_years_the_outlook_ends_with_the_forecast_and_says_so():
    laid = case()
    assert len(laid.time_utc) == (14 + FORECAST_DAYS) * 24 + 1
    assert laid.forecast_until == len(laid.time_utc)
    assert any("No past years" in note for note in laid.notes)


def test_with_past_years_it_goes_on_and_says_what_they_are():
    laid = case(past=(read_weather(demo_weather()),))
    assert laid.time_utc[-1] == at(40 * 24).timestamp()
    assert laid.members_c.shape[1] == len(laid.time_utc)
    assert laid.forecast_until == (14 + FORECAST_DAYS) * 24 + 1
    assert any("one typical year" in note for note in laid.notes)


def test_weather_that_ends_before_now_hands_over_to_past_years_earlier():
    laid = case(days=10, past=(read_weather(demo_weather()),))
    assert laid.now_index == 10 * 24 - 1
    assert any("The weather ends" in note for note in laid.notes)


def test_a_typical_year_stands_in_for_real_weather_and_says_so():
    laid = lay_out(BIN, entries(*LINES), read_weather(demo_weather()), at(24 * 14), at(24 * 40))
    assert laid.typical
    assert "typical year laid over" in " ".join(laid.notes)


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"begin": BEGIN + timedelta(days=20)}, "starts earlier"),
        ({"gap": (50, 51, 52)}, "missing for 3 hours"),
        ({"begin": BEGIN - timedelta(days=60)}, "covers"),
    ],
)
def test_weather_that_does_not_fit_is_refused_in_words(options, sentence):
    with pytest.raises(WeatherDoesNotFit, match=sentence):
        case(**options)


def test_what_was_noted_after_the_present_is_not_used():
    laid = case(now_day=6)
    assert len(laid.evidence) == 1
    assert laid.drive.food_kg.sum() == 0


def test_the_key_changes_with_whatever_the_fit_rests_on_and_nothing_else():
    laid = case()
    assert laid.key(1) == case(until_day=50).key(1)
    typical = read_weather(demo_weather())
    ahead = [lay_out(BIN, entries(*LINES), typical, at(24 * 14), at(24 * days)).key(1) for days in (20, 90)]
    assert ahead[0] == ahead[1]
    assert case(now_day=13).key(1) == laid.key(1)  # a day without readings needs no new fit
    others = [laid.key(2), case(lines=LINES[:2]).key(1)]
    warmer = replace(laid, drive=replace(laid.drive, air_c=laid.drive.air_c + 0.1))
    assert len({laid.key(1), *others, warmer.key(1)}) == 4


def test_a_bin_of_the_future_or_of_this_minute_is_told_so():
    for moment, sentence in ((at(-5), "after the present"), (at(0) + timedelta(minutes=20), "no whole hour")):
        with pytest.raises(WeatherDoesNotFit, match=sentence):
            lay_out(BIN, [], weather(30), moment, at(24 * 20))


def test_a_bin_indoors_is_not_passed_off_as_one_in_the_weather():
    laid = lay_out(replace(BIN, siting="indoors"), [], weather(30), at(24 * 14), at(24 * 20))
    assert any("room's air" in note for note in laid.notes)


def test_hours_of_a_half_hour_zone_are_those_of_the_weather():
    local = replace(weather(30), time_utc=weather(30).time_utc + 1800, utc_offset_h=5.5)
    laid = lay_out(BIN, [], local, at(24 * 14), at(24 * 20))
    assert (laid.time_utc[0] - local.time_utc[0]) % 3600 == 0
    assert laid.drive.air_c[0] == local.air_c[0]


def test_what_was_left_out_is_told_though_the_fit_is_remembered():
    told = [*LINES, "not noted: middle 4 C"]
    laid = lay_out(BIN, entries(*told, day=40), weather(50), at(24 * 40), at(24 * 41))
    without = lay_out(BIN, entries(*LINES, day=40), weather(50), at(24 * 40), at(24 * 41))
    assert laid.key(1) == without.key(1)
    posterior = fit_case(without, 1)
    assert any("no better than a month" in note for note in study(laid, posterior).notes)
    assert not any("no better than a month" in note for note in study(without, posterior).notes)


def test_an_unknown_species_is_stood_in_for_and_said():
    laid = lay_out(replace(BIN, species="Lumbricus rubellus"), [], weather(30), at(24 * 14), at(24 * 20))
    assert laid.species.name == "Eisenia fetida"
    assert any("stands in" in note for note in laid.notes)


def test_a_study_holds_every_hour_and_every_note():
    laid = case()
    result = study(laid, fit_case(laid, 1))
    assert result.posterior.readings == 3
    assert len(result.outlook.time_utc) == len(laid.time_utc)
    assert set(laid.notes) <= set(result.notes)
    assert result.index(at(24)) == 24
    assert result.index(BEGIN - timedelta(days=9)) == 0
    assert time_utc(2)[1] == result.outlook.time_utc[1]
