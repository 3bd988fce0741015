"""How fast worms develop and lay at a bedding temperature, from the tables of the species files.

Each rate runs through the published temperatures and through zero at the threshold below and at the highest temperature
tolerated, straight in between: that is the degree-day rule with a slope of its own between each two published values.
It passes through every one of them, never overshoots, and the slow, best and fast curves never cross (smoother ones
through the same values did). A Briere curve would have three coefficients to fit to two to five values, most of them
recalled. Outside the published temperatures the way to zero is our judgement.

How far a strain, its food and its crowding move a rate is one number for the whole curve, `ease`: 0 is the best value,
and -1.645 and 1.645, the 5 % and 95 % points of a standard normal, are the slow and fast ends of the published spread.
It is a log-normal factor with an arm of its own to each side; thresholds move within their spread and not beyond.

    >>> from underlid.worms.species import species
    >>> 1 / rates(species("E. fetida")).incubation([15.0, 25.0])
    array([50., 22.])
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.worms.facts import Fact, Response
from underlid.worms.species import Species

FAST_END = 1.6448536269514722  # of a standard normal, 95 % lie below

COCOON_STEPS = 8  # of equal pace from laying to hatching: times scatter by 35 % of their mean, our judgement
YOUNG_STEPS = 16  # from hatching to clitellum: by 25 %, our judgement

#: Life span [years] where none is known of a species.
LIFE_SPAN_YEARS = Fact(1.5, 1.0, 5.0, "as Eisenia fetida, nothing found for this species", "judgement")
#: Deaths of young [1/day] with food and room in excess: a fifth of them within two months.
YOUNG_DEATHS = Fact(0.004, 0.002, 0.008, "no source", "judgement")


@dataclass(frozen=True, slots=True)
class Curve:
    """A rate [1/day] against bedding temperature [degC]: zero at both ends and outside."""

    at_c: tuple[float, ...]
    per_day: tuple[float, ...]

    def __call__(self, bedding_c: ArrayLike) -> NDArray[np.float64]:
        """The rate [1/day] at bedding temperatures of any shape."""
        return np.asarray(np.interp(np.asarray(bedding_c, dtype=np.float64), self.at_c, self.per_day))


@dataclass(frozen=True, slots=True)
class Rates:
    """Share of incubation, and of the way from hatching to clitellum, gone in a day; cocoons per adult and day."""

    incubation: Curve
    maturation: Curve
    laying: Curve


@dataclass(frozen=True, slots=True)
class Span:
    """A predicted amount with its range; without end (inf) where the rate is zero."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What the rates come to at a bedding temperature that is known from `low_c` to `high_c`.

    `beyond` names the tables that say nothing there, by their fields in `Species`.
    """

    low_c: float
    high_c: float
    incubation_days: Span
    maturation_weeks: Span
    cocoons_per_week: Span
    hatching_share: Span
    beyond: tuple[str, ...]


def rates(kind: Species, ease: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Rates:
    """The curves of a species; `ease` is that of incubation, maturation and laying."""
    incubation, maturation, laying = ease
    starts, stops = kind.develops_above_c, kind.tolerated_high_c
    return Rates(
        _curve(kind.incubation_days, starts, stops, incubation, as_days=True),
        _curve(kind.maturation_days, starts, stops, maturation, as_days=True),
        _curve(kind.cocoons_per_week, kind.lays_above_c, stops, laying, as_days=False),
    )


def appetite(kind: Species, ease: float = 0.0) -> Curve:
    """Food eaten as a share of live mass a day, as given: nothing below where they feed, nor above what they bear."""
    eats = kind.eaten_per_mass_day
    at_c = (kind.active_above_c.value, *eats.at_c, kind.tolerated_high_c.value)
    return Curve(at_c, (0.0, *(eased(fact, ease) for fact in eats.facts), 0.0))


def draw(kind: Species, rng: np.random.Generator) -> Rates:
    """Curves as they might be for one population: each rate eased on its own, by a standard normal."""
    incubation, maturation, laying = rng.standard_normal(3)
    return rates(kind, (float(incubation), float(maturation), float(laying)))


def eased(fact: Fact, ease: float) -> float:
    """A positive fact moved along its spread on the log scale: low at -1.645, high at 1.645, unbounded beyond."""
    end = fact.high if ease > 0 else fact.low
    return fact.value * float((end / fact.value) ** (abs(ease) / FAST_END))


def life_span(kind: Species) -> Fact:
    """Life span [years], a usual one where the species has none of its own."""
    return kind.life_span_years or LIFE_SPAN_YEARS


def hatching_share(kind: Species, bedding_c: ArrayLike, ease: float = 0.0) -> NDArray[np.float64]:
    """Share of cocoons that hatch, at bedding temperatures [degC] of any shape.

    The published share up to the warmest incubation known, from there straight down to none at the limit: that there
    is a decline is known, its shape is our judgement. In the cold development is slow, not deadly: no end is set there.
    """
    warmest, limit = kind.incubation_days.at_c[-1], moved(kind.no_hatching_above_c, ease)
    left = np.clip((limit - np.asarray(bedding_c, dtype=np.float64)) / (limit - warmest), 0.0, 1.0)
    return np.asarray(min(eased(kind.hatching_share, ease), 1.0) * left)


def expected(kind: Species, low_c: float, high_c: float) -> Expected:
    """What the rates come to at a bedding temperature known from `low_c` to `high_c` [degC].

    Best values are those at the middle; ranges cover the published spread at every temperature between.
    """
    at_c = np.linspace(low_c, high_c, 41)
    middle = at_c[20]
    best, slow, fast = (rates(kind, (ease,) * 3) for ease in (0.0, -FAST_END, FAST_END))
    with np.errstate(divide="ignore"):  # a rate of zero takes for ever
        incubation, maturation = (
            Span(float(1 / mid(middle)), float((1 / quick(at_c)).min()), float((1 / dull(at_c)).max()))
            for mid, dull, quick in (
                (best.incubation, slow.incubation, fast.incubation),
                (best.maturation, slow.maturation, fast.maturation),
            )
        )
    laid = [7 * curve(at_c) for curve in (best.laying, slow.laying, fast.laying)]
    hatched = [hatching_share(kind, at_c, ease) for ease in (0.0, -FAST_END, FAST_END)]
    tables = ("incubation_days", "maturation_days", "cocoons_per_week")
    return Expected(
        low_c,
        high_c,
        incubation,
        Span(maturation.value / 7, maturation.low / 7, maturation.high / 7),
        Span(float(laid[0][20]), float(laid[1].min()), float(laid[2].max())),
        Span(float(hatched[0][20]), float(hatched[1].min()), float(hatched[2].max())),
        tuple(name for name in tables if _outside(getattr(kind, name), low_c, high_c)),
    )


def _outside(table: Response, low_c: float, high_c: float) -> bool:
    return low_c < table.at_c[0] or high_c > table.at_c[-1]


def moved(limit: Fact, ease: float) -> float:
    """A threshold moved along its spread, and not beyond."""
    part = min(abs(ease) / FAST_END, 1.0)
    return limit.value + part * ((limit.high if ease > 0 else limit.low) - limit.value)


def _curve(table: Response, starts: Fact, stops: Fact, ease: float, *, as_days: bool) -> Curve:
    """A curve through a table of days or of cocoons a week; a higher ease is always faster, so fewer days."""
    inside = (1 / eased(fact, -ease) if as_days else eased(fact, ease) / 7 for fact in table.facts)
    at_c = (moved(starts, -ease), *table.at_c, moved(stops, ease))
    return Curve(at_c, (0.0, *inside, 0.0))
