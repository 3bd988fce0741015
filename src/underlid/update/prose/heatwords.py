"""Sentences on air, bedding, refuge and water: each knows its facts.

"Nine in ten" always means the range from the 5 to the 95 % point.
"""

from __future__ import annotations

from dataclasses import replace

from underlid.update.facts import Ahead, ReadingFact, Story
from underlid.update.prose import phrases
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Said

CLOSE_S = 2 * 86400  # times no further apart than this are told to the hour


def coldest(story: Story) -> Said:
    """The coldest hour of the month, inferred."""
    found, when = story.coldest.temperature, story.coldest.when
    if (when.late - when.early).total_seconds() <= CLOSE_S:
        likely, between = phrases.hour(when.usual), phrases.between_hours(when.early, when.late, when.usual)
    else:
        likely, between = phrases.day(when.usual), f"{phrases.day(when.early)} and {phrases.day(when.late)}"
    predicted = found.provenance == "predicted"
    verb, fell = ("is predicted to be", "is predicted to fall") if predicted else ("was", "fell")
    child = (
        f"In its middle the bedding may get as cold as {phrases.temperature(found)} this month."
        if predicted
        else f"At its coldest, the middle of the bedding was about {phrases.temperature(found)}, we think."
    )
    ends = phrases.nine_in_ten(phrases.temperature_range(found))
    return Said(
        f"The coldest hour{so_far(story)} in the middle of the bedding {verb} about {phrases.temperature(found)}, "
        f"{ends}. It {fell} near {likely}, nine in ten between {between}.",
        child,
        (story.coldest,),
        found.provenance,
        ("fit", "weather"),
    )


def so_far(story: Story) -> str:
    """ " so far" while the month runs."""
    return " so far" if 0 < story.told_to.timestamp() < story.month_ends.timestamp() - 86400 else ""


def basis(story: Story) -> Said:
    """What stands behind the coldest hour."""
    full, short = _basis(story)
    if story.misfit:
        full += " The readings and this weather do not fit together: read every range here with doubt."
        short += " The readings and the weather do not fit well, so we are not sure of this."
    elif not story.trusted:
        full += " The fit has not settled: read every range here with doubt."
        short += " We are not sure of this yet."
    read = tuple(f"reading-{fact.id}" for fact in compared(story))
    return Said(full, short, (story.readings_used,), story.coldest.temperature.provenance, ("fit", "weather", *read))


def _basis(story: Story) -> tuple[str, str]:
    readings = phrases.count(story.readings_used, "bedding reading")
    if story.coldest.temperature.provenance == "predicted":
        return (
            f"None of this month’s weather has been observed yet: this is predicted, from a fit to {readings}.",
            "That time has not come yet, so it is a guess ahead.",
        )
    if not story.readings_used:
        return (
            "No bedding reading has been used: this is estimated from the weather and the bin’s build alone.",
            "Nobody put a thermometer in the bedding, so we worked it out from the weather.",
        )
    if story.coldest.read_near:
        return (
            f"A reading may fall close to that hour; the figure itself is estimated, from the weather and {readings}.",
            "Somebody may have looked at about that time.",
        )
    return (
        f"Nobody read a thermometer then: this is estimated, from the weather and {readings}.",
        "Nobody looked just then.",
    )


def refuge(story: Story) -> Said:
    """How much bedding stayed fit to live in."""
    found = story.refuge
    predicted = found.share.provenance == "predicted"
    full, short, facts = _refuge(story, predicted)
    return Said(full, short, facts, found.share.provenance, ("fit", "weather", "species"))


def _refuge(story: Story, predicted: bool) -> tuple[str, str, tuple[object, ...]]:
    found = story.refuge
    band = f"the band that {found.species} tolerates ({phrases.band(*found.band_c)})"
    whole = f"roughly {phrases.number(found.bedding_litres, 0)} litres of bedding"
    facts: tuple[object, ...] = (Known(found.bedding_litres, "L"), *(Known(side, "degC") for side in found.band_c))
    if found.share.low >= 99.5:
        return (
            f"All of the {whole} {'are predicted to stay' if predicted else 'stayed'} within {band}.",
            f"All of the bedding {'should stay' if predicted else 'stayed'} warm enough for the worms, we think.",
            facts,
        )
    near = f"At its smallest, near {phrases.day(found.when.usual)}, the refuge"
    # What the worms bear is less sure than the temperature, so the account says how much hangs on it.
    other = f"Sources differ on that limit: with {phrases.warmth(found.widest_band_c[0])} as the lower end it "
    other += f"{'would hold' if predicted else 'held'} {phrases.litres_range(found.widest)}."
    facts += (found.when, Known(found.widest_band_c[0], "degC"), found.widest)
    if found.without_h.high >= 1:
        # Hours count more than the least share: animals bear a short while outside, not a long one.
        other += (
            f" {'Predicted' if predicted else 'In all'}: {phrases.hours_range(found.without_h)} without any refuge."
        )
        facts += (found.without_h,)
    if found.share.high < 0.5:
        return (
            f"{near} {'is predicted to vanish' if predicted else 'vanished'}: no bedding within {band}. {other}",
            f"For a while no part of the bedding {'may be' if predicted else 'was'} right for the worms, we think.",
            facts,
        )
    ends = phrases.nine_in_ten(phrases.litres_range(found.litres))
    return (
        f"{near} {'is predicted to hold' if predicted else 'held'} about {phrases.litres(found.litres)} of "
        f"{whole}, {ends} ({phrases.percent_range(found.share)}): the "
        f"part within {band}. {other}",
        f"At the worst time the worms {'may have' if predicted else 'had'} about {phrases.litres(found.litres)} of "
        "bedding that suits them, we think.",
        (*facts, found.litres, found.share),
    )


