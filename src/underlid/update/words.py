"""Plain sentences from the facts of a month; every number said here is one of the story's.

"Nine in ten" always means the range from the 5 to the 95 % point.
"""

from __future__ import annotations

from dataclasses import dataclass

from underlid.update import phrases
from underlid.update.facts import Ahead, Parameter, Provenance, Range, ReadingFact, Story

LITTLE_LEARNED = 0.75  # share of the prior's width above which a parameter counts as hardly learned: our judgement
LITTLE_WIDER = 0.1  # a width may come out a little above the prior's by chance of the draws
CLOSE_S = 2 * 86400  # times no further apart than this are told to the hour
ONE_BIN = (
    "One bin without a comparison can show that something is possible here. "
    "It cannot show that it is true in general, or what caused it."
)
PARAMETERS = {
    "loss": ("Heat lost through the sides", "times what size and material suggest", "loss through the sides"),
    "lid": ("Heat lost through the lid", "times what size and material suggest", "loss through the lid"),
    "base": ("Heat passed through the bottom", "W per m² and °C", "heat through the bottom"),
    "moisture": ("Water in the bedding at the start", "% of wet weight", "the bedding’s water"),
    "heat": ("Heat made by bedding and food", "times the usual", "heat of bedding and food"),
    "drying": ("Vapour lost", "times the usual", "how fast it dries"),
    "lag": ("The thermometer is read too soon by", "% of the way from air to bedding", "the thermometer’s lag"),
    "bias": ("The thermometer reads too high by", "", "the thermometer’s bias"),
    "scatter": ("A spot strays from the model by", "", "the straying of a spot"),
}


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One of the large figures at the head of the account."""

    label: str
    figure: str
    beside: str
    range: tuple[str, str]
    provenance: Provenance


def key_figures(story: Story) -> tuple[KeyFigure, ...]:
    """The coldest hour, the smallest refuge and the low of the next days."""
    cold, refuge, soon = story.coldest.temperature, story.refuge, story.soon
    found = [
        _temperature_figure("Coldest hour, middle", cold),
        KeyFigure(
            "Smallest refuge",
            phrases.litres(refuge.litres),
            f"of about {phrases.number(refuge.bedding_litres, 0)}",
            (
                phrases.litres_range(refuge.litres),
                f"{phrases.litres_range(refuge.widest)} down to {phrases.both_scales(refuge.widest_band_c[0])}",
            ),
            refuge.share.provenance,
        ),
    ]
    if soon is not None:
        found.append(
            _temperature_figure(f"Low of {phrases.short_days(soon.first, soon.last)}", soon.coldest.temperature)
        )
    return tuple(found)


def in_short(story: Story) -> tuple[str, ...]:
    """A few sentences that say what the month came to."""
    said = [coldest(story), basis(story), refuge(story), water(story)]
    if _compared(story):
        said.append(agreement(story))
    said.append(ahead(story))
    return tuple(said)


def coldest(story: Story) -> str:
    """The coldest hour of the month, inferred."""
    found, when = story.coldest.temperature, story.coldest.when
    if (when.late - when.early).total_seconds() <= CLOSE_S:
        likely, between = phrases.hour(when.usual), phrases.between_hours(when.early, when.late, when.usual)
    else:
        likely, between = phrases.day(when.usual), f"{phrases.day(when.early)} and {phrases.day(when.late)}"
    so_far = " so far" if 0 < story.told_to.timestamp() < story.month_ends.timestamp() - 86400 else ""
    predicted = found.provenance == "predicted"
    verb, fell = ("is predicted to be", "is predicted to fall") if predicted else ("was", "fell")
    return (
        f"The coldest hour{so_far} in the middle of the bedding {verb} about {phrases.temperature(found)}, nine in ten "
        f"from {phrases.temperature_range(found)}. It {fell} near {likely}, nine in ten between {between}."
    )


def basis(story: Story) -> str:
    """What stands behind the coldest hour."""
    said = _basis(story)
    if story.misfit:
        said += " The readings and this weather do not fit together: read every range here with doubt."
    elif not story.trusted:
        said += " The fit has not settled: read every range here with doubt."
    return said


def _basis(story: Story) -> str:
    readings = phrases.count(story.readings_used, "bedding reading")
    if story.coldest.temperature.provenance == "predicted":
        return f"None of this month’s weather has been observed yet: this is predicted, from a fit to {readings}."
    if not story.readings_used:
        return "No bedding reading has been used: this is estimated from the weather and the bin’s build alone."
    if story.coldest.read_near:
        return (
            f"A reading may fall close to that hour; the figure itself is estimated, from the weather and {readings}."
        )
    return f"Nobody read a thermometer then: this is estimated, from the weather and {readings}."


def refuge(story: Story) -> str:
    """How much bedding stayed fit to live in."""
    found = story.refuge
    band = f"the band that {found.species} tolerates ({phrases.band(*found.band_c)})"
    predicted = found.share.provenance == "predicted"
    whole = f"roughly {phrases.number(found.bedding_litres, 0)} litres of bedding"
    if found.share.low >= 99.5:
        return f"All of the {whole} {'are predicted to stay' if predicted else 'stayed'} within {band}."
    near = f"At its smallest, near {phrases.day(found.when.usual)}, the refuge"
    # What the worms bear is less sure than the temperature, so the account says how much hangs on it.
    other = f"Sources differ on that limit: with {phrases.warmth(found.widest_band_c[0])} as the lower end it "
    other += f"{'would hold' if predicted else 'held'} {phrases.litres_range(found.widest)}."
    if found.without_h.high >= 1:
        # Hours count more than the least share: animals bear a short while outside, not a long one.
        other += (
            f" {'Predicted' if predicted else 'In all'}: {phrases.hours_range(found.without_h)} without any refuge."
        )
    if found.share.high < 0.5:
        return f"{near} {'is predicted to vanish' if predicted else 'vanished'}: no bedding within {band}. {other}"
    return (
        f"{near} {'is predicted to hold' if predicted else 'held'} about {phrases.litres(found.litres)} of "
        f"{whole}, nine in ten from {phrases.litres_range(found.litres)} ({phrases.percent_range(found.share)}): the "
        f"part within {band}. {other}"
    )


def water(story: Story) -> str:
    """How wet the bedding is, and whether it is likely to become too dry or too wet."""
    found = story.water
    verb = "is predicted to hold" if found.now.provenance == "predicted" else "held"
    low, high = (phrases.number(end, 0) for end in found.tolerated_pct)
    said = (
        f"At the end the bedding {verb} {phrases.percent_range(found.now)} water by weight ({found.now.provenance}); "
        f"{low}{phrases.NB}to{phrases.NB}{high}{phrases.NB}% is tolerated."
    )
    if found.too_dry is None or found.too_wet is None:
        return said
    dry, wet = phrases.chance(found.too_dry), phrases.chance(found.too_wet)
    return f"{said} Until {phrases.day(found.until)} the chance of its becoming too dry is {dry}, too wet {wet}."


def agreement(story: Story) -> str:
    """Whether the month's readings agree with the model, which has seen them."""
    told = _compared(story)
    surprises = [fact for fact in told if fact.surprise]
    if not surprises:
        agree = "agrees" if len(told) == 1 else "agree"
        read = phrases.count(len(told), "bedding reading").capitalize()
        return f"{read} this month {agree} with the model’s range."
    named = "; ".join(f"“{fact.words}” ({fact.when_words})" for fact in surprises)
    return (
        f"Of {phrases.count(len(told), 'bedding reading')} this month, {phrases.count(len(surprises), 'surprise')}: "
        f"{named}. One exact reading in ten would lie outside such a range by chance."
    )


