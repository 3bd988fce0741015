"""What the lines and marks of the charts mean, as plain data for templates.

A line has a colour, an opacity of the band about it and maybe dashes; a mark has a colour and a shape.
"""

from __future__ import annotations

from underlid.update import charts
from underlid.update.facts import Story

Key = dict[str, object]


def month(story: Story) -> tuple[Key, ...]:
    """Of the air, the middle of the bedding, and the places that were read."""
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    keys = [_line("air", charts.GREY)]
    if split > 0:
        keys.append(_line("middle, estimated", charts.BLUE, 0.26))
    if split < hours:
        keys.append(_line("middle, predicted", charts.BLUE, 0.1, dashed=True))
    if story.hours.truth_c is not None:
        keys.append(_line("invented truth", charts.PURPLE))
    read = {"air" if fact.quantity == "air temperature" else fact.place for fact in story.readings if fact.temperature}
    for place, (colour, shape) in charts.PLACE_MARKS.items():
        if place in read:
            says = "read, place not noted" if place == "not noted" else f"read, {place}"
            keys.append({"shape": shape, "colour": colour, "says": says})
    return tuple(keys)


def refuge(story: Story) -> tuple[Key, ...]:
    """Of the share of the bedding in the tolerated band, and of ice where it is drawn."""
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    keys = [_line("share in the band, estimated", charts.GREEN, 0.26)] if split > 0 else []
    if split < hours:
        keys.append(_line("share in the band, predicted", charts.GREEN, 0.1, dashed=True))
    if charts.shows_ice(story):
        keys.append(_line("share of its water that is ice", charts.BLUE, 0.26))
    return tuple(keys)


def outlook(story: Story) -> tuple[Key, ...]:
    """Of the days to come, the air of past years, and the limit."""
    assert story.days is not None
    keys = [_line("middle, lowest of the day, predicted", charts.BLUE, 0.1, dashed=True)]
    if story.days.air_c is not None:
        keys.append(_line("air in past years", charts.GREY, 0.16, dashed=True))
    keys.append(_line("lower end of the band", charts.INK))
    return tuple(keys)


def _line(says: str, colour: str, band: float = 0.0, *, dashed: bool = False) -> Key:
    return {"shape": None, "colour": colour, "band": band, "dashed": dashed, "says": says}
