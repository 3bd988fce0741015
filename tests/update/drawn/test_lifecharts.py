from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.update import living
from underlid.update.drawn import charts, lifecharts
from underlid.update.drawn.drawing import frame, svg
from underlid.update.facts import Range, Story
from underlid.update.lifefacts import Daily


@pytest.fixture(scope="module")
def story() -> Story:
    return living.story()


def layers(chart: Any, kind: str, **mark: Any) -> list[tuple[dict[str, Any], list[dict[str, Any]]]]:
    spec = chart.to_dict()
    return [
        (layer["mark"], spec["datasets"][layer["data"]["name"]])
        for layer in spec["layer"]
        if layer["mark"]["type"] == kind and all(layer["mark"].get(name) == value for name, value in mark.items())
    ]


def with_daily(story: Story, **change: Any) -> Story:
    assert story.animals is not None
    return replace(story, animals=replace(story.animals, daily=replace(story.animals.daily, **change)))


def daily_of(story: Story) -> Daily:
    assert story.animals is not None
    return story.animals.daily


def test_both_courses_are_drawn_with_their_ranges(story: Story) -> None:
    chart, daily = lifecharts.animals_chart(story), daily_of(story)
    for colour, course in ((lifecharts.WORMS, daily.worms), (lifecharts.ADULTS, daily.adults)):
        estimated, predicted = (rows for _, rows in layers(chart, "area", color=colour))
        first, last = estimated[0], predicted[-1]
        assert [first["low"], first["middle"], first["high"]] == list(course[0])
        assert [last["low"], last["middle"], last["high"]] == list(course[-1])
        assert len(estimated) == daily.predicted_from + 1  # one day more, so that the lines meet
        lines = layers(chart, "line", color=colour)
        assert ([1, 0], 1.8) in [(mark["strokeDash"], mark["strokeWidth"]) for mark, _ in lines]
        assert ([5, 3], 1.8) in [(mark["strokeDash"], mark["strokeWidth"]) for mark, _ in lines]


def test_counts_and_sightings_stand_where_they_were_made(story: Story) -> None:
    chart, daily = lifecharts.animals_chart(story), daily_of(story)
    ((_, counted),) = layers(chart, "point", shape="circle")
    assert [row["t"] for row in counted] == [charts.as_utc_ms(when) for when, _ in daily.counted]
    assert [row["middle"] for row in counted] == [found.middle for _, found in daily.counted]
    ((_, seen),) = layers(chart, "point", shape=lifecharts.SEEN)
    assert [row["low"] for row in seen] == [low for _, low in daily.seen]


def test_a_count_that_is_nearly_open_leaves_the_chart_with_an_arrow(story: Story) -> None:
    daily = daily_of(story)
    told = with_daily(story, counted=((daily.counted[0][0], Range(8, 31, 1e6, "1", "estimated")),))
    chart = lifecharts.animals_chart(told)
    top = chart.to_dict()["layer"][0]["encoding"]["y"]["scale"]["domain"][1]
    ((_, heads),) = layers(chart, "point", shape="triangle-up")
    assert heads[0]["high"] == top < 1000
    assert layers(lifecharts.animals_chart(with_daily(story, counted=())), "point", shape="triangle-up") == []


def test_the_axis_is_logarithmic_only_where_many_stand_beside_few(story: Story) -> None:
    daily = daily_of(story)
    assert lifecharts.animals_scale(daily) == "linear"
    many = replace(daily, worms=60 * daily.worms)
    assert lifecharts.animals_scale(many) == "log"
    assert lifecharts.animals_scale(replace(many, adults=60 * daily.adults)) == "linear"
    scale = lifecharts.animals_chart(with_daily(story, worms=60 * daily.worms)).to_dict()["layer"][0]["encoding"]["y"]
    assert scale["scale"]["type"] == "symlog"
    assert scale["axis"]["values"][:4] == [0, 1, 10, 100]


@pytest.mark.parametrize("most", [1, 7, 40, 3000])
def test_the_axis_has_whole_numbers_alone(story: Story, most: int) -> None:
    daily = daily_of(story)
    worms = np.round(daily.worms * most / daily.worms.max())
    told = with_daily(story, worms=worms, adults=np.round(worms / 2), counted=(), seen=())
    drawn = svg(lifecharts.animals_chart(told, charts.PHONE), "a", "b")
    labels = [part.split("<")[0] for part in drawn.split('text-anchor="end"')[1:]]
    numbers = [label.split(">")[1].replace(",", "") for label in labels]
    assert numbers[0] == "0"
    assert 2 <= len(numbers) <= 9
    assert all(text.isdigit() for text in numbers)
    assert len(set(numbers)) == len(numbers)


@pytest.mark.parametrize("size", [charts.DESK, charts.PHONE])
@pytest.mark.parametrize("make", [living.story, living.year])
def test_dates_stay_apart(make: Any, size: charts.Size) -> None:
    drawn = svg(lifecharts.animals_chart(make(), size), "a", "b")
    label = r'text-anchor="middle" transform="translate\(([\d.]+),\d+\)"[^>]*opacity="1">(\d+ \w+)<'
    at = [(float(x), text) for x, text in re.findall(label, drawn)]
    assert len(at) >= 3
    # In this font a label such as "28 Jan" is about 2.6 times the height of its text wide.
    assert all(right - left > 2.7 * size.text for (left, _), (right, _) in pairwise(at))


def test_the_month_told_of_is_shaded(story: Story) -> None:
    ((_, (shade,)),) = layers(lifecharts.animals_chart(story), "rect")
    assert shade["end"] - shade["t"] == 31 * charts.DAY_MS
    before = replace(story, month=story.month - timedelta(days=365), month_ends=story.month_ends - timedelta(days=365))
    ((_, (none,)),) = layers(lifecharts.animals_chart(before), "rect")
    assert none["t"] == none["end"]


def test_a_dead_bin_is_drawn(story: Story) -> None:
    nothing = np.zeros_like(daily_of(story).worms)
    chart = lifecharts.animals_chart(with_daily(story, worms=nothing, adults=nothing, counted=(), seen=()))
    assert chart.to_dict()["layer"][0]["encoding"]["y"]["scale"]["domain"] == [
        0,
        np.ceil(lifecharts.HEADROOM * lifecharts.LEAST),
    ]
    left, top, width, height = frame(svg(chart, "a", "b"))
    assert left + width < charts.DESK.width
    assert top + height < charts.DESK.height


def test_a_story_without_animals_has_no_chart(story: Story) -> None:
    with pytest.raises(ValueError, match="no animals"):
        lifecharts.animals_chart(replace(story, animals=None))


def test_the_caption_counts_what_is_drawn(story: Story) -> None:
    assert "Two days of counting and one sighting" in lifecharts.caption(story)
