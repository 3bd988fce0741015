"""The pH of bedding water, and what is dissolved in it, from what was put in: many waters at once.

    >>> from underlid.chemistry.speciation import Totals, equilibrium
    >>> water = equilibrium(Totals(sodium=0.02, citrate=0.001), 25.0, co2_atm=0.005)
    >>> round(float(water.ph), 2)
    8.27

Amounts are mol per kg of pore water (as good as a litre of it), CO2 in atm (0.005 is air with half a percent of it).
Bedding that takes up and gives off protons is a `Buffer`, shell or lime is `calcite`. Everything is in equilibrium:
how fast citrate is eaten or shell dissolves is for others to say.

Activity follows Truesdell & Jones 1974 and Davies 1962 and is good to an ionic strength of about 0.3 mol/kg; above
1 mol/kg the coefficients are held, and the answer is a guess. Solids other than calcite, sulphate's pairs, and the
small lowering of water's own activity are left out.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from underlid.chemistry import abreast, balance, constants
from underlid.chemistry.constants import FAMILIES, METALS, SPECIES, WEAK

Array = NDArray[np.float64]

COLDEST_C, WARMEST_C = 0.0, 60.0
PIECE = 8192  # waters whose work stays in the processor's own memory
LN10 = math.log(10)
LESS_THAN_A_MOLECULE = 1e-24  # [mol/kg]; counted as none


class ChemistryInputError(ValueError):
    """What was said to be in the water cannot be."""


class ChargeError(ValueError):
    """No pH balances the charge of what was said to be in the water."""


@dataclass(frozen=True, slots=True)
class Totals:
    """What is dissolved in all its forms [mol/kg water]; arrays of one shape, or of shapes that broadcast.

    strong_anions : chloride, nitrate and twice the sulphate, as charge [mol/kg water]
    carbon : inorganic, CO2 and its ions; not to be given where CO2 is set by the air
    ammonia : NH3 and NH4+ together
    """

    sodium: ArrayLike = 0.0
    potassium: ArrayLike = 0.0
    calcium: ArrayLike = 0.0
    magnesium: ArrayLike = 0.0
    strong_anions: ArrayLike = 0.0
    carbon: ArrayLike = 0.0
    ammonia: ArrayLike = 0.0
    phosphate: ArrayLike = 0.0
    acetate: ArrayLike = 0.0
    lactate: ArrayLike = 0.0
    citrate: ArrayLike = 0.0


@dataclass(frozen=True, slots=True)
class Buffer:
    """Bedding that takes up protons as pH falls, in a straight line about a pH.

    mol_per_ph : protons per pH [mol/kg water]
    around_ph : where it holds none beyond its own; the pH of the bedding in thin neutral water
    """

    mol_per_ph: ArrayLike
    around_ph: ArrayLike

    @staticmethod
    def of_bedding(mmol_per_kg_dry_ph: ArrayLike, dry_kg_per_kg_water: ArrayLike, around_ph: ArrayLike) -> Buffer:
        """From a capacity as it is measured [mmol H+ per kg dry bedding and pH], and how wet the bedding is.

        Eight composts: 210-450 (Costello & Sullivan 2014).
        """
        return Buffer(np.multiply(mmol_per_kg_dry_ph, dry_kg_per_kg_water) / 1e3, around_ph)


@dataclass(frozen=True, slots=True)
class State:
    """Waters in equilibrium; every array has the shape that the inputs broadcast to.

    ionic_strength : [mol/kg water]
    calcite_index : log10 of ion product over solubility; -inf where there is no calcium or no carbonate
    calcite_dissolved : [mol/kg water]; below 0 where it came out of the water
    species : molality [mol/kg water] by name, for what takes part ("NH3", "CO2", "HCO3-", "Ca+2", ...)
    charge_left : of the charge balance, relative to all positive charge
    """

    ph: Array
    ionic_strength: Array
    calcite_index: Array
    calcite_dissolved: Array
    charge_left: Array
    species: Mapping[str, Array] = field(repr=False)

    def total(self, element: str) -> Array:
        """All that is dissolved of a field of `Totals` [mol/kg water], in whichever form."""
        found = np.zeros_like(self.ph)
        for row in SPECIES:
            if element in (row.family, row.metal) and row.name in self.species:
                found = found + self.species[row.name]
        return found


def equilibrium(
    totals: Totals,
    temperature_c: ArrayLike,
    *,
    co2_atm: ArrayLike | None = None,
    calcite: ArrayLike | None = None,
    buffer: Buffer | None = None,
    pairs: bool = True,
) -> State:
    """pH and species of waters in equilibrium.

    Parameters
    ----------
    totals : what is dissolved
    temperature_c : [degC], 0-60
    co2_atm : CO2 in the air about the water [atm]; left out where the water is closed and `totals.carbon` holds
    calcite : CaCO3 at hand [mol/kg water], `numpy.inf` for more than can dissolve. Where it is given, the water also
        drops what it holds too much of (0: only that). Left out: none forms, however far above saturation
    buffer : the bedding's own take-up of protons
    pairs : whether sodium and potassium form weak pairs; without them pH is off by .01 to .1 (most where little
        else holds it), and solving is half as quick again

    Raises
    ------
    ChemistryInputError
        for negative amounts, numbers that are none, temperatures outside 0-60 degC, carbon given twice
    ChargeError
        where no pH between -2 and 16 balances the charge
    """
    given = {name: getattr(totals, name) for name in Totals.__dataclass_fields__}
    given["temperature_c"] = temperature_c
    if co2_atm is not None:
        given["co2_atm"] = co2_atm
    if calcite is not None:
        given["calcite"] = calcite
    if buffer is not None:
        given |= {"buffer": buffer.mol_per_ph, "around_ph": buffer.around_ph}
    shape, flat = _checked(given)
    count = math.prod(shape)
    loose = () if pairs else WEAK  # counted as charge that takes part in nothing
    names = _present(flat, loose)
    rows = _rows(names)
    ph, strength, saturation, dissolved, left = np.empty((5, count))
    molality = np.empty((len(names), count + 1))[:, :count]  # never in one run, so that it is compiled for but once
    found = balance.Found(molality, ph, strength, saturation, dissolved, left, np.empty(count, np.int64))
    for start in range(0, count, PIECE):
        some = slice(start, start + PIECE)
        waters, solvent = _waters({name: values[some] for name, values in flat.items()}, loose)
        abreast.settle(rows, waters, solvent, balance.Found._make(values[..., some] for values in found))
    _refuse_unbalanced(found.verdict, shape)

    species = {name: found.molality[i].reshape(shape) for i, name in enumerate(names)}
    species |= {_ION[name]: flat[name].reshape(shape) for name in loose if name in flat}
    no_calcite = not {"Ca+2", "CO3-2"} <= species.keys()
    index = np.full(count, -np.inf) if no_calcite else found.ln_saturation / LN10
    return State(
        found.ph.reshape(shape), found.strength.reshape(shape), index.reshape(shape), found.dissolved.reshape(shape),
        found.charge_left.reshape(shape), species,
    )  # fmt: skip


def _waters(flat: Mapping[str, Array], loose: tuple[str, ...]) -> tuple[balance.Waters, balance.Solvent]:
    """Some of the waters as the solver reads them."""
    temperature_c = flat["temperature_c"]
    zero = np.zeros(temperature_c.size)
    waters = balance.Waters(
        temperature_c=temperature_c,
        bases=np.stack([flat.get(name, zero) for name in FAMILIES], axis=1),
        metals=np.stack([zero if name in loose else flat.get(name, zero) for name in METALS], axis=1),
        positive=sum((flat[name] for name in loose if name in flat), zero),
        negative=flat.get("strong_anions", zero),
        gas_atm=flat.get("co2_atm", zero - 1),
        calcite=flat.get("calcite", zero - 1),
        buffer=flat.get("buffer", zero),
        around=flat.get("around_ph", zero),
    )
    ln_henry, ln_calcite = (
        LN10 * np.array([constants.CO2_DISSOLVES, constants.CALCITE]) @ constants.basis(temperature_c).T
    )
    return waters, balance.Solvent(*constants.debye_hueckel(temperature_c), ln_henry, ln_calcite)


_ION = {"sodium": "Na+", "potassium": "K+"}


def _checked(given: Mapping[str, ArrayLike]) -> tuple[tuple[int, ...], dict[str, Array]]:
    """Everything flat and of one length but amounts that are none, and the shape it came in."""
    arrays = {}
    for name, value in given.items():
        try:
            arrays[name] = np.asarray(value, dtype=float)
        except (TypeError, ValueError):
            raise ChemistryInputError(f"{name} is {value!r}; give a number or an array of numbers.") from None
    try:
        shape = np.broadcast_shapes(*(array.shape for array in arrays.values()))
    except ValueError:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items() if array.shape)
        raise ChemistryInputError(f"The amounts have shapes that do not go together: {shapes}.") from None
    for name, array in arrays.items():
        unit, least, most = _LIMITS.get(name, ("mol/kg water", 0.0, np.inf))
        above = array <= most if name == "calcite" else (array <= most) & (array < np.inf)
        wrong = ~((array >= least) & above)
        if wrong.any():
            at = tuple(int(i) for i in np.argwhere(wrong)[0])
            where = f" at {list(at)}" if at else ""
            bounds = f"{least:g} or more" if most == np.inf else f"{least:g} to {most:g}"
            raise ChemistryInputError(f"{name} is {array[at]:g} {unit}{where}; it must be a number, {bounds}.")
    if "co2_atm" in arrays:
        if np.any(arrays["carbon"]):
            raise ChemistryInputError("Carbon is given twice, as a total and by the air's CO2: leave one of them out.")
        if np.any(arrays["co2_atm"] == 0):
            raise ChemistryInputError("co2_atm is 0; leave it out for a water that holds no carbon.")
    flat = {}
    for name, array in arrays.items():
        if name in Totals.__dataclass_fields__:
            array = np.where(array < LESS_THAN_A_MOLECULE, 0.0, array)
            if not array.any():
                continue
        flat[name] = np.broadcast_to(array, shape).flatten()
    return shape, flat


_LIMITS = {
    "temperature_c": ("degC", COLDEST_C, WARMEST_C),
    "co2_atm": ("atm", 0.0, 100.0),
    "around_ph": ("pH", 0.0, 14.0),
    "buffer": ("mol/kg water and pH", 0.0, np.inf),
}


def _present(flat: Mapping[str, Array], loose: tuple[str, ...]) -> tuple[str, ...]:
    """Names of the species that can be there at all."""
    there = {"water", ""} | {name for name in (*FAMILIES, *METALS) if name in flat}
    if "co2_atm" in flat or "calcite" in flat:
        there.add("carbon")
    if "calcite" in flat:
        there.add("calcium")
    return tuple(row.name for row in SPECIES if row.family in there and row.metal in there and row.metal not in loose)


@functools.cache
def _rows(names: tuple[str, ...]) -> balance.Rows:
    """The species of these names as the solver reads them."""
    rows = [row for row in SPECIES if row.name in names]
    sizes = [row.activity.size for row in rows]
    return balance.Rows(
        first=np.searchsorted([FAMILIES.index(row.family) for row in rows], range(len(FAMILIES) + 1)).astype(np.int64),
        laws=math.log(10) * np.array([row.law for row in rows]),
        protons=np.array([row.protons for row in rows], dtype=float),
        metal=np.array([(*METALS, "").index(row.metal) for row in rows], dtype=np.int64),
        charge=np.array([row.charge for row in rows], dtype=float),
        size=np.nan_to_num(np.array(sizes), nan=-1.0),
        slope=np.array([row.activity.slope for row in rows]),
    )


def _refuse_unbalanced(verdict: NDArray[np.int64], shape: tuple[int, ...]) -> None:
    bad = np.flatnonzero(verdict != balance.SETTLED)
    if not bad.size:
        return
    at = [int(i) for i in np.unravel_index(bad[0], shape)]
    where = f" (state {at})" if at else ""
    if verdict[bad[0]] == balance.NO_BALANCE:
        raise ChargeError(
            f"No pH between {balance.LOWEST_PH:g} and {balance.HIGHEST_PH:g} balances the charge{where}: "
            "there is far too much sodium, potassium or strong anions for the water."
        )
    raise ChargeError(f"The charge did not settle{where}; are the amounts mol per kg of water?")
