import re
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.fit.journals import BEGIN, DAYS, journal, reading, study_of
from tests.update.forms.test_page import Outline, without_fonts
from underlid.fit.predictive import Check, predictive
from underlid.quantity.amount import VagueAmount
from underlid.update.forms.fitpage import page
from underlid.update.prose import fitwords

WET = reading(200, "not noted", VagueAmount(97, 99, "%", "between", "97 to 99 %"), of="moisture")


def told(entries):
    study = study_of(entries)
    found = predictive(study)
    return found, page(study, found)


@pytest.fixture(scope="module")
def usual():
    return told((*journal(1, 20), WET))


@pytest.mark.parametrize("count", [0, 1, 3, 60])
def test_any_number_of_readings_makes_a_whole_page(count):
    found, html = told(journal(4, count))
    outline = Outline(html)
    assert outline.open == []
    assert fitwords.verdict(found) in outline.text
    assert "nan" not in re.sub(r"[a-z]*nan[a-z]+|[a-z]+nan", "", without_fonts(html).lower())
    charts = {value for tag, name, value in outline.attributes if tag == "svg" and name == "aria-label"}
    assert len(charts) == (3 if count else 0)


def test_the_page_needs_nothing_from_outside(usual):
    _, html = usual
    assert "://" not in html
    outline = Outline(html)
    assert not {tag for tag, _, _ in outline.attributes} & {"script", "link", "iframe", "object", "img", "a"}
    ids = [value for _, name, value in outline.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    assert all(one.startswith("#") for one in re.findall(r"url\(([^)]*)", without_fonts(html)))


def test_the_sections_stand_in_order(usual):
    _, html = usual
    assert [text for tag, text in Outline(html).headings if tag in ("h1", "h2")] == [
        "Porch tote", "Readings and what was expected", "Surprises", "Where in the range they fall",
        "What is left over", "Moisture", "What the fit learned", "What this page does not show", "Sources",
    ]  # fmt: skip


def test_the_same_study_gives_the_same_bytes(usual):
    assert told((*journal(1, 20), WET))[1] == usual[1]


def test_agreement_is_said_with_what_luck_allows():
    found, html = told(journal(1, 20))
    assert re.search(
        r"agree: \d+ of 20 lie in their 90\u00a0% range \(expected 18; \d+\u00a0to\u00a020 by luck\)",
        Outline(html).text,
    )
    assert fitwords.problems(found) == ()


def test_few_readings_say_that_little_can_be_told():
    assert fitwords.verdict(told(journal(1, 3))[0]).startswith("Too few readings to tell: ")


def test_no_reading_says_so():
    assert "nothing to check" in Outline(told(())[1]).text


def test_a_bin_that_changed_is_named_first_and_says_what_to_look_at():
    found, html = told(journal(3, 24, lambda shown, hour, place: shown + (4.0 if hour > DAYS * 12 else 0.0)))
    assert fitwords.verdict(found).startswith("The model and the readings do not agree")
    text = Outline(html).text
    assert "the readings grow warmer than the model" in text
    assert "was it moved" in text
    assert text.index("do not agree") < text.index("What to look at") < text.index("Readings and what was expected")


def test_a_thermometer_at_the_end_of_its_prior_is_to_be_held_in_melting_ice():
    found, _ = told(journal(2, 20, lambda shown, hour, place: shown + 5.0))
    assert any("melting ice" in sentence for sentence in fitwords.problems(found))


def test_a_slip_is_listed_with_its_words_both_units_and_odds():
    slip = reading(400, "middle", VagueAmount(40, 41, "degC", "between", "40-41 <C>"))
    found, html = told((*journal(6, 14), slip))
    assert "middle 40-41 &lt;C&gt;" in html
    text = Outline(html).text
    assert "40\u00a0to\u00a041\u00a0°C (104\u00a0to\u00a0106\u00a0°F)" in text
    assert "warmer by" in text
    assert "less than 1 in 1000" in text
    assert fitwords.surprises(found).split(". ")[1] == "Of 15 exact ones about two would by chance"


def test_moisture_is_told_in_its_own_unit(usual):
    found, html = usual
    text = Outline(html).text
    assert "97\u00a0to\u00a099\u00a0%" in text
    assert "points, " in fitwords.surprise(next(one for one in found.surprises if one.reading.quantity == "moisture"))


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.6, "as likely as not"), (0.31, "1 in 3"), (0.06, "1 in 20"), (0.012, "1 in 80"),
        (0.0001, "less than 1 in 1000"),
    ],
)  # fmt: skip
def test_odds_are_round(chance, said):
    assert fitwords.odds(chance) == said


def test_differences_carry_their_sign_and_both_units():
    assert fitwords.signed(1.0) == "+1.0\u00a0°C (+1.8\u00a0°F)"
    assert fitwords.signed(-0.04) == "0\u00a0°C (−0.1\u00a0°F)"


def test_rows_of_months_are_named_and_dated():
    found, html = told(journal(1, 20))
    assert BEGIN + timedelta(days=DAYS) < BEGIN + timedelta(days=31)
    assert [group.name for group in found.months] == ["2025-09"]
    assert "By month" not in html  # one month alone needs no table
    assert fitwords.group(found.months[0])[0] == "September 2025"


def test_what_was_measured_is_rounded_to_the_nearest_and_only_a_limit_up():
    found = predictive(study_of(journal(1, 20)))
    off = replace(found, residual_k=Check(0.62, -0.31, 0.31), drift_k=Check(-0.031, -0.01, 0.01))
    drift, mean = fitwords.problems(off)[:2]
    assert "by 0.03\u00a0°C (0.06\u00a0°F) in thirty days" in drift
    assert "lie 0.6\u00a0°C (1.1\u00a0°F) above the model" in mean
    steady = fitwords.limits(off, typical=False)[0]
    assert "a steady error below 0.4\u00a0°C (0.6\u00a0°F) would not show" in steady


@pytest.mark.parametrize(("many", "said"), [(1, "One vague reading lies across"), (2, "Two vague readings lie across")])
def test_readings_across_an_end_of_the_range_count_in_part(many, said):
    found = predictive(study_of(journal(1, 20)))
    across = replace(found.readings[0], pit=(0.8, 0.99))
    told = fitwords.surprises(replace(found, readings=(across,) * many))
    assert told.startswith("No reading lies wholly outside its 90\u00a0% range.")
    assert f"{said} an end of the range and count{'s' if many == 1 else ''} in part." in told
