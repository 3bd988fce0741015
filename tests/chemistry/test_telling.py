"""The sentences on pH and EC say what stands in the account, and never more."""

import re

import pytest

from tests.chemistry.bedding import taken
from tests.chemistry.test_account import ask
from underlid.chemistry import telling
from underlid.quantity.points import three


def text(sentences):
    return " ".join(sentences)


def test_the_headline_has_the_range_of_the_whole_rounded_outward():
    told = ask(taken("pH 6.5"), taken("pH 7.5", "edge"))["pH"]
    low, middle, high = three(told.field.whole)
    said = telling.headline("north", told)
    shown = [float(x) for x in re.findall(r"\d\.\d", said)]
    assert shown[0] == pytest.approx(middle, abs=0.05)
    assert low - 0.1 < shown[1] <= low
    assert high <= shown[2] < high + 0.1
    assert "estimated from 2 readings, 1 Feb 2026" in said


def test_rows_show_what_was_read_and_what_was_not():
    told = ask(taken("pH 6.5"), taken("about pH 7", "not noted"))["pH"]
    rows = {row[0]: row for row in telling.rows(told)}
    assert rows["middle"][2] == "6.5"
    assert rows["edge"][2] == "not read"
    assert rows["place not noted"][1:3] == ("", "about 7")


def test_both_means_are_told_with_what_each_answers():
    far = ask(*[taken("pH 5.0")] * 6, *[taken("pH 7.5", "edge")] * 6)["pH"]
    said = telling.means(far.field)
    for part in ("mean pH", "mean acidity", "worms meet", "without buffer", "would read neither"):
        assert part in said
    assert "hardly differ" not in said
    assert "hardly differ" in telling.means(ask(taken("pH 6.5"), taken("pH 6.5", "edge"))["pH"].field)


def test_a_reading_outside_by_itself_is_told_even_if_it_hardly_counts():
    told = ask(*[taken("pH 7")] * 6, taken("pH 3.5"))["pH"]
    assert told.outside.below < 0.05
    assert "“pH 3.5” by itself is outside" in text(telling.meaning(told))
    assert "slip" in text(telling.beware(told))
    assert "by itself" not in text(telling.meaning(ask(taken("pH 4 to 6"))["pH"]))


@pytest.mark.parametrize(
    ("words", "part"), [("0.2", "likely under"), ("1.2", "cannot be told"), ("8.0", "likely over")]
)
def test_conductivity_is_judged_by_its_wide_range_only(words, part):
    told = ask(*[taken(f"EC {words} mS/cm", place) for place in ("middle", "edge") for _ in range(4)])["EC"]
    said = text(telling.meaning(told))
    assert part in said
    assert "depends on the extract" in said


def test_what_is_taken_for_granted_follows_the_readings():
    assert "Edge not read" in text(telling.assumed(ask(taken("pH 6.5"))["pH"]))
    assert "no instrument is named" in text(telling.assumed(ask(taken("pH 6.5"))["pH"]))
    named = ask(taken("pH 6.5", instrument="strip"), taken("pH 6.5", "edge", instrument="meter"))["pH"]
    assert "no instrument" not in text(telling.assumed(named))
    assert "not read" not in text(telling.assumed(named))
    assert "6 to 7" in text(telling.beware(named))
