from __future__ import annotations

from tests.update.sample import sample
from underlid.update.drawn import charts
from underlid.update.drawn.keys import key_of, place_of
from underlid.update.story import tell


def test_a_key_names_only_what_is_drawn():
    ahead = [key.text for key in key_of(tell(sample(), (2026, 3)), "month")]
    assert "air" in ahead
    assert not any("estimated" in text for text in ahead)
    assert any("predicted" in text for text in ahead)
    done = [key.text for key in key_of(tell(sample(), (2025, 12)), "refuge")]
    assert any("estimated" in text for text in done)
    assert not any("predicted" in text for text in done)


def test_readings_are_told_apart_by_their_place():
    story = tell(sample(), (2026, 1))
    shapes = {key.shape for key in key_of(story, "month") if key.shape}
    assert shapes == {charts.PLACE_MARKS[place][1] for place in ("middle", "edge", "surface", "not noted")}
    assert {place_of(fact) for fact in story.readings} == {"middle", "edge", "surface", "not noted"}


def test_predictions_are_dashed_and_estimates_are_not():
    for name in ("month", "refuge"):
        for key in key_of(tell(sample(), (2026, 1)), name):
            if key.shape is None:
                assert key.dash == ("predicted" in key.text)
                assert ("predicted" in key.text) == ("predicted" in (key.brief or key.text))
