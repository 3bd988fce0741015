"""Readings that lie outside their range, each with reasons to consider; what is so is for the keeper to find out."""

from __future__ import annotations

import math
from datetime import date, timedelta

from underlid.quantity.units import to_celsius, to_fahrenheit
from underlid.update.facts import Noted, ReadingFact, Story
from underlid.update.prose import phrases
from underlid.update.prose.said import Said

FEEDING_WARMS = timedelta(days=7)  # for how long a feeding may still warm the bedding around it: our judgement
NEAR_FREEZING_C = 1.0  # below this, what is expected may be held by ice: our judgement
NONE = Said(
    "No temperature that was read this month lies outside the range of the model.",
    "",  # what did not happen means nothing to a child
    (),
    None,
    ("fit",),
)
NOTHING_READ = Said(
    "No temperature was read this month that the model could be wrong about.",
    "",
    (),
    None,
    ("fit",),
)


def surprises(story: Story) -> tuple[Said, ...]:
    """Each reading outside its range with what may explain it, and what was found in hand against the estimate."""
    doubted = () if story.animals is None else story.animals.doubted
    found = (
        *(_surprise(fact, story) for fact in story.readings if fact.surprise),
        *(_doubted(day, story) for day in dict.fromkeys(one.when for one in doubted)),
    )
    if found:
        return found
    return (NONE,) if any(fact.expected is not None for fact in story.readings) else (NOTHING_READ,)


def reasons(fact: ReadingFact, story: Story) -> tuple[str, ...]:
    """What may explain a reading outside its range, likeliest first by our judgement."""
    if fact.expected is None:
        return ()
    warmer = fact.amount.low > fact.expected.high
    air = fact.quantity == "air temperature"
    meant = _meant(fact)
    found = [
        f"the unit: the same number in {meant} would lie inside that range, or a slip of the pen"
        if meant
        else "a slip of the pen, or of the unit (°C or °F)"
    ]
    if not air:
        found.append("a thermometer that had not settled")
        found.append("a place that was not noted" if fact.place == "not noted" else "another place or depth than noted")
        fed = _fed_before(fact, story)
        if warmer:
            found.append("sun on the bin")
            if fed is not None:
                found.append(f"the warmth of the feeding of {phrases.window(fed.start, fed.end)}")
        elif fact.expected.low <= NEAR_FREEZING_C or story.refuge.ice.high > 0:
            found.append("ice nearby")
    elif warmer:
        found.append("sun on the thermometer")
    found.append("a weather file that is not from here" + (" (it is a typical year)" if story.typical else ""))
    return tuple(found)


def _surprise(fact: ReadingFact, story: Story) -> Said:
    assert fact.expected is not None
    side = "warmer" if fact.amount.low > fact.expected.high else "colder"
    where = "the air" if fact.quantity == "air temperature" else _place(fact)
    fed = _fed_before(fact, story)
    return Said(
        f"“{fact.words}” ({fact.when_words}), {where}, is {side} than expected by {phrases.gap(fact.gap_k)}: it was "
        f"taken as {phrases.interval(fact.amount)} (read), where {phrases.temperature_range(fact.expected)} was "
        f"expected ({fact.expected.provenance}). Reasons to consider: {'; '.join(reasons(fact, story))}.",
        f"“{fact.words}” does not fit what we worked out. "
        + (f"Was it meant in {meant}?" if (meant := _meant(fact)) else "It may be a slip of the pen."),
        (fact, *(() if fed is None else (fed,))),
        fact.expected.provenance,
        (f"reading-{fact.id}", "fit", "weather"),
    )


def _doubted(day: date, story: Story) -> Said:
    when = phrases.dated(day, story.month)
    return Said(
        f"What was found in hand on {when} does not agree with the estimate of the animals, as is told there.",
        f"What was counted on {when} does not fit what we worked out.",
        (day,),
        None,
        ("counts",),
    )


def _place(fact: ReadingFact) -> str:
    if fact.place == "not noted":
        return "place not noted"
    return "in the middle" if fact.place == "middle" else f"at the {fact.place}"


def _meant(fact: ReadingFact) -> str:
    """The other unit, "°C" or "°F", where the same number in it would be inside the range; else nothing."""
    assert fact.expected is not None
    in_f = "f" in fact.amount.words.casefold()
    low, high = (
        side if math.isinf(side) else (to_fahrenheit(side) if in_f else to_celsius(side))
        for side in (fact.amount.low, fact.amount.high)
    )
    if high < fact.expected.low or low > fact.expected.high:
        return ""
    return "°C" if in_f else "°F"


def _fed_before(fact: ReadingFact, story: Story) -> Noted | None:
    """The last feeding that may still have warmed the bedding."""
    near = [one for one in story.feedings if one.start <= fact.end and fact.start - one.end <= FEEDING_WARMS]
    return near[-1] if near else None
