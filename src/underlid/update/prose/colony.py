"""A reckoning of the colony in sentences: each figure with its range, what it rests on, and no more than it bears."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from underlid.fit.reckoning import COLD_C, WARM_C, WEEK, Points, Reached, Reckoning
from underlid.fit.tally import Tally
from underlid.quantity.units import to_fahrenheit
from underlid.records import SampleCount
from underlid.update.prose.phrases import chance, count, number

SURE = 0.95  # a chance this near to 1 or 0 is told as one that leaves little doubt: our judgement


def rests_on(counted: Tally, founders: str, readings: int) -> str:
    """What the figures rest on."""
    samples = sum(isinstance(entry, SampleCount) for entry in counted.entries)
    seen = len(counted.entries) - samples
    said = [count(samples, "sample") if samples else "", count(seen, "sighting") if seen else ""]
    heard = " and ".join(part for part in said if part) or "no count or sighting"
    return (
        f"estimated from {heard}, {founders} founders, bedding fitted to {count(readings, 'reading')} and the weather, "
        "and published rates"
    )


def sentences(told: Reckoning, tz: ZoneInfo, ends: int) -> tuple[tuple[str, str], ...]:
    """Question and answer, one pair for each that a keeper asks; `ends` is the last day looked at [s]."""
    return (
        ("Alive?", _alive(told)),
        ("Young in the cold?", _bred(told)),
        ("Twice as many?", _when(told.doubles, "there are twice as many worms as now", tz, ends)),
        ("Crowded?", _crowded(told)),
        ("How much to feed?", _eats(told)),
        ("Eaten through?", _eaten_through(told, tz, ends)),
        ("What did the cold cost?", _cost(told)),
    )


def between(points: Points, unit: str = "") -> str:
    """ "3 to 12 (about 6)"; ends and middle to two figures."""
    low, middle, high = (rounded(value) for value in points)
    tail = f" {unit}" if unit else ""
    return f"{low}{tail}" if low == high else f"{low} to {high}{tail} (about {middle})"


def animals(points: Points) -> str:
    """The same of whole animals, or days."""
    low, middle, high = (number(float(f"{value:.3g}"), 0) for value in points)
    return low if low == high else f"{low} to {high} (about {middle})"


def rounded(value: float) -> str:
    """Two figures, and no more than one decimal."""
    return number(round(float(f"{value:.2g}"), 1), 1)


# --- inside ----------------------------------------------------------------------------------------------


def _degrees(bedding_c: float) -> str:
    return f"{bedding_c:.0f} °C ({to_fahrenheit(bedding_c):.0f} °F)"


def _alive(told: Reckoning) -> str:
    left = (
        f"Estimated: the chance that worms live there now is {chance(told.alive)}, and {chance(told.pair)} that there "
        "are two adults or more."
    )
    if told.alive >= SURE:
        return left
    return (
        f"{left} Do not give the bin up on that alone: cocoons may hatch when it is warmer, and what frost does to "
        "worms is not well known."
    )


def _bred(told: Reckoning) -> str:
    bred = told.breeding
    if bred.days[2] < 1:
        return f"The bedding has had no day below {_degrees(COLD_C)} yet."
    cold = f"On {animals(bred.days)} days so far the bedding was below {_degrees(COLD_C)} on the day's mean."
    laid = (
        f"Chance that any cocoon was laid then {chance(bred.chance_laid)}, {animals(bred.laid)} of them; that any "
        f"hatched {chance(bred.chance_hatched)}, into {animals(bred.hatched)} young"
    )
    before = (
        f"before anything was counted the chances were {chance(bred.before_laid)} and {chance(bred.before_hatched)}"
    )
    moved = max(abs(bred.chance_laid - bred.before_laid), abs(bred.chance_hatched - bred.before_hatched))
    rest = (
        "so what was counted and seen has told something of it"
        if moved > 0.1
        else "so the answer rests on published rates"
    )
    return f"{cold} {laid}; {before}, {rest}. It is possible here, which does not make it so in general."


def _when(found: Reached, what: str, tz: ZoneInfo, ends: int) -> str:
    until = f"by {_day(ends, tz)}, where this outlook ends"
    if found.time_utc is None:
        return f"Predicted: {what} in none of the draws {until}."
    early, usual, late = (_day(second, tz) for second in found.time_utc)
    span = f"between {early} and {late}, most likely about {usual}" if early != late else f"on {early}"
    if found.chance >= SURE:
        return f"Predicted: {what} {span}."
    return f"Predicted: the chance {until}, is {chance(found.chance)}; in those draws {what} {span}."


def _crowded(told: Reckoning) -> str:
    low, _, high = (1000 * value for value in told.usual_kg_m2)
    grams: Points = tuple(1000 * value for value in told.density_kg_m2)  # type: ignore[assignment]
    state = (
        "crowded"
        if told.crowded > SURE
        else "not crowded"
        if told.crowded < 1 - SURE
        else f"crowded with a chance of {chance(told.crowded)}"
    )
    return (
        f"{between(grams, 'g')} of live worms on a square metre, where beds usually hold {rounded(low)} to "
        f"{rounded(high)} g: {state}."
    )


def _eats(told: Reckoning) -> str:
    if told.eats_kg is None:
        return f"The weather ends less than {WEEK} days from now, so it cannot be told."
    grams: Points = tuple(1000 * value for value in told.eats_kg)  # type: ignore[assignment]
    return (
        f"Predicted: in the next {WEEK} days they can eat {between(grams, 'g')} of food as it is given, bedding "
        "included. Give less than that, and wait until it is gone."
    )


def _eaten_through(told: Reckoning, tz: ZoneInfo, ends: int) -> str:
    grams: Points = tuple(1000 * value for value in told.casts_kg)  # type: ignore[assignment]
    ripe = _when(told.harvest, "half of what was laid and fed has become casts", tz, ends)
    return f"{between(grams, 'g')} of casts (dry) so far, by what worms ate alone. {ripe}"


def _cost(told: Reckoning) -> str:
    low, middle, high = told.cold_cost
    # What is fewer, or more, is told as such only where nearly all draws agree.
    if low > 0:
        some = f"there are {animals(told.cold_cost)} fewer than that"
    elif high < 0:
        some = f"there are {animals((-high, -middle, -low))} more than that"
    else:
        some = f"whether there are fewer than that is open, from {rounded(-low)} more to {rounded(high)} fewer"
    return (
        f"In bedding held at {_degrees(WARM_C)} from the first day, with the same founders and food, there would now "
        f"be {animals(told.warm)} worms by the same rates (estimated): {some}."
    )


def _day(second: int, tz: ZoneInfo) -> str:
    moment = datetime.fromtimestamp(second, tz)
    return f"{moment.day} {moment:%b %Y}"
