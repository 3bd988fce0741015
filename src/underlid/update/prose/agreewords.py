"""Sentences on whether the month's bedding readings and the model agree: each knows its facts."""

from __future__ import annotations

from underlid.update.facts import Range, Story
from underlid.update.prose import phrases
from underlid.update.prose.heatwords import compared, so_far
from underlid.update.prose.said import Said


def agreement(story: Story) -> Said | None:
    """Whether the month's readings agree with the model, which has seen them; None where it would be no comfort."""
    told = compared(story)
    surprises = [fact for fact in told if fact.surprise]
    anchors = (*(f"reading-{fact.id}" for fact in told), "fit")
    if not told:
        not_yet = "The month has not come yet: no" if story.to_come else "No"
        return Said(
            f"{not_yet} bedding reading of this month{so_far(story)} can be set beside the model.", "", (0,), None,
            ("fit",),
        )  # fmt: skip
    if story.misfit:
        return _strained(story, len(told), len(told) - len(surprises), anchors)
    if not surprises:
        agree = "agrees" if len(told) == 1 else "agree"
        read = phrases.count(len(told), "bedding reading").capitalize()
        return Said(
            f"{read} this month {agree} with the model’s range.",
            f"{readings_read(len(told))} this month {'fits' if len(told) == 1 else 'fit'} what we worked out.",
            (len(told),),
            "estimated",
            anchors,
        )
    named = "; ".join(f"“{fact.words}” ({fact.when_words})" for fact in surprises)
    fit = "does not fit" if len(surprises) == 1 else "do not fit"
    return Said(
        f"Of {phrases.count(len(told), 'bedding reading')} this month, {phrases.count(len(surprises), 'surprise')}: "
        f"{named}. One exact reading in ten would lie outside such a range by chance.",
        f"{readings_read(len(surprises))} {fit} what we worked out.",
        (len(told), len(surprises), *(text for fact in surprises for text in (fact.words, fact.when_words))),
        "estimated",
        anchors,
    )


def _strained(story: Story, told: int, inside: int, anchors: tuple[str, ...]) -> Said | None:
    """How far the fit had to take the thermometer to be wrong for readings that do not fit this weather.

    None where it did not take it so: that the fit has followed the readings says nothing for either of them.
    """
    bias = next(found.after for found in story.parameters if found.name == "bias")
    low, high = phrases.outward(bias)
    if low <= 0 <= high:
        return None
    warm = low > 0
    by = bias if warm else Range(-bias.high, -bias.middle, -bias.low, bias.unit, bias.provenance)
    held = ("none", *phrases.SMALL[1:])[inside] if inside < len(phrases.SMALL) else str(inside)
    lie = "lies" if inside == 1 else "lie"
    return Said(
        f"Read one by one, {held} of "
        f"{phrases.count(told, 'bedding reading')} {lie} inside ranges that the fit could only reach by taking the "
        f"thermometer to read {phrases.difference_range(by)} too {'high' if warm else 'low'} ({by.provenance}). "
        "That is no sign that they agree with this weather.",
        f"We could only make them fit by saying that the thermometer reads too {'high' if warm else 'low'}. "
        "That may be wrong.",
        (told, inside, by),
        by.provenance,
        anchors,
    )


def readings_read(n: int) -> str:
    """ "Three readings", at the head of a sentence."""
    return phrases.count(n, "reading").capitalize()
