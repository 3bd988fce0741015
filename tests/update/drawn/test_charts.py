from __future__ import annotations

import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import pytest

from tests.update.sample import END, READINGS, ZONE, amount, sample, truth
from underlid.quantity.amount import Kind
from underlid.update.drawn import charts
from underlid.update.drawn.drawing import FONT, frame, svg
from underlid.update.facts import Story
from underlid.update.story import tell

ALL = (charts.month_chart, charts.refuge_chart, charts.outlook_chart)


@pytest.fixture(scope="module")
def story() -> Story:
    return tell(sample(), (2026, 1))


def layers(chart: Any, kind: str) -> list[dict[str, Any]]:
    spec = chart.to_dict()
    found = [layer for layer in spec["layer"] if layer["mark"]["type"] == kind]
    return [{**layer, "rows": spec["datasets"][layer["data"]["name"]]} for layer in found]


def rows(layer: dict[str, Any]) -> list[dict[str, Any]]:
    return list(layer["rows"])


@pytest.mark.parametrize("draw", ALL)
@pytest.mark.parametrize("size", [charts.DESK, charts.PHONE])
def test_times_are_read_and_shown_as_utc(draw: Any, size: charts.Size, story: Story) -> None:
    for layer in draw(story, size).to_dict()["layer"]:
        assert layer["encoding"]["x"]["scale"]["type"] == "utc"
        assert layer["encoding"]["x"]["axis"]["format"] == "%-d %b"


def test_the_band_of_the_middle_is_the_facts(story: Story) -> None:
    estimated, predicted = (
        layer for layer in layers(charts.month_chart(story), "area") if layer["mark"]["color"] == charts.BLUE
    )
    first = rows(estimated)[0]
    assert [first["low"], first["middle"], first["high"]] == pytest.approx(story.hours.middle_c[0], abs=1e-3)
    # local midnight, written as if it were UTC
    assert first["t"] == 1767225600000
    assert predicted["mark"]["opacity"] < estimated["mark"]["opacity"]
    assert rows(predicted)[-1]["high"] == pytest.approx(story.hours.middle_c[-1, 2], abs=1e-3)


def test_readings_are_as_wide_as_their_time_and_as_high_as_their_amount(story: Story) -> None:
    chart = charts.month_chart(story)
    boxes = layers(chart, "rect")
    assert len(boxes) == 3  # closed intervals: r1, r3, r4
    box = rows(boxes[0])[0]
    assert (box["low"], box["high"]) == (2.5, 3.5)
    assert box["end"] - box["t"] == 3 * 3600 * 1000
    dashes = [box["mark"]["strokeDash"] for box in boxes]
    assert dashes == [[1, 0], [2, 2], [1, 0]]  # r3 is an "about"
    shapes = [layer["mark"]["shape"] for layer in layers(chart, "point")]
    assert shapes.count("triangle-down") == 1  # r2: at most
    assert shapes.count("triangle-up") == 2  # r5: at least; and the mark of the surface
    places = {charts.PLACE_MARKS[place] for place in ("middle", "edge", "surface", "not noted")}
    drawn = {(layer["mark"]["color"], layer["mark"]["shape"]) for layer in layers(chart, "point")}
    assert places <= drawn


def test_colours_and_shapes_both_tell_places_apart() -> None:
    marks = list(charts.PLACE_MARKS.values())
    assert len({colour for colour, _ in marks}) == len(marks)
    assert len({shape for _, shape in marks}) == len(marks)


@pytest.mark.parametrize(
    "colour", [charts.BLUE, charts.VERMILION, charts.GREEN, charts.PURPLE, charts.INK, charts.GREY]
)
def test_marks_stand_out_from_white(colour: str) -> None:
    # WCAG 2.2, success criterion 1.4.11: graphics need a contrast of 3 to 1; relative luminance as defined there.
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    assert 1.05 / (luminance + 0.05) >= 3.0


def test_now_is_ruled_only_inside_the_chart(story: Story) -> None:
    assert [layer["mark"]["text"] for layer in layers(charts.month_chart(story), "text")] == ["now"]
    assert layers(charts.month_chart(tell(sample(), (2025, 12))), "text") == []


def test_truth_is_drawn_when_given(story: Story) -> None:
    told = tell(sample(), (2026, 1), truth=truth(sample()))
    purple = [
        layer for layer in layers(charts.month_chart(told), "line") if layer["mark"].get("color") == charts.PURPLE
    ]
    assert rows(purple[0])[5]["middle"] == pytest.approx(told.hours.truth_c[5])  # type: ignore[index]


def test_wall_clock_never_runs_back_where_summer_time_ends() -> None:
    seconds = int(datetime(2025, 11, 2, tzinfo=ZONE).timestamp())
    at, kept = charts.wall_clock(seconds + 3600 * np.arange(6), ZONE)
    assert list(np.diff(at[kept]) > 0) == [True] * 4
    assert kept.sum() == 5


