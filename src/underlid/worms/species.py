"""Facts about the species kept in bins, one readable data file each; `facts` says how a file is written.

>>> species("E. fetida").band_c
(0.0, 35.0)
>>> species("European nightcrawler").name
'Dendrobaena veneta'
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Annotated, get_args, get_type_hints

from underlid.worms.facts import (
    DamagedFacts,
    Fact,
    Note,
    Of,
    Response,
    read_fact,
    read_note,
    read_response,
    read_words,
)


class UnknownSpecies(ValueError):
    """No facts are known for the species."""


@dataclass(frozen=True, slots=True)
class Species:
    """What is known of a species. Units: each `Of`; masses are live, moisture in % of wet mass, times in bedding.

    A fact that may be None has no source for some species; where low to high is wide, so is our ignorance.
    """

    name: str
    common_name: str
    other_names: tuple[str, ...]

    tolerated_low_c: Annotated[Fact, Of("tolerated down to", "degC", -10, 45)]
    tolerated_high_c: Annotated[Fact, Of("tolerated up to", "degC", -10, 45)]
    best_growth_c: Annotated[Fact, Of("grows best at", "degC", -10, 45)]
    active_above_c: Annotated[Fact, Of("still moves and feeds above", "degC", -10, 45)]
    adults_freeze_c: Annotated[Fact, Of("adults freeze at a body temperature of", "degC", -10, 5)]
    develops_above_c: Annotated[Fact, Of("embryos and young develop above", "degC", -10, 45)]
    lays_above_c: Annotated[Fact, Of("lays above", "degC", -10, 45)]
    no_hatching_above_c: Annotated[Fact, Of("no cocoons hatch above", "degC", -10, 45)]

    incubation_days: Annotated[Response, Of("laying to hatching", "days", 1, 2000)]
    hatching_share: Annotated[Fact, Of("cocoons that hatch", "of all", 0, 1)]
    hatchlings_per_cocoon: Annotated[Fact, Of("hatchlings", "per viable cocoon", 1, 20)]
    maturation_days: Annotated[Response, Of("hatching to clitellum", "days", 1, 2000)]
    cocoons_per_week: Annotated[Response, Of("cocoons", "per adult and week", 0.001, 100)]
    self_fertile_share: Annotated[Fact | None, Of("isolated animals that lay", "of all", 0, 1)]
    life_span_years: Annotated[Fact | None, Of("life span", "years", 0.1, 50)]

    hatchling_mg: Annotated[Fact, Of("mass of a hatchling", "mg", 0.1, 1000)]
    clitellum_g: Annotated[Fact, Of("mass when the clitellum appears", "g", 0.01, 50)]
    adult_g: Annotated[Fact, Of("mass of a usual adult", "g", 0.01, 50)]
    largest_g: Annotated[Fact, Of("mass of the largest", "g", 0.01, 50)]

    tolerated_low_moisture_pct: Annotated[Fact, Of("moisture, tolerated from", "% of wet mass", 0, 100)]
    tolerated_high_moisture_pct: Annotated[Fact, Of("moisture, tolerated to", "% of wet mass", 0, 100)]
    best_moisture_pct: Annotated[Fact, Of("moisture, best", "% of wet mass", 0, 100)]
    tolerated_low_ph: Annotated[Fact, Of("pH, tolerated from", "", 0, 14)]
    tolerated_high_ph: Annotated[Fact, Of("pH, tolerated to", "", 0, 14)]
    best_ph: Annotated[Fact, Of("pH, preferred", "", 0, 14)]
    ammonia_limit_mg_g: Annotated[Fact, Of("ammonia harms above", "mg N/g", 0, 100)]
    salt_limit_mg_g: Annotated[Fact, Of("salt harms above", "mg/g", 0, 100)]

    usual_density_kg_m2: Annotated[Fact, Of("live worms on a bed, good growth", "kg/m2", 0, 100)]
    densest_kg_m2: Annotated[Fact, Of("live worms on a bed, at most", "kg/m2", 0, 100)]
    eaten_per_mass_day: Annotated[Response, Of("food eaten", "of body mass a day", 0, 10)]
    casts_per_mass_day: Annotated[Fact | None, Of("casts", "of body mass a day", 0, 10)]
    casts_of_eaten_share: Annotated[Fact, Of("casts", "of the dry matter eaten", 0, 1)]
    founders_adult_share: Annotated[Fact, Of("adults in a handful of mixed ages", "of all", 0, 1)]

    adults_in_frost: Annotated[Note, Of("adults in frost")]
    cocoons_in_frost: Annotated[Note, Of("cocoons in frost")]
    sperm: Annotated[Note | None, Of("a lone adult")]
    air: Annotated[Note, Of("air")]

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

    def known(self) -> Iterator[tuple[str, Of, Fact | Response | Note | None]]:
        """Every fact in the order above: its name, what it is, and what is known (None: nothing)."""
        for key, (_, of) in DESCRIBED.items():
            yield key, of, getattr(self, key)

    def called(self) -> Iterator[str]:
        """Every name that it answers to, in lower case; two words also as the first's letter and the second."""
        for name in (self.name, *self.other_names):
            words = name.lower().split()
            yield " ".join(words)
            if len(words) == 2:
                yield f"{words[0][0]}. {words[1]}"


