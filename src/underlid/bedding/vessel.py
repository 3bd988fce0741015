"""The bin as a box: inside sizes, walls and what is wrapped around them, where it stands and on what."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Literal

#: Conductivity of what walls are made of and wrapped in [W/m/K], dry. All from general handbooks, recalled:
#: plastics and softwood; expanded polystyrene 0.035-0.040; mineral wool, sheep's wool and cork 0.035-0.045;
#: loose straw and bubble wrap 0.05-0.07; corrugated cardboard 0.05-0.07; a quilt about 0.04.
CONDUCTIVITY: dict[str, float] = {
    "polypropylene": 0.20,
    "polyethylene": 0.48,
    "wood": 0.13,
    "expanded polystyrene": 0.037,
    "extruded polystyrene": 0.034,
    "polyurethane foam": 0.027,
    "mineral wool": 0.038,
    "sheep's wool": 0.040,
    "cork": 0.042,
    "quilt": 0.040,
    "straw": 0.060,
    "cardboard": 0.060,
    "bubble wrap": 0.060,
}

EDGE_SHARE = 1 / 3  # share of the half width nearest the wall that counts as the edge: our judgement
SURFACE_SHARE = 1 / 8  # share of the depth that counts as the surface: our judgement

Face = Literal["sides", "lid", "base"]
FACES: tuple[Face, ...] = ("sides", "lid", "base")


def _size(metres: float) -> str:
    return f"{100 * metres:.3g} cm ({metres / 0.0254:.3g} in)"


class UnknownWall(ValueError):
    """The material of a wall or of what is around it has no known conductivity."""


class ThinOrThickInsulation(ValueError):
    """A layer around the bin is thinner or thicker than a layer can be."""


@dataclass(frozen=True, slots=True)
class Insulation:
    """A dry layer around the bin: material, thickness [m] and the faces it covers."""

    material: str
    thickness_m: float
    faces: tuple[Face, ...] = ("sides", "lid")

    def __post_init__(self) -> None:
        conductivity_of(self.material)
        if not 0.001 <= self.thickness_m <= 1.0:
            raise ThinOrThickInsulation(
                f"A layer of {self.material} {_size(self.thickness_m)} thick cannot be; give 1 mm to 1 m with unit."
            )

    @property
    def resistance(self) -> float:
        """Resistance of the layer [m2 K/W]."""
        return self.thickness_m / conductivity_of(self.material)


def conductivity_of(material: str) -> float:
    """Conductivity of a wall or insulation material [W/m/K]; refuses to guess at an unknown one."""
    if material not in CONDUCTIVITY:
        near = _nearest(material.lower())
        hint = f"did you mean {near!r}? Known are" if near else "use one of"
        raise UnknownWall(f"No conductivity is known for {material!r}; {hint} {', '.join(CONDUCTIVITY)}.")
    return CONDUCTIVITY[material]


def _nearest(name: str) -> str | None:
    """The material meant, by the whole name or else by the nearest word of one: "polystirene" is a polystyrene."""
    names: dict[str, str] = {}  # the first material of a word stands for it
    for known in CONDUCTIVITY:
        for word in (known, *known.split()):
            names.setdefault(word, known)
    asked = (name, *name.split())
    near = [(SequenceMatcher(None, one, word).ratio(), word) for one in asked for word in names]
    ratio, word = max(near)
    return names[word] if ratio >= 0.6 else None


class ImpossibleVessel(ValueError):
    """A size of the bin cannot be true."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """A box of bedding. All sizes are inside sizes in metres.

    `bedding_depth_m` is how high the bedding lies; the rest of the height is headspace. `insulation` lies around
    the walls, from the inside out; holes for air and drainage are ignored.
    """

    length_m: float
    width_m: float
    height_m: float
    bedding_depth_m: float
    wall: str = "polypropylene"
    wall_thickness_m: float = 0.003
    siting: str = "open shelter"
    base: str = "slab"
    insulation: tuple[Insulation, ...] = ()

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "height_m", "bedding_depth_m"):
            size = getattr(self, name)
            if not 0.02 <= size <= 5.0:
                raise ImpossibleVessel(
                    f"The {name.removesuffix('_m').replace('_', ' ')} is {_size(size)}, but a bin here measures "
                    "between 2 cm and 5 m; check the unit."
                )
        if self.bedding_depth_m > self.height_m:
            raise ImpossibleVessel(
                f"The bedding is {_size(self.bedding_depth_m)} deep but the bin is only {_size(self.height_m)} "
                "high inside; give a smaller bedding depth."
            )
        if self.width_m > self.length_m:
            raise ImpossibleVessel(
                f"The bin is {_size(self.width_m)} wide but {_size(self.length_m)} long; name the longer side first."
            )
        if not 0 <= self.wall_thickness_m <= 0.5:
            raise ImpossibleVessel(
                f"The wall is {_size(self.wall_thickness_m)} thick; a wall here is 0 to 50 cm (20 in) thick."
            )
        conductivity_of(self.wall)

    @property
    def bedding_m3(self) -> float:
        """Volume of the bedding [m3]."""
        return self.length_m * self.width_m * self.bedding_depth_m

    def resistance(self, face: Face) -> float:
        """Resistance of the wall and of the layers around it on one face [m2 K/W]."""
        wall = self.wall_thickness_m / conductivity_of(self.wall)
        return wall + sum(layer.resistance for layer in self.insulation if face in layer.faces)