def test_a_story_without_days_ahead_has_no_outlook(story: Story) -> None:
    with pytest.raises(ValueError, match="no days to come"):
        charts.outlook_chart(replace(story, days=None))


def test_dates_stay_apart_at_both_sizes(story: Story) -> None:
    for draw in ALL:
        for size in (charts.DESK, charts.PHONE):
            axis = draw(story, size).to_dict()["layer"][0]["encoding"]["x"]
            ticks, (first, last) = axis["axis"]["values"], axis["scale"]["domain"]
            assert len(ticks) >= 2
            # plot without its axes; a label such as "28 Jan" is about 3.6 times the height of its text wide
            plot = size.width - 8 * size.text
            nearest = min(b - a for a, b in pairwise(ticks))
            assert nearest / (last - first) * plot > 3.6 * size.text


def test_arrows_stay_inside_the_chart(story: Story) -> None:
    kinds: tuple[tuple[float, float, Kind], ...] = ((25, math.inf, "at least"), (-math.inf, -25, "at most"))
    for low, high, kind in kinds:
        fact = replace(story.readings[0], amount=amount(low, high, kind=kind))
        chart = charts.month_chart(replace(story, readings=(fact,)))
        (stem,) = (
            row
            for layer in layers(chart, "rule")
            for row in rows(layer)
            if "bound" in row and "y2" in layer["encoding"]
        )
        floor, ceiling = chart.to_dict()["layer"][0]["encoding"]["y"]["scale"]["domain"]
        assert floor <= stem["low"] < stem["high"] <= ceiling


def test_two_pictures_in_one_page_keep_their_ids_apart() -> None:
    data = alt.InlineData(values=[{"x": 1, "y": 2}, {"x": 2, "y": 1}])
    drawn = svg(alt.LayerChart(layer=[alt.Chart(data).mark_line(clip=True).encode(x="x:Q", y="y:Q")]), "here", "a line")
    ids = re.findall(r'id="([^"]*)', drawn)
    assert ids
    assert all(name.startswith("here-") for name in ids)
    assert set(re.findall(r"url\(#([^)]*)", drawn)) <= set(ids)


def test_the_svg_is_one_labelled_picture(story: Story) -> None:
    drawn = svg(charts.refuge_chart(story), "here", 'Says "so" & more')
    assert drawn.startswith('<svg viewBox="0 0 704 320" role="img" aria-label="Says &quot;so&quot; &amp; more"')
    assert "http" not in drawn
    assert "<script" not in drawn


def test_charts_are_the_same_bytes_in_every_time_zone() -> None:
    code = (
        "import hashlib\n"
        "from tests.update.sample import READINGS, sample\n"
        "from underlid.update.drawn import charts\n"
        "from underlid.update.drawn.drawing import svg\n"
        "from underlid.update.story import tell\n"
        "story = tell(sample(READINGS), (2026, 1))\n"
        "drawn = ''.join(svg(draw(story), 'a', 'b') for draw in "
        "(charts.month_chart, charts.refuge_chart, charts.outlook_chart))\n"
        "print(hashlib.sha256(drawn.encode()).hexdigest())\n"
    )
    digests = set()
    for zone in ("Pacific/Auckland", "America/Los_Angeles"):
        env = {**os.environ, "TZ": zone, "PYTHONPATH": os.pathsep.join(sys.path)}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
        digests.add(done.stdout)
    assert len(digests) == 1


def test_a_year_ahead_still_has_dates() -> None:
    story = tell(sample(READINGS, end=END.replace(year=2026, month=12)), (2026, 1))
    ticks = charts.outlook_chart(story, charts.PHONE).to_dict()["layer"][0]["encoding"]["x"]["axis"]["values"]
    assert 2 <= len(ticks) <= 12


def test_text_is_measured_and_shown_in_the_fonts_beside_the_charts(story: Story) -> None:
    drawn = svg(charts.outlook_chart(story), "here", "an outlook")
    assert set(re.findall(r'font-family="([^"]*)"', drawn)) == {"'Source Sans 3', sans-serif"}
    # A word of narrow letters is less wide in this font than in any that stands in for one that is not known.
    data = alt.InlineData(values=[{"x": 1, "y": "l" * 31}])
    layer = alt.Chart(data).mark_point().encode(x="x:Q", y=alt.Y("y:N", axis=alt.Axis(labelLimit=0, title=None)))
    left = {}
    for font in (FONT, "No Such Font"):
        chart = alt.LayerChart(layer=[layer]).configure(font=font).configure_axis(labelFontSize=14)
        left[font] = frame(svg(chart, "here", "letters"))[0]
    assert left[FONT] < left["No Such Font"] - 100


def test_a_drawing_tells_where_its_axes_lie(story: Story) -> None:
    left, top, width, height = frame(svg(charts.month_chart(story, charts.PHONE), "here", "a month"))
    assert 0 < left < left + width < charts.PHONE.width
    assert 0 < top < top + height < charts.PHONE.height
    with pytest.raises(ValueError, match="no frame"):
        frame("<svg></svg>")
