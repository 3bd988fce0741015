"""Sentences on what the pH readings say of the bedding; every figure is estimated, with nine chances in ten."""

from __future__ import annotations

import math

from underlid.chemistry.aftermath import Points
from underlid.fit.acidity import LEARNT, Acidity
from underlid.quantity.show import show_when

LABEL = {
    "start_ph": "pH at the start", "buffer": "takes up, mol per kg dry and pH",
    "half_life": "half of the citrate gone at 20 °C (68 °F), days", "now_ph": "pH now, mean of the bedding",
}  # fmt: skip
DECIMALS = {"start_ph": 1, "buffer": 2, "half_life": 2, "now_ph": 1}
WITH_WEATHER = (
    "With --weather, the temperature to come and the moisture would be those of your fitted bin, and the worms' mass "
    "that of the fitted colony instead of the founders."
)


def sentences(found: Acidity) -> tuple[str, ...]:
    """What was learned, what was not, and how far to believe it."""
    if not found.used:
        return (
            "No pH reading counts: all of this is what is judged beforehand, with what was fed run through it.",
            *_both(found),
        )
    return (*_both(found), *_hardly(found), *_doubt(found))


def ph_now(found: Acidity) -> str:
    """From what the pH of the bedding now is known, and what it is."""
    count = len(found.used)
    fed = f" and {_many(len(found.of.fed), 'feeding')}" if found.of.fed else ""
    if not count:
        return (
            f"No pH is read: the bedding is taken as it usually is and {_many(len(found.of.fed), 'feeding')} "
            f"before this one are run through it, which gives pH {span(found.told['now_ph'].after, 1)} now."
        )
    latest = max(found.used, key=lambda one: one.taken.when.end).taken.when
    return (
        f"The pH of the bedding now is estimated from {_many(count, 'reading')}{fed}, the last reading "
        f"“{show_when(latest)}”: {span(found.told['now_ph'].after, 1)}."
    )


def span(told: Points, places: int) -> str:
    """5 to 95 % rounded outward, with the middle: “6.4 to 7.3 (6.9)”."""
    low, middle, high = told
    tens = 10.0**places
    ends = f"{math.floor(low * tens) / tens:.{places}f} to {math.ceil(high * tens) / tens:.{places}f}"
    return f"{ends} ({middle:.{places}f})"


def _both(found: Acidity) -> tuple[str, ...]:
    told = found.told
    return (
        f"It takes {span(told['buffer'].after, 2)} mol of acid per kg dry and pH (before: "
        f"{span(told['buffer'].before, 2)}); half of the citrate is gone in {span(told['half_life'].after, 2)} days at "
        f"20 °C (68 °F) (before: {span(told['half_life'].before, 2)}).",
        f"Its pH began at {span(told['start_ph'].after, 1)} (before: {span(told['start_ph'].before, 1)}) and is now "
        f"{span(told['now_ph'].after, 1)} on the mean (before: {span(told['now_ph'].before, 1)}).",
    )


def _hardly(found: Acidity) -> tuple[str, ...]:
    names = [name for name in LABEL if not found.learned(name)]
    if not names or not found.settled:
        return ()
    said = {"start_ph": "the pH at the start", "buffer": "what it takes up", "half_life": "how fast citrate goes",
            "now_ph": "the pH now"}  # fmt: skip
    listed = [said[name] for name in names]
    what = listed[0] if len(listed) == 1 else f"{', '.join(listed[:-1])} and {listed[-1]}"
    return (
        f"Hardly learned: {what}; there the range after is that before (more than {100 * LEARNT:.0f} % as wide). "
        "Readings on the days before and after a large sour feeding would tell more.",
    )


def _doubt(found: Acidity) -> tuple[str, ...]:
    if found.settled:
        return ()
    return (
        f"The fit has not settled ({found.effective:.0f} effective sets, one carries {found.largest:.0%} of the "
        "weight): nothing is taken as learned, and its ranges are to be read with doubt.",
    )


def _many(count: int, noun: str) -> str:
    return f"1 {noun}" if count == 1 else f"{count} {noun}s"
