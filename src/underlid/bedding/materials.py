"""Sourced properties of what goes into a bin, read from `data/materials.toml`, which says how it is written.

>>> material("autumn leaves").name
'leaves'
>>> round(material("old horse manure").carbon_nitrogen, 1)
22.2
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal, get_args, get_origin, get_type_hints

from underlid.bedding.facts import (
    DamagedMaterials,
    Fact,
    Of,
    Table,
    only,
    read_fact,
    read_list,
    read_table,
    read_words,
)

Kind = Literal["bedding", "scraps", "mineral"]
KINDS: tuple[Kind, ...] = get_args(Kind)

#: Hydrogen ions that an acid gives up by pH 7, and its molar mass [g/mol].
ACIDS = {"citric": (3, 192.12), "acetic": (1, 60.05), "lactic": (1, 90.08), "malic": (2, 134.09)}
CALCITE_G_MOL = 100.09

MOST_BYTES = 250_000  # of a keeper's own file
#: a.b.c...: reading such a name takes memory by the square of its parts.
ENDLESS_NAME = re.compile(
    rb"""(?:(?:[\w-]{1,80}+|"(?:[^"\\\n]|\\.){0,80}+"|'[^'\n]{0,80}+')[ \t]{0,80}+\.[ \t]{0,80}+){50}"""
)


class UnknownMaterial(ValueError):
    """The bedding material is not in the data file."""


class NoLayer(UnknownMaterial):
    """The material is mixed into bedding and never laid as a layer of it."""


@dataclass(frozen=True, slots=True)
class Material:
    """What is known of a material; units: each `Of`.

    `kind` says whether worms can live in it (bedding), eat it (scraps) or neither (mineral); `cautions` are sentences
    for the keeper. Malic acid stands for tartaric too, as both give up two hydrogen ions; a model that knows only
    citric acid may take either by its charge.
    """

    name: str
    group: str
    kind: Kind
    aliases: tuple[str, ...]
    decays: str
    cautions: tuple[str, ...]

    moisture_pct: Annotated[Fact, Of("moisture as received", "% of wet mass", 0, 99)]
    carbon_pct: Annotated[Fact, Of("organic carbon", "% of dry mass", 0, 65)]
    nitrogen_pct: Annotated[Fact, Of("nitrogen", "% of dry mass", 0, 20)]
    bulk_kg_m3: Annotated[Fact, Of("loose bulk density as received", "kg/m3", 5, 3000)]
    volatile_pct: Annotated[Fact, Of("volatile solids", "% of dry mass", 0, 100)]
    most_pct: Annotated[Fact, Of("at most, of the mass of bedding before water", "%", 0, 100)]
    citric_g_kg: Annotated[Fact, Of("citric acid", "g per kg wet", 0, 200)]
    acetic_g_kg: Annotated[Fact, Of("acetic acid", "g per kg wet", 0, 200)]
    lactic_g_kg: Annotated[Fact, Of("lactic acid", "g per kg wet", 0, 200)]
    malic_g_kg: Annotated[Fact, Of("malic and tartaric acid", "g per kg wet", 0, 200)]
    ash_alkalinity_mol_kg: Annotated[Fact, Of("alkalinity left by decay, lime aside", "mol per kg dry", -3, 20)]
    calcite_pct: Annotated[Fact, Of("lime (CaCO3)", "% of dry mass", 0, 100)]
    salt_g_kg: Annotated[Fact, Of("soluble salts", "g per kg wet", 0, 200)]
    decay_per_day: Annotated[Fact, Of("decay at the best temperature", "of the volatile solids a day", 0, 5)]

    @property
    def moisture(self) -> float:
        """Water as received, fraction of wet mass."""
        return self.moisture_pct.value / 100

    @property
    def density_kg_m3(self) -> tuple[float, float]:
        """Range of the loose bulk density as received [kg/m3]."""
        return self.bulk_kg_m3.low, self.bulk_kg_m3.high

    @property
    def source(self) -> str:
        """Who says what, once each."""
        return "; ".join(dict.fromkeys(fact.source for _, fact in self.known()))

    @property
    def dry_density_kg_m3(self) -> float:
        """Dry matter in a cubic metre of the loose material [kg/m3], middle of the source's range."""
        return sum(self.density_kg_m3) / 2 * (1 - self.moisture)

    @property
    def carbon_nitrogen(self) -> float:
        """Carbon to nitrogen by mass (C:N), best values; without end where there is no nitrogen."""
        return self.carbon_pct.value / self.nitrogen_pct.value if self.nitrogen_pct.value else float("inf")

    @property
    def acid_mol_kg(self) -> float:
        """Hydrogen ions that its acids give up by pH 7 [mol per kg wet], best values."""
        grams: dict[str, Fact] = {acid: getattr(self, f"{acid}_g_kg") for acid in ACIDS}
        return sum(grams[acid].value * given / molar for acid, (given, molar) in ACIDS.items())

    @property
    def lime_mol_kg(self) -> float:
        """Hydrogen ions that its lime takes up when all dissolved [mol per kg dry], best value."""
        return self.calcite_pct.value * 10 * 2 / CALCITE_G_MOL

    def known(self) -> list[tuple[Of, Fact]]:
        """Every value in the order above, with what it is."""
        return [(of, getattr(self, key)) for key, of in DESCRIBED.items()]