def _described() -> dict[str, tuple[tuple[type, ...], Of]]:
    """What each field may be (None among it where a source may be lacking), and what it is called."""
    hints = get_type_hints(Species, include_extras=True)
    found = {}
    for field in fields(Species):
        if (extras := get_args(hints[field.name])) and isinstance(extras[-1], Of):
            found[field.name] = (get_args(extras[0]) or (extras[0],), extras[-1])
    return found


DESCRIBED = _described()


@cache
def all_species() -> dict[str, Species]:
    """Every species with a data file, by name; each file is checked as it is read."""
    folder = files(__package__).joinpath("data")
    found = sorted((path for path in folder.iterdir() if path.name.endswith(".toml")), key=lambda path: path.name)
    return gather((path.name, path.read_bytes()) for path in found)


def gather(named: Iterator[tuple[str, bytes]]) -> dict[str, Species]:
    """Species by name from (file name, content); no name may stand for two of them."""
    found: dict[str, Species] = {}
    taken: dict[str, str] = {}
    for file_name, content in named:
        one = read_species(content, file_name)
        for name in one.called():
            if taken.setdefault(name, file_name) != file_name:
                raise DamagedFacts(f"{file_name}: the name {name!r} is taken by {taken[name]}; take it out of one.")
        found[one.name] = one
    return found


def species(name: str) -> Species:
    """The species of that name, in full, by another name, or as first letter and second word ("E. fetida")."""
    asked = " ".join(name.lower().split())
    for one in all_species().values():
        if asked in one.called():
            return one
    raise UnknownSpecies(f"No facts are known for {name!r}; known species: {', '.join(all_species())}.")


def read_species(content: bytes, file_name: str) -> Species:
    """A species from the content of its data file.

    Raises
    ------
    DamagedFacts : one sentence that names the file, the fact and what is wrong with it
    """
    try:
        table = tomllib.loads(content.decode())
    except UnicodeDecodeError as error:
        raise DamagedFacts(f"{file_name} is not text in UTF-8, from byte {error.start} on.") from error
    except (
        ValueError,
        RecursionError,
    ) as error:  # also from numbers of 5000 digits, endless brackets
        raise DamagedFacts(f"{file_name} is not valid TOML: {error}.") from error
    if unknown := sorted(table.keys() - {field.name for field in fields(Species)}):
        raise DamagedFacts(f"{file_name}: {unknown[0]!r} is no fact that a species has; is it misspelt?")
    name, others = " ".join(read_words(table, "name", file_name).split()), table.get("other_names")
    if len(name.split()) != 2:
        raise DamagedFacts(f"{file_name}: name must be two words, genus and species, but is {name!r}.")
    if not (isinstance(others, list) and all(isinstance(other, str) and other.strip() for other in others)):
        raise DamagedFacts(f"{file_name}: other_names must be a list of names in quotes; it may be empty, [].")
    facts = {key: _read(table, key, f"{file_name}, {key}") for key in DESCRIBED}
    found = Species(name, read_words(table, "common_name", file_name), tuple(others), **facts)  # type: ignore[arg-type]
    _agree(found, file_name)
    return found


def _read(table: dict[str, object], key: str, where: str) -> Fact | Response | Note | None:
    kinds, of = DESCRIBED[key]
    if key not in table:
        if type(None) in kinds:
            return None
        raise DamagedFacts(f"{where}: is missing; every species file must have it.")
    if Response in kinds:
        return read_response(table[key], of, where)
    return read_note(table[key], where) if Note in kinds else read_fact(table[key], of, where)


#: Pairs that must not cross, whichever source is right.
IN_ORDER = (
    ("tolerated_low_c", "tolerated_high_c"),
    ("tolerated_low_moisture_pct", "tolerated_high_moisture_pct"),
    ("tolerated_low_ph", "tolerated_high_ph"),
)
#: Tables that become curves, each with the threshold below which its rate is zero.
STARTS_AT = {
    "incubation_days": "develops_above_c",
    "maturation_days": "develops_above_c",
    "cocoons_per_week": "lays_above_c",
}


def _agree(found: Species, file_name: str) -> None:
    """Facts of one file must not contradict each other, even at the ends of their spread."""
    for first, last in IN_ORDER:
        ends, begins = getattr(found, first).high, getattr(found, last).low
        if ends >= begins:
            raise DamagedFacts(f"{file_name}: {first} reaches {ends:g}, beyond {last}, which begins at {begins:g}.")
    for table, threshold in STARTS_AT.items():
        at_c, starts, stops = getattr(found, table).at_c, getattr(found, threshold), found.tolerated_high_c
        if not starts.high < at_c[0]:
            raise DamagedFacts(
                f"{file_name}: {table} begins at {at_c[0]:g} degC, which must be above {threshold} ({starts.high:g})."
            )
        if not at_c[-1] < stops.low:
            raise DamagedFacts(
                f"{file_name}: {table} ends at {at_c[-1]:g} degC, which must be below tolerated_high_c ({stops.low:g})."
            )
    if found.no_hatching_above_c.low <= found.incubation_days.at_c[-1]:
        raise DamagedFacts(
            f"{file_name}: no_hatching_above_c begins at {found.no_hatching_above_c.low:g} degC, but incubation_days "
            f"still has cocoons hatching at {found.incubation_days.at_c[-1]:g} degC."
        )
