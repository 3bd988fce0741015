"""What the lines and marks of a chart are, for the key beside it in every form: nothing that is not drawn."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from underlid.update.drawn import charts, lifecharts
from underlid.update.facts import Provenance, ReadingFact, Story


@dataclass(frozen=True, slots=True)
class Key:
    """One entry: a line with the band about it, or a mark.

    shape : of a mark, None for a line; band : how strong the band is, 0 for none; width : of the line [px]
    brief : the same words where there is little room; provenance : for a chip beside them, None where they say it
    """

    text: str
    colour: str
    shape: str | None = None
    band: float = 0.0
    dash: bool = False
    width: float = 1.8
    brief: str = ""
    provenance: Provenance | None = None


def key_of(story: Story, chart: str) -> tuple[Key, ...]:
    """The key of the chart of that name: "month", "refuge", "outlook" or "animals"."""
    split, hours = story.hours.predicted_from, len(story.hours.time_utc)
    makers = {"month": _month, "refuge": _refuge, "outlook": _outlook, "animals": _animals}
    return tuple(makers[chart](story, split > 0, split < hours))


def place_of(fact: ReadingFact) -> str | None:
    """The place in `charts.PLACE_MARKS` by which a reading is drawn, if it is drawn."""
    if not fact.temperature:
        return None
    return "air" if fact.quantity == "air temperature" else fact.place


def places(readings: Iterable[ReadingFact]) -> Iterator[Key]:
    """The marks of the places that were read."""
    read = {place_of(fact) for fact in readings}
    for place, (colour, shape) in charts.PLACE_MARKS.items():
        if place in read:
            yield Key(f"read, {'place not noted' if place == 'not noted' else place}", colour, shape)


def _month(story: Story, estimated: bool, predicted: bool) -> Iterator[Key]:
    middle = "middle of the bedding"
    yield Key("air", charts.GREY, width=1.3)
    if estimated:
        yield Key(
            f"{middle}, estimated: middle value, and nine in ten", charts.BLUE, band=0.26, brief="middle, estimated"
        )
    if predicted:
        text = "the same, predicted" if estimated else f"{middle}, predicted: middle value, and nine in ten"
        yield Key(text, charts.BLUE, band=0.1, dash=True, brief="middle, predicted")
    if story.hours.truth_c is not None:
        yield Key("invented truth, middle", charts.PURPLE, width=2.2, brief="invented truth")
    yield from places(story.readings)


def _refuge(story: Story, estimated: bool, predicted: bool) -> Iterator[Key]:
    share = charts.REFUGE
    if estimated:
        yield Key(f"{share}, estimated", charts.GREEN, band=0.26, brief="in the band, estimated")
    if predicted:
        text = "the same, predicted" if estimated else f"{share}, predicted"
        yield Key(text, charts.GREEN, band=0.1, dash=True, brief="in the band, predicted")
    if charts.shows_ice(story):
        yield Key(charts.ICE, charts.BLUE, band=0.26, brief="ice")


def _outlook(story: Story, estimated: bool, predicted: bool) -> Iterator[Key]:
    yield Key(
        "middle of the bedding, lowest hour of each day, predicted", charts.BLUE, band=0.1, dash=True,
        brief="middle, lowest of the day, predicted",
    )  # fmt: skip
    if story.days is not None and story.days.air_c is not None:
        yield Key(
            "air, lowest hour of the same day in past years", charts.GREY, band=0.16, dash=True, width=1.3,
            brief="air in past years",
        )  # fmt: skip
    yield Key("lower end of the tolerated band", charts.INK, width=1.0, brief="lower end of the band")


def _animals(story: Story, estimated: bool, predicted: bool) -> Iterator[Key]:
    assert story.animals is not None
    daily = story.animals.daily
    split, days = daily.predicted_from, len(daily.time_utc)
    told, band, dash = ("estimated", 0.26, False) if split > 0 else ("predicted", 0.1, True)
    who = f"all worms but cocoons, {told}: middle value, and nine in ten"
    yield Key(who, lifecharts.WORMS, band=band, dash=dash)
    yield Key(f"adults among them, {told}", lifecharts.ADULTS, band=band, dash=dash)
    if 0 < split < days:
        yield Key("the same, predicted", lifecharts.WORMS, band=0.1, dash=True)
    if daily.counted:
        yield Key("by a day’s samples alone, with nine in ten", charts.INK, "counted")
    if daily.seen:
        yield Key("seen at least", charts.INK, "seen")
