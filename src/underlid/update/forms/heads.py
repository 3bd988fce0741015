"""What stands at the head of the account in every form: the line under its title, and the ranges of large figures."""

from __future__ import annotations

from underlid.update.facts import Story
from underlid.update.prose import background, heatwords, phrases
from underlid.update.prose.said import KeyFigure


def lede(story: Story) -> str:
    """Who keeps the bin, what bin it is, up to when all that is known was taken into account, and what is in doubt."""
    by = f"Kept by {story.keeper}. " if story.keeper else ""
    known = f"{phrases.day(story.now)} {story.now:%Y, %H:%M}"
    doubt = heatwords.in_doubt(story)
    return f"{by}{background.kind_of_bin(story)}. Made from what was known on {known}.{f' {doubt}' if doubt else ''}"


def ends(key: KeyFigure) -> tuple[str, str]:
    """The two lines under a large figure: its range, and the same in the other unit or what else belongs to it."""
    first, second = key.range
    return f"nine in ten: {first}", f"({second})" if second.endswith("°F") and first.endswith("°C") else second
