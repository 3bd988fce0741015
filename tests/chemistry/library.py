"""The same waters given to a general aqueous-chemistry library, phreeqpython with its phreeqc.dat.

That data has no citrate, acetate or lactate; they are added with our constants, so that what is checked is the
solving and all else in the data. Its ammonium would be oxidised, so one that is not is added beside it.
"""

import math

import numpy as np
from phreeqpython import PhreeqPython

EXTRA = """
SOLUTION_MASTER_SPECIES
Amm AmmH+ 0 AmmH 17.0
Citrate Citrate-3 0 189.1 189.1
Acetate Acetate- 0 59.0 59.0
Lactate Lactate- 0 89.0 89.0
SOLUTION_SPECIES
AmmH+ = AmmH+
-gamma 2.5 0
AmmH+ = Amm + H+
-log_k -9.252
-delta_h 12.48 kcal
-analytic 0.6322 -0.001225 -2835.76
Citrate-3 = Citrate-3
-gamma 5.0 0.0
Citrate-3 + H+ = HCitrate-2
-log_k 6.396
-delta_h 3.38 kJ
Citrate-3 + 2 H+ = H2Citrate-
-log_k 11.157
-delta_h 1.15 kJ
Citrate-3 + 3 H+ = H3Citrate
-log_k 14.285
-delta_h -2.92 kJ
Acetate- = Acetate-
-log_k 0
Acetate- + H+ = HAcetate
-log_k 4.756
-delta_h 0.41 kJ
Lactate- = Lactate-
-log_k 0
Lactate- + H+ = HLactate
-log_k 3.86
-delta_h 0.33 kJ
"""
METAL_PAIRS = """
Citrate-3 + Ca+2 = CaCitrate-
-log_k 4.85
Citrate-3 + Ca+2 + H+ = CaHCitrate
-log_k 9.26
Citrate-3 + Mg+2 = MgCitrate-
-log_k 4.8
Citrate-3 + Mg+2 + H+ = MgHCitrate
-log_k 9.0
Acetate- + Ca+2 = CaAcetate+
-log_k 1.2
Acetate- + Mg+2 = MgAcetate+
-log_k 1.3
Lactate- + Ca+2 = CaLactate+
-log_k 1.4
Lactate- + Mg+2 = MgLactate+
-log_k 1.4
"""
NAMES = {
    "sodium": "Na", "potassium": "K", "calcium": "Ca", "magnesium": "Mg", "strong_anions": "Cl", "carbon": "C(4)",
    "ammonia": "Amm", "phosphate": "P", "acetate": "Acetate", "lactate": "Lactate", "citrate": "Citrate",
}  # fmt: skip


class Library:
    def __init__(self):
        self.ip = PhreeqPython(database="phreeqc.dat").ip
        self.ip.run_string(EXTRA + METAL_PAIRS + "END\n")

    def solve(self, temperature_c, co2_atm=None, calcite=None, **amounts):
        """pH; free molality of Ca+2 and the ionic strength; log saturation of calcite, of one water."""
        lines = ["SOLUTION 1", f"temp {temperature_c}", "units mol/kgw", "pH 7 charge"]
        lines += [f"{NAMES[name]} {amount}" for name, amount in amounts.items()]
        phases = []
        if co2_atm is not None:
            phases.append(f"CO2(g) {math.log10(co2_atm)} 10")
        if calcite is not None:
            phases.append(f"Calcite 0 {min(calcite, 10)}")
        if phases:
            lines += ["EQUILIBRIUM_PHASES 1", *phases]
        self.ip.run_string("\n".join([*lines, "SAVE SOLUTION 1", "END"]) + "\n")
        return self.ip.get_ph(1), self.ip.get_molality(1, "Ca+2"), self.ip.get_mu(1), self.ip.get_si(1, "Calcite")

    def ammonia(self):
        return self.ip.get_molality(1, "Amm")


def mixtures(count, seed):
    """Waters at random: each part there in half of them, over three decades; amounts (count,), temperatures [degC]."""
    rng = np.random.default_rng(seed)
    most = {
        "sodium": 0.1, "potassium": 0.1, "calcium": 0.02, "magnesium": 0.02, "strong_anions": 0.05, "carbon": 0.1,
        "ammonia": 0.05, "phosphate": 0.02, "acetate": 0.03, "lactate": 0.03, "citrate": 0.02,
    }  # fmt: skip
    amounts = {
        name: np.where(rng.random(count) < 0.5, 10 ** rng.uniform(-3, 0, count) * top, 0.0)
        for name, top in most.items()
    }
    return amounts, rng.uniform(1, 35, count)
