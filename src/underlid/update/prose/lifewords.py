"""Sentences on the animals and their food: each knows its facts, and says no more than they bear."""

from __future__ import annotations

from underlid.quantity.show import listed
from underlid.update.facts import Range, Story
from underlid.update.lifefacts import Animals, Eaten, Found
from underlid.update.prose import heatwords, phrases
from underlid.update.prose.colony import SURE
from underlid.update.prose.numbers import Known
from underlid.update.prose.said import KeyFigure, Said

DAYS = Known(7, "1")  # ahead, for which it is told what the worms can eat
CROWDED = 0.05  # chance of crowding up to which a child is told that there is room: our judgement
UNLIKELY = 0.5  # chance of any worm below which none may well be left, and no number stands alone
ALIKE = 0.02  # ends of what was given that differ by less of it are one figure: scales tell no more, our judgement
ANCHORS = ("counts", "fit", "species")  # what every figure of the animals rests on
NOTHING = Said(
    "No colony was fitted for this account, so it does not say how many worms live there.",
    "How many worms live there? Nobody knows.",
    (),
    None,
    ("counts",),
)


# --- animals ---------------------------------------------------------------------------------------------


def animals_figure(found: Animals) -> KeyFigure:
    """How many worms, as a large figure; where perhaps none is left, with the chance of any and what was counted."""
    label, ends = f"Worms on {phrases.day(found.at)}", phrases.animals_range(found.worms)
    if not gone(found):
        grams = f"{phrases.mass_range(found.live_g)} in all"
        return KeyFigure(label, phrases.animals_figure(found.worms), "without cocoons", (ends, grams),
                         found.worms.provenance)  # fmt: skip
    beside = "" if found.samples or found.sightings else "; nothing was counted"
    chance = f"chance of any: {phrases.chance(found.alive)}{beside}"
    return KeyFigure(label, "perhaps none", "", (ends, chance), found.worms.provenance)


def animals(story: Story) -> tuple[Said, ...]:
    """What was found in hand if the fit cannot explain it, who lives there, how that changed, and what it rests on."""
    found = story.animals
    if found is None:
        return (NOTHING,)
    said = [in_hand(story, found)] if found.doubted else []
    said += [living(found), change(story, found), stages(found), together(found)]
    if found.alive < SURE:
        said.append(alive(found))
    return (*said, rests_on(found), *(Said(text, "", (text,), None, ("counts",)) for text in found.careful))


def gone(found: Animals) -> bool:
    """Whether there may well be no worm left, so that no number of them stands alone."""
    return found.alive < UNLIKELY or phrases.animals_figure(found.worms) == "0"


def in_hand(story: Story, found: Animals) -> Said:
    """What was counted and seen, told before an estimate that cannot explain all of it."""
    days = listed([phrases.dated(one.when, story.month) for one in _first(found.doubted)])
    told = "; ".join(f"on {phrases.dated(one.when, story.month)} {one.what}" for one in found.found)
    return Said(
        f"Found in hand (read): {told}. The model cannot explain what was found on {days}: hardly any life that "
        "founders, bedding and the other counts allow agrees with it. What was found in hand is the better witness: "
        "doubt the estimates that follow, or see whether a number, a volume or the founders were written down wrongly.",
        "What was counted by hand does not fit what we worked out. Trust the count more.",
        (found.found,),
        "read",
        ("counts",),
    )


def living(found: Animals) -> Said:
    """How many worms there are at the end of the span told of."""
    worms, when, figure = found.worms, phrases.day(found.at), phrases.animals_figure(found.worms)
    predicted = worms.provenance == "predicted"
    ends = phrases.nine_in_ten(phrases.animals_range(worms))
    low, high = (Known(side, "1") for side in phrases.outward(worms))
    doubt = "; what was found in hand does not agree with this" if found.doubted else ""
    facts: tuple[object, ...] = (found.at, worms)
    if gone(found):
        verb = "is predicted to live" if predicted else "lived"
        unseen = "" if found.samples or found.sightings else "; nobody counted or saw any"
        full = (
            f"On {when} perhaps no worm {verb} in the bedding, {ends}{phrases.mark(worms)}, and the chance of any is "
            f"{phrases.chance(found.alive)}{unseen}{doubt}."
        )
        facts += (0, Known(found.alive, "chance"))
        short = "It may be that no worm lives there now. Nobody can be sure."
    else:
        be = "is" if figure == "1" else "are"
        verb = f"{be} predicted to live" if predicted else "lived"
        full = (
            f"On {when} about {phrases.animals(worms)} {verb} in the bedding, {ends}{phrases.mark(worms)}; cocoons are "
            f"not among them{doubt}."
        )
        short = f"We think that about {phrases.animals(worms)} {'will live' if predicted else 'lived'} there on {when}."
        if low.value < high.value:
            fewest, most = (phrases.number(side.value, 0) for side in (low, high))
            short += f" It may be as few as {fewest if low.value else 'none'} or as many as {most}."
            facts += (low, high)
    return Said(full, short, facts, worms.provenance, ANCHORS)


