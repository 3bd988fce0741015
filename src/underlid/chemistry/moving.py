"""How much of a food moves the whole bin: a search over how much is fed, draw by draw.

>>> import numpy as np
>>> from underlid.chemistry.pocket import draw_rates
>>> bin = Bedding(dry_kg=3.0, water_kg=7.0, litres=20.0, ph=7.2, buffer_mol_kg_ph=0.31)
>>> lemon = Feed(kg=1.0, litres=2.0, water_kg=0.87, citrate_mol=0.104)
>>> kg = acid_to_move(bin, lemon, draw_rates(20, np.random.default_rng(1)), 20.0)
>>> bool(((2.5 < kg) & (kg < 5)).all())
True
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from underlid.chemistry.pocket import Bedding, Feed, base_of, course, water_of
from underlid.chemistry.rates import Rates
from underlid.chemistry.speciation import Buffer, equilibrium

Array = NDArray[np.float64]
Draws = TypeVar("Draws", Bedding, Feed, Rates)

MOST_KG = 1000.0  # more is no feeding


def mass_to_move(
    bedding: Bedding, feed: Feed, rates: Rates, bedding_c: float, *, drop_ph: float = 1.0, days: float = 30.0
) -> Array:
    """How many times this feeding would lower the whole bin by `drop_ph` at worst, (draws,).

    Whole means the mean over all bedding, within `days`. Infinity where not even a thousand kilograms would: most of
    the acid is eaten as it comes.
    """
    ends = np.concatenate([[3.0, 6.0, 12.0], np.arange(24.0, 24 * days + 1, 12.0)])

    def short_of(bed: Bedding, fed: Feed, rate: Rates) -> Array:
        told = course(bed, fed, rate, bedding_c, time_h=ends)
        return np.asarray((told.whole_ph - told.start_ph[:, None]).min(axis=1) + drop_ph)

    return _search(short_of, bedding, feed, rates)


def acid_to_move(bedding: Bedding, feed: Feed, rates: Rates, bedding_c: float, *, drop_ph: float = 1.0) -> Array:
    """The same if all acid came at once, none were eaten and no base left: the least that could, (draws,)."""

    def short_of(bed: Bedding, fed: Feed, rate: Rates) -> Array:
        water = np.add(bed.water_kg, fed.water_kg)
        thinner = np.asarray(bed.water_kg) / water
        acids = {name: np.asarray(getattr(fed, f"{name}_mol")) / water for name in ("acetate", "lactate", "citrate")}
        totals = water_of(rate, base_of(bed, rate, bedding_c) * thinner, thinner, **acids)
        buffer = Buffer.of_bedding(np.multiply(bed.buffer_mol_kg_ph, 1e3), bed.dry_kg / water, bed.ph)
        found = equilibrium(totals, bedding_c, co2_atm=rate.co2_atm, buffer=buffer, pairs=False)
        return np.asarray(found.ph - np.asarray(bed.ph) + drop_ph)

    return _search(short_of, bedding, feed, rates)


def _search(short_of: Callable[[Bedding, Feed, Rates], Array], bedding: Bedding, feed: Feed, rates: Rates) -> Array:
    """The times of the feeding at which what is short reaches 0, by draw; infinity where it does not below MOST_KG."""
    from scipy.optimize import elementwise  # slow to import

    size = max(np.size(getattr(one, f.name)) for one in (bedding, feed, rates) for f in fields(one))

    def at(log_times: Array, which: NDArray[np.int64]) -> Array:
        fed = _some(feed, which, size).times(np.exp(log_times))
        return short_of(_some(bedding, which, size), fed, _some(rates, which, size))

    every = np.arange(size)
    most = np.log(MOST_KG / np.broadcast_to(np.asarray(feed.kg, dtype=float), size))
    some = every[at(most, every) <= 0]
    found = np.full(size, np.inf)
    if some.size:
        ends = (most[some] - np.log(1e9), most[some])
        found[some] = np.exp(elementwise.find_root(at, ends, args=(some,), tolerances={"xatol": 1e-3}).x)
    return found


def _some(one: Draws, which: NDArray[np.int64], size: int) -> Draws:
    """The draws of these indices."""
    values = {f.name: np.broadcast_to(np.asarray(getattr(one, f.name), dtype=float), size)[which] for f in fields(one)}
    return replace(one, **values)
