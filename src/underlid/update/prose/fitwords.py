"""The words of a check of the fit: the verdict first, then what to look at, and what the check cannot show."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from underlid.fit.leftout import Predicted
from underlid.fit.predictive import Check, Group, Predictive
from underlid.quantity.show import show_amount
from underlid.update.facts import Range
from underlid.update.prose import phrases
from underlid.update.prose.words import PARAMETERS

NB = phrases.NB
PLACES = {
    "middle": "in the middle",
    "edge": "at the edge",
    "surface": "near the surface",
    "not noted": "without a place",
}
#: What to look at where a parameter was pushed to the end of what was thought possible.
LOOK_AT = {
    "bias": "hold the thermometer in melting ice, which is 0 °C (32 °F), and check the unit of the readings",
    "lag": "leave the thermometer in until it has settled before you read it",
    "scatter": "note the place and depth of every reading, and check the weather’s place and time zone",
    "heat": "check that what was fed is noted, and the weather’s place",
    "moisture": "squeeze a handful and note how wet it is",
}
LOOK_AT_BIN = "check the bin’s size, walls and place as they are noted, and the weather’s place"


def verdict(found: Predictive) -> str:
    """Whether model and readings agree, in one sentence."""
    if not found.readings:
        return "No reading has been used yet, so there is nothing to check the model against."
    counted, wrong = held(found.inside, len(found.readings)), _wrong(found)
    if wrong:
        more = f", and {phrases.count(len(wrong) - 1, 'more thing')} below" if len(wrong) > 1 else ""
        return f"The model and the readings do not agree: {wrong[0][0]}{more}. Of all readings, {counted}."
    if found.few:
        return f"Too few readings to tell: {counted}. Nothing speaks against the model, and little speaks for it."
    return f"The model and the readings agree: {counted}."


def held(inside: Check, count: int) -> str:
    """ "19 of 21 lie in their 90 % range (expected 19; 16 to 21 by luck)"."""
    verb = "lies in its" if count == 1 else "lie in their"
    luck = phrases.ends(inside.low, inside.high)
    share = f"{phrases.number(inside.value, 0)} of {count} {verb} 90{NB}% range"
    return f"{share} (expected {phrases.number(0.9 * count, 0)}; {luck} by luck)"


def problems(found: Predictive) -> tuple[str, ...]:
    """What luck does not explain, each with what to look at."""
    return tuple(
        f"{what[0].upper()}{what[1:]}: {look_at}{'' if look_at.endswith('?') else '.'}"
        for what, look_at in _wrong(found)
    )


def _wrong(found: Predictive) -> list[tuple[str, str]]:
    """What is wrong, and what to look at."""
    said = []
    drift, mean, spread = found.drift_k, found.residual_k, found.spread
    if drift is not None and not drift.agrees:
        way = "warmer" if drift.value > 0 else "colder"
        said.append(
            (
                f"as time goes on the readings grow {way} than the model, by {_size(drift.value)} in thirty days "
                f"({_luck_k(drift)} by luck)",
                "the bin has changed, or the thermometer; was it moved, wrapped or topped up, or has its food run out?",
            )
        )
    if mean is not None and not mean.agrees:
        what = f"on average the readings lie {_side(mean.value)} the model ({_luck_k(mean)} by luck)"
        said.append((what, f"{LOOK_AT['bias']}, and the weather’s place"))
    for group in found.places if len(found.places) > 1 else ():
        if not group.residual_k.agrees:
            size, luck = _side(group.residual_k.value), _luck_k(group.residual_k)
            what = f"readings {PLACES[group.name]} lie {size} the model on average ({luck} by luck)"
            said.append((what, "check where the thermometer goes, and how deep"))
    if found.inside.value < found.inside.low or spread.value > spread.high:
        said.append(
            (
                f"the readings scatter {spread.value:.1f} times as far as the ranges say ({_luck(spread)} by luck)",
                "look at the surprises for slips, places mixed up, or an hour off",
            )
        )
    for name, side in found.stretched:
        if name == "scatter" and found.misfit:
            continue  # the same thing, said next
        what = (
            f"to meet the readings, the fit has pushed {PARAMETERS[name][2]} to the {'upper' if side > 0 else 'lower'}"
        )
        said.append((f"{what} end of what was thought possible", LOOK_AT.get(name, LOOK_AT_BIN)))
    if found.misfit:
        said.append(
            (
                "the fit can only explain these readings by slips, or by spots that stray far from the model",
                "check the weather’s place, units and time zone, and the bin’s description",
            )
        )
    return said


def remarks(found: Predictive) -> tuple[str, ...]:
    """What should be known beside the verdict."""
    said = []
    if found.readings and not found.trusted:
        said.append("The fit has not settled: read all of this with doubt.")
    if found.readings and found.spread.value < found.spread.low:
        said.append(
            "The readings lie closer to the model than its ranges allow for: the ranges are wider than they need be, "
            "or the words were taken as vaguer than they were meant."
        )
    if found.seen:
        alone = found.seen == 1
        said.append(
            f"{phrases.count(found.seen, 'reading').capitalize()} {'weighs' if alone else 'weigh'} so much in the fit "
            f"that the others alone cannot stand in: {'it is' if alone else 'they are'} judged by a fit that has seen "
            f"{'it' if alone else 'them'}, which is kinder."
        )
    return tuple(said)


def limits(found: Predictive, typical: bool) -> tuple[str, ...]:
    """What the check does not show."""
    said = []
    if typical:
        said.append(
            "The weather is a typical year, not the air of those days: with real readings, surprises may be the "
            "weather’s and not the bin’s."
        )
    if found.residual_k is not None:
        count = phrases.count(len(found.temperatures), "temperature")
        steady = _limit(max(found.residual_k.high, -found.residual_k.low))
        drift = ""
        if found.drift_k is not None:
            drift = f", nor a drift below {_limit(max(found.drift_k.high, -found.drift_k.low))} in thirty days"
        said.append(f"With {count}, a steady error below {steady} would not show{drift}: luck alone does as much.")
    said += [
        "An error that the fit can take up leaves no trace here. A thermometer that always reads a little too high "
        "looks like a slightly warmer bin; only melting ice can tell.",
        "Places and hours without a reading are not tested. If you look in by day, the coldest hours of the night rest "
        "on the model.",
        "Agreement says that the model is good enough for these readings, not that it is right about anything else, "
        "and nothing here tests a forecast.",
    ]
    return tuple(said)


def left_over(found: Predictive) -> str:
    """The mean residual of the temperatures and its drift, each beside what luck does."""
    if found.residual_k is None:
        return ""
    said = f"On average {signed(found.residual_k.value)}, by luck {_luck_k(found.residual_k)}."
    if found.drift_k is not None:
        said += f" In thirty days it changes by {signed(found.drift_k.value)}, by luck {_luck_k(found.drift_k)}."
    return f"{said} Spread {found.spread.value:.1f} times what was expected, by luck {_luck(found.spread)}."


def surprises(found: Predictive) -> str:
    """How many surprises there are, how many there would be by chance, and how many readings count in part."""
    count, straddle = len(found.surprises), sum(0 < one.inside < 1 for one in found.readings)
    said = f"No reading lies wholly outside its 90{NB}% range."
    if count:
        by_luck = max(1, round(0.1 * len(found.readings)))
        said = (
            f"{phrases.count(count, 'reading').capitalize()} {'lies' if count == 1 else 'lie'} wholly outside. Of "
            f"{len(found.readings)} exact ones about {_spelled(by_luck)} would by chance."
        )
    if straddle:
        lie, counts = ("lies", "counts") if straddle == 1 else ("lie", "count")
        across = phrases.count(straddle, "vague reading").capitalize()
        said += f" {across} {lie} across an end of the range and {counts} in part."
    return said


def surprise(one: Predicted) -> str:
    """By how much a reading surprises."""
    warm = one.reading.quantity == "temperature"
    size = phrases.gap(abs(one.gap)) if warm else f"{phrases.number(abs(one.gap), 0)}{NB}points"
    way = ("warmer" if warm else "wetter") if one.gap > 0 else ("colder" if warm else "drier")
    return f"{way} by {size}, {odds(one.chance)}"


def odds(chance: float) -> str:
    """A small chance as "1 in 50"."""
    if chance >= 0.5:
        return "as likely as not"
    if chance < 0.001:
        return "less than 1 in 1000"
    return f"1 in {phrases.number(float(f'{1 / chance:.1g}') if chance < 0.1 else 1 / chance, 0)}"


def expected(one: Predicted) -> str:
    """The 90 % range of what would be noted."""
    low, middle, high = one.expected
    if one.reading.quantity == "temperature":
        return phrases.temperature_range(Range(low, middle, high, "degC", "estimated"))
    return phrases.plain_range(Range(low, middle, high, "%", "estimated"), "%", 1.0)


def noted(one: Predicted) -> str:
    """The reading itself."""
    return phrases.interval(one.reading.amount)


def spot(one: Predicted) -> str:
    """Where it was taken."""
    deep = one.reading.depth
    place = one.reading.place
    return f"{place}, {show_amount(deep)} deep" if deep is not None and deep.kind != "not noted" else place


def group(found: Group) -> tuple[str, str, str, str]:
    """A row of the table by place or month: name, how many in range, mean residual, its luck."""
    months = len(found.name) == 7 and found.name[4] == "-"
    name = f"{datetime.strptime(found.name, '%Y-%m').replace(tzinfo=UTC):%B %Y}" if months else found.name
    inside = f"{phrases.number(found.inside.value, 0)} of {found.count}"
    return (
        "place not noted" if name == "not noted" else name,
        f"{inside} (by luck {phrases.ends(found.inside.low, found.inside.high)})",
        signed(found.residual_k.value),
        _luck_k(found.residual_k),
    )


def signed(kelvin: float) -> str:
    """A difference with its sign: "+0.3 °C (+0.5 °F)"."""
    shown = [f"{value:+.1f}".replace("-", "−") for value in (kelvin, 1.8 * kelvin)]
    parts = ["0" if part[1:] == "0.0" else part for part in shown]
    return f"{parts[0]}{NB}°C ({parts[1]}{NB}°F)"


def zone(found: Predictive) -> ZoneInfo:
    """The bin's time zone."""
    return ZoneInfo(found.timezone)


def _luck(check: Check) -> str:
    return phrases.ends(round(check.low, 1), round(check.high, 1))


def _luck_k(check: Check) -> str:
    return phrases.difference_range(Range(check.low, check.value, check.high, "K", "estimated"))


def _size(kelvin: float) -> str:
    """A measured difference without its sign, to the nearest tenth, or hundredth where a tenth would hide it."""
    places = 1 if abs(kelvin) >= 0.05 else 2
    return f"{phrases.number(abs(kelvin), places)}{NB}°C ({phrases.number(1.8 * abs(kelvin), places)}{NB}°F)"


def _limit(kelvin: float) -> str:
    """What a difference must exceed to show, rounded up."""
    in_c, in_f = (math.ceil(10 * abs(value) - 1e-9) / 10 for value in (kelvin, 1.8 * kelvin))
    return f"{phrases.number(in_c)}{NB}°C ({phrases.number(in_f)}{NB}°F)"


def _side(kelvin: float) -> str:
    return f"{_size(kelvin)} {'above' if kelvin > 0 else 'below'}"


def _spelled(count: int) -> str:
    return phrases.SMALL[count] if count < len(phrases.SMALL) else str(count)