def change(story: Story, found: Animals) -> Said:
    """How their number changed over the span told of."""
    since, moved = phrases.day(story.told_from), found.change
    predicted = moved.provenance == "predicted"
    was = "is predicted to be" if found.before.provenance == "predicted" else "was"
    before = (
        f"On {since} the number {was} about {phrases.animals_figure(found.before)}, "
        f"{phrases.nine_in_ten(phrases.animals_range(found.before))}"
    )
    low, high = phrases.outward(moved)
    by = _turned(moved) if high < 0 else moved
    about = f"by about {phrases.animals_figure(by)}, {phrases.nine_in_ten(phrases.animals_range(by))}"
    rose, fell = (phrases.number(abs(side), 0) for side in (high, low))
    more, fewer = f"There may be more of them than on {since}.", f"There may be fewer of them than on {since}."
    if low > 0:
        full = f"{before}; it {'is predicted to grow' if predicted else 'has grown since'}, {about}."
        short = more if predicted else f"There are more of them than on {since}, we think."
    elif high < 0:
        full = f"{before}; it {'is predicted to fall' if predicted else 'has fallen since'}, {about}."
        short = fewer if predicted else f"There are fewer of them than on {since}, we think."
    elif low == high == 0:
        full, short = f"{before}; it is not thought to have changed.", "We think that none came or went."
    elif low == 0:
        full, short = f"{before}. Since then it may have stayed the same or risen by up to {rose} (nine in ten).", more
    elif high == 0:
        full = f"{before}. Since then it may have stayed the same or fallen by up to {fell} (nine in ten)."
        short = fewer
    else:
        either = f"fallen by up to {fell} or risen by up to {rose} (nine in ten)"
        full = f"{before}. Since then it may have {either}: it cannot be told which."
        short = "We cannot tell if there are more or fewer than before."
    up_to = tuple(Known(abs(side), "1") for side in (low, high))  # of a change whose sign is not known
    return Said(full, short, (story.told_from.date(), found.before, moved, up_to), moved.provenance, ANCHORS)


def stages(found: Animals) -> Said:
    """How many there are of each stage."""
    some = phrases.animals_figure(found.worms) != "0"
    named = ", ".join(f"{stage}s {_about(count)}" for stage, count in found.stages)
    by = dict(found.stages)
    grown = phrases.animals_figure(by["adult"])
    short = {"0": "Perhaps none of them is grown up.", "1": "About 1 of them is grown up."}.get(
        grown, f"About {grown} of them are grown up."
    )
    return Said(
        f"By stage ({found.worms.provenance}): {named}.",
        short if some else "",
        (found.stages,),
        found.worms.provenance,
        ANCHORS,
    )


def together(found: Animals) -> Said:
    """What they weigh, and whether they are crowded where that is thinkable."""
    low, high = (Known(side, "g/m2") for side in found.usual_g_m2)
    short = f"All the worms together weigh about {phrases.mass(found.live_g)}."
    short += " They have a lot of room." if found.crowded < CROWDED else ""
    some = phrases.animals_figure(found.worms) != "0"
    ends = phrases.nine_in_ten(phrases.mass_range(found.live_g))
    full = f"Together they weigh about {phrases.mass(found.live_g)}, {ends} ({found.live_g.provenance})."
    facts: tuple[object, ...] = (found.live_g,)
    if found.density_g_m2.high >= low.value:
        full += (
            f" That is {phrases.animals_range(found.density_g_m2)}{phrases.NB}g on a square metre, where beds usually "
            f"hold {phrases.number(low.value, 0)} to {phrases.number(high.value, 0)}{phrases.NB}g; the chance that "
            f"they are crowded is {phrases.chance(found.crowded)}."
        )
        facts += (found.density_g_m2, low, high, Known(found.crowded, "chance"))
    return Said(full, short if some else "", facts, found.live_g.provenance, ANCHORS)


