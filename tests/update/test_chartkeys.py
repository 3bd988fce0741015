from __future__ import annotations

from tests.update.sample import sample
from underlid.update import charts
from underlid.update.chartkeys import chart_key, place_of
from underlid.update.story import tell


def test_a_key_names_only_what_is_drawn():
    ahead = [str(item["text"]) for item in chart_key(tell(sample(), (2026, 3)), "month")]
    assert "air" in ahead
    assert not any("estimated" in text for text in ahead)
    assert any("predicted" in text for text in ahead)
    done = [str(item["text"]) for item in chart_key(tell(sample(), (2025, 12)), "refuge")]
    assert any("estimated" in text for text in done)
    assert not any("predicted" in text for text in done)


def test_readings_are_told_apart_by_their_place():
    story = tell(sample(), (2026, 1))
    shapes = {item["shape"] for item in chart_key(story, "month") if item["kind"] == "mark"}
    assert shapes == {charts.PLACE_MARKS[place][1] for place in ("middle", "edge", "surface", "not noted")}
    assert {place_of(fact) for fact in story.readings} == {"middle", "edge", "surface", "not noted"}


def test_predictions_are_dashed_and_estimates_are_not():
    for name in ("month", "refuge"):
        for item in chart_key(tell(sample(), (2026, 1)), name):
            if item["kind"] == "line":
                assert item["dash"] == ("predicted" in str(item["text"]))
