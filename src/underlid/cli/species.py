"""The command that says what is known of a species, where from, and how far the sources agree."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import JsonOption, console, show_json
from underlid.quantity.units import to_fahrenheit

if TYPE_CHECKING:
    from rich.table import Table

    from underlid.quantity import VagueAmount
    from underlid.worms.facts import Fact, Note, Of, Response
    from underlid.worms.rates import Expected, Span
    from underlid.worms.species import Species

NEVER_DAYS = 3650.0
FREEZES_C = 0.0
DEGREES = re.compile(r"(?<![\w.])(-?[0-9.]+)(?:(-| to )(-?[0-9.]+))? degC")
#: The rates at a temperature: label, field of `Expected`, table of `Species` it comes from, unit.
RATES = (
    ("laying to hatching", "incubation_days", "incubation_days", "days"),
    ("hatching to clitellum", "maturation_weeks", "maturation_days", "weeks"),
    ("cocoons per adult", "cocoons_per_week", "cocoons_per_week", "a week"),
    ("cocoons that hatch in the end", "hatching_share", None, "%"),
)
#: What the time to double takes for granted.
AT_BEST = (
    "At best: held at that temperature, without a cold spell, food and room in excess, young and old in balance.\n"
    "Real bins grow more slowly, as crowding and want of food bind."
)


class NoSpeciesNamed(ValueError):
    """A temperature is given, and no species to say what it does there."""


class EndlessTemperature(ValueError):
    """The bedding temperature has no lower or no upper end."""


def species(
    name: Annotated[str | None, typer.Argument(help="The species, e.g. “E. fetida”; all of them if not given.")] = None,
    at: Annotated[str | None, typer.Option(help="Bedding temperature for the rates, e.g. “12 C” or “50-55 F”.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Say what is known of a species, with ranges and sources; with --at, how fast it breeds at that temperature."""
    from underlid.worms.rates import expected
    from underlid.worms.species import all_species
    from underlid.worms.species import species as facts

    if name is None:
        if at is not None:
            raise NoSpeciesNamed('--at needs a species; write for example: underlid species "E. fetida" --at "12 C".')
        everyone = list(all_species().values())
        show_json([_summary(kind) for kind in everyone]) if as_json else _list(everyone)
        return
    kind = facts(name)
    read = None if at is None else _bedding(at)
    rates = None if read is None else expected(kind, read.low, read.high)
    if as_json:
        show_json(_json(kind, rates))
    elif read is not None and rates is not None:
        _print_rates(kind, rates, read)
    else:
        _print_facts(kind)


def _bedding(words: str) -> VagueAmount:
    """The bedding temperature meant, which must have both ends."""
    from underlid.quantity import parse_amount

    read = parse_amount(words, expect="degC")
    if not (math.isfinite(read.low) and math.isfinite(read.high)):
        raise EndlessTemperature(f"--at {words!r} leaves one end open; give both, such as “10-14 C”.")
    return read


def _summary(kind: Species) -> dict[str, object]:
    return {
        "name": kind.name, "common_name": kind.common_name, "other_names": list(kind.other_names),
        "tolerated_c": list(kind.band_c), "tolerated_at_widest_c": list(kind.widest_band_c),
    }  # fmt: skip


def _json(kind: Species, rates: Expected | None) -> dict[str, object]:
    """Facts and rates as plain JSON types: temperatures in degC; null where nothing is known, or without end."""
    from underlid.worms.facts import Fact, Note, Response
    from underlid.worms.growth import growths

    def fact(one: Fact | Note) -> dict[str, object]:
        found = asdict(one)
        return {"source": found.pop("cited"), **found}

    facts: dict[str, object] = {}
    for key, of, what in kind.known():
        told: dict[str, object] = {"label": of.label, "unit": of.unit}
        if isinstance(what, Response):
            told["at"] = [{"bedding_c": at, **fact(one)} for at, one in zip(what.at_c, what.facts, strict=True)]
        elif isinstance(what, Fact | Note):
            told |= fact(what)
        facts[key] = told if what is not None else None
    result = {**_summary(kind), "facts": facts, "growth": [asdict(one) for one in growths(kind.name)]}
    return result if rates is None else {**result, "rates": _rates_json(kind, rates)}


