"""pH and EC of a bin in sentences; every number said here stands in the field.

"Nine chances in ten" always means the range from the 5 to the 95 % point. Ends are rounded outward.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from underlid.chemistry.account import Account, Tolerance
from underlid.chemistry.field import Array, Field, Outside
from underlid.chemistry.readings import ANYWHERE, PH, SPAN_DAYS, cautions, instrument_of
from underlid.quantity.points import three
from underlid.quantity.show import show_amount, show_when

SLIPPED = 0.5  # probability from which a reading is said to be a slip
ALIKE = 0.1  # pH; means that differ less are not told apart

#: Reports of salt and these worms, in mS/cm (= dS/m = mmho/cm). They contradict each other, as the extracts differ.
FELL, ALL_DIED = 0.92, 1.31  # in a natural saline soil; extract not known (seen second-hand)
GREW = (1.5, 3.0)  # manure that supported growth (Kaplan 1980, seen second-hand)


def headline(bin: str, told: Account) -> str:
    """The whole bedding, and how many readings of which days that rests on."""
    found, used = told.field, told.used
    first = min(used, key=lambda e: e.taken.when.start).taken.when
    last = max(used, key=lambda e: e.taken.when.end).taken.when
    days = show_when(first) if first == last else f"“{show_when(first)}” to “{show_when(last)}”"
    many = "one reading" if len(used) == 1 else f"{len(used)} readings"
    return (
        f"Bin {bin}: {_amount(found.whole, found)} on average over the bedding, {_range(found.whole, found)} with nine "
        f"chances in ten, estimated from {many}, {days}:"
    )


def rows(told: Account) -> list[tuple[str, str, str, str, str]]:
    """Place, share of the bedding, what was read there, the level (middle), its range."""
    found, used = told.field, told.used
    table = []
    for place in (*found.shares, *(p for p in found.levels if p not in found.shares)):
        read = [show_amount(e.taken.amount).removeprefix("pH ") for e in used if e.place == place]
        share = f"{100 * found.shares[place]:.0f} %" if place in found.shares else ""
        name = "place not noted" if place == ANYWHERE else place
        level = found.levels[place]
        table.append((name, share, "; ".join(read) or "not read", _figure(level, found), _range(level, found)))
    return table


def meaning(told: Account) -> tuple[str, ...]:
    """What the field comes to: its ends, its means, and what it means to the worms."""
    if told.quantity == "EC":
        return (extremes(told.field), *salt(told.field))
    about = () if told.tolerance is None or told.outside is None else risk(told.tolerance, told.outside)
    return (extremes(told.field), means(told.field), *about, *_beyond(told))


def extremes(found: Field) -> str:
    """The lowest and the highest part."""
    return (
        f"The lowest part of the bedding is at {_amount(found.lowest, found)} ({_range(found.lowest, found)}), the "
        f"highest at {_amount(found.highest, found)} ({_range(found.highest, found)})."
    )


def means(found: Field) -> str:
    """Why averaging pH and averaging acid differ, and which answers what."""
    ph, acid = three(found.whole), three(found.acid)
    apart = ph[1] - acid[1]
    both = (
        f"The mean pH is {_figure(found.whole, found)} ({_range(found.whole, found)}), and the pH of the mean acidity "
        f"{_figure(found.acid, found)} ({_range(found.acid, found)})"
    )
    alike = " The two hardly differ here." if apart < ALIKE else ""
    return (
        f"{both}.{alike} The first averages what worms meet from place to place; the second is what waters without "
        "buffer would have once mixed, where the most acid part counts most. Bedding is buffered, so all of it mixed "
        "would read neither: near the first if it buffers alike everywhere, else nearer the part that buffers more."
    )


def risk(tolerance: Tolerance, chance: Outside) -> tuple[str, ...]:
    """Whether some part of the bedding is outside what the species tolerates."""
    t = tolerance
    return (
        f"The chance that some part of the bedding is outside the pH that {t.species} tolerates, from {t.low[1]:g} "
        f"(sources leave {t.low[0]:g} to {t.low[2]:g}) to {t.high[1]:g} ({t.high[0]:g} to {t.high[2]:g}), is "
        f"{_chance(chance.either)}: {_chance(chance.below)} too acid, {_chance(chance.above)} too alkaline. It prefers "
        f"{t.best[0]:g} to {t.best[1]:g}. Source: {t.source}.",
        "That is of whole parts. Worms meet the pH of the spot they are in: a pocket of food may be far outside, and "
        "they can leave it.",
    )


def _beyond(told: Account) -> tuple[str, ...]:
    """Readings that lie outside what is tolerated by themselves, whatever the level of their place."""
    if told.tolerance is None:
        return ()
    low, high = told.tolerance.low[1], told.tolerance.high[1]
    return tuple(
        f"“{e.taken.words}” by itself is outside: look at that spot, whatever the rest reads."
        for e in told.used
        if e.high < low or e.low > high
    )


def salt(found: Field) -> tuple[str, ...]:
    """What the conductivity may mean, which depends on the extract."""
    low, high = math.exp(three(found.lowest)[0]), math.exp(three(found.highest)[2])
    if high < FELL:
        verdict = f"All of the bedding is likely under {FELL:g} mS/cm, the lowest level at which harm was reported."
    elif low > GREW[1]:
        verdict = f"All of the bedding is likely over {GREW[1]:g} mS/cm, the highest at which growth was reported."
    else:
        verdict = (
            "Whether that harms worms cannot be told: the levels reported as harmful and as harmless overlap here."
        )
    return (
        f"{verdict} In a saline soil survival fell from {FELL:g} mS/cm and all died at {ALL_DIED:g} (extract not "
        f"known), while manure of {GREW[0]:g} to {GREW[1]:g} supported growth (Kaplan 1980); both seen second-hand.",
        "Conductivity depends on the extract: one part of bedding in five of water reads several times less than the "
        "water in its pores. Note how you wet the sample, and compare only readings taken alike.",
    )


def assumed(told: Account) -> tuple[str, ...]:
    """What the ranges take for granted."""
    found, used = told.field, told.used
    s, ph = found.scale, found.scale is PH
    unread = [part for part in found.shares if all(e.place != part for e in used)]
    stray = s.strays[""]
    said = [
        f"Spots of one place differ by about {s.spots:g} pH, places by about {s.places:g}, and all readings together "
        f"may be off by {s.shared:g} (calibration, and how the sample was wetted): our judgement."
        if ph else
        f"Spots of one place differ by about {100 * s.spots:.0f} %, places by about {100 * s.places:.0f} %, and all "
        f"readings together may be off by {100 * s.shared:.0f} %: our judgement.",
    ]  # fmt: skip
    if any(instrument_of(e.taken) == "" for e in used):
        good = f"{stray:g} pH" if ph else f"{100 * stray:.0f} %"
        said.append(
            f"Where no instrument is named, a reading is taken as good to {good}; say “with a strip” or “meter”."
        )
    if unread:
        said.append(
            f"{' and '.join(unread).capitalize()} not read: estimated from the rest, and as uncertain as places "
            "differ. A reading there would narrow it."
        )
    if any(e.place == ANYWHERE for e in used):
        said.append(
            "Readings whose place is not noted say what the bedding is like, but not where: all may be of one corner."
        )
    if any(e.taken.depth is not None for e in used):
        said.append("Depths are not used: each place is taken as one from top to bottom.")
    said.append(
        f"The bedding is taken as steady over the days of the readings, at most {SPAN_DAYS} unless you say which."
    )
    return tuple(said)


def beware(told: Account) -> tuple[str, ...]:
    """What is odd in the readings: steps of a strip, contradictions, slips, and flags from their words."""
    found, used = told.field, told.used
    flags = [f"“{e.taken.words}”: {flag}" for e in used for flag in (*e.taken.amount.flags, *e.taken.when.flags)]
    slips = [
        f"“{e.taken.words}” fits the others so badly that it is more likely a slip, or a pocket of its own, than "
        "not, and hardly counts for the level of its place."
        for e, chance in zip(used, found.slips, strict=True)
        if chance > SLIPPED
    ]
    return (*cautions(used, found.scale), *slips, *told.unusable, *flags)


# --- figures -----------------------------------------------------------------------------------------------


def _figure(values: Array, found: Field) -> str:
    middle = found.scale.back(three(values)[1])
    return f"{middle:.1f}" if found.scale is PH else f"{middle:.2g}"


def _amount(values: Array, found: Field) -> str:
    return f"pH {_figure(values, found)}" if found.scale is PH else f"{_figure(values, found)} mS/cm"


def _range(values: Array, found: Field) -> str:
    low, _, high = (found.scale.back(value) for value in three(values))
    if found.scale is PH:
        return f"{math.floor(10 * low) / 10:.1f} to {math.ceil(10 * high) / 10:.1f}"
    return f"{_outward(low, math.floor):g} to {_outward(high, math.ceil):g}"


def _outward(value: float, to: Callable[[float], int]) -> float:
    """Two digits, rounded one way."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(to(value / step) * step, 6)


def _chance(share: float) -> str:
    if share < 0.01:
        return "less than 1 %"
    return "more than 99 %" if share > 0.99 else f"about {100 * share:.0f} %"
