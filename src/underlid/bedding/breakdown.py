"""Heat released as food and bedding break down.

A worm bin makes little heat. Two sources: the bedding itself, which respires as long as it is moist,
and each feeding, whose energy is spent at a rate that follows the bedding temperature.
"""

from __future__ import annotations

import numba as nb

#: Heat of the bedding's own respiration at the best temperature [W per kg dry matter]. From 0.05-0.5 g O2
#: per kg volatile solids and hour (recalled, weak) and 14 kJ/g O2 (Haug 1993; Finstein 1986, recalled).
BEDDING_W_PER_KG_DRY = 0.5

#: Energy a feeding gives up in a worm bin [J per kg as fed]: dry matter 0.18 x volatile 0.9 x 17-22 MJ
#: per kg destroyed (recalled) x about 0.6 destroyed (our judgement).
FOOD_J_PER_KG = 1.9e6

#: First-order rate at which that energy is spent at the best temperature [1/s]: about 0.08 a day
#: (our judgement: soft kitchen scraps are mostly gone in three to six weeks when warm).
FOOD_RATE_PER_S = 0.08 / 86400.0


@nb.njit(cache=True, inline="always")
def cardinal(temperature_c: float) -> float:
    """Temperature factor of microbial breakdown, 0 to 1, with cardinal temperatures 0, 25 and 35 degC.

    Form of Rosso, Lobry & Flandrois (1993), J. Theor. Biol. 162:447, recalled.
    """
    t_min, t_opt, t_max = 0.0, 25.0, 35.0
    if temperature_c <= t_min or temperature_c >= t_max:
        return 0.0
    t = temperature_c
    upper = (t - t_max) * (t - t_min) ** 2
    lower = (t_opt - t_min) * ((t_opt - t_min) * (t - t_opt) - (t_opt - t_max) * (t_opt + t_min - 2 * t))
    return upper / lower
