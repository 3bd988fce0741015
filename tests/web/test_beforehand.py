"""Questions before something is done: what can be asked, and that the answers are those of the commands."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.update.sample import case
from tests.web.conftest import NOW
from underlid.entry import parse_line
from underlid.fit.change import litres_of
from underlid.fit.feedbed import NoTemperature
from underlid.journal.store import Journal
from underlid.web.beforehand import NeedsWeather, NothingAsked, changes, fed, feedcheck, whatif

pytestmark = pytest.mark.usefixtures("quick")


def test_every_slider_is_a_change_and_they_follow_each_other():
    one = case()
    for change in changes(insulate_cm=3, litres=80, siting="indoors", room_c=12):
        one = change(one).case
    vessel = one.situation.vessel
    assert litres_of(vessel) == pytest.approx(80)
    assert vessel.siting == "indoors"
    assert vessel.insulation[0].thickness_m == pytest.approx(0.03)


def test_a_bigger_bin_keeps_its_proportions():
    one = case()
    (change,) = changes(litres=2 * litres_of(one.situation.vessel))
    old, new = one.situation.vessel, change(one).case.situation.vessel
    assert new.length_m / new.width_m == pytest.approx(old.length_m / old.width_m)
    assert new.bedding_depth_m / new.height_m == pytest.approx(old.bedding_depth_m / old.height_m)


@pytest.mark.parametrize("asked", [{}, {"siting": "indoors"}, {"room_c": 20.0}])
def test_nothing_moved_is_nothing_asked(asked):
    with pytest.raises(NothingAsked):
        changes(**asked)


def test_what_if_needs_the_weather(settings):
    with pytest.raises(NeedsWeather, match="--weather"):
        whatif(settings, lambda done: None, "north", insulate_cm=3)


def test_a_feeding_is_read_as_the_journal_reads_it(settings):
    with Journal.open(settings.journal) as book:
        feeding = fed(book.bin("north"), "300 g lemon peel", NOW, {})
    assert (feeding.material, feeding.amount.unit) == ("lemon peel", "kg")


def test_without_a_warmth_nothing_is_told(settings):
    late = replace(settings, now=_weeks_later)
    with pytest.raises(NoTemperature):
        feedcheck(late, lambda done: None, "north", "300 g lemon peel")


def _weeks_later():
    return NOW + timedelta(weeks=5)


@pytest.mark.computes
def test_a_feeding_is_judged_by_readings_where_there_is_no_weather(settings):
    with Journal.open(settings.journal) as book:
        record = book.bin("north")
        said = parse_line("2 Feb: middle 15-17 C", bin=record, now=NOW, new_id=lambda: "warm").records
        book.add(said)
    shares: list[float] = []
    little, much = (feedcheck(settings, shares.append, "north", words) for words in ("20 g pear", "6 kg pear"))
    ranks = ["fine", "smaller", "not now"]
    assert ranks.index(little["verdict"]) < ranks.index(much["verdict"])
    assert all(0 <= share <= 1 for share in shares)
    for told in (little, much):
        assert all(len(row) == len(told["heads"]) for row in told["rows"])
        assert {row[-1] for row in told["rows"]} <= set(ranks)
        worst = max(ranks.index(row[-1]) for row in told["rows"])
        assert told["verdict"] == ranks[worst]
        assert not any("--ph" in note for note in told["notes"])
        assert told["provenance"] == "predicted"
