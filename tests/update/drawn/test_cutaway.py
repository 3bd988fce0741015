from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from tests.update.sample import sample
from underlid.fit.cut import Cut
from underlid.update.drawn import cutaway, palette
from underlid.update.drawn.crosscut import Cell, Crosscut
from underlid.update.story import tell


def parts(middle_c) -> list[Cell]:
    found = []
    for (row, column), value in np.ndenumerate(middle_c):
        shade = palette.shade(value)
        found.append(
            Cell(row, column, 0, 0.0, 0.0, value, f"{value:.0f}", palette.SHADES[shade], palette.ink_on(shade),
                 value < 0)
        )  # fmt: skip
    return found


def test_without_a_cut_there_is_nothing_to_draw():
    assert cutaway.cutaway(tell(sample(), (2026, 1))) is None


def test_the_cut_is_that_of_the_coldest_hour_with_both_units():
    grid = sample().case.time_utc
    hour = np.arange(3, len(grid), 6)
    middle = 4.0 * np.sin(hour / 60)[:, None, None] + np.linspace(-1, 2, 54).reshape(6, 9)
    middle = (middle + middle[:, :, ::-1]) / 2
    bedding = np.stack([middle - 1, middle, middle + 1], axis=-1)
    whole = Cut(hour, grid[hour], np.linspace(0.02, 0.36, 9), np.linspace(0.02, 0.2, 6), bedding, 0.38, 0.22)
    story = tell(sample(), (2026, 1), cut=whole)
    assert story.cut is not None
    drawn = cutaway.cutaway(story)
    assert drawn is not None
    picture, says = drawn[0].decode(), drawn[1]
    at = int(np.abs(story.cut.time_utc - story.coldest.estimate_at.timestamp()).argmin())
    said = np.floor(2 * story.cut.bedding_c[at, :, :, 1] + 0.5) / 2
    fills = re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="[\d.]+" height="[\d.]+" fill="(#\w+)"/>', picture)
    assert fills == [palette.SHADES[palette.shade(float(one))] for one in said.ravel()]
    assert fills == [cell.fill for cell in Crosscut(story, story.cut).cells()], "the page shows other colours"
    assert picture.count('fill="url(#frost)"') == (said < 0).sum() > 0
    labels = re.findall(r">(−?[\d.]+) (°[CF])<", picture)
    assert {unit for _, unit in labels} == {"°C", "°F"}
    assert "estimated" in says
    warmer = replace(story, cut=replace(story.cut, bedding_c=story.cut.bedding_c + 20))
    assert cutaway.cutaway(warmer) != drawn


def test_labels_and_key_stay_inside_the_drawing():
    for cells in (np.full((1, 1), 3.0), np.linspace(-20, 40, 54).reshape(6, 9), np.full((12, 25), -9.0)):
        drawn = cutaway.drawn(parts(cells), 190)
        xs = [float(x) for x in re.findall(r'<text x="([\d.-]+)"', drawn)]
        assert xs
        assert all(25 <= x <= cutaway.WIDTH - 25 for x in xs)
