"""Several looks and several claims: how to keep the chance of a false alarm where it was promised.

Looking five times at 5 % raises a false alarm in about 14 of 100 trials in which nothing happens (Armitage, McPherson
and Rowe 1969, recalled; the tests simulate it).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from underlid.trials.arm import BadValues


def spend(looks: int, alpha: float = 0.05, final_share: float = 0.8) -> tuple[float, ...]:
    """Alpha for each planned look: the last takes `final_share`, the others divide the rest evenly.

    The shares add up to alpha, so that false alarms stay below it whatever the looks have in common (the union bound).
    That is safe and gives away a little power; four fifths for the last look is our judgement.
    """
    if looks < 1 or not 0 < alpha < 1 or not 0 < final_share <= 1:
        raise BadValues(
            f"A plan of {looks} looks, alpha {alpha:g} and a last share of {final_share:g} cannot be: give one look at "
            "least, and alpha and share between 0 and 1."
        )
    if looks == 1:
        return (alpha,)
    return (*[alpha * (1 - final_share) / (looks - 1)] * (looks - 1), alpha * final_share)


def holm(p: Sequence[float]) -> tuple[float, ...]:
    """p adjusted for several claims (Holm 1979), in the order given.

    "All of them are alike" is one claim and needs none of it.
    """
    given = np.asarray(p, float)
    if not ((given >= 0) & (given <= 1)).all():
        raise BadValues("Each p has to lie between 0 and 1.")
    order = np.argsort(given, kind="stable")
    stepped = np.maximum.accumulate(given[order] * np.arange(len(given), 0, -1))
    adjusted = np.empty(len(given))
    adjusted[order] = np.minimum(stepped, 1.0)
    return tuple(adjusted.tolist())


def zero_events_upper(n: int, level: float = 0.95) -> float:
    """Upper bound of a rate when none of n independent bins showed the event: 1 - (1 - level)^(1/n)."""
    if n < 1 or not 0 < level < 1:
        raise BadValues(f"{n} bins at a level of {level:g} set no bound; give one bin at least and a level below 1.")
    return float(1 - (1 - level) ** (1 / n))
