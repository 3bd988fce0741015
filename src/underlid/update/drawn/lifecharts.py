"""The animals day by day as an Altair specification: what is estimated and predicted, what was counted and seen.

Worms and the adults among them have a colour each and a line of their own: solid where estimated, dashed where
predicted. A day's count is a dot with its range, a sighting an arrow from the least number seen.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np

from underlid.update.drawn.charts import (
    DESK,
    GREEN,
    INK,
    PURPLE,
    Rows,
    Size,
    as_utc_ms,
    data_of,
    estimate_layers,
    finish,
    label_layers,
    named,
    now_layers,
    rows_of,
    time_axis,
    wall_clock,
)
from underlid.update.facts import Story
from underlid.update.lifefacts import Daily
from underlid.update.prose import phrases

WORMS, ADULTS = GREEN, PURPLE
SEEN = "M-0.8,0H0.8M0,0V-2M-0.6,-1.3L0,-2L0.6,-1.3"  # a bar at the least number, and an arrow up from it
LABEL_ROOM = 0.4  # share of the width above the chart that its label may take: "now" stands beside or below it
LEAST = 4  # worms that the axis reaches at least
HEADROOM = 1.05  # so that what ends within the chart is seen to end
OPEN_TOP = 2.5  # a count's range is drawn no higher than so many times all else: its top may be nearly endless
LARGE, APART = 100, 12.0  # a logarithmic axis from so many worms on, if the most are so many times the adults
STEPS = (0, 1, 10, 100, 1000, 10_000, 100_000)


def animals_chart(story: Story, size: Size = DESK) -> alt.LayerChart:
    """Worms in all and the adults among them through all days known or predicted, the month told of shaded.

    Raises ValueError if the story has no animals.
    """
    if story.animals is None:
        raise ValueError("The story holds no animals, so there is nothing to draw.")
    daily, zone = story.animals.daily, ZoneInfo(story.timezone)
    at, kept = wall_clock(daily.time_utc, zone)
    split = int(kept[: daily.predicted_from].sum())
    top = _top(daily)
    x, y = time_axis(at[0], at[-1], size), _axis(animals_scale(daily), top, size)
    month = [
        min(max(as_utc_ms(moment), int(at[0])), int(at[-1]))
        for moment in (datetime(story.month.year, story.month.month, 1), story.month_ends.astimezone(zone))
    ]
    says = "worms, log scale" if animals_scale(daily) == "log" else "worms"
    shade = [{"t": month[0], "end": month[1], "low": 0, "high": top}]
    layers: list[alt.Chart] = [
        alt.Chart(data_of(shade))
        .mark_rect(fill=INK, fillOpacity=0.06)
        .encode(x=x, x2=alt.X2("end:Q"), y=y, y2=alt.Y2("high:Q")),
        *estimate_layers(rows_of(at, daily.worms, kept), split, x, y, WORMS),
        *estimate_layers(rows_of(at, daily.adults, kept), split, x, y, ADULTS),
        *_counted(daily, x, y, top),
        *_seen(daily, x, y),
        *label_layers(says, int(at[0]), top, x, size),
        *now_layers(at[kept], split, x, 0, top, size, inside=split < LABEL_ROOM * len(at)),
    ]
    return finish(layers, size)


def caption(story: Story) -> str:
    """What the chart shows, said for those who cannot see it."""
    counted, seen = (len(story.animals.daily.counted), len(story.animals.daily.seen)) if story.animals else (0, 0)
    return (
        "Worms in the bin and adults among them, day by day with nine-in-ten ranges. "
        f"{phrases.count(counted, 'day').capitalize()} of counting and {phrases.count(seen, 'sighting')} are drawn."
    )


def animals_scale(daily: Daily) -> Literal["linear", "log"]:
    """ "log" where worms are many and adults few beside them, so that both can be read off; else "linear"."""
    few = max(1.0, float(np.median(daily.adults[:, 1])))
    return "log" if _top(daily) >= LARGE and _top(daily) > APART * few else "linear"


def _top(daily: Daily) -> float:
    """Where the axis ends: above all that is drawn."""
    seen = max((1.15 * low for _, low in daily.seen), default=0.0)  # room for the arrow
    most = max(float(daily.worms[:, 2].max()), float(daily.adults[:, 2].max()), seen, LEAST)
    return float(np.ceil(HEADROOM * min(max([most, *(found.high for _, found in daily.counted)]), OPEN_TOP * most)))


def _axis(scale: Literal["linear", "log"], top: float, size: Size) -> alt.Y:
    if scale == "log":  # as the logarithm of one more, so that none has its place
        kind = alt.Scale(type="symlog", constant=1, domain=[0, top], nice=False)
        marks = [step for step in STEPS if step <= top]
        return alt.Y("low:Q", scale=kind, title=None, axis=alt.Axis(values=marks, format=",d", labelOverlap=False))
    kind = alt.Scale(domain=[0, top], nice=False)
    count = max(3, size.height // (4 * size.text))
    return alt.Y("low:Q", scale=kind, title=None, axis=alt.Axis(tickCount=count, tickMinStep=1, format=",d"))


def _counted(daily: Daily, x: alt.X, y: alt.Y, top: float) -> list[alt.Chart]:
    """A dot and a range for each day that was counted, an arrow head where the range leaves the chart."""
    rows: Rows = [
        {"t": as_utc_ms(when), "low": found.low, "middle": min(found.middle, top), "high": min(found.high, top)}
        for when, found in daily.counted
    ]
    if not rows:
        return []
    base = alt.Chart(data_of(rows))
    layers: list[alt.Chart] = [
        base.mark_rule(color=INK, strokeWidth=1.6).encode(x=x, y=y, y2=alt.Y2("high:Q")),
        base.mark_point(shape="circle", size=60, filled=True, color=INK, stroke="white", strokeWidth=1, opacity=1)
        .encode(x=x, y=named(y, "middle")),
    ]  # fmt: skip
    if over := [row for row, (_, found) in zip(rows, daily.counted, strict=True) if found.high > top]:
        head = alt.Chart(data_of(over)).mark_point(
            shape="triangle-up", size=90, yOffset=5, filled=True, color=INK, opacity=1
        )
        layers.append(head.encode(x=x, y=named(y, "high")))
    return layers


def _seen(daily: Daily, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if not daily.seen:
        return []
    rows: Rows = [{"t": as_utc_ms(when), "low": low} for when, low in daily.seen]
    mark = alt.Chart(data_of(rows)).mark_point(
        shape=SEEN, size=110, filled=False, stroke=INK, strokeWidth=1.6, opacity=1
    )
    return [mark.encode(x=x, y=y)]
