"""The recipe command: what to mix for a new bin from what is at hand, how sure that is, and what to heed."""

from __future__ import annotations

import math
import re
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import (
    DEFAULT_JOURNAL,
    JournalOption,
    JsonOption,
    NotOneOf,
    SeedOption,
    console,
    show_json,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from rich.table import Table

    from underlid.bedding.materials import Material
    from underlid.bedding.recipe import Points, Recipe, Spread, Stock, Wish
    from underlid.quantity import VagueAmount
    from underlid.worms.species import Species

WIDTH = 110  # columns where the answer is not shown on a terminal
PLENTY = {"", "plenty", "plenty of", "lots", "lots of", "enough", "any amount", "as much as needed", "all i need"}
SQUEEZE = (
    "Add two thirds of the water, mix, wait an hour and squeeze a handful: it should feel like a wrung-out sponge and "
    "give a few drops. Then add the rest little by little."
)
GENERAL = (
    "Wash your hands afterwards, keep what is dusty moist while you handle it, and follow local rules first.",
    "Let the mix stand a week or two: put the worms in only once it no longer warms up and smells of earth.",
)


class NoSize(ValueError):
    """Neither the size of the bin nor its litres are given, or both."""


class OpenEnd(ValueError):
    """A range has no lower or no upper end."""


def recipe(
    have: Annotated[
        str,
        typer.Option(help="What is at hand, e.g. “leaves 40 L, old horse manure 2 buckets, cardboard plenty”."),
    ],
    size: Annotated[str | None, typer.Option(help="Inside size of the bin, e.g. “17 x 12 x 11 in”.")] = None,
    litres: Annotated[str | None, typer.Option(help="Instead of the size: what the bin holds, e.g. “40 L”.")] = None,
    moisture: Annotated[str, typer.Option(help="Moisture you wish for, % of wet mass.")] = "70-80 %",
    carbon_nitrogen: Annotated[str, typer.Option("--cn", help="C:N you wish for, carbon to nitrogen.")] = "25-35",
    air: Annotated[str, typer.Option(help="Free air space you wish for, % of volume.")] = "35-60 %",
    depth: Annotated[
        str | None, typer.Option(help="Depth of bedding, e.g. “7-8 in”; 60-80 % of the height if not given.")
    ] = None,
    containers: Annotated[
        list[str] | None,
        typer.Option("--container", help="A container of yours, e.g. “bucket 10 L”, beside those in the journal."),
    ] = None,
    materials: Annotated[
        Path | None, typer.Option(help="Your own values for materials: TOML in the form of ours, only what differs.")
    ] = None,
    species: Annotated[str, typer.Option(help="Species, for how many there is room and what they eat.")] = (
        "Eisenia fetida"
    ),
    at: Annotated[str, typer.Option(help="Bedding temperature at which they feed, e.g. “10-12 C”.")] = "15-20 C",
    seed: SeedOption = 1,
    journal: JournalOption = DEFAULT_JOURNAL,
    as_json: JsonOption = False,
) -> None:
    """Work out what to mix for new bedding, and how much water to add, from what is at hand."""
    import numpy as np

    from underlid.bedding.materials import every_material, read_materials
    from underlid.bedding.recipe import air_wish, carbon_nitrogen_wish, food_kg_week, founders_kg, moisture_wish, spread
    from underlid.bedding.recipe import recipe as mixed
    from underlid.worms.species import species as facts

    held = _containers(containers or [], journal)
    known = every_material() if materials is None else read_materials(materials)
    holds, area_m2, volume = _box(size, litres, depth)
    wishes = (
        moisture_wish(*_range(moisture, "%", "--moisture", 0.01)),
        carbon_nitrogen_wish(*_range(carbon_nitrogen, "1", "--cn")),
        air_wish(*_range(air, "%", "--air", 0.01)),
        volume,
    )
    kind = facts(species)
    bedding_c = _range(at, "degC", "--at")
    made = mixed(stock_of(have, known, held), wishes, holds)
    sure = spread(made, np.random.default_rng(seed))
    room = None
    if area_m2 is not None:
        usual = kind.usual_density_kg_m2
        room = founders_kg(area_m2, (usual.low, usual.value, usual.high))
    food = None if room is None else food_kg_week(room, *_eaten(kind), bedding_c)
    litres_of = {name: (one.low, one.high) for name, one in held.items() if one.unit == "L"}
    if as_json:
        told = recipe_json(made, sure, litres_of, kind, room, food, bedding_c, seed)
        show_json({**told, "notes": list(_worms(kind, room, food, bedding_c, wishes[0]))})
        return
    out = console(WIDTH)
    out.print(_amounts(made, litres_of))
    out.print(_comes_to(made, sure, area_m2))
    for unmet in made.unmet:
        out.print(unmet.words)
    for mineral, kg in made.minerals:
        name = mineral.name.capitalize()
        out.print(f"{name}: no help to these wishes; at most {_mass(kg)} may go in, as grit or lime (judgement).")
    low, middle, high = sure.water_kg
    if high > 0:
        out.print(f"The water that is right may be {low:.1f} to {high:.1f} L ({middle:.1f} L). {SQUEEZE}")
    for sentence in _worms(kind, room, food, bedding_c, wishes[0]):
        out.print(sentence)
    for text in (*made.cautions, *GENERAL):
        out.print(f"- {text}")
    for portion in made.portions:
        one = portion.material
        sources = dict.fromkeys(fact.source for fact in (one.moisture_pct, one.nitrogen_pct, one.bulk_kg_m3))
        out.print(f"Values of {one.name}: {'; '.join(sources)}.")


def stock_of(text: str, known: Mapping[str, Material], containers: Mapping[str, VagueAmount]) -> list[Stock]:
    """“leaves 40 L, 2 buckets of old horse manure, cardboard plenty” as what is at hand."""
    from underlid.bedding.materials import find
    from underlid.bedding.recipe import Stock
    from underlid.fit.evidence import middle_of
    from underlid.quantity import parse_amount

    found = []
    for item in filter(None, (part.strip() for part in re.split(r"[;,](?!\d)", text))):
        name, amount = _split(item, known)
        material = find(name, known)
        if amount.lower() in PLENTY:
            found.append(Stock(material))
            continue
        read = parse_amount(amount, containers=containers)
        if read.unit not in ("L", "kg"):
            raise NotOneOf(f"--have {item!r} gives no volume or mass; write “{name} 20 L” or “{name} plenty”.")
        found.append(Stock(material, middle_of(read), "L" if read.unit == "L" else "kg"))
    return found


def _split(item: str, known: Mapping[str, Material]) -> tuple[str, str]:
    """Material and amount, whichever comes first; an unknown material is what stands before the amount."""
    words = item.split()
    for n in range(len(words), 0, -1):
        if " ".join(words[:n]).lower() in known:
            return " ".join(words[:n]), " ".join(words[n:])
        if " ".join(words[-n:]).lower() in known:
            return " ".join(words[-n:]), " ".join(words[:-n]).removesuffix(" of")
    return re.split(r"\s+(?=about\b|around\b|plenty\b|[~\d½¼¾])", item)[0], ""


def _box(size: str | None, litres: str | None, depth: str | None) -> tuple[float, float | None, Wish]:
    """What the bin holds [L], its ground area [m2] where it is known, and the volume wished for."""
    from underlid.bedding.recipe import USUAL_FILL, depth_wish, litres_wish
    from underlid.fit.evidence import middle_of
    from underlid.quantity import parse_amount, parse_size

    if (size is None) == (litres is None):
        raise NoSize("Give either --size, such as “17 x 12 x 11 in”, or --litres, such as “40 L”.")
    if size is not None:
        box = parse_size(size)
        length, width, height = (middle_of(side) for side in (box.length, box.width, box.height))
        deep = None if depth is None else _range(depth, "m", "--depth")
        return 1000 * length * width * height, length * width, depth_wish(length * width, height, deep)
    if depth is not None:
        raise NoSize("--depth needs the --size of the bin.")
    holds = middle_of(parse_amount(litres or "", expect="L"))
    return holds, None, litres_wish(USUAL_FILL[0] * holds, USUAL_FILL[1] * holds)


def _range(words: str, unit: str, option: str, times: float = 1.0) -> tuple[float, float]:
    """Both ends of a range, times a factor."""
    from underlid.quantity import parse_amount

    read = parse_amount(words, expect=unit)
    if not (math.isfinite(read.low) and math.isfinite(read.high)):
        raise OpenEnd(f"{option} {words!r} leaves one end open; give both.")
    return read.low * times, read.high * times


def _containers(said: list[str], journal: Path) -> dict[str, VagueAmount]:
    """What the keeper's containers hold, from the journal if there is one, and from the command line."""
    from underlid.journal.errors import NoJournal
    from underlid.journal.store import Journal
    from underlid.quantity import parse_amount

    try:
        with Journal.open(journal) as book:
            held = book.containers()
    except NoJournal:
        held = {}
    for words in said:
        name, _, amount = words.strip().partition(" ")
        held[name.lower()] = parse_amount(amount)
    return held


def _eaten(kind: Species) -> tuple[list[float], list[list[float]]]:
    """Temperatures and the low, best and high share of its body mass that a worm eats a day; none at both limits."""
    facts = kind.eaten_per_mass_day.facts
    at_c = [kind.active_above_c.value, *kind.eaten_per_mass_day.at_c, kind.tolerated_high_c.value]
    rows = ([fact.low for fact in facts], [fact.value for fact in facts], [fact.high for fact in facts])
    return at_c, [[0.0, *row, 0.0] for row in rows]


def recipe_json(
    made: Recipe, sure: Spread, containers: Mapping[str, tuple[float, float]], kind: Species,
    room: Points | None, food: Points | None, bedding_c: tuple[float, float], seed: int,
) -> dict[str, object]:  # fmt: skip
    """The recipe as plain JSON types: kg, litres, fractions; ranges are 5, 50 and 95 %."""
    from underlid.bedding.recipe import in_containers

    def number(x: float) -> float | None:
        return float(x) if math.isfinite(x) else None

    return {
        "portions": [
            {
                "material": portion.material.name, "kg": portion.kg, "litres": portion.litres,
                "in_containers": in_containers(portion.litres, containers),
                "values": {key: {"source": row.pop("cited"), **row} for key, row in _facts(portion.material)},
            }
            for portion in made.portions
        ],
        "water": {"litres": made.water_kg, "in_containers": in_containers(made.water_kg, containers)},
        "comes_to": {
            wish.name: {
                "best": number(float(getattr(made.mix, wish.name))),
                "range": list(map(number, getattr(sure, wish.name))),
                "wished": [wish.low, wish.high], "met": sure.met[wish.name], "provenance": "predicted",
            }
            for wish in made.wishes
        },
        "minerals_at_most_kg": {mineral.name: kg for mineral, kg in made.minerals},
        "water_that_is_right_litres": list(sure.water_kg),
        "unmet": [{"wish": u.wish.name, "value": number(u.value), "words": u.words} for u in made.unmet],
        "worms": {
            "species": kind.name, "room_kg": room, "food_kg_week": food, "bedding_c": list(bedding_c),
            "provenance": "estimated",
        },
        "cautions": [*made.cautions, SQUEEZE, *GENERAL],
        "draws": sure.draws, "seed": seed,
    }  # fmt: skip


def _facts(material: Material) -> list[tuple[str, dict[str, object]]]:
    from underlid.bedding.materials import DESCRIBED

    return [(key, asdict(getattr(material, key))) for key in DESCRIBED]


def _amounts(made: Recipe, containers: Mapping[str, tuple[float, float]]) -> Table:
    from underlid.bedding.recipe import in_containers

    table = _table("mix", "litres, loose", "mass", "in your containers")
    for portion in made.portions:
        filled = in_containers(portion.litres, containers) or ""
        table.add_row(portion.material.name, _litres(portion.litres), _mass(portion.kg), filled)
    filled = in_containers(made.water_kg, containers) or ""
    table.add_row("rain water", _litres(made.water_kg) if made.water_kg else "none", _mass(made.water_kg), filled)
    return table


def _comes_to(made: Recipe, sure: Spread, area_m2: float | None) -> Table:
    from underlid.bedding.wishes import LABEL, shown

    table = _table("comes to", "predicted, 5 to 95 % (middle)", "wished for", "wish met")
    for wish in made.wishes:
        low, middle, high = (shown(wish.name, x) for x in getattr(sure, wish.name))
        wished = f"{shown(wish.name, wish.low)} to {shown(wish.name, wish.high)}"
        table.add_row(
            LABEL[wish.name], f"{low} to {high} ({middle})", wished, f"{100 * sure.met[wish.name]:.0f} in 100"
        )
    if area_m2 is not None:
        deep = [litres / 1000 / area_m2 for litres in sure.litres]
        cm, inches = (f"{deep[0] / x:.0f} to {deep[2] / x:.0f} {unit}" for x, unit in ((0.01, "cm"), (0.0254, "in")))
        table.add_row("depth", f"{cm} ({inches})", "", "")
    return table


def _worms(
    kind: Species, room: Points | None, food: Points | None, bedding_c: tuple[float, float], wish: Wish
) -> Iterator[str]:
    """Sentences on how many there is room for, what they eat, and whether they bear the moisture wished for."""
    from underlid.quantity import to_fahrenheit

    driest, wettest = kind.moisture
    if not driest <= wish.low <= wish.high <= wettest:
        limits = f"{100 * driest:.0f} to {100 * wettest:.0f} %"
        yield f"{kind.name} tolerates a moisture of {limits}: wish for one within that."
    if room is None or food is None:
        yield "How many worms there is room for depends on the ground area: give the --size for it."
        return
    usual = kind.usual_density_kg_m2
    both = (bedding_c, [to_fahrenheit(end) for end in bedding_c])
    celsius, fahrenheit = (" to ".join(dict.fromkeys(f"{end:.0f}" for end in ends)) for ends in both)
    yield (
        f"Estimated room: {_between(room)} of live {kind.name}, at {usual.low:g} to {usual.high:g} kg/m2 "
        f"({usual.mark}); a few dozen are enough to begin with."
    )
    if food[2] == 0:
        yield f"At {celsius} °C ({fahrenheit} °F) they eat nothing that is known of: do not feed."
        return
    yield (
        f"So many would eat {_between(food)} of soft food a week at {celsius} °C ({fahrenheit} °F), estimated: feed "
        "founders in proportion, and more only when the last is gone."
    )


def _between(points: Points) -> str:
    low, middle, high = map(_mass, points)
    return f"{low} to {high} ({middle})"


def _mass(kg: float) -> str:
    if kg < 0.9995:
        return f"{1000 * kg:.2g} g" if kg < 0.0995 else f"{round(1000 * kg, -1):.0f} g"
    return f"{kg:.1f} kg"


def _litres(litres: float) -> str:
    if litres < 0.95:
        return f"{1000 * float(f'{litres:.2g}'):.0f} mL"
    return f"{litres:.0f} L" if litres >= 10 else f"{litres:.1f} L"


def _table(*columns: str) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in columns:
        table.add_column(column, overflow="fold")
    return table
