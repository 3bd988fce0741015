"""Time of underlid's acid-base solver beside a general aqueous-chemistry library, in one run on one core.

Prints Markdown tables. Times are processor time, so that other work on the machine counts as little as can be. Both
solve the same random waters; the largest difference in pH is told beside the time. The library is timed the quicker
way it has, many solutions in one input and pH alone read back, and one solution a call as it is commonly used.
"""

from __future__ import annotations

import os

# One core; set before NumPy and Numba are imported, which read this once.
os.environ.update(
    dict.fromkeys(("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
)

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from bench import machine
from numpy.typing import NDArray
from phreeqpython import PhreeqPython

from underlid.chemistry.speciation import Totals, equilibrium

Array = NDArray[np.float64]

STATES = 300_000  # of ours; the library gets the first of them
PEER_STATES = 1_000
REPEATS = 5
GOAL_PER_S, GOAL_TIMES = 1e6, 200
ELEMENTS = {"sodium": "Na", "strong_anions": "Cl", "ammonia": "Amm", "carbon": "C(4)", "calcium": "Ca"}
#: Ammonium that is not oxidised; the library's own data would let it turn to nitrate.
AMMONIUM = """
SOLUTION_MASTER_SPECIES
Amm AmmH+ 0 AmmH 17.0
SOLUTION_SPECIES
AmmH+ = AmmH+
-gamma 2.5 0
AmmH+ = Amm + H+
-analytic -0.09018 0 -2729.92
END
"""


@dataclass(frozen=True, slots=True)
class Case:
    """Waters (states,) of amounts [mol/kg water], temperature [degC], CO2 [atm] where open."""

    name: str
    amounts: Mapping[str, Array]
    temperature_c: Array
    co2_atm: Array | None = None
    common: bool = True

    def ours(self, pairs: bool = True) -> Array:
        return equilibrium(Totals(**self.amounts), self.temperature_c, co2_atm=self.co2_atm, pairs=pairs).ph

    def peer_input(self, state: int) -> str:
        lines = [f"SOLUTION {state}", f"temp {self.temperature_c[state]}", "units mol/kgw", "pH 7 charge"]
        lines += [f"{ELEMENTS[name]} {values[state]}" for name, values in self.amounts.items()]
        if self.co2_atm is not None:
            lines.append(f"C(4) 0.01 CO2(g) {np.log10(self.co2_atm[state])}")
        return "\n".join(lines) + "\n"


def cases() -> list[Case]:
    """Bedding water: some salt, ammonium and bicarbonate, from cool to warm."""
    rng = np.random.default_rng(1)
    temperature_c = rng.uniform(0, 30, STATES)
    ammonia, anions, alkalinity = (rng.uniform(1e-3, most, STATES) for most in (0.02, 0.02, 0.03))
    salts = {"sodium": anions + alkalinity, "strong_anions": anions, "ammonia": ammonia}
    carbon = (alkalinity + ammonia) * rng.uniform(0.8, 1.2, STATES)
    calcium = rng.uniform(1e-4, 2e-3, STATES)
    co2_atm = 10 ** rng.uniform(-3.3, -1.3, STATES)
    return [
        Case("closed", salts | {"carbon": carbon}, temperature_c),
        Case("open to CO2", salts, temperature_c, co2_atm),
        Case("open to CO2, with calcium", salts | {"calcium": calcium}, temperature_c, co2_atm, common=False),
    ]


def library() -> PhreeqPython:
    tool = PhreeqPython(database="phreeqc.dat")
    tool.ip.run_string(AMMONIUM)
    tool.ip.run_string("SELECTED_OUTPUT\n-reset false\n-pH true\nEND\n")
    return tool


def peer_together(tool: PhreeqPython, case: Case) -> Array:
    tool.ip.run_string("".join(case.peer_input(state) for state in range(PEER_STATES)) + "END\n")
    return np.array([row[0] for row in tool.ip.get_selected_output_array()[1:]], dtype=float)


def peer_apart(tool: PhreeqPython, case: Case) -> Array:
    found = []
    for state in range(PEER_STATES):
        tool.ip.run_string(case.peer_input(state) + "END\n")
        found.append(tool.ip.get_ph(state))
    return np.array(found)


def per_second(run: Callable[[], Array], states: int, repeats: int) -> tuple[float, Array]:
    """States solved per second of processor time, the best of some runs, and what was found."""
    found = run()  # compiles, warms the caches
    times = []
    for _ in range(repeats):
        start = time.process_time()
        found = run()
        times.append(time.process_time() - start)
    return states / min(times), found


def main() -> None:
    print(f"{machine()} The library: phreeqpython {version('phreeqpython')}.")
    print(f"\nWaters at random, {STATES} of ours and the first {PEER_STATES} of them for the library:\n")
    print("| waters | method | states per s | times as quick | largest difference in pH |\n|---|---|---|---|---|")
    goals = []
    tool = library()
    for case in cases():
        together, truth = per_second(lambda case=case: peer_together(tool, case), PEER_STATES, 1)  # type: ignore[misc]
        apart, _ = per_second(lambda case=case: peer_apart(tool, case), PEER_STATES, 1)  # type: ignore[misc]
        best = max(together, apart)
        print(f"| {case.name} | library, many solutions an input | {together:.3g} | | |")
        print(f"| {case.name} | library, one solution a call | {apart:.3g} | | |")
        for pairs in (True, False):
            rate, found = per_second(lambda case=case, pairs=pairs: case.ours(pairs), STATES, REPEATS)  # type: ignore[misc]
            gap = np.abs(found[:PEER_STATES] - truth).max()
            name = "underlid" if pairs else "underlid, without sodium's weak pairs"
            print(f"| {case.name} | {name} | {rate:.3g} | {rate / best:.0f} | {gap:.2g} |", flush=True)
            if case.common:
                goals.append((case.name, name, rate, rate / best))
    print("\n| goal | measured | met |\n|---|---|---|")
    for waters, name, rate, times in goals:
        print(
            f"| {GOAL_PER_S:.0e} states per s, {waters}, {name} | {rate:.3g} "
            f"| {'yes' if rate >= GOAL_PER_S else 'no'} |"
        )
        print(f"| {GOAL_TIMES} times as quick as the library, {waters}, {name} | {times:.0f} | "
              f"{'yes' if times >= GOAL_TIMES else 'no'} |")  # fmt: skip


if __name__ == "__main__":
    main()