def alive(found: Animals) -> Said:
    """How likely it is that any worm lives, where that is in doubt."""
    told = gone(found)  # with the chance of it
    chance = "" if told else f"The chance that any worm lives there is {phrases.chance(found.alive)}. "
    return Said(
        f"{chance}Do not give the bin up on that alone: cocoons may hatch when it is warmer, and what frost does "
        "to worms is not well known.",
        "Do not give up: young worms may still come out of the cocoons.",
        () if told else (Known(found.alive, "chance"),),
        found.worms.provenance,
        ANCHORS,
    )


def rests_on(found: Animals) -> Said:
    """What the figures of the animals rest on."""
    heard = [phrases.count(found.samples, "count") if found.samples else "",
             phrases.count(found.sightings, "sighting") if found.sightings else ""]  # fmt: skip
    told = " and ".join(part for part in heard if part)
    basis = f"on “{found.founders}” as founders, on the fitted bedding, and on published rates"
    return Said(
        f"This rests on {told} in all, {basis}."
        if told
        else f"Nobody has counted or seen any worm here yet. This rests {basis} alone.",
        "" if found.samples else "Nobody has counted them yet.",
        (found.samples, found.sightings, found.founders),
        "estimated",
        ANCHORS,
    )


# --- what was done and eaten -----------------------------------------------------------------------------


def done(story: Story) -> tuple[Said, ...]:
    """What was fed, what they can eat, and what has become of it all."""
    found = story.eaten
    if found is None:
        return (Said("What was fed is not told here.", "", (), None, ("feedings",)),)
    said = [fed(found, heatwords.so_far(story))]
    if not found.late and _worth_telling(story, found):
        said.append(can_eat(story, found))
    if found.lost_pct is not None:
        said.append(_lost(found, found.lost_pct))
    if found.castings_l is not None:
        said.append(_castings(found, found.castings_l))
    return tuple(said)


def given(found: Range) -> str:
    """What was given by the keeper's words: "about 250 g, from 200 to 300 g", or "about 320 g" of what was weighed."""
    about = f"about {phrases.mass(found)}"
    return about if found.high - found.low <= ALIKE * found.middle else f"{about}, from {phrases.mass_range(found)}"


def fed(found: Eaten, so_far: str = "") -> Said:
    """How often food was given this month, and how much; `so_far` ends what is told of a month that runs."""
    if not found.feedings:
        return Said(f"No feeding was noted this month{so_far}.", f"Nobody wrote down a meal this month{so_far}.", (0,),
                    "read", ("feedings",))  # fmt: skip
    full = f"{phrases.count(found.feedings, 'feeding').capitalize()} {_was(found.feedings)} noted this month{so_far}."
    short = f"They got {phrases.count(found.feedings, 'meal')} this month{so_far}."
    facts: tuple[object, ...] = (found.feedings, found.unweighed)
    if found.given_g is not None:
        full += (
            f" {'The sum of what' if found.feedings > 1 else 'What'} was given comes to {given(found.given_g)} (read)."
        )
        known = "What we know of that is" if found.unweighed else "That was"
        short += f" {known} about {phrases.mass(found.given_g)} of food."
        facts += (found.given_g,)
    if found.unweighed == found.feedings:
        full += " How much it was is not noted."
    elif found.unweighed:
        full += f" {phrases.count(found.unweighed, 'feeding').capitalize()} {_say(found.unweighed)} not say how much."
    return Said(full, short, facts, "read", ("feedings",))


def can_eat(story: Story, found: Eaten) -> Said:
    """What they can eat in the days after now."""
    days = phrases.count(int(DAYS.value), "day")
    if found.can_eat_g is None:
        why = "no colony was fitted" if story.animals is None else f"the weather given ends within {days} from now"
        return Said(
            f"What they can eat in the next {days} is not known: {why}.",
            "How much can they eat next? We do not know.",
            (DAYS,),
            None,
            ("feedings",),
        )
    eat = found.can_eat_g
    little = _little(eat)
    amount = "next to nothing" if little else f"about {phrases.mass(eat)}"
    advice = "wait until what is there has gone" if little else "give less than that, and wait until it is gone"
    return Said(
        f"In the {days} after {phrases.day(found.at)} they can eat {amount} of food as it is given, "
        f"{phrases.nine_in_ten(phrases.mass_range(eat))} (predicted): {advice}."
        if not little
        else f"In the {days} after {phrases.day(found.at)} they can eat next to nothing, "
        f"{phrases.nine_in_ten(phrases.mass_range(eat))} of food as it is given (predicted): {advice}.",
        f"In the next {days} they may eat {amount}{'' if little else ' of food'}.",
        (DAYS, found.at, eat),
        "predicted",
        (*ANCHORS, "weather"),
    )


