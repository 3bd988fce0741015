"""Several bins beside each other in sentences: what differs beyond the ranges, and what is not resolved."""

from __future__ import annotations

from underlid.quantity.show import listed
from underlid.update.beside import Beside, Compared
from underlid.update.facts import Range
from underlid.update.prose import phrases
from underlid.update.prose.said import Said
from underlid.update.prose.yearwords import signed, some

#: Figure -> its heading, and how the lower of two is told.
FIGURES = {
    "coldest": ("Coldest hour, middle", "is colder than"),
    "refuge": ("Smallest refuge, share of the bedding", "has a smaller share than"),
    "without": ("Hours without any refuge", "has fewer than"),
    "moisture": ("Water in the bedding at the end", "is drier than"),
    "worms": ("Worms at the end", "has fewer than"),
    "change": ("Change in worms", "gained less than"),
}
#: Part of a build -> how it is told.
PARTS = {
    "litres": "size", "wall": "wall", "wall_mm": "thickness of the wall", "siting": "where they stand",
    "base": "what they stand on", "materials": "bedding", "species": "species", "founders": "number of founders",
    "started": "the day they were started",
}  # fmt: skip
RULE = Said(
    "Each bin is fitted by itself, so bins are compared by their ranges: where two nine-in-ten ranges miss each other "
    "the bins differ beyond their ranges, and anywhere else it is not resolved, which is not the same as alike. What "
    "errs alike in all of them, as the weather or the model may, is not in these ranges.",
    "",
    (2, 9, 10),
)
NO_LOT = Said(
    "Setting bins beside each other is no test. Unless a trial drew by lot what each was given, nothing here tells why "
    "they differ: size, wall, place, bedding, founders and age differ together.",
    "These bins differ in many ways, so nobody can tell from this why one is colder than another.",
)
UNTRIED = Said("None of these bins is in a trial. One that is planned before and drawn by lot can begin to tell why.")
TRIED = Said("What trials have come to so far stands below, under “Under test”.")


def in_short(beside: Beside) -> tuple[Said, ...]:
    """How many bins, what sets them apart, and what may be concluded."""
    bins = phrases.count(len(beside.sides), "bin")
    parts = [PARTS[name] for name in beside.differs]
    known = (
        f"As far as was noted they differ in {listed(parts)}." if parts else "As far as was noted they are built alike."
    )
    when = (
        f"The figures are of {phrases.days(*beside.span)}."
        if beside.span is not None and beside.span[0] != beside.span[1]
        else "The accounts do not speak of the same days, and days differ: compare them with care."
    )
    facts = (len(beside.sides), beside.span or ())
    return (
        Said(f"{bins.capitalize()}, {beside.month:%B %Y}. {known} {when}", "", (*facts, beside.month)),
        NO_LOT,
        TRIED if beside.tested else UNTRIED,
        RULE,
    )


def found(beside: Beside) -> tuple[Said, ...]:
    """One sentence for each figure, and how much of it chance alone may give."""
    pairs = sum(one.pairs for one in beside.figures)
    said = [differences(beside, one) for one in beside.figures if one.pairs]
    if pairs:
        expected = phrases.number(beside.by_chance)
        said.append(
            Said(
                f"{phrases.count(pairs, 'pair').capitalize()} of ranges were compared in all. Of independent ranges "
                f"about one truth, one pair in 50 would miss each other by chance: here about {expected}.",
                "",
                (pairs, 1, 50, round(beside.by_chance, 1)),
            )
        )
    return tuple(said)


def differences(beside: Beside, one: Compared) -> Said:
    """Which bins differ in a figure beyond their ranges, and how many pairs are not resolved."""
    title, lower = FIGURES[one.name]
    left = one.pairs - len(one.beyond)
    low_of: dict[int, list[str]] = {}
    for low, high in one.beyond:
        low_of.setdefault(low, []).append(beside.letters[high])
    clear = [f"{beside.letters[low]} {lower} {listed(others)}" for low, others in low_of.items()]
    values = [value for value in one.values if value is not None]
    facts: tuple[object, ...] = (one.pairs, left, len(one.beyond))
    if not clear and all(value == values[0] and value.low == value.high for value in values):
        only = cell(one.name, values[0])[0]
        full, facts = f"{title}: {only} in all.", (*facts, values[0])
    elif not clear:
        full = f"{title}: not resolved in any pair."
    elif not left:
        full = f"{title}: {'; '.join(clear)}, beyond the ranges in every pair."
    else:
        full = f"{title}: {'; '.join(clear)}, beyond the ranges; not resolved in the other {_pairs(left)}."
    return Said(full, "", facts, values[0].provenance, ("weather", "fit"))


def tests(beside: Beside) -> tuple[Said, ...]:
    """The verdicts of trials that some of the bins are in."""
    return tuple(
        Said(
            f"{one.trial.name} ({', '.join(f'{letter}: {arm}' for letter, arm in one.arms)}): {one.trial.sentence}",
            facts=(one,),
            evidence=(f"trial-{one.trial.name}",),
        )
        for one in beside.tested
    )


def cell(name: str, found: Range | None) -> tuple[str, str]:
    """A figure in a table: its range, and what stands below it."""
    if found is None:
        return "not told", ""
    if name == "coldest":
        return phrases.temperature_ends(found)
    if name in ("refuge", "moisture"):
        return phrases.percent_range(found), ""
    if name == "without":
        return ("none" if found.high < 1 else phrases.hours_range(found)), ""
    if name == "change":
        return signed(found) or "none", ""
    return some(found)


# --- inside ----------------------------------------------------------------------------------------------


def _pairs(number: int) -> str:
    return "pair" if number == 1 else phrases.count(number, "pair")
