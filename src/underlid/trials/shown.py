"""Figures of a trial as people read them: a margin, an effect, what a bin gave, each with its range and unit."""

from __future__ import annotations

import math

from underlid.quantity.amount import NINETY
from underlid.quantity.units import to_fahrenheit
from underlid.trials.plan import Plan
from underlid.trials.taken import NONE_FOUND, Taken


def margin_words(plan: Plan) -> str:
    """The margin as a range, or the range that is stated."""
    if plan.stated is not None:
        return f"the stated {plain(plan.stated[0])} to {plain(plan.stated[1])} {plan.unit or plan.outcome}"
    if plan.scale == "ratio":
        return f"the margin of {1 / plan.margin:.2g} to {plan.margin:.2g} times"
    warmth = f" ({1.8 * plan.margin:.2g} °F)" if plan.unit == "K" else ""
    return f"the margin of {plan.margin:g} {plan.unit}{warmth} either way"


def effect_words(plan: Plan, ends: tuple[float, float]) -> str:
    """An interval of the effect for people: “0.8 to 1.3 times”."""
    low, high = (math.exp(end) if plan.scale == "ratio" else end for end in ends)
    if plan.scale == "ratio":
        if math.isinf(high):
            return f"{plain(low, 2)} times or more"
        return f"{plain(low, 2)} to {plain(high, 2)} times"
    if math.isinf(low) or math.isinf(high):
        known = f"{_signed(low)} {plan.unit} or more" if math.isfinite(low) else f"{_signed(high)} {plan.unit} or less"
        return known if math.isfinite(low) or math.isfinite(high) else "an unknown amount"
    warmth = f" ({_signed(1.8 * low)} to {_signed(1.8 * high)} °F)" if plan.unit == "K" else ""
    return f"{_signed(low)} to {_signed(high)} {plan.unit}{warmth}"


def amount_words(plan: Plan, ends: tuple[float, float]) -> str:
    """An interval of the outcome itself for people."""
    low, high = (math.exp(end) if plan.scale == "ratio" else end for end in ends)
    if math.isinf(high):
        return f"{plain(low)} {plan.unit}".rstrip() + " or more"
    return f"{plain(low)} to {plain(high)} {plan.unit}".rstrip()


def plain(value: float, digits: int = 3) -> str:
    """A number with so many digits that mean something, and never a power of ten."""
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:.0f}" if abs(rounded) >= 1000 else f"{rounded:.6f}".rstrip("0").rstrip(".")


def effect_sentence(plan: Plan, ends: tuple[float, float]) -> str:
    """What the change did, as the middle of a sentence."""
    effect = effect_words(plan, ends)
    if plan.scale == "ratio":
        there = f"was {effect} as much" if plan.outcome == "live mass" else f"were {effect} as many"
        return f"with “{plan.changed}” there {there} {plan.outcome} as with “{plan.control}”"
    return f"with “{plan.changed}” {plan.outcome} differed by {effect} from “{plan.control}”"


def outcome_words(plan: Plan, one: Taken) -> str:
    """What one bin gave, with its range and how it was had."""
    spread = NINETY * one.noise
    low, high = one.low - spread, one.high + spread
    if plan.scale == "ratio":
        low, high = math.exp(low), math.exp(high)
        how = "estimated" if one.noise else "read"
        if plan.outcome == "live mass":
            return f"{plain(low)} to {plain(high)} kg, {how}"
        if one.noise == 0.0 and (one.low, one.high) == tuple(map(math.log, NONE_FOUND)):
            return "none found, read"
        if math.isinf(high):
            return f"{plain(low)} or more, {how}"
        return f"{high:.0f}, read" if low == high else f"{plain(low)} to {plain(high)}, {how}"
    unit = "°C" if plan.unit == "K" else "pH" if plan.unit == "pH units" else plan.unit
    if math.isinf(high):
        return f"not by {low:.0f} {unit}, read"
    said = f"{high:.3g} {unit}" if low == high else f"{low:.3g} to {high:.3g} {unit}"
    if plan.unit == "K":
        said += f" ({to_fahrenheit(low):.3g} to {to_fahrenheit(high):.3g} °F)"
    return said + (", estimated" if one.noise else ", read")


# --- inside ----------------------------------------------------------------------------------------------


def _signed(value: float) -> str:
    return f"{'-' if value < 0 else '+'}{plain(abs(value), 2)}"
