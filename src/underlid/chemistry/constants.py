"""Equilibrium constants of bedding water by temperature, and the activity of its ions.

Every dissolved species is one row of `SPECIES`: what it is made of, its charge, its constant and where that comes
from. The solver (`balance`) knows no chemistry but these rows, so that a species is added or mended here alone.

Constants are log10 at zero ionic strength, concentrations in mol per kg of water, gases in atm, 0-60 degC.
Values whose source says "recalled" were not read again in print.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

KELVIN = 273.15
GAS_CONSTANT = 8.314462618  # [J/mol K]
CALORIE_J = 4.184


class Law(NamedTuple):
    """log10 K = a + b T + c / T + d log10 T + e / T^2, with T in kelvin. Laws add as the reactions do."""

    a: float
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0

    def at(self, temperature_c: ArrayLike) -> Array:
        """log10 K at temperatures [degC], of any shape."""
        return np.asarray(basis(temperature_c) @ np.array(self))

    def plus(self, other: Law) -> Law:
        """The law of two reactions, one after the other."""
        return Law(*(mine + theirs for mine, theirs in zip(self, other, strict=True)))

    def reversed(self) -> Law:
        """The law of the reaction run backwards."""
        return Law(*(-value for value in self))


def basis(temperature_c: ArrayLike) -> Array:
    """What a law's coefficients are multiplied by, (..., 5), at temperatures [degC]."""
    kelvin = np.asarray(temperature_c, dtype=float) + KELVIN
    return np.stack([np.ones_like(kelvin), kelvin, 1 / kelvin, np.log10(kelvin), kelvin**-2.0], axis=-1)


def by_heat(log_k: float, kilojoule: float = 0.0) -> Law:
    """A constant at 25 degC and the heat of its reaction [kJ/mol], taken as constant (van 't Hoff)."""
    slope = kilojoule * 1e3 / (GAS_CONSTANT * math.log(10))
    return Law(log_k + slope / (25 + KELVIN), 0.0, -slope)


# Water, carbonate, ammonium ------------------------------------------------------------------------------------------

#: H2O = H+ + OH-, Harned & Hamer 1933, recalled.
WATER = Law(6.0875, -0.01706, -4470.99)
#: CO2(g) = CO2, CO2 + H2O = H+ + HCO3-, HCO3- = H+ + CO3-2 and CaCO3(calcite) = Ca+2 + CO3-2: Plummer & Busenberg 1982.
CO2_DISSOLVES = Law(108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)
CARBONIC_1 = Law(-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)
CARBONIC_2 = Law(-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)
CALCITE = Law(-171.9065, -0.077993, 2839.319, 71.595)
#: Ca+2 + HCO3- = CaHCO3+ and Ca+2 + CO3-2 = CaCO3: Plummer & Busenberg 1982.
CALCIUM_BICARBONATE = Law(1209.120, 0.31294, -34765.05, -478.782)
CALCIUM_CARBONATE = Law(-1228.732, -0.299444, 35512.75, 485.818)
#: NH4+ = NH3 + H+, Emerson et al. 1975 (one reprint prints 2727.92, which would not give its own 9.25 at 25 degC).
AMMONIUM = Law(-0.09018, 0.0, -2729.92)

# Acids: pK at 25 degC and heat of dissociation [kJ/mol], Goldberg, Kishore & Lennen 2002, recalled; lactic recalled.

CITRIC = (by_heat(-3.128, 4.07), by_heat(-4.761, 2.23), by_heat(-6.396, -3.38))
ACETIC = by_heat(-4.756, -0.41)
LACTIC = by_heat(-3.86, -0.33)
PHOSPHORIC = (by_heat(-2.148, -8.0), by_heat(-7.198, 3.6), by_heat(-12.35, 16.0))


def _protonated(dissociations: tuple[Law, ...]) -> tuple[Law, ...]:
    """Laws for taking up one, two ... protons, from an acid's dissociations in the usual order, strongest first."""
    taken, laws = Law(0.0), []
    for step in reversed(dissociations):
        taken = taken.plus(step.reversed())
        laws.append(taken)
    return tuple(laws)


# Species -------------------------------------------------------------------------------------------------------------


class Activity(NamedTuple):
    """log10 gamma = -A z^2 sqrt(I) / (1 + B size sqrt(I)) + slope I, with the size of the ion in angstrom.

    The extended law of Truesdell & Jones 1974. Ions whose size was not fitted follow Davies 1962; molecules without
    charge, 0.1 I.
    """

    size: float
    slope: float = 0.0


DAVIES = Activity(math.nan)
MOLECULE = Activity(0.0, 0.1)


class Species(NamedTuple):
    """A dissolved species: the base of its family, `protons` more than that (OH- has -1), and at most one metal.

    law : of its forming from those
    """

    name: str
    family: str
    protons: int
    metal: str
    charge: int
    law: Law
    activity: Activity
    source: str


