"""Sentences on air, bedding, refuge and water: each knows its facts.

"Nine in ten" always means the range from the 5 to the 95 % point.
"""

from __future__ import annotations

from dataclasses import replace

from underlid.update.facts import Ahead, ColdestHour, ReadingFact, Story
from underlid.update.prose import phrases
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import Said
from underlid.update.yearfacts import Year

CLOSE_S = 2 * 86400  # times no further apart than this are told to the hour
WIDE_S = 5 * 86400  # times further apart than this have no usual one worth telling
UNLIKELY = 0.05  # chance of too great a cold, from which a child is told of it: our judgement
MANY_H = 24  # hours without a refuge, from which no one day is told as that of the smallest: our judgement
DOUBTFUL = "The readings and the weather do not fit together, so take this with care."
UNSETTLED = "We are not sure of this yet."


def coldest(story: Story) -> Said:
    """The coldest hour of the month, inferred; its short form passes doubt on, as it may stand alone on a picture."""
    found = story.coldest.temperature
    predicted = found.provenance == "predicted"
    verb = "is predicted to be" if predicted else "was"
    child = (
        f"In its middle the bedding may get as cold as {phrases.temperature(found)} this month."
        if predicted
        else f"At its coldest, the middle of the bedding was about {phrases.temperature(found)}, we think."
    )
    ends = phrases.nine_in_ten(phrases.temperature_range(found))
    return Said(
        f"The coldest hour{so_far(story)} in the middle of the bedding {verb} about {phrases.temperature(found)}, "
        f"{ends}. {_fell(story, 'It')}",
        f"{child} {doubt(story)}".rstrip(),
        (story.coldest,),
        found.provenance,
        ("fit", "weather"),
    )


def coldest_when(story: Story) -> Said:
    """When the coldest hour fell, where how cold it was has been told."""
    found, when = story.coldest, story.coldest.when
    predicted = found.temperature.provenance == "predicted"
    if spread(found):
        short = f"On which day that {'may be' if predicted else 'was'}, we cannot say."
    else:
        short = f"We think that {'it may be' if predicted else 'it was'} near {phrases.day(when.usual)}."
    return Said(
        _fell(story, f"The coldest hour{so_far(story)}"),
        short,
        (when.early, when.usual, when.late),
        found.temperature.provenance,
        ("fit", "weather"),
    )


def hour_shown(story: Story) -> Said:
    """The one hour at which pictures stand, and why it may be less cold than the coldest hour is said to be."""
    found = story.coldest
    full = (
        f"Of all hours, {phrases.hour(found.estimate_at)} is thought to be the coldest: about "
        f"{phrases.temperature(found.estimate)}, {phrases.nine_in_ten(phrases.temperature_range(found.estimate))} "
        f"({found.estimate.provenance}); pictures of one hour show that one."
    )
    short = ""
    if apart(found):
        full += (
            " The coldest hour falls at another time in each run of the model, so no single hour is thought to be as "
            "cold as the coldest of the month."
        )
        short = "Each time we work it out, the coldest hour comes at another time."
    return Said(full, short, (found.estimate_at, found.estimate), found.estimate.provenance, ("fit", "weather"))


def apart(found: ColdestHour) -> bool:
    """Whether the coldest single hour is less cold than the coldest hour is told to be."""
    return found.estimate.middle - found.temperature.middle > phrases.step(found.temperature)


def spread(found: ColdestHour) -> bool:
    """Whether the coldest hour may have fallen on so many days that none is the likely one."""
    return (found.when.late - found.when.early).total_seconds() > WIDE_S


def near(found: ColdestHour) -> str:
    """ "near 14 January", or "some time from 1 to 31 January"."""
    if spread(found):
        return f"some time from {phrases.days(found.when.early, found.when.late)}"
    return f"near {phrases.day(found.when.usual)}"