def _lost(found: Eaten, lost: Range) -> Said:
    return Said(
        f"By {phrases.day(found.at)} about {phrases.percent(lost)} of all dry matter laid and fed has gone to the air, "
        f"{phrases.nine_in_ten(phrases.percent_range(lost))} ({lost.provenance}).",
        f"So far about {phrases.percent(lost)} of the dry stuff has gone into the air.",
        (found.at, lost),
        lost.provenance,
        ("fit", "feedings", "weather"),
    )


def _castings(found: Eaten, made: Range) -> Said:
    full = (
        f"What is crumbly and dark by now comes to about {phrases.litres(made)}, "
        f"{phrases.nine_in_ten(phrases.litres_range(made))} ({made.provenance})."
    )
    facts: tuple[object, ...] = (made,)
    if found.ripe is not None and found.ripe_by is not None:
        early, usual, late = (phrases.dated(moment, found.at) for moment in found.ripe)
        by = phrases.dated(found.ripe_by, found.at)
        full += (
            f" A harvest is predicted to be ripe near {usual}, nine in ten between {early} and {late}; the chance that "
            f"it is so by {by}, where the outlook ends, is {phrases.chance(found.ripe_chance)}."
        )
        facts += (*found.ripe, found.ripe_by, Known(found.ripe_chance, "chance"))
    elif found.ripe_by is not None:
        full += (
            f" No harvest is predicted to be ripe by {phrases.dated(found.ripe_by, found.at)}, where the outlook ends."
        )
        facts += (found.ripe_by,)
    return Said(
        full,
        f"By now about {phrases.litres(made)} of it should be dark crumbs.",
        facts,
        made.provenance,
        ("fit", "feedings", "weather"),
    )


# --- what is not known -----------------------------------------------------------------------------------


def not_known(story: Story) -> tuple[Said, ...]:
    """Feedings that cannot be weighed, and counts that were not made."""
    said = []
    if story.eaten is not None and story.eaten.unweighed:
        n = story.eaten.unweighed
        said.append(Said(
            f"{phrases.count(n, 'feeding').capitalize()} of this month {_say(n)} not say how much was given.",
            f"For {phrases.count(n, 'meal')} nobody wrote down how much it was.",
            (n,),
            "read",
            ("feedings",),
        ))  # fmt: skip
    if story.animals is None:
        said.append(NOTHING)
    elif not story.animals.samples:
        basis = "what was seen, and on the founders" if story.animals.sightings else "the founders and published rates"
        said.append(Said(
            f"No worm has been counted in this bin so far: how many there are rests on {basis}.",
            "Nobody has counted the worms yet.",
            (0,),
            None,
            ("counts",),
        ))  # fmt: skip
    elif not story.samples and not story.to_come:
        so_far = heatwords.so_far(story)
        said.append(Said(
            f"No sample was counted this month{so_far}: how many worms there are now rests on other counts.",
            f"Nobody counted worms this month{so_far}.",
            (0,),
            None,
            ("counts",),
        ))  # fmt: skip
    return tuple(said)


# --- inside ----------------------------------------------------------------------------------------------


def _little(eat: Range) -> bool:
    return phrases.mass(eat).startswith(f"0{phrases.NB}")


def _worth_telling(story: Story, found: Eaten) -> bool:
    """Whether it helps to tell what they can eat: not that there is nothing to eat, or nobody to eat it."""
    if found.can_eat_g is None or not _little(found.can_eat_g):
        return True
    return bool(found.feedings) and story.animals is not None and not gone(story.animals)


def _first(found: tuple[Found, ...]) -> list[Found]:
    """One for each day."""
    return list({one.when: one for one in found}.values())


def _about(found: Range) -> str:
    figure, ends = phrases.animals_figure(found), phrases.animals_range(found)
    return figure if figure == ends else f"about {figure} ({ends})"


def _was(n: int) -> str:
    return "was" if n == 1 else "were"


def _say(n: int) -> str:
    return "does" if n == 1 else "do"


def _turned(found: Range) -> Range:
    """A change downward, as how many fewer."""
    return Range(-found.high, -found.middle, -found.low, found.unit, found.provenance)
