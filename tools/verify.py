"""Check the heat solvers and the life-cycle engine and write down how good they are: docs/verification.md.

The same bytes come out each time on the same machine. It takes a minute or two.
"""

from __future__ import annotations

import os

# One thread each: sums are then taken in the same order every time.
os.environ.update(dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"))

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import verify_bins as bins
import verify_charts as charts
import verify_exact as forms
import verify_worms as worms

from underlid.files import write_whole
from underlid.heat.model import GRID, REFERENCE_WIND_M_S

DOCS = Path(__file__).parent.parent / "docs"
PLACES = ("middle", "edge", "surface")
FORTNIGHT_H = 14 * 24
SHOWN_LITRES = 30


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _times(cells: Sequence[int]) -> str:
    return "×".join(map(str, cells))


def _minus(number: float, decimals: int) -> str:
    return f"{number:.{decimals}f}".replace("-", "−")


def _orders(errors: Sequence[float]) -> list[str]:
    """Observed order between each grid and the next, the cells half as wide."""
    return [f"{np.log2(coarse / fine):.1f}" for coarse, fine in pairwise(errors)]


def _listed(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _linear_table(errors: Sequence[Sequence[float]]) -> str:
    rows = []
    for case, found in zip(forms.LINEAR, errors, strict=True):
        shown = [f"{error:.2g} K" if case.unit == "K" else f"{error * 100:.2g}%" for error in found]
        sizes = ", ".join(f"{mm:.3g}" for mm in case.cell_mm)
        rows.append([f"{case.body}, {case.under}", case.source, sizes, *shown, ", ".join(_orders(found))])
    return _table(
        ["case", "closed form", "mean cell, mm", "error: coarsest", "second", "third", "finest", "orders"], rows
    )


def _front_table(errors: Sequence[Sequence[float]]) -> str:
    rows = [
        [front.name, f"{front.true_m([24])[0] * 1000:.1f}", *(f"{error:.1%}" for error in found),
         ", ".join(_orders(found)), f"{np.log2(found[0] / found[-1]) / (len(found) - 1):.1f}"]
        for front, found in zip(forms.FRONTS, errors, strict=True)
    ]  # fmt: skip
    widths = [f"{forms.FRONT_M * 1000 / cells:g} mm" for cells in forms.FRONT_CELLS]
    return _table(["front", "depth after a day, mm", *widths, "orders", "over all"], rows)


def _spread(spread: bins.Spread) -> str:
    return " / ".join(f"{value:.2f}" for value in spread)


def _working_table() -> str:
    rows = []
    for litres in bins.BINS:
        for place, name in enumerate(PLACES):
            by_grid = [
                _spread(bins.working_error(litres, cells, place, icy))
                for cells in (GRID, bins.FINER)
                for icy in (False, True)
            ]
            rows.append([f"{litres} L", name, *by_grid])
    heads = [f"{_times(cells)}, {when}" for cells in (GRID, bins.FINER) for when in ("thawed", "frosty")]
    return _table(["bin", "place", *heads], rows)


def _bound_table() -> str:
    rows = [
        [f"{litres} L", name, *(f"{bins.bound(litres, states)[place]:.3f}" for states in bins.STATES)]
        for litres in bins.BINS
        for place, name in enumerate(PLACES)
    ]
    return _table(["bin", "place", *(f"{states} states" for states in bins.STATES)], rows)


def _reduced_table() -> str:
    rows = [
        [f"{litres} L", name, *(_fine(bins.reduced_error(litres, varies, place)) for varies in (False, True))]
        for litres in bins.BINS
        for place, name in enumerate(PLACES)
    ]
    return _table(["bin", "place", f"wind {REFERENCE_WIND_M_S:g} m/s throughout", "wind as it blew"], rows)


def _fine(spread: bins.Spread) -> str:
    return " / ".join(f"{value:.3f}" for value in spread)


def _page(linear: Sequence[Sequence[float]], fronts: Sequence[Sequence[float]]) -> str:
    conductor_c, one_c, bedding_c = forms.lumped()
    drift, most_ice = bins.heat_kept()
    frosty, differ = (
        _listed([f"{share(litres):.0%}" for litres in bins.BINS])
        for share in (lambda litres: float((bins.winter(litres, bins.FINEST).ice > 0).mean()), bins.disagree)
    )
    litres = _listed([str(litres) for litres in bins.BINS])
    worst_front = max(found[-1] for found in fronts)
    bound = max(float(bins.bound(litres, bins.STATES[-1]).max()) for litres in bins.BINS)
    return f"""# Verification: do the heat solver and the life-cycle engine do what they should?

Written by `make verification`. First the heat; the worms come [last](#the-life-cycle).

The full field (`underlid.heat.field`) is run against closed forms on finer and finer
grids, through a year of random freezing, and through the demo's winter on the grid of a fit beside a far finer one;
the reduced model (`underlid.heat.reduced`) is held against the full field. C&J is Carslaw & Jaeger, *Conduction of
Heat in Solids*, 1959, recalled; `tests/heat/test_closed_forms.py` checks each closed form against numbers computed
apart from it. Bedding conducts 0.35 W/mK and holds 2.4 MJ/m³K, begins at 10 °C and meets −10 °C, unless said
otherwise. Steps in time are kept so small that what is left is the error of the cells.

## What is checked against what

| part | against |
|---|---|
| conduction, films, reading between nodes | half a space, wall, brick after a sudden fall (C&J 2.4, 2.7, 3.11, 5.6) |
| the course of a day | waves in half a space and in a slab (C&J 2.6, 3.6) |
| heat capacity and outer faces | a body of one temperature (Incropera & DeWitt, ch. 5, recalled) |
| freezing | fronts of Stefan and of Neumann (C&J 11.2) |
| keeping of heat | the heat given, added up |
| the grid of a fit, {_times(GRID)} cells in a quarter of the bin | {_times(bins.FINEST)} cells |
| reduced model | the full field on the same cells |

## Nothing freezes

The largest error over all places and times looked at, and the observed order between each grid and the next, whose
cells are half as wide: 2 means that the error falls to a quarter. Errors of waves are shares of the wave outside.
The cells are graded, finer towards the faces, as they are in a fit.

![Error against cell size, nothing freezing](figures/linear.svg)

{_linear_table(linear)}

On the coarsest grids a daily wave, which falls to a third within 6 cm, spans hardly more than one cell: there the
error is larger than the slope would have it. Only the daily wave is run; by its equations a yearly one is the same
check on a deeper space.

A brick that conducts a thousand times better than bedding is all of one temperature, and loses heat as its capacity
and its faces say: after a day in films of 5 W/m²K the {_times(GRID)} cells of its quarter are at
{_minus(conductor_c, 3)} °C, the closed form at {_minus(one_c, 3)} °C. The mean of a brick of real bedding is then at
{_minus(bedding_c, 1)} °C: a bin is not a body of one temperature, and a model of one number would be wrong by
{bedding_c - one_c:.1f} K here.

## Fronts of ice

A surface is held below freezing and a front of ice moves in. The depth of the front is that of all the ice as if in
one layer, and its error the largest from 12 hours on, as a share of the depth. Bedding is half water. A front crosses
cells one by one, so the expected order is 1, and it is met in the mean only. On the finest grid the largest error is
{worst_front:.1%}.

![Depth of the front, closed form and full field](figures/front.svg)

![Error of the front against cell size](figures/fronts.svg)

{_front_table(fronts)}

## Heat is kept

For a year of hours a box of 30 L that lets nothing through is given and robbed of heat at random in all six patterns
(bedding, food in four places, surface), so that up to {most_ice:.0%} of its water freezes and thaws again six times.
What its cells hold differs from what they were given by {drift:.0e} of the heat of fusion of all its water at most:
rounding.

## The grid of a fit in real weather

A fit steps {_times(GRID)} cells in a quarter of the bin, because it must run thousands of winters. This is what that
costs: the demo's winter (Sand Point, Alaska, a typical year, October to April) in bins of moist bedding on a slab in an
open shelter, in the wind as it blew, with a little steady heat. In each cell: root mean square / 99 of 100 hours
below / largest difference, in kelvin, from {_times(bins.FINEST)} cells. Frosty are the hours in which any of the
bin's water is ice ({frosty} of the hours in the bins of {litres} L), thawed the others.
The {_times(bins.FINER)} cells show how far finer cells help.

{_working_table()}

The largest differences come as the last ice at a place goes or comes earlier on one grid than on the other, and so
reach into the first thawed hours; around them a reading between the nodes of a coarse grid is drawn across the kink
that ice makes. The coldest fortnight in the bin of {SHOWN_LITRES} L:

![A frosty fortnight on two grids](figures/working.svg)

So do not take the hour at which ice comes or goes from a fit too literally: whether the water in the middle has begun
to freeze is answered differently by the two grids in {differ} of the hours.

## The reduced model

While nothing can freeze, a fit steps {bins.STATES[-1]} numbers instead of the cells. At constant coefficients its
error against the cells has a bound that holds whatever the weather does from hour to hour: kelvin of error per kelvin
that the surroundings swing either way of a mean, sides, surface and base each as unkindly as can be.

{_bound_table()}

So the bound is {bound:.3f} K per kelvin at most with the {bins.STATES[-1]} states in use. Real weather is far from the
unkindest. Through the demo's year made {bins.WARMER_K:g} K warmer, so that nothing freezes, with food every ten days,
evaporation and water, the two differ by (root mean square / 99 of 100 / largest, kelvin):

{_reduced_table()}

In the first column the coefficients are constant. In the second the wind changes them every hour, which the reduced
model follows through the surface temperature of the hour before; the bound does not cover that.

## What these checks of the heat do not show

- Whether the numbers are right for a real bin. Conductivity, heat capacity, films and the path through the base are
  taken from books and then fitted; these checks would pass with wrong ones.
- How bedding really freezes. The closed forms freeze at one temperature and in one dimension, and Stefan's changes only
  the ice: the water ahead stays at 0 °C. The solver spreads freezing over some tenths of a kelvin and in three
  dimensions, and for that there is only its agreement with itself on finer grids here (and with a plain method in
  `make bench`). In real bedding water also moves towards the ice, and air and vapour carry heat; neither closed forms
  nor solver know of that.
- Anything that breaks the symmetry. A quarter of the box is solved: a sunny side, a bin against a house wall, or a lid
  ajar are the same on all four sides here. Drainage and air holes are ignored.
- Where food really lies. It heats one of four fixed patterns, not a point.
- The wind's shifting of a coefficient, evaporation and breakdown: only the reduced model's following of them is tested.

{worms.section()}"""


def main() -> None:
    linear = [[case.error(cells) for cells in case.sizes] for case in forms.LINEAR]
    print("cases without freezing done", flush=True)
    fronts = [[forms.front_error(front, cells) for cells in forms.FRONT_CELLS] for front in forms.FRONTS]
    print("fronts of ice done", flush=True)
    coarse, fine = (bins.winter(SHOWN_LITRES, cells) for cells in (GRID, bins.FINEST))
    first = int(np.convolve(coarse.air_c, np.ones(FORTNIGHT_H), "valid").argmin())
    figures = {
        "linear": charts.linear_figure(linear),
        "fronts": charts.order_figure(fronts),
        "front": charts.front_figure(forms.FRONT_CELLS[-1]),
        "working": charts.working_figure(coarse, fine, first, FORTNIGHT_H + 1),
    }
    (DOCS / "figures").mkdir(exist_ok=True)
    for name, drawn in figures.items():
        write_whole(DOCS / "figures" / f"{name}.svg", drawn.encode())
    print("figures drawn; now the winters, the reduced model and the worms", flush=True)
    write_whole(DOCS / "verification.md", _page(linear, fronts).encode())
    print(f"written to {DOCS / 'verification.md'}")


if __name__ == "__main__":
    main()
