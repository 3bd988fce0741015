"""The bin as a box: inside sizes, walls, where it stands and what it stands on."""

from __future__ import annotations

from dataclasses import dataclass

#: Conductivity of wall materials [W/m/K]. HDPE, PP and softwood from general handbooks, recalled;
#: expanded polystyrene 0.035-0.040, recalled.
WALLS: dict[str, float] = {
    "polypropylene": 0.20,
    "polyethylene": 0.48,
    "wood": 0.13,
    "expanded polystyrene": 0.037,
}


class UnknownWall(ValueError):
    """The wall material has no known conductivity."""


class ImpossibleVessel(ValueError):
    """A size of the bin cannot be true."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """A box of bedding. All sizes are inside sizes in metres.

    `bedding_depth_m` is how high the bedding lies; the rest of the height is headspace.
    """

    length_m: float
    width_m: float
    height_m: float
    bedding_depth_m: float
    wall: str = "polypropylene"
    wall_thickness_m: float = 0.003
    siting: str = "open shelter"
    base: str = "slab"

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "height_m", "bedding_depth_m"):
            size = getattr(self, name)
            if not 0.02 <= size <= 5.0:
                raise ImpossibleVessel(
                    f"{name.removesuffix('_m').replace('_', ' ')} is {size:g} m, but a bin here measures "
                    "between 0.02 and 5 m; check the unit."
                )
        if self.bedding_depth_m > self.height_m:
            raise ImpossibleVessel(
                f"The bedding is {self.bedding_depth_m:g} m deep but the bin is only {self.height_m:g} m "
                "high inside; give a smaller bedding depth."
            )
        if not 0 <= self.wall_thickness_m <= 0.5:
            raise ImpossibleVessel(f"The wall is {self.wall_thickness_m:g} m thick; a wall here is 0 to 0.5 m thick.")
        if self.wall not in WALLS:
            raise UnknownWall(f"No conductivity is known for walls of {self.wall!r}; use one of {', '.join(WALLS)}.")

    @property
    def bedding_m3(self) -> float:
        """Volume of the bedding [m3]."""
        return self.length_m * self.width_m * self.bedding_depth_m

    @property
    def wall_resistance(self) -> float:
        """Resistance of the wall itself [m2 K/W]."""
        return self.wall_thickness_m / WALLS[self.wall]
