"""What stands at the head of the account in every form: the line under its title, and the ranges of large figures."""

from __future__ import annotations

from underlid.update.facts import Story
from underlid.update.prose import background, phrases
from underlid.update.prose.said import KeyFigure


def lede(story: Story) -> str:
    """Who keeps the bin, what bin it is, and up to when all that was noted and observed has been taken into account."""
    by = f"Kept by {story.keeper}. " if story.keeper else ""
    known = f"{phrases.day(story.now)} {story.now:%Y, %H:%M}"
    return f"{by}{background.kind_of_bin(story)}. Made from what was known on {known}."


def ends(key: KeyFigure) -> tuple[str, str]:
    """The two lines under a large figure: its range, and the same in the other unit or what else belongs to it."""
    first, second = key.range
    return f"nine in ten: {first}", f"({second})" if second.endswith("°F") and first.endswith("°C") else second
