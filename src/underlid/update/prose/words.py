"""Plain sentences from the facts of a month; every number said here is one of the story's.

"Nine in ten" always means the range from the 5 to the 95 % point.
"""

from __future__ import annotations

from underlid.update.facts import Parameter, Range, ReadingFact, Story
from underlid.update.prose import lifewords, phrases
from underlid.update.prose.agreewords import agreement, readings_read
from underlid.update.prose.heatwords import basis, coldest, refuge, rest, soon, water
from underlid.update.prose.said import KeyFigure, Said

__all__ = [
    "KeyFigure", "agreement", "ahead", "basis", "coldest", "key_figures", "month_caption", "not_known",
    "outlook_caption", "outlook_note", "parameter", "refuge", "refuge_caption", "rest", "soon", "truth", "unknown",
    "verdict", "water",
]  # fmt: skip

LITTLE_LEARNED = 0.75  # share of the prior's width above which a parameter counts as hardly learned: our judgement
LITTLE_WIDER = 0.1  # a width may come out a little above the prior's by chance of the draws
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


def key_figures(story: Story) -> tuple[KeyFigure, ...]:
    """The coldest hour, the smallest refuge, the low of the next days, and how many worms."""
    cold, refuge, soon = story.coldest.temperature, story.refuge, story.soon
    found = [
        _temperature_figure("Coldest hour, middle", cold),
        KeyFigure(
            "Smallest refuge",
            phrases.litres(refuge.litres),
            f"of about {phrases.number(refuge.bedding_litres, 0)}",
            (
                phrases.litres_range(refuge.litres),
                f"{phrases.litres_range(refuge.widest)} if they bear {phrases.both_scales(refuge.widest_band_c[0])}",
            ),
            refuge.share.provenance,
        ),
    ]
    if soon is not None:
        found.append(
            _temperature_figure(
                f"Low of {phrases.short_days(soon.first, soon.last)}"
                f"{'' if soon.last.year == story.month.year else f' {soon.last.year}'}",
                soon.coldest.temperature,
            )
        )
    if story.animals is not None:
        found.append(lifewords.animals_figure(story.animals))
    return tuple(found)


def ahead(story: Story) -> str:
    """What comes next; nothing where nothing is predicted."""
    told = (soon(story), rest(story)) if story.soon is not None else ()
    return " ".join(one.full for one in told if one is not None)


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
    return tuple(one.full for one in not_known(story))


def not_known(story: Story, *more: Said) -> tuple[Said, ...]:
    """What the account does not know, most particular first; `more` of it comes before what always holds."""
    said = []
    placeless = [fact for fact in story.readings if fact.quantity == "temperature" and fact.place == "not noted"]
    if placeless:
        have = "has" if len(placeless) == 1 else "have"
        said.append(Said(
            f"{readings_read(len(placeless))} this month {have} no place noted: middle and edge are both thought "
            "possible.",
            f"For {phrases.count(len(placeless), 'reading')} we do not know the spot.",
            (len(placeless),),
            "read",
            tuple(f"reading-{fact.id}" for fact in placeless),
        ))  # fmt: skip
    said += [Said(text, "", (text,), None, ("weather", "fit")) for text in story.unknown]
    wide = [PARAMETERS[found.name][2] for found in story.parameters if _hardly(found)]
    if wide and story.readings_used:
        said.append(Said(f"The readings have hardly narrowed these: {'; '.join(wide)}.", "", (), "estimated", ("fit",)))
    wider = [PARAMETERS[found.name][2] for found in story.parameters if found.width_left > 1.0 + LITTLE_WIDER]
    if wider and story.readings_used:
        said.append(Said(
            f"These are known no better after the readings than before: {'; '.join(wider)}. Their ranges came "
            "out wider: the readings say little of them, or speak against what was thought before, and draws differ by "
            "chance.",
            "", (), "estimated", ("fit",),
        ))  # fmt: skip
    return (*said, *more, Said(ONE_BIN, "This is only one bin. In another bin it may be quite different."))


def month_caption(story: Story) -> str:
    """What the first chart shows, said for those who cannot see it."""
    drawn = sum(fact.temperature for fact in story.readings)
    seen = (
        "The month has not come yet"
        if story.to_come
        else f"{phrases.count(drawn, 'reading').capitalize()} drawn as noted"
    )
    return (
        f"Temperature of the air and of the middle of the bedding through {story.month:%B %Y}. The coldest hour of the "
        f"middle is {story.coldest.temperature.provenance} at {phrases.temperature_range(story.coldest.temperature)}. "
        f"{seen}."
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
    return f"Lowest temperature of each day to come in the middle of the bedding, predicted. {ahead(story)}".rstrip()


def outlook_note(story: Story) -> str:
    """How to read the outlook chart."""
    if story.days is None:
        return ""
    if 0 < story.days.forecast_days < len(story.days.days):
        turn = phrases.dated(story.days.days[story.days.forecast_days], story.month)
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


def _temperature_figure(label: str, found: Range) -> KeyFigure:
    ends = phrases.temperature_ends(found)
    return KeyFigure(label, phrases.celsius(found), phrases.fahrenheit(found), ends, found.provenance)


def _hardly(found: Parameter) -> bool:
    return LITTLE_LEARNED < found.width_left <= 1.0 + LITTLE_WIDER


def _parameter_range(found: Range, unit: str) -> str:
    if found.unit == "K":
        return phrases.difference_range(found)
    return phrases.plain_range(found, unit, 1.0 if found.unit == "%" else 0.1)
