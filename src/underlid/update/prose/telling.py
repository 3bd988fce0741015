"""All that an account says, in the order it is read: sections of sentences that know their facts.

`sections` is the full account and `short` the one for a child; pages, pictures, films and read-aloud notes take every
sentence from here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from underlid.update.facts import Provenance, Story, TrialFact
from underlid.update.lifefacts import Step
from underlid.update.prose import acidwords, agreewords, background, heatwords, lifewords, phrases, surprises, words
from underlid.update.prose.said import SECTIONS, Said, Section

CHILD_MOST = 12  # sentences that a child is told in all
NOT_COME = Said(
    "The month has not come yet: nothing has been fed in it.", "This month has not come yet.", (), None, ("feedings",)
)
ALL_TOGETHER = Said(
    "Read one by one, no temperature of this month lies outside the range of the model; but all of them together do "
    "not fit this weather.",
    "All the readings together do not fit the weather.",
    (),
    None,
    ("fit", "weather"),
)
NOTHING_YET = Said("The month has not come yet: nothing has been read that could surprise.", "", (), None, ("fit",))


def sections(story: Story) -> tuple[Section, ...]:
    """Every section, in the order of `said.SECTIONS`; each holds one sentence at least."""
    said = {
        "month": month(story),
        "done": done(story),
        "temperatures": temperatures(story),
        "animals": lifewords.animals(story),
        "chemistry": acidwords.chemistry(story),
        "tests": tests(story),
        "surprises": unfit(story),
        "unknown": words.not_known(story, *lifewords.not_known(story)),
        "next": following(story),
        "care": background.care(story),
    }
    return tuple(Section(name, title, said[name]) for name, title in SECTIONS.items())


def month(story: Story) -> tuple[Said, Said, Said]:
    """The month in three: how cold it was, who lives there or how much of the bedding they could, what comes next.

    Told long afterwards, what was tested or not known takes the place of what comes next.
    """
    return coldest(story), living(story), under_test_or_unread(story) if story.afterwards else heatwords.low(story)


def coldest(story: Story) -> Said:
    """The coldest hour and what it rests on, in one sentence."""
    found = story.coldest.temperature
    rests = heatwords.basis(story)
    verb = "is predicted to be" if found.provenance == "predicted" else "was"
    seen = (
        ""
        if found.provenance == "predicted"
        else "; nobody knows at which hour"
        if heatwords.spread(story.coldest)
        else "; a reading may fall close to it"
        if story.coldest.read_near
        else "; nobody read a thermometer then"
    )
    doubt = "; read this with doubt" if story.misfit or not story.trusted else ""
    return Said(
        f"The coldest hour{heatwords.so_far(story)} in the middle of the bedding, {heatwords.near(story.coldest)}, "
        f"{verb} about {phrases.temperature(found)}, {phrases.nine_in_ten(phrases.temperature_range(found))}"
        f"{phrases.mark(found)}{seen}{doubt}.",
        f"{heatwords.coldest(story).short} {rests.short}",
        (story.coldest,),
        found.provenance,
        rests.evidence,
    )


def living(story: Story) -> Said:
    """How many worms live there, or else how much of the bedding was fit for them."""
    if story.animals is not None:
        return lifewords.living(story.animals)
    return heatwords.room(story)


def under_test_or_unread(story: Story) -> Said:
    """What was under test, or else for how much of the month nobody knows but by the model."""
    if story.trials:
        named = ", ".join(f"“{one.name}”" for one in story.trials)
        return Said(
            f"Under test in this bin: {named}.", "We test an idea here.", (named,), None,
            tuple(f"trial-{one.name}" for one in story.trials),
        )  # fmt: skip
    n = sum(fact.quantity == "temperature" for fact in story.readings)
    if not n:
        return Said(
            "No bedding reading was noted this month: how warm it was at any hour is not known but estimated.",
            "Nobody wrote down how warm the bedding was.",
            (0,),
            "estimated",
            ("fit", "weather"),
        )
    return Said(
        f"Apart from {phrases.count(n, 'bedding reading')} of this month, how warm the bedding was is not known but "
        "estimated.",
        "At most hours nobody looked, so we worked it out.",
        (n,),
        "estimated",
        ("fit", "weather"),
    )


def done(story: Story) -> tuple[Said, ...]:
    """What was fed, what they can eat, and what has become of it all."""
    told = lifewords.done(story)
    return (NOT_COME, *told[1:]) if story.to_come else told


def unfit(story: Story) -> tuple[Said, ...]:
    """What did not fit: single readings and counts, or else all readings together and the weather."""
    if story.to_come:
        return (NOTHING_YET,)
    told = surprises.surprises(story)
    return (ALL_TOGETHER,) if story.misfit and told == (surprises.NONE,) else told


def temperatures(story: Story) -> tuple[Said, ...]:
    """When it was coldest, what that rests on, the refuge, the water, and whether the readings agree."""
    shown = heatwords.hour_shown(story) if heatwords.apart(story.coldest) else None
    told = (
        heatwords.coldest_when(story), heatwords.basis(story), shown, heatwords.refuge(story), heatwords.water(story),
        agreewords.agreement(story),
    )  # fmt: skip
    return tuple(one for one in told if one is not None)


def tests(story: Story) -> tuple[Said, ...]:
    """The verdicts so far of the trials that the bin is in."""
    if not story.trials:
        return (
            Said(
                "Nothing is under test in this bin. One bin by itself could not tell what a change does from what "
                "season, age and chance do.",
                "",
            ),
        )
    return tuple(_trial(one) for one in story.trials)


def following(story: Story) -> tuple[Said, ...]:
    """What is predicted beyond the low of the next days, and what is due; or where that is told."""
    if story.soon is None:
        return (heatwords.low(story), *_steps(story))
    told = (heatwords.below(story), heatwords.rest(story))
    return (*(one for one in told if one is not None), *_steps(story))


def short(story: Story) -> tuple[str, ...]:
    """The whole account for a child of ten: six to twelve sentences."""
    by = {section.name: section.said for section in sections(story)}
    _, alive, ahead = by["month"]
    told = {
        "cold": heatwords.coldest(story).short,
        "looked": heatwords.basis(story).short,
        "room": heatwords.room(story).short if story.animals is not None else "",
        "alive": alive.short,
        "why": background.why(story),
        "nobody": by["animals"][0].short if story.animals is None else "",
        "fed": by["done"][0].short,
        "odd": _odd(story, by["surprises"][0]),
        "ahead": "" if story.afterwards and story.trials else ahead.short,  # the tests are told below
        "tests": by["tests"][0].short,
        "one": by["unknown"][-1].short,
        "care": next(one.short for one in by["care"] if "hands" in one.short),
    }
    for least in ("room", "nobody", "looked", "care", "odd", "tests"):  # left out first, where it would be too much
        if _sentences(told.values()) > CHILD_MOST:
            told.pop(least)
    return tuple(text for text in told.values() if text)


def _odd(story: Story, first: Said) -> str:
    """What a child is told of all that did not fit."""
    n = sum(fact.surprise for fact in story.readings)
    if not n:
        return first.short
    return f"{agreewords.readings_read(n)} {'does' if n == 1 else 'do'} not fit what we worked out."


def _sentences(texts: Iterable[str]) -> int:
    return sum(len(re.findall(r"[.?!](?=\s|$)", text)) for text in texts)


def _steps(story: Story) -> tuple[Said, ...]:
    """What is due or to heed, by date."""
    return tuple(_step(one, story.month) for one in story.steps)


def _step(one: Step, month: date) -> Said:
    days = phrases.span(one.first, one.last, month)
    when = f"On {days}" if one.first == one.last else f"From {days}"
    says = one.says.rstrip(".")
    if ". " in says:
        says = says[:1].lower() + says[1:]
        full = f"{when}: {says}."
    else:
        full = f"{says} ({days})."
    short = {
        "reading": f"{when} it is time to read the thermometer.",
        "count": f"{when} it is time to count worms.",
        "look": f"{when} it is time to look at the test.",
        "frost": f"{when} there may be ice in the bedding.",
        "feeding": f"{when} see if the food is gone.",
    }[one.kind]
    provenance: Provenance | None = "predicted" if one.kind == "frost" else None
    return Said(full, short, (one.first, one.last, says), provenance, ("fit", "weather") if one.kind == "frost" else ())


def _trial(one: TrialFact) -> Said:
    so_far = {
        "Holds": "So far the idea that we test here has held.",
        "Fails": "So far the idea that we test here has not held.",
    }.get(one.sentence.split(" ")[0].rstrip(":"), "We test an idea here and cannot tell yet how it will end.")
    statement = one.statement.rstrip(".")
    return Said(
        f"{one.name} (this bin: {one.arm}). {statement}. {one.sentence}",
        so_far,
        (one.name, one.arm, statement, one.sentence),
        "estimated",
        (f"trial-{one.name}",),
    )
