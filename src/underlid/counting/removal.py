"""The same bedding sorted several times: what each pass still finds says how much is left.

Every estimate takes each animal to have the same chance of being found in every pass. Small pale animals have less:
then the later passes are left with the hard ones, and the number comes out too low.

Moran (1951) and Zippin (1956, 1958) for equal passes; Carle and Strub (1978) for the weighted likelihood; Seber
(1982), "The estimation of animal abundance", for two and three passes; Leslie and Davis (1939) for unequal ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, gammaln

from underlid.counting import CannotTell
from underlid.quantity.amount import NINETY

Array = NDArray[np.float64]
Catches = NDArray[np.int64]

LARGEST = 10**7  # animals; where the likelihood still rises here, the catches set no upper end
UNEVEN = 0.05  # chance below which catches are said not to fall as one chance would make them: our judgement


@dataclass(frozen=True, slots=True)
class Removed:
    """Animals there before the first pass.

    number, se : the estimate and its standard error (None where the method gives none)
    chance : of an animal being found in one pass
    low, high : 90 % range; high is inf where the catches set no upper end
    remarks : sentences on what should make one doubt it
    """

    method: str
    found: int
    number: float
    chance: float
    se: float | None = None
    low: float = 0.0
    high: float = math.inf
    remarks: tuple[str, ...] = ()


def zippin(catches: Sequence[int]) -> Removed:
    """The most likely whole number, by the likelihood of Moran (1951) and Zippin (1956), with its likely range.

    The range holds all numbers whose likelihood is within that of a 90 % profile interval.

    Raises CannotTell where the catches do not fall enough for the likelihood to have a peak (Seber and Whale 1970).
    """
    c = _catches(catches)
    k, found = len(c), int(c.sum())
    if not _falls(c):
        raise CannotTell(
            f"The catches {_said(c)} do not fall from pass to pass, so they cannot say how many are left: only that "
            f"there were {found} at least. Go on until a pass finds clearly fewer."
        )
    top = found
    while top < LARGEST and _log_likelihood(np.array([2.0 * top]), c)[0] > _log_likelihood(np.array([top]), c)[0]:
        top *= 2
    low, high = found, 2 * top
    while high > low:  # the likelihood has one peak: halve towards it
        middle = (low + high) // 2
        pair = _log_likelihood(np.array([middle, middle + 1.0]), c)
        low, high = (low, middle) if pair[0] >= pair[1] else (middle + 1, high)
    number = low
    chance = found / (k * number - _early(c))
    best = float(_log_likelihood(np.array([float(number)]), c)[0])
    drop = NINETY**2 / 2
    least, most = _bounds(c, number, best - drop)
    return Removed("Zippin", found, number, chance, _zippin_se(number, chance, k), least, most, _remarks(c, number))


def carle_strub(catches: Sequence[int], alpha: float = 1.0, beta: float = 1.0) -> Removed:
    """The weighted likelihood's number (Carle and Strub 1978), which exists for any catches.

    That it exists is no sign that the catches support it: `zippin` refuses those that do not fall. `alpha` and `beta`
    weigh the chance of being found; 1 and 1 weigh all chances alike.
    """
    c = _catches(catches)
    k, found, early = len(c), int(c.sum()), _early(c)
    pass_ = np.arange(1, k + 1)
    number = found
    while number < LARGEST:
        left = k * number - early
        ratio = (left - found + beta + k - pass_) / (left + alpha + beta + k - pass_)
        if (number + 1) / (number - found + 1) * float(np.prod(ratio)) <= 1:
            break
        number += 1
    chance = found / (k * number - early)
    se = _zippin_se(number, chance, k) if chance < 1 else 0.0
    return Removed("Carle-Strub", found, number, chance, se, found, math.inf, _remarks(c, number))


def two_passes(first: int, second: int) -> Removed:
    """Seber's number from two passes, first²/(first - second).

    Raises CannotTell where the second pass finds as many as the first.
    """
    c = _catches((first, second))
    if second >= first:
        raise CannotTell(
            f"The second pass found {second}, no fewer than the first ({first}): two such passes cannot say how many "
            "are left. Sort a third time."
        )
    number = first**2 / (first - second)
    se = first * second * math.sqrt(first + second) / (first - second) ** 2
    found = int(c.sum())
    return Removed("Seber, two passes", found, number, 1 - second / first, se, *_normal(found, number, se))


def three_passes(first: int, second: int, third: int) -> Removed:
    """Seber's (1982) explicit number from three passes.

    Raises CannotTell where the catches do not fall.
    """
    c = _catches((first, second, third))
    x, y = 2 * first + second, first + second + third
    if not _falls(c):
        raise CannotTell(f"The catches {_said(c)} do not fall from pass to pass, so they cannot say how many are left.")
    root = math.sqrt(y**2 + 6 * x * y - 3 * x**2)
    number = (6 * x**2 - 3 * x * y - y**2 + y * root) / (18 * (x - y))
    chance = (3 * x - y - root) / (2 * x)
    se = _zippin_se(number, chance, 3)
    return Removed("Seber, three passes", y, number, chance, se, *_normal(y, number, se), _remarks(c, number))


def leslie(catches: Sequence[float], effort: Sequence[float], *, ricker: bool = False) -> Removed:
    """Passes of unequal effort (Leslie and Davis 1939): catch per effort falls in a line as the catch adds up.

    `chance` is the share found per unit of effort. Ricker's (1975) variant counts half of a pass's own catch as taken
    already. The standard error is that of the line's crossing (Seber 1982, p. 297-298, recalled).

    Raises CannotTell where the line does not fall, or for fewer than three passes.
    """
    c, f = np.asarray(catches, float), np.asarray(effort, float)
    if len(c) != len(f) or len(c) < 3 or (c < 0).any() or (f <= 0).any() or not c.any():
        raise CannotTell("Passes of unequal effort need three catches at least, and an effort above 0 for each.")
    taken = np.cumsum(c) - c + (c / 2 if ricker else 0.0)
    rate = c / f
    slope, start = np.polyfit(taken, rate, 1)
    if slope >= 0:
        raise CannotTell("The catch for the same effort does not fall as animals are taken out: no number can be told.")
    number = start / -slope
    number, slope = float(number), float(slope)
    spread = float(((rate - start - slope * taken) ** 2).sum()) / (len(c) - 2)
    around = (number - taken.mean()) ** 2 / float(((taken - taken.mean()) ** 2).sum())
    se = math.sqrt(spread * (1 / len(c) + around)) / -slope
    found = int(c.sum())
    name = "Leslie-Davis, Ricker's variant" if ricker else "Leslie-Davis"
    return Removed(name, found, number, -slope, se, *_normal(found, number, se))


# --- inside ----------------------------------------------------------------------------------------------


def _catches(catches: Sequence[int]) -> Catches:
    if len(catches) < 2:
        raise CannotTell("One pass cannot say how many are left; sort the same bedding again.")
    c = np.asarray(catches)
    if (c < 0).any() or (c != np.round(c)).any():
        raise CannotTell(f"Catches are whole numbers, none below 0; these are {_said(c)}.")
    if not c.any():
        raise CannotTell("No pass found an animal, so none of them says how many were overlooked.")
    return np.asarray(c, np.int64)


def _early(c: Catches) -> int:
    """X, the catches each weighed by the passes still to come."""
    return int((np.arange(len(c) - 1, -1, -1) * c).sum())


def _falls(c: Catches) -> bool:
    """Whether the likelihood has a peak at a finite number: X > T(k - 1)/2 (Seber and Whale 1970)."""
    return 2 * _early(c) > int(c.sum()) * (len(c) - 1)


def _log_likelihood(number: Array, c: Catches) -> Array:
    """Log likelihood of whole numbers, the chance of being found at its best for each."""
    number = np.asarray(number, float)
    k, found = len(c), int(c.sum())
    trials = k * number - _early(c)
    missed = trials - found
    seen = found * np.log(found / trials) + missed * np.log(np.where(missed > 0, missed, 1) / trials)
    return np.asarray(gammaln(number + 1) - gammaln(number - found + 1) + seen)


def _bounds(c: Catches, number: int, floor: float) -> tuple[float, float]:
    def inside(n: int) -> bool:
        return bool(_log_likelihood(np.array([float(n)]), c)[0] >= floor)

    low, least = int(c.sum()), number
    while low < least:
        middle = (low + least) // 2
        low, least = (low, middle) if inside(middle) else (middle + 1, least)
    most, out = number, number + 1
    while inside(out):
        if out > LARGEST:
            return float(least), math.inf
        most, out = out, 2 * out
    while out - most > 1:
        middle = (most + out) // 2
        most, out = (middle, out) if inside(middle) else (most, middle)
    return float(least), float(most)


def _zippin_se(number: float, chance: float, k: int) -> float:
    """Zippin (1956): sqrt(N(1 - q^k)q^k / ((1 - q^k)² - (pk)² q^(k-1)))."""
    q = 1 - chance
    below = (1 - q**k) ** 2 - (chance * k) ** 2 * q ** (k - 1)
    return math.sqrt(number * (1 - q**k) * q**k / below) if below > 0 else 0.0


def _normal(found: int, number: float, se: float) -> tuple[float, float]:
    """90 % range on the log of those not found, which never goes below those found (Chao 1987)."""
    left = number - found
    if left <= 0 or se == 0:
        return float(found), max(number, float(found))
    wide = math.exp(NINETY * math.sqrt(math.log1p((se / left) ** 2)))
    return found + left / wide, found + left * wide


def _remarks(c: Catches, number: float) -> tuple[str, ...]:
    """Whether the catches fall as one chance of being found would make them fall: chi-squared on the passes."""
    k = len(c)
    if k < 3:
        return ()
    chance = int(c.sum()) / (k * number - _early(c))
    expected = number * chance * (1 - chance) ** np.arange(k)
    if expected.min() <= 0:
        return ()
    unlike = float(((c - expected) ** 2 / expected).sum())
    if chdtrc(k - 2, unlike) >= UNEVEN:
        return ()
    return (f"The catches {_said(c)} do not fall as one chance of being found would make them: doubt the number.",)


def _said(c: Sequence[float] | Catches) -> str:
    return ", ".join(f"{value:g}" for value in c)
