"""Write docs/power.md: what trials of how many bins can tell, for which margin, by simulating whole years of them."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from bench_trials import scene
from labour import asked, workers

from underlid.quantity.points import three
from underlid.trials.power import Surface, surface
from underlid.trials.simulated import simulate
from underlid.trials.sizes import USUAL_CV, tost_power

PAGE = Path(__file__).parents[1] / "docs" / "power.md"
BINS, MARGINS, SPREADS = (1, 2, 3, 4, 6, 8), (1.25, 1.5, 2.0, 3.0), (0.2, USUAL_CV, 0.5)
DAYS, TRIALS, SEED = (365,), 2000, 1


def of_spread(part: tuple[float, int]) -> Surface:
    """What trials can tell of bins that differ so much."""
    spread, trials = part
    return surface(scene(), DAYS, bins=BINS, margins=MARGINS, spreads=(spread,), trials=trials, seed=SEED)


def main() -> int:
    given = asked(__doc__, "trials", TRIALS, PAGE).parse_args()
    begun, each = time.perf_counter(), list[Surface]()
    with workers(given) as pool:
        for one in pool.map(of_spread, [(spread, given.trials) for spread in SPREADS]):
            each.append(one)
            print(f"{len(each)} of {len(SPREADS)} spreads, {time.perf_counter() - begun:.0f} s", flush=True)
    holds, se = (np.concatenate([getattr(one, name) for one in each]) for name in ("holds", "se"))
    print(f"{given.trials * 2 * max(BINS) * len(SPREADS):,} bin-years in {time.perf_counter() - begun:.0f} s")
    counts = simulate(scene(), 2, 400, DAYS, (1.0,), SEED)[:, 0, 0, 0]
    low, middle, high = three(counts.astype(float))
    tables = []
    for i, spread in enumerate(SPREADS):
        rows = [
            f"| {margin:g} times | " + " | ".join(f"{100 * holds[i, j, k]:.0f}" for k in range(len(BINS))) + " |"
            for j, margin in enumerate(MARGINS)
        ]
        tables.append(
            f"### Bins that differ by {100 * spread:.0f} % in laying and in food\n\n"
            f"| margin | {' | '.join(f'{n}' for n in BINS)} |\n|---|{'---|' * len(BINS)}\n" + "\n".join(rows)
        )
    formula = {margin: [100 * tost_power(n, margin, USUAL_CV) for n in BINS[1:]] for margin in MARGINS}
    plain = [
        f"| {margin:g} times | none | " + " | ".join(f"{share:.0f}" for share in shares) + " |"
        for margin, shares in formula.items()
    ]
    worst, trials = float(np.max(se)), given.trials
    text = f"""# How many bins does a trial need?

Written by `make power`. The chance, in per cent, that a trial of so many bins in each arm finds the arms alike within
the margin after a year, if the change does nothing: {trials:,} whole trials each, all bins lived day by day. It is
known to {100 * worst:.1f} points or better. The bins: two dozen founders each, 28 L of bedding in a year of 1 to
19 °C (34 to 66 °F) on the days' mean, fed each fortnight; a full sort finds {low:.0f} to {high:.0f} worms (about
{middle:.0f}) in the end. The year is invented; your own bins may differ more, or less: `underlid plan` reckons it for
them.

{chr(10).join(f"{table}{chr(10)}" for table in tables)}
### Beside it: if only the bins' spread counted

The same by formula, for numbers that differ by {100 * USUAL_CV:.0f} % and nothing else (two one-sided t tests on
logarithms; Schuirmann 1987). In simulated bins crowding evens numbers out in some populations, and chance among few
founders drives them apart in others: so small trials do better than the formula has it, and large ones worse.

| margin | {" | ".join(f"{n}" for n in BINS)} |
|---|{"---|" * len(BINS)}
{chr(10).join(plain)}

So a handful of small bins can show “within two or three times”, and hardly ever “within a quarter”. One bin in each
arm shows nothing of the kind, whatever the margin.
"""
    given.out.write_text(text, encoding="utf-8")
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