DESCRIBED: dict[str, Of] = {
    name: hint.__metadata__[0]
    for name, hint in get_type_hints(Material, include_extras=True).items()
    if get_origin(hint) is Annotated
}
WORDS = {"group", "aliases", "decays", "cautions", "source", "mark"}
OWN = {"source": "the keeper's own file", "mark": "judgement"}  # for want of a keeper's own words


@cache
def every_material() -> dict[str, Material]:
    """All that is known, under each name and other name."""
    return _named(_ours(), "materials.toml")


@cache
def materials() -> dict[str, Material]:
    """What may lie as a layer in a bin, under each name and other name: all but minerals."""
    return {key: one for key, one in every_material().items() if one.kind != "mineral"}


def material(name: str) -> Material:
    """The material of that name for a layer of bedding; refuses to guess at an unknown one."""
    if (found := every_material().get(_key(name))) and found.kind == "mineral":
        raise NoLayer(f"{found.name.capitalize()} is mixed into bedding, thinly, and is no layer of it: leave it out.")
    return find(name, materials())


def find(name: str, known: Mapping[str, Material]) -> Material:
    """The material of that name among those known, one or many. Raises UnknownMaterial with the nearest name."""
    key = _key(name)
    if key not in known and key.removesuffix("s") in known:
        key = key.removesuffix("s")
    if key not in known:
        near = get_close_matches(key, known, n=1)
        hint = (
            f" Did you mean {near[0]!r}?" if near else f" Known: {', '.join(sorted({o.name for o in known.values()}))}."
        )
        raise UnknownMaterial(f"No properties are known for the material {name!r}.{hint}")
    return known[key]


def food(words: str) -> Material:
    """The material that a keeper's words for food name; “fresh” is what all is that is not called old."""
    known = every_material()
    plain = words.lower().removeprefix("fresh ")
    return find(plain if _key(words) not in known and plain != words.lower() else words, known)


def unknown_food(words: str) -> str | None:
    """A sentence on food of which nothing is known; None where something is, and of water, which is none."""
    try:
        if words != "water":
            food(words)
    except UnknownMaterial as error:
        what = str(error).partition(" Known:")[0]  # all names there are would bury what else is told
        return f"{what} It is kept as written; castings and feedcheck cannot reckon with it under that name."
    return None


