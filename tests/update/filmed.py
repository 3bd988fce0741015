"""A month of the invented bin with its cut, for the tests of the film: coarse, so that it is quick."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from tests.update import sample
from underlid.fit.cut import Cut, cut
from underlid.update.drawn.frames import Month
from underlid.update.facts import Story
from underlid.update.story import tell

EVERY_H = 24


@cache
def coarse_cut() -> Cut:
    return cut(sample.sample(), 3, 5, EVERY_H)


@cache
def story(readings: int = 6, month: tuple[int, int] = (2026, 1)) -> Story:
    told = tell(sample.sample(), month, cut=coarse_cut())
    return replace(told, readings=told.readings[:readings])


def month(readings: int = 6, of: tuple[int, int] = (2026, 1)) -> Month:
    told = story(readings, of)
    return Month(told, coarse_cut())
