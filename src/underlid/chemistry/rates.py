"""How fast a pocket of food sours and recovers: constants that are known only as ranges, and drawn from them.

    >>> import numpy as np
    >>> rates = draw_rates(200, np.random.default_rng(1))
    >>> bool((rates.citrate_per_day >= 1).all() and (rates.citrate_per_day <= 5).all())
    True

Every range says whose it is. "Judgement" is ours: nobody has measured these in a household bin, as far as we know.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated, NamedTuple, get_type_hints

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CALCITE_KG_MOL, CALCITE_KG_M3 = 0.10009, 2710.0
SHELL_M = 0.35e-3  # thickness of hens' eggshell, recalled: larger pieces are plates of it
WARMEST_ACTIVE_C = 35.0  # above, microbes are taken to work no faster: judgement


class Spread(NamedTuple):
    """Ends of a range, whether draws are even in its logarithm, and who says so."""

    low: float
    high: float
    log: bool
    source: str

    def draw(self, draws: int, rng: np.random.Generator) -> Array:
        """Values from the range, (draws,)."""
        if self.log:
            return np.exp(rng.uniform(np.log(self.low), np.log(self.high), draws))
        return rng.uniform(self.low, self.high, draws)

    def at(self, share: Array) -> Array:
        """The value below which so much of the range's probability lies."""
        if self.log:
            return np.asarray(np.exp(np.log(self.low) + share * np.log(self.high / self.low)))
        return np.asarray(self.low + share * (self.high - self.low))


_JONES = "Jones 1998, van Hees 2003, recalled: half-life hours to a day in active soil"


@dataclass(frozen=True, slots=True)
class Rates:
    """Constants of a pocket, each a number or (draws,); rates are first-order, at 20 degC, where nothing slows them.

    release_per_day : juice and its acids leave the scraps
    citrate_per_day, lactate_per_day, acetate_per_day : microbes eat the acid, in bedding that is not too sour
    q10 : all living processes go so many times as fast for 10 K more
    slow_ph : where acid halves the eating of acids
    soluble : share of the scraps' carbon that leaves with the juice, mostly sugar
    fermented : share of the carbon let go in the pocket that becomes acid, as air is short; the rest becomes CO2
    lactic : share of that carbon which becomes lactic acid; the rest becomes acetic acid
    balanced_cn : C:N [mass] of scraps from which decay sets no nitrogen free
    nitrify_per_day : ammonium becomes nitrate, about neutral
    escape_per_day : NH3 leaves as gas
    water_per_day : share of the pocket's water exchanged with that of the bulk
    mixing_per_day : share of the pocket's bedding exchanged, by worms
    shell_m : thickness of the bedding that touches the scraps [m]
    co2_atm : in the air of the bulk; more_co2_atm : more of it in a fresh pocket, fading as the
        scraps go
    salt, calcium, ammonia : in the water of the bedding at the start [mol/kg water]; salt is neutral
    wetted : of the area of shell grit, the share that dissolves as it does in clean water
    """

    release_per_day: Annotated[ArrayLike, Spread(0.15, 1.0, True, "judgement: soft and squeezed, to whole peel")]
    citrate_per_day: Annotated[ArrayLike, Spread(1.0, 5.0, True, _JONES)]
    lactate_per_day: Annotated[ArrayLike, Spread(1.0, 5.0, True, "judgement: as citrate")]
    acetate_per_day: Annotated[ArrayLike, Spread(1.0, 5.0, True, "judgement: as citrate")]
    q10: Annotated[ArrayLike, Spread(1.7, 2.4, False, "2 to 3 is usual, recalled; the ends are judgement")]
    slow_ph: Annotated[ArrayLike, Spread(3.8, 4.8, False, "judgement")]
    soluble: Annotated[ArrayLike, Spread(0.15, 0.45, False, "judgement: sugar in peel and fruit")]
    fermented: Annotated[ArrayLike, Spread(0.03, 0.25, True, "judgement: well aired, to wet and heaped")]
    lactic: Annotated[ArrayLike, Spread(0.3, 0.8, False, "judgement")]
    balanced_cn: Annotated[ArrayLike, Spread(18.0, 28.0, False, "20 to 25 is usual for composts, recalled")]
    nitrify_per_day: Annotated[ArrayLike, Spread(0.005, 0.1, True, "judgement")]
    escape_per_day: Annotated[ArrayLike, Spread(0.02, 0.5, True, "judgement")]
    water_per_day: Annotated[ArrayLike, Spread(0.03, 0.3, True, "judgement: diffusion over 1-4 cm takes 3 to 30 days")]
    mixing_per_day: Annotated[ArrayLike, Spread(0.01, 0.1, True, "judgement: few worms to many")]
    shell_m: Annotated[ArrayLike, Spread(0.01, 0.04, False, "judgement")]
    co2_atm: Annotated[ArrayLike, Spread(0.002, 0.01, True, "judgement")]
    more_co2_atm: Annotated[ArrayLike, Spread(0.005, 0.08, True, "judgement")]
    salt: Annotated[ArrayLike, Spread(0.02, 0.08, True, "judgement")]
    calcium: Annotated[ArrayLike, Spread(0.001, 0.006, True, "judgement")]
    ammonia: Annotated[ArrayLike, Spread(0.0002, 0.003, True, "judgement: ripe bedding")]
    wetted: Annotated[ArrayLike, Spread(0.003, 0.3, True, "judgement: membrane, films and dry contact slow grit")]


SPREADS: dict[str, Spread] = {
    name: hint.__metadata__[0] for name, hint in get_type_hints(Rates, include_extras=True).items()
}


def draw_rates(draws: int, rng: np.random.Generator) -> Rates:
    """Sets of constants from their ranges, (draws,) each, drawn apart from each other."""
    return Rates(**{field.name: SPREADS[field.name].draw(draws, rng) for field in fields(Rates)})


def activity(temperature_c: ArrayLike, q10: ArrayLike) -> Array:
    """How fast microbes work, 1 at 20 degC; nothing in frozen bedding."""
    warm = np.asarray(temperature_c, dtype=float)
    working = np.asarray(q10) ** ((np.minimum(warm, WARMEST_ACTIVE_C) - 20) / 10)
    return np.asarray(np.where(warm > 0, working, 0.0))


def calcite_area(grain_m: ArrayLike) -> Array:
    """Area of crushed eggshell [m2/mol] by size of its pieces [m]: cubes below the shell's thickness, plates above."""
    size = np.asarray(grain_m, dtype=float)
    thin = np.minimum(size, SHELL_M)
    return np.asarray(CALCITE_KG_MOL / CALCITE_KG_M3 * (2 / thin + 4 / size))


def calcite_constants(temperature_c: ArrayLike) -> tuple[Array, Array, Array]:
    """k1, k2, k3 of calcite dissolving in clean water far from saturation.

    rate [mol/m2/s] = k1 {H+} + k2 {CO2} + k3, activities in mol/kg (Plummer, Wigley & Parkhurst 1978, recalled;
    the law below 25 degC is used for all).
    """
    kelvin = np.asarray(temperature_c, dtype=float) + 273.15
    # theirs are in mmol/cm2/s with activities in mmol/cm3, that is cm/s: ten times that in mol/m2/s per mol/kg
    one, two, three = 0.198 - 444 / kelvin, 2.84 - 2177 / kelvin, -5.86 - 317 / kelvin
    return 10 * 10**one, 10 * 10**two, 10 * 10**three