def read_materials(path: Path) -> dict[str, Material]:
    """All that is known with a keeper's own file laid over it, under each name and other name.

    The file has the form of ours, and only what differs: a value replaces ours whole, a new material needs group,
    moisture_pct, carbon_pct, nitrogen_pct and bulk_kg_m3. Source and mark may be left out.

    Raises
    ------
    DamagedMaterials : naming file, material and field
    """
    with path.open("rb") as source:
        data = source.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES or ENDLESS_NAME.search(data):
        raise DamagedMaterials(
            f"{path.name} is larger than {MOST_BYTES // 1000} kB or has a name of fifty parts; split it."
        )
    try:
        own = tomllib.loads(data.decode())
    except (ValueError, RecursionError) as wrong:  # no TOML, no text at all, or brackets without end
        raise DamagedMaterials(
            f"{path.name} is not TOML: {wrong}. A text in quotes or a bracket may be open."
        ) from None
    only(own, {"material"}, path.name)
    ours = _ours()
    known = every_material()
    rows = dict(read_table(ours["material"], "material"))
    origins: dict[str, str] = {}
    for name, table in read_table(own.get("material", {}), path.name).items():
        where = f"{path.name}, {name}"
        row = dict(read_table(table, where))
        credit = {key: row.pop(key, default) for key, default in OWN.items()}
        for key in row.keys() & DESCRIBED.keys():
            row[key] = {**credit, **read_table(row[key], f"{where}, {key}")}
        theirs = known.get(_key(name))
        title = theirs.name if theirs else _key(name)
        if title in origins:
            raise DamagedMaterials(f"{where}: is the same as {origins[title]!r}; keep one.")
        origins[title] = name
        before = dict(read_table(rows.get(title, credit), where))
        more = [*read_list(before, "aliases", where), *read_list(row, "aliases", where)]
        rows[title] = {**before, **row, "aliases": list(dict.fromkeys(more))}
    return _named({**ours, "material": rows}, path.name)


@cache
def _ours() -> Table:
    return tomllib.loads(files(__package__).joinpath("data/materials.toml").read_text("utf-8"))


def _named(tables: Table, file: str) -> dict[str, Material]:
    found: dict[str, Material] = {}
    for name, row in read_table(tables["material"], file).items():
        one = _material(name, read_table(row, f"{file}, {name}"), tables, f"{file}, {name}")
        for key in (one.name, *one.aliases):
            if key in found:
                raise DamagedMaterials(f"{file} names {key!r} twice ({found[key].name} and {name}).")
            found[key] = one
    return found


def _material(name: str, row: Table, tables: Table, where: str) -> Material:
    """One material: its own values over those of its group, and these over the usual ones."""
    usual, groups, decay, cautions = (
        read_table(tables[key], f"{where}, {key}") for key in ("usual", "group", "decay", "caution")
    )
    only(row, WORDS | DESCRIBED.keys(), where)
    title = read_words(row, "group", where)
    if title not in groups:
        raise DamagedMaterials(f"{where}: there is no group {title!r}; use one of {', '.join(groups)}.")
    group = read_table(groups[title], f"{where}, group {title}")
    decays = read_words({**group, **row}, "decays", where)
    if decays not in decay:
        raise DamagedMaterials(f"{where}: decays {decays!r} is not known; use one of {', '.join(decay)}.")
    values = {"decay_per_day": (decay[decays], usual)}
    values |= {key: (table, origin) for origin in (usual, group, row) for key, table in origin.items()}
    if missing := [key for key in DESCRIBED if key not in values]:
        raise DamagedMaterials(f"{where}: needs {missing[0]}, such as {{ value = 72, low = 59, high = 79 }}.")
    warned = read_list({**group, **row}, "cautions", where)
    if unknown := [key for key in warned if key not in cautions]:
        raise DamagedMaterials(f"{where}: there is no caution {unknown[0]!r}; use some of {', '.join(cautions)}.")
    facts = {key: read_fact(values[key][0], of, f"{where}, {key}", values[key][1]) for key, of in DESCRIBED.items()}
    kind = next((one for one in KINDS if one == group.get("kind")), None)
    if kind is None:
        raise DamagedMaterials(f"{where}: the kind of group {title!r} must be one of {', '.join(KINDS)}.")
    return Material(
        name=_key(name),
        group=title,
        kind=kind,
        aliases=tuple(map(_key, read_list(row, "aliases", where))),
        decays=decays,
        cautions=tuple(read_words(cautions, key, "caution") for key in warned),
        **facts,
    )


def _key(name: str) -> str:
    return " ".join(name.lower().split())


def dry_density_kg_m3(layers: Sequence[tuple[str, float]]) -> float:
    """Dry bulk density [kg/m3] of layers given as (material name, depth in m), weighted by depth."""
    total = sum(depth for _, depth in layers)
    return sum(material(name).dry_density_kg_m3 * depth for name, depth in layers) / total
