"""Sourced properties of bedding materials, read from `data/materials.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files


class UnknownMaterial(ValueError):
    """The bedding material is not in the data file."""


@dataclass(frozen=True, slots=True)
class Material:
    """Moisture [fraction of wet mass] and loose bulk density [kg/m3], both as received."""

    name: str
    moisture: float
    density_kg_m3: tuple[float, float]
    source: str

    @property
    def dry_density_kg_m3(self) -> float:
        """Dry matter in a cubic metre of the loose material [kg/m3], middle of the source's range."""
        return sum(self.density_kg_m3) / 2 * (1 - self.moisture)


@cache
def materials() -> dict[str, Material]:
    """Every material under its name and its other names."""
    table = tomllib.loads(files(__package__).joinpath("data/materials.toml").read_text("utf-8"))
    found: dict[str, Material] = {}
    for name, row in table.items():
        low, high = row["density_kg_m3"]
        material = Material(name, row["moisture_pct"] / 100, (float(low), float(high)), row["source"])
        for key in (name, *row["aliases"]):
            if key in found:
                raise ValueError(f"materials.toml names {key!r} twice ({found[key].name} and {name}).")
            found[key] = material
    return found


def material(name: str) -> Material:
    """The material of that name; refuses to guess at an unknown one."""
    known = materials()
    key = name.strip().lower()
    if key not in known:
        near = get_close_matches(key, known, n=1)
        hint = f" Did you mean {near[0]!r}?" if near else f" Known: {', '.join(sorted(known))}."
        raise UnknownMaterial(f"No properties are known for the material {name!r}.{hint}")
    return known[key]


def dry_density_kg_m3(layers: Sequence[tuple[str, float]]) -> float:
    """Dry bulk density [kg/m3] of layers given as (material name, depth in m), weighted by depth."""
    total = sum(depth for _, depth in layers)
    return sum(material(name).dry_density_kg_m3 * depth for name, depth in layers) / total