def _rates_json(kind: Species, rates: Expected) -> dict[str, object]:
    from underlid.worms.projection import doubling_days

    def span(one: Span) -> dict[str, float | None]:
        return {end: x if math.isfinite(x) else None for end, x in asdict(one).items()}

    return {
        "bedding_c": [rates.low_c, rates.high_c], "provenance": "predicted",
        **{field: span(getattr(rates, field)) for _, field, _, _ in RATES},
        "doubling_days_at_best": span(doubling_days(kind, rates.low_c, rates.high_c)),
        "beyond_the_sources": list(rates.beyond),
    }  # fmt: skip


def _list(everyone: list[Species]) -> None:
    table = _table("species", "also called", "lives in bedding of")
    for kind in everyone:
        band = f"{_celsius(*kind.band_c)}; at the widest {_celsius(*kind.widest_band_c)}"
        table.add_row(kind.name, ", ".join(kind.other_names), band)
    _show(table)
    print('For what is known of one, with sources: underlid species "E. fetida"; its rates: add --at "12 C".')


def _print_facts(kind: Species) -> None:
    from underlid.worms.facts import Fact, Note, Response

    print(f"{kind.name} ({kind.common_name}): as published, best value and range.")
    table, notes, conflicts = _table("fact", "value (range)", "source"), [], []
    for _, of, what in kind.known():
        match what:
            case None:
                table.add_row(of.label, "not known", "")
            case Fact():
                table.add_row(of.label, _value(what, of), _source(what))
                conflicts += [of.label] * what.conflict
            case Response():
                for cells in _by_temperature(of, what):
                    table.add_row(*cells)
                conflicts += [of.label] * any(one.conflict for one in what.facts)
            case Note():
                notes.append((of.label, what))
    _show(table)
    for label, note in notes:
        print(f"{label.capitalize()}. {_both(note.text)} Source: {_both(note.source)}.")
    for line in _growth(kind):
        print(line)
    if conflicts:
        print(f"Sources conflict on: {'; '.join(conflicts)}. The ranges hold what each says.")
    print("Seen second-hand: quoted elsewhere. Recalled: not re-read. Judgement: ours, or common practice.")


def _by_temperature(of: Of, table: Response) -> Iterator[tuple[str, str, str]]:
    """A row for each temperature; a source that several share is said once."""
    rows = zip(table.at_c, table.facts, strict=True)
    for source, alike in groupby(rows, key=lambda row: _source(row[1])):
        for i, (at_c, fact) in enumerate(alike):
            yield f"{of.label}, at {_celsius(at_c)}", _value(fact, of), "same" if i else source


def _growth(kind: Species) -> Iterator[str]:
    from underlid.worms.growth import growths

    for one in growths(kind.name):
        yield (
            f"Growth on {one.series.food} at {_celsius(one.series.bedding_c)}: half of {one.final_g:.2g} g after "
            f"{one.bend_days:.0f} days (estimated: a curve that misses the published masses by {one.misfit_g:.1g} g, "
            f"root mean square; {one.series.source}). Single, well-fed animals."
        )


