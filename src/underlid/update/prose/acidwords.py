"""Sentences on acid and salt in the bedding, from the month's readings of pH and EC."""

from __future__ import annotations

from underlid.update.facts import Story
from underlid.update.lifefacts import Acid
from underlid.update.prose import heatwords, phrases
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Said

FINE = 0.05  # chance of acid out of bounds up to which a child is told that it should be fine: our judgement


def chemistry(story: Story) -> tuple[Said, ...]:
    """What the month's readings of pH and EC come to."""
    if not story.acid:
        unread = (
            "The month has not come yet, so no pH and no conductivity was read."
            if story.to_come
            else f"No pH and no conductivity was read this month{heatwords.so_far(story)}, so nothing is known of acid "
            "or salt."
        )
        return (
            Said(
                f"{unread} A strip of pH paper pressed into moist bedding at the edge and in the middle would tell, "
                "noted as “middle pH 6.5 to 7 with a strip”.",
                "" if story.to_come else "Nobody looked how sour the bedding is. A strip of test paper could show it.",
                ("middle pH 6.5 to 7 with a strip",),
            ),
        )
    return tuple(said for one in story.acid for said in (*_levels(one, story), *_refused(one)))


def _levels(one: Acid, story: Story) -> tuple[Said, ...]:
    anchors = tuple(f"reading-{id}" for id in one.readings)
    many = phrases.count(len(one.readings), "reading")
    parts = "; ".join(f"{place} {phrases.level(found)} ({phrases.level_ends(found)})" for place, found in one.places)
    what = "acidity" if one.quantity == "pH" else "conductivity (EC)"
    ends = phrases.nine_in_ten(phrases.level_range(one.whole))
    whole = Said(
        f"Over the whole bedding the {what} comes to about {phrases.level(one.whole)}, {ends} "
        f"(estimated from {many} of this month). "
        + (f"By place: {parts}." if parts else "Where in the bedding that was read is not noted."),
        f"We think the bedding is at about {phrases.level(one.whole)}."
        + (" That number shows how sour it is." if one.quantity == "pH" else " That number shows how salty it is."),
        (one.whole, len(one.readings), *(found for _, found in one.places)),
        "estimated",
        anchors,
    )
    if one.tolerated is None or one.outside is None:
        return (whole,)
    low, high = (Known(side, "pH") for side in one.tolerated)
    risk = Said(
        f"{story.refuge.species} tolerates about pH{phrases.NB}{phrases.ends(low.value, high.value)}; the chance that "
        f"some part of the bedding lies outside is {phrases.chance(one.outside)}.",
        "That should be fine for the worms." if one.outside < FINE else "Some of it may be bad for the worms.",
        (low, high, Known(one.outside, "chance")),
        "estimated",
        (*anchors, "species"),
    )
    return whole, risk


def _refused(one: Acid) -> tuple[Said, ...]:
    return tuple(Said(text, "", (text,), None) for text in one.refused)
