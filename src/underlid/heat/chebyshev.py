"""Coefficients of the second-order Runge-Kutta-Chebyshev method.

An explicit method whose stable step grows with the square of its stages: heat conduction is stepped with a handful
of evaluations an hour, without solving a system, and freezing, which breaks linear algebra, costs nothing extra.
Source: Sommeijer, Shampine & Verwer (1998), J. Comput. Appl. Math. 88:315.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOST_STAGES = 40
DAMPING = 2.0 / 13.0


def tables() -> tuple[Array, Array]:
    """Coefficients (stages + 1, 4, stages + 1), rows mu, nu, mu~, gamma~; and the stable step times the largest rate.

    The second array, (stages + 1,), gives for s stages the largest product of step and spectral radius.
    """
    table = np.zeros((MOST_STAGES + 1, 4, MOST_STAGES + 1))
    reach = np.zeros(MOST_STAGES + 1)
    for s in range(2, MOST_STAGES + 1):
        w0 = 1.0 + DAMPING / s**2
        t, d, e = np.zeros(s + 1), np.zeros(s + 1), np.zeros(s + 1)  # Chebyshev polynomials at w0, derivatives
        t[0], t[1], d[1] = 1.0, w0, 1.0
        for j in range(2, s + 1):
            t[j] = 2 * w0 * t[j - 1] - t[j - 2]
            d[j] = 2 * t[j - 1] + 2 * w0 * d[j - 1] - d[j - 2]
            e[j] = 4 * d[j - 1] + 2 * w0 * e[j - 1] - e[j - 2]
        w1 = d[s] / e[s]
        b = np.empty(s + 1)
        b[2:] = e[2:] / d[2:] ** 2
        b[0], b[1] = b[2], 1.0 / w0
        mu, nu, mu_t, gamma_t = table[s, :, : s + 1]
        mu_t[1] = b[1] * w1
        mu[2:] = 2 * b[2:] * w0 / b[1:-1]
        nu[2:] = -b[2:] / b[:-2]
        mu_t[2:] = 2 * b[2:] * w1 / b[1:-1]
        gamma_t[2:] = -(1 - b * t)[1:-1] * mu_t[2:]
        reach[s] = (w0 + 1) * e[s] / d[s]
    return table, reach