def ahead(story: Story) -> str:
    """What comes next."""
    if story.soon is None:
        return "Nothing is predicted: no weather beyond the present was given."
    limit = phrases.warmth(story.refuge.band_c[0])
    said = (
        f"From {phrases.days(story.soon.first, story.soon.last)} the middle is predicted to fall to "
        f"{_lowest(story.soon)} of going below {limit}."
    )
    if story.rest is not None:
        said += (
            f" From then to {phrases.day(story.rest.last)} it is predicted to fall to {_lowest(story.rest)} of going "
            f"below {limit}."
        )
    return said


def verdict(fact: ReadingFact) -> str:
    """What the model says for a reading's moment."""
    if fact.quantity not in ("temperature", "air temperature"):
        return "not modelled"
    if fact.expected is None:
        return "nothing to compare"
    if not fact.surprise:
        return "inside"
    side = "warmer" if fact.amount.low > fact.expected.high else "colder"
    return f"surprise: {side} by {phrases.gap(fact.gap_k)}"


def parameter(found: Parameter) -> tuple[str, str, str]:
    """A parameter's name in words, its range after the readings and its range before them."""
    what, unit, _ = PARAMETERS[found.name]
    return what, _parameter_range(found.after, unit), _parameter_range(found.before, unit)


def unknown(story: Story) -> tuple[str, ...]:
    """What the account does not know, most particular first."""
    said = []
    placeless = sum(fact.place == "not noted" for fact in story.readings if fact.quantity == "temperature")
    if placeless:
        have = "has" if placeless == 1 else "have"
        said.append(
            f"{phrases.count(placeless, 'reading').capitalize()} this month {have} no place noted: middle and edge "
            "are both thought possible."
        )
    said += story.unknown
    wide = [PARAMETERS[found.name][2] for found in story.parameters if _hardly(found)]
    if wide and story.readings_used:
        said.append(f"The readings have hardly narrowed these: {'; '.join(wide)}.")
    said.append(ONE_BIN)
    return tuple(said)