def room(story: Story) -> Said:
    """The refuge in one sentence."""
    found = story.refuge
    whole = refuge(story)
    predicted = found.share.provenance == "predicted"
    if found.share.low >= 99.5:
        full = f"All of the bedding {'is predicted to stay' if predicted else 'stayed'} within what the worms tolerate"
        facts: tuple[object, ...] = ()
    elif found.share.high < 0.5:
        verb = "may be" if predicted else "was"
        full = f"Near {phrases.day(found.when.usual)} no part of the bedding {verb} within what the worms tolerate"
        facts = (found.when,)
    else:
        verb = "is predicted to hold" if predicted else "held"
        ends = phrases.nine_in_ten(phrases.litres_range(found.litres))
        full = (
            f"At the worst time, near {phrases.day(found.when.usual)}, the part within what the worms tolerate {verb} "
            f"about {phrases.litres(found.litres)} of bedding, {ends}"
        )
        facts = (found.when, found.litres)
    return replace(whole, full=f"{full}{phrases.mark(found.share)}.", facts=facts)


def water(story: Story) -> Said:
    """How wet the bedding is, and whether it is likely to become too dry or too wet."""
    found = story.water
    verb = "is predicted to hold" if found.now.provenance == "predicted" else "held"
    low, high = (phrases.number(end, 0) for end in found.tolerated_pct)
    full = (
        f"At the end the bedding {verb} about {phrases.percent(found.now)} water by weight, "
        f"{phrases.nine_in_ten(phrases.percent_range(found.now))}{phrases.mark(found.now)}; "
        f"{low}{phrases.NB}to{phrases.NB}{high}{phrases.NB}% is tolerated."
    )
    facts: tuple[object, ...] = (found.now, *(Known(end, "%") for end in found.tolerated_pct))
    short = f"About {phrases.percent(found.now)} of the bedding is water, we think."
    if found.too_dry is not None and found.too_wet is not None:
        dry, wet = phrases.chance(found.too_dry), phrases.chance(found.too_wet)
        until = phrases.dated(found.until, story.now)
        full += f" Until {until} the chance of its becoming too dry is {dry}, too wet {wet}."
        facts += (found.until, Known(found.too_dry, "chance"), Known(found.too_wet, "chance"))
    return Said(full, short, facts, found.now.provenance, ("fit", "weather", "species"))


def agreement(story: Story) -> Said:
    """Whether the month's readings agree with the model, which has seen them."""
    told = compared(story)
    surprises = [fact for fact in told if fact.surprise]
    anchors = (*(f"reading-{fact.id}" for fact in told), "fit")
    if not told:
        return Said("No bedding reading of this month can be set beside the model.", "", (0,), None, ("fit",))
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


def soon(story: Story) -> Said:
    """The low of the next days."""
    span = story.soon
    if span is None:
        return Said(
            "Nothing is predicted: no weather beyond the present was given.",
            "We cannot say what comes next, as we have no weather for it.",
        )
    limit = story.refuge.band_c[0]
    alone = span.first == span.last
    when = f"On {phrases.day(span.first)}" if alone else f"From {phrases.days(span.first, span.last)}"
    return Said(
        f"{when} the middle is predicted to fall to {_lowest(span)} of going below {phrases.warmth(limit)}.",
        f"{when} the middle may fall to about {phrases.temperature(span.coldest.temperature)}.",
        (*_told_of(span), Known(limit, "degC")),
        "predicted",
        ("fit", "weather", "species"),
    )


def rest(story: Story) -> Said | None:
    """The low of the time beyond the next days, as far as the outlook goes."""
    span, before = story.rest, story.soon
    if span is None or before is None:
        return None
    limit = story.refuge.band_c[0]
    until = phrases.dated(span.last, story.now)
    return Said(
        f"From then to {until} it is predicted to fall to {_lowest(span)} of going below {phrases.warmth(limit)}.",
        f"Later, up to {until}, it may fall to about {phrases.temperature(span.coldest.temperature)}.",
        (*_told_of(span), Known(limit, "degC")),
        "predicted",
        ("fit", "weather", "species"),
    )


def readings_read(n: int) -> str:
    """ "Three readings", at the head of a sentence."""
    return phrases.count(n, "reading").capitalize()


def compared(story: Story) -> list[ReadingFact]:
    """The month's bedding readings that the model says something of."""
    return [fact for fact in story.readings if fact.quantity == "temperature" and fact.expected is not None]


def _told_of(span: Ahead) -> tuple[object, ...]:
    return span.first, span.last, span.coldest.temperature, Known(span.below_band, "chance")


def _lowest(span: Ahead) -> str:
    low = span.coldest.temperature
    return (
        f"about {phrases.temperature(low)}, {phrases.nine_in_ten(phrases.temperature_range(low))}, with a chance of "
        f"{phrases.chance(span.below_band)}"
    )
