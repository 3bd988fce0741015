"""Facts about the species kept in bins, one readable data file each."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files


class UnknownSpecies(ValueError):
    """No facts are known for the species."""


class DamagedFacts(ValueError):
    """A species file does not say what it must."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A published value with the spread its sources leave, and where it comes from; the field's name has the unit."""

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True)
class Species:
    """What is known of a species: the temperatures [degC] and the moisture [% of wet mass] that it lives in."""

    name: str
    common_name: str
    tolerated_low_c: Fact
    tolerated_high_c: Fact
    tolerated_low_moisture_pct: Fact
    tolerated_high_moisture_pct: Fact

    @property
    def widest_band_c(self) -> tuple[float, float]:
        """The band as wide as any source has it [degC]: how much a refuge depends on which source is right."""
        return self.tolerated_low_c.low, self.tolerated_high_c.high

    @property
    def moisture(self) -> tuple[float, float]:
        """The tolerated moisture, best values, fractions of wet mass."""
        return self.tolerated_low_moisture_pct.value / 100, self.tolerated_high_moisture_pct.value / 100

    @property
    def band_c(self) -> tuple[float, float]:
        """The tolerated band [degC], best values; what a refuge is measured against."""
        return self.tolerated_low_c.value, self.tolerated_high_c.value


FACTS = tuple(field.name for field in fields(Species) if field.name.startswith("tolerated_"))


@cache
def all_species() -> dict[str, Species]:
    """Every species with a data file, by name; each file is checked as it is read."""
    found = {}
    for path in sorted(files(__package__).joinpath("data").iterdir(), key=lambda p: p.name):
        if path.name.endswith(".toml"):
            species = read_species(path.read_text("utf-8"), path.name)
            found[species.name] = species
    return found


def species(name: str) -> Species:
    """The species of that name, in full or as its first letter and epithet ("E. fetida")."""
    for one in all_species().values():
        genus, epithet = one.name.split()
        if name.strip().lower() in (one.name.lower(), f"{genus[0]}. {epithet}".lower()):
            return one
    raise UnknownSpecies(f"No facts are known for {name!r}; known species: {', '.join(all_species())}.")


def read_species(text: str, file_name: str) -> Species:
    """A species from the text of its data file; a sentence names the file and the fact that is wrong."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DamagedFacts(f"{file_name} is not valid TOML: {error}.") from error
    facts = {}
    for key in FACTS:
        try:
            row = table[key]
            fact = Fact(float(row["value"]), float(row["low"]), float(row["high"]), str(row["source"]))
        except (KeyError, TypeError, ValueError) as error:
            raise DamagedFacts(f"{file_name}: {key} needs the numbers value, low, high and a source.") from error
        if not (fact.low <= fact.value <= fact.high and fact.source.strip()):
            raise DamagedFacts(f"{file_name}: {key} must have low <= value <= high and a source.")
        facts[key] = fact
    name, common_name = table.get("name"), table.get("common_name")
    if not (isinstance(name, str) and len(name.split()) == 2 and isinstance(common_name, str)):
        raise DamagedFacts(f"{file_name}: it needs a name of two words, genus and species, and a common_name.")
    found = Species(name, common_name, **facts)
    if found.band_c[0] >= found.band_c[1]:
        raise DamagedFacts(f"{file_name}: the tolerated band ends, at {found.band_c[1]:g}, before it begins.")
    return found