def _fell(story: Story, what: str) -> str:
    found, when = story.coldest, story.coldest.when
    verb = "is predicted to fall" if found.temperature.provenance == "predicted" else "fell"
    if spread(found):
        return f"{what} {verb} {near(found)} (nine in ten)."
    if (when.late - when.early).total_seconds() <= CLOSE_S:
        likely, between = phrases.hour(when.usual), phrases.between_hours(when.early, when.late, when.usual)
    else:
        likely, between = phrases.day(when.usual), f"{phrases.day(when.early)} and {phrases.day(when.late)}"
    return f"{what} {verb} near {likely}, nine in ten between {between}."


def doubt(story: Story) -> str:
    """What a child is told where the fit is in doubt; nothing where it is not."""
    return DOUBTFUL if story.misfit else "" if story.trusted else UNSETTLED


def in_doubt(told: Story | Year) -> str:
    """What a reader is told first where the fit is in doubt; nothing where it is not."""
    if told.misfit:
        return "The readings and this weather do not fit together: read every range here with doubt."
    return "" if told.trusted else "The fit has not settled: read every range here with doubt."


def so_far(story: Story) -> str:
    """ " so far" while the month runs."""
    return " so far" if 0 < story.told_to.timestamp() < story.month_ends.timestamp() - 86400 else ""


def compared(story: Story) -> list[ReadingFact]:
    """The month's bedding readings that the model says something of."""
    return [fact for fact in story.readings if fact.quantity == "temperature" and fact.expected is not None]


