"""What the film of a month shows and says, moment by moment: no picture is drawn here.

The film has a title, the month in the steps of the cut, and an end. The clock stands still at a reading, and as long
as it takes to read what is said of the coldest hour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from underlid.fit.cut import Cut
from underlid.update.facts import Array, Provenance, Range, ReadingFact, Story
from underlid.update.prose import phrases, telling
from underlid.update.prose.aloud import sentences
from underlid.update.prose.said import Said
from underlid.weather.series import HOUR_S

Scene = Literal["title", "month", "end"]

FPS = 20  # a step of the cut is one frame: 60 hours a second in steps of three
TITLE_S, END_S = 2.5, 4.0  # at the least
READ_HOLD_S, ALL_READ_S = 0.8, 4.0  # the clock stands at a reading, and at all of them together no longer than this
READ_SHOWN_H = 12  # a reading stays in sight while the clock goes on
CHARACTERS_S = 15.0  # read in a second; common practice of captioning, no source: up to 20
CUE_S = 1.5  # no caption is shorter
GAP_S = 0.1
LINE, LINES = 42, 2  # common practice of captioning, no source


@dataclass(frozen=True, slots=True)
class Shot:
    """Frames that show the same: `step` counts the month's steps of the cut, 0 outside of the month."""

    scene: Scene
    step: int
    frames: int


@dataclass(frozen=True, slots=True)
class Cue:
    """A caption of one or two lines, from `start` to `end` seconds into the film."""

    start: float
    end: float
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Shown:
    """All that a frame of the month shows.

    clock : local wall clock; air_range : "" where the air was observed; reads : readings in sight, come : readings
    so far; coldest : whether the clock stands still here; bedding_c : (rows, columns) middle values
    """

    moment: datetime
    day: str
    clock: str
    provenance: Provenance
    air: str
    air_range: str
    middle: str
    middle_range: str
    refuge: str
    refuge_range: str
    reads: tuple[ReadingFact, ...]
    come: int
    coldest: bool
    bedding_c: Array


class Month:
    """The month of a story as the film goes through it.

    time_utc : (steps,) seconds; row : (steps,) of the cut; hour : (steps,) of the story's hours
    """

    def __init__(self, story: Story, cut: Cut) -> None:
        self.story, self.cut, self.zone = story, cut, ZoneInfo(story.timezone)
        inside = (cut.time_utc >= story.hours.time_utc[0]) & (cut.time_utc <= story.hours.time_utc[-1])
        self.row: NDArray[np.int64] = np.flatnonzero(inside)
        self.time_utc = cut.time_utc[self.row]
        self.hour: NDArray[np.int64] = (self.time_utc - story.hours.time_utc[0]) // HOUR_S
        self.readings = tuple(
            sorted((one for one in story.readings if one.temperature), key=lambda one: (one.start, one.id))
        )

    def __len__(self) -> int:
        return len(self.row)

    def local(self, step: int) -> datetime:
        """The clock at a step."""
        return datetime.fromtimestamp(int(self.time_utc[step]), self.zone)

    def at(self, moment: datetime) -> int:
        """The first step at or after a moment; the last one if it comes later."""
        return min(int(np.searchsorted(self.time_utc, moment.timestamp())), len(self) - 1)

    @cached_property
    def coldest(self) -> int:
        """The step nearest to the hour whose middle value is the coldest."""
        return int(np.abs(self.time_utc - self.story.coldest.estimate_at.timestamp()).argmin())

    @cached_property
    def predicted_from(self) -> int | None:
        """The first predicted step."""
        found = int(np.searchsorted(self.hour, self.story.hours.predicted_from))
        return found if found < len(self) else None

    @cached_property
    def icy(self) -> int | None:
        """The first step with a part of the bedding below freezing."""
        found = np.flatnonzero((self.bedding_c < 0).any(axis=(1, 2)))
        return int(found[0]) if len(found) else None

    @cached_property
    def bedding_c(self) -> Array:
        """Middle values of all steps: (steps, rows, columns)."""
        return np.asarray(self.cut.bedding_c[self.row, :, :, 1])

    def shown(self, step: int) -> Shown:
        """What the frame of a step shows."""
        story, hours, hour = self.story, self.story.hours, int(self.hour[step])
        moment = self.local(step)
        provenance: Provenance = "estimated" if hour < hours.predicted_from else "predicted"
        air = _range(hours.air_c[hour], "degC", provenance)
        middle = _range(hours.middle_c[hour], "degC", provenance)
        litres = hours.refuge_pct[hour] * story.refuge.bedding_litres / 100
        refuge = _range(litres, "L", provenance).of_bedding(story.refuge.bedding_litres)
        come = sum(self.at(one.start) <= step for one in self.readings)
        since = moment - timedelta(hours=READ_SHOWN_H)
        return Shown(
            moment=moment,
            day=f"{moment:%a} {moment.day} {moment:%B %Y}",
            clock=f"{moment:%H:%M}",
            provenance=provenance,
            air=phrases.temperature(air),
            air_range="" if air.low == air.high else phrases.temperature_range(air),
            middle=phrases.temperature(middle),
            middle_range=phrases.temperature_range(middle),
            refuge=phrases.litres(refuge),
            refuge_range=phrases.litres_range(refuge),
            reads=tuple(one for one in self.readings[:come] if self.local(self.at(one.start)) > since),
            come=come,
            coldest=step == self.coldest,
            bedding_c=self.bedding_c[step],
        )


