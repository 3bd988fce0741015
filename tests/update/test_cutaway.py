from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from tests.update.sample import sample
from underlid.fit.cut import Cut
from underlid.update import cutaway
from underlid.update.frames import cut_times
from underlid.update.own import contrast
from underlid.update.story import tell


def test_without_a_cut_there_is_nothing_to_draw():
    assert cutaway.cutaway(tell(sample(), (2026, 1))) is None


def test_the_cut_is_that_of_the_coldest_hour_with_both_units():
    hour = np.arange(3, len(sample().case.time_utc), 6)
    middle = 4.0 * np.sin(hour / 60)[:, None, None] + np.linspace(-1, 2, 54).reshape(6, 9)
    bedding = np.stack([middle - 1, middle, middle + 1], axis=-1)
    whole = Cut(hour, np.linspace(0.02, 0.36, 9), np.linspace(0.02, 0.2, 6), bedding, 0.38, 0.22)
    story = tell(sample(), (2026, 1), cut=whole)
    assert story.cut is not None
    drawn = cutaway.cutaway(story)
    assert drawn is not None
    picture, says = drawn[0].decode(), drawn[1]
    at = int(np.abs(cut_times(story, story.cut) - story.coldest.when.usual.timestamp()).argmin())
    cells = story.cut.bedding_c[at, :, :, 1]
    fills = re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="[\d.]+" height="[\d.]+" fill="(#\w+)"/>', picture)
    assert fills == [cutaway.colour(float(one)) for one in cells.ravel()]
    labels = re.findall(r">(−?[\d.]+) (°[CF])<", picture)
    assert {unit for _, unit in labels} == {"°C", "°F"}
    assert "estimated" in says
    warmer = replace(story, cut=replace(story.cut, bedding_c=story.cut.bedding_c + 20))
    assert cutaway.cutaway(warmer) != drawn


def test_a_colour_changes_at_its_step_and_words_on_it_can_be_read():
    for low, high in zip(cutaway.STEPS_C, cutaway.STEPS_C[1:], strict=False):
        assert cutaway.colour(low) == cutaway.colour(high - 0.01) != cutaway.colour(high)
    assert len(set(cutaway.COLOURS)) == len(cutaway.STEPS_C) + 1
    for fill in cutaway.COLOURS:
        assert max(contrast(ink, fill) for ink in (cutaway.INK, cutaway.WHITE)) >= 4.5


def test_labels_and_key_stay_inside_the_drawing():
    for cells in (np.full((1, 1), 3.0), np.linspace(-20, 40, 54).reshape(6, 9), np.full((12, 25), -9.0)):
        drawn = cutaway._drawn(cells, 190)
        xs = [float(x) for x in re.findall(r'<text x="([\d.-]+)"', drawn)]
        assert xs
        assert all(25 <= x <= cutaway.WIDTH - 25 for x in xs)
