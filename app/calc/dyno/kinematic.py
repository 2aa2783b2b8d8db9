"""The threshold of a simultaneous band for a whole curve."""

import math

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


def field_length(residuals: Values) -> float:
    """Length L₁ = ∫√Var(R′) of the standardised residuals' curve, from residuals (n, m) with mean zero per group.

    The normalised residual vectors at neighbouring points are as far apart as the field is rough (Worsley's
    estimator of the first Lipschitz–Killing curvature).
    """
    norm = np.sqrt((residuals**2).sum(axis=0))
    unit = residuals / np.where(norm > 0, norm, 1.0)
    return float(np.sqrt((np.diff(unit, axis=1) ** 2).sum(axis=0)).sum())


def threshold(dof: float, length: float, alpha: float = 0.05) -> float:
    """Solve 2[T_sf(u; ν) + L₁/(2π)(1 + u²/ν)^(−(ν−1)/2)] = α, the Gaussian kinematic formula for a t field.

    Telschow and Schwartzman, arXiv 1901.06386. With L₁ = 0 it is Student's t.

    >>> round(threshold(4, 6.6667), 3), round(threshold(18, 6.6667), 3), round(threshold(4, 0.0), 3)
    (6.806, 3.211, 2.776)
    """
    from scipy.special import stdtr

    def excess(u: float) -> float:
        roughness = length / (2 * math.pi) * (1 + u * u / dof) ** (-(dof - 1) / 2)
        return float(2 * (float(stdtr(dof, -u)) + roughness) - alpha)

    low, high = 0.0, 2.0
    while excess(high) > 0 and high < 1e7:
        low, high = high, high * 2
    for _ in range(80):
        middle = (low + high) / 2
        if excess(middle) > 0:
            low = middle
        else:
            high = middle
    return high