def _print_rates(kind: Species, rates: Expected, read: VagueAmount) -> None:
    from underlid.quantity import show_amount

    print(f"{kind.name} in bedding of {show_amount(read)}, taken as {_celsius(rates.low_c, rates.high_c)}:")
    print("predicted, between published temperatures, with the spread of the sources; food and room enough.")
    for flag in read.flags:
        print(f"  {flag}")
    table = _table("", "best", "range", "source")
    for label, field, source, unit in RATES:
        span = getattr(rates, field)
        facts = getattr(kind, source).near(rates.low_c, rates.high_c) if source else (kind.hatching_share,)
        told = "; ".join(dict.fromkeys(_source(fact) for fact in facts))
        table.add_row(label, _amount(span.value, unit), _between(span, unit), told)
    table.add_row(*_doubling(kind, rates))
    _show(table)
    print(AT_BEST)
    labels = {source: label for label, _, source, _ in RATES}
    if rates.beyond:
        beyond = ", ".join(labels[name] for name in rates.beyond)
        print(f"No source reaches that temperature for: {beyond}. There the way to the limit is our judgement.")
    print(f"It tolerates {_celsius(*kind.band_c)}; at the widest, {_celsius(*kind.widest_band_c)}.")
    if rates.low_c <= FREEZES_C:
        print(_both(f"{kind.adults_in_frost.text} {kind.cocoons_in_frost.text}"))


def _doubling(kind: Species, rates: Expected) -> tuple[str, str, str, str]:
    """The row of how long numbers take to double at best, and what that rests on beside the rows above it."""
    from underlid.worms.projection import doubling_days
    from underlid.worms.rates import YOUNG_DEATHS, Span, life_span

    days = doubling_days(kind, rates.low_c, rates.high_c)
    weeks = Span(days.value / 7, days.low / 7, days.high / 7)
    rests_on = (
        f"predicted from the rows above and {kind.hatchlings_per_cocoon.value:g} hatchlings a cocoon: "
        f"{_source(kind.hatchlings_per_cocoon)}; a life span of {life_span(kind).value:g} years: "
        f"{_source(life_span(kind))}; {100 * YOUNG_DEATHS.value:g} % of the young dying a day: {_source(YOUNG_DEATHS)}"
    )
    return "doubles in number, at best", _amount(weeks.value, "weeks"), _between(weeks, "weeks"), rests_on


def _amount(x: float, unit: str) -> str:
    if {"days": x, "weeks": 7 * x}.get(unit, 0.0) > NEVER_DAYS:
        return "not within 10 years"
    return f"{_number(100 * x if unit == '%' else x, 2)} {unit}"


def _between(span: Span, unit: str) -> str:
    low, high = _amount(span.low, unit), _amount(span.high, unit)
    if low == high:
        return low
    return f"{low.removesuffix(f' {unit}')} to {high}" if high.endswith(unit) else f"{low}, or {high}"


def _value(fact: Fact, of: Of) -> str:
    if of.unit == "degC":
        return f"{_celsius(fact.value)}; {_celsius(fact.low, fact.high)}"
    if of.at_most == 1:  # a share
        value, low, high = (_number(100 * x) for x in (fact.value, fact.low, fact.high))
        return f"{value} % ({low} to {high} %) {of.unit}"
    return f"{_number(fact.value)} ({_number(fact.low)} to {_number(fact.high)}) {of.unit}".rstrip()


def _source(fact: Fact) -> str:
    return f"{'Sources conflict. ' if fact.conflict else ''}{_both(fact.source)}"


def _celsius(*ends_c: float) -> str:
    """One temperature, or the two ends of a range, on both scales."""
    in_c, in_f = (
        " to ".join(_number(x, digits) for x in ends)
        for ends, digits in ((ends_c, 3), ([round(to_fahrenheit(end)) for end in ends_c], 3))
    )
    return f"{in_c} °C ({in_f} °F)"


def _both(text: str) -> str:
    """The text of a fact with every temperature on both scales."""

    def told(found: re.Match[str]) -> str:
        return _celsius(*(float(end) for end in found.group(1, 3) if end is not None))

    return DEGREES.sub(told, text)


def _number(x: float, digits: int = 3) -> str:
    """A number to so many digits, whole ones in full, with a true minus sign."""
    shown = f"{x:.0f}" if abs(x) >= 10 ** (digits - 1) else f"{x:.{digits}g}"
    return shown.replace("-", "−")


def _table(*columns: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def _show(table: Table) -> None:
    console().print(table)