FAMILIES = ("water", "carbon", "ammonia", "phosphate", "acetate", "lactate", "citrate")
METALS = ("calcium", "magnesium", "sodium", "potassium")
WEAK = ("sodium", "potassium")  # their pairs shift pH by .01 at most in thin water, and may be left out
BASE_CHARGE = {"water": 0, "carbon": -2, "ammonia": 0, "phosphate": -3, "acetate": -1, "lactate": -1, "citrate": -3}

_CARBONIC = _protonated((CARBONIC_1, CARBONIC_2))
_PHOSPHORIC = _protonated(PHOSPHORIC)
_CITRIC = _protonated(CITRIC)
_AQUEOUS = "data files of general aqueous-chemistry libraries"
_PB = "Plummer & Busenberg 1982"
_NIST = "Goldberg, Kishore & Lennen 2002, recalled"
_RECALLED = "recalled; heat not known"


def _kcal(log_k: float, kilocalorie: float = 0.0) -> Law:
    return by_heat(log_k, kilocalorie * CALORIE_J)


#: Sorted by family. The law is from the base (CO3-2, NH3, PO4-3, the acids' ions), protons and metal.
SPECIES = (
    Species("H+", "water", 1, "", 1, Law(0.0), Activity(9.0), "by definition"),
    Species("OH-", "water", -1, "", -1, WATER, Activity(3.5), "Harned & Hamer 1933, recalled"),
    Species("Ca+2", "water", 0, "calcium", 2, Law(0.0), Activity(5.0, 0.165), "by definition"),
    Species("CaOH+", "water", -1, "calcium", 1, by_heat(-12.78), DAVIES, _AQUEOUS),
    Species("Mg+2", "water", 0, "magnesium", 2, Law(0.0), Activity(5.5, 0.20), "by definition"),
    Species("MgOH+", "water", -1, "magnesium", 1, _kcal(-11.44, 15.952), Activity(6.5), _AQUEOUS),
    Species("Na+", "water", 0, "sodium", 1, Law(0.0), Activity(4.08, 0.082), "by definition"),
    Species("K+", "water", 0, "potassium", 1, Law(0.0), Activity(3.5, 0.015), "by definition"),
    #
    Species("CO3-2", "carbon", 0, "", -2, Law(0.0), Activity(5.4), "by definition"),
    Species("HCO3-", "carbon", 1, "", -1, _CARBONIC[0], Activity(5.4), _PB),
    Species("CO2", "carbon", 2, "", 0, _CARBONIC[1], MOLECULE, _PB),
    Species("CaCO3", "carbon", 0, "calcium", 0, CALCIUM_CARBONATE, MOLECULE, _PB),
    Species("CaHCO3+", "carbon", 1, "calcium", 1, CALCIUM_BICARBONATE.plus(_CARBONIC[0]), Activity(6.0), _PB),
    Species("MgCO3", "carbon", 0, "magnesium", 0, Law(0.991, 0.00667), MOLECULE, _AQUEOUS),
    Species("MgHCO3+", "carbon", 1, "magnesium", 1,
            Law(48.6721, 0.03252849, -2614.335, -18.00263, 563713.9), Activity(4.0), _AQUEOUS),
    Species("NaCO3-", "carbon", 0, "sodium", -1, _kcal(1.27, 8.91), DAVIES, _AQUEOUS),
    Species("NaHCO3", "carbon", 1, "sodium", 0, _kcal(-0.25, -1.0).plus(_CARBONIC[0]), MOLECULE, _AQUEOUS),
    #
    Species("NH3", "ammonia", 0, "", 0, Law(0.0), MOLECULE, "by definition"),
    Species("NH4+", "ammonia", 1, "", 1, AMMONIUM.reversed(), Activity(2.5), "Emerson et al. 1975"),
    #
    Species("PO4-3", "phosphate", 0, "", -3, Law(0.0), Activity(4.0), "by definition"),
    Species("HPO4-2", "phosphate", 1, "", -2, _PHOSPHORIC[0], Activity(5.0), _NIST),
    Species("H2PO4-", "phosphate", 2, "", -1, _PHOSPHORIC[1], Activity(5.4), _NIST),
    Species("H3PO4", "phosphate", 3, "", 0, _PHOSPHORIC[2], MOLECULE, _NIST),
    Species("CaPO4-", "phosphate", 0, "calcium", -1, _kcal(6.459, 3.1), Activity(5.4), _AQUEOUS),
    Species("CaHPO4", "phosphate", 1, "calcium", 0, _kcal(2.739, 3.3).plus(_PHOSPHORIC[0]), MOLECULE, _AQUEOUS),
    Species("CaH2PO4+", "phosphate", 2, "calcium", 1, _kcal(1.408, 3.4).plus(_PHOSPHORIC[1]), Activity(5.4), _AQUEOUS),
    Species("MgPO4-", "phosphate", 0, "magnesium", -1, _kcal(6.589, 3.1), Activity(5.4), _AQUEOUS),
    Species("MgHPO4", "phosphate", 1, "magnesium", 0, _kcal(2.87, 3.3).plus(_PHOSPHORIC[0]), MOLECULE, _AQUEOUS),
    Species("MgH2PO4+", "phosphate", 2, "magnesium", 1,
            _kcal(1.513, 3.4).plus(_PHOSPHORIC[1]), Activity(5.4), _AQUEOUS),
    Species("NaHPO4-", "phosphate", 1, "sodium", -1, by_heat(0.29).plus(_PHOSPHORIC[0]), Activity(5.4), _AQUEOUS),
    Species("KHPO4-", "phosphate", 1, "potassium", -1, by_heat(0.29).plus(_PHOSPHORIC[0]), Activity(5.4), _AQUEOUS),
    #
    Species("Acetate-", "acetate", 0, "", -1, Law(0.0), DAVIES, "by definition"),
    Species("HAcetate", "acetate", 1, "", 0, ACETIC.reversed(), MOLECULE, _NIST),
    Species("CaAcetate+", "acetate", 0, "calcium", 1, by_heat(1.2), DAVIES, _RECALLED),
    Species("MgAcetate+", "acetate", 0, "magnesium", 1, by_heat(1.3), DAVIES, _RECALLED),
    #
    Species("Lactate-", "lactate", 0, "", -1, Law(0.0), DAVIES, "by definition"),
    Species("HLactate", "lactate", 1, "", 0, LACTIC.reversed(), MOLECULE, "recalled"),
    Species("CaLactate+", "lactate", 0, "calcium", 1, by_heat(1.4), DAVIES, _RECALLED),
    Species("MgLactate+", "lactate", 0, "magnesium", 1, by_heat(1.4), DAVIES, _RECALLED),
    #
    Species("Citrate-3", "citrate", 0, "", -3, Law(0.0), Activity(5.0), "by definition"),
    Species("HCitrate-2", "citrate", 1, "", -2, _CITRIC[0], DAVIES, _NIST),
    Species("H2Citrate-", "citrate", 2, "", -1, _CITRIC[1], DAVIES, _NIST),
    Species("H3Citrate", "citrate", 3, "", 0, _CITRIC[2], MOLECULE, _NIST),
    Species("CaCitrate-", "citrate", 0, "calcium", -1, by_heat(4.85), DAVIES, _RECALLED),
    Species("CaHCitrate", "citrate", 1, "calcium", 0, by_heat(9.26), MOLECULE, _RECALLED),
    Species("MgCitrate-", "citrate", 0, "magnesium", -1, by_heat(4.8), DAVIES, _RECALLED),
    Species("MgHCitrate", "citrate", 1, "magnesium", 0, by_heat(9.0), MOLECULE, _RECALLED),
)  # fmt: skip