def basis(story: Story) -> Said:
    """What stands behind the coldest hour."""
    full, short = _basis(story)
    full = f"{full} {in_doubt(story)}".rstrip()
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
    if spread(story.coldest):
        return (
            "Whether anybody read a thermometer at that hour cannot be told: this is estimated, from the weather and "
            f"{readings}.",
            "Nobody knows at which hour that was.",
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
    many = found.without_h.middle >= MANY_H  # the first of many hours without any is no more the smallest than the last
    smallest = "At its smallest" if many else f"At its smallest, near {phrases.day(found.when.usual)},"
    # What the worms bear is less sure than the temperature, so the account says how much hangs on it.
    other = f"Sources differ on that limit: with {phrases.warmth(found.widest_band_c[0])} as the lower end it "
    other += f"{'would hold' if predicted else 'held'} {phrases.litres_range(found.widest)}."
    facts += (Known(found.widest_band_c[0], "degC"), found.widest, *(() if many else (found.when,)))
    if found.without_h.high >= 1:
        # Hours count more than the least share: animals bear a short while outside, not a long one.
        other += (
            f" {'Predicted' if predicted else 'In all'}: {phrases.hours_range(found.without_h)} without any refuge "
            "(nine in ten)."
        )
        facts += (found.without_h,)
    if found.share.high < 0.5:
        return (
            f"{smallest} the refuge {'is predicted to vanish' if predicted else 'vanished'}: no bedding within {band}. "
            f"{other}",
            f"For a while no part of the bedding {'may be' if predicted else 'was'} right for the worms, we think.",
            facts,
        )
    ends = phrases.nine_in_ten(phrases.litres_range(found.litres))
    return (
        f"{smallest} the refuge {'is predicted to hold' if predicted else 'held'} about "
        f"{phrases.litres(found.litres)} of {whole}, {ends} ({phrases.percent_range(found.share)}): the "
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
    many = found.without_h.middle >= MANY_H
    day = "" if many else f", near {phrases.day(found.when.usual)},"
    if found.share.low >= 99.5:
        full = f"All of the bedding {'is predicted to stay' if predicted else 'stayed'} within what the worms tolerate"
        facts: tuple[object, ...] = ()
    elif found.share.high < 0.5:
        verb = "may be" if predicted else "was"
        when = f"For {phrases.hours_range(found.without_h)}" if many else f"Near {phrases.day(found.when.usual)}"
        full = f"{when} no part of the bedding {verb} within what the worms tolerate"
        facts = (found.without_h if many else found.when,)
    else:
        verb = "is predicted to hold" if predicted else "held"
        ends = phrases.nine_in_ten(phrases.litres_range(found.litres))
        full = (
            f"At the worst time{day} the part within what the worms tolerate {verb} about "
            f"{phrases.litres(found.litres)} of bedding, {ends}"
        )
        facts = (found.litres,) if many else (found.when, found.litres)
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
        until = phrases.dated(found.until, story.month)
        full += f" Until {until} the chance of its becoming too dry is {dry}, too wet {wet}."
        facts += (found.until, Known(found.too_dry, "chance"), Known(found.too_wet, "chance"))
    return Said(full, short, facts, found.now.provenance, ("fit", "weather", "species"))


def soon(story: Story) -> Said:
    """The low of the next days, with the chance of going below the limit; or why nothing is predicted."""
    told, chance, span = low(story), below(story), story.soon
    if chance is None or span is None:
        return told
    return replace(
        told,
        full=f"{told.full.removesuffix('.')}, with a chance of {_chance(story, span)}.",
        facts=(*told.facts, *chance.facts),
        evidence=chance.evidence,
    )


def below(story: Story) -> Said | None:
    """How likely the next days are to go below the limit, where their low has been told."""
    span = story.soon
    if span is None:
        return None
    worry = "We do not think that it will get too cold for the worms."
    if span.below_band >= UNLIKELY:
        worry = "It may get too cold for the worms."
    return Said(
        f"{_when(story, span)} the chance of the middle going below "
        f"{phrases.warmth(story.refuge.band_c[0])} is {phrases.chance(span.below_band)}.",
        worry,
        (span.first, span.last, Known(story.refuge.band_c[0], "degC"), Known(span.below_band, "chance")),
        "predicted",
        ("fit", "weather", "species"),
    )


def low(story: Story) -> Said:
    """The low of the next days; or why nothing is predicted."""
    span = story.soon
    if story.afterwards:
        today = story.now.date()
        return Said(
            f"This month is told from {phrases.day(today)} {today.year}; what comes next is in a later month’s "
            "account. To tell it as it stood then, give --now.",
            "What came next is told in a later month.",
            (today,),
        )
    if span is None:
        return Said(
            "Nothing is predicted: no weather beyond the present was given.",
            "We cannot say what comes next, as we have no weather for it.",
        )
    when = _when(story, span)
    return Said(
        f"{when} the middle is predicted to fall to {_lowest(span)}.",
        f"{when} the middle may fall to about {phrases.temperature(span.coldest.temperature)}.",
        (span.first, span.last, span.coldest.temperature),
        "predicted",
        ("fit", "weather"),
    )


def rest(story: Story) -> Said | None:
    """The low of the time beyond the next days, as far as the outlook goes."""
    span, before = story.rest, story.soon
    if span is None or before is None:
        return None
    until = phrases.dated(span.last, story.month)
    return Said(
        f"From then to {until} it is predicted to fall to {_lowest(span)}, with a chance of {_chance(story, span)}.",
        f"Later, up to {until}, it may fall to about {phrases.temperature(span.coldest.temperature)}.",
        (
            span.first,
            span.last,
            span.coldest.temperature,
            Known(span.below_band, "chance"),
            Known(story.refuge.band_c[0], "degC"),
        ),
        "predicted",
        ("fit", "weather", "species"),
    )


def _when(story: Story, span: Ahead) -> str:
    days = phrases.span(span.first, span.last, story.month)
    return f"On {days}" if span.first == span.last else f"From {days}"


def _chance(story: Story, span: Ahead) -> str:
    return f"{phrases.chance(span.below_band)} of going below {phrases.warmth(story.refuge.band_c[0])}"


def _lowest(span: Ahead) -> str:
    low = span.coldest.temperature
    return f"about {phrases.temperature(low)}, {phrases.nine_in_ten(phrases.temperature_range(low))}"