@dataclass(frozen=True, slots=True)
class Plan:
    """The film from its first frame to its last, and what is said meanwhile; `fps` frames a second."""

    fps: int
    shots: tuple[Shot, ...]
    cues: tuple[Cue, ...]

    @property
    def frames(self) -> int:
        """How many there are."""
        return sum(shot.frames for shot in self.shots)

    def start(self, scene: Scene, step: int = 0) -> float:
        """When a scene begins, or a step of the month [s]."""
        frames = 0
        for shot in self.shots:
            if shot.scene == scene and shot.step >= step:
                break
            frames += shot.frames
        return frames / self.fps

    @property
    def length_s(self) -> float:
        """How long it runs [s]."""
        return self.frames / self.fps


def plan(month: Month, fps: int = FPS) -> Plan:
    """The order of the film: what is said decides how long the clock stands still."""
    said = script(month.story)
    stops = {month.at(one.start) for one in month.readings}
    hold_s = min(READ_HOLD_S, ALL_READ_S / max(len(stops), 1))
    cues = list(cued(said.title, GAP_S))
    shots: list[Shot] = []
    count = 0

    def add(scene: Scene, step: int, until_s: float) -> None:
        """The picture stands until then, and for a frame at least."""
        nonlocal count
        frames = max(1, math.ceil(round(until_s * fps, 6)) - count)
        shots.append(Shot(scene, step, frames))
        count += frames

    add("title", 0, max(TITLE_S, cues[-1].end + GAP_S))
    for step in range(len(month)):
        until_s = count / fps + (hold_s if step in stops else 0.0)
        free_s = max(count / fps, cues[-1].end + GAP_S)
        if step == month.coldest:
            cues += cued(said.coldest, free_s)
        elif step == month.predicted_from:
            cues += cued(said.predicted, free_s)
        if step in (month.coldest, len(month) - 1):
            until_s = max(until_s, cues[-1].end + GAP_S)
        add("month", step, until_s)
    start_s = count / fps
    cues += cued(said.end, start_s + GAP_S)
    read_s = sum(len(text) for text in said.end) / CHARACTERS_S
    add("end", 0, max(start_s + max(END_S, read_s), cues[-1].end + GAP_S))
    return Plan(fps, tuple(shots), tuple(cues))


@dataclass(frozen=True, slots=True)
class Script:
    """What is said at the title, at the coldest hour, where the prediction begins, and at the end."""

    title: tuple[str, ...]
    coldest: tuple[str, ...]
    predicted: tuple[str, ...]
    end: tuple[str, ...]


def script(story: Story) -> Script:
    """The account's own sentences, in their short form where they have one."""
    month = about(story, "month")
    return Script(
        title=(f"{story.title}, {story.month:%B %Y}.",),
        coldest=tuple(brief(one) for one in month[:1]),
        predicted=tuple(brief(one) for one in month[-1:] if story.soon and story.hours.predicted_from > 0),
        end=tuple(brief(one) for one in closing(story)),
    )


def closing(story: Story) -> list[Said]:
    """What the film ends with: the verdict so far, or else the coldest hour, and what one bin cannot show."""
    return (about(story, "tests") if story.trials else about(story, "month"))[:1] + about(story, "unknown")[-1:]


def about(story: Story, section: str) -> list[Said]:
    """What a section of the account says."""
    return [one for part in telling.sections(story) if part.name == section for one in part.said]


def brief(said: Said) -> str:
    """The short form of a sentence, or its only one."""
    return said.short or said.full


def cued(texts: Sequence[str], start: float) -> Iterator[Cue]:
    """Texts as captions one after another, each long enough to be read."""
    for sentence in (part for text in texts for part in sentences(text)):
        lines = wrapped(sentence)
        for first in range(0, len(lines), LINES):
            kept = tuple(lines[first : first + LINES])
            end = start + max(CUE_S, len(" ".join(kept)) / CHARACTERS_S)
            yield Cue(start, end, kept)
            start = end + GAP_S


def wrapped(text: str) -> list[str]:
    """Lines of a caption; a number stays with its unit, and a word longer than a line is cut."""
    lines: list[str] = [""]
    for word in text.split(" "):
        while word:
            room = LINE - len(lines[-1]) - (1 if lines[-1] else 0)
            if len(word) <= room:
                lines[-1] += (" " if lines[-1] else "") + word
                break
            if lines[-1]:
                lines.append("")
                continue
            lines[-1], word = word[:LINE], word[LINE:]
            lines.append("")
    return [line for line in lines if line]


def _range(points: Array, unit: str, provenance: Provenance) -> Range:
    low, middle, high = (float(point) for point in points)
    return Range(low, middle, high, unit, provenance)