# Water as a solvent --------------------------------------------------------------------------------------------------


def water_density(temperature_c: ArrayLike) -> Array:
    """Density of water [kg/m3] at 1 atm and 0-60 degC, Kell 1975, recalled."""
    t = np.asarray(temperature_c, dtype=float)
    rising = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return np.asarray(rising / (1 + 16.879850e-3 * t))


def permittivity(temperature_c: ArrayLike) -> Array:
    """Relative permittivity of water at 1 atm and 0-60 degC, Malmberg & Maryott 1956, recalled."""
    t = np.asarray(temperature_c, dtype=float)
    return np.asarray(87.740 + t * (-0.40008 + t * (9.398e-4 - t * 1.410e-6)))


def debye_hueckel(temperature_c: ArrayLike) -> tuple[Array, Array]:
    """A [kg^1/2 mol^-1/2] and B [kg^1/2 mol^-1/2 angstrom^-1] of the law of activity, from density and permittivity.

    The numbers gather the elementary charge, Avogadro's and Boltzmann's constants (Robinson & Stokes 1959).
    """
    heat = permittivity(temperature_c) * (np.asarray(temperature_c, dtype=float) + KELVIN)
    density = water_density(temperature_c) / 1e3
    return np.asarray(1.82483e6 * np.sqrt(density) * heat**-1.5), np.asarray(50.2916 * np.sqrt(density / heat))


def free_ammonia(ph: ArrayLike, temperature_c: ArrayLike) -> Array:
    """Share of dissolved ammonia that is NH3 in thin water, by pH and temperature [degC]; Emerson et al. 1975."""
    return np.asarray(1 / (1 + 10 ** (-AMMONIUM.at(temperature_c) - np.asarray(ph, dtype=float))))