def month_caption(story: Story) -> str:
    """What the first chart shows, said for those who cannot see it."""
    drawn = sum(fact.temperature for fact in story.readings)
    return (
        f"Temperature of the air and of the middle of the bedding through {story.month:%B %Y}. The coldest hour of the "
        f"middle is {story.coldest.temperature.provenance} at {phrases.temperature_range(story.coldest.temperature)}. "
        f"{phrases.count(drawn, 'reading').capitalize()} drawn as noted."
    )


def refuge_caption(story: Story) -> str:
    """What the refuge chart shows."""
    share = story.refuge.share
    return (
        "Share of the bedding within the tolerated band, hour by hour; at its smallest "
        f"{phrases.percent_range(share)}, {share.provenance}."
    )


def outlook_caption(story: Story) -> str:
    """What the outlook chart shows."""
    return f"Lowest temperature of each day to come in the middle of the bedding, predicted. {ahead(story)}"


def outlook_note(story: Story) -> str:
    """How to read the outlook chart."""
    if story.days is None:
        return ""
    if 0 < story.days.forecast_days < len(story.days.days):
        turn = phrases.day(story.days.days[story.days.forecast_days])
        return f"Right of the dotted line, from {turn}, there is no forecast: past years stand in for the weather."
    return ""


def truth(story: Story) -> tuple[str, ...]:
    """How close the account came to an invented truth; nothing where there is none."""
    found = story.truth
    if found is None:
        return ()
    held = ", ".join(f"{place} {phrases.number(share, 0)}{phrases.NB}%" for place, share in found.held.items())
    inferred = phrases.temperature_range(story.coldest.temperature)
    inside = story.coldest.temperature.low <= found.coldest_c <= story.coldest.temperature.high
    return (
        f"Share of the month’s {found.hours} hours in which the nine-in-ten range holds the truth: {held}.",
        f"Coldest hour of the middle: {story.coldest.temperature.provenance} {inferred}; in truth "
        f"{phrases.warmth(found.coldest_c)}, {'inside' if inside else 'outside'} that range, on "
        f"{phrases.hour(found.coldest_at)}.",
    )


def _compared(story: Story) -> list[ReadingFact]:
    return [fact for fact in story.readings if fact.quantity == "temperature" and fact.expected is not None]


def _temperature_figure(label: str, found: Range) -> KeyFigure:
    ends = phrases.temperature_ends(found)
    return KeyFigure(label, phrases.celsius(found), phrases.fahrenheit(found), ends, found.provenance)


def _lowest(span: Ahead) -> str:
    low = span.coldest.temperature
    return (
        f"about {phrases.temperature(low)}, nine in ten from {phrases.temperature_range(low)}, with a chance of "
        f"{phrases.chance(span.below_band)}"
    )


def _hardly(found: Parameter) -> bool:
    return LITTLE_LEARNED < found.width_left <= 1.0 + LITTLE_WIDER


def _parameter_range(found: Range, unit: str) -> str:
    if found.unit == "K":
        return phrases.difference_range(found)
    return phrases.plain_range(found, unit, 1.0 if found.unit == "%" else 0.1)
