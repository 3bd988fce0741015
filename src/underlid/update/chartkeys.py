"""What the lines and marks of a chart are, for the key below it: nothing that is not drawn.

An item is plain data for the templates: a line with its band and dash, or a mark with its shape.
"""

from __future__ import annotations

from collections.abc import Iterator

from underlid.update import charts, lifecharts
from underlid.update.facts import ReadingFact, Story

Item = dict[str, object]


def chart_key(story: Story, name: str) -> Iterator[Item]:
    """The key of the chart of that name: "month", "refuge", "outlook" or "animals"."""
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    keys = {"month": _month_key, "refuge": _refuge_key, "outlook": _outlook_key, "animals": _animals_key}
    return keys[name](story, split > 0, split < hours)


def place_of(fact: ReadingFact) -> str | None:
    """The place in `charts.PLACE_MARKS` by which a reading is drawn, if it is drawn."""
    if not fact.temperature:
        return None
    return "air" if fact.quantity == "air temperature" else fact.place


def mark_item(colour: str, shape: str, text: str) -> Item:
    """A mark with its words."""
    return {"kind": "mark", "colour": colour, "shape": shape, "text": text}


def _month_key(story: Story, estimated: bool, predicted: bool) -> Iterator[Item]:
    yield _line(charts.GREY, "air", width=1.3)
    if estimated:
        yield _line(charts.BLUE, "middle of the bedding, estimated: middle value, and nine in ten", 0.26)
    if predicted:
        yield _line(charts.BLUE, "the same, predicted" if estimated else "middle of the bedding, predicted", 0.1, True)
    if story.hours.truth_c is not None:
        yield _line(charts.PURPLE, "invented truth, middle", width=2.2)
    read = {place_of(fact) for fact in story.readings}
    for place, (colour, shape) in charts.PLACE_MARKS.items():
        if place in read:
            yield mark_item(colour, shape, f"read, {'place not noted' if place == 'not noted' else place}")


def _refuge_key(story: Story, estimated: bool, predicted: bool) -> Iterator[Item]:
    if estimated:
        yield _line(charts.GREEN, "share in the tolerated band, estimated", 0.26)
    if predicted:
        yield _line(charts.GREEN, "predicted" if estimated else "share in the tolerated band, predicted", 0.1, True)
    if charts.shows_ice(story):
        yield _line(charts.BLUE, "share of its water that is ice", 0.26)


def _outlook_key(story: Story, estimated: bool, predicted: bool) -> Iterator[Item]:
    yield _line(charts.BLUE, "middle, lowest hour of each day, predicted", 0.1, True)
    if story.days is not None and story.days.air_c is not None:
        yield _line(charts.GREY, "air, the same in past years", 0.16, True, 1.3)
    yield _line(charts.INK, "lower end of the tolerated band", width=1)


def _animals_key(story: Story, estimated: bool, predicted: bool) -> Iterator[Item]:
    assert story.animals is not None
    daily = story.animals.daily
    split, days = daily.predicted_from, len(daily.time_utc)
    for colour, who in ((lifecharts.WORMS, "worms in all"), (lifecharts.ADULTS, "adults among them")):
        yield _line(colour, who, 0.26 if split > 0 else 0.1, split == 0)
    if 0 < split < days:
        yield _line(charts.INK, "dashed: predicted", 0.1, True)
    if daily.counted:
        yield mark_item(charts.INK, "circle", "by that day’s count alone")
    if daily.seen:
        yield mark_item(charts.INK, "arrow", "seen: at least so many")


def _line(colour: str, text: str, band: float = 0.0, dash: bool = False, width: float = 1.8) -> Item:
    return {"kind": "line", "colour": colour, "text": text, "band": band, "dash": dash, "width": width}
